"""The one global: the application, for any ASGI server. Settings come from the environment."""

from __future__ import annotations

import os

# As in `service.cli`: one thread a request.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from service.garbage import uncollected

with uncollected():
    from service.app import create_app
    from service.settings import read_settings

    app = create_app(read_settings())
