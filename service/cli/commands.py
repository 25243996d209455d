"""The commands and their options; what each does is in the module of its name."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from service.errors import ServiceError
from service.garbage import uncollected
from tidecore.errors import CoreError

app = typer.Typer(
    name="ebbmark",
    help="Tide windows for the shore angler. Settings come from the environment, as EBBMARK_PORT and EBBMARK_STORE.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
store_app = typer.Typer(help="The store.", no_args_is_help=True)
app.add_typer(store_app, name="db")
accounts_app = typer.Typer(help="Accounts, the owners of everything private.", no_args_is_help=True)
app.add_typer(accounts_app, name="accounts")
keys_app = typer.Typer(help="API keys, each for one account.", no_args_is_help=True)
app.add_typer(keys_app, name="keys")


@contextmanager
def _said() -> Iterator[None]:
    """Say an error that was foreseen in one line, and end with 1."""
    try:
        yield
    except (CoreError, ServiceError) as error:
        typer.echo(f"ebbmark: {error}", err=True)
        raise typer.Exit(1) from error


@app.command()
def serve(
    demo: Annotated[bool, typer.Option(help="Load the invented demo coast, and show its best windows first.")] = False,
) -> None:
    """Serve the API."""
    with uncollected():
        from service.cli.serving import serve_api

    with _said():
        serve_api(demo=demo)


@app.command()
def worker(
    workers: Annotated[
        int | None,
        typer.Option(min=1, max=64, help="Worker processes; EBBMARK_WORKERS, and at least one, unless given."),
    ] = None,
) -> None:
    """Run jobs, without serving the API."""
    from service.cli.working import run_jobs

    with _said():
        run_jobs(workers)


@app.command()
def plan(
    days: Annotated[
        int | None, typer.Option(min=1, max=100, help="So many days from today on; 31 unless given.")
    ] = None,
    month: Annotated[
        str | None, typer.Option(help="Instead a month as 2026-12, or by the clock in UTC: this, or next.")
    ] = None,
    time_zone: Annotated[str, typer.Option(help="IANA zone whose clocks bound days and the month.")] = "Etc/UTC",
    mark: Annotated[list[str] | None, typer.Option(help="Id or own name of a mark; all unless given.")] = None,
    rule: Annotated[list[str] | None, typer.Option(help="Id or own name of a species rule; all unless given.")] = None,
    most: Annotated[int | None, typer.Option(min=1, max=200, help="Most sessions kept of a mark.")] = None,
    series: Annotated[
        str | None,
        typer.Option(help="Name of the series; unless given, rolling for days from today on, else what is asked."),
    ] = None,
    account: Annotated[str | None, typer.Option(help="Id of an account; the local one unless given.")] = None,
    all_accounts: Annotated[bool, typer.Option("--all-accounts", help="Make the plan of every account.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Say what came of it as an object of JSON a line.")] = False,
) -> None:
    """Make the plan of the coming days or of a month, here and now, and say in one line what came of it.

    Run every night, the plan of the days from today on supersedes that of the night before, whatever the month.

    Ends with 0 if all marks are done, 1 if some failed, 2 if what is asked makes no plan, 3 if the store cannot be
    reached, 4 if another run is at it, 5 if the plan was not made or was interrupted; of several the highest.
    """
    from service.cli.planning import USAGE, Wanted, make_plans

    if account is not None and all_accounts:
        typer.echo("ebbmark: --account is given beside --all-accounts; one of the two", err=True)
        raise typer.Exit(USAGE)
    if days is not None and month is not None:
        typer.echo("ebbmark: --days is given beside --month; one of the two", err=True)
        raise typer.Exit(USAGE)
    wanted = Wanted(days, month, time_zone, mark or None, rule or None, most, series, account, all_accounts)
    raise typer.Exit(make_plans(wanted, as_json=as_json))


@app.command()
def fit(
    record: Annotated[list[Path], typer.Argument(help="Gauge record, or several, which are fitted side by side.")],
    latitude: Annotated[float | None, typer.Option(help="Degrees north; the record's own unless given.")] = None,
    record_format: Annotated[str | None, typer.Option("--format", help="Format of the record.")] = None,
    hint: Annotated[list[str] | None, typer.Option(help="What the record does not say, as unit=m or zone=UTC.")] = None,
    out: Annotated[
        Path | None, typer.Option(help="Write the model here, as NetCDF; of several records a folder.")
    ] = None,
    station: Annotated[str, typer.Option(help="Name of the station.")] = "",
) -> None:
    """Fit gauge records, here and now, and say how good each model is; ends with 1 if one was not fitted."""
    from service.cli.fitting import fit_records

    with _said():
        if not fit_records(record, latitude, record_format, hint or [], out, station):
            raise typer.Exit(1)


@app.command()
def windows(
    start: Annotated[str | None, typer.Option(help="Start with its offset; now unless given.")] = None,
    days: Annotated[float, typer.Option(min=0.01, help="Length of the span in days.")] = 14.0,
    mark: Annotated[list[str] | None, typer.Option(help="Id or own name of a mark; all unless given.")] = None,
    rule: Annotated[list[str] | None, typer.Option(help="Id or own name of a species rule; all unless given.")] = None,
    most: Annotated[int, typer.Option(min=1, help="Most windows shown.")] = 20,
) -> None:
    """Show the best windows of the marks and rules in the store."""
    from service.cli.showing import show_windows

    with _said():
        show_windows(start, days, mark or None, rule or None, most)


@app.command()
def contract(
    path: Annotated[Path, typer.Argument(help="Where the contract is committed.")] = Path("openapi/v1.json"),
    check: Annotated[
        bool, typer.Option(help="Write nothing; end with 1 if the file differs from what is served.")
    ] = False,
) -> None:
    """Write the contract that is served, or check that the committed one is it."""
    from service.cli.contracts import check_contract, write_contract

    with _said():
        if not check:
            write_contract(path)
            typer.echo(f"wrote {path}")
            return
        differences = check_contract(path)
    for line in differences:
        typer.echo(line, err=True)
    if differences:
        typer.echo(f"ebbmark: {path} is not what is served; run `ebbmark contract` and look at the changes", err=True)
        raise typer.Exit(1)


@store_app.command()
def upgrade() -> None:
    """Bring the store to the schema of this version."""
    from service.cli.storing import bring_up

    with _said():
        bring_up()
    typer.echo("the store is up to date")


@store_app.command()
def backup(file: Annotated[Path, typer.Argument(help="A new file; one that is there is never written over.")]) -> None:
    """Copy an SQLite store to a file, checked, while the service goes on."""
    from service.cli.storing import back_up_store

    with _said():
        back_up_store(file)
    typer.echo(f"wrote {file}")


@store_app.command()
def restore(file: Annotated[Path, typer.Argument(help="A file that `ebbmark db backup` wrote.")]) -> None:
    """Fill an empty SQLite store from a backup, and bring it up to date; stop the service first."""
    from service.cli.storing import restore_store

    with _said():
        restore_store(file)
    typer.echo(f"restored {file}; the store is up to date")


@accounts_app.command("create")
def create_account(name: Annotated[str, typer.Argument(help="Name of the account.")]) -> None:
    """Make an account; its id goes to standard output."""
    from service.cli import keys

    with _said():
        keys.create_account(name)


@accounts_app.command("list")
def list_accounts() -> None:
    """List the accounts."""
    from service.cli import keys

    with _said():
        keys.list_accounts()


@keys_app.command("create")
def create_key(
    account: Annotated[str, typer.Option(help="Id of the account.")],
    scope: Annotated[list[str], typer.Option(help="What it is good for: read, write or admin; may be repeated.")],
    name: Annotated[str, typer.Option(help="What it is for, to tell keys apart.")] = "key",
    expires: Annotated[
        str | None, typer.Option(help="An instant with its offset, or days from now as 90d; never unless given.")
    ] = None,
) -> None:
    """Make a key; it goes to standard output, alone, and is never shown again."""
    from service.cli import keys

    with _said():
        keys.create_key(account, scope, name, expires)


@keys_app.command("list")
def list_keys(
    account: Annotated[str | None, typer.Option(help="Id of an account; all unless given.")] = None,
) -> None:
    """List the keys, without their secrets."""
    from service.cli import keys

    with _said():
        keys.list_keys(account)


@keys_app.command("revoke")
def revoke_key(key_id: Annotated[str, typer.Argument(help="Id of the key.")]) -> None:
    """Revoke a key, at once and for good."""
    from service.cli import keys

    with _said():
        keys.revoke_key(key_id)
