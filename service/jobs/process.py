"""One worker process, as its runner sees it: started when first needed, watched while it works, killed if need be."""

from __future__ import annotations

import atexit
import multiprocessing
import time
from collections.abc import Callable, Mapping
from typing import Any

from service.jobs.worker import JobOutcome, JobTask, Work, serve_tasks


class Died(Exception):
    """The process died while it worked."""


class Halted(Exception):
    """The work was given up because whoever watched it said so."""


class Overrun(Exception):
    """The work took longer than it may."""


class WorkerProcess:
    """One spawned process that does one task at a time."""

    def __init__(self) -> None:
        """Nothing is started yet."""
        self._context = multiprocessing.get_context("spawn")
        self._process: multiprocessing.process.BaseProcess | None = None
        # The process may have children of its own, which those of a daemon may not, so nothing else ends it at exit.
        atexit.register(self.kill)

    def run(
        self,
        work: Work,
        task: JobTask,
        *,
        limit_s: float,
        go_on: Callable[[], bool],
        progress: Callable[[Mapping[str, Any]], None],
        every_s: float,
    ) -> JobOutcome:
        """Do ``work``, a function at the top of a module, asking ``go_on`` every ``every_s`` seconds meanwhile.

        Raises
        ------
        Died, Overrun, Halted
            If the process dies, works longer than ``limit_s``, or ``go_on`` returns False.
        """
        try:
            self._start()
            self._connection.send((work, task))
            ends = time.monotonic() + limit_s
            while True:
                if self._connection.poll(every_s):
                    found = self._connection.recv()
                    if isinstance(found, JobOutcome):
                        return found
                    progress(found)
                if not go_on():
                    raise Halted
                if time.monotonic() > ends:
                    raise Overrun
        except (EOFError, OSError) as error:
            self.kill()
            raise Died from error
        except (Halted, Overrun):
            self.kill()
            raise

    def _start(self) -> None:
        if self._process is not None and self._process.is_alive():
            return
        self.kill()
        ours, theirs = self._context.Pipe()
        process = self._context.Process(target=serve_tasks, args=(theirs,), name="ebbmark-job", daemon=False)
        try:
            process.start()
        except BaseException:
            # One that never started can be neither killed nor waited for.
            ours.close()
            raise
        finally:
            # Only the worker may hold its end: its death must read as the end of the file here.
            theirs.close()
        self._process, self._connection = process, ours

    def kill(self) -> None:
        """End the process at once, whatever it does."""
        if self._process is not None:
            self._process.kill()
            self._process.join()
            self._process.close()
            self._process = None
            self._connection.close()
