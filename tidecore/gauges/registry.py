"""The readers there are, and the one that a file is read by."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from os import PathLike
from typing import TYPE_CHECKING

from tidecore.errors import (
    CoreError,
    HintMissing,
    PartUnreadable,
    RecordAmbiguous,
    RecordError,
    RecordNotRecognised,
    UnknownName,
)
from tidecore.gauges.archive import is_archive, open_parts
from tidecore.gauges.bodc import BODC
from tidecore.gauges.cf_netcdf import CF_NETCDF
from tidecore.gauges.dtf import DTF
from tidecore.gauges.erddap_csv import ERDDAP_CSV
from tidecore.gauges.gesla_table import GESLA_TABLE
from tidecore.gauges.hints import Hints
from tidecore.gauges.ioc_table import IOC_TABLE
from tidecore.gauges.meds import MEDS
from tidecore.gauges.noaa_json import NOAA_JSON
from tidecore.gauges.plain_csv import PLAIN_CSV
from tidecore.gauges.reader import GaugeReader, Recognition
from tidecore.gauges.record import build_record
from tidecore.gauges.source import MAX_BYTES, Source
from tidecore.gauges.uhslc_hourly import UHSLC_HOURLY

if TYPE_CHECKING:
    import xarray as xr

#: Every reader; a new one is one file and one entry here.
READERS: tuple[GaugeReader, ...] = (
    PLAIN_CSV,
    UHSLC_HOURLY,
    CF_NETCDF,
    BODC,
    DTF,
    ERDDAP_CSV,
    GESLA_TABLE,
    IOC_TABLE,
    MEDS,
    NOAA_JSON,
)

#: What hints commonly are that files leave open, to see what else one does.
_COMMON: Mapping[str, object] = {"datum": "unknown", "unit": "m", "zone": "UTC"}


def formats() -> tuple[str, ...]:
    """Return the names of all formats, as ``format=`` takes them."""
    return tuple(reader.name for reader in READERS)


def gauge_reader(name: str) -> GaugeReader:
    """Return the reader of the format ``name``, with its title and hints; raises `UnknownName` if there is none."""
    for reader in READERS:
        if reader.name == name:
            return reader
    raise UnknownName("gauge format", name, formats())


def read_gauge(
    path: str | PathLike[str], format: str | None = None, *, max_bytes: int = MAX_BYTES, **hints: object
) -> xr.Dataset:
    """Read a gauge record.

    Parameters
    ----------
    path : path
        The file.
    format : str, optional
        One of `formats`. Without it the content decides, and what could be two things is refused.
    max_bytes : int
        Largest file read [bytes].
    **hints
        What the file does not say: unit, zone, datum, columns and so on; `gauge_reader` lists those of a format.
        A hint of None counts as not given.

    Returns
    -------
    xarray.Dataset
        ``sea_level`` (time) [m above the datum], NaN where missing; ``quality`` (time), QARTOD flags (1 good,
        2 not evaluated, 3 suspect, 4 not to be believed, 9 missing); ``time`` [UTC], sorted and unique. Its
        attributes say the datum and count all that was found and done: see `tidecore.gauges.record`.

    Raises
    ------
    RecordTooLarge
        If the file is larger than ``max_bytes``; nothing of it is read then.
    RecordNotRecognised
        If no reader knows the file.
    RecordAmbiguous
        If the file, or something in it, could be two things.
    RecordUnreadable
        If the file breaks its format; with the line, where there are lines.
    HintMissing
        If unit, zone, datum or a column is neither in the file nor given, or given wrongly.
    UnknownName
        For a format, hint, unit, column or variable that does not exist.
    """
    return _read(Source.open(path, max_bytes), format, hints)


def read_gauge_parts(
    path: str | PathLike[str], format: str | None = None, *, max_bytes: int = MAX_BYTES, **hints: object
) -> list[xr.Dataset]:
    """Read the parts of one gauge's record: every file of a ZIP archive, or the one record that a file is.

    Parameters and hints are those of `read_gauge`, and hold for every part; ``max_bytes`` is of all parts together.

    Returns
    -------
    list of xarray.Dataset
        As `read_gauge` returns them, in the order of the files' names.

    Raises
    ------
    RecordError
        As `read_gauge`; `PartUnreadable`, which names the file, for what is wrong with a file of several.
    """
    source = Source.open(path, max_bytes)
    if not is_archive(source):
        return [_read(source, format, hints)]
    parts = []
    for part in open_parts(source, max_bytes):
        try:
            parts.append(_read(part, format, hints))
        except HintMissing:
            # Hints hold for every part: what is missing of them is no fault of one file.
            raise
        except RecordError as error:
            raise PartUnreadable(part.name, str(error)) from error
    return parts


def _read(source: Source, format: str | None, hints: Mapping[str, object]) -> xr.Dataset:
    given = {name: value for name, value in hints.items() if value is not None}
    named = None if format is None else gauge_reader(format)
    reader = named or _recognised(source, set(given))
    try:
        raw = reader.read(source, Hints(reader.name, reader.hints, given))
    except HintMissing as error:
        others = tuple(_also_missing(reader, source, given, error.hint))
        raise HintMissing(error.hint, error.accepted, error.given, others) from error
    return build_record(raw, source, reader.name)


def _also_missing(
    reader: GaugeReader, source: Source, given: Mapping[str, object], missing: str
) -> Iterator[HintMissing]:
    """Yield what else would have to be said once a ``missing`` hint is: the file is read as if it were."""
    assumed, told = dict(given), {missing}
    while missing in _COMMON:
        assumed[missing] = _COMMON[missing]
        try:
            reader.read(source, Hints(reader.name, reader.hints, assumed))
        except HintMissing as error:
            if error.hint in told:
                # This is about what was assumed.
                return
            yield error
            missing = error.hint
            told.add(missing)
        except CoreError:
            # Perhaps it is only so because of what was assumed.
            return
        else:
            return


def _recognised(source: Source, hints: set[str]) -> GaugeReader:
    """Return the reader that knows ``source``: the one certain of it, else the only one that it may be of.

    A reader that does not take the ``hints`` given is left aside, as long as another does: who says a unit does not
    mean a format with a unit of its own.
    """
    sure = {reader: reader.recognise(source) for reader in READERS}
    known = [reader for reader in READERS if sure[reader] > Recognition.NO]
    if not known:
        if source.binary_at is None:
            source.require_text()
            raise RecordNotRecognised(formats(), "the file is text, and no table of times and levels at its start")
        raise RecordNotRecognised(formats(), f"the file is binary (byte {source.binary_at}) and no reader knows it")
    fitting = [reader for reader in known if reader.takes(hints)] or known
    best = max(sure[reader] for reader in fitting)
    fitting = [reader for reader in fitting if sure[reader] == best]
    if len(fitting) > 1:
        raise RecordAmbiguous("the record", [reader.name for reader in fitting], "format=")
    return fitting[0]
