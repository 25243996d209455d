"""Fixtures that every room's tests may use."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="session")
def open_data() -> Path:
    """Folder of real gauge records and published constituents, read in place; skips where it is absent."""
    folder = Path(os.environ.get("EBBMARK_OPEN_DATA", ROOT.parent / "shared" / "data"))
    if not folder.is_dir():
        pytest.skip(f"open gauge data not found at {folder}; set EBBMARK_OPEN_DATA to run this check")
    return folder
