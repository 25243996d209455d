"""Every error raised on purpose has a type of problem, and every type of problem can happen."""

from __future__ import annotations

import ast
import importlib
import pkgutil
from collections.abc import Container, Iterable

import pytest

import service
import tidecore
from service.api.problem_types import PROBLEMS, TABLE, problem_of
from service.errors import ServiceError
from tests.house.tree import PACKAGES, parsed, python_files
from tidecore.errors import CoreError, Fault, InvalidSpan

#: Problems that the framework's own refusals become, and the one that is nobody's intent.
OF_THE_FRAMEWORK = {"bad-request", "invalid-request", "method-not-allowed", "internal"}


def descendants(root: type[Exception]) -> list[type[Exception]]:
    """Every class below ``root``, each once."""
    found: dict[type[Exception], None] = {}
    for child in root.__subclasses__():
        found |= dict.fromkeys([child, *descendants(child)])
    return list(found)


def unmapped(roots: Iterable[type[Exception]], table: Container[type[Exception]], raised: Container[str]) -> list[str]:
    """Names of errors that are raised, or have nothing below them, and have no entry of their own or of a base."""
    return [
        error.__name__
        for root in roots
        for error in [root, *descendants(root)]
        if (error.__name__ in raised or not error.__subclasses__()) and not any(base in table for base in error.__mro__)
    ]


def raised_names(tree: ast.AST) -> set[str]:
    """Names of classes that a module raises, called or bare."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Raise) and node.exc is not None:
            said = node.exc.func if isinstance(node.exc, ast.Call) else node.exc
            names.add(said.attr if isinstance(said, ast.Attribute) else getattr(said, "id", ""))
    return names


@pytest.fixture(scope="module", autouse=True)
def all_modules():
    """Import every module of both packages, so that every class of errors is known."""
    for package in (tidecore, service):
        for info in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
            if "migrations" not in info.name and info.name != "service.asgi":
                importlib.import_module(info.name)


def raised_anywhere() -> set[str]:
    return {name for path in python_files(*PACKAGES) for name in raised_names(parsed(path))}


def test_every_error_has_a_type_of_problem():
    assert unmapped((CoreError, ServiceError), TABLE, raised_anywhere()) == []


def test_every_entry_of_the_table_is_a_problem():
    assert set(TABLE.values()) - set(PROBLEMS) == set()


def test_every_type_of_problem_can_happen():
    assert set(PROBLEMS) - set(TABLE.values()) == OF_THE_FRAMEWORK


def test_every_error_lives_in_the_tree_of_its_package():
    strays = [
        error.__module__ + "." + error.__name__
        for root in (CoreError, ServiceError)
        for error in descendants(root)
        if not error.__module__.startswith(("tidecore.errors", "service.errors"))
        and error.__module__.split(".")[0] in PACKAGES
    ]
    assert strays == []


def test_the_nearest_base_decides():
    class Overfall(InvalidSpan):
        """An error without an entry of its own."""

    assert problem_of(Overfall(Fault("end", "is before the start", "an end after it"))).slug == "invalid-span"
    assert problem_of(ValueError("unforeseen")).slug == "internal"


def test_an_error_without_an_entry_is_seen():
    class Shore(Exception):
        """A root."""

    class Sand(Shore):
        """A group, mapped."""

    class Bar(Sand):
        """Mapped by its base."""

    class Rock(Shore):
        """A group, not mapped."""

    class Ledge(Rock):
        """Not mapped, and nothing below it."""

    assert unmapped([Shore], {Sand}, set()) == ["Ledge"]
    assert unmapped([Shore], {Sand}, {"Rock"}) == ["Rock", "Ledge"]
    assert unmapped([Shore], {Sand, Rock}, {"Rock"}) == []


@pytest.mark.parametrize("sample", ["raise Rock('x')", "raise errors.Rock('x') from None", "raise Rock"])
def test_what_is_raised_is_seen(sample):
    assert raised_names(ast.parse(sample)) == {"Rock"}
