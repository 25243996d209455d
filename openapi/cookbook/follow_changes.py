"""How do I keep a copy of my marks and rules, deletions included, without asking for everything each time?

python follow_changes.py FOLDER     run it whenever you like; FOLDER/place remembers how far the copy is
"""

import json
import sys
from pathlib import Path

from calls import call

KEPT = {"mark": "/v1/marks", "species_rule": "/v1/species-rules"}
folder = Path(sys.argv[1])
folder.mkdir(exist_ok=True)
remembered = folder / "place"
place = remembered.read_text(encoding="utf-8") if remembered.exists() else None

written = removed = 0
while True:
    page = call("GET", "/v1/changes", after=place)
    for change in page["items"]:
        if change["kind"] not in KEPT:
            continue
        copy = folder / f"{change['kind']}.{change['id']}.json"
        if change["change"] == "deleted":
            copy.unlink(missing_ok=True)
            removed += 1
        else:
            # The version that the list names: a later one has a later place in it, and so has its end.
            path = f"{KEPT[change['kind']]}/{change['id']}"
            thing = call("GET", path, version=change["version"], or_absent=True)
            if thing is None:
                continue
            copy.write_text(json.dumps(thing, indent=1), encoding="utf-8")
            written += 1
    # Only once everything on the page is kept: a run cut short takes the page again, which does no harm.
    place = page["next_after"]
    remembered.write_text(place, encoding="utf-8")
    if not page["more"]:
        break
print(f"{folder}: {written} written, {removed} removed")
