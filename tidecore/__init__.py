"""Harmonic tides, timelines and windows for the shore: the numbers of Ebbmark."""

from tidecore._version import NUMERICS, __version__

__all__ = ["NUMERICS", "__version__"]
