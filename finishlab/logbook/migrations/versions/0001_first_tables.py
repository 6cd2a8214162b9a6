"""The first tables: photos, strips, boards, floor spots, measurements, pairs, changes."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001_first_tables"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the first tables."""
    _make_books()
    _make_subjects()
    _make_results()


def _moment(name: str, *, nullable: bool = False) -> sa.Column[object]:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=nullable)


def _make_books() -> None:
    counters = op.create_table(
        "counters",
        sa.Column("name", sa.String(20), nullable=False),
        sa.Column("last", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_counters"),
    )
    op.bulk_insert(counters, [{"name": "boards", "last": 0}, {"name": "floor_spots", "last": 0}])
    op.create_table(
        "strips",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        _moment("first_seen"),
        sa.PrimaryKeyConstraint("number", name="pk_strips"),
    )
    op.create_table(
        "photos",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("file_name", sa.String(255), nullable=False),
        sa.Column("suffix", sa.String(10), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("taken", sa.String(40), nullable=True),
        sa.Column("camera_make", sa.String(200), nullable=True),
        sa.Column("camera_model", sa.String(200), nullable=True),
        _moment("kept"),
        sa.PrimaryKeyConstraint("sha256", name="pk_photos"),
    )
    op.create_table(
        "changes",
        sa.Column("id", sa.Integer(), nullable=False),
        _moment("made"),
        sa.Column("who", sa.String(200), nullable=False),
        sa.Column("what", sa.String(40), nullable=False),
        sa.Column("subject", sa.String(20), nullable=False),
        sa.Column("before", sa.JSON(), nullable=True),
        sa.Column("after", sa.JSON(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_changes"),
    )
    op.create_index("ix_changes_subject", "changes", ["subject"])


def _make_subjects() -> None:
    op.create_table(
        "boards",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("species", sa.String(200), nullable=False),
        sa.Column("stain", sa.String(200), nullable=True),
        sa.Column("coats", sa.Integer(), nullable=True),
        sa.Column("topcoat", sa.String(200), nullable=True),
        sa.Column("light", sa.String(200), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("purpose", sa.String(40), nullable=False),
        _moment("created"),
        _moment("removed", nullable=True),
        sa.PrimaryKeyConstraint("number", name="pk_boards"),
    )
    op.create_table(
        "floor_spots",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("spot", sa.String(200), nullable=True),
        sa.Column("surface", sa.String(40), nullable=False),
        sa.Column("light", sa.String(200), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("date", sa.Date(), nullable=False),
        _moment("created"),
        _moment("removed", nullable=True),
        sa.PrimaryKeyConstraint("number", name="pk_floor_spots"),
    )


def _make_results() -> None:
    op.create_table(
        "measurements",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("board_number", sa.Integer(), nullable=True),
        sa.Column("spot_number", sa.Integer(), nullable=True),
        sa.Column("photo_sha256", sa.String(64), nullable=False),
        sa.Column("field", sa.String(10), nullable=False),
        sa.Column("lab_l", sa.Float(), nullable=False),
        sa.Column("lab_a", sa.Float(), nullable=False),
        sa.Column("lab_b", sa.Float(), nullable=False),
        sa.Column("result", sa.JSON(), nullable=False),
        sa.Column("strip_number", sa.Integer(), nullable=True),
        sa.Column("strip_reading", sa.JSON(), nullable=True),
        sa.Column("light", sa.String(200), nullable=False),
        sa.Column("correction", sa.JSON(), nullable=False),
        sa.Column("settings", sa.JSON(), nullable=False),
        sa.Column("version", sa.String(80), nullable=False),
        _moment("created"),
        sa.PrimaryKeyConstraint("id", name="pk_measurements"),
        sa.ForeignKeyConstraint(["board_number"], ["boards.number"], name="fk_measurements_board_number"),
        sa.ForeignKeyConstraint(["spot_number"], ["floor_spots.number"], name="fk_measurements_spot_number"),
        sa.ForeignKeyConstraint(["photo_sha256"], ["photos.sha256"], name="fk_measurements_photo_sha256"),
        sa.ForeignKeyConstraint(["strip_number"], ["strips.number"], name="fk_measurements_strip_number"),
        sa.CheckConstraint("(board_number IS NULL) <> (spot_number IS NULL)", name=op.f("ck_measurements_one_subject")),
        sa.UniqueConstraint("board_number", "photo_sha256", name="uq_measurements_board_number"),
        sa.UniqueConstraint("spot_number", "photo_sha256", name="uq_measurements_spot_number"),
    )
    op.create_index("ix_measurements_photo_sha256", "measurements", ["photo_sha256"])
    op.create_table(
        "pairs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("board_number", sa.Integer(), nullable=False),
        sa.Column("photo_sha256", sa.String(64), nullable=False),
        sa.Column("board_result", sa.JSON(), nullable=False),
        sa.Column("floor_result", sa.JSON(), nullable=False),
        sa.Column("de00_value", sa.Float(), nullable=False),
        sa.Column("de00_low", sa.Float(), nullable=False),
        sa.Column("de00_high", sa.Float(), nullable=False),
        sa.Column("light", sa.String(200), nullable=False),
        _moment("created"),
        sa.PrimaryKeyConstraint("id", name="pk_pairs"),
        sa.ForeignKeyConstraint(["board_number"], ["boards.number"], name="fk_pairs_board_number"),
        sa.ForeignKeyConstraint(["photo_sha256"], ["photos.sha256"], name="fk_pairs_photo_sha256"),
        sa.UniqueConstraint("board_number", "photo_sha256", name="uq_pairs_board_number"),
    )
    op.create_index("ix_pairs_photo_sha256", "pairs", ["photo_sha256"])
