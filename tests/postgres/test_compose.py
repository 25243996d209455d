"""The roles that the compose file makes are those that the service needs and accepts."""

from __future__ import annotations

import os
import subprocess

import pytest
from sqlalchemy import make_url

from service.bootstrap import House
from service.storage.engine import open_engine
from service.storage.migrating import upgrade_store
from tests.conftest import ROOT
from tests.postgres.cluster import find_programs, private_cluster
from tests.service.conftest import settings_for

pytestmark = pytest.mark.postgres("roles of a server")


def test_the_script_makes_roles_that_the_service_accepts(tmp_path):
    with private_cluster() as cluster:
        url = make_url(cluster.url)
        # The script runs beside its server and says only as whom; here the rest is said by the environment.
        variables = {
            "PATH": f"{find_programs()}:{os.environ['PATH']}",
            "POSTGRES_USER": str(url.username), "PGPASSWORD": str(url.password), "PGHOST": str(url.host),
            "PGPORT": str(url.port),
            "EBBMARK_OWNER_PASSWORD": "owner's word", "EBBMARK_APP_PASSWORD": "app",
        }  # fmt: skip
        subprocess.run([str(ROOT / "docker" / "postgres" / "roles.sh")], env=variables, check=True)
        owner = url.set(database="ebbmark", username="ebbmark_owner", password="owner's word")
        app = url.set(database="ebbmark", username="ebbmark_app", password="app")
        engine = open_engine(owner.render_as_string(hide_password=False))
        upgrade_store(engine, served_as="ebbmark_app")
        engine.dispose()
        house = House(settings_for(tmp_path, store=app.render_as_string(hide_password=False), store_owner=None))
        house.open(with_runner=False)
        house.store.check()
        house.close()
