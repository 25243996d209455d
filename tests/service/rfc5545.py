"""A reader of iCalendar lines, by the text of RFC 5545 and by nothing that writes them."""

from __future__ import annotations

import re

#: name, parameters, value (section 3.1).
_LINE = re.compile(r'([A-Z0-9-]+)((?:;[A-Z0-9-]+=(?:"[^"]*"|[^";:,]*)(?:,(?:"[^"]*"|[^";:,]*))*)*):(.*)', re.S)
_TEXTS = frozenset({"SUMMARY", "DESCRIPTION", "LOCATION", "UID", "PRODID"})
#: Section 3.3.6: hours may have minutes after them, and minutes seconds, none of them skipped.
_TIME = r"T(\d+H(\d+M(\d+S)?)?|\d+M(\d+S)?|\d+S)"
_DURATION = re.compile(rf"[+-]?P(\d+W|\d+D({_TIME})?|{_TIME})")
_UTC = re.compile(r"\d{8}T\d{6}Z")


def read_calendar(raw: bytes) -> list[tuple[str, dict[str, str]]]:
    """Components in their order, each with its properties, text unescaped; AssertionError where a rule is broken."""
    assert raw.endswith(b"\r\n")
    physical = raw[:-2].split(b"\r\n")
    assert b"\r" not in b"".join(physical)
    assert b"\n" not in b"".join(physical)
    for octets in physical:
        # Section 3.1: lines are no longer than 75 octets, without the break.
        assert 0 < len(octets) <= 75
        # A fold lies between characters.
        octets.decode("utf-8")
    text = raw[:-2].decode("utf-8")
    found: list[tuple[str, dict[str, str]]] = []
    open_ones: list[int] = []
    for line in re.sub("\r\n[ \t]", "", text).split("\r\n"):
        match = _LINE.fullmatch(line)
        assert match is not None, line
        name, parameters, value = match.groups()
        if name == "BEGIN":
            open_ones.append(len(found))
            found.append((value, {}))
            continue
        if name == "END":
            assert found[open_ones.pop()][0] == value
            continue
        lines = found[open_ones[-1]][1]
        assert name not in lines, f"{name} twice"
        if name in _TEXTS:
            value = _unescaped(value)
        if name in ("DTSTAMP", "DTSTART", "LAST-MODIFIED"):
            assert parameters == ""
            # Section 3.6.5: the onset of a zone's rule is a local time.
            assert _UTC.fullmatch(value if found[open_ones[-1]][0] != "STANDARD" else f"{value}Z")
        if name == "TRIGGER":
            # DURATION is its default (section 3.8.6.3).
            assert parameters in ("", ";VALUE=DURATION")
            assert _DURATION.fullmatch(value), value
        if name == "GEO":
            assert re.fullmatch(r"-?\d+(\.\d+)?;-?\d+(\.\d+)?", value)
        lines[name] = value
    assert open_ones == []
    assert found[0][0] == "VCALENDAR"
    assert found[0][1]["VERSION"] == "2.0"
    for name, lines in found:
        if name == "VALARM":
            assert set(lines) == {"ACTION", "TRIGGER", "DESCRIPTION"}
            assert lines["ACTION"] == "DISPLAY"
    return found


def _unescaped(value: str) -> str:
    """Text of section 3.3.11."""
    assert re.fullmatch(r"(?:[^\\;,]|\\[\\;,Nn])*", value, re.S), value
    return re.sub(r"\\(.)", lambda one: "\n" if one[1] in "Nn" else one[1], value)
