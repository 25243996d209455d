"""A plan of pegs in words: metres and minutes, by the clocks of the mark."""

from __future__ import annotations

import zoneinfo

from tidecore.shore import TurnBack
from tidecore.timeline.peg_plans import MoveCause, PegPlan, Stand
from tidecore.timeline.wall_clock import shown_minute

WHY_MOVE: dict[MoveCause, str] = {
    "set_up": "dry ground, as far out as it stays so",
    "ebb": "the ebb has laid it bare",
    "flood": "the flood comes",
    "sea_falls": "the sea goes down",
    "sea_rises": "the sea gets up",
}


def clock(zone: zoneinfo.ZoneInfo, time_us: int) -> str:
    """Return what a clock at the mark shows, hours and minutes."""
    return shown_minute(zone, time_us)[11:]


def peg_sentences(plan: PegPlan, zone: zoneinfo.ZoneInfo) -> tuple[str, ...]:
    """Return a plan in words, in time order; what is missing where there is none."""
    told = [(one.move.time_us, move_sentence(one, zone)) for one in plan.stands]
    told += [
        (one.start_us, f"{clock(zone, one.start_us)} to {clock(zone, one.end_us)}: no peg; {one.why}.")
        for one in plan.untold
    ]
    if plan.missing:
        told.append((plan.span.start_us, f"No plan of pegs: {'; '.join(plan.missing)}."))
    if plan.turn_back is not None and plan.turn_back.time_us is not None:
        told.append((plan.turn_back.time_us, turn_back_sentence(plan.turn_back, zone, plan.span.start_us)))
    return tuple(sentence for _, sentence in sorted(told))


def turn_back_sentence(found: TurnBack, zone: zoneinfo.ZoneInfo, now_us: int | None = None) -> str:
    """Return when to turn back, in words; or, at an instant after that, when it was due."""
    if found.time_us is None or found.covered_us is None:
        return f"The way back is expected to stay dry: {found.way.sill_name} is not reached."
    if found.already:
        return f"Turning back was due long ago: {found.way.sill_name} may have been under water for more than a day."
    when, covered = clock(zone, found.time_us), clock(zone, found.covered_us)
    if now_us is not None and found.time_us <= now_us:
        return f"Turning back was due at {when}; {found.way.sill_name} may be under water from {covered}."
    return f"{when}: turn back; {found.way.sill_name} may be under water from {covered}."


def move_sentence(stand: Stand, zone: zoneinfo.ZoneInfo) -> str:
    """Return one move in words."""
    move = stand.move
    when, until = clock(zone, move.time_us), ""
    if move.reached_us is not None:
        until = f"; the largest run-up may reach it from {clock(zone, move.reached_us)}"
    if stand.cause == "set_up":
        return f"{when}: set up at {move.distance_m:g} m{until}."
    way = "out" if move.metres > 0.0 else "back"
    moved = f"after {move.minutes:.0f} min move {abs(move.metres):g} m {way} to {move.distance_m:g} m"
    return f"{when}: {moved}, {WHY_MOVE[stand.cause]}{until}."
