"""Long work: kinds of jobs, the runner that claims them, and the worker processes that do them."""
