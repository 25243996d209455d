"""The fixtures of the service serve here too."""

from tests.service.conftest import client, coastal, databases, every_database, house, serve, sharing

__all__ = ["client", "coastal", "databases", "every_database", "house", "serve", "sharing"]
