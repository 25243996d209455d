"""The service holds its own contract: cases made from it, alone and in stories that follow its links, every check on.

Over 2,000 cases on SQLite; `make soak ARGS=contract` makes 20,000. The service asks for keys, and a check of its own
makes each request that was answered once more without one.

Cases are made when they are asked for, not when tests are collected: collecting is done by every process of a run.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis.generation import GenerationMode
from schemathesis.generation.drivers import CoverageGenerator
from schemathesis.generation.feedback import FeedbackSources
from schemathesis.generation.overrides import Override

from tests.postgres.stores import ADMIN_URL
from tests.service.contract_cases import (
    FromHere,
    a_request_that_fits_is_not_said_to_misfit,
    contract_application,
    read_contract,
)
from tests.service.contract_stories import Told, tell_stories

#: On PostgreSQL a part of them: what differs there is the store.
CASES, IN_STORIES = (5, 250) if ADMIN_URL is None else (2, 80)
#: Of the cases of an operation at the edges of what the contract allows, one in so many is made, and at most so many:
#: species rules, of which four operations take one, have over 15,000 edges each.
SHARE, MOST_EDGES = (4, 16) if ADMIN_URL is None else (12, 6)
#: Edges that are found of one operation; the tool goes through what its body may be first.
FOUND = 1200
#: Least cases of a whole run.
LEAST = 2000 if ADMIN_URL is None else 500
#: Ids are chance, so what a story meets is too: it goes on, this often at most, until each of these went well once.
MORE_STORIES = 8
METHODS = {"GET", "PUT", "PATCH", "DELETE", "POST"} if ADMIN_URL is None else {"GET"}
contract = read_contract()
OPERATIONS = [f"{method.upper()} {path}" for path in contract for method in contract[path]]
asked: set[str] = set()


@pytest.fixture(scope="module")
def application(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FromHere]:
    """The application with the invented coast."""
    with contract_application(tmp_path_factory.mktemp("contract")) as served:
        yield served


@pytest.mark.parametrize("label", OPERATIONS)
def test_the_contract_is_kept(application: FromHere, label: str) -> None:
    method, _, path = label.partition(" ")
    operation = contract[path][method]

    def ask(case: schemathesis.Case) -> None:
        application.ask_for_what_can_be(case)
        case.call_and_validate(
            **application.arguments(case), additional_checks=[a_request_that_fits_is_not_said_to_misfit]
        )

    for case in edges(operation):
        if application.takes(case):
            ask(case)
    examples = list(operation.get_strategies_from_examples())
    chosen = [operation.as_strategy(generation_mode=mode) for mode in GenerationMode]
    for strategy, cases in ((st.one_of(examples), len(examples)), (st.one_of(chosen), CASES)):
        if cases:

            @settings(
                max_examples=cases, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate]
            )
            @given(case=strategy)
            def ask_of(case: schemathesis.Case) -> None:
                if application.takes(case):
                    ask(case)

            ask_of()
    asked.add(label)


def edges(operation: Any) -> list[schemathesis.Case]:
    """Return cases at the edges of what an operation allows, a share of them, evenly."""
    found = CoverageGenerator(
        operation=operation,
        generation_modes=list(GenerationMode),
        generation_config=contract.config.generation_for(operation=operation, phase="coverage"),
        auth_storage=None,
        override=Override(),
        feedback=FeedbackSources(),
    )
    cases = list(islice(found, FOUND))
    return cases[:: max(SHARE, -(-len(cases) // MOST_EDGES))]


def test_stories_that_follow_the_links_keep_the_contract(application: FromHere) -> None:
    told = tell_stories(application, IN_STORIES, first_seed=20261128)
    for more in range(1, MORE_STORIES + 1):
        if _went_well(told) >= METHODS:
            break
        told += tell_stories(application, IN_STORIES // 4, first_seed=20261128 + 1000 * more)
    # Links lead somewhere: every kind of edit and reading was met with a thing that was there.
    assert _went_well(told) >= METHODS, told
    assert sum(count for (_, status), count in told.items() if status < 300) >= 0.1 * told.total(), told
    if asked == set(OPERATIONS):
        assert application.cases >= LEAST


def _went_well(told: Told) -> set[str]:
    return {operation.partition(" ")[0] for operation, status in told if status < 300}
