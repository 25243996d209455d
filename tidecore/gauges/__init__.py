"""Open gauge records in, one CF-style Dataset out: one reader a file, and a registry that tells them apart."""

from tidecore.gauges.reader import GaugeReader
from tidecore.gauges.registry import formats, gauge_reader, read_gauge, read_gauge_parts
from tidecore.gauges.source import MAX_BYTES

__all__ = ["MAX_BYTES", "GaugeReader", "formats", "gauge_reader", "read_gauge", "read_gauge_parts"]
