"""What applications of tests share within one process, so that a new one costs little.

None of it is what these tests are about: the store is made by the migrations, once, and every other is a copy of its
file (on PostgreSQL see `tests.postgres.stores`); routes are prepared once, not for each application; the nineteen
years that a model's normaliser is taken from are gone through once for the same constituents. How each is made has its
tests elsewhere, and processes that tests start share nothing.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import fastapi.routing
import pytest

import tidecore.model.tide
from service.settings import Settings
from service.storage.engine import make_folder, open_engine, store_file
from service.storage.migrating import upgrade_store
from tidecore.harmonics import Harmonics

#: Models of one process whose nineteen years are kept.
MODELS = 16

_routes: dict[tuple[int, str], Any] = {}
_models: dict[tuple[Any, ...], Any] = {}


def lay_store(settings: Settings) -> Settings:
    """Put the file of an empty store where ``settings`` name an SQLite store that is not there yet; return them."""
    engine = open_engine(settings.database_url)
    file = store_file(engine)
    if file is not None and not file.exists():
        make_folder(engine)
        file.write_bytes(_empty_store())
    return settings


@cache
def _empty_store() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "made.sqlite3"
        engine = open_engine(f"sqlite+pysqlite:///{file}")
        upgrade_store(engine)
        # The last connection that goes leaves everything in the file.
        engine.dispose()
        return file.read_bytes()


@contextmanager
def shared() -> Iterator[None]:
    """Share routes and models while this is open."""
    with pytest.MonkeyPatch.context() as patch:
        _share_routes(patch)
        for name in ("epoch_cycle", "flow_normaliser", "mean_spring_range"):
            patch.setattr(tidecore.model.tide, name, _once_for_a_model(name, getattr(tidecore.model.tide, name)))
        yield


def _share_routes(patch: pytest.MonkeyPatch) -> None:
    prepare = fastapi.routing._EffectiveRouteContext.from_api_route

    def prepare_once(*, original_route: Any, include_context: Any) -> Any:
        # A route has no hash; it is kept with what it is prepared as, so that its id stays its own.
        key = id(original_route), include_context.prefix
        if key not in _routes:
            _routes[key] = prepare(original_route=original_route, include_context=include_context)
        return _routes[key]

    patch.setattr(fastapi.routing._EffectiveRouteContext, "from_api_route", prepare_once)


def _once_for_a_model(name: str, compute: Callable[..., Any]) -> Callable[..., Any]:
    def computed(lines: Harmonics, *arguments: Any) -> Any:
        powers = None if lines.node_powers is None else lines.node_powers.tobytes()
        key = (
            name, lines.names, lines.amplitude.tobytes(), lines.phase.tobytes(), lines.latitude, lines.mean_level,
            lines.convention, lines.nodal, lines.nodal_at_us, powers,
        )  # fmt: skip
        if key not in _models:
            if len(_models) >= 3 * MODELS:
                _models.clear()
            _models[key] = compute(lines, *arguments)
        return _models[key]

    return computed
