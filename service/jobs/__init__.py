"""Long work: the runner that takes fits, and the worker process that computes them."""
