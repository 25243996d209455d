"""Where something lies: positions on the globe, and the zone whose clocks hang there."""

from __future__ import annotations

import re
import zoneinfo
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated

from pydantic import AfterValidator, Field

from tidecore.documents import fault, shown
from tidecore.errors import Fault, InvalidPosition

_ZONE_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_+-]*(/[A-Za-z0-9_+-]+)*")
#: Names that a zone folder may hold beside the zones themselves.
_NO_ZONES = ("localtime", "posixrules", "Factory", "posix", "right")


@dataclass(frozen=True, slots=True)
class Position:
    """A point on the globe: geodetic ``latitude`` and ``longitude`` [degrees, north and east positive]."""

    latitude: float
    longitude: float

    def __post_init__(self) -> None:
        """Refuse what is not on the globe.

        Raises
        ------
        InvalidPosition
            With a fault for each coordinate that is out of range or no number.
        """
        limits = (("latitude", self.latitude, 90.0), ("longitude", self.longitude, 180.0))
        faults = [
            Fault(name, f"is {value!r}", f"a number from -{limit:g} to {limit:g} degrees")
            for name, value, limit in limits
            if not -limit <= value <= limit
        ]
        if faults:
            raise InvalidPosition(faults)


# Names that are refused are looked up again, those of zones are not.
@lru_cache(maxsize=1024)
def known_zone(name: str) -> str:
    """Refuse a name that zoneinfo cannot load."""
    expected = "a time zone of the IANA database, as 'Etc/UTC'"
    if not _ZONE_NAME.fullmatch(name) or name.split("/")[0] in _NO_ZONES:
        raise fault(f"is {shown(name)}", expected)
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise fault(f"is {shown(name)}, which is no known zone", expected) from error
    return name


#: The name of a time zone of the IANA database.
ZoneName = Annotated[str, Field(min_length=1, max_length=64), AfterValidator(known_zone)]
