"""Names that rows keep wherever they go, and images of what every change did to them.

Rows that are there get a name made of what they were known by so far, so that two copies of one logbook agree. Of the
changes that are there it is kept which things they were about, but no values.
"""

from __future__ import annotations

import datetime as dt
import re
import uuid
from collections import Counter
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0006_row_images"
down_revision = "0005_trials"
branch_labels = None
depends_on = None

_NAMES = uuid.UUID("4d1f0c52-7f0e-5c8e-9b0a-6d2f0a6f4b11")
_KNOWN_BY: Mapping[str, tuple[str, ...]] = {
    "recipes": ("created",),
    "batches": ("created",),
    "trials": ("created",),
    "boards": ("created",),
    "floor_spots": ("created",),
    "flights": ("created",),
    "parts": ("flight_number", "created"),
    "part_events": ("part_id", "created"),
    "approvals": ("recipe_number", "created"),
    "strip_greys": ("strip_number", "created"),
    "camera_profiles": ("camera", "light", "created"),
    "measurements": (),
    "pairs": (),
    "changes": ("made", "what"),
}
"""Tables, those named by others first -> what no edit changes. Rows that agree in it are told apart by their order."""
_NUMBERED = {"recipes": "R", "batches": "C", "boards": "B", "floor_spots": "F", "trials": "H"}
_BY_NUMBER = {*_NUMBERED, "flights"}
_NAMED = {"flight_number": "flights", "part_id": "parts", "recipe_number": "recipes"}
_OWNERS = {"board_number": "boards", "spot_number": "floor_spots", "part_id": "parts"}
_MOMENTS = {"created", "made"}

Names = dict[str, dict[int, str]]
"""Table -> key -> name."""


def upgrade() -> None:
    """Add the names and the table of images, and fill both."""
    for name in _KNOWN_BY:
        with op.batch_alter_table(name) as table:
            table.add_column(sa.Column("uuid", sa.String(36), nullable=True))
            table.create_index(f"ix_{name}_uuid", ["uuid"], unique=True)
    images = op.create_table(
        "row_images",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("table_name", sa.String(40), nullable=False),
        sa.Column("row_uuid", sa.String(36), nullable=False),
        sa.Column("thing", sa.String(36), nullable=False),
        sa.Column("before", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("after", sa.JSON(none_as_null=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_row_images"),
        sa.ForeignKeyConstraint(["change_id"], ["changes.id"], name="fk_row_images_change_id"),
    )
    op.create_index("ix_row_images_change_id", "row_images", ["change_id"])
    names: Names = {}
    for name in _KNOWN_BY:
        _name_rows(name, names)
    made = _images(names)
    if made:
        op.bulk_insert(images, made)


def _key(table: str) -> str:
    return "number" if table in _BY_NUMBER else "id"


def _name_rows(name: str, names: Names) -> None:
    known_by = (*_OWNERS, "photo_sha256") if not _KNOWN_BY[name] else _KNOWN_BY[name]
    if name == "pairs":
        known_by = ("board_number", "photo_sha256")
    key = _key(name)
    columns = dict.fromkeys((key, *known_by))
    met: Counter[str] = Counter()
    found: dict[int, str] = {}
    for row in _read(name, *columns):
        if _KNOWN_BY[name]:
            said = "/".join(names[_NAMED[c]][row[c]] if c in _NAMED else _text(row[c]) for c in known_by)
            met[said] += 1
            found[row[key]] = str(uuid.uuid5(_NAMES, f"{name}/{said}/{met[said]}"))
        else:
            owner = next(names[_OWNERS[c]][row[c]] for c in known_by if c in _OWNERS and row[c] is not None)
            found[row[key]] = _of_photo(owner, name, row["photo_sha256"])
    names[name] = found
    if found:
        table = sa.table(name, sa.column(key, sa.Integer), sa.column("uuid", sa.String))
        change = table.update().where(table.c[key] == sa.bindparam("k")).values(uuid=sa.bindparam("u"))
        op.get_bind().execute(change, [{"k": number, "u": given} for number, given in found.items()])


def _read(name: str, *columns: str) -> list[dict[str, Any]]:
    kinds: dict[str, Any] = {"before": sa.JSON(), "after": sa.JSON()} | dict.fromkeys(
        _MOMENTS, sa.DateTime(timezone=True)
    )
    table = sa.table(name, *(sa.column(each, kinds.get(each)) for each in columns))
    found = op.get_bind().execute(sa.select(table).order_by(table.c[_key(name)])).mappings()
    return [dict(row) for row in found]


def _text(value: object) -> str:
    if isinstance(value, dt.datetime):
        return (value.replace(tzinfo=dt.UTC) if value.tzinfo is None else value.astimezone(dt.UTC)).isoformat()
    return str(value)


def _of_photo(owner: str, table: str, photo: str) -> str:
    return str(uuid.uuid5(uuid.UUID(owner), f"{table}/{photo}"))


def _images(names: Names) -> list[dict[str, Any]]:
    """Return what is known of the changes: the things they were about, and photos whose figures were taken out."""
    cameras = {row["id"]: row for row in _read("camera_profiles", "id", "camera", "light")}
    parts = {row["id"]: row["part_id"] for row in _read("part_events", "id", "part_id")}
    made: list[dict[str, Any]] = []
    for change in _read("changes", "id", "what", "subject", "before", "after"):
        if change["what"] == "import":
            continue
        before = change["before"] or {}
        for table, key in _things(change["subject"], before | (change["after"] or {})):
            thing = _thing(names, table, key, cameras)
            if thing is None:
                continue
            made.append(_image(change, table, thing, thing, None))
            owner = names["parts"].get(parts.get(key, 0)) if table == "part_events" else thing
            for each in before.get("measurements") or ():
                name = _of_photo(owner or thing, "measurements", each["photo_sha256"])
                made.append(_image(change, "measurements", name, thing, {}))
    return made


def _image(
    change: Mapping[str, Any], table: str, row: str, thing: str, before: dict[str, Any] | None
) -> dict[str, Any]:
    said = {"change_id": change["id"], "table_name": table, "row_uuid": row, "thing": thing}
    return said | {"before": before, "after": None}


def _things(subject: str, said: Mapping[str, Any]) -> list[tuple[str, int]]:
    """Return the tables and keys of what a change was about."""
    for table, letter in _NUMBERED.items():
        if re.fullmatch(f"{letter}[0-9]+", subject):
            return [(table, int(subject[1:]))]
    if found := re.fullmatch(r"(strip|camera) ([0-9]+)", subject):
        return [("strip_greys" if found[1] == "strip" else "camera_profiles", int(found[2]))]
    if subject == "standard":
        return [("approvals", 0)]
    if "events" in said or "event" in said:
        return [("part_events", number) for number in said.get("events") or [said.get("event")]]
    found_of = (("part", "parts"), ("flight", "flights"))
    return next(([(table, said[name])] for name, table in found_of if name in said), [])


def _thing(names: Names, table: str, key: int, cameras: Mapping[int, Mapping[str, Any]]) -> str | None:
    if table == "camera_profiles":
        of = cameras.get(key)
        return None if of is None else str(uuid.uuid5(_NAMES, f"{table}/{of['camera']}/{of['light']}"))
    if table in {"approvals", "strip_greys"}:
        return str(uuid.uuid5(_NAMES, table if table == "approvals" else f"{table}/{key}"))
    return names[table].get(key)
