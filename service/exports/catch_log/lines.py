"""NDJSON, one trip or diary row a line, as the import of its kind takes it back.

``client_ref`` is the external reference, or the id where there is none: either is found again, so that what is still
there is unchanged and nothing comes twice. The mark is named the same way.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import orjson

from service.exports.catch_log.things import Logged

MEDIA_TYPE = "application/x-ndjson"


def trip_lines(trips: Iterable[Logged]) -> Iterator[bytes]:
    """Yield a line for each trip, whole: deployments, bites, catches and corrections with it."""
    for one in trips:
        trip = {**one.document["trip"], "mark": one.mark.reference}
        yield orjson.dumps({"client_ref": one.reference, **one.document, "trip": trip}) + b"\n"


def diary_lines(rows: Iterable[Logged]) -> Iterator[bytes]:
    """Yield a line for each row of a diary."""
    for one in rows:
        yield orjson.dumps({"client_ref": one.reference, **one.document, "mark": one.mark.reference}) + b"\n"
