"""Make an invented diary of ten years at the marks of the demo coast, as CSV for the import kind ``diary_row``.

    .venv/bin/python -m demo_stations.make_diary > demo_stations/log/diary.csv

Nobody fished any of it. Chance is seeded, and draws come from ``random.Random.random`` alone, so the same rows come out
every time; some days are blank, on some nobody fished.
"""

from __future__ import annotations

import csv
import random
import sys
from collections.abc import Iterator
from datetime import date, timedelta

SEED = 20160101
FIRST, LAST = date(2016, 1, 1), date(2025, 12, 31)
#: Mean days from one outing to the next.
APART_DAYS = 6.0
MARKS = ("mirrelsand", "drenlow_bank", "ondrith_strand", "sallowen_creek")
TIDES = ("HW -2 to +2", "LW 0 to +3", "HW -3 to 0", "LW -2 to +2")
#: Code of FAO, months in which it comes, and how many a good outing gives.
FISH = (
    ("BSS", (5, 6, 7, 8, 9, 10), 1.2),
    ("COD", (1, 2, 11, 12), 0.9),
    ("WHG", (1, 10, 11, 12), 4.0),
    ("FLE", (1, 2, 9, 10, 11, 12), 1.5),
    ("PLE", (4, 5, 6, 7, 8, 9), 0.8),
)
NOTE = "invented"
HEADER = (
    "client_ref",
    "date",
    "mark",
    "tide",
    "rods",
    *(f"caught.{code}" for code, _, _ in FISH),
    "notes",
    "outcome",
    "why_not",
)


def rows() -> Iterator[list[str]]:
    """Yield the rows of the diary, oldest first, as `HEADER` names their cells."""
    draw, day = random.Random(SEED).random, FIRST
    while True:
        day += timedelta(days=1 + int(2.0 * (APART_DAYS - 1.0) * draw()))
        if day > LAST:
            return
        mark, tide = MARKS[int(len(MARKS) * draw())], TIDES[int(len(TIDES) * draw())]
        unfished, rods = draw() < 0.05, 1 + (draw() < 0.7)
        counts = [int(most * rods * draw() ** 2) if day.month in months else 0 for _, months, most in FISH]
        head = [f"diary-{day.isoformat()}", day.isoformat(), mark, tide, str(rods)]
        if unfished:
            yield [*head, *[""] * len(FISH), NOTE, "not_fished", "weed" if draw() < 0.5 else "surf"]
        else:
            cells = [str(count) if count else "" for count in counts]
            yield [*head, *cells, NOTE, "fished" if any(counts) else "blank", ""]


if __name__ == "__main__":
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(HEADER)
    writer.writerows(rows())
