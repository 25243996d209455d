"""What every answer that refuses must look like."""

from __future__ import annotations

from typing import Any

from service.api.problem_types import PROBLEMS


def problem(response: Any, status: int, slug: str, *fields: str) -> dict[str, Any]:
    """Check that a response is the problem ``slug``, naming ``fields``, and return it."""
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    found: dict[str, Any] = response.json()
    assert found["type"] == f"/problems/{slug}"
    assert found["status"] == status == PROBLEMS[slug].status
    assert found["title"] == PROBLEMS[slug].title
    assert found["detail"]
    assert found["request_id"] == response.headers["x-request-id"]
    named = {fault["field"] for fault in found["errors"]}
    assert set(fields) <= named, found["errors"]
    assert all(fault["problem"] and fault["expected"] for fault in found["errors"])
    return found
