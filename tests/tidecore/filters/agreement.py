"""Whether filters agree with the second evaluator, in bulk."""

from __future__ import annotations

import random

from tests.tidecore.filters.expressions import columns_of, condition, json_of, rows, text_of, worth
from tidecore.filters import Filter
from tidecore.filters.guard import MOST_CHARACTERS

ROWS = 24


def disagreements(seed: int, count: int) -> tuple[list[str], dict[int, int]]:
    """The filters of ``count`` that differ from the second evaluator at a row, and how often each worth came."""
    chance = random.Random(seed)
    found, worths, tried = [], {1: 0, 0: 0, -1: 0}, 0
    while tried < count:
        tree = condition(chance, 3)
        text = text_of(tree)
        if len(text) > MOST_CHARACTERS:
            continue
        tried += 1
        table = rows(chance, ROWS)
        columns = columns_of(table)
        expected = [{True: 1, False: 0, None: -1}[worth(tree, row)] for row in table]
        for one in expected:
            worths[one] += 1
        ways = [Filter.parse(text)]
        document = json_of(tree)
        if len(str(document)) <= MOST_CHARACTERS:
            ways.append(Filter.parse(document))
        if any(way.mask(columns).tolist() != expected for way in ways):
            found.append(text)
    return found, worths
