"""A search asked again is answered as before while nobody writes; never to somebody else, nor in another form."""

from __future__ import annotations

import pytest

from service.api.repeated import MOST_ANSWERS
from tests.service.coast import example, make_coast
from tidecore.errors import CoreError


@pytest.fixture
def coastal(serve):
    """A service of its own: what is remembered here is of these tests."""
    client = serve()
    return client, make_coast(client)


def refuse(*_args, **_kwargs):
    raise CoreError("the search was made")


def ask(client, coast, **headers):
    body = {**example("search_windows"), "mark_ids": [coast.mark], "rule_ids": [coast.rule]}
    return client.post("/v1/windows/search", json=body, headers=headers)


@pytest.mark.sqlite("PostgreSQL has no count of commits to remember by")
def test_a_search_asked_again_is_not_made_again(coastal, monkeypatch):
    client, coast = coastal
    client._transport.raise_server_exceptions = False
    first = ask(client, coast)
    table = ask(client, coast, accept="text/csv")
    monkeypatch.setattr("service.usecases.windows.search_windows", refuse)
    again = ask(client, coast)
    assert (again.status_code, again.content) == (200, first.content)
    assert again.headers["content-type"] == first.headers["content-type"]
    assert again.headers["vary"] == first.headers["vary"]
    assert again.headers["x-request-id"] != first.headers["x-request-id"]
    assert ask(client, coast, accept="text/csv").content == table.content != first.content
    # Another question is looked into, and so is the same one after a write.
    other = {**example("search_windows"), "mark_ids": [coast.mark], "rule_ids": [coast.rule], "limit": 1}
    assert client.post("/v1/windows/search", json=other).status_code == 500
    client.patch(
        f"/v1/marks/{coast.mark}",
        json={"notes": "Weed."},
        headers={"If-Match": "*", "Content-Type": "application/merge-patch+json"},
    )
    assert ask(client, coast).status_code == 500


@pytest.mark.sqlite("PostgreSQL has no count of commits to remember by")
def test_a_refusal_is_not_remembered_and_old_answers_go(coastal):
    client, coast = coastal
    assert client.post("/v1/windows/search", json={"start": "x"}).status_code == 422
    assert not client.app.state.answers._kept
    ask(client, coast)
    (key,) = client.app.state.answers._kept
    for k in range(MOST_ANSWERS):
        client.app.state.answers.keep(k, 0, (b"", {}))
    assert key not in client.app.state.answers._kept
