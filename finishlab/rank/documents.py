"""What a ranking says: in sentences, the same on terminal, page and paper; at a glance or in full; its JSON form."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Final

from finishlab.board.shown import stain_words, what_it_is
from finishlab.matching.alternatives import MOVES
from finishlab.matching.costs import costs_entry, costs_line
from finishlab.matching.scatter import FEW_SPOTS
from finishlab.rank.comparing import deciding_doubt
from finishlab.record import enumerated
from finishlab.show import jsons as figures
from finishlab.show.document import Bar, Block, Cell, Column, Document, Interval, Line, Listing, Paragraph, Table
from finishlab.show.jsons import entry
from finishlab.strip.trials import trust_entry, trust_line

if TYPE_CHECKING:
    from finishlab.board import BoardRecord
    from finishlab.colorimetry.difference import DeltaE
    from finishlab.logbook.stored import StoredBoard
    from finishlab.matching.alternatives import AcrossLights
    from finishlab.matching.costs import NextPhoto
    from finishlab.matching.ranking import RankedBoard, Ranking, Spread
    from finishlab.matching.scatter import FloorPool
    from finishlab.rank.comparing import Comparison


_MOSTLY_OWN: Final = 0.75
"""Share of an interval's width from which on it is called the board's own without more words."""
_MOST_NAMED: Final = 8
"""Boards named in a sentence; of more the rest is counted."""
_BARELY: Final = 0.02
_ROUNDS_TO_NONE: Final = 0.005
_LEADERS: Final = 3
_SURE_WORDS: Final = (
    (0.5, "open"),
    (0.75, "more likely than not"),
    (0.95, "likely"),
    (0.995, "very likely"),
    (2.0, "all but certain"),
)
"""Upper end of the chance of being the closest, and its words; this tool's own."""


def as_sentence(words: str) -> str:
    """Return words with a capital at the start and a full stop at the end."""
    words = words.strip()
    return words[:1].upper() + words[1:] + ("" if words.endswith((".", "!", "?")) else ".") if words else ""


def interval(difference: DeltaE | Spread) -> str:
    """Return a 95 % interval in words: ``"1.2 to 2.7"``."""
    return f"{difference.low:.1f} to {difference.high:.1f}"


def finish_words(record: BoardRecord) -> str:
    """Return what a board is, from the outside in: ``"walnut, 2 coats, under matte varnish, on cherry"``."""
    topcoat = f"under {record.topcoat}" if record.topcoat else "no topcoat"
    return f"{stain_words(record)}, {topcoat}, on {record.species}"


def headline(ranking: Ranking, boards: Mapping[str, StoredBoard], most: int | None = None) -> str:
    """Return the first board by what it is; of a finish at most so many letters."""
    first = ranking.boards[0]
    named = f"{_short(finish_words(boards[first.board].record), most)} ({first.board})"
    if ranking.no_contrast:
        return f"No board makes this contrast: {ranking.aim.in_words}. Nearest to it: {named}."
    if ranking.aim.name == "contrast":
        return f"Closest to the contrast: {named}."
    return f"Closest to the floor: {named}."


def at_a_glance(
    ranking: Ranking, boards: Mapping[str, StoredBoard], most: int | None = None
) -> Iterator[tuple[str, str]]:
    """Give what is said beneath the headline: what each sentence is about, nothing for the first, and the sentence.

    `most` cuts the name of the next board's finish.
    """
    yield "", how_far(ranking)
    yield "How sure:", how_sure(ranking)
    if len(ranking.boards) > 1:
        yield "Next:", runner_up(ranking, boards, most)
    doubtful = deciding_doubt(ranking)
    if doubtful is not None:
        yield f"Doubt ({doubtful[0]}):", doubtful[1]


def how_far(ranking: Ranking) -> str:
    """Return how far the first board is from the floor, in words and as a figure."""
    first = ranking.boards[0]
    return f"{first.sentence} dE00 {first.delta_e00.value:.1f} (95 %: {interval(first.delta_e00)})."


def how_sure(ranking: Ranking) -> str:
    """Return how sure it is that the first board is the closest."""
    first, leaders = ranking.boards[0], ranking.leaders
    if len(ranking.boards) == 1:
        return "the only board so far."
    words = next(words for end, words in _SURE_WORDS if first.probability_closest < end)
    told = f"{words}; {first.board} is the closest of {len(ranking.boards)} with {chance(first.probability_closest)}"
    if len(leaders) > 1:
        others = _listed([each.board for each in leaders[1:]], 3)
        told += f"; the photos leave {others} open too"
    if first.within_limits is not None:
        told += f"; it keeps the limits with {chance(first.within_limits)}"
    return f"{told}."


def runner_up(ranking: Ranking, boards: Mapping[str, StoredBoard], most: int | None = None) -> str:
    """Return the next board by what it is and by how much it is farther off; empty with one board."""
    if len(ranking.boards) < 2:
        return ""
    first, second = ranking.boards[:2]
    named = f"{_short(finish_words(boards[second.board].record), most)} ({second.board})"
    if ranking.margin is None:
        return f"{named}."
    by = ranking.margin.by
    tied = ", may be as near" if first.tied_with(second) else ""
    return f"{named}{tied}: {by.value:.1f} farther ({interval(by)})."


def _short(text: str, most: int | None) -> str:
    return text if most is None or len(text) <= most else f"{text[: most - 4].rstrip(' ,;')} ..."


def chance(probability: float) -> str:
    """Return a probability in per cent; what simulation cannot tell from never or always is not called so."""
    if probability < _ROUNDS_TO_NONE:
        return "< 1 %"
    if probability >= 1.0 - _ROUNDS_TO_NONE:
        return "> 99 %"
    return f"{100 * probability:.0f} %"


def aim_line(ranking: Ranking) -> str:
    """Say what the boards were ranked for, when it is not the plain match; else nothing."""
    aim = ranking.aim
    return "" if is_plain(ranking) else f"Ranked for: {aim.in_words}; by {aim.scored_by.name}."


def is_plain(ranking: Ranking) -> bool:
    """Return whether the boards are ranked by CIEDE2000 from the floor and nothing else."""
    aim = ranking.aim
    return aim.name == "match" and not aim.limits and aim.scored_by.name == "CIEDE2000"


def score_cell(board: RankedBoard) -> str:
    """Return how far a board is from the aim, and the chance that it keeps the limits."""
    score = board.score or board.delta_e00
    kept = "" if board.within_limits is None else f" ({chance(board.within_limits)})"
    return f"{score.value:.1f}{kept}"


def tie_marks(board: RankedBoard) -> list[str]:
    """Return the letters of the ties a board belongs to: boards that share one may change places."""
    return [_letter(tie) for tie in board.ties]


def place_mark(board: RankedBoard) -> str:
    """Return the place and, when the order among neighbours is open, the letters of its ties: ``"2 ab"``."""
    return f"{board.place} {''.join(tie_marks(board))}".strip()


def _letter(tie: int) -> str:
    """Return a to z, then aa, ab ..., as the columns of a sheet are named."""
    letters = ""
    while tie > 0:
        tie, rest = divmod(tie - 1, 26)
        letters = chr(ord("a") + rest) + letters
    return letters


def answer(ranking: Ranking) -> str:
    """Return the whole answer in one short sentence."""
    leaders = ranking.leaders
    if ranking.no_contrast:
        return f"No board makes this contrast: {ranking.aim.in_words}."
    goal = "the floor" if ranking.aim.name == "match" else "the contrast that was asked for"
    if len(leaders) == 1:
        return f"Board {leaders[0].board} comes closest to {goal}{_nearer(ranking)}."
    names = _listed([b.board for b in leaders])
    return f"Boards {names} come closest to {goal}; which of them is the closest stays open."


def _nearer(ranking: Ranking) -> str:
    """Return by how much the first board is nearer than the next, for the end of a sentence."""
    margin = ranking.margin
    if margin is None:
        return ""
    by = margin.by
    return f", nearer than {margin.next}, the next, by {by.value:.1f} ({interval(by)})"


def answer_detail(ranking: Ranking, boards: Mapping[str, StoredBoard]) -> str:
    """Return what the first board is and how it differs, in the sentences that follow the answer."""
    first = ranking.boards[0]
    named = f"{first.board} ({what_it_is(boards[first.board].record)})"
    figure = f"dE00 {first.delta_e00.value:.1f} (95 % interval {interval(first.delta_e00)})"
    if ranking.no_contrast:
        lightness = first.difference.dL
        side = f"{abs(lightness):.1f} L* {'lighter' if lightness > 0 else 'darker'} than the floor"
        return f"Nearest to it comes {named}, which is {side}."
    told = f"{named} is {figure} from the floor. {first.sentence}"
    if len(ranking.leaders) > 1 and ranking.margin is not None:
        told += f" It is{_nearer(ranking).removeprefix(',')}."
    told = f"{told} {own_line(ranking)}".rstrip()
    return told if first.final else f"{told} No verdict can rest on it yet: see the doubts."


def own_line(ranking: Ranking) -> str:
    """Return which part of the first board's interval is its own; empty where that is most of it."""
    first = ranking.boards[0]
    whole, own = first.score or first.delta_e00, first.own
    if own is None or len(ranking.boards) < 2 or own.high - own.low > _MOSTLY_OWN * (whole.high - whole.low):
        return ""
    of = "its interval" if is_plain(ranking) else f"the interval of its distance from the aim ({interval(whole)})"
    return f"Of {of}, {own.low:.1f} to {own.high:.1f} is its own; the rest is common to all boards and turns no order."


def floor_line(floor: FloorPool) -> str:
    """Return what the floor was measured from and how much it varies in itself."""
    spots = f"{floor.spots} spot{'' if floor.spots == 1 else 's'}"
    colour = "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*floor.lab)
    if floor.spread_e00 is None:
        return f"Floor: {spots}, {colour}; one spot cannot show how much the floor varies."
    return f"Floor: {spots}, {colour}; its own spots scatter by dE00 {floor.spread_e00:.1f} about their mean."


def colours_line(board: RankedBoard, floor_e00: float | None) -> str:
    """Say how the board's colours, not only their mean, stand to the floor's; empty where they were not kept."""
    if board.colours_e00 is None or board.figure_e00 is None:
        return ""
    told = f"Colour by colour {board.board} is dE00 {board.colours_e00:.1f} from the floor"
    if floor_e00 is not None:
        told += f", where the floor's own planks are {floor_e00:.1f}"
    return f"{told}; {board.figure_e00:.1f} of it is grain and figure."


def inseparable_lines(ranking: Ranking, most: int = 5) -> list[str]:
    """Name the boards that cannot be told apart from the leading ones."""
    said: list[str] = []
    seen: set[frozenset[str]] = set()
    for board in ranking.leaders[:_LEADERS]:
        pairs = [other for other in board.inseparable if frozenset((board.board, other)) not in seen]
        seen |= {frozenset((board.board, other)) for other in pairs}
        if pairs:
            shown = ", ".join(pairs[:most]) + (f" and {len(pairs) - most} more" if len(pairs) > most else "")
            said.append(f"{board.board} cannot be told apart from {shown}.")
    return said


def doubts_once(ranking: Ranking, most: int | None = None) -> list[tuple[str, str]]:
    """Return each doubt once: whom it is about (``"floor"``, ``"B1, B4"``, ``"all boards"``), and its sentence.

    With `most`, only the doubts of so many first boards.
    """
    about: dict[str, list[str]] = {}
    shown = ranking.boards[:most]
    for who, doubts in (("floor", ranking.floor.doubts), *((board.board, board.doubts) for board in shown)):
        for found in doubts:
            about.setdefault(found.message, []).append(who)
    everyone = [board.board for board in shown]
    every = "all boards" if len(everyone) == len(ranking.boards) else f"the first {len(everyone)} boards"
    named = ((list(dict.fromkeys(who)), sentence) for sentence, who in about.items())
    return [(every if len(everyone) > 1 and who == everyone else ", ".join(who), sentence) for who, sentence in named]


def next_steps(ranking: Ranking, boards: Mapping[str, StoredBoard], missing: Sequence[str] = ()) -> list[str]:
    """Return what would make the answer surer or bring the job on, the most useful first.

    Parameters
    ----------
    ranking
        The boards from the nearest on.
    boards
        What is logged of each board, by its number.
    missing
        Photos that are missing for a second light, in words; without them it is read from the first board.
    """
    leaders = ranking.leaders
    steps = []
    doubted = [number for number, board in boards.items() if board.doubted]
    if doubted:
        steps.append(
            f"Photograph {_listed(doubted)} beside the floor again: what lay at the strip's floor edge may not be it. "
            f"Where it is: finishlab board edit {doubted[0]} --confirm-floor"
        )
    if ranking.no_contrast:
        steps.append(f"Make a board for it ({ranking.aim.in_words}), or ask for a smaller step.")
    elif ranking.next_photos:
        steps.append(next_photo_line(ranking.next_photos))
    elif len(leaders) > 1:
        names = _listed([b.board for b in leaders])
        steps.append(
            f"Photograph {names} again, each with the floor at the strip's other edge (--with-floor): one photo of "
            "both is the surest comparison."
        )
    spots = ranking.floor.spots
    if spots < FEW_SPOTS:
        steps.append(f"Measure the floor on more planks: {spots} so far, {FEW_SPOTS} or more show how much it varies.")
    steps += _steps_for(boards[leaders[0].board], missing)
    if not any(board.record.purpose == "clear-only control" for board in boards.values()):
        steps.append(
            "Finish one board with the topcoat alone and log it with the purpose 'clear-only control': "
            "stain only darkens, so it shows the lightest you can reach."
        )
    steps.append(
        "Lay the leading boards flat on the floor, grain along the planks, and trust your eyes over any "
        "figure; then prove the recipe on one whole tread (common practice, no source)."
    )
    return steps


def _steps_for(first: StoredBoard, missing: Sequence[str]) -> list[str]:
    """Return what the leading board still lacks; `missing` names the photos in a second light."""
    steps = []
    if first.record.topcoat is None:
        steps.append(f"Put the topcoat on {first.number} and measure it again once dry: it will not stay as it is.")
    if missing:
        steps += missing
    elif len(first.lights) == 1:
        steps.append(
            "Photograph the floor and the leading boards in a second light too, daylight and evening "
            "lamps: a match holds only if it holds in both."
        )
    return steps


def next_photo_line(photos: Sequence[NextPhoto]) -> str:
    """Say which one more photo would do most, or that none would do much."""
    if not photos:
        return ""
    best = photos[0]
    if best.gain < _BARELY:
        return (
            "No one more photo would settle much: the first board is the best with a chance of about "
            f"{chance(best.now)} as it is. Judge the leading boards by eye."
        )
    return best.in_words


def _listed(names: Sequence[str], most: int = _MOST_NAMED) -> str:
    if len(names) > most:
        names = [*names[:most], f"{len(names) - most} more"]
    return enumerated(names)


_MOVES_TOLD: Final = (
    "moves: dE00 there less dE00 in the first light; metamerism: the index after ISO 18314-4, which cannot be told "
    "where the errors of the photos hold both none and more than 1"
)
_LIGHTS_SHOWN: Final = 20
_GLANCE: Final = 15
"""Lines of the answer at a glance at most, the bar of colours one of them, on a terminal of `_NARROW` characters."""
_NARROW: Final = 80
_WIDE: Final = 110
"""Width of a terminal, characters, from which on it shows the figures of colours too."""


def comparison_document(found: Comparison, *, full: bool, most: int | None, as_json: bool) -> Document:
    """Return all that is said of a comparison.

    Parameters
    ----------
    found
        The comparison.
    full
        Whether people want all of it, or the answer at a glance.
    most
        Boards in the table; None for all.
    as_json
        Whether programs want it: what people read is left out then, and else what programs read, since either is long.
    """
    if as_json:
        return Document("ranking", {**ranking_data(found.ranking), **_beside(found)})
    told = found.as_measured(most if full else 1)
    return Document("ranking", {}, tuple(_in_full(told, most) if full else _at_a_glance(told)))


def ranking_data(ranking: Ranking) -> dict[str, Any]:
    """Return a ranking as ``finishlab/ranking/1`` holds it: the floor, and the boards from the nearest on."""
    return {
        "floor": pool_document(ranking.floor),
        "ranking": [_ranked(board) for board in ranking.boards],
        "aim": ranking.aim.as_dict(),
        "next_photos": [entry(photo, _NEXT_PHOTO) for photo in ranking.next_photos],
        "answer": answer(ranking),
        "margin": ranking.margin and entry(ranking.margin, "first=board next") | figures.difference(ranking.margin.by),
        "contrast_made": not ranking.no_contrast if ranking.aim.name == "contrast" else None,
    }


def _beside(found: Comparison) -> dict[str, Any]:
    return {
        "light": found.light,
        "left_out": list(found.left_out),
        "lights": None if found.lights is None else lights_entry(found.lights),
        "choices": [entry(choice, _CHOICE) for choice in found.choices],
        "recipes": None if found.recipes is None else [entry(recipe, _RECIPE) for recipe in found.recipes.boards],
        "costs": [costs_entry(each) for each in found.costs],
        "trials": trust_entry(found.trust),
    }


def _at_a_glance(found: Comparison) -> list[Block]:
    """Return the answer in at most `_GLANCE` lines; where finishes have long names these are cut."""
    for most in ((None, None), (None, 45), (None, 30), (60, 30), (30, 30)):
        blocks = list(_glance(found, *most))
        told = [block.text for block in blocks if isinstance(block, Paragraph)]
        if sum(len(wrap(text, _NARROW, subsequent_indent="  ")) for text in told) < _GLANCE:
            break
    return blocks


def _glance(found: Comparison, of_first: int | None, of_next: int | None) -> Iterator[Block]:
    ranking = found.ranking
    first = ranking.boards[0]
    yield Paragraph(headline(ranking, found.boards, of_first))
    yield Bar((first.lab, ranking.floor.lab), f"{first.board} beside the floor")
    for what, told in at_a_glance(ranking, found.boards, of_next):
        yield Paragraph(f"{what} {told}".strip())
    yield Paragraph(f"Do now: {next_steps(ranking, found.boards, found.missing)[0]}")
    left = len(found.left_out)
    left_out = f"; {left} board{'' if left == 1 else 's'} not photographed in it" if left else ""
    yield Paragraph(f"Light: {found.light}{left_out}. All of it: finishlab rank --full")


def _in_full(found: Comparison, most: int | None) -> Iterator[Block]:
    ranking = found.ranking
    yield Line(answer(ranking))
    yield Line(answer_detail(ranking, found.boards))
    if aim_line(ranking):
        yield Line(aim_line(ranking))
    yield from _places(found, most)
    yield Line()
    colours = colours_line(ranking.boards[0], ranking.floor.colours_e00)
    beside = [*(costs_line(each) for each in found.costs[:1]), trust_line(found.trust)]
    yield from (Line(line) for line in (floor_line(ranking.floor), colours, *beside) if line)
    if found.lights is not None and found.lights.boards:
        head, rows = lights_rows(found.lights, most or _LIGHTS_SHOWN)
        columns = [Column(name) for name in head]
        yield Table(columns, rows, title="In every light, the best by its worst light first")
        yield Line(_MOVES_TOLD)
    if found.recipes is not None:
        head, rows = recipes_rows(found.recipes, most)
        yield Table([Column(name) for name in head], rows, title="Recipes, each pooled over its boards")
        yield from _more(found.recipes, most)
    yield Listing("Match or contrast", [choice.in_words for choice in found.choices])
    yield Listing("What stays open", inseparable_lines(ranking))
    doubts = [f"{who}: {sentence}" for who, sentence in doubts_once(ranking, most)]
    yield Listing(_doubts_title(ranking, most), doubts)
    yield Listing("What to do next", next_steps(ranking, found.boards, found.missing), numbered=True)
    left_out = f" Not photographed in it: {', '.join(found.left_out)}." if found.left_out else ""
    yield Line()
    yield Line(f"Light: {found.light}.{left_out}")


def _places(found: Comparison, most: int | None) -> Iterator[Block]:
    """Return the table of the boards and what its columns mean."""
    ranking = found.ranking
    shown, plain = ranking.boards[:most], is_plain(ranking)
    columns = [
        Column("place", fold=False),
        Column("board", fold=False),
        Column("board|floor", fold=False),
        Column("L* a* b*", fold=False, room=_WIDE),
        *([] if plain else [Column("from the aim", fold=False)]),
        Column("dE00 (95 %)", fold=False),
        Column("closest", fold=False, right=True),
        Column("what it is / beside the floor"),
    ]
    rows: list[Sequence[Cell]] = [
        (
            place_mark(board),
            board.board,
            Bar((board.lab, ranking.floor.lab)),
            " ".join(f"{round(v) + 0:d}" for v in board.lab),
            *([] if plain else [score_cell(board)]),
            Interval(board.delta_e00.value, board.delta_e00.low, board.delta_e00.high),
            chance(board.probability_closest),
            f"{what_it_is(found.boards[board.board].record)}\n{board.in_words}",
        )
        for board in shown
    ]
    yield Line()
    yield Table(columns, rows)
    yield from _more(ranking, most)
    if any(board.tied for board in shown):
        yield Line("a, b ...: the photos leave the order of boards that share a letter open")
    yield Line("dE00: CIEDE2000 to the floor with its 95 % interval; closest: chance of being the closest board")
    if ranking.boards[0].within_limits is not None:
        yield Line("from the aim: how far off, and in brackets the chance that the limits are kept")


def _more(ranking: Ranking, most: int | None) -> Iterator[Line]:
    if most is not None and len(ranking.boards) > most:
        yield Line(f"and {len(ranking.boards) - most} more; --most 0 shows all")


def _doubts_title(ranking: Ranking, most: int | None) -> str:
    if most is None or len(ranking.boards) <= most:
        return "Doubts"
    return f"Doubts of the floor and of the first {'board' if most == 1 else f'{most} boards'}"


_PLACED: Final = "lab delta_e00 probability_closest:4 difference ratio_to_floor_spread in_words sentence"
_AFTER_SCORE: Final = (
    "within_limits=probability_within_limits:4 inseparable colours_e00 figure_e00 photos pairs=direct_pairs final "
    "doubts"
)
"""Fields of a ranked board before and after its score, as `entry` takes them."""


def _ranked(board: RankedBoard) -> dict[str, Any]:
    before, after = entry(board, _PLACED), entry(board, _AFTER_SCORE)
    score = {
        "score": figures.difference(board.score or board.delta_e00),
        "score_own": None if board.own is None else entry(board.own, "low high"),
    }
    return {"place": board.place, "ties": tie_marks(board), "board": board.board} | before | score | after


def lights_entry(lights: AcrossLights) -> dict[str, Any]:
    """Return the lights for a document: each light, each board in all of them, and which photos are missing."""
    boards = []
    for board in lights.boards:
        index = board.metamerism
        told = {"metamerism_index": index and figures.difference(index), "metamerism_told": index and _is_told(index)}
        before = "board worst_place worst=worst_light by_light=delta_e00 places move=moves move_light=moves_in"
        boards.append(entry(board, before) | told | entry(board, "doubts"))
    return {
        "compared": [entry(light, "text=light kind kelvin") for light in lights.lights],
        "boards": boards,
        "metamerism": "after ISO 18314-4: multiplicative correction, CIEDE2000",
        "missing": list(lights.missing),
    }


_CHOICE: Final = (
    "aim board score probability_best:4 within_limits=probability_within_limits:4 other_score=score_under_other "
    "cost=cost_under_other in_words"
)
_NEXT_PHOTO: Final = "what board now=chance_right_now:4 then=chance_right_then:4 in_words"
_RECIPE: Final = "place board=recipe delta_e00 probability_closest:4 photos in_words"


def lights_rows(lights: AcrossLights, most: int) -> tuple[list[str], list[list[str]]]:
    """Return head and rows of the table of lights, the best by its worst light first; empty with one light."""
    names = [light.text for light in lights.lights]
    rows = [
        [
            board.board,
            *(f"{board.by_light[name].value:.1f}" for name in names),
            board.worst,
            "-" if board.move is None else f"{board.move:+.1f}",
            "-" if board.metamerism is None else _index_cell(board.metamerism),
        ]
        for board in lights.boards[:most]
    ]
    return ["board", *names, "worst light", "moves", "metamerism (95 %)"], rows


def _index_cell(index: DeltaE) -> str:
    if _is_told(index):
        return f"{index.value:.1f} ({interval(index)})"
    return f"cannot be told (0.0 to {index.high:.1f})"


def _is_told(index: DeltaE) -> bool:
    """Return whether photos tell of an index: that there is one, or that it is too small to matter."""
    return index.low > 0.0 or index.high <= MOVES


def recipes_rows(recipes: Ranking, most: int | None = None) -> tuple[list[str], list[list[str]]]:
    """Return head and rows of the table of recipes, or of so many first ones."""
    rows = [
        [
            f"{found.place}",
            found.board,
            f"{found.delta_e00.value:.1f} ({interval(found.delta_e00)})",
            chance(found.probability_closest),
            found.in_words,
        ]
        for found in recipes.boards[:most]
    ]
    return ["place", "recipe", "dE00 (95 %)", "closest", "beside the floor"], rows


def pool_document(floor: FloorPool) -> dict[str, Any]:
    """Return the JSON form of the floor's spots together."""
    return entry(floor, "lab spots spread_e00 colours_e00 doubts")
