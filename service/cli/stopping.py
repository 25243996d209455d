"""Signals to stop, heard by a main thread that waits for nothing else."""

from __future__ import annotations

import signal
import socket


def hear_stopping() -> socket.socket:
    """Return a socket that has a byte to read once SIGTERM or SIGINT came.

    The interpreter writes it when a signal arrives, in whichever thread that is. A handler of Python runs in the main
    thread once that does something: a signal just before it waits for a lock, a queue or an event is not heard at all.
    """
    ours, told = socket.socketpair()
    told.setblocking(False)
    signal.set_wakeup_fd(told.detach())
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda _number, _frame: None)
    return ours
