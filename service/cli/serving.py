"""``ebbmark serve``: the store opened, the API served, and the demo coast shown beside it if wanted."""

from __future__ import annotations

import errno
import socket
from threading import Thread

import typer
import uvicorn

from service.app import create_app
from service.bootstrap import House
from service.cli.demo import load_demo
from service.cli.showing import DEMO_DAYS, print_windows, search_from
from service.errors import PortUnavailable, ServiceError
from service.security import LOCAL_CALLER
from service.settings import Settings, read_settings
from service.usecases.keys import NO_KEY, has_usable_key
from tidecore.errors import CoreError


def serve_api(*, demo: bool) -> None:
    """Serve until told to stop; with ``demo`` the demo coast is loaded first and its best windows are shown."""
    settings = read_settings()
    # The port first: nothing is loaded or fitted for a service that cannot start.
    listener = _listen(settings.host, settings.port)
    house = House(settings)
    try:
        app = create_app(settings, house)
        house.open()
        if demo:
            typer.echo(load_demo(house.context, LOCAL_CALLER, settings.demo_dir))
        # Beside the server: whoever asks is answered while the windows of the coast are still being sought.
        telling = Thread(target=_tell, args=(house, settings, demo))
        telling.start()
        try:
            # Headers of proxies are not believed: who calls is who is connected.
            config = uvicorn.Config(
                app, proxy_headers=False, server_header=False, access_log=False, log_level="warning"
            )
            uvicorn.Server(config).run(sockets=[listener])
        finally:
            telling.join()
    finally:
        listener.close()
        house.close()


def _tell(house: House, settings: Settings, demo: bool) -> None:
    """Print the best windows of the demo coast if wanted, and where the API is."""
    if demo:
        try:
            print_windows(search_from(house.context, LOCAL_CALLER, None, DEMO_DAYS, None, None), 20)
        except (CoreError, ServiceError) as error:
            typer.echo(f"ebbmark: the windows of the demo coast cannot be shown: {error}", err=True)
    if settings.auth == "keys":
        _tell_of_keys(house)
    typer.echo(f"serving http://{settings.host}:{settings.port}/v1 (the contract, to try out: /docs)")


def _tell_of_keys(house: House) -> None:
    """Say how to make a key where there is none."""
    try:
        if not has_usable_key(house.context):
            typer.echo(f"ebbmark: not ready: {NO_KEY}", err=True)
    except ServiceError as error:
        typer.echo(f"ebbmark: whether there are API keys cannot be told: {error}", err=True)


def _listen(host: str, port: int) -> socket.socket:
    """Return a socket that listens at ``host`` and ``port``; PortUnavailable if it cannot."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
    except OSError as error:
        listener.close()
        if error.errno == errno.EADDRINUSE:
            reason = f"port {port} is busy: another program listens there; stop it, or choose another with EBBMARK_PORT"
        else:
            reason = f"cannot listen at {host}:{port} ({error.strerror}); see EBBMARK_HOST and EBBMARK_PORT"
        raise PortUnavailable(reason) from error
    listener.listen(2048)
    return listener
