"""How sure an answer is to be told, and the surge that a caller gives with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tidecore.intervals import NO_INTERVAL, WEATHER_CAUTION, Surge, check_level, check_surge_sd, surge_of
from tidecore.model import TideModel

ESTIMATE_CAUTION = "Intervals and surge are estimates; not for navigation."
NO_TIMES = "no interval of times: the record is coarser than an hour or shows too few high and low waters"


@dataclass(frozen=True, slots=True)
class Sureness:
    """What a caller asks and says: ``level`` of the intervals, None for none; surge and pressure, constant in time.

    Raises
    ------
    InvalidInput
        For a level, surge or pressure that cannot be.
    """

    level: float | None = None
    surge_m: float | None = None
    surge_sd_m: float | None = None
    pressure_hpa: float | None = None
    reference_pressure_hpa: float | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be."""
        if self.level is not None:
            check_level(self.level, "interval")
        check_surge_sd(self.surge_sd_m, self.surge_m is not None or self.pressure_hpa is not None)
        self.surge()

    @property
    def query(self) -> Mapping[str, float | None]:
        """What is asked, as plain values; nothing where nothing is, so that such a question stays what it was."""
        fields = ("level", "surge_m", "surge_sd_m", "pressure_hpa", "reference_pressure_hpa")
        return {name: getattr(self, name) for name in fields if getattr(self, name) is not None}

    def surge(self) -> Surge | None:
        """Return the surge given, or that of the pressure."""
        return surge_of(self.surge_m, self.pressure_hpa, self.reference_pressure_hpa)

    def value_m(self) -> float | None:
        """Return the surge [m]; None where none is given."""
        surge = self.surge()
        return None if surge is None else float(surge.values)

    def cautions(self, model: TideModel, *, times: bool) -> tuple[str, ...]:
        """Return what must be known of the intervals and the surge of a model; ``times`` where those have some too."""
        surge = self.surge()
        if self.level is None and surge is None:
            return ()
        found = [ESTIMATE_CAUTION, *(() if surge is None else surge.cautions)]
        if self.level is not None and model.calibration is None:
            found.append(NO_INTERVAL)
        elif self.level is not None:
            if surge is not None and self.surge_sd_m is None:
                found.append(WEATHER_CAUTION)
            if times and model.calibration is not None and model.calibration.times is None:
                found.append(NO_TIMES)
        return tuple(found)


#: Nothing asked, nothing said.
PLAIN = Sureness()
