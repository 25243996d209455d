"""What a mark tells of its shore, ready for arithmetic, and what it leaves unknown."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tidecore.place import Mark
from tidecore.shore.beds import GRAVEL, SAND
from tidecore.shore.fishability import UNKNOWN, in_sector
from tidecore.shore.ground import Ground, plane_ground
from tidecore.shore.swash import CALLED_OFF, RunUp, run_up
from tidecore.shore.turning_back import WayBack, way_back
from tidecore.shore.waves import Waves
from tidecore.units import AnyArray, FloatArray, IntArray

NO_GROUND = "the mark has no profile and no slope"
NO_ZERO = "how far the zero of the ground lies above the datum of the heights is not known"
NO_PEG = "the mark does not say where on the profile the angler stands"
PEG_OFF = "the peg lies off the profile"
NO_WAY = "the mark does not tell the way back"

#: Marks where nobody stands on a beach that waves run up.
_NO_BEACH = {"rock_ledge": "a rock ledge", "pier_or_wall": "a pier or wall", "harbour": "a harbour"}
#: Marks that a sea told offshore does not come to as it is.
_INSIDE = ("estuary", "harbour")


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """The shore of a mark.

    Parameters
    ----------
    ground : Ground or None
        Its profile, or the plane beach of its slope.
    zero_m : float
        How far the zero of the ground lies above the datum of the heights [m]; NaN where unknown.
    uncertainty_m : float
        Of that [m]; 0 where none is stated.
    peg_m : float or None
        Where the angler stands on the profile [m].
    trough_behind_m : float or None
        The lowest ground between the peg and the land, where it lies lower than the peg, see `Ground.sill_behind`.
    way : WayBack or None
        The way back.
    facing_degree : float or None
        Direction the mark looks out to sea.
    sector : (float, float) or None
        Directions of waves that reach it, clockwise; None where it does not say.
    inside : bool
        Whether a sea told offshore does not come here as it is: estuaries and harbours.
    no_beach : str
        Why no run-up is told here whatever the ground; empty where it may be.
    """

    ground: Ground | None
    zero_m: float
    uncertainty_m: float
    peg_m: float | None
    trough_behind_m: float | None
    way: WayBack | None
    facing_degree: float | None
    sector: tuple[float, float] | None
    inside: bool
    no_beach: str

    def still(self, height: FloatArray) -> FloatArray:
        """Return heights above the datum [m] as levels above the zero of the ground; NaN where that is unknown."""
        return height - self.zero_m

    @property
    def beach(self) -> Ground | None:
        """The ground, where its zero is known."""
        return None if np.isnan(self.zero_m) else self.ground

    def reaches(self, waves_at: AnyArray, wave_from: FloatArray) -> IntArray:
        """Return whether a sea reaches the mark: 1 yes, 0 no, -1 where nobody knows.

        Parameters
        ----------
        waves_at : array of str, shape ``(n,)``
            Where the sea is told: ``"at_mark"``, ``"offshore"`` or empty for unknown.
        wave_from : float64 array, shape ``(n,)``
            Direction it comes from [degrees]; NaN where unknown.

        Notes
        -----
        A sea told at the mark is there. One told offshore comes if it comes from the exposure of the mark, or from
        anywhere to a mark that names none; whether it comes into an estuary or harbour nobody knows.
        """
        at_mark = waves_at == "at_mark"
        if at_mark.all():
            return np.ones(wave_from.shape, dtype=np.int64)
        offshore = np.full(wave_from.shape, 1)
        if self.inside:
            offshore[:] = UNKNOWN
        elif self.sector is not None:
            offshore = np.where(np.isnan(wave_from), UNKNOWN, in_sector(wave_from, *self.sector).astype(np.int64))
        return np.where(at_mark, 1, np.where(waves_at == "offshore", offshore, UNKNOWN))

    def run_up(self, still: FloatArray, waves: Waves, reaches: IntArray) -> RunUp | None:
        """Return the run-up of the sea that reaches the mark; None where there is no beach, see `missing`."""
        if self.beach is None or self.no_beach:
            return None
        found = run_up(self.beach, still, waves.where(reaches == 1))
        why = np.where(~np.isnan(waves.height) & (reaches != 1), CALLED_OFF[0] - np.minimum(reaches, 0), found.why)
        return RunUp(found.r2, found.slope, why.astype(np.int8))

    def missing(self, factor: str) -> tuple[str, ...]:
        """Return what the mark does not tell, so that a factor of the shore is unknown at every instant."""
        found = []
        if factor in ("waterline", "water_behind", "run_up", "dry_margin"):
            if factor in ("run_up", "dry_margin") and self.no_beach:
                return (self.no_beach,)
            found += [NO_GROUND] if self.ground is None else []
        if factor == "dry_margin":
            if self.peg_m is None:
                found.append(NO_PEG)
            elif self.ground is not None and np.isnan(self.ground.level_at(self.peg_m)):
                found.append(PEG_OFF)
        if factor == "minutes_to_turn_back":
            found += [NO_WAY] if self.way is None else [self.way.why] if self.way.why else []
        if factor not in ("crosswind", "holding", "surf", "weed", "fishable") and np.isnan(self.zero_m):
            found.append(NO_ZERO)
        if factor in ("crosswind", "fishable") and self.facing_degree is None:
            found.append("the mark does not say which way it looks out to sea")
        return tuple(found)


def setting_of(mark: Mark) -> Setting:
    """Return the shore of a mark."""
    datum, peg = mark.ground_datum, mark.peg
    zero = np.nan if datum is None or datum.above_datum_m is None else datum.above_datum_m
    ground, peg_m = _ground(mark), None if peg is None else peg.distance_m
    trough = None if ground is None or peg_m is None else ground.sill_behind(peg_m)
    sector = None if mark.exposure is None else (mark.exposure.from_degree, mark.exposure.to_degree)
    no_beach = f"no run-up is told at {_NO_BEACH[mark.kind]}" if mark.kind in _NO_BEACH else ""
    if not no_beach and mark.ledge_height_m is not None:
        no_beach = "no run-up is told where the angler stands on a ledge"
    return Setting(
        ground,
        zero,
        0.0 if datum is None else datum.uncertainty_m or 0.0,
        peg_m,
        trough,
        way_back(mark.way_back, trough),
        mark.facing_degree,
        sector,
        mark.kind in _INSIDE,
        no_beach,
    )


def _ground(mark: Mark) -> Ground | None:
    """Return the profile of a mark, or the plane beach of its slope; its one kind of bed where a point names none."""
    bed = _one_bed(mark.beds)
    if mark.profile:
        distances = np.array([point.distance_m for point in mark.profile])
        levels = np.array([point.level_m for point in mark.profile])
        return Ground(distances, levels, tuple(point.bed or bed for point in mark.profile))
    return None if mark.beach_slope is None else plane_ground(mark.beach_slope, bed)


def _one_bed(beds: tuple[str, ...]) -> str:
    """Return a bed that stands for all of a mark, where all have one formula; else empty text."""
    kinds = set(beds)
    if len(kinds) == 1 or (kinds and (kinds <= SAND or kinds <= GRAVEL)):
        return min(kinds)
    return ""
