"""The logbook: a folder with a database and the kept photos.

Every method that writes does so in one transaction: it is done wholly or not at all, also when the program is killed.
Nothing is overwritten without an entry in the history, and nothing is deleted: what is removed is only no longer shown.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from sqlalchemy import or_, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from finishlab.board import BoardRecord, FloorSpotRecord, PhotoRecord
from finishlab.errors import LogbookError, UsageError
from finishlab.files import LOGBOOK_FILE
from finishlab.imaging.strip import FieldName
from finishlab.logbook import writing as rows
from finishlab.logbook.audit import AuditStore
from finishlab.logbook.backup import BackupStore
from finishlab.logbook.calibration import CalibrationStore
from finishlab.logbook.database import (
    check_folder,
    failures_named,
    login_name,
    make_folder,
    named_folder,
    open_database,
)
from finishlab.logbook.entities import RecipeStore, cans_of, check_named, check_unused, edit, find, table_of
from finishlab.logbook.history import HistoryStore
from finishlab.logbook.merge import Dump, MergeResult, Tables, damaged, merge, read_dump
from finishlab.logbook.photo_files import KeptPhoto, photo_place
from finishlab.logbook.stored import (
    DirectPair,
    StoredBoard,
    StoredSpot,
    many_objects,
    read_boards,
    read_spots,
)
from finishlab.logbook.tables import (
    DAMAGED,
    BoardRow,
    CautionRow,
    FloorSpotRow,
    MeasurementRow,
    PairRow,
    PartEventRow,
    PhotoRow,
    read_record,
    record_in,
    subject_name,
)
from finishlab.measure.results import Measurement
from finishlab.record import normalise_light, today
from finishlab.stair.store import StairStore, part_code


class Logbook(RecipeStore, CalibrationStore, HistoryStore, BackupStore, AuditStore, StairStore):
    """A logbook that is open; use it in a `with` statement, or `close` it.

    Examples
    --------
    >>> with Logbook.open(Path("stairs")) as log:      # doctest: +SKIP
    ...     for board in log.boards(light="daylight"):
    ...         print(board.number, board.record.species)
    """

    @classmethod
    def open(cls, folder: Path, *, address: str | None = None, who: str | None = None) -> Self:
        """Open the logbook in `folder`; the folder, its database and its `photos/` are made on first use.

        Parameters
        ----------
        folder
            Holds the kept photos, and the database unless `address` names another.
        address
            SQLAlchemy address of a database, for a shop that has a server; without it a SQLite file in `folder`.
        who
            Name for the history; without it the user's login name.

        Raises
        ------
        LogbookError
            ``"logbook-not-a-folder"``, ``"logbook-unwritable"``, ``"logbook-damaged"``, ``"logbook-foreign"``,
            ``"logbook-newer"``, ``"logbook-busy"``, ``"logbook-address"``.
        """
        folder = named_folder(folder)
        make_folder(folder)
        return cls._opened(folder, address, who)

    @classmethod
    def open_existing(cls, folder: Path, *, who: str | None = None) -> Self | None:
        """Open the logbook in `folder` if there is one; nothing is made, and errors are as in `open`."""
        folder = named_folder(folder)
        check_folder(folder)
        return cls._opened(folder, None, who) if (folder / LOGBOOK_FILE).is_file() else None

    @classmethod
    def _opened(cls, folder: Path, address: str | None, who: str | None) -> Self:
        engine, only_read = open_database(address if address is not None else folder / LOGBOOK_FILE, str(folder))
        return cls(folder, engine, who or login_name(), only_read)

    def close(self) -> None:
        """Close the database; the folder can then be moved or copied as it is."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # Photos

    def keep_photo(self, path: Path, record: PhotoRecord) -> Path:
        """Keep a photo's bytes, unchanged, and what it says of itself; return where it is kept.

        A photo that is kept already is not kept twice.

        Raises
        ------
        LogbookError
            ``"photo-changed"`` if the file's bytes are not those of ``record.sha256``; ``"logbook-full"``,
            ``"logbook-unwritable"``, ``"logbook-busy"``.
        """
        self._refuse_reading_only()
        known = self._photo_row(record.sha256)
        if known is not None and record.sha256 == known.kept_sha256:
            return self._kept_at(known.sha256)[1]
        suffix = record.suffix if known is None else known.suffix
        fresh = KeptPhoto(Path(path), record.sha256, suffix, row=record.as_dict() | {"suffix": suffix})
        photo = self._kept.get(record.sha256, fresh)
        with failures_named(str(self.folder)):
            place = photo.settle(self.folder)
        if known is None or known.kept_sha256 is not None:
            self._kept[record.sha256] = photo
        else:
            photo.done()
        return place

    def keep_photo_copy(self, path: Path, row: Mapping[str, Any]) -> None:
        """Keep the file of an archive's photo; `row` is its entry in the table of photos.

        Raises
        ------
        LogbookError
            ``"photo-changed"`` if the bytes are not those that the entry names.
        """
        self._refuse_reading_only()
        photo = KeptPhoto(path, row["sha256"], row["suffix"], row["kept_sha256"])
        with failures_named(str(self.folder)):
            photo.settle(self.folder)
        self._kept[row["sha256"]] = photo

    def photo_path(self, sha256: str) -> Path:
        """Return where a kept photo lies, named by its hash or by a measurement's `photo_id`.

        Raises
        ------
        LogbookError
            ``"unknown-photo"`` if it was never kept, ``"photo-missing"`` if its file is gone.
        """
        return self._kept_at(sha256)[1]

    def photo(self, sha256: str) -> PhotoRecord:
        """Return what a kept photo says of itself; errors as in `photo_path`."""
        row, _ = self._kept_at(sha256)
        return record_in(PhotoRecord, row)

    def _kept_at(self, sha256: str) -> tuple[PhotoRow, Path]:
        row = self._photo_row(sha256)
        if row is None:
            raise LogbookError(
                "unknown-photo", f"The logbook holds no photo {sha256[:16]}.", "Show a board to see its photos."
            )
        place = photo_place(self.folder, row.sha256, row.suffix)
        if not place.is_file():
            raise LogbookError(
                "photo-missing",
                f"The kept photo {row.file_name} is no longer in {place.parent}.",
                "Add the same photo again, or restore the folder from a backup.",
            )
        return row, place

    def _photo_row(self, sha256: str) -> PhotoRow | None:
        if not re.fullmatch(r"[0-9a-f]{16,64}", sha256):
            return None
        for photo in self._kept.values():
            if photo.row is not None and photo.sha256.startswith(sha256):
                return PhotoRow(**photo.row)
        with self._read() as session:
            return rows.find_photo(session, sha256)

    def cautions_due(self, codes: Iterable[str], day: dt.date | None = None) -> tuple[str, ...]:
        """Return those of the cautions that were not shown today, and note that they are shown now.

        Parameters
        ----------
        codes
            The cautions that have a place now.
        day
            The present day unless given.
        """
        shown = day or today()
        if self._only_read is not None:
            return tuple(dict.fromkeys(codes))
        with self._write() as session:
            due = []
            for code in dict.fromkeys(codes):
                row = session.get(CautionRow, code)
                if row is None:
                    session.add(CautionRow(code=code, shown=shown))
                elif row.shown != shown:
                    row.shown = shown
                else:
                    continue
                due.append(code)
            return tuple(due)

    # Boards

    def add_board(
        self, record: BoardRecord, measurements: Sequence[Measurement], pairs: Sequence[DirectPair] = ()
    ) -> StoredBoard:
        """Log a test board measured in one or more photos (repeats) and give it its number.

        Parameters
        ----------
        record
            The board; all these photos were taken in its light.
        measurements
            One a photo, with the board field; the photos were kept before.
        pairs
            The direct pairs of photos that show the floor too; see `DirectPair.of`.

        Raises
        ------
        LogbookError
            ``"photo-not-kept"``, ``"photo-logged-twice"``, ``"unknown-recipe"``, ``"unknown-can"``, and what every
            write can raise.
        UsageError
            ``"no-measurement"`` or ``"field-not-measured"``.
        """
        with self._write() as session:
            check_named(session, record)
            number = rows.add_row(session, BoardRow, record)
            after = record.as_dict() | _add_to_board(session, number, measurements, pairs, record.light)
            rows.note_change(session, self._who, "add", f"B{number}", after=after)
            return read_boards(session, number=number)[0]

    def add_boards(self, records: Sequence[BoardRecord]) -> list[StoredBoard]:
        """Log many boards that have no photo yet, in one transaction; errors as in `add_board`."""
        with self._write() as session:
            named = {(each.recipe_number, cans_of(each)): each for each in records}
            for record in named.values():
                check_named(session, record)
            boards = rows.add_rows(session, BoardRow, records)
            for row, record in zip(boards, records, strict=True):
                rows.note_change(session, self._who, "add", f"B{row.number}", after=record.as_dict(), row=row)
            return read_boards(session, number=range(boards[0].number, boards[-1].number + 1)) if boards else []

    def add_board_photos(
        self,
        number: str,
        measurements: Sequence[Measurement],
        pairs: Sequence[DirectPair] = (),
        *,
        light: str | None = None,
    ) -> StoredBoard:
        """Log further photos of a board, in the board's own light unless another is named; errors as in `add_board`."""
        with self._write() as session:
            row = find(session, BoardRow, number, lock=True)
            lit = row.light if light is None else normalise_light(light)
            after = {"light": lit} | _add_to_board(session, row.number, measurements, pairs, lit)
            rows.note_change(session, self._who, "add-photos", f"B{row.number}", after=after)
            return read_boards(session, number=row.number)[0]

    def boards(self, light: str | None = None) -> list[StoredBoard]:
        """Return the boards by number; with a light, only those measured in it, and of each only what was."""
        with self._read() as session, many_objects():
            return read_boards(session, light=None if light is None else normalise_light(light))

    def board(self, number: str) -> StoredBoard:
        """Return one board.

        Raises
        ------
        LogbookError
            ``"unknown-board"``.
        """
        with self._read() as session:
            return read_boards(session, number=find(session, BoardRow, number).number)[0]

    def edit_board(self, number: str, **changes: Any) -> StoredBoard:  # noqa: ANN401 - each field has its own type
        """Change fields of a board's record; the values before are kept in the history.

        A new `light` also holds for what was measured in the old one.

        Raises
        ------
        LogbookError
            ``"unknown-board"``.
        UsageError
            ``"unknown-field"``, or what `BoardRecord` raises.
        """
        with self._write() as session:
            row = find(session, BoardRow, number, lock=True)
            edit(session, row, changes, self._who)
            return read_boards(session, number=row.number)[0]

    def confirm_floor(self, number: str) -> StoredBoard:
        """Take what lay beside a board in its photos for the floor after all; the doubt stays in the history.

        Raises
        ------
        LogbookError
            ``"unknown-board"``.
        UsageError
            ``"nothing-to-confirm"``.
        """
        with self._write() as session:
            row = find(session, BoardRow, number, lock=True)
            doubted = [
                pair
                for pair in session.scalars(select(PairRow).where(PairRow.board_number == row.number))
                if rows.floor_doubts(pair.floor_result["doubts"])
            ]
            if not doubted:
                name = subject_name(row)
                raise UsageError(
                    "nothing-to-confirm", f"No photo of {name} beside the floor is in doubt.", f"See: board show {name}"
                )
            for pair in doubted:
                rows.set_floor_doubts(pair, ())
            said = [{"floor_beside": state} for state in ("in doubt", "confirmed")]
            rows.note_change(session, self._who, "edit", subject_name(row), before=said[0], after=said[1])
            return read_boards(session, number=row.number)[0]

    # The floor

    def add_floor_spots(self, record: FloorSpotRecord, groups: Sequence[Sequence[Measurement]]) -> list[StoredSpot]:
        """Log places of the floor of one record, a group of photos each, all or none; errors as in `add_board`."""
        with self._write() as session:
            spots = []
            for measurements in groups:
                number = rows.add_row(session, FloorSpotRow, record)
                photos = rows.add_measurements(session, measurements, subject="spot", number=number, light=record.light)
                rows.note_change(session, self._who, "add", f"F{number}", after=record.as_dict() | {"photos": photos})
                spots += read_spots(session, number=number)
            return spots

    def floor_spots(self, light: str | None = None) -> list[StoredSpot]:
        """Return the floor spots by number; `light` as in `boards`."""
        with self._read() as session:
            return read_spots(session, light=None if light is None else normalise_light(light))

    def floor_spot(self, number: str) -> StoredSpot:
        """Return one floor spot.

        Raises
        ------
        LogbookError
            ``"unknown-spot"``.
        """
        with self._read() as session:
            return read_spots(session, number=find(session, FloorSpotRow, number).number)[0]

    def edit_floor_spot(self, number: str, **changes: Any) -> StoredSpot:  # noqa: ANN401 - each field has its own type
        """Change fields of a floor spot's record; as `edit_board`."""
        with self._write() as session:
            row = find(session, FloorSpotRow, number, lock=True)
            edit(session, row, changes, self._who)
            return read_spots(session, number=row.number)[0]

    # The whole of it

    def remove(self, *numbers: str) -> None:
        """Show boards, floor spots, recipes, cans and trials no longer, all or none; their history stays.

        Photos and measurements stay too, and no number is given again.

        Raises
        ------
        LogbookError
            ``"unknown-board"`` and the like, ``"unknown-subject"`` for a number of no kind, or ``"recipe-in-use"``
            while a board, a part or the standard has the recipe.
        """
        with self._write() as session:
            for number in numbers:
                table = table_of(number)
                if table is None:
                    raise LogbookError(
                        "unknown-subject", f"“{number}” is no number of anything logged.", "Name it like B3 or C2."
                    )
                row = find(session, table, number, lock=True)
                check_unused(session, row)
                row.removed = rows.now()
                before = read_record(row).as_dict()
                rows.note_change(session, self._who, "remove", subject_name(row), before=before)

    def dump(self) -> Dump:
        """Return all that the tables hold, at one moment."""
        with self._read() as session:
            return read_dump(session.connection())

    def merge(self, tables: Tables) -> MergeResult:
        """Join another logbook's checked tables with this one, in one transaction; its photos are kept before.

        Raises
        ------
        LogbookError
            ``"archive-damaged"``; nothing is changed then.
        """
        with self._write() as session:
            try:
                result = merge(session, tables, self._who)
                session.flush()
            except (IntegrityError, RuntimeError, *DAMAGED) as error:
                raise damaged("its entries do not fit together") from error
            return result

    # Measured again

    def remeasure(self, number: str, measurements: Sequence[Measurement]) -> None:
        """Put new measurements of a board's or spot's logged photos in the place of the old ones.

        Direct pairs that were logged are renewed with them. Light, photos and order stay; the old figures stand in the
        history's images of their rows.

        Raises
        ------
        LogbookError
            ``"unknown-board"``, ``"unknown-spot"``, or ``"photo-not-logged"`` if a photo is not one of the subject's;
            nothing is renewed then.
        """
        table: type[BoardRow | FloorSpotRow] = FloorSpotRow if number.strip()[:1].upper() == "F" else BoardRow
        with self._write() as session:
            row = find(session, table, number, lock=True)
            board = isinstance(row, BoardRow)
            owner = MeasurementRow.board_number if board else MeasurementRow.spot_number
            photos = []
            for measurement in measurements:
                field: FieldName = "board" if board else "floor"
                logged = rows.renew_logged(session, owner == row.number, measurement, subject_name(row), field)
                photos.append(logged.photo_sha256)
                if board:
                    rows.renew_pair(session, row.number, measurement, logged.photo_sha256)
            rows.note_change(session, self._who, "remeasure", subject_name(row), after={"photos": photos})

    def remeasure_part(self, ident: int, measurements: Sequence[Measurement]) -> None:
        """Put new measurements of a stair part's logged photos in the place of the old ones; as `remeasure`.

        Raises
        ------
        LogbookError
            ``"photo-not-logged"``; nothing is renewed then.
        """
        with self._write() as session:
            code = part_code(session, ident)
            photos: list[str] = []
            events: list[int] = []
            for measurement in measurements:
                logged = rows.renew_logged(session, MeasurementRow.part_id == ident, measurement, code, "board")
                photos.append(logged.photo_sha256)
                mine = PartEventRow.part_id == ident, PartEventRow.created == logged.created
                events += session.scalars(select(PartEventRow.id).where(*mine))
            after = {"part": ident, "events": list(dict.fromkeys(events)), "photos": photos}
            rows.note_change(session, self._who, "remeasure", code, after=after)

    # Whose photos

    def owners_of_photos(self, what: rows.Measured, photos: Collection[str]) -> dict[str, int]:
        """Return the board, floor spot or part of the stair that each photo was measured for, if any.

        Parameters
        ----------
        what
            Which of the three.
        photos
            By the start of their hashes.

        Returns
        -------
        dict
            Photo, as it was named -> number, of a part `StoredPart.ident`.
        """
        if not photos:
            return {}
        column, key, removed, _ = rows.MEASURED[what]
        # A range and not LIKE, which no index serves; "g" comes after every digit of a hash.
        ranges = (MeasurementRow.photo_sha256.between(start, f"{start}g") for start in photos)
        asked = select(MeasurementRow.photo_sha256, key).join(key.class_, getattr(MeasurementRow, column) == key)
        asked = asked.where(removed.is_(None), or_(*ranges)).order_by(MeasurementRow.id)
        with self._read() as session:
            found = session.execute(asked).all()
        return {start: number for sha256, number in found for start in photos if sha256.startswith(start)}

    def kinds_of_boards(self, besides: str) -> frozenset[tuple[str, bool]]:
        """Return what the other boards are for, each purpose with whether such a board is stained."""
        shown = BoardRow.removed.is_(None), BoardRow.number != int(besides[1:])
        with self._read() as session:
            found = session.execute(select(BoardRow.purpose, BoardRow.stain.is_not(None)).where(*shown).distinct())
            return frozenset((purpose, bool(stained)) for purpose, stained in found)

    def boards_beside_floor(self) -> frozenset[tuple[str, str]]:
        """Return each board that was photographed beside the floor, with the photo; none that is in doubt."""
        with self._read() as session:
            asked = select(PairRow.board_number, PairRow.photo_sha256, PairRow.floor_result["doubts"])
            found = session.execute(
                asked.join(BoardRow, PairRow.board_number == BoardRow.number).where(BoardRow.removed.is_(None))
            )
            return frozenset((f"B{number}", photo) for number, photo, told in found if not rows.floor_doubts(told))


def _add_to_board(
    session: Session, number: int, measurements: Sequence[Measurement], pairs: Sequence[DirectPair], light: str
) -> dict[str, Any]:
    """Insert a board's measurements and pairs; return what the history says of them."""
    photos = rows.add_measurements(session, measurements, subject="board", number=number, light=light)
    paired = rows.add_pairs(session, pairs, number=number, light=light)
    return {"photos": photos, "pairs": paired}
