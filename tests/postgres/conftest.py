"""Fixtures of the service's tests, for those that are particular to PostgreSQL."""

from tests.service.conftest import client, databases, every_database, house, serve, sharing

__all__ = ["client", "databases", "every_database", "house", "serve", "sharing"]
