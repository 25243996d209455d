"""The service holds its own contract: cases made from it, alone and in stories that follow its links, every check on.

About 2,000 cases on SQLite; `make soak ARGS=contract` makes 20,000. The service asks for keys, and a check of its own
makes each request that was answered once more without one.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, settings

from tests.postgres.stores import ADMIN_URL
from tests.service.contract_cases import (
    FromHere,
    a_request_that_fits_is_not_said_to_misfit,
    contract_application,
    read_contract,
)
from tests.service.contract_stories import Told, tell_stories

#: On PostgreSQL a part of them: what differs there is the store.
CASES, IN_STORIES = (10, 300) if ADMIN_URL is None else (4, 100)
#: Of cases at the edges of what the contract allows, one in so many is made.
SHARE = 4 if ADMIN_URL is None else 12
#: Ids are chance, so what a story meets is too: it goes on, this often at most, until every method went well once.
MORE_STORIES = 8
METHODS = {"GET", "PUT", "PATCH", "DELETE", "POST"}
contract = read_contract()


@pytest.fixture(scope="module")
def application(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FromHere]:
    """The application with the invented coast."""
    with contract_application(tmp_path_factory.mktemp("contract")) as served:
        yield served


@contract.parametrize()
@settings(
    max_examples=CASES,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.explicit, Phase.generate],
)
def test_the_contract_is_kept(application: FromHere, case: schemathesis.Case) -> None:
    if application.takes(case, SHARE):
        application.ask_for_what_can_be(case)
        case.call_and_validate(
            **application.arguments(case), additional_checks=[a_request_that_fits_is_not_said_to_misfit]
        )


def test_stories_that_follow_the_links_keep_the_contract(application: FromHere) -> None:
    told = tell_stories(application, IN_STORIES, first_seed=20261128)
    for more in range(1, MORE_STORIES + 1):
        if _went_well(told) >= METHODS:
            break
        told += tell_stories(application, IN_STORIES // 4, first_seed=20261128 + 1000 * more)
    # Links lead somewhere: every kind of edit and reading was met with a thing that was there.
    assert _went_well(told) >= METHODS, told
    assert sum(count for (_, status), count in told.items() if status < 300) >= 0.1 * told.total(), told


def _went_well(told: Told) -> set[str]:
    return {operation.partition(" ")[0] for operation, status in told if status < 300}
