"""What the recipes share: one call to the service, its refusals said plainly, lists followed to their end.

Only the standard library. The address is EBBMARK_URL (http://localhost:8321 unless set), the key EBBMARK_KEY.
"""

from __future__ import annotations

import json
import os
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator
from typing import Any

ADDRESS = os.environ.get("EBBMARK_URL", "http://localhost:8321").rstrip("/")
KEY = os.environ.get("EBBMARK_KEY", "")
#: A service that has had enough for now (429) is asked so often again, after as long as it says.
TRIES = 5


def call(method: str, path: str, body: Any = None, *, or_absent: bool = False, **query: Any) -> Any:
    """Return the answer to one call as plain data (None where it has no body); ends the script where it is refused.

    ``body`` is sent as JSON. Values of ``query`` that are None are left out, lists are repeated. With ``or_absent``
    what is not there is None.
    """
    sent = {"Accept": "application/json", **({"Authorization": f"Bearer {KEY}"} if KEY else {})}
    content = None if body is None else json.dumps(body).encode()
    if content is not None:
        sent["Content-Type"] = "application/json"
    wanted = urllib.parse.urlencode({name: value for name, value in query.items() if value is not None}, doseq=True)
    request = urllib.request.Request(f"{ADDRESS}{path}{'?' * bool(wanted)}{wanted}", content, sent, method=method)
    for _ in range(TRIES):
        try:
            with urllib.request.urlopen(request, timeout=120) as answer:
                said = answer.read()
                return json.loads(said) if said else None
        except urllib.error.HTTPError as refusal:
            if refusal.code == 404 and or_absent:
                return None
            if refusal.code != 429:
                sys.exit(f"{method} {path}: {_reason(refusal)}")
            time.sleep(float(refusal.headers.get("Retry-After", "1")))
        except urllib.error.URLError as failure:
            sys.exit(f"{ADDRESS} does not answer: {failure.reason}")
    sys.exit(f"{method} {path}: still too many requests after {TRIES} tries")


def items(path: str, **query: Any) -> Iterator[dict[str, Any]]:
    """Yield everything in a list, page after page."""
    cursor = None
    while True:
        page = call("GET", path, cursor=cursor, **query)
        yield from page["items"]
        cursor = page["next_cursor"]
        if cursor is None:
            return


def named(path: str, reference: str) -> dict[str, Any]:
    """Return the thing that the account calls ``reference``, or the one of this id."""
    for thing in items(path, external_ref=reference):
        return thing
    found: dict[str, Any] = call("GET", f"{path}/{urllib.parse.quote(reference, safe='')}")
    return found


def _reason(refusal: urllib.error.HTTPError) -> str:
    """Return what a problem (RFC 9457) says, with every fault it lists."""
    content = refusal.read()
    try:
        problem = json.loads(content)
    except ValueError:
        return f"{refusal.code} {refusal.reason}"
    lines = [f"{refusal.code} {problem.get('title')}: {problem.get('detail', '')}"]
    lines += [f"  {one['field']}: {one['problem']}; expected {one['expected']}" for one in problem.get("errors", ())]
    return "\n".join(lines)
