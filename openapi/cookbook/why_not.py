"""Why is there no window for this rule at this mark then, what would have to change, and when is the next one?

python why_not.py MARK RULE INSTANT     external_refs or ids; the instant with its offset, as 2026-12-05T12:00Z
"""

import sys

from calls import call, named

mark, rule = named("/v1/marks", sys.argv[1]), named("/v1/species-rules", sys.argv[2])
found = call("POST", "/v1/windows/why-not", {"mark_id": mark["id"], "rule_id": rule["id"], "at": sys.argv[3]})

print(f"{rule['rule']['name']} at {mark['name']}, {found['time']}: {'it holds' if found['holds'] else 'no'}")
for obstacle in found["obstacles"]:
    alone = ", and that alone would do" if obstacle["enough_alone"] else ""
    print(
        f"  {obstacle['factor']} is {obstacle['value']} {obstacle['unit']}".rstrip()
        + f", it would have to be {obstacle['needed']}{alone}; next so at {obstacle['after']}"
    )
for reason in found["reasons"]:
    print(f"  {reason}")
for name in ("before", "after"):
    if found[name] is not None:
        print(f"nearest window {name}: {found[name]['start']} to {found[name]['end']}")
