"""Stories: cases that go on with what the answer before them made, along the links of the contract."""

from __future__ import annotations

from collections import Counter
from typing import Any

import schemathesis
from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis.errors import FlakyStrategyDefinition
from schemathesis import GenerationMode
from schemathesis.generation.stateful.state_machine import StepInput, StepOutput

from tests.service.contract_cases import FromHere, read_contract
from tests.service.contract_cases import a_request_that_fits_is_not_said_to_misfit as no_misfit

#: Longest story, and most stories of one run.
STEPS = 8
STORIES = 20

#: Operation and status -> how often it was so answered when it followed a link.
Told = Counter[tuple[str, int]]


def tell_stories(application: FromHere, cases: int, first_seed: int) -> Told:
    """Tell stories until about ``cases`` cases were made, in runs each with a seed of its own.

    Stories are of requests that fit: those that do not are no beginning of anything, and have tests of their own.
    """
    told: Told = Counter()
    contract = read_contract(GenerationMode.POSITIVE)
    ends, run = application.cases + cases, 0
    while application.cases < ends:
        before = application.cases
        _tell(contract, application, told, first_seed + run)
        assert application.cases > before, "a run told nothing"
        run += 1
    return told


def _tell(contract: Any, application: FromHere, told: Told, number: int) -> None:
    broken: list[BaseException] = []

    class Story(contract.as_state_machine()):  # type: ignore[misc]
        first = True

        def step(self, given: StepInput) -> StepOutput:
            self.first = given.transition is None
            return super().step(given)

        def before_call(self, case: schemathesis.Case) -> None:
            application.make_what_can_be(case, first=self.first)

        def get_call_kwargs(self, case: schemathesis.Case) -> dict[str, Any]:
            return application.arguments(case)

        def after_call(self, response: Any, case: schemathesis.Case) -> None:
            if not self.first:
                told[case.operation.label, response.status_code] += 1
            super().after_call(response, case)

        def validate_response(self, response: Any, case: schemathesis.Case, **arguments: Any) -> None:
            try:
                super().validate_response(response, case, additional_checks=[no_misfit], **arguments)
            except BaseException as error:
                broken.append(error)
                raise

    wanted = settings(
        max_examples=STORIES,
        stateful_step_count=STEPS,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.generate],
    )
    try:
        seed(number)(Story).run(settings=wanted)
    except FlakyStrategyDefinition:
        # The same choices once more meet a store that has gone on meanwhile. That ends a run and is no fault; what
        # a check found is one, whatever came after it.
        if broken:
            raise broken[0] from None
