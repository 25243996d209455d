"""``ebbmark windows``: windows as a table for a person."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from datetime import timedelta

import numpy as np
from rich import box
from rich.console import Console
from rich.table import Table

from service.api.instants import read_instant, to_numpy, write_instant
from service.bootstrap import House
from service.cli.named import ids_of
from service.errors import DocumentInvalid
from service.logs import configure_logs
from service.security import LOCAL_CALLER, Caller
from service.settings import read_settings
from service.usecases.context import Context
from service.usecases.marks import MARKS
from service.usecases.species_rules import SPECIES_RULES
from service.usecases.windows import FoundWindow, SearchResult, search_windows
from tidecore.errors import Fault
from tidecore.safety import DEFERS, HazardReport
from tidecore.timebase import TimeSpan
from tidecore.timeline import factor_words

DEMO_DAYS = 14.0
#: Width of tables where nobody's terminal says one.
_PLAIN_WIDTH = 130

#: Where there is no window at all, marks and rules of which it is said why.
_EXPLAINED = 5
#: Dangers and cautions that are named beside a window; of more it is said how many.
_NAMED = 2


def console() -> Console:
    """Return a console on standard output; text is shown as it is, brackets and all."""
    width = None if sys.stdout.isatty() else _PLAIN_WIDTH
    return Console(width=width, markup=False, emoji=False)


def show_windows(
    start: str | None, days: float, mark_ids: Sequence[str] | None, rule_ids: Sequence[str] | None, most: int
) -> None:
    """Search the store and print the best windows."""
    settings = read_settings()
    configure_logs(settings.log_format, "error")
    house = House(settings)
    try:
        house.open(with_runner=False)
        print_windows(search_from(house.context, LOCAL_CALLER, start, days, mark_ids, rule_ids), most)
    finally:
        house.close()


def search_from(
    context: Context,
    caller: Caller,
    start: str | None,
    days: float,
    mark_ids: Sequence[str] | None,
    rule_ids: Sequence[str] | None,
) -> SearchResult:
    """Search ``days`` from ``start``, an instant with its offset; from now, to the minute, if it is None."""
    if start is None:
        first = context.clock().replace(second=0, microsecond=0)
    else:
        try:
            first = read_instant(start)
        except ValueError as error:
            expected = "an instant with its offset, as 2026-01-31T06:00:00Z"
            raise DocumentInvalid(Fault("start", f"is {start!r}", expected)) from error
    span = TimeSpan(to_numpy(first), to_numpy(first + timedelta(days=days)))
    marks, rules = ids_of(context, caller, MARKS, mark_ids), ids_of(context, caller, SPECIES_RULES, rule_ids)
    return search_windows(context, caller, span, marks, rules)


def print_windows(result: SearchResult, most: int) -> None:
    """Print the best ``most`` windows of a search, what is unknown in them, and the caution."""
    shown = pick_varied(result, most)
    first, last = write_instant(result.span.start)[:10], write_instant(result.span.end)[:10]
    if not shown:
        console().print(f"No window, {first} to {last}.", highlight=False)
        for none in result.nothing[:_EXPLAINED]:
            why = " ".join(none.explanation.sentences)
            console().print(f"{none.mark.document.name}, {none.rule.document.name}: {why}", highlight=False)
        console().print(DEFERS, highlight=False)
        return
    table = Table(
        title=f"{len(shown)} of the best of {len(result.windows)} windows, {first} to {last}, "
        "most hours x score first, each by its mark's clock",
        box=box.SIMPLE_HEAD,
    )
    for heading in ("day", "from", "to", "mark", "rule", "score", "best", "limited by", "tides", "mind"):
        table.add_column(heading, justify="right" if heading == "score" else "left")
    reports = [found.hazards() for found in shown]
    for found, report in zip(shown, reports, strict=True):
        table.add_row(*_row(found, report))
    console().print(table)
    unknown = sorted({one.factor for found in result.windows for one in found.window.unknowns})
    unknown += sorted({name for none in result.nothing for name in none.explanation.excluded_by} - set(unknown))
    if unknown:
        words = ", ".join(dict.fromkeys(map(factor_words, unknown)))
        console().print(f"Unknown, and treated as each rule says: {words}.", highlight=False)
    if result.nothing:
        count = len(result.nothing)
        pairs = "1 pair of mark and rule has" if count == 1 else f"{count} pairs of mark and rule have"
        console().print(f"{pairs} no window in this span.", highlight=False)
    not_assessed = sorted({kind for report in reports for kind in report.not_assessed})
    if not_assessed:
        words = ", ".join(kind.replace("_", " ") for kind in not_assessed)
        console().print(f"?: hazards that are not assessed, which is no assurance: {words}.", highlight=False)
    console().print(DEFERS, highlight=False)


def pick_varied(result: SearchResult, most: int) -> list[FoundWindow]:
    """Return the best windows, at most ``most``: one of a mark and rule, and of no rule more than its share.

    Otherwise the few rules that hold longest would fill the table.
    """
    share = max(1, -(-most // max(1, len({found.rule.record.id for found in result.windows}))))
    pairs: set[tuple[str, str]] = set()
    taken: Counter[str] = Counter()
    picked: list[FoundWindow] = []
    for found in result.windows:
        rule_id = found.rule.record.id
        pair = (found.mark.record.id, rule_id)
        if pair not in pairs and taken[rule_id] < share and len(picked) < most:
            pairs.add(pair)
            taken[rule_id] += 1
            picked.append(found)
    return picked


def _row(found: FoundWindow, report: HazardReport) -> tuple[str, ...]:
    window, mark = found.window, found.mark.document

    def clock(time: np.datetime64) -> str:
        return write_instant(time, mark.zone)[11:16]

    tides = {"high_water": "HW", "low_water": "LW"}
    times = [f"{tides[event.kind]} {clock(event.time)}" for event in window.key_times if event.kind in tides]
    local = write_instant(window.start, mark.zone)[:10]
    day = np.datetime64(local, "D").astype(object).strftime("%a %d %b")
    return (
        day,
        clock(window.start),
        clock(window.end),
        mark.name,
        found.rule.document.name,
        f"{window.mean_score:.2f}",
        clock(window.best_hour.start),
        factor_words(window.limiting_factor) if window.limiting_factor else "",
        ", ".join(times),
        _minded(report),
    )


def _minded(report: HazardReport) -> str:
    """Return the dangers and cautions of a window by name, the gravest first, and how many are not assessed."""
    kinds = list(dict.fromkeys(one.kind for one in report.hazards if one.grade in ("danger", "caution")))
    told = [kind.replace("_", " ") for kind in kinds[:_NAMED]]
    told += [f"+{len(kinds) - _NAMED}"] if len(kinds) > _NAMED else []
    return ", ".join(told + ([f"{len(report.not_assessed)} ?"] if report.not_assessed else []))
