"""Species that somebody declares at a mark."""

from __future__ import annotations

import json
from typing import Annotated, Any

from pydantic import AfterValidator, Field

from tidecore.documents import Document, Flaw, Name, fault, plain_text, refuse, shown

#: Longest override, as JSON [bytes].
LONGEST_OVERRIDE = 20_000
#: Deepest nesting of one.
DEEPEST_OVERRIDE = 20
#: Most species of a mark.
MOST_SPECIES = 50


def _json_object(given: dict[str, Any]) -> dict[str, Any]:
    """Refuse what is no JSON, or too much of it; what the terms mean is not looked at here."""
    _look_through(given, DEEPEST_OVERRIDE)
    size = len(json.dumps(given, ensure_ascii=False).encode("utf-8"))
    if size > LONGEST_OVERRIDE:
        raise fault(f"takes {size} bytes", f"at most {LONGEST_OVERRIDE} bytes of JSON")
    return given


def _look_through(value: object, depth: int) -> None:
    if depth < 0:
        raise fault("is nested too deep", f"at most {DEEPEST_OVERRIDE} levels")
    if isinstance(value, str):
        plain_text(value)
    elif isinstance(value, dict):
        for key, item in value.items():
            if not isinstance(key, str):
                raise fault(f"has the name {shown(key)}", "names that are text")
            plain_text(key)
            _look_through(item, depth - 1)
    elif isinstance(value, list | tuple):
        for item in value:
            _look_through(item, depth - 1)
    elif isinstance(value, float) and not abs(value) < float("inf"):
        raise fault(f"holds {value!r}", "finite numbers")
    elif value is not None and not isinstance(value, bool | int | float):
        raise fault(f"holds {shown(value)}", "what JSON can say")


class DeclaredSpecies(Document):
    """A species that is caught at a mark, and how it behaves here otherwise than its rule says.

    ``override`` is an object of rule terms, ``{"require": [...], "prefer": [...], "note": "..."}``; the rules read it.
    """

    scientific_name: Name
    fao_code: Annotated[str, Field(pattern=r"^[A-Z]{3}$")] | None = None
    override: Annotated[dict[str, Any], AfterValidator(_json_object)] | None = None

    def __hash__(self) -> int:
        """Return the hash of the names; an override, which has none, is left out."""
        return hash((self.scientific_name, self.fao_code))


def _each_once(species: tuple[DeclaredSpecies, ...]) -> tuple[DeclaredSpecies, ...]:
    seen: dict[str, int] = {}
    flaws = []
    for place, one in enumerate(species):
        earlier = seen.setdefault(one.scientific_name.casefold(), place)
        if earlier != place:
            flaws.append(Flaw((place, "scientific_name"), f"is that of species.{earlier} too", "every species once"))
    refuse(species, flaws)
    return species


#: The species of a mark, each once.
Declared = Annotated[tuple[DeclaredSpecies, ...], Field(max_length=MOST_SPECIES), AfterValidator(_each_once)]
