"""Invented trips as plain data."""

from __future__ import annotations

from typing import Any

BASS = {"scientific_name": "Dicentrarchus labrax", "fao_code": "BSS"}


def at(clock: str, day: str = "2026-10-10") -> str:
    return f"{day}T{clock}:00Z"


def deployment(
    ref: str = "a", rod: str = "near", start: str = "18:00", end: str = "20:00", **more: Any
) -> dict[str, Any]:
    return {"ref": ref, "rod": rod, "start": at(start), "end": at(end), **more}


def catch(clock: str = "19:00", **more: Any) -> dict[str, Any]:
    plain = {"at": at(clock), "species": BASS, "fate": "returned"}
    return {**plain, **more}


def cast(out: str, in_: str, **more: Any) -> dict[str, Any]:
    return {"out": at(out), "in": at(in_), **more}


def record(**more: Any) -> dict[str, Any]:
    trip = {"mark": "long-ledge", "start": at("17:30"), "end": at("21:00"), "outcome": "fished"}
    return {"trip": trip | more.pop("trip", {}), **more}
