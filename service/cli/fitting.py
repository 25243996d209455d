"""``ebbmark fit``: gauge records fitted here and now, many of them side by side."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import typer
from rich.table import Table

from service.cli.showing import console
from service.errors import DocumentInvalid
from service.jobs.cluster import open_spread
from service.jobs.fitting import FittedRecord, RecordPiece, fit_piece
from service.settings import read_settings
from tidecore.errors import CoreError, Fault


def fit_records(
    records: Sequence[Path],
    latitude: float | None,
    record_format: str | None,
    hints: Sequence[str],
    out: Path | None,
    station: str,
) -> bool:
    """Fit records, show the report and diagnostics of each as it is done, and write the models if wanted.

    One record is written to the file ``out``, several to files of their names in the folder ``out``. Where pieces of
    plans are computed, there they are fitted.

    Returns
    -------
    bool
        Whether all were fitted; what is wrong with one is said on standard error, and stops no other.
    """
    wanted = _written(records, out)
    settings, failed = read_settings(), []

    def pieces() -> Iterator[RecordPiece]:
        from tidecore.gauges.source import Source

        given = parse_hints(hints)
        for record in records:
            try:
                source = Source.open(record)
            except CoreError as error:
                failed.append(FittedRecord(str(record), problem=error))
                continue
            yield RecordPiece(str(record), source.name, source.data, record_format, given, latitude, station)

    spread = open_spread(settings.plan_workers, settings.dask_scheduler)
    for done in spread.run(fit_piece, pieces()):
        if done.model is None:
            failed.append(done)
        else:
            _tell(Path(done.key), done.model, wanted[done.key])
    for one in failed:
        typer.echo(f"ebbmark: {one.key + ': ' if len(records) > 1 else ''}{one.problem}", err=True)
    return not failed


def _written(records: Sequence[Path], out: Path | None) -> dict[str, Path | None]:
    """Return where the model of each record goes; DocumentInvalid where two would go to one file."""
    if out is None or len(records) == 1:
        return {str(record): out for record in records}
    files = {str(record): out / f"{record.stem}.nc" for record in records}
    if len(set(files.values())) < len(records):
        raise DocumentInvalid(Fault("records", "two have one name", "names of their own, for the files of the models"))
    out.mkdir(parents=True, exist_ok=True)
    return dict(files)


def _tell(record: Path, document: Mapping[str, Any], out: Path | None) -> None:
    """Show how good a model is, and write it if wanted."""
    from tidecore.model import TideModel

    model = TideModel.from_document(document)
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


def parse_hints(hints: Sequence[str]) -> dict[str, Any]:
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
