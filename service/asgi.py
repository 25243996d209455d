"""The one global: the application, for any ASGI server. Settings come from the environment."""

from __future__ import annotations

from service.app import create_app
from service.settings import Settings

app = create_app(Settings())
