"""``python -m tests.postgres COMMAND...``: run a command with EBBMARK_TEST_DATABASE_URL naming a private cluster.

The cluster flushes nothing to disk: it is gone with the run, and what is tested there is no loss of power.
Where the variable is set already, the command runs on the database that it names. ``--found`` in place of a command
ends with 0 where the programs of a server are on this machine.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys

from tests.postgres.cluster import NoPostgres, find_programs, private_cluster

VARIABLE = "EBBMARK_TEST_DATABASE_URL"


def found() -> bool:
    """Return whether the programs of a server are on this machine."""
    try:
        find_programs()
    except NoPostgres:
        return False
    return True


def main(command: list[str]) -> int:
    """Run ``command`` and return what it ended with."""
    if not command:
        print(__doc__, file=sys.stderr)  # noqa: T201 - a command says how it is used
        return 2
    if command == ["--found"]:
        return 0 if found() else 1
    if os.environ.get(VARIABLE):
        return subprocess.call(command)
    # So that the cluster is stopped and removed when a build machine ends the run.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(128 + signal.SIGTERM))
    try:
        with private_cluster(flushed=False) as cluster:
            return subprocess.call(command, env={**os.environ, VARIABLE: cluster.url})
    except NoPostgres as error:
        print(f"make test-pg: {error}", file=sys.stderr)  # noqa: T201 - as above
        return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
