"""Which windows of the coming weekend are the best, at any of my marks, for any of my rules?

python best_weekend.py [FRIDAY]     the weekend after today, or that of the Friday given as YYYY-MM-DD
"""

import datetime
import sys
import zoneinfo

from calls import call

today = datetime.datetime.now(datetime.UTC).date()
friday = (
    datetime.date.fromisoformat(sys.argv[1])
    if len(sys.argv) > 1
    else today + datetime.timedelta(days=(4 - today.weekday()) % 7)
)
sunday = friday + datetime.timedelta(days=2)
found = call("POST", "/v1/windows/search", {"start": f"{friday}T18:00Z", "end": f"{sunday}T22:00Z", "limit": 10})
marks = {mark["id"]: mark["name"] for mark in found["marks"]}
rules = {rule["id"]: rule["name"] for rule in found["rules"]}

print(f"{found['found']} windows from {friday} 18:00 to {sunday} 22:00 UTC; the best, by the clocks of each mark:")
for window in found["windows"]:
    zone = zoneinfo.ZoneInfo(window["time_zone"])
    start, end = (datetime.datetime.fromisoformat(window[name]).astimezone(zone) for name in ("start", "end"))
    unknown = ", ".join(one["factor"] for one in window["unknowns"])
    print(
        f"{start:%a %d %b %H:%M} to {end:%H:%M}  {marks[window['mark_id']]}  {rules[window['rule_id']]}"
        f"  score {window['mean_score']:.2f}  held back by {window['limiting_factor'] or 'nothing'}"
        f"  not known: {unknown or 'nothing'}"
    )
print(found["caution"])
