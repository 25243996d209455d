"""The command ``ebbmark``: serve, worker, plan, fit, windows, contract, db, accounts, keys; each imports its own."""

import os

# Before numpy is imported: many requests at once want one thread each. Left alone, the linear algebra starts a thread
# a core for matrices of a few hundred rows, and the waiting of those threads doubles the time of a search.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from service.garbage import uncollected

with uncollected():
    from service.cli.commands import app

__all__ = ["app"]
