"""Long runs, started by `make soak` and by no test."""
