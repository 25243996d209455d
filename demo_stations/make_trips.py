"""Make the invented trips of the demo coast, as NDJSON for the import kind ``trip``.

    .venv/bin/python -m demo_stations.make_trips > demo_stations/log/trips.ndjson

Nobody fished any of them. Chance is seeded as in `make_diary`. Each is of two rods with their casts, one near, one far,
so that rates, seasons and the comparison of two rods have something to say.
"""

from __future__ import annotations

import json
import random
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

SEED = 20250401
FIRST, TRIPS, APART_DAYS = datetime(2025, 1, 4, tzinfo=UTC), 36, 10.0
NOTE = "Invented, as all of the demo coast."
#: Marks, each with where its rods lie [m] and its fish: name, code of FAO, months, how many an hour, usual length [cm].
MARKS = {
    "mirrelsand": ((40, 90), (("Dicentrarchus labrax", "BSS", range(5, 11), 0.5, 42.0),
                              ("Platichthys flesus", "FLE", range(1, 13), 0.3, 29.0))),
    "drenlow_bank": ((60, 110), (("Merlangius merlangus", "WHG", (1, 2, 10, 11, 12), 1.6, 27.0),
                                 ("Gadus morhua", "COD", (1, 2, 11, 12), 0.2, 51.0),
                                 ("Pleuronectes platessa", "PLE", range(3, 10), 0.4, 31.0))),
}  # fmt: skip
CAST_MIN, OUT_MIN = 24.0, 3.0


def trips() -> Iterator[dict[str, Any]]:
    """Yield the trips, oldest first, as rows of an import."""
    draw = random.Random(SEED).random
    for number in range(TRIPS):
        start = FIRST + timedelta(days=APART_DAYS * number, minutes=5 * int(288 * draw()))
        mark = list(MARKS)[int(len(MARKS) * draw())]
        yield _trip(draw, mark, start, hours=2.5 + 0.5 * int(4 * draw()))


def _trip(draw: Callable[[], float], mark: str, start: datetime, hours: float) -> dict[str, Any]:
    reaches, fish = MARKS[mark]
    end = start + timedelta(hours=hours)
    rods, caught = [], []
    for rod, metres in zip(("near", "far"), reaches, strict=True):
        out, casts = start + timedelta(minutes=10), []
        while out + timedelta(minutes=CAST_MIN) < end:
            back = out + timedelta(minutes=CAST_MIN)
            casts.append({"out": _written(out), "in": _written(back)})
            for name, code, months, rate, usual in fish:
                if start.month in months and draw() < rate * (1.4 if rod == "near" else 0.7) * CAST_MIN / 60.0:
                    length = round(usual * (0.75 + 0.5 * draw()))
                    caught.append(
                        {
                            "at": _written(back),
                            "deployment": rod,
                            "species": {"scientific_name": name, "fao_code": code},
                            "length": {"cm": length, "kind": "total"},
                            "fate": "kept" if length > 1.15 * usual else "returned",
                        }
                    )
            out = back + timedelta(minutes=OUT_MIN)
        reach = {"metres": metres, "known": "counted"}
        began = start + timedelta(minutes=8)
        rods.append(
            {"ref": rod, "rod": rod, "start": _written(began), "end": _written(end), "reach": reach, "casts": casts}
        )
    head = {"mark": mark, "start": _written(start), "end": _written(end), "notes": NOTE}
    outcome = "fished" if caught else "blank"
    caught.sort(key=lambda one: str(one["at"]))
    reference = f"demo-{start.date().isoformat()}"
    return {"client_ref": reference, "trip": {**head, "outcome": outcome}, "deployments": rods, "catches": caught}


def _written(instant: datetime) -> str:
    return instant.strftime("%Y-%m-%dT%H:%M:%SZ")


if __name__ == "__main__":
    for trip in trips():
        sys.stdout.write(json.dumps(trip, separators=(",", ":")) + "\n")
