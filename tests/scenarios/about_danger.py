"""Whether a card is about the danger that it says: told by its own marks, tide, light and sea alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from tests.scenarios.cards import Card
from tests.scenarios.moments import moment
from tidecore.place import Mark
from tidecore.timeline import build_timeline

_PLACE = ("name", "latitude", "longitude", "time_zone", "station", "kind", "beds")


def _last_mark(card: Card) -> dict[str, Any]:
    return card.marks[card.expect.last.mark]


def _over(card: Card, factor: str, span: tuple[np.datetime64, np.datetime64]) -> np.ndarray[Any, Any]:
    """A factor of tide and light that hangs on nothing but the place, every ten minutes of a span."""
    place = {name: value for name, value in _last_mark(card).items() if name in _PLACE}
    found: np.ndarray[Any, Any] = build_timeline(Mark.parse(place), card.tide.model, *span, "10min").columns[factor]
    return found


def _there(card: Card, name: str, span: tuple[np.datetime64, np.datetime64]) -> np.ndarray[Any, Any]:
    """What a forecast says of a variable at the mark of the last choice, every ten minutes of a span; NaN beyond it."""
    times = np.arange(*span, np.timedelta64(10, "m")).astype("datetime64[us]").astype(np.int64)
    for issue in (card.conditions or {}).get(card.expect.last.mark, ()):
        column = issue.column(name)
        if column is not None:
            given = np.array(issue.times).astype("datetime64[us]").astype(np.int64)
            return np.interp(times, given, column, left=np.nan, right=np.nan)
    return np.full(times.size, np.nan)


def _zero(mark: dict[str, Any]) -> float:
    return float(mark["ground_datum"]["above_datum_m"])


def _sills(card: Card) -> Iterator[float]:
    """Lowest ground between peg and land, above the card's zero, where it is lower than the peg."""
    mark = _last_mark(card)
    peg = mark["peg"]["distance_m"]
    distances, levels = ([float(p[name]) for p in mark["profile"]] for name in ("distance_m", "level_m"))
    at = float(np.interp(peg, distances, levels))
    lowest = min(p["level_m"] for p in mark["profile"] if p["distance_m"] < peg)
    if lowest < at:
        yield lowest + _zero(mark)


def _swell_on_ledge(card: Card) -> bool:
    """A low ledge by day under a clear sky, and a sea that a long period alone makes dangerous."""
    mark, span = _last_mark(card), card.last_span
    height, period = _there(card, "wave_height_m", span), _there(card, "wave_period_s", span)
    sunny = bool(_there(card, "cloud_cover_percent", span).max() <= 25 and _over(card, "sun_altitude", span).max() > 20)
    above_high_water = mark["ledge_height_m"] + _zero(mark) - float(_over(card, "height", span).max())
    long_and_low = bool(period.min() >= 12 and height.min() >= 1.0 and height.max() < 1.5)
    return mark["kind"] == "rock_ledge" and 0.0 < above_high_water < 3.0 and sunny and long_and_low


def _sill_behind(card: Card) -> bool:
    """Water over a sill behind the peg in all the span of the last choice, and not at low water before it."""
    level = _over(card, "height", card.last_span)
    low = _over(card, "height", (card.last_span[0] - np.timedelta64(3, "h"), card.last_span[0])).min()
    return any(low < sill <= level[0] + 0.05 and level.min() >= sill - 0.05 for sill in _sills(card))


def _shore_break(card: Card) -> bool:
    mark, span = _last_mark(card), card.last_span
    points = mark["profile"]
    drop = points[0]["level_m"] - points[-1]["level_m"]
    steep = drop / (points[-1]["distance_m"] - points[0]["distance_m"]) >= 0.1
    height, period = _there(card, "wave_height_m", span), _there(card, "wave_period_s", span)
    return "shingle" in mark["beds"] and steep and bool(height.min() >= 1.2 and period.min() >= 8)


def _thunder(card: Card) -> bool:
    """Thunder likely where the last choice lies, and not at the best hour of the first."""
    chance = "thunder_probability_percent"
    return bool(_there(card, chance, card.last_span).min() >= 30 > _there(card, chance, card.first_span)[0])


def _fog(card: Card) -> bool:
    length = sum(leg["length_m"] for leg in _last_mark(card)["way_back"])
    return length > 300 and bool(_there(card, "visibility_m", card.last_span).max() < 500)


def _unknown_datum(card: Card) -> bool:
    mark = _last_mark(card)
    measured = bool(mark.get("profile")) and bool(mark.get("way_back"))
    return measured and mark["ground_datum"].get("above_datum_m") is None


def _official_warning(card: Card) -> bool:
    """A grave warning over all of the last choice, none over the first, and a calm forecast throughout."""
    (first, _), (start, end) = card.first_span, card.last_span
    grave = [w for w in card.warnings if w.severity in ("severe", "extreme")]
    calm = bool(_there(card, "wave_height_m", card.span).max() <= 0.5)
    return calm and any(moment(w.onset) <= start and end <= moment(w.expires) and first < start for w in grave)


def _soft_mud(card: Card) -> bool:
    """A way back over mud, its sill under water on a flood in all the span of the last choice."""
    mark, level = _last_mark(card), _over(card, "height", card.last_span)
    sills = [leg["lowest_sill_m"] + _zero(mark) for leg in mark["way_back"] if leg["bed"] == "mud"]
    return any(bool((level >= sill - 0.05).all()) for sill in sills) and bool((np.diff(level) > 0.0).all())


def _bathers(card: Card) -> bool:
    """By day in summer, at a beach with bathing hours."""
    hours = [entry for entry in _last_mark(card).get("access", ()) if entry["kind"] == "bathing"]
    summer = str(card.span[0])[5:7] in ("06", "07", "08")
    return bool(hours) and summer and bool(_over(card, "sun_altitude", card.last_span).min() > 10)


def _overtopping(card: Card) -> bool:
    """A deck that the tide alone never tops, and twice the height of a sea under 1.5 m on it does."""
    mark, span = _last_mark(card), card.last_span
    deck, sea = mark["ledge_height_m"] + _zero(mark), float(_there(card, "wave_height_m", span).max())
    highest = float(_over(card, "height", span).max())
    return sea < 1.5 and highest < deck < highest + 2.0 * sea


def _wind_at_edge(card: Card) -> bool:
    """Gusts of 20 m/s or more on rock or a pier, in a sea under 1.5 m."""
    gusts, sea = (_there(card, name, card.last_span).max() for name in ("wind_gust_m_per_s", "wave_height_m"))
    return _last_mark(card)["kind"] in ("rock_ledge", "pier_or_wall") and bool(gusts >= 20.0 and sea < 1.5)


def _ends_before(card: Card) -> bool:
    """A forecast that says nothing of the last hour asked about."""
    last = card.span[1]
    return bool(np.isnan(_there(card, "wave_height_m", (last - np.timedelta64(1, "h"), last))).all())


#: What each danger that a card may cover must be in it.
DANGEROUS: dict[str, Callable[[Card], bool]] = {
    "swell_on_ledge": _swell_on_ledge,
    "sill_behind": _sill_behind,
    "forecast_ends": _ends_before,
    "thunder": _thunder,
    "shore_break": _shore_break,
    "alone": lambda card: card.ask.alone is True,
    "cold": lambda card: bool(_there(card, "sea_temperature_c", card.span).max() < 10.0),
    "fog": _fog,
    "unknown_datum": _unknown_datum,
    "official_warning": _official_warning,
    "soft_mud": _soft_mud,
    "bathers": _bathers,
    "overtopping": _overtopping,
    "wind_at_edge": _wind_at_edge,
    "not_assessed": lambda card: any(one.not_assessed for one in card.expect.outings),
}
