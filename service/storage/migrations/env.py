"""How the migrations run: on the connection that `service.storage.migrating` hands in."""

from __future__ import annotations

from alembic import context

from service.storage.tables import Table

connection = context.config.attributes.get("connection")
if connection is None:
    raise RuntimeError("run migrations with `ebbmark db upgrade`; they need the connection it opens")

context.configure(connection=connection, target_metadata=Table.metadata, render_as_batch=True, transactional_ddl=False)
context.run_migrations()
