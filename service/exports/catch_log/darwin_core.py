"""What a log says in Darwin Core: trips are events, catches and what was sought in vain are occurrences.

The archive is made to be given away: free text (notes, the place along the mark, pegs) never goes into it, positions
are those of `grid`, and names of marks go into it only where they are asked for.
"""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import orjson

from service.exports.catch_log.grid import Cell, blurred
from service.exports.catch_log.sheet import cell
from service.exports.catch_log.things import Logged
from tidecore.catchlog import Deployment, Effort, effort_of

#: Names of terms of Darwin Core; https://dwc.tdwg.org/list/
TERMS = "http://rs.tdwg.org/dwc/terms/"
EVENT, OCCURRENCE = f"{TERMS}Event", f"{TERMS}Occurrence"
#: Measurements that name their occurrence, as the archives of OBIS have them.
MEASUREMENT = "http://rs.iobis.org/obis/terms/ExtendedMeasurementOrFact"

PROTOCOL = "rod and line from the shore"

#: Columns of the three files; the first of each is the id of the event.
EVENT_TERMS: tuple[str, ...] = (
    "eventID", "eventDate", "year", "month", "day", "verbatimEventDate", "samplingProtocol", "sampleSizeValue",
    "sampleSizeUnit", "samplingEffort", "eventRemarks", "locality", "decimalLatitude", "decimalLongitude",
    "geodeticDatum", "coordinateUncertaintyInMeters", "dataGeneralizations", "informationWithheld",
)  # fmt: skip
OCCURRENCE_TERMS: tuple[str, ...] = (
    "eventID", "occurrenceID", "basisOfRecord", "occurrenceStatus", "individualCount", "scientificName",
    "vernacularName", "eventDate", "vitality", "occurrenceRemarks", "dynamicProperties",
)  # fmt: skip
MEASUREMENT_TERMS: tuple[str, ...] = (
    "eventID", "measurementID", "occurrenceID", "measurementType", "measurementValue", "measurementUnit",
    "measurementAccuracy", "measurementMethod",
)  # fmt: skip

_LENGTHS = {
    "total": "total length",
    "fork": "fork length",
    "wing_width": "width across the wings",
    "carapace": "carapace length",
}
#: What was seen of the sea on a trip -> what is said to have been measured.
_SEEN = {"sea_seen": "state of the sea", "clarity_seen": "clarity of the water", "weed_seen": "drifting weed"}

Row = Sequence[str]


@dataclass(frozen=True, slots=True)
class TripRows:
    """A trip in Darwin Core: its row of the core, and rows of both extensions.

    ``cell`` is where it was, ``day`` its local date; year, month and day of the event are in UTC as ``eventDate`` is.
    """

    event: Row
    occurrences: Sequence[Row]
    measurements: Sequence[Row]
    cell: Cell
    day: str


def trip_rows(one: Logged, grid_km: float, names: bool) -> TripRows:
    """Return a trip in Darwin Core, on a grid of ``grid_km``; with ``names`` its mark is named."""
    record, trip = one.document, one.document["trip"]
    place = blurred(one.mark.latitude, one.mark.longitude, grid_km)
    deployments = [Deployment.model_validate(each) for each in record["deployments"]]
    effort = effort_of(deployments)
    start = datetime.fromisoformat(trip["start"])
    day = start.astimezone(zoneinfo.ZoneInfo(one.mark.time_zone)).date().isoformat()
    dates = trip["start"] if trip["end"] is None else f"{trip['start']}/{trip['end']}"
    size = ("0", "rod-hour") if trip["outcome"] == "not_fished" else ("", "")
    if deployments:
        size = (cell(round(effort.raw_rod_h, 4)), "rod-hour")
    event = (
        one.key, dates, str(start.year), str(start.month), str(start.day), day, PROTOCOL, *size,
        _effort(trip, deployments, effort), _remarks(trip), one.mark.name if names else "",
        f"{place.latitude:.5f}", f"{place.longitude:.5f}", "EPSG:4326", str(place.uncertainty_m),
        f"position given as the middle of a cell of a grid of {grid_km:g} km",
        "exact position, notes" if names else "exact position, name of the mark, notes",
    )  # fmt: skip
    occurrences = [*_caught(one.key, record), *_absent(one.key, record)]
    return TripRows(event, occurrences, list(_measured(one.key, record, effort)), place, day)


def _effort(trip: Mapping[str, Any], deployments: Sequence[Deployment], effort: Effort) -> str:
    if trip["outcome"] == "not_fished":
        return "none"
    if not deployments:
        return "not on record"
    rods = len({each.rod for each in deployments})
    told = f"{rods} rod{'s' if rods != 1 else ''}, {effort.raw_rod_h:.2f} rod-hours"
    return f"{told}, {effort.bait_on_h:.2f} h of bait in the water" if effort.bait_on_known else told


def _remarks(trip: Mapping[str, Any]) -> str:
    if trip["outcome"] == "not_fished":
        return f"not fished: {trip['why_not']}"
    found = "nothing was caught" if trip["outcome"] == "blank" else ""
    return "; ".join(part for part in (found, "" if trip["purpose"] == "pleasure" else trip["purpose"]) if part)


def _caught(key: str, record: Mapping[str, Any]) -> Iterator[Row]:
    for fish in record["catches"]:
        yield (
            key, f"{key}:{fish['ref']}", "HumanObservation", "present", "1", *_named(fish["species"]), fish["at"],
            fish["condition"] or "", fish["fate"], _code(fish["species"]),
        )  # fmt: skip


def _absent(key: str, record: Mapping[str, Any]) -> Iterator[Row]:
    """Yield what was sought on a trip that was fished, and not caught."""
    trip = record["trip"]
    if trip["outcome"] == "not_fished":
        return
    caught = {fish["species"]["scientific_name"].casefold() for fish in record["catches"]}
    for species in trip["target"]:
        name = species["scientific_name"].casefold()
        if name not in caught:
            # A target that is named twice is absent once.
            caught.add(name)
            yield (
                key, f"{key}:absent:{species['scientific_name']}", "HumanObservation", "absent", "0", *_named(species),
                "", "", "sought, and not caught", _code(species),
            )  # fmt: skip


def _named(species: Mapping[str, Any]) -> tuple[str, str]:
    return species["scientific_name"], species["local_name"] or ""


def _code(species: Mapping[str, Any]) -> str:
    return "" if species["fao_code"] is None else orjson.dumps({"faoASFIS": species["fao_code"]}).decode()


def _measured(key: str, record: Mapping[str, Any], effort: Effort) -> Iterator[Row]:
    trip, reach = record["trip"], {one["ref"]: one["reach"] for one in record["deployments"]}
    for name, what in _SEEN.items():
        if trip[name] is not None:
            yield (key, f"{key}:{name}", "", what, trip[name], "", "", "by eye")
    if record["deployments"] and effort.bait_on_known:
        hours = cell(round(effort.bait_on_h, 4))
        yield (key, f"{key}:bait_on", "", "time with bait in the water, all rods", hours, "h", "", "casts on record")
    for fish in record["catches"]:
        its = f"{key}:{fish['ref']}"
        length, weight = fish["length"], fish["weight"]
        if length is not None:
            accuracy = cell(length["precision_cm"])
            yield (key, f"{its}:length", its, _LENGTHS[length["kind"]], cell(length["cm"]), "cm", accuracy, "")
        if weight is not None:
            yield (key, f"{its}:weight", its, "weight", cell(weight["grams"]), "g", "", weight["how"])
        out = reach.get(fish["deployment"])
        if out is not None:
            metres, how = cell(out["metres"]), out["known"]
            yield (key, f"{its}:reach", its, "distance of the bait from the waterline", metres, "m", "", how)
