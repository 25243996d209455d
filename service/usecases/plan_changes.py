"""What is other in a plan than in the one before it: sessions new, gone, moved, rescored, or of another grade.

A session is the one of the plan before that it shares most of its fishing with. It keeps the key of that one, so that
whoever follows plans knows it again, and counts how often it changed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

Documents = Sequence[Mapping[str, Any]]
#: Of a session: its key, how often it changed, its arrival [min since 1970], what it is worth [h].
KeyedSession = tuple[str, int, int, float]

#: A session has moved by so much [s], and is rescored by so much [h], or it is the same.
MOVED_S, RESCORED_H = 60.0, 0.05


@dataclass(frozen=True, slots=True)
class Before:
    """A mark in the plan before: keys and counts of its sessions, and what they were."""

    keyed: Sequence[KeyedSession]
    sessions: Documents


def key_sessions(sessions: Documents) -> list[KeyedSession]:
    """Return sessions with new keys: each is called by its arrival."""
    return [(_new_key(one, ()), 0, _minute(one["arrive"]), one["worth_h"]) for one in sessions]


def compare(
    sessions: Documents, before: Before, start: datetime, end: datetime, made: str
) -> tuple[list[KeyedSession], list[dict[str, Any]]]:
    """Return sessions with their keys, and what is other than before; both lists are in time order.

    ``made`` tells the plan from those before it, and ends the keys of what is new in it: a session that was gone and
    comes back is another, for calendars keep what was cancelled, whatever comes after it with a smaller count.

    New or gone is only what arrives in ``[start, end)``, the time that both plans are of. A session that the start or
    the end of a plan has cut counts as changed in its key, for it is told otherwise, and is no news.
    """
    pairs = _matched(sessions, before.sessions)
    taken = {before.keyed[k][0] for k in pairs.values()}
    keyed: list[KeyedSession] = []
    changes: list[tuple[str, dict[str, Any]]] = []
    for number, one in enumerate(sessions):
        if number in pairs:
            old, (key, count, *_) = before.sessions[pairs[number]], before.keyed[pairs[number]]
            kinds = _differing(old, one)
            count += bool(kinds)
            if not (start <= _time(old["arrive"]) and _time(old["leave"]) < end):
                kinds = []
        else:
            old, key, count = None, _new_key(one, taken, f"-{made}"), 0
            taken.add(key)
            kinds = ["new"] if start <= _time(one["arrive"]) < end else []
        keyed.append((key, count, _minute(one["arrive"]), one["worth_h"]))
        if kinds:
            changes.append((one["arrive"], _change(key, kinds, old, one)))
    kept = set(pairs.values())
    for number, old in enumerate(before.sessions):
        if number not in kept and start <= _time(old["arrive"]) < end:
            changes.append((old["arrive"], _change(before.keyed[number][0], ["gone"], old, None)))
    return keyed, [change for _, change in sorted(changes, key=lambda one: one[0])]


def _matched(sessions: Documents, before: Documents) -> dict[int, int]:
    """Return for each session the one before that it shares most time with; both lists are in time order."""
    spans = [(_time(one["start"]), _time(one["end"])) for one in sessions]
    earlier = [(_time(one["start"]), _time(one["end"])) for one in before]
    shared, first = [], 0
    for k, (start, end) in enumerate(spans):
        while first < len(earlier) and earlier[first][1] <= start:
            first += 1
        for j in range(first, len(earlier)):
            if earlier[j][0] >= end:
                break
            both = (min(end, earlier[j][1]) - max(start, earlier[j][0])).total_seconds()
            shared.append((-both, k, j))
    pairs: dict[int, int] = {}
    for _, k, j in sorted(shared):
        if k not in pairs and j not in pairs.values():
            pairs[k] = j
    return pairs


def _differing(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[str]:
    kinds = []
    if any(old[end] != new[end] and _apart(old[end], new[end]) > MOVED_S for end in ("arrive", "leave")):
        kinds.append("moved")
    if abs(old["worth_h"] - new["worth_h"]) > RESCORED_H:
        kinds.append("rescored")
    if old["verdicts"]["safe"] != new["verdicts"]["safe"]:
        kinds.append("hazard")
    return kinds


def _change(
    key: str, kinds: Sequence[str], old: Mapping[str, Any] | None, new: Mapping[str, Any] | None
) -> dict[str, Any]:
    return {"key": key, "kinds": list(kinds), "before": _brief(old), "after": _brief(new)}


def _brief(one: Mapping[str, Any] | None) -> dict[str, Any] | None:
    if one is None:
        return None
    told = {name: one[name] for name in ("date_local", "arrive", "leave", "worth_h")}
    return {**told, "safe": one["verdicts"]["safe"], "rule_id": one["verdicts"]["feeding"]["rule_id"]}


def _new_key(one: Mapping[str, Any], taken: Any, made: str = "") -> str:
    """Return what a session is called: its arrival to the minute, as 20261204T0615; told from one called so."""
    first: str = one["arrive"][:16].replace("-", "").replace(":", "") + made
    key, number = first, 1
    while key in taken:
        number += 1
        key = f"{first}-{number}"
    return key


def _apart(one: str, other: str) -> float:
    return abs((_time(one) - _time(other)).total_seconds())


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _minute(text: str) -> int:
    return int(_time(text).timestamp()) // 60
