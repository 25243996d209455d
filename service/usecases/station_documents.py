"""What is said of a station, as a document: by those who make one, and by the rows of imports."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, StrictBool

from service.usecases.references import Latitude, Longitude
from service.usecases.stations import NewModel, NewStation
from tidecore.datums import StatedLevel
from tidecore.harmonics import CONVENTIONS
from tidecore.place import Document, Name, Number

ZoneName = Annotated[str, Field(min_length=1, max_length=64, description="IANA time zone.", examples=["Etc/UTC"])]


class Constituent(Document):
    """One constituent: amplitude and Greenwich phase lag."""

    amplitude_m: Annotated[Number, Field(ge=0.0, le=50.0)]
    phase_deg: Annotated[Number, Field(ge=-360.0, le=360.0, description="Greenwich phase lag.")]


class GivenDatum(Document):
    """A datum as a source states it. Chart datum is known only so: it is chosen, not computed."""

    datum: Annotated[Name, Field(description="Its name, as `chart datum` or `MLLW`.")]
    level_m: Annotated[Number, Field(ge=-1000.0, le=1000.0, description="Above the station's datum.")]
    source: Annotated[Name, Field(description="Who states it, and where.")]


class StationModel(Document):
    """A tide as constituents, with the convention they follow."""

    convention: Annotated[
        str,
        Field(
            min_length=1,
            max_length=40,
            description="Which arguments and node factors the constituents go with: `utide` (SA from h - p', "
            "satellites), `noaa` (SA from h, Schureman's factors held for each UTC year) or `ticon` (SA from h, "
            "satellites; names of TICON-4).",
            examples=["utide"],
            json_schema_extra={"enum": list(CONVENTIONS)},
        ),
    ]
    datum: Annotated[Name, Field(description="What heights are above; `unknown` is a valid answer.")]
    mean_level_m: Annotated[Number, Field(ge=-1000.0, le=1000.0, description="Mean level above the datum.")] = 0.0
    constituents: Annotated[
        dict[Annotated[str, Field(min_length=1, max_length=20)], Constituent],
        Field(min_length=1, max_length=200, description="Constituents by name; amplitude 0 means absent."),
    ]
    datum_levels: Annotated[
        tuple[GivenDatum, ...],
        Field(max_length=40, description="Datums as sources state them; heights can be told above each."),
    ] = ()


class StationDocument(Document):
    """A station: without a model until a fit is adopted, or with the constituents given here."""

    name: Name
    latitude: Latitude
    longitude: Longitude | None = None
    time_zone: ZoneName = "Etc/UTC"
    public: Annotated[
        StrictBool, Field(description="Readable by every account; to change it takes the scope admin.")
    ] = False
    model: StationModel | None = None

    def to_station(self, external_ref: str | None) -> NewStation:
        """Return what the use cases take, under the account's own name for it."""
        model = None
        if self.model is not None:
            given = {name: (one.amplitude_m, one.phase_deg) for name, one in self.model.constituents.items()}
            levels = tuple(StatedLevel(one.datum, one.level_m, one.source) for one in self.model.datum_levels)
            model = NewModel(given, self.model.convention, self.model.datum, self.model.mean_level_m, levels)
        return NewStation(self.name, self.latitude, self.longitude, self.time_zone, external_ref, model, self.public)
