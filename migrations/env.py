"""Runs the migrations: on the connection that the service's commands hand over, or on the configured database."""

from __future__ import annotations

import os

from alembic import context

from quizsvc.settings import settings_from
from quizsvc.store import tables
from quizsvc.store.migration import migrating
from quizsvc.store.session import Database


def run(connection) -> None:
    """Run on one open connection that is already in a transaction; its owner commits."""
    context.configure(
        connection=connection,
        target_metadata=tables.metadata,
        render_as_batch=True,
        compare_type=True,
        user_module_prefix="types.",
    )
    with context.begin_transaction():
        context.run_migrations()


given = context.config.attributes.get("connection")
if given is not None:
    run(given)
else:
    # A developer typed `alembic` in the checkout.
    database = Database.open(settings_from(os.environ).database_url)
    with migrating(database) as connection:
        run(connection)
    database.close()
