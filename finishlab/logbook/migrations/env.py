"""Run by Alembic: bring the tables of an open connection up to date.

The caller holds the transaction, so that an upgrade of several steps is done wholly or not at all.
"""

from __future__ import annotations

from alembic import context

from finishlab.logbook.tables import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
