"""Camera profiles: how a camera sees colours in one light, learned from a chart."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004_camera_profiles"
down_revision = "0003_finish_record"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "camera_profiles",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("camera", sa.String(200), nullable=False),
        sa.Column("light", sa.String(200), nullable=False),
        sa.Column("photo_sha256", sa.String(64), nullable=False),
        sa.Column("profile", sa.JSON(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("removed", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_camera_profiles"),
        sa.ForeignKeyConstraint(["photo_sha256"], ["photos.sha256"], name="fk_camera_profiles_photo_sha256"),
    )
    op.create_index("ix_camera_profiles_photo_sha256", "camera_profiles", ["photo_sha256"])
