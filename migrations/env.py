"""Runs the migrations on the connection that `inventory.database.sqlite` hands over.

That connection has begun a write transaction already, so that a migration happens wholly or not
at all.
"""

from __future__ import annotations

from alembic import context

from inventory.database.tables.all import METADATA


def run() -> None:
    connection = context.config.attributes.get("connection")
    if connection is None:
        raise RuntimeError(
            "migrations run through inventory.database.sqlite, which makes a backup first"
        )
    context.configure(
        connection=connection,
        target_metadata=METADATA,
        render_as_batch=True,
        transactional_ddl=True,
    )
    with context.begin_transaction():
        context.run_migrations()


run()
