"""Whether the time of an answer tells another account's id from one that does not exist."""

from __future__ import annotations

import random
import statistics
import sys
import tempfile
import time
from pathlib import Path

from tests.service.holders import context_of, keyed_client, make_holder
from tests.service.walk import absent_id, make_things, probes, send

TRIES = 200
#: Pairs in which either may be the slower one: half of them, and four standard deviations of a fair coin.
_CHANCE = 0.5 + 4.0 * 0.5 / TRIES**0.5
_LEAST_MS = 0.2


def run(_first: int = 1) -> bool:
    """Print the median times of foreign and absent ids at every place; return whether no gap shows.

    Tries are made in pairs, so that a busy machine slows both. A gap shows where one of the two is slower in so many
    pairs that chance makes it once in 10,000 times, and its median by more than 0.2 ms.
    """
    hidden = True
    with tempfile.TemporaryDirectory() as folder, keyed_client(Path(folder)) as client:
        context = context_of(client)
        one, other = make_holder(context, "admin"), make_holder(context, "admin")
        contract = client.get("/openapi.json").json()
        ones, others = make_things(client, one), make_things(client, other)
        chance = random.Random(20260601)
        heads = f"{'foreign ms':>12}{'absent ms':>12}{'gap ms':>10}{'slower':>10}"
        sys.stdout.write(f"{'operation, place, name':<44}{heads}\n")
        for probe in probes(contract):
            foreign = ones[probe.kind]
            taken: dict[bool, list[float]] = {True: [], False: []}
            for _ in range(TRIES):
                for theirs in chance.sample([True, False], 2):
                    probed = foreign if theirs else absent_id(foreign)
                    began = time.perf_counter()
                    send(client, contract, probe, other, others, probed)
                    taken[theirs].append((time.perf_counter() - began) * 1e3)
            medians = {theirs: statistics.median(times) for theirs, times in taken.items()}
            gap = medians[True] - medians[False]
            slower = statistics.fmean(there > here for there, here in zip(taken[True], taken[False], strict=True))
            gapes = abs(gap) > _LEAST_MS and max(slower, 1.0 - slower) > _CHANCE
            hidden = hidden and not gapes
            line = f"{probe!s:<44}{medians[True]:>12.3f}{medians[False]:>12.3f}{gap:>10.3f}{slower:>10.2f}"
            sys.stdout.write(f"{line}{'  GAP' if gapes else ''}\n")
    return hidden
