"""The names that scripts rely on: listed, importable, documented, and none hidden behind a module of the same name."""

from __future__ import annotations

import importlib
import pkgutil
import types
from typing import Any, get_origin

import pytest

import tidecore


def module_names(package: types.ModuleType) -> set[str]:
    """Names of the modules and packages directly inside ``package``."""
    return {info.name for info in pkgutil.iter_modules(package.__path__)}


def public_names(namespace: dict[str, Any]) -> set[str]:
    """What a namespace offers: no private names, no modules, nothing of ``__future__``."""
    return {
        name
        for name, value in namespace.items()
        if not name.startswith("_") and not isinstance(value, types.ModuleType) and name != "annotations"
    }


def faults(package: types.ModuleType) -> list[str]:
    """What is wrong with the list of public names of ``package``."""
    listed = list(getattr(package, "__all__", ()))
    offered = public_names({name: getattr(package, name) for name in dir(package)})
    found = [f"{name} is listed and cannot be imported" for name in listed if not hasattr(package, name)]
    found += [f"{name} is offered and not listed" for name in sorted(offered - set(listed))]
    found += [f"{name} is also the name of a module" for name in listed if name in module_names(package)]
    found += [f"{name} is listed twice" for name in sorted(set(listed)) if listed.count(name) > 1]
    return found


def undocumented(package: types.ModuleType) -> list[str]:
    values = {name: getattr(package, name) for name in getattr(package, "__all__", ())}
    # An alias of a type, as Literal["flood", "ebb"], can be called for Python, and has no text of its own.
    things = {name: value for name, value in values.items() if callable(value) and get_origin(value) is None}
    return [name for name, value in things.items() if not (value.__doc__ or "").strip()]


def packages() -> list[str]:
    found = [info.name for info in pkgutil.walk_packages(tidecore.__path__, "tidecore.") if info.ispkg]
    return ["tidecore", *found]


@pytest.mark.parametrize("name", packages())
def test_public_names_are_those_listed(name):
    package = importlib.import_module(name)
    assert faults(package) == []
    assert undocumented(package) == []


@pytest.fixture
def sample():
    package: Any = types.ModuleType("ebb")
    package.__path__ = []
    package.rise = lambda: None
    package.rise.__doc__ = "Rise."
    package.__all__ = ["rise"]
    return package


def test_a_package_in_order_has_no_faults(sample):
    assert faults(sample) == []
    assert undocumented(sample) == []


def test_each_fault_is_seen(sample, tmp_path):
    (tmp_path / "rise.py").write_text("", encoding="utf-8")
    sample.__path__ = [str(tmp_path)]
    sample.fall = lambda: None
    sample.__all__ = ["rise", "rise", "stand"]
    assert faults(sample) == [
        "stand is listed and cannot be imported",
        "fall is offered and not listed",
        "rise is also the name of a module",
        "rise is also the name of a module",
        "rise is listed twice",
    ]


def test_a_name_without_documentation_is_seen(sample):
    sample.rise.__doc__ = None
    assert undocumented(sample) == ["rise"]
