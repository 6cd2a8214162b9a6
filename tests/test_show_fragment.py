"""A document's blocks as an HTML fragment: whatever users wrote is text, and every kind of cell is shown."""

from __future__ import annotations

import datetime as dt
from html.parser import HTMLParser

import hypothesis.strategies as st
from hypothesis import given
from markupsafe import Markup, escape

from finishlab.colorimetry.spaces import hex_colour
from finishlab.show.document import (
    Bar,
    Block,
    Cell,
    Colour,
    Column,
    Facts,
    Interval,
    Line,
    Listing,
    Paragraph,
    Share,
    Table,
)
from finishlab.show.html import Reader, blocks_html

_CHERRY = (48.0, 18.0, 27.0)
_LARCH = (52.0, 6.0, 18.0)
_KNOWN = {
    *("p", "figure", "figcaption", "svg", "rect", "h2", "dl", "div", "dt", "dd", "span", "b", "br", "a", "time"),
    *("ol", "ul", "li", "table", "thead", "tbody", "tr", "th", "td"),
}


class _Seen(HTMLParser):
    """What a browser would make of a fragment: its elements, their attributes and the text between them."""

    def __init__(self, fragment: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.feed(fragment)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text.append(data)

    @property
    def words(self) -> str:
        return "".join(self.text)

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.elements if name == tag]


def _everywhere(text: str) -> list[Block]:
    """Return every kind of block with a text wherever one can stand."""
    columns = [Column(text), Column("b"), Column("c"), Column("d")]
    return [
        Line(text),
        Line(text, whole=True),
        Paragraph(text, 2),
        Bar((_CHERRY, _LARCH), text),
        Bar((), text),
        Facts(text, [(text, text), ("colour", Colour(_CHERRY))]),
        Table(columns, [(text, text, Bar((_CHERRY,), text), None)], title=text, note=text),
        Table([Column(text)], [(text,)], ruled=False),
        Listing(text, [text]),
    ]


_HOSTILE = st.one_of(
    st.text(max_size=30),
    st.sampled_from(
        [
            "<script>alert(1)</script>",
            '"><img src=x onerror=alert(1)>',
            "' onmouseover='x",
            "</table><h1>",
            "{{ 7 * 7 }}{% include 'page.html.j2' %}",
            "<!-- ",
            "&lt;b&gt; &amp;",
            "]]><svg onload=x>",
        ]
    ),
)


@given(_HOSTILE)
def test_what_users_wrote_stays_text(text: str) -> None:
    """No text of a document makes an element, an attribute, a style or a script, wherever it stands."""
    seen = _Seen(blocks_html(_everywhere(text)))
    plain = _Seen(blocks_html(_everywhere("x" if text.strip() else text)))
    assert {tag for tag, _ in seen.elements} <= _KNOWN
    lines = {"br"}  # a text of two lines is shown as two
    assert [tag for tag, _ in seen.elements if tag not in lines] == [t for t, _ in plain.elements if t not in lines]
    for _, attributes in seen.elements:
        assert not [name for name in attributes if name.startswith("on") or name in {"style", "src"}]


@given(
    st.text(
        st.characters(codec="utf-8", exclude_categories=["Cc", "Cf", "Cs", "Co", "Cn"]), min_size=1, max_size=30
    ).map(str.strip)
)
def test_no_text_is_lost(text: str) -> None:
    """What a line says is read back letter by letter."""
    assert text in _Seen(blocks_html([Line(text)])).words


def test_colours_are_shown_as_measured_with_their_figures() -> None:
    """A colour is a rectangle of its sRGB value beside its figures; one that is not measured is a dash."""
    seen = _Seen(blocks_html([Facts("", [("a", Colour(_CHERRY, 1)), ("b", Colour(None))])]))
    assert [rect["fill"] for rect in seen.all("rect")] == [hex_colour(_CHERRY)]
    assert "48.0 18.0 27.0" in seen.words
    assert seen.words.split()[-1].removeprefix("b") == "-"


def test_a_bar_lies_edge_to_edge_and_says_what_it_is() -> None:
    """Colours of a bar touch, in order, and its words are its name for those who cannot see it."""
    seen = _Seen(blocks_html([Bar((_CHERRY, _LARCH), "B1 beside the floor")]))
    assert [(rect["x"], rect["width"]) for rect in seen.all("rect")] == [("0", "1"), ("1", "1")]
    assert [rect["fill"] for rect in seen.all("rect")] == [hex_colour(_CHERRY), hex_colour(_LARCH)]
    assert seen.all("svg")[0]["aria-label"] == "B1 beside the floor"


def test_figures_are_read_with_their_doubt() -> None:
    """An interval, a share and a day are shown as on a terminal, a day for programs too."""
    cells: list[Cell] = [Interval(1.24, 0.6, 2.04), Share(0.618), dt.date(2026, 11, 29), 7]
    seen = _Seen(blocks_html([Table([Column(n) for n in "abcd"], [cells])]))
    assert [each for each in ("1.2 (0.6 to 2.0)", "62\u00a0%", "2026-11-29", "7") if each not in seen.words] == []
    assert seen.all("time") == [{"datetime": "2026-11-29"}]


def test_every_cell_of_a_table_carries_its_head() -> None:
    """A row that is shown as a card on a narrow screen says of each cell which column it is of."""
    seen = _Seen(
        blocks_html([Table([Column(n) for n in ("board", "wood", "stain", "light")], [("B1", "oak", "x", None)])])
    )
    cells = [*seen.all("th")[4:], *seen.all("td")]
    assert [cell["data-label"] for cell in cells] == ["board", "wood", "stain", "light"]
    assert [cell["role"] for cell in cells] == ["rowheader", "cell", "cell", "cell"]
    assert seen.all("table")[0]["class"] == "cards"


def test_what_is_not_known_takes_no_room() -> None:
    """Facts without a value have no line; lists and tables without rows, and blank lines, leave nothing."""
    empty: list[Block] = [
        Facts("T", [("a", None)]),
        Table([Column("a")], [], title="T"),
        Listing("T", []),
        Line(),
        Bar(()),
    ]
    assert _Seen(blocks_html(empty)).words.strip() == ""
    assert "a" not in _Seen(blocks_html([Facts("", [("a", None), ("b", 1)])])).words.split()


def test_a_reader_has_words_links_and_another_language() -> None:
    """Words go through the reader: names of columns too, markup only where the reader made it, links for numbers."""
    german = {"board": "Brett", "B1": "B1"}

    def prose(text: str) -> str:
        return german.get(text, text) if "<" not in text else Markup("<b>{}</b>").format(escape(text))

    reader = Reader(
        prose, prose, lambda text: german.get(text, text), lambda text: f"/boards/{text}" if text == "B1" else None
    )
    seen = _Seen(blocks_html([Table([Column("board"), Column("note")], [("B1", "<i>")])], reader))
    assert seen.all("a") == [{"href": "/boards/B1"}]
    assert seen.all("th")[-1]["data-label"] == "Brett"
    assert seen.all("b")
    assert not seen.all("i")
