"""The ground of a mark."""

from __future__ import annotations

from typing import Literal

Bed = Literal[
    "clean_sand",
    "sand_with_bars_and_gutters",
    "mud",
    "shingle",
    "shingle_to_sand",
    "broken_or_mixed",
    "rough_rock_and_kelp",
    "mussel",
    "eelgrass",
    "structure",
    "channel_edge",
]
