"""Small files, written where a test wants them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    """Return a function that writes text or bytes to a file and returns its path."""

    def written(content: str | bytes, name: str = "record.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return path

    return written
