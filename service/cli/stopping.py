"""Signals to stop, heard by a main thread that waits for nothing else."""

from __future__ import annotations

import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def hear_stopping() -> Iterator[Callable[[], None]]:
    """Give a function that waits until SIGTERM or SIGINT has come.

    The interpreter writes to a socket when a signal arrives, in whichever thread that is. A handler of Python runs in
    the main thread once that does something: a signal just before it waits for a lock, a queue or an event is not heard
    at all.
    """
    ours, told = socket.socketpair()

    def wait() -> None:
        ours.recv(1)

    with ours, told:
        told.setblocking(False)
        signal.set_wakeup_fd(told.fileno())
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda _number, _frame: None)
        try:
            yield wait
        finally:
            signal.set_wakeup_fd(-1)
