"""How far the largest run-up stays from the peg, so that more water or more sea never makes it drier."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tidecore.shore.beds import GRAVEL, SAND
from tidecore.shore.ground import Ground
from tidecore.shore.swash import RunUp, gravel_strength, run_up, sand_strength
from tidecore.shore.waves import Waves
from tidecore.shore.wetting import cautious_share, wetted_by
from tidecore.units import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class DryMargin:
    """At ``n`` instants how much ground stays dry at the peg, NaN where unknown; ``run_up`` says why.

    ``vertical`` [m]: the ground at the peg less the level that the largest run-up wets. ``horizontal`` [m]: from the
    peg seaward to where that level meets the land. Negative where the peg is wetted.
    """

    vertical: FloatArray
    horizontal: FloatArray
    run_up: RunUp


def dry_margin(
    ground: Ground,
    peg_distance: float,
    still: ArrayLike,
    waves: Waves,
    largest: float = 1.0,
    known: RunUp | None = None,
) -> DryMargin:
    """Return the dry margin at a peg.

    Parameters
    ----------
    ground : Ground
        The profile, with its beds.
    peg_distance : float
        Where the angler stands [m]; unknown off the profile.
    still : array, shape ``(n,)``
        Levels of the still water [m above the zero of the ground].
    waves : Waves
        The sea, shape ``(n,)``.
    largest : float
        How many times R2 the largest run-up is, see `tidecore.shore.waves.largest_over_r2`.
    known : RunUp, optional
        The run-up of the same sea, if it is worked out already.

    Returns
    -------
    DryMargin
        Known where the run-up is. A higher level or a higher sea never makes a known margin larger. On one slope
        within 2 cm of the formula; where it jumps, as waves begin to reach a steeper face, it jumps a little early.

    Notes
    -----
    Where a face ends in a flat, the formulae give less run-up as the water rises on to the flat, and those for sand
    step down where the dissipative form begins. Neither is taken for dryness: the level wetted is the highest that
    this still level or any lower one reaches, and sand has the larger of its two forms.
    """
    level = np.atleast_1d(np.asarray(still, dtype=np.float64))
    found = run_up(ground, level, waves) if known is None else known
    wetted = np.where(found.why == 0, wetted_level(ground, level, waves, largest), np.nan)
    peg = float(ground.level_at(peg_distance))
    off = np.isnan(wetted) | np.isnan(peg)
    across = ground.waterline(wetted) - peg_distance
    return DryMargin(np.where(off, np.nan, peg - wetted), np.where(off, np.nan, across), found)


def wetted_level(ground: Ground, still: FloatArray, waves: Waves, largest: float = 1.0) -> FloatArray:
    """Return the highest level that ``largest`` times the run-up wets [m above the zero of the ground].

    That of the beds it is known for; see `dry_margin` for when it is not to be used.
    """
    wetted = np.full(still.shape, -np.inf)
    for beds, strength in ((SAND, sand_strength(waves)), (GRAVEL, gravel_strength(waves))):
        if not any(bed in beds for bed in ground.beds):
            continue
        if ground.plane:
            slope = ground.mean_slope(np.zeros(1), np.ones(1))
            reached = still + largest * strength * cautious_share(beds, slope)
        else:
            reached = wetted_by(ground, beds, largest, still, strength)
        wetted = np.fmax(wetted, reached)
    return np.where(np.isneginf(wetted), np.nan, wetted)
