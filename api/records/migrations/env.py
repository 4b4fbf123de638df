"""Runs the steps on the connection that `api.records.session` hands over."""

from __future__ import annotations

from alembic import context

from api.records.tables import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    transaction_per_migration=False,
    render_as_batch=True,
)
context.run_migrations()
