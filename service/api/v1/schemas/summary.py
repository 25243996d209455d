"""Summaries in answers."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

from pydantic import Field

from service.api.instants import write_instant
from service.api.media import number, numbers
from service.api.v1.schemas.common import InstantText, Schema
from service.exports.series import Export
from service.exports.tide_chart import Line, TideChart, draw_chart
from service.usecases.summary import Curve, SummaryCurves, SummaryView
from tidecore.character import TidalCharacter, Waters

TideType = Literal["semidiurnal", "mixed-semidiurnal", "mixed-diurnal", "diurnal", "none"]
_SAID: dict[str, str] = {
    "semidiurnal": "semidiurnal tide",
    "mixed-semidiurnal": "mixed tide, mainly semidiurnal",
    "mixed-diurnal": "mixed tide, mainly diurnal",
    "diurnal": "diurnal tide",
    "none": "no tide to speak of",
}


class WatersSummary(Schema):
    """How the high (low) waters behave."""

    mean_height_m: Annotated[float, Field(description="Mean of all, above the datum.")]
    mean_extreme_height_m: Annotated[
        float, Field(description="Mean of the higher high (lower low) water of each lunar day; a lone one counts.")
    ]
    interval_h: Annotated[
        float | None,
        Field(
            description="Mean hours from a transit of the moon at Greenwich to the next; null in diurnal tides and "
            "wherever the moon does not set the time."
        ),
    ]
    a_lunar_day: Annotated[float, Field(description="Mean number in a lunar day of 24 h 50 min.")]
    double_share: Annotated[float, Field(description="Part of the tides with two separate peaks (troughs).")]
    double_apart_h: Annotated[float | None, Field(description="Median hours between the two.")]
    secondary_share: Annotated[
        float,
        Field(description="Part of the tides with a further peak merged, under 3 cm or 2 h from the dip between."),
    ]
    stand_share: Annotated[float, Field(description="Part of the tides at which the water stands for over 1.5 h.")]
    stand_h: Annotated[float | None, Field(description="Median hours of a stand.")]


class RecordSummary(Schema):
    """The gauge record of a fit."""

    first: str
    last: str
    values: int
    missing: int


class RestsOn(Schema):
    """What the model behind a summary rests on."""

    source: Annotated[Literal["fit", "constituents"], Field(description="A gauge record, or constituents given.")]
    convention: str
    record: RecordSummary | None
    inferred: Annotated[list[str] | None, Field(description="Lines inferred from elsewhere; null for none.")]
    inferred_from: Annotated[
        str | None,
        Field(description="Name of the station they were inferred from; null for none, or for given ratios."),
    ]
    numerics: int
    code_version: str
    input_hash: str


class Summary(Schema):
    """The tidal character of one version of a station; heights are above its datum."""

    station_id: str
    version: int
    name: str
    datum: str
    mean_level_m: float
    form_number: Annotated[
        float | None, Field(description="(K1 + O1) / (M2 + S2); null where M2 and S2 are both absent.")
    ]
    tide_type: Annotated[TideType, Field(description="By form number: limits 0.25, 1.5 and 3.")]
    cycle: Annotated[Literal["springs-neaps", "tropic-equatorial"], Field(description="What the daily range follows.")]
    mean_range_m: Annotated[float | None, Field(description="Mean high water minus mean low water.")]
    great_diurnal_range_m: Annotated[
        float | None, Field(description="Mean higher high water minus mean lower low water.")
    ]
    mean_spring_range_m: Annotated[
        float | None,
        Field(
            description="Mean daily range at springs (tropic tides where the cycle is tropic-equatorial): highest less "
            "lowest level in 24 h 50 min, mean of 3 days. MHWS less MLWS of the datums are two successive waters."
        ),
    ]
    mean_neap_range_m: Annotated[
        float | None,
        Field(
            description="The same at neaps (equatorial tides), where the range of a day is well over that of its least "
            "tide, MHWN less MLWN of the datums; null where the range does not vary."
        ),
    ]
    phase_age_h: Annotated[
        float | None, Field(description="Age of the tide: hours from new or full moon to springs, by M2 and S2.")
    ]
    diurnal_age_h: Annotated[
        float | None, Field(description="Hours from the moon's largest declination to tropic tides, by K1 and O1.")
    ]
    high_waters: Annotated[WatersSummary | None, Field(description="Null where there is no tide.")]
    low_waters: Annotated[WatersSummary | None, Field(description="Null where there is no tide.")]
    main_constituents: Annotated[list[str], Field(description="The largest ten, largest first.")]
    main_amplitudes_m: list[float]
    main_phases_deg: Annotated[list[float], Field(description="Greenwich phase lags.")]
    main_shares: Annotated[list[float], Field(description="Part of each in the variance of all constituents.")]
    means_start: InstantText
    means_end: InstantText
    rests_on: RestsOn


def write_summary(view: SummaryView) -> dict[str, Any]:
    """Return a summary as `Summary` has it."""
    model, found = view.served.model, view.character
    form = found.form_number
    return {
        "station_id": view.served.station.station_id,
        "version": view.served.version,
        "name": view.served.station.name,
        "datum": model.datum,
        "mean_level_m": number(model.mean_level, 3),
        "form_number": number(form, 3) if math.isfinite(form) else None,
        "tide_type": found.tide_type,
        "cycle": found.cycle,
        "mean_range_m": number(found.mean_range, 3),
        "great_diurnal_range_m": number(found.great_range, 3),
        "mean_spring_range_m": number(found.spring_range, 3),
        "mean_neap_range_m": number(found.neap_range, 3),
        "phase_age_h": number(found.phase_age_h, 1),
        "diurnal_age_h": number(found.diurnal_age_h, 1),
        "high_waters": _waters(found.highs),
        "low_waters": _waters(found.lows),
        "main_constituents": [line.name for line in found.constituents],
        "main_amplitudes_m": numbers([line.amplitude for line in found.constituents], 4),
        "main_phases_deg": numbers([line.phase for line in found.constituents], 2),
        "main_shares": numbers([line.share for line in found.constituents], 4),
        "means_start": write_instant(found.span.start),
        "means_end": write_instant(found.span.end),
        "rests_on": _rests_on(view),
    }


def export_chart(view: SummaryView, curves: SummaryCurves) -> Export:
    """Return a summary as a chart."""
    model, found = view.served.model, view.character
    large, small = ("springs", "neaps") if found.cycle == "springs-neaps" else ("tropic tides", "equatorial tides")
    form = f", form number {found.form_number:.2f}" if math.isfinite(found.form_number) else ""
    span = f"{write_instant(found.span.start)[:10]} to {write_instant(found.span.end)[:10]}"
    # Highest to lowest of a day, which at a mixed tide may be more at neaps than the mean from water to water.
    daily = "daily range" if found.neap_range is None else f"daily, {large}"
    named = [(daily, found.spring_range), (f"daily, {small}", found.neap_range)]
    named += [("great diurnal", found.great_range), ("mean tide", found.mean_range)]
    return draw_chart(
        TideChart(
            file_name=f"tide_{view.served.station.station_id}_{view.served.version}",
            station=view.served.station.name,
            kind=_SAID[found.tide_type] + form,
            datum=model.datum,
            large=large,
            small=small,
            fortnight=_line(curves.fortnight),
            small_days=curves.neaps_days,
            large_day=None if curves.spring_day is None else _line(curves.spring_day),
            small_day=None if curves.neap_day is None else _line(curves.neap_day),
            levels=_levels(found, model.mean_level),
            ranges=[(name, value) for name, value in named if value is not None],
            facts=_facts(found, large),
            note=f"Means over {span}. Version {view.served.version} of the station's tide, "
            f"convention {model.convention}.",
        )
    )


def _levels(found: TidalCharacter, mean_level: float) -> list[tuple[str, float]]:
    levels = [("mean level", mean_level)]
    if found.highs is not None and found.lows is not None:
        levels += [("mean high water", found.highs.mean_height), ("mean low water", found.lows.mean_height)]
        if found.tide_type != "semidiurnal":
            levels.append(("mean higher high water", found.highs.mean_extreme_height))
            levels.append(("mean lower low water", found.lows.mean_extreme_height))
    return levels


def _facts(found: TidalCharacter, large: str) -> list[tuple[str, str]]:
    """Return what is said beside the ranges."""
    facts = []
    for kind, waters in (("High", found.highs), ("Low", found.lows)):
        if waters is not None and waters.interval_h is not None:
            minutes = round(waters.interval_h * 60.0)
            facts.append((f"{kind} water after the moon", f"{minutes // 60} h {minutes % 60:02d} min"))
    age = found.phase_age_h if found.cycle == "springs-neaps" else found.diurnal_age_h
    if age is not None:
        facts.append((f"Age of the tide ({large})", f"{age:.0f} h"))
    for kind, waters in (("high", found.highs), ("low", found.lows)):
        if waters is not None:
            facts.append((f"Double {kind} waters", _often(waters.double_share, waters.double_apart_h, " apart")))
            facts.append((f"Stands at {kind} water", _often(waters.stand_share, waters.stand_h)))
    return facts


def _often(share: float, hours: float | None, what: str = "") -> str:
    """Return how often something is, and how long where it is at all common."""
    if share == 0.0:
        return "none"
    if share < 0.01 or hours is None:
        return "under 1% of tides" if share < 0.01 else f"{100.0 * share:.0f}% of tides"
    return f"{100.0 * share:.0f}% of tides, {hours:.1f} h{what}"


def _line(curve: Curve) -> Line:
    return Line(curve.times, curve.heights)


def _waters(found: Waters | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "mean_height_m": number(found.mean_height, 3),
        "mean_extreme_height_m": number(found.mean_extreme_height, 3),
        "interval_h": number(found.interval_h, 2),
        "a_lunar_day": number(found.a_lunar_day, 2),
        "double_share": number(found.double_share, 3),
        "double_apart_h": number(found.double_apart_h, 2),
        "secondary_share": number(found.secondary_share, 3),
        "stand_share": number(found.stand_share, 3),
        "stand_h": number(found.stand_h, 2),
    }


def _rests_on(view: SummaryView) -> dict[str, Any]:
    model, fitted = view.served.model, view.served.model.diagnostics
    record, inferred, source = None, None, None
    if fitted is not None:
        record = {"first": fitted.first, "last": fitted.last, "values": fitted.values, "missing": fitted.missing}
        if fitted.inferred is not None:
            inferred = [line["name"] for line in fitted.inferred["lines"]]
            source = fitted.inferred["source"].get("station")
    return {
        "source": "constituents" if fitted is None else "fit",
        "convention": model.convention,
        "record": record,
        "inferred": inferred,
        "inferred_from": source,
        "numerics": model.numerics,
        "code_version": model.code_version,
        "input_hash": model.input_hash,
    }
