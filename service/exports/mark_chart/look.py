"""How charts of a mark look: two themes, and the pieces of SVG they are made of.

Nothing is told by colour alone: the stream has its side of the line, grades their sign, windows their name and number.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal
from xml.sax.saxutils import escape

from tidecore.safety import Grade

ThemeName = Literal["light", "dark"]
#: The sign of a grade, where there is room for one letter.
SIGNS: dict[Grade, str] = {"danger": "!!", "caution": "!", "not_assessed": "?", "info": "i"}
#: Class of light -> class of its ground.
LIGHT_CLASSES = {
    "day": "",
    "civil_twilight": "dusk",
    "nautical_twilight": "dim",
    "astronomical_twilight": "dim",
    "night": "night",
}
FONT = "'DejaVu Sans',system-ui,-apple-system,'Segoe UI',sans-serif"


@dataclass(frozen=True, slots=True)
class Theme:
    """Colours by what they are for."""

    paper: str
    ink: str
    quiet: str
    grid: str
    night: str
    dim: str
    dusk: str
    water: str
    shallow: str
    flood: str
    ebb: str
    window: str
    best: str
    session: str
    border: str
    danger: str
    caution: str

    def style(self) -> str:
        """Return the style sheet of a chart."""
        return (
            f"text{{font-family:{FONT};font-size:13px;fill:{self.ink}}}"
            f".name{{font-size:24px;font-weight:700}}.head{{font-weight:700}}.quiet{{fill:{self.quiet}}}"
            f".small{{font-size:11px}}.tiny{{font-size:10px}}.end{{text-anchor:end}}.mid{{text-anchor:middle}}"
            f".paper{{fill:{self.paper}}}.night{{fill:{self.night}}}.dim{{fill:{self.dim}}}.dusk{{fill:{self.dusk}}}"
            f".grid{{stroke:{self.grid};stroke-width:1;fill:none}}.axis{{stroke:{self.quiet};stroke-width:1;fill:none}}"
            f".water{{stroke:{self.water};stroke-width:2;fill:none;stroke-linejoin:round}}.sea{{fill:{self.shallow}}}"
            f".turn{{fill:{self.water}}}.flood{{fill:{self.flood}}}.ebb{{fill:{self.ebb}}}"
            f".window{{fill:{self.window};stroke:{self.best};stroke-width:1}}.best{{fill:{self.best}}}"
            f".session{{fill:{self.session};stroke:{self.border};stroke-width:1.5}}"
            f".way{{fill:none;stroke:{self.border};stroke-width:1.5;stroke-dasharray:3 3}}"
            f".danger{{fill:{self.danger}}}.caution{{fill:{self.caution}}}.info{{fill:{self.quiet}}}"
            f".not_assessed{{fill:none;stroke:{self.quiet};stroke-width:1.5;stroke-dasharray:2 3}}"
            f".sign{{fill:{self.paper};font-weight:700;font-size:11px;text-anchor:middle}}"
            f".sign-open{{fill:{self.ink};font-weight:700;font-size:11px;text-anchor:middle}}"
        )


THEMES: dict[ThemeName, Theme] = {
    "light": Theme(
        paper="#fdfcf8",
        ink="#1d2b31",
        quiet="#56676f",
        grid="#dedfd8",
        night="#c9cfdd",
        dim="#dadde7",
        dusk="#eceaee",
        water="#14566b",
        shallow="#bcdbe0",
        flood="#2a7c68",
        ebb="#96592a",
        window="#d5e6bd",
        best="#4a6b24",
        session="#f4d79c",
        border="#7d5a0c",
        danger="#9c1f30",
        caution="#9c5700",
    ),
    "dark": Theme(
        paper="#10181d",
        ink="#e8ece6",
        quiet="#a3b1b5",
        grid="#2b383e",
        night="#05090c",
        dim="#0a1115",
        dusk="#18232a",
        water="#7cc4d3",
        shallow="#1f4a56",
        flood="#6fc3a8",
        ebb="#d9a06c",
        window="#3c5423",
        best="#b5d481",
        session="#6e5419",
        border="#efc869",
        danger="#f08a94",
        caution="#f0b056",
    ),
}


def safe(text: str) -> str:
    """Return a text as XML holds it; characters that XML forbids are shown as U+FFFD."""
    return escape("".join(c if c in "\t\n" or (c >= " " and c not in "\ufffe\uffff") else "\ufffd" for c in text))


def words(x: float, y: float, said: str, of: str = "") -> str:
    """Return a text at a place."""
    named = f' class="{of}"' if of else ""
    return f'<text{named} x="{x:.1f}" y="{y:.1f}">{safe(said)}</text>'


def box(of: str, left: float, top: float, right: float, bottom: float, radius: float = 0.0) -> str:
    """Return a rectangle; none where it has no width."""
    if right <= left:
        return ""
    round_ = f' rx="{radius:g}"' if radius else ""
    return (
        f'<rect class="{of}" x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" '
        f'height="{bottom - top:.1f}"{round_}/>'
    )


def path(of: str, points: Iterable[tuple[float, float]], close: bool = False) -> str:
    """Return a line through some points, or the area inside it."""
    drawn = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return f'<path class="{of}" d="M{drawn}{"Z" if close else ""}"/>' if drawn else ""


def grade_badge(grade: Grade, x: float, y: float) -> str:
    """Return the sign of a grade about a place: its form differs with the grade, and not its colour alone."""
    sign = SIGNS[grade]
    if grade == "danger":
        shape = path(grade, ((x - 9, y - 9), (x + 9, y - 9), (x + 9, y + 9), (x - 9, y + 9)), close=True)
    elif grade == "caution":
        shape = path(grade, ((x, y - 11), (x + 11, y + 8), (x - 11, y + 8)), close=True)
    else:
        shape = f'<circle class="{grade}" cx="{x:.1f}" cy="{y:.1f}" r="8.5"/>'
    return shape + words(x, y + 4.5, sign, "sign-open" if grade == "not_assessed" else "sign")


def page(width: float, height: float, theme: Theme, title: str, about: str, parts: Sequence[str]) -> str:
    """Return a whole picture."""
    return "\n".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}" '
            f'height="{height:g}" role="img" aria-labelledby="chart-title chart-about">',
            f'<title id="chart-title">{safe(title)}</title>',
            f'<desc id="chart-about">{safe(about)}</desc>',
            f"<style>{theme.style()}</style>",
            f'<rect class="paper" width="{width:g}" height="{height:g}"/>',
            *(one for one in parts if one),
            "</svg>\n",
        )
    )


def shortened(text: str, most: int) -> str:
    """Return a text of at most so many characters."""
    return text if len(text) <= most else text[: most - 1].rstrip() + "\N{HORIZONTAL ELLIPSIS}"


def wrapped(text: str, most: int) -> list[str]:
    """Return a text in lines of at most so many characters, broken at blanks."""
    lines: list[str] = []
    for word in text.split():
        if lines and len(lines[-1]) + 1 + len(word) <= most:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def metres(value: float) -> str:
    """Return a height with one decimal and a proper minus."""
    return f"{round(value, 1) + 0.0:.1f}".replace("-", "\N{MINUS SIGN}")
