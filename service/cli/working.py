"""``ebbmark worker``: jobs run without HTTP, until told to stop."""

from __future__ import annotations

import signal
from queue import SimpleQueue

import typer

from service.bootstrap import House
from service.logs import configure_logs
from service.settings import Settings


def run_jobs(workers: int | None) -> None:
    """Run jobs of the store in a number of worker processes until SIGTERM or SIGINT; what runs then is given back."""
    settings = Settings()
    configure_logs(settings.log_format, settings.log_level)
    count = max(1, settings.workers) if workers is None else workers
    # Its put may interrupt its get; setting an event from a handler that interrupts its wait would lock up.
    stopping: SimpleQueue[int] = SimpleQueue()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda received, _frame: stopping.put(received))
    house = House(settings.model_copy(update={"workers": count}))
    try:
        house.open()
        typer.echo(f"running jobs, {count} at once; stop with Ctrl-C")
        stopping.get()
    finally:
        house.close()
