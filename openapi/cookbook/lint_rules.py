"""Which of my rules say what I can hardly mean, and at which marks do they never bite?

python lint_rules.py [FIRST_DAY]     looks at the year from today or FIRST_DAY, season by season
"""

import datetime
import sys

from calls import call, items

SPANS, SPAN_DAYS, EVERY_DAYS = 4, 15, 91
today = datetime.datetime.now(datetime.UTC).date()
first = datetime.date.fromisoformat(sys.argv[1]) if len(sys.argv) > 1 else today

marks = list(items("/v1/marks"))
faulty = 0
for rule in items("/v1/species-rules"):
    said = {
        (one["path"], one["problem"], one["better"])
        for one in call("POST", "/v1/species-rules/lint", rule["rule"])["remarks"]
    }
    for mark in marks:
        seasons = []
        for season in range(SPANS):
            start = first + datetime.timedelta(days=season * EVERY_DAYS)
            end = start + datetime.timedelta(days=SPAN_DAYS)
            path = f"/v1/species-rules/{rule['id']}/remarks"
            answer = call("GET", path, mark_id=mark["id"], start=f"{start}T00:00Z", end=f"{end}T00:00Z")
            seasons.append({(one["path"], one["problem"], one["better"]) for one in answer["remarks"]})
        # What is said in every season is no matter of the season.
        said |= {
            (path, f"at {mark['name']}: {problem}", better) for path, problem, better in set.intersection(*seasons)
        }
    print(f"{rule['rule']['name']}: {len(said)} remarks")
    for path, problem, better in sorted(said):
        print(f"  {path}: {problem}; better {better}")
    faulty += bool(said)
print(f"{faulty} rules with remarks")
