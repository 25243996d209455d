"""Where should I go in the hours I am free this fortnight, and for what?

python free_time_sessions.py [FIRST_DAY]     14 days from today or FIRST_DAY

Edit FREE, TRAVEL_MIN and the rest: they are one angler's week. Hours are those of the clocks at the marks.
"""

import datetime
import sys
import zoneinfo

from calls import call

FREE = {
    "weekly": [
        {"weekdays": ["saturday", "sunday"], "hours": {"from": "06:00", "to": "23:00"}},
        {"weekdays": ["wednesday"], "hours": {"from": "17:30", "to": "01:00"}},
    ]
}
TRAVEL_MIN = 30

today = datetime.datetime.now(datetime.UTC).date()
first = datetime.date.fromisoformat(sys.argv[1]) if len(sys.argv) > 1 else today
body = {
    "start": f"{first}T00:00Z",
    "end": f"{first + datetime.timedelta(days=14)}T00:00Z",
    "free_time": FREE,
    "travel_min": TRAVEL_MIN,
    "plan": True,
    "limit": 5,
}
found = call("POST", "/v1/sessions/search", body)
marks = {mark["id"]: mark["name"] for mark in found["marks"]}
rules = {rule["id"]: rule["name"] for rule in found["rules"]}

for ranked in found["sessions"]:
    session = ranked["session"]
    zone = zoneinfo.ZoneInfo(session["time_zone"])
    out, back = (
        datetime.datetime.fromisoformat(session[name]).astimezone(zone) for name in ("leave_home", "back_home")
    )
    fish = dict.fromkeys(rules[window["rule_id"]] for leg in session["legs"] for window in leg["windows"])
    verdicts = session["verdicts"]
    places = ", then ".join(marks[mark_id] for mark_id in session["mark_ids"])
    print(f"{ranked['rank']}. {out:%a %d %b %H:%M} to {back:%H:%M}  {places}")
    print(f"   for {', '.join(fish)}  safe: {verdicts['safe']['grade']}  fishable: {verdicts['fishable']['grade']}")
    for reason in session["reasons"]:
        print(f"   {reason}")
for change in found["clock_changes"]:
    print(change["sentence"])
print(found["caution"])
