"""The command ``ebbmark``: serve, fit, windows, contract, db; each imports what it needs when it runs."""

from service.cli.commands import app

__all__ = ["app"]
