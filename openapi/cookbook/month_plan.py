"""What does a month hold, and how do I get it into my calendar? Plans every mark, and prints an address to follow.

python month_plan.py SERIES MONTH [TIME_ZONE]     MONTH as 2026-12, by the clocks of TIME_ZONE (Etc/UTC unless given)

Run it again whenever something has changed: the plan supersedes the one before of the same series, marks whose inputs
are as they were are taken over, and the address stays good. It is printed once: the service keeps a hash of it.
"""

import sys
import time

from calls import ADDRESS, call, items

series, month = sys.argv[1:3]
zone = sys.argv[3] if len(sys.argv) > 3 else "Etc/UTC"

plan = call("POST", "/v1/plans", {"month": month, "time_zone": zone, "series": series})
while plan["state"] in ("queued", "running"):
    time.sleep(0.5)
    plan = call("GET", f"/v1/plans/{plan['id']}")
if plan["state"] != "done":
    sys.exit(f"the plan {plan['state']}: {(plan['problem'] or {}).get('detail', '')}")

marks = {mark["id"]: mark["name"] for mark in items("/v1/marks")}
counts = plan["marks"]
print(f"{counts['done']} marks done, {counts['reused']} of them as before, {counts['failed']} failed")
best = call("GET", f"/v1/plans/{plan['id']}/sessions", limit=5)["items"]
for one in best:
    safe = one["verdicts"]["safe"].replace("_", " ")
    print(f"{one['date_local']} {one['arrive'][11:16]}Z to {one['leave'][11:16]}Z at {marks[one['mark_id']]}: "
          f"{one['worth_h']:.1f} h, {safe}")  # fmt: skip
if best:
    print(f"month sheet of the best mark: {ADDRESS}/v1/plans/{plan['id']}/marks/{best[0]['mark_id']}/sheet")

if any(feed["series"] == series for feed in items("/v1/feeds")):
    print("a feed follows this series already; DELETE it and run this again for a new address")
else:
    feed = call("POST", "/v1/feeds", {"name": f"Sessions: {series}"[:100], "series": series})
    print(f"follow {ADDRESS}{feed['path']}")
