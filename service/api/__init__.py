"""HTTP: the borders of requests and answers, and the only place that knows status codes."""
