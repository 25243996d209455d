"""One demo coast, served for every test here that looks at pages of it."""

from __future__ import annotations

from tests.house.conftest import demo_server

__all__ = ["demo_server"]
