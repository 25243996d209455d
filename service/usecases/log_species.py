"""Which spellings of a log are of one species: with a FAO code here, without one there, under whatever local name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from service.usecases.tallies import Named

#: Scientific names and codes, without case.
Names = frozenset[str]


def names_meant(asked: str, spelled: Iterable[Named]) -> Names:
    """Return the names and codes, as a log spells them, of the species that somebody means.

    By its code, its scientific name or a local name; a code in the log leads to its name, and the other way about.
    None at all where nothing in the log is called so.
    """
    wanted = asked.casefold()
    found: set[str] = set()
    for name, code, local in spelled:
        own = {name.casefold(), *(() if code is None else (code.casefold(),))}
        if wanted in own or (local is not None and wanted == local.casefold()):
            found |= own
    return frozenset(found)


def is_meant(named: Named, names: Names) -> bool:
    """Return whether a species as it was spelled is one of those meant."""
    name, code, _ = named
    return name.casefold() in names or (code is not None and code.casefold() in names)


def keys_of(spelled: Iterable[Named]) -> dict[Named, str]:
    """Return of each spelling a key that all spellings of its species have: its code, else its scientific name.

    One without a code has that which the same name has elsewhere, unless it has several.
    """
    each = list(dict.fromkeys(spelled))
    codes: dict[str, set[str]] = {}
    for name, code, _ in each:
        if code is not None:
            codes.setdefault(name.casefold(), set()).add(code)
    keys = {}
    for name, code, local in each:
        known = codes.get(name.casefold(), set())
        keys[name, code, local] = code or (next(iter(known)) if len(known) == 1 else name.casefold())
    return keys


def told_by(spelled: Iterable[Named], keys: Mapping[Named, str]) -> dict[str, Named]:
    """Return of each key the spelling to tell its species by: the first with a code, else the first."""
    found: dict[str, Named] = {}
    for one in spelled:
        before = found.get(keys[one])
        if before is None or (before[1] is None and one[1] is not None):
            found[keys[one]] = one
    return found
