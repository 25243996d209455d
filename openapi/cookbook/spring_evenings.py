"""On which spring-tide evenings does high water stay under a height at my mark, and which rules hold on them?

python spring_evenings.py MARK MOST_HW_M [FIRST_DAY] [DAYS]     MARK: its external_ref or id; 60 days from today

The filter is CQL2 (OGC 21-065r2) over the columns that GET /v1/queryables lists; windows are cut where it is not true.
"""

import datetime
import sys

from calls import call, named

reference, most = sys.argv[1], float(sys.argv[2])
today = datetime.datetime.now(datetime.UTC).date()
first = datetime.date.fromisoformat(sys.argv[3]) if len(sys.argv) > 3 else today
end = first + datetime.timedelta(days=int(sys.argv[4]) if len(sys.argv) > 4 else 60)
wanted = f"range_ratio >= 0.85 AND height_of_hw < {most:g} AND minutes_from_sunset BETWEEN -60 AND 180"

mark = named("/v1/marks", reference)
body = {"start": f"{first}T00:00Z", "end": f"{end}T00:00Z", "mark_ids": [mark["id"]], "filter": wanted, "limit": 2000}
found = call("POST", "/v1/windows/search", body)
rules = {rule["id"]: rule["name"] for rule in found["rules"]}
evenings: dict[str, list[str]] = {}
for window in sorted(found["windows"], key=lambda window: window["start"]):
    evenings.setdefault(window["date_local"], []).append(f"{rules[window['rule_id']]} {window['mean_score']:.2f}")
for evening, fish in evenings.items():
    print(f"{evening}  {', '.join(fish)}")
print(f"{len(evenings)} evenings at {mark['name']} where {wanted}")
