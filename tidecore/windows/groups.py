"""Which marks of an axis a rule can be searched at in one go: those to which it is the same rule."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from tidecore.rules import SpeciesRule, rule_at, suitability
from tidecore.windows.axis import Axis, Places
from tidecore.windows.spans import Judgement


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Marks in ``places`` of an axis to which rule number ``rule`` is the same; ``judged`` stands for all of them."""

    rule: int
    judged: Judgement
    places: Places


def search_groups(rules: Sequence[SpeciesRule], axis: Axis) -> list[Group]:
    """Return for all rules the marks whose ground they accept or may accept, in groups; tracks are made ready.

    Marks are in one group where neither an override, nor what is known of the stream, nor a factor that never changes
    makes a difference to the rule.
    """
    made: dict[Hashable, tuple[int, Judgement, list[int]]] = {}
    for place, timeline in enumerate(axis.timelines):
        here = {k: rule_at(rule, timeline.mark) for k, rule in enumerate(rules)}
        here = {k: rule for k, rule in here.items() if suitability(rule, timeline.mark) != "other_bed"}
        tracks = axis.tracks[place]
        tracks.prepare(timeline, tuple(dict.fromkeys(name for rule in here.values() for name in rule.factor_names)))
        for k, rule in here.items():
            judged = Judgement(rule, timeline, tracks)
            made.setdefault((k, judged.alike()), (k, judged, []))[2].append(place)
    return [Group(rule, judged, tuple(places)) for rule, judged, places in made.values()]
