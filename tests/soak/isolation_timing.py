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


def run() -> bool:
    """Print the median times of foreign and absent ids at every place; return whether no gap shows.

    A gap shows where the medians lie further apart than the middle half of either scatters, and than 0.2 ms.
    """
    shown = True
    with tempfile.TemporaryDirectory() as folder, keyed_client(Path(folder)) as client:
        context = context_of(client)
        one, other = make_holder(context, "admin"), make_holder(context, "admin")
        contract = client.get("/openapi.json").json()
        ones, others = make_things(client, one), make_things(client, other)
        chance = random.Random(20260601)
        sys.stdout.write(f"{'operation, place, name':<48}{'foreign ms':>12}{'absent ms':>12}{'gap ms':>10}\n")
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
            gap = abs(medians[True] - medians[False])
            quarters = [statistics.quantiles(times) for times in taken.values()]
            gapes = gap > max(0.2, *(high - low for low, _, high in quarters))
            shown = shown and not gapes
            line = f"{probe!s:<48}{medians[True]:>12.3f}{medians[False]:>12.3f}{gap:>10.3f}"
            sys.stdout.write(f"{line}{'  GAP' if gapes else ''}\n")
    return shown
