"""Runs the steps on the connection that `database.migrate` hands over, inside its transaction."""

from __future__ import annotations

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=context.config.attributes.get("target_metadata"),
    # SQLite alters little in place: later steps copy the table (and must then put its triggers back).
    render_as_batch=True,
    transactional_ddl=True,
)
context.run_migrations()
