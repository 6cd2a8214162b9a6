"""How a coat was given: hour, air, humidity, applicator, wiping, mixing."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007_conditions"
down_revision = "0006_row_images"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column; what was logged before says nothing of it."""
    op.add_column("part_events", sa.Column("conditions", sa.JSON(), nullable=True))
