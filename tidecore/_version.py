"""The one place the version is written."""

__version__ = "0.1.0"

#: Raised by one whenever any published output of tidecore may move. Golden values hold it.
NUMERICS = 6
