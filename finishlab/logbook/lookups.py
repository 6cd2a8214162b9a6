"""What is asked of many boards at once, answered without reading each of them whole."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from sqlalchemy import or_, select
from sqlalchemy.orm import InstrumentedAttribute

from finishlab.logbook.board_table import BoardTable, read_board_table, read_sampled_colours
from finishlab.logbook.many import many_objects
from finishlab.logbook.shelf import Shelf
from finishlab.logbook.tables import BoardRow, FloorSpotRow, MeasurementRow, PairRow

__all__ = ["LookupShelf"]


class LookupShelf(Shelf):
    """The part of a logbook that looks things up; `finishlab.logbook.store.Logbook` is one."""

    def board_table(self) -> BoardTable:
        """Return all boards with their colours laid out in one table: for ranking many boards.

        Raises
        ------
        LogbookError
            ``"logbook-damaged"``.
        """
        with self._read() as session, many_objects():
            return read_board_table(session)

    def sampled_colours(self, numbers: Iterable[str], light: str) -> dict[str, tuple[tuple[float, float, float], ...]]:
        """Return the sampled colours of some boards in a light, by number; those of which they were kept."""
        keys = [int(number[1:]) for number in numbers]
        with self._read() as session:
            return {f"B{key}": found for key, found in read_sampled_colours(session, keys, light).items()}

    def boards_of_photos(self, photos: Collection[str]) -> dict[str, str]:
        """Return the board that each photo was measured for, by the start of its hash; those that were for none not."""
        return self._owners(BoardRow, MeasurementRow.board_number, photos)

    def spots_of_photos(self, photos: Collection[str]) -> dict[str, str]:
        """Return the floor spot that each photo was measured for; as `boards_of_photos`."""
        return self._owners(FloorSpotRow, MeasurementRow.spot_number, photos)

    def _owners(
        self,
        table: type[BoardRow | FloorSpotRow],
        owner: InstrumentedAttribute[int | None],
        photos: Collection[str],
    ) -> dict[str, str]:
        if not photos:
            return {}
        # A range and not LIKE, which no index serves; "g" comes after every digit of a hash.
        ranges = (MeasurementRow.photo_sha256.between(start, f"{start}g") for start in photos)
        asked = select(MeasurementRow.photo_sha256, owner).join(table, owner == table.number)
        asked = asked.where(table.removed.is_(None), or_(*ranges)).order_by(MeasurementRow.id)
        letter = "B" if table is BoardRow else "F"
        with self._read() as session:
            found = session.execute(asked).all()
        return {start: f"{letter}{number}" for sha256, number in found for start in photos if sha256.startswith(start)}

    def kinds_of_boards(self, besides: str) -> frozenset[tuple[str, bool]]:
        """Return what the other boards are for, each purpose with whether such a board is stained."""
        shown = BoardRow.removed.is_(None), BoardRow.number != int(besides[1:])
        with self._read() as session:
            found = session.execute(select(BoardRow.purpose, BoardRow.stain.is_not(None)).where(*shown).distinct())
            return frozenset((purpose, bool(stained)) for purpose, stained in found)

    def boards_beside_floor(self) -> frozenset[tuple[str, str]]:
        """Return each board that was photographed beside the floor, with the photo."""
        with self._read() as session:
            asked = select(PairRow.board_number, PairRow.photo_sha256)
            asked = asked.join(BoardRow, PairRow.board_number == BoardRow.number).where(BoardRow.removed.is_(None))
            return frozenset((f"B{number}", photo) for number, photo in session.execute(asked))
