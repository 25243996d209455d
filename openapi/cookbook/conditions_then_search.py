"""What does the new forecast do to the windows that I had in mind?

python conditions_then_search.py MARK RULE FORECAST     external_refs or ids; FORECAST: a file with one issue, as JSON

The span searched is that of the forecast. The issue is the body of POST /v1/conditions without its place; the newest
valid one counts, and what no forecast reaches stays unknown and is named.
"""

import json
import sys
from pathlib import Path
from typing import Any

from calls import call, named

mark, rule = named("/v1/marks", sys.argv[1]), named("/v1/species-rules", sys.argv[2])
issue = json.loads(Path(sys.argv[3]).read_text(encoding="utf-8"))
body = {
    "start": issue["times"][0],
    "end": issue["times"][-1],
    "mark_ids": [mark["id"]],
    "rule_ids": [rule["id"]],
}


def show(title: str, found: dict[str, Any]) -> None:
    """Print the windows of a search, and what it did not know."""
    print(f"{title}: {found['found']} windows")
    for window in found["windows"]:
        unknown = sorted({one["factor"] for one in window["unknowns"]})
        print(
            f"  {window['start']} to {window['end']}  score {window['mean_score']:.2f}"
            f"  held back by {window['limiting_factor'] or 'nothing'}  not known: {', '.join(unknown) or 'nothing'}"
        )
    for nothing in found["without_window"]:
        print(f"  none: {' '.join(nothing['reasons'])}")


show("before", call("POST", "/v1/windows/search", body))
call("POST", "/v1/conditions", {**issue, "mark_id": mark["id"]})
show("with the forecast", call("POST", "/v1/windows/search", body))
