"""Filters over the columns of a timeline, in CQL2 (OGC 21-065r2), text and JSON.

``guard`` refuses what no parser should see, ``syntax`` makes a tree, ``compiling`` checks it against ``queryable``
columns and makes ``nodes`` of it, ``temporal`` knows times; ``filter`` is the door.
"""

from tidecore.filters.filter import Filter
from tidecore.filters.queryable import Queryable, queryables
from tidecore.filters.syntax import LANGUAGES

__all__ = ["LANGUAGES", "Filter", "Queryable", "queryables"]
