"""``ebbmark contract``: the contract that is served, and the one that is committed."""

from __future__ import annotations

import difflib
from pathlib import Path

from service.api.contract import build_contract, contract_bytes
from service.app import create_app
from service.bootstrap import House
from service.errors import DocumentInvalid
from service.settings import read_settings
from tidecore.errors import Fault

#: Most lines of difference shown.
_MOST_LINES = 80


def served_contract() -> bytes:
    """Return the contract as the application serves it; no store is opened."""
    settings = read_settings().model_copy(update={"log_level": "error"})
    house = House(settings)
    try:
        return contract_bytes(build_contract(create_app(settings, house)))
    finally:
        house.store.close()


def write_contract(path: Path) -> None:
    """Write the contract that is served to ``path``; DocumentInvalid if that cannot be done."""
    content = served_contract()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    except OSError as error:
        fault = Fault(str(path), f"cannot be written ({error.strerror})", "a file in a folder that may be written to")
        raise DocumentInvalid(fault) from error


def check_contract(path: Path) -> list[str]:
    """Return the lines in which the file at ``path`` differs from the contract that is served, none if it is it."""
    # What is no text in UTF-8 is not the contract either, and differs.
    committed = path.read_text(encoding="utf-8", errors="replace") if path.is_file() else ""
    served = served_contract().decode("utf-8")
    lines = difflib.unified_diff(
        committed.splitlines(), served.splitlines(), str(path), "what is served", lineterm="", n=2
    )
    found = list(lines)
    return found[:_MOST_LINES] + ([f"... {len(found) - _MOST_LINES} more lines"] if len(found) > _MOST_LINES else [])
