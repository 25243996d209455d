"""``ebbmark worker``: jobs run without HTTP, until told to stop."""

from __future__ import annotations

import typer

from service.bootstrap import House
from service.cli.stopping import hear_stopping
from service.logs import configure_logs
from service.settings import read_settings, tell_slips


def run_jobs(workers: int | None) -> None:
    """Run jobs of the store in a number of worker processes until SIGTERM or SIGINT; what runs then is given back."""
    settings = read_settings()
    configure_logs(settings.log_format, settings.log_level)
    tell_slips()
    count = max(1, settings.workers) if workers is None else workers
    house = House(settings.model_copy(update={"workers": count}))
    with hear_stopping() as wait:
        try:
            house.open()
            typer.echo(f"running jobs, {count} at once; stop with Ctrl-C")
            wait()
        finally:
            house.close()
