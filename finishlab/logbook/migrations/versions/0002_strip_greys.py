"""What was learned of each strip's own greys."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002_strip_greys"
down_revision = "0001_first_tables"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table of learned greys."""
    op.create_table(
        "strip_greys",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("strip_number", sa.Integer(), nullable=False),
        sa.Column("greys", sa.JSON(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_strip_greys"),
        sa.ForeignKeyConstraint(["strip_number"], ["strips.number"], name="fk_strip_greys_strip_number"),
    )
    op.create_index("ix_strip_greys_strip_number", "strip_greys", ["strip_number"])
