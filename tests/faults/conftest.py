"""The fixtures of the service serve here too."""

from tests.service.conftest import client, coastal, house, serve

__all__ = ["client", "coastal", "house", "serve"]
