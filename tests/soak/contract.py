"""20,000 cases made from the contract, alone and in stories, every check on."""

from __future__ import annotations

import tempfile
from contextlib import suppress
from itertools import product
from pathlib import Path
from typing import Any

import schemathesis
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.core.control import SkipTest

from tests.service.contract_cases import (
    FromHere,
    a_request_that_fits_is_not_said_to_misfit,
    contract_application,
    read_contract,
)
from tests.service.contract_stories import tell_stories
from tests.soak.parts import run_parts

PARTS = 10
ALONE, IN_STORIES = 1_500, 500
_LIMIT_S = 2 * 3600.0


def run(first: int = 1) -> bool:
    """Print what each part came to; return whether all were done. A broken contract raises."""
    return run_parts("contract", PARTS, first, _LIMIT_S, _ask)


def _ask(part: int) -> tuple[str, int]:
    with tempfile.TemporaryDirectory() as folder, contract_application(Path(folder)) as application:
        contract = read_contract()
        operations = [found.ok() for found in contract.get_all_operations()]
        while application.cases < ALONE:
            for operation, mode in product(operations, GenerationMode):
                _ask_one(application, operation, mode, ALONE // len(operations) // 2 + 1, part)
        alone = application.cases
        told = tell_stories(application, IN_STORIES, first_seed=1000 * part)
        well = sum(count for (_, status), count in told.items() if status < 300)
        stories = application.cases - alone
        line = (
            f"{alone} cases alone, {stories} in stories, of which {told.total()} along a link and {well} answered 2xx"
        )
        return line, application.cases


def _ask_one(application: FromHere, operation: Any, mode: GenerationMode, cases: int, part: int) -> None:
    @seed(part)
    @settings(max_examples=cases, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
    @given(case=operation.as_strategy(generation_mode=mode))
    def ask(case: schemathesis.Case) -> None:
        if application.takes(case):
            application.ask_for_what_can_be(case)
            case.call_and_validate(
                **application.arguments(case), additional_checks=[a_request_that_fits_is_not_said_to_misfit]
            )

    # There is nothing to get wrong where an operation takes nothing, and the tool finds no case.
    with suppress(*((SkipTest, Unsatisfiable) if mode is GenerationMode.NEGATIVE else ())):
        ask()
