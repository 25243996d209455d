"""``ebbmark contract``: the contract that is served, and the one that is committed."""

from __future__ import annotations

import difflib
from pathlib import Path

from service.api.contract import build_contract, contract_bytes
from service.app import create_app
from service.bootstrap import House
from service.settings import Settings

#: Most lines of difference shown.
_MOST_LINES = 80


def served_contract() -> bytes:
    """Return the contract as the application serves it; no store is opened."""
    settings = Settings(log_level="error")
    house = House(settings)
    try:
        return contract_bytes(build_contract(create_app(settings, house)))
    finally:
        house.store.close()


def write_contract(path: Path) -> None:
    """Write the contract that is served to ``path``."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(served_contract())


def check_contract(path: Path) -> list[str]:
    """Return the lines in which the file at ``path`` differs from the contract that is served, none if it is it."""
    committed = path.read_text(encoding="utf-8") if path.is_file() else ""
    served = served_contract().decode("utf-8")
    lines = difflib.unified_diff(
        committed.splitlines(), served.splitlines(), str(path), "what is served", lineterm="", n=2
    )
    found = list(lines)
    return found[:_MOST_LINES] + ([f"... {len(found) - _MOST_LINES} more lines"] if len(found) > _MOST_LINES else [])
