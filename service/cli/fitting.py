"""``ebbmark fit``: a gauge record fitted here and now."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from rich.table import Table

from service.cli.showing import console
from service.errors import DocumentInvalid
from tidecore.errors import Fault


def fit_record(
    record: Path, latitude: float | None, record_format: str | None, hints: list[str], out: Path | None, station: str
) -> None:
    """Fit the record at the path ``record``, show its report and diagnostics, and write the model if wanted."""
    from tidecore.gauges import read_gauge
    from tidecore.model import fit

    dataset = read_gauge(record, format=record_format, **parse_hints(hints))
    model = fit(dataset, latitude=latitude, station=station)
    found = model.diagnostics
    assert found is not None, "a fitted model has diagnostics"
    table = Table(title=f"{record.name}: {len(model.constituents)} constituents", show_header=False)
    skill = "not computed under 60 days" if found.skill is None else f"{found.skill:.4f}"
    for name, value in (
        ("from", found.first),
        ("to", found.last),
        ("values", str(found.values)),
        ("missing", str(found.missing)),
        ("datum", model.datum),
        ("residual RMS [m]", f"{found.residual_rms_m:.4f}"),
        ("variance explained", f"{found.variance_explained:.5f}"),
        ("skill on the last quarter", skill),
        ("mean spring range [m]", f"{model.mean_spring_range:.3f}"),
    ):
        table.add_row(name, value)
    lines = Table(title="Largest constituents")
    for heading in ("name", "amplitude [m]", "phase [degrees]"):
        lines.add_column(heading, justify="left" if heading == "name" else "right")
    largest = sorted(model.constituents.items(), key=lambda line: -line[1][0])[:12]
    for name, (amplitude, phase) in largest:
        lines.add_row(name, f"{amplitude:.4f}", f"{phase:.2f}")
    console().print(table, lines)
    if out is not None:
        model.save(out)
        console().print(f"wrote {out}")


def parse_hints(hints: list[str]) -> dict[str, Any]:
    """Return hints given as ``name=value``; a value that is JSON is taken as such, any other as text."""
    parsed: dict[str, Any] = {}
    for hint in hints:
        name, separator, value = hint.partition("=")
        if not separator or not name.isidentifier():
            raise DocumentInvalid(Fault("hint", f"{hint!r} is none", "name=value, as unit=m"))
        try:
            parsed[name] = json.loads(value)
        except ValueError:
            parsed[name] = value
    return parsed
