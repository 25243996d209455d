"""Which marks of an axis a rule can be searched at in one go: those to which it is the same rule."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from tidecore.place import Mark
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
    here = [_accepted(rules, timeline.mark) for timeline in axis.timelines]
    axis.prepare([tuple(dict.fromkeys(name for rule in some.values() for name in rule.factor_names)) for some in here])
    made: dict[Hashable, tuple[int, Judgement, list[int]]] = {}
    for place, timeline in enumerate(axis.timelines):
        for k, rule in here[place].items():
            judged = Judgement(rule, timeline, axis.tracks[place])
            made.setdefault((k, judged.alike()), (k, judged, []))[2].append(place)
    return [Group(rule, judged, tuple(places)) for rule, judged, places in made.values()]


def _accepted(rules: Sequence[SpeciesRule], mark: Mark) -> dict[int, SpeciesRule]:
    """Return the rules as they are at a mark whose ground they accept or may accept, by their numbers."""
    here = {k: rule_at(rule, mark) for k, rule in enumerate(rules)}
    return {k: rule for k, rule in here.items() if suitability(rule, mark) != "other_bed"}
