"""Messages of the Common Alerting Protocol 1.2 (OASIS Standard, 1 July 2010) -> official warnings.

Status Actual alone is taken: exercises, tests, drafts and messages between systems warn of nothing. The scope must be
Public. Of ``info`` blocks that say the same in several languages one is kept. What the protocol allows and a warning
here does not need (codes, parameters, resources, signatures) is passed over.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from xml.parsers import expat

from tidecore.conditions.warning import OfficialWarning
from tidecore.errors import Fault, InvalidInput, RecordTooLarge, RecordUnreadable

NAMESPACE = "urn:oasis:names:tc:emergency:cap:1.2"
#: Most bytes of a message, most elements in it, and how deep they may lie.
MOST_BYTES, MOST_ELEMENTS, DEEPEST = 2_000_000, 100_000, 20
_TYPES = ("Alert", "Update", "Cancel")
#: What makes two blocks the same warning in two languages.
_SAME = ("severity", "urgency", "certainty", "effective", "onset", "expires")


class _Element:
    """One element: its local name, its text, and the elements in it."""

    __slots__ = ("children", "name", "text")

    def __init__(self, name: str) -> None:
        self.name, self.text, self.children = name, "", list[_Element]()

    def all(self, name: str) -> list[_Element]:
        """Return the elements of a name directly inside."""
        return [child for child in self.children if child.name == name]

    def said(self, name: str) -> str | None:
        """Return the text of the first element of a name directly inside, without blanks at its ends."""
        found = self.all(name)
        return found[0].text.strip() or None if found else None


def read_cap(content: bytes, language: str = "en") -> tuple[OfficialWarning, ...]:
    """Return the warnings of one message, one for each ``info`` block; a cancel without any makes one.

    Parameters
    ----------
    content : bytes
        The message, XML.
    language : str
        Of blocks that differ by their language alone the first is kept whose language begins so, else the first.

    Raises
    ------
    RecordTooLarge
        If it has more than 2,000,000 bytes.
    RecordUnreadable
        If it is no XML, is no message of CAP 1.2, or declares a document type or entities.
    InvalidInput
        If it is no warning to the public that is meant (status, scope, type), or a field is wrong; all faults at once.
    """
    if len(content) > MOST_BYTES:
        raise RecordTooLarge(len(content), MOST_BYTES)
    alert = _parsed(content)
    faults = list(_not_meant(alert))
    if faults:
        raise InvalidInput(faults)
    head = _head(alert)
    blocks = [_block(info, place) for place, info in enumerate(alert.all("info"))]
    documents = [head | block for block in _one_language(blocks, language)] or [head]
    return tuple(OfficialWarning.parse(document) for document in documents)


def _parsed(content: bytes) -> _Element:
    """Return the root of a message; entities and document types are refused before anything of them is read."""
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    root, open_elements, count = _Element(""), list[_Element](), 0
    open_elements.append(root)

    def refuse(*_: Any) -> None:
        raise RecordUnreadable(
            "the message declares a document type", parser.CurrentLineNumber, "XML without DTD or entities"
        )

    def start(name: str, attributes: dict[str, str]) -> None:
        del attributes
        nonlocal count
        count += 1
        if count > MOST_ELEMENTS or len(open_elements) > DEEPEST:
            expected = f"at most {MOST_ELEMENTS} elements, {DEEPEST} deep"
            raise RecordUnreadable("the message has too many elements", parser.CurrentLineNumber, expected)
        space, _, local = name.rpartition(" ")
        # Elements of other standards (signatures) keep their whole name, and so are never taken for ours.
        element = _Element(local if space == NAMESPACE else name)
        open_elements[-1].children.append(element)
        open_elements.append(element)

    def end(_: str) -> None:
        open_elements.pop()

    def text(data: str) -> None:
        open_elements[-1].text += data

    parser.StartDoctypeDeclHandler = parser.EntityDeclHandler = refuse
    parser.StartElementHandler, parser.EndElementHandler, parser.CharacterDataHandler = start, end, text
    try:
        parser.Parse(content, True)
    except expat.ExpatError as error:
        raise RecordUnreadable(
            f"no XML: {expat.ErrorString(error.code)}", error.lineno, "a whole XML message"
        ) from error
    except (LookupError, ValueError) as error:  # an encoding that nobody knows
        raise RecordUnreadable(f"no XML: {error}", expected="a message in UTF-8") from error
    if root.children[0].name != "alert":
        found = root.children[0].name
        raise RecordUnreadable(f"the root is {found[:80]!r}", 1, f"'alert' of {NAMESPACE}")
    return root.children[0]


def _not_meant(alert: _Element) -> Iterator[Fault]:
    """Yield why a message is no warning to be heeded."""
    status, kind, scope = alert.said("status"), alert.said("msgType"), alert.said("scope")
    if status != "Actual":
        yield Fault(
            "status", f"is {status!r}", "'Actual': exercises, tests, drafts and system messages warn of nothing"
        )
    if kind not in _TYPES:
        yield Fault("msgType", f"is {kind!r}", f"one of {', '.join(_TYPES)}")
    if scope != "Public":
        yield Fault("scope", f"is {scope!r}", "'Public'")
    if kind == "Alert" and not alert.all("info"):
        yield Fault("info", "is missing", "at least one block of an alert")


def _given(**fields: Any) -> dict[str, Any]:
    """Return the fields that there are."""
    return {name: value for name, value in fields.items() if value is not None}


def _head(alert: _Element) -> dict[str, Any]:
    """Return the fields of the message as a whole."""
    references = []
    for written in (alert.said("references") or "").split():
        # An identifier holds no commas, by the standard; a sender may.
        sender, _, rest = written.rpartition(",")[0].rpartition(",")
        references.append({"sender": sender, "identifier": rest, "sent": written.rpartition(",")[2]})
    return _given(
        identifier=alert.said("identifier"),
        sender=alert.said("sender"),
        sent=alert.said("sent"),
        msg_type=str(alert.said("msgType")).lower(),
        references=references,
    )


def _lower(text: str | None) -> str | None:
    return None if text is None else text.lower()


def _block(info: _Element, place: int) -> dict[str, Any]:
    """Return the fields of one ``info`` block."""
    return _given(
        block=place,
        language=info.said("language"),
        event=info.said("event"),
        headline=info.said("headline"),
        description=info.said("description"),
        instruction=info.said("instruction"),
        severity=_lower(info.said("severity")),
        urgency=_lower(info.said("urgency")),
        certainty=_lower(info.said("certainty")),
        effective=info.said("effective"),
        onset=info.said("onset"),
        expires=info.said("expires"),
        areas=[_area(area, place, k) for k, area in enumerate(info.all("area"))],
    )


def _area(area: _Element, block: int, place: int) -> dict[str, Any]:
    """Return one area; its shapes are numbers, or the message is refused."""
    where = f"info.{block}.area.{place}"
    polygons = [
        [_numbers(pair, 2, f"{where}.polygon") for pair in polygon.text.split()] for polygon in area.all("polygon")
    ]
    circles = []
    for circle in area.all("circle"):
        centre, radius = (*circle.text.split(None, 1), "", "")[:2]
        latitude, longitude = _numbers(centre, 2, f"{where}.circle")
        (radius_km,) = _numbers(radius, 1, f"{where}.circle")
        circles.append({"latitude": latitude, "longitude": longitude, "radius_km": radius_km})
    return {"description": area.said("areaDesc") or "", "polygons": polygons, "circles": circles}


def _numbers(text: str, count: int, where: str) -> list[float]:
    """Return the numbers of a text that are parted by commas."""
    try:
        found = [float(part) for part in text.split(",")]
    except ValueError:
        found = []
    if len(found) != count:
        expected = "latitude,longitude" if count == 2 else "latitude,longitude, a blank, and the radius in km"
        raise InvalidInput(Fault(where, f"holds {text[:40]!r}", expected))
    return found


def _one_language(blocks: list[dict[str, Any]], language: str) -> list[dict[str, Any]]:
    """Return the blocks without those that say again, in another language, what one before says."""
    kept: dict[str, dict[str, Any]] = {}
    for block in blocks:
        shapes = [(area["polygons"], area["circles"]) for area in block["areas"]]
        key = repr(([block.get(name) for name in _SAME], shapes))
        other = kept.get(key)
        if other is None:
            kept[key] = block
        elif _tongue(other) == _tongue(block):
            kept[f"{key} {block['block']}"] = block
        elif _tongue(block).startswith(language.lower()) and not _tongue(other).startswith(language.lower()):
            kept[key] = block
    return sorted(kept.values(), key=lambda block: int(block["block"]))


def _tongue(block: dict[str, Any]) -> str:
    """Return the language of a block; the standard takes en-US where none is said."""
    return str(block.get("language", "en-US")).lower()
