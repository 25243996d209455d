"""Benchmarks that print ratios against a peer or a floor in the same run; `make bench` runs them."""

import os

# As the service does, before numpy is loaded: threads of its own are in the way of the processes of a pool.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
