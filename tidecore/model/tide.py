"""TideModel: what a station's tide is, and everything one may ask of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tidecore._version import NUMERICS, __version__
from tidecore.character import TidalCharacter, tidal_character
from tidecore.datums import KnownLevel, StatedLevel, TidalDatums, stated_levels, tidal_datums
from tidecore.datums.range_cycle import EPOCH, RangeCycle, epoch_cycle, mean_spring_range, range_cycle
from tidecore.errors import DatumsUnreliable, InvalidInput, ModelUnreadable, UnknownName
from tidecore.extremes import Extremes, find_extremes
from tidecore.flow import SlackLags, flow_index, flow_normaliser
from tidecore.harmonics import Harmonics
from tidecore.intervals import (
    Calibration,
    ExtremeIntervals,
    HeightIntervals,
    calibration_document,
    calibration_of,
    extreme_bounds,
    height_bounds,
    required,
)
from tidecore.model.document import constituents_hash, harmonics_document, harmonics_of, levels_document, levels_of
from tidecore.timebase import US_PER_DAY, TimeGrid, TimeSpan, instant, microseconds
from tidecore.units import FloatArray, UtcTimes

_FORMAT = "ebbmark tide model 1"
#: Either side of the instants asked for, so that every one lies between two extremes [days].
_PAD = np.timedelta64(2, "D")
#: A record shorter than this does not hold the seasons [days].
_YEAR_DAYS = 365.0


@dataclass(frozen=True, slots=True)
class FitDiagnostics:
    """How a fit came about and how well it describes its record.

    ``residual_rms_m`` and ``variance_explained`` are over the fitted values; ``skill`` is
    1 - var(residual) / var(observed) over the last quarter, fitted on the rest, None for records under 60 days.
    ``snr`` is by power, from utide's linear intervals of the final fit or, where constituents were chosen out of
    sample, from the noise beside each line. ``rayleigh_dropped`` are the constituents
    the record is too short to separate. ``trend_m_per_year`` is None where none was fitted; a trend is reported
    and never part of a prediction. ``inferred`` says which lines were held to others, by which ratios and from where;
    None where none were asked for, and in models of before. ``quality`` is the report of the check of the record, as
    `tidecore.quality.QualityReport` writes it; None where it was not checked, and in models of before. ``choice``
    explains as plain JSON values how the constituents were chosen: what was tried, the error of each out of sample,
    what was taken and why; None for fits of older versions.
    """

    first: str
    last: str
    values: int
    missing: int
    residual_rms_m: float
    variance_explained: float
    skill: float | None
    snr: Mapping[str, float]
    rayleigh_dropped: tuple[str, ...]
    constituents: str
    nodal: str
    method: str
    trend_m_per_year: float | None
    record: Mapping[str, Any]
    inferred: Mapping[str, Any] | None = None
    quality: Mapping[str, Any] | None = None
    choice: Mapping[str, Any] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class TideModel:
    """The tide of one station; immutable, and made by `fit`, `from_constituents`, `open` or `from_document`.

    ``flow_normaliser`` [m/h], ``mean_spring_range`` [m] and ``form_number`` are computed once, when the model is
    made, and stamped with ``numerics``. ``input_hash`` identifies what the model was made from. ``datum_levels`` are
    datums as sources state them. ``calibration`` is what intervals are made of; None for a model without a record.
    """

    harmonics: Harmonics
    station: str
    datum: str
    flow_normaliser: float
    mean_spring_range: float
    diagnostics: FitDiagnostics | None
    input_hash: str
    numerics: int = NUMERICS
    code_version: str = __version__
    datum_levels: tuple[StatedLevel, ...] = ()
    calibration: Calibration | None = None

    @classmethod
    def made_of(
        cls,
        harmonics: Harmonics,
        station: str,
        datum: str,
        diagnostics: FitDiagnostics | None,
        input_hash: str,
        datum_levels: Sequence[StatedLevel] = (),
        calibration: Calibration | None = None,
    ) -> TideModel:
        """Return the model of ``harmonics``, with its normaliser and mean spring range computed."""
        stated_levels(datum, datum_levels)
        cycle = epoch_cycle(harmonics)
        return cls(
            harmonics,
            station,
            datum,
            flow_normaliser(harmonics, cycle),
            mean_spring_range(harmonics, cycle),
            diagnostics,
            input_hash,
            datum_levels=tuple(datum_levels),
            calibration=calibration,
        )

    @classmethod
    def from_constituents(
        cls,
        constituents: Mapping[str, tuple[float, float]],
        *,
        latitude: float,
        convention: str,
        mean_level: float = 0.0,
        datum: str = "unknown",
        station: str = "",
        datum_levels: Sequence[StatedLevel] = (),
    ) -> TideModel:
        """Build a model from published constituents.

        Parameters
        ----------
        constituents : mapping of name to (amplitude [m], Greenwich phase lag [degrees])
        latitude : float
            [degrees north]
        convention : str
            Required: "utide", "noaa" or "ticon", whichever the publisher's arguments and node factors are; see
            `tidecore.harmonics.conventions`.
        mean_level : float
            [m above ``datum``]
        datum_levels : sequence of StatedLevel
            Datums as sources state them [m above ``datum``].

        Raises
        ------
        UnknownName
            For a convention or constituent that is not known.
        InvalidConstituents, InvalidPosition
            For values that make no tide.
        DatumConflict
            For a datum that two sources state differently.

        Examples
        --------
        >>> model = TideModel.from_constituents({"M2": (1.5, 140.0)}, latitude=50.0, convention="utide")
        >>> model.form_number
        0.0
        """
        harmonics = Harmonics.from_mapping(constituents, latitude, mean_level, convention)
        digest = constituents_hash(harmonics, datum, datum_levels)
        return cls.made_of(harmonics, station, datum, None, digest, datum_levels)

    @property
    def latitude(self) -> float:
        """Latitude [degrees north]."""
        return self.harmonics.latitude

    @property
    def mean_level(self) -> float:
        """Mean level [m above datum]."""
        return self.harmonics.mean_level

    @property
    def convention(self) -> str:
        """Convention of the constituents."""
        return self.harmonics.convention

    @property
    def form_number(self) -> float:
        """(K1 + O1) / (M2 + S2): semidiurnal under 0.25, mixed to 3 (mainly diurnal over 1.5), diurnal above."""
        return self.harmonics.form_number

    @property
    def constituents(self) -> dict[str, tuple[float, float]]:
        """(amplitude [m], Greenwich phase lag [degrees]) by name."""
        lines = self.harmonics
        return {n: (float(a), float(g)) for n, a, g in zip(lines.names, lines.amplitude, lines.phase, strict=True)}

    def heights(self, times: TimeGrid | UtcTimes) -> FloatArray:
        """Return heights [m above datum]; see `Harmonics.heights`."""
        return self.harmonics.heights(times)

    def rates(self, times: TimeGrid | UtcTimes) -> FloatArray:
        """Return rates [m/h]; see `Harmonics.rates`."""
        return self.harmonics.rates(times)

    def extremes(self, start: np.datetime64 | str, end: np.datetime64 | str) -> Extremes:
        """Return the high and low waters in ``[start, end)`` [UTC]; see `find_extremes`."""
        return find_extremes(self.harmonics, instant(start, "start"), instant(end, "end"))

    def height_intervals(
        self, times: TimeGrid | UtcTimes, level: float = 0.9, surge_sd: float | None = None
    ) -> HeightIntervals:
        """Return bounds of heights without surge, calibrated out of sample; see `height_bounds`.

        Raises
        ------
        InvalidInput
            For a model without a record, or a level not over 0 and at most 0.99.
        """
        instants = times.times() if isinstance(times, TimeGrid) else np.asarray(times)
        return height_bounds(required(self.calibration), self.harmonics, instants, level, surge_sd)

    def extreme_intervals(
        self, extremes: Extremes, level: float = 0.9, surge_sd: float | None = None
    ) -> ExtremeIntervals:
        """Return bounds of heights and times of this model's extremes; see `extreme_bounds`.

        Raises
        ------
        InvalidInput
            For a model without a record, or a level not over 0 and at most 0.99.
        """
        return extreme_bounds(required(self.calibration), self.harmonics, extremes, level, surge_sd)

    def range_cycle(self, start: np.datetime64 | str, end: np.datetime64 | str) -> RangeCycle:
        """Return the springs-neaps (tropic-equatorial) cycle over ``[start, end)`` [UTC]; see `range_cycle`."""
        return range_cycle(self.harmonics, instant(start, "start"), instant(end, "end"))

    def datums(
        self,
        start: np.datetime64 | str | None = None,
        end: np.datetime64 | str | None = None,
        *,
        short_record: bool = False,
    ) -> TidalDatums:
        """Return the tidal datums over ``[start, end)`` [UTC], the 6798 days from 2001-01-01 unless given.

        Parameters
        ----------
        start, end
            At least 18.6 years, or neither: see `tidecore.datums.tidal_datums`.
        short_record : bool
            Give them, flagged, for a model that was fitted to less than a year too.

        Raises
        ------
        DatumsUnreliable
            If the model was fitted to less than a year and nobody asked for that.
        InvalidSpan
            For a span that is too short, or runs backwards.
        """
        first = EPOCH.start if start is None else instant(start, "start")
        last = first + (EPOCH.end - EPOCH.start) if end is None else instant(end, "end")
        days = self.record_days
        short = days is not None and days < _YEAR_DAYS
        if days is not None and short and not short_record:
            raise DatumsUnreliable(days, _YEAR_DAYS)
        return tidal_datums(self.harmonics, self.datum, TimeSpan(first, last), days, ("short_record",) if short else ())

    @property
    def record_days(self) -> float | None:
        """Length of the record that the model was fitted to [days]; None where constituents were given."""
        if self.diagnostics is None:
            return None
        ends = (np.datetime64(end.removesuffix("Z"), "us") for end in (self.diagnostics.first, self.diagnostics.last))
        first, last = (int(end.astype(np.int64)) for end in ends)
        return (last - first) / US_PER_DAY

    @property
    def stated_datums(self) -> dict[str, KnownLevel]:
        """Datums that are stated, by name, the station's own at 0; empty where that is unknown."""
        return stated_levels(self.datum, self.datum_levels)

    def character(self) -> TidalCharacter:
        """Return what kind of tide it is: ranges, age, intervals, double waters; see `tidal_character`."""
        return tidal_character(self.harmonics)

    def flow_index(self, times: TimeGrid | UtcTimes, lags: SlackLags | None = None) -> FloatArray:
        """Return the signed flow index, + flood, - ebb, 1 the mean spring peak; see `tidecore.flow.flow_index`."""
        instants = times.times() if isinstance(times, TimeGrid) else np.asarray(times)
        ticks = microseconds(instants)
        if not ticks.size:
            return np.empty(ticks.shape)
        ends = np.array([ticks.min(), ticks.max()]).view("datetime64[us]")
        tides = find_extremes(self.harmonics, ends[0] - _PAD, ends[1] + _PAD)
        return flow_index(self.harmonics, self.flow_normaliser, times, lags, tides)

    def to_document(self) -> dict[str, Any]:
        """Return the model as plain JSON values; loses nothing."""
        diagnostics = None
        if self.diagnostics is not None:
            diagnostics = asdict(self.diagnostics) | {"rayleigh_dropped": list(self.diagnostics.rayleigh_dropped)}
        return {
            "format": _FORMAT,
            "station": self.station,
            "datum": self.datum,
            "harmonics": harmonics_document(self.harmonics),
            "flow_normaliser_m_per_h": self.flow_normaliser,
            "mean_spring_range_m": self.mean_spring_range,
            "diagnostics": diagnostics,
            "calibration": calibration_document(self.calibration),
            "input_hash": self.input_hash,
            "numerics": self.numerics,
            "code_version": self.code_version,
            **levels_document(self.datum_levels),
        }

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> TideModel:
        """Return the model of what `to_document` made; raises `ModelUnreadable` if it is damaged."""
        try:
            if document["format"] != _FORMAT:
                raise ModelUnreadable(f"format {document['format']!r}; this version reads {_FORMAT!r}")
            found = document["diagnostics"]
            if found is not None:
                found = FitDiagnostics(**{**found, "rayleigh_dropped": tuple(found["rayleigh_dropped"])})
            return cls(
                harmonics=harmonics_of(document["harmonics"]),
                station=document["station"],
                datum=document["datum"],
                flow_normaliser=float(document["flow_normaliser_m_per_h"]),
                mean_spring_range=float(document["mean_spring_range_m"]),
                diagnostics=found,
                input_hash=document["input_hash"],
                numerics=document["numerics"],
                code_version=document["code_version"],
                datum_levels=levels_of(document),
                calibration=calibration_of(document.get("calibration")),
            )
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise ModelUnreadable(f"{type(error).__name__}: {error}") from error
        except (InvalidInput, UnknownName) as error:
            raise ModelUnreadable(str(error)) from error

    def save(self, path: Path | str) -> None:
        """Write the model as NetCDF-3; loses nothing. The file appears whole or not at all."""
        from tidecore.model.netcdf import write_netcdf

        write_netcdf(self.to_document(), self.harmonics.speeds_deg_per_hour, Path(path))

    @classmethod
    def open(cls, path: Path | str) -> TideModel:
        """Read a model written by `save`; raises `ModelUnreadable` if it is damaged, OSError if it is not there."""
        from tidecore.model.netcdf import read_netcdf

        return cls.from_document(read_netcdf(Path(path)))
