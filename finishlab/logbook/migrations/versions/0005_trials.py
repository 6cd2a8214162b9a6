"""Trials at home: the same thing measured in ways that must agree."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005_trials"
down_revision = "0004_camera_profiles"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table and its counter."""
    op.create_table(
        "trials",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("measured", sa.JSON(), nullable=False),
        sa.Column("light", sa.String(200), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("removed", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("number", name="pk_trials"),
    )
    counters = sa.table("counters", sa.column("name", sa.String), sa.column("last", sa.Integer))
    op.bulk_insert(counters, [{"name": "trials", "last": 0}])
