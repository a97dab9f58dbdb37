"""What Alembic runs; `record.storage.database` holds the connection and its transaction."""

from __future__ import annotations

from alembic import context

from inspection.record.storage.schema import metadata

# Alembic loads this file under this name; anybody else who imports it only reads it.
if __name__ == "env_py":
    context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
    with context.begin_transaction():
        context.run_migrations()
