"""What does the month ahead hold at every mark? For a scheduled job: run it as often as you like.

python month_ahead.py FILE [FIRST_DAY]     30 days from today or FIRST_DAY; FILE gets one window a line, in time order

Nothing is searched where nothing has changed since the file was written: the list of changes says so. The file is
replaced whole, so that who reads it never sees half of it.
"""

import datetime
import json
import os
import sys
from pathlib import Path

from calls import call, items

DAYS, CHUNK_DAYS = 30, 6
target = Path(sys.argv[1])
first = datetime.date.fromisoformat(sys.argv[2]) if len(sys.argv) > 2 else datetime.datetime.now(datetime.UTC).date()


def newest_place() -> str:
    """Return the place after the latest change there is."""
    place = None
    while True:
        page = call("GET", "/v1/changes", after=place)
        place = page["next_after"]
        if not page["more"]:
            return str(place)


# Before anything is searched: what changes meanwhile is found by the next run.
head = {"first_day": str(first), "days": DAYS, "place": newest_place()}
if target.exists():
    with target.open(encoding="utf-8") as lines:
        if json.loads(lines.readline()) == head:
            print(f"{target}: nothing has changed")
            sys.exit()

windows = []
marks = {mark["id"]: mark["name"] for mark in items("/v1/marks")}
for mark_id, name in marks.items():
    for day in range(0, DAYS, CHUNK_DAYS):
        start = first + datetime.timedelta(days=day)
        end = start + datetime.timedelta(days=min(CHUNK_DAYS, DAYS - day))
        body = {"start": f"{start}T00:00Z", "end": f"{end}T00:00Z", "mark_ids": [mark_id], "limit": 2000}
        windows += [{"mark": name, **window} for window in call("POST", "/v1/windows/search", body)["windows"]]
windows.sort(key=lambda window: (window["start"], window["mark_id"], window["rule_id"]))

written = target.with_name(target.name + ".new")
written.write_text("".join(f"{json.dumps(line)}\n" for line in [head, *windows]), encoding="utf-8")
os.replace(written, target)
print(f"{target}: {len(windows)} windows at {len(marks)} marks")
