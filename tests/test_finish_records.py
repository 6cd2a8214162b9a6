"""The finish record: its limits, its warnings and its written form."""

from __future__ import annotations

import dataclasses
import string
from dataclasses import replace
from typing import Any, Final

import pytest
from build_reference import BOARD_LIMITS, CAN_LIMITS, section_limits
from hypothesis import given
from hypothesis import strategies as st

from finishlab.board import BoardRecord
from finishlab.errors import UsageError
from finishlab.finish import (
    FINISH_PARTS,
    ColourStep,
    Finish,
    Preparation,
    Seal,
    Topcoat,
    ViewingConditions,
    finish_rows,
    step_changes,
)
from finishlab.finish.fields import FieldSpec, HardLimit, MixPart, Section, parse_fields, specs
from finishlab.finish.warnings import SOFT, WarningContext, board_warnings, warnings
from finishlab.recipe import Label
from finishlab.units import COMMON_PRACTICE

TYPES: Final[dict[str, type[Section]]] = {
    "preparation": Preparation,
    "step": ColourStep,
    "seal": Seal,
    "topcoat": Topcoat,
    "label": Label,
}
LIMITS: Final = [row for kind in TYPES.values() for row in section_limits(kind)]
BOUNDED: Final = [row for row in LIMITS if isinstance(row, HardLimit)]  # the others have a rule of their own, below


def build(row: HardLimit, value: float) -> Any:
    """Return the section of a limit with its field at a value."""
    kind = TYPES[row.section]
    each = next(each for each in specs(kind) if each.name == row.field)
    forms: dict[str, Any] = {
        "grits": (value,),
        "size": (value, 300.0, 19.0),
        "ratio": (value, 1.0),
        "mix": ({"colour": "honey", "parts": value},),
    }
    return kind(**{row.field: forms.get(each.form, value)})


def edges() -> list[Any]:
    """Return every bound: the limit, a value that still holds, and the nearest one past it."""
    found = []
    for row in BOUNDED:
        whole = next(e.form for e in specs(TYPES[row.section]) if e.name == row.field) in {"count", "grits"}
        step = 1 if whole else 0.001
        if row.low is not None:
            held, passed = (row.low + step, row.low) if row.above_low else (row.low, row.low - step)
            found.append(pytest.param(row, held, passed, id=f"{row.section}-{row.field}-low"))
        if row.high is not None:
            found.append(pytest.param(row, row.high, row.high + step, id=f"{row.section}-{row.field}-high"))
    return found


@pytest.mark.parametrize(("row", "held", "passed"), edges())
def test_a_hard_limit_holds_at_its_bound_and_refuses_past_it(row: HardLimit, held: float, passed: float) -> None:
    """A value at the bound is kept; the next past it is refused with a sentence that names it and what may be given."""
    assert not build(row, held).is_empty()
    with pytest.raises(UsageError) as refused:
        build(row, passed)
    assert refused.value.code == row.code
    assert row.words in refused.value.message
    assert f"{passed:g}" in refused.value.message
    assert refused.value.hint == row.hint


RULES: Final[list[tuple[str, str, Any]]] = [
    ("unknown-step-kind", "step", {"kind": "lacquer"}),
    ("unknown-step-by", "step", {"mix_by": "eye"}),
    ("unknown-topcoat-kind", "topcoat", {"kind": "honey"}),
    ("grits-not-ascending", "preparation", {"grits": (120, 80)}),
    ("grits-not-ascending", "preparation", {"grits": (80, 80)}),
    ("bad-size", "preparation", {"size_mm": (150.0, 300.0)}),
    ("bad-hardener", "topcoat", {"hardener_ratio": (10.0,)}),
    ("bad-raised", "preparation", {"grain_raised": "perhaps"}),
    ("not-a-number", "preparation", {"moisture_percent": "dry"}),
    ("not-a-number", "step", {"air_c": float("nan")}),
    ("not-a-whole-number", "topcoat", {"coats": 2.5}),
    ("text-too-long", "step", {"colour": "x" * 201}),
    ("no-colour", "step", {"mix": ({"colour": " ", "parts": 1},)}),
]


@pytest.mark.parametrize(("code", "section", "values"), RULES)
def test_what_cannot_be_meant_is_refused(code: str, section: str, values: dict[str, Any]) -> None:
    """A value outside the trade's list, out of order or of another kind is refused with a sentence and a hint."""
    with pytest.raises(UsageError) as refused:
        TYPES[section](**values)
    assert refused.value.code == code
    assert refused.value.message.endswith(".")
    assert refused.value.hint


def test_every_row_of_the_limits_names_a_field() -> None:
    """Each limit of a section is about a field the section has, and says where it comes from."""
    named = [(row.section, row.field, COMMON_PRACTICE) for row in (*BOARD_LIMITS, *LIMITS, *CAN_LIMITS)]
    named += [(row.section, row.field, row.source) for row in SOFT]
    for section, field, source in named:
        assert source == COMMON_PRACTICE or len(source) > 10
        if section in TYPES:
            assert field in {each.name for each in specs(TYPES[section])}


OAK: Final = WarningContext(species="red oak")
PINE: Final = WarningContext(species="pine")
SLIPS: Final[dict[str, tuple[Finish, WarningContext, str]]] = {
    "no-clear-only": (Finish(), WarningContext(clear_only=False), "clear-only"),
    "not-finished-yet": (Finish(), WarningContext(state="stain dry", deciding=True), "stain dry"),
    "species-differs": (Finish(), WarningContext(species="ash", tread_woods=(("red oak", ""),)), "red oak"),
    "small-board": (Finish(Preparation(size_mm=(99.0, 300.0, 19.0), stock_lot="a")), OAK, "99 mm"),
    "coats-without-stain": (Finish(), replace(OAK, coats=2), "no stain is named"),
    "stock-lot-unknown": (Finish(Preparation(moisture_percent=8.0)), OAK, "lot of the wood"),
    "moisture": (Finish(Preparation(moisture_percent=4.9)), OAK, "4.9 %"),
    "grit-skipped": (Finish(Preparation(grits=(60, 121))), OAK, "60 to 121"),
    "grit-too-fine": (Finish(Preparation(grits=(120, 220))), OAK, "220"),
    "blotching": (Finish(steps=(ColourStep(kind="oil"),)), PINE, "Pine takes a penetrating stain in blotches"),
    "tannin": (Finish(steps=(ColourStep(kind="water"),)), OAK, "no steel wool"),
    "oily-wood": (Finish(topcoat=Topcoat(kind="oil polyurethane")), WarningContext(species="teak"), "oil of its own"),
    "grain-raised": (Finish(Preparation(grits=(120,)), (ColourStep(kind="dye"),)), OAK, "Dye raises the grain"),
    "does-not-follow": (
        Finish(steps=(ColourStep(kind="oil", next_h=23.0),), topcoat=Topcoat(kind="water polyurethane 1-part")),
        OAK,
        "wait 24 to 72 h",
    ),
    "last-grit-differs": (
        Finish(Preparation(grits=(80, 120))),
        WarningContext(tread=Finish(Preparation(grits=(80, 100)))),
        "on the treads 100",
    ),
    "drying-short": (Finish(Preparation(drying_h=1.9)), OAK, "1.9 h"),
    "bases-mixed": (Finish(steps=(ColourStep(kind="dye"), ColourStep(kind="oil"))), OAK, "dye and oil"),
    "lot-differs": (
        Finish(steps=(ColourStep(lot="8"),)),
        WarningContext(approved=Finish(steps=(ColourStep(lot="7"),))),
        "lot 8",
    ),
    "much-thinner": (Finish(steps=(ColourStep(thinner_percent=21.0),)), OAK, "21 %"),
    "applicator-differs": (
        Finish(steps=(ColourStep(applicator="rag"),)),
        WarningContext(tread=Finish(steps=(ColourStep(applicator="foam"),))),
        "with foam",
    ),
    "long-wipe": (Finish(steps=(ColourStep(wipe_min=16.0),)), OAK, "16 min"),
    "long-gel-wipe": (Finish(steps=(ColourStep(kind="gel", wipe_min=6.0),)), OAK, "6 min"),
    "many-coats": (Finish(steps=(ColourStep(coat=3),)), OAK, "coat 3"),
    "next-too-early": (
        Finish(steps=(ColourStep(can_number=1, next_h=2.0),)),
        WarningContext(labels={1: Label(recoat_h=6.0)}),
        "says 6 h",
    ),
    "air-temperature": (Finish(steps=(ColourStep(air_c=12.0),)), OAK, "12 C"),
    "damp-air": (Finish(steps=(ColourStep(rh_percent=71.0),)), OAK, "71 %"),
    "past-pot-life": (
        Finish(topcoat=Topcoat(can_number=1, mixed_h=5.0)),
        WarningContext(labels={1: Label(pot_life_h=4.0)}),
        "4 h",
    ),
    "gloss-differs": (Finish(topcoat=Topcoat(gloss_gu=41.0)), WarningContext(floor_gloss_gu=30.0), "41 GU"),
    "few-topcoats": (Finish(topcoat=Topcoat(coats=2)), WarningContext(on_tread=True), "2 of the 3 coats"),
    "anti-slip-differs": (
        Finish(topcoat=Topcoat(sheen="satin")),
        WarningContext(tread=Finish(topcoat=Topcoat(anti_slip="fine"))),
        "anti-slip",
    ),
    "one-light-only": (Finish(), WarningContext(lights=1), "one light"),
    "few-places": (Finish(), WarningContext(spots=4), "4 of the 5"),
}
"""Soft limit -> a finish just past it, what it is held against, and words that must be in the sentence."""

FINE: Final[dict[str, tuple[Finish, WarningContext]]] = {
    "no-clear-only": (Finish(), WarningContext(clear_only=True)),
    "not-finished-yet": (Finish(), WarningContext(state="cured", deciding=True)),
    "species-differs": (Finish(), WarningContext(species="Red Oak", tread_woods=(("red oak", ""),))),
    "small-board": (Finish(Preparation(size_mm=(100.0, 300.0, 19.0), stock_lot="a")), OAK),
    "coats-without-stain": (Finish(), replace(OAK, coats=2, stain="walnut")),
    "stock-lot-unknown": (Finish(), OAK),
    "moisture": (Finish(Preparation(moisture_percent=5.0)), OAK),
    "grit-skipped": (Finish(Preparation(grits=(60, 120))), OAK),
    "grit-too-fine": (Finish(Preparation(grits=(120, 180))), OAK),
    "blotching": (Finish(Preparation(conditioner="gel"), (ColourStep(kind="oil"),)), PINE),
    "tannin": (Finish(steps=(ColourStep(kind="oil"),)), OAK),
    "oily-wood": (Finish(topcoat=Topcoat(kind="oil polyurethane")), OAK),
    "grain-raised": (Finish(Preparation(grits=(120,), grain_raised=True), (ColourStep(kind="dye"),)), OAK),
    "does-not-follow": (
        Finish(steps=(ColourStep(kind="oil", next_h=24.0),), topcoat=Topcoat(kind="water polyurethane 1-part")),
        OAK,
    ),
    "last-grit-differs": (SLIPS["last-grit-differs"][0], OAK),
    "drying-short": (Finish(Preparation(drying_h=2.0)), OAK),
    "bases-mixed": (Finish(steps=(ColourStep(kind="oil"), ColourStep(kind="oil"))), OAK),
    "lot-differs": (SLIPS["lot-differs"][0], OAK),
    "much-thinner": (Finish(steps=(ColourStep(thinner_percent=20.0),)), OAK),
    "applicator-differs": (SLIPS["applicator-differs"][0], OAK),
    "long-wipe": (Finish(steps=(ColourStep(wipe_min=15.0),)), OAK),
    "long-gel-wipe": (Finish(steps=(ColourStep(kind="gel", wipe_min=5.0),)), OAK),
    "many-coats": (Finish(steps=(ColourStep(coat=2),)), OAK),
    "next-too-early": (
        Finish(steps=(ColourStep(can_number=1, next_h=6.0),)),
        WarningContext(labels={1: Label(recoat_h=6.0)}),
    ),
    "air-temperature": (Finish(steps=(ColourStep(air_c=13.0), ColourStep(air_c=32.0))), OAK),
    "damp-air": (Finish(steps=(ColourStep(rh_percent=70.0),)), OAK),
    "past-pot-life": (
        Finish(topcoat=Topcoat(can_number=1, mixed_h=4.0)),
        WarningContext(labels={1: Label(pot_life_h=4.0)}),
    ),
    "gloss-differs": (Finish(topcoat=Topcoat(gloss_gu=40.0)), WarningContext(floor_gloss_gu=30.0)),
    "few-topcoats": (Finish(topcoat=Topcoat(coats=3)), WarningContext(on_tread=True)),
    "anti-slip-differs": (SLIPS["anti-slip-differs"][0], OAK),
    "one-light-only": (Finish(), WarningContext(lights=2)),
    "few-places": (Finish(), WarningContext(spots=5)),
}
"""Soft limit -> a finish at it, which is fine."""


@pytest.mark.parametrize("code", [row.code for row in SOFT])
def test_a_soft_limit_warns_past_its_bound_and_not_at_it(code: str) -> None:
    """A finish just past a soft limit is warned of in a sentence with its figures; one at the limit is not."""
    finish, context, words = SLIPS[code]
    said = [each for each in warnings(finish, context) if each.code == code]
    assert len(said) == 1
    assert words in said[0].message
    assert said[0].message.endswith(".")
    assert "{" not in said[0].message
    assert code not in {each.code for each in warnings(*FINE[code])}


@pytest.mark.parametrize(
    ("species", "finest"), [("white oak", 180), ("pine", 180), ("hard maple", 220), ("cherry", 220), ("larch", 220)]
)
def test_grit_too_fine_is_told_of_every_wood(species: str, finest: int) -> None:
    """Each wood has its own finest grit before stain, one that is not in the table 220: the next finer one is told."""
    told = [
        "grit-too-fine" in {each.code for each in warnings(Finish(Preparation(grits=(grit,))), WarningContext(species))}
        for grit in (finest, finest + 20)
    ]
    assert told == [False, True]


def test_each_tread_of_another_wood_is_named() -> None:
    """Where treads are of several woods, those that differ from the board are named with their wood, the others not."""
    woods = (("red oak", "treads 1 to 3"), ("maple", "treads 4 and 5"))
    said = warnings(Finish(), WarningContext(species="red oak", tread_woods=woods))
    assert [each.message for each in said] == ["The board is red oak, the treads are maple (treads 4 and 5)."]


def test_a_board_that_was_not_measured_is_not_called_measured() -> None:
    """Without a measurement it says so; it said of such a board that it was measured in one light only."""
    (said,) = warnings(Finish(), WarningContext(lights=0))
    assert said.message.startswith("The board was not measured;")


STEP_LIMITS: Final = [row.code for row in SOFT if "{step}" in row.sentence.lower()]


@pytest.mark.parametrize("code", STEP_LIMITS)
def test_one_slip_of_two_coats_is_one_line(code: str) -> None:
    """The same slip on two coats is told in one sentence that names both."""
    finish, context, words = SLIPS[code]
    (step,) = finish.steps
    held = {name: getattr(context, name) for name in ("tread", "approved")}
    twice = {name: dataclasses.replace(each, steps=each.steps * 2) for name, each in held.items() if each is not None}
    both = dataclasses.replace(finish, steps=(step, step))
    said = [each for each in warnings(both, dataclasses.replace(context, **twice)) if each.code == code]
    assert len(said) == 1
    assert "teps 1 and 2" in said[0].message
    assert words in said[0].message
    assert "{" not in said[0].message


def test_steps_of_different_figures_are_told_in_their_order() -> None:
    """Where the figures differ, they stand in the order of their steps."""
    (said,) = warnings(Finish(steps=tuple(ColourStep(wipe_min=minutes) for minutes in (16.0, 5.0, 20.0, 16.0))))
    assert said.message.startswith("Steps 1, 3 and 4 stayed 16, 20 and 16 min before wiping;")


def test_a_finish_without_slips_is_not_warned_of() -> None:
    """Nothing is said of a good record, nor of an empty one."""
    good = Finish(
        Preparation(size_mm=(150.0, 300.0, 19.0), stock_lot="a", moisture_percent=8.0, grits=(80, 100, 120)),
        (ColourStep(kind="oil", wipe_min=10.0, coat=1),),
        topcoat=Topcoat(coats=3),
    )
    assert warnings(good, OAK) == ()
    assert board_warnings(BoardRecord("red oak", finish=good)) == ()
    assert warnings(Finish()) == ()


# -- the written form


def test_a_step_is_read_as_it_is_documented() -> None:
    """The kind may stand first; units, fractions and mixes are understood."""
    found = parse_fields(
        ColourStep, "oil; maker=Acme; colour=honey; mix=2 honey + 1 walnut; wipe=10 min; air=68 F; can=C3"
    )
    assert found == {
        "kind": "oil", "maker": "Acme", "colour": "honey", "wipe_min": 10.0, "air_c": 20.0, "can_number": 3,
        "mix": (MixPart("honey", 2.0), MixPart("walnut", 1.0)),
    }  # fmt: skip
    assert parse_fields(Preparation, "size=6x12x3/4in; grits=80-100-120; raised=yes") == {
        "size_mm": (152.4, 304.8, 19.05),
        "typed_in": "in",
        "grits": (80, 100, 120),
        "grain_raised": True,
    }
    assert parse_fields(Topcoat, "Water PU; hardener=10:1") == {
        "kind": "water polyurethane 1-part",
        "hardener_ratio": (10.0, 1.0),
    }


@pytest.mark.parametrize(
    ("code", "text"),
    [
        ("unknown-field", "oil; brand=Acme"),
        ("field-twice", "wipe=5; wipe=6"),
        ("no-equals", "oil; honey"),
        ("not-a-number", "wipe=soon"),
        ("unknown-unit", "wipe=10 mm"),
        ("bad-mix", "mix=honey"),
        ("bad-number", "can=three"),
        ("coats-out-of-range", "oil; coats=5"),
        ("no-such-step", "3: wipe=5"),
    ],
)
def test_a_step_that_cannot_be_read_is_refused(code: str, text: str) -> None:
    """A text that says nothing the record knows is refused with its own code."""
    with pytest.raises(UsageError) as refused:
        step_changes(Finish(steps=(ColourStep(kind="oil"),)), (text,))
    assert refused.value.code == code


def test_the_next_step_can_be_added_by_its_number() -> None:
    """The number after the last adds a step, and leaves those before it as they are."""
    one = Finish(steps=(ColourStep(kind="oil", wipe_min=10.0),))
    two = step_changes(one, ("2: gel; wipe=3",))
    assert two.steps == (*one.steps, ColourStep(kind="gel", wipe_min=3.0))


def test_steps_are_set_together_or_changed_one_by_one() -> None:
    """Texts are the new steps, in order; a number before one changes that step and an empty value takes a field out."""
    two = step_changes(Finish(), ("oil; colour=honey; wipe=10; coats=2",))
    assert [(s.colour, s.coat) for s in two.steps] == [("honey", 1), ("honey", 2)]
    changed = step_changes(two, ("2: wipe=; lot=8",))
    assert changed.steps[0] == two.steps[0]
    assert (changed.steps[1].wipe_min, changed.steps[1].lot) == (None, "8")
    assert [s.colour for s in step_changes(changed, ("gel; colour=walnut",)).steps] == ["walnut"]


words = st.text(string.ascii_letters + string.digits + " -", min_size=1, max_size=20).filter(lambda text: text.strip())


def value_of(each: FieldSpec) -> st.SearchStrategy[Any]:
    """Return values that a field may have."""
    row = each.limit
    low = 0.0 if row is None or row.low is None else row.low + (0.5 if row.above_low else 0.0)
    high = 1000.0 if row is None or row.high is None else row.high
    number = st.floats(low, high).map(lambda v: round(v, 3) + 0.0)
    # Typed without a unit, a side must be one that a board can have.
    side = st.floats(40.0, 120.0).map(lambda v: round(v, 3))
    forms: dict[str, st.SearchStrategy[Any]] = {
        "text": words,
        "choice": st.sampled_from(each.choices or ("oil",)),
        "number": number,
        "count": st.integers(int(low), int(high)),
        "can": st.integers(1, 999),
        "flag": st.booleans(),
        "grits": st.lists(st.integers(24, 400), unique=True, max_size=6).map(lambda grits: tuple(sorted(grits))),
        "size": st.tuples(side, side, side),
        "unit": st.none(),
        "ratio": st.tuples(number, number),
        "mix": st.lists(st.builds(MixPart, st.sampled_from(("honey", "dark walnut")), number), max_size=3).map(tuple),
    }
    return forms[each.form]


def sections() -> st.SearchStrategy[Section]:
    """Return any section with any of its fields written."""

    def built(kind: type[Section]) -> st.SearchStrategy[Section]:
        optional = {e.name: value_of(e) for e in specs(kind)}
        return st.fixed_dictionaries({}, optional=optional).map(lambda values: kind(**values))

    return st.sampled_from([part.section for part in FINISH_PARTS]).flatmap(built)


@given(sections())
def test_a_section_comes_back_from_its_text_and_its_json(part: Section) -> None:
    """What is written of a section reads back as the same section, typed and as JSON."""
    kind = type(part)
    known = {each: getattr(part, each.name) for each in specs(kind)}
    units = {each: each.unit if each.unit in {"mm", "m2/L"} else "" for each in known}
    told = (f"{e.key}={e.show(value)} {units[e]}" for e, value in known.items() if value not in {None, ()})
    said = parse_fields(kind, "; ".join(told))
    assert kind(**said | {"typed_in": part.typed_in} if hasattr(part, "typed_in") else said) == part
    assert kind.from_dict(part.as_dict()) == part
    for each in specs(kind):
        value = getattr(part, each.name)
        if value is not None and value != ():
            assert each.read(each.show(value)) == value


@given(sections())
def test_no_written_field_is_silent(part: Section) -> None:
    """What is written of a section stands in the rows people read, so that a new field cannot be forgotten there."""
    name = next(each.name for each in FINISH_PARTS if each.section is type(part))
    said: dict[str, Any] = {name: (part,) if name == "steps" else part}
    told = " ".join(words for _, words in finish_rows(Finish(**said)))
    for each, words, value in part.written():
        assert value == "other" or words in told or each.form == "flag", each.name
        assert each.form != "flag" or "grain" in told


def test_a_recipe_leaves_out_what_belongs_to_one_board() -> None:
    """Size, moisture, lot of the wood, tread and place are the board's; grits and the rest are the recipe's."""
    finish = Finish(
        Preparation(stock_lot="a", offcut_of="7", size_mm=(1.0, 2.0, 3.0), moisture_percent=8.0, grits=(80,)),
        looking=ViewingConditions(place="on a stair"),
    )
    recipe = finish.as_recipe()
    assert recipe == Finish(Preparation(grits=(80,)))
    assert recipe.with_wood_of(finish) == finish


# -- the short form


def test_the_short_form_says_what_the_long_one_says() -> None:
    """Two coats of one colour are one stain of two coats; the topcoat is its sheen and kind."""
    steps = step_changes(Finish(), ("oil; maker=Acme; colour=honey; coats=2",)).steps
    finish = Finish(steps=steps, topcoat=Topcoat(kind="hardwax oil", sheen="matte"))
    assert finish.in_short() == {"stain": "Acme honey", "coats": 2, "topcoat": "matte hardwax oil"}
    assert Finish().in_short() == {}


def test_a_short_record_has_a_long_form() -> None:
    """Of a board with the short text only, the long form says as much, and its recipe has a name."""
    record = BoardRecord("ash", stain="walnut", coats=2, topcoat="satin oil")
    long = record.whole_finish
    assert [(s.colour, s.coat) for s in long.steps] == [("walnut", 1), ("walnut", 2)]
    assert long.topcoat == Topcoat(product="satin oil")
    assert record.recipe_name == "walnut x 2, satin oil"
    assert (
        dataclasses.replace(record, finish=Finish(steps=(ColourStep(colour="honey"),))).whole_finish.steps[0].colour
        == "honey"
    )
