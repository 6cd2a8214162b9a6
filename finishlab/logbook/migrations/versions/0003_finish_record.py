"""The finish record and the stair: recipes, standards, cans, flights, parts, what was done to them."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003_finish_record"
down_revision = "0002_strip_greys"
branch_labels = None
depends_on = None

_ONE_SUBJECT = (
    "(CASE WHEN board_number IS NULL THEN 0 ELSE 1 END)"
    " + (CASE WHEN spot_number IS NULL THEN 0 ELSE 1 END)"
    " + (CASE WHEN part_id IS NULL THEN 0 ELSE 1 END) = 1"
)


def upgrade() -> None:
    """Make the new tables; let boards name a recipe, measurements a part, and photos the copy that is kept."""
    _make_recipes()
    _make_stair()
    _widen_boards()
    _widen_measurements()
    with op.batch_alter_table("photos") as photos:
        photos.add_column(_text("kept_sha256", 64))
        photos.create_index("ix_photos_kept_sha256", ["kept_sha256"])


def _moment(name: str, *, nullable: bool = False) -> sa.Column[object]:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=nullable)


def _text(name: str, length: int, *, nullable: bool = True) -> sa.Column[object]:
    return sa.Column(name, sa.String(length), nullable=nullable)


def _make_recipes() -> None:
    op.create_table(
        "recipes",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        _text("name", 200, nullable=False),
        sa.Column("finish", sa.JSON(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        _moment("created"),
        _moment("removed", nullable=True),
        sa.PrimaryKeyConstraint("number", name="pk_recipes"),
    )
    op.create_table(
        "approvals",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recipe_number", sa.Integer(), nullable=False),
        sa.Column("board_number", sa.Integer(), nullable=True),
        sa.Column("finish", sa.JSON(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        _text("who", 200, nullable=False),
        sa.Column("reason", sa.Text(), nullable=True),
        _moment("created"),
        _moment("ended", nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_approvals"),
        sa.ForeignKeyConstraint(["recipe_number"], ["recipes.number"], name="fk_approvals_recipe_number"),
        sa.ForeignKeyConstraint(["board_number"], ["boards.number"], name="fk_approvals_board_number"),
    )
    op.create_table(
        "batches",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        _text("kind", 40, nullable=False),
        _text("maker", 200),
        _text("product", 200, nullable=False),
        _text("lot", 200),
        sa.Column("size_l", sa.Float(), nullable=True),
        sa.Column("left_l", sa.Float(), nullable=True),
        _text("place", 200),
        sa.Column("opened", sa.Date(), nullable=True),
        sa.Column("label", sa.JSON(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("date", sa.Date(), nullable=False),
        _moment("created"),
        _moment("removed", nullable=True),
        sa.PrimaryKeyConstraint("number", name="pk_batches"),
    )
    counters = sa.table("counters", sa.column("name", sa.String), sa.column("last", sa.Integer))
    op.bulk_insert(counters, [{"name": name, "last": 0} for name in ("recipes", "batches")])
    op.create_table(
        "cautions",
        _text("code", 40, nullable=False),
        sa.Column("shown", sa.Date(), nullable=False),
        sa.PrimaryKeyConstraint("code", name="pk_cautions"),
    )


def _make_stair() -> None:
    op.create_table(
        "flights",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        _text("kind", 20, nullable=False),
        _text("name", 200),
        sa.Column("risers", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        _moment("created"),
        _moment("removed", nullable=True),
        sa.PrimaryKeyConstraint("number", name="pk_flights"),
    )
    op.create_table(
        "parts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("flight_number", sa.Integer(), nullable=False),
        _text("kind", 40, nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        _text("side", 10),
        sa.Column("sizes", sa.JSON(), nullable=True),
        _text("species", 200),
        sa.Column("recipe_number", sa.Integer(), nullable=True),
        _text("fixing", 200),
        sa.Column("note", sa.Text(), nullable=True),
        _moment("created"),
        _moment("removed", nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_parts"),
        sa.ForeignKeyConstraint(["flight_number"], ["flights.number"], name="fk_parts_flight_number"),
        sa.ForeignKeyConstraint(["recipe_number"], ["recipes.number"], name="fk_parts_recipe_number"),
    )
    op.create_index("ix_parts_place", "parts", ["flight_number", "kind", "place"])
    op.create_index("ix_parts_recipe_number", "parts", ["recipe_number"])
    op.create_table(
        "part_events",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        _text("kind", 40, nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        _text("step", 40),
        sa.Column("coat", sa.Integer(), nullable=True),
        sa.Column("recipe_number", sa.Integer(), nullable=True),
        sa.Column("batch_number", sa.Integer(), nullable=True),
        _text("faces", 100),
        sa.Column("deviation", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        _moment("created"),
        _moment("removed", nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_part_events"),
        sa.ForeignKeyConstraint(["part_id"], ["parts.id"], name="fk_part_events_part_id"),
        sa.ForeignKeyConstraint(["recipe_number"], ["recipes.number"], name="fk_part_events_recipe_number"),
        sa.ForeignKeyConstraint(["batch_number"], ["batches.number"], name="fk_part_events_batch_number"),
    )
    op.create_index("ix_part_events_part_id", "part_events", ["part_id"])
    op.create_index("ix_part_events_batch_number", "part_events", ["batch_number"])


def _widen_boards() -> None:
    with op.batch_alter_table("boards") as boards:
        boards.add_column(_text("state", 40))
        boards.add_column(_text("maker", 200))
        boards.add_column(sa.Column("recipe_number", sa.Integer(), nullable=True))
        boards.add_column(sa.Column("finish", sa.JSON(), nullable=True))
        boards.create_foreign_key("fk_boards_recipe_number", "recipes", ["recipe_number"], ["number"])
        boards.create_index("ix_boards_recipe_number", ["recipe_number"])


def _widen_measurements() -> None:
    with op.batch_alter_table("measurements") as measurements:
        measurements.drop_constraint(op.f("ck_measurements_one_subject"), type_="check")
        measurements.add_column(sa.Column("part_id", sa.Integer(), nullable=True))
        measurements.create_foreign_key("fk_measurements_part_id", "parts", ["part_id"], ["id"])
        measurements.create_check_constraint(op.f("ck_measurements_one_subject"), _ONE_SUBJECT)
        measurements.create_unique_constraint("uq_measurements_part_id", ["part_id", "photo_sha256"])
