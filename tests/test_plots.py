"""The drawings: true in colour and scale, readable without colour, the same bytes for the same figures."""

from __future__ import annotations

import io
import itertools
import re
from dataclasses import replace
from typing import Any
from xml.etree import ElementTree as ET

import matplotlib as mpl
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from matplotlib.text import Text
from PIL import Image, ImageCms

from finishlab.colorimetry.difference import DeltaE
from finishlab.colorimetry.spaces import hex_colour, lab_to_srgb8
from finishlab.photos.profiles import matrix_profile
from finishlab.report.pictures import HOLDS, plane_plot
from finishlab.report.plots import (
    PlottedBoard,
    PlottedFloor,
    chroma_covariance,
    clipping,
    coats_plot,
    interval_plot,
    swatch_plot,
)
from finishlab.show.drawing import FONT_SIZE, SURROUND, WIDTH, Drawing

SPACE = "{http://www.w3.org/2000/svg}"
COVARIANCE = ((0.5, 0.1, 0.2), (0.1, 0.4, 0.1), (0.2, 0.1, 0.9))
SPREAD = ((1.4, 0.0, 0.3), (0.0, 0.5, 0.2), (0.3, 0.2, 1.1))
FLOOR = PlottedFloor((56.2, 9.1, 23.4), SPREAD, (("F1", (55.0, 9.0, 22.8)), ("F2", (57.1, 9.3, 23.9))))
BOARDS = (
    PlottedBoard("B4", (55.1, 9.0, 22.3), COVARIANCE, "leading", "dE00 1.2"),
    PlottedBoard("B6", (52.8, 12.9, 24.6), COVARIANCE, "candidate", "dE00 4.4"),
    PlottedBoard("B1", (73.4, 5.1, 21.9), COVARIANCE, "other", "dE00 14.6"),
)
BARS = (
    PlottedBoard("B4", FLOOR.lab, None, "leading", score=DeltaE(1.2, 0.4, 2.1), mark="a"),
    PlottedBoard("B6 <&>", (60.0, 9.0, 30.0), score=DeltaE(5.5, 4.0, 7.9), mark="ab"),
)
STEPS = (
    PlottedBoard("B1", (73.4, 5.1, 21.9), COVARIANCE, coats=0),
    PlottedBoard("B2", (57.6, 8.2, 23.9), COVARIANCE, coats=1),
    PlottedBoard("B4", (55.1, 9.0, 22.3), COVARIANCE, coats=2),
    PlottedBoard("B9", (53.1, 9.4, 22.0), None, coats=2),
)


def drawn(name: str) -> Drawing:
    """Make one of the drawings anew."""
    return {
        "swatches": lambda: swatch_plot(BOARDS, FLOOR),
        "ab": lambda: plane_plot(BOARDS, FLOOR, "a*b*"),
        "lc": lambda: plane_plot(BOARDS, FLOOR, "L*C*"),
        "intervals": lambda: interval_plot((replace(BARS[0], own=(0.9, 1.5)), *BARS[1:]), floor_spread=1.5),
        "coats": lambda: coats_plot("Peat brown", STEPS, FLOOR),
    }[name]()


NAMES = ("swatches", "ab", "lc", "intervals", "coats")


def laid_out(figure: Figure) -> None:
    """Lay a figure out as it will be drawn, a pixel a point."""
    canvas: Any = FigureCanvasAgg(figure)
    canvas.draw()


def axes_of(drawing: Drawing) -> list[Any]:
    """Return a drawing's axes; what they hold is Matplotlib's and typed by it in many ways."""
    return list(drawing.figure.axes)


def shown(figure: Figure, kind: type) -> list[Any]:
    return [each for each in figure.findobj(kind) if each.get_visible()]


@pytest.mark.parametrize("name", NAMES)
def test_the_same_figures_give_the_same_bytes(name: str) -> None:
    """Drawn twice, and with other rules of Matplotlib set meanwhile, SVG and PNG are the same; no rule is changed."""
    profile = matrix_profile("sRGB")
    first = drawn(name)
    svg, png = first.svg("x"), first.png(profile)
    assert (first.svg("x"), first.png(profile)) == (svg, png)
    with mpl.rc_context({"font.size": 20.0, "axes.facecolor": "red", "svg.fonttype": "path"}):
        again = drawn(name)
        assert (again.svg("x"), again.png(profile)) == (svg, png)
        assert mpl.rcParams["font.size"] == 20.0


@pytest.mark.parametrize("name", NAMES)
def test_png_is_srgb_and_says_so(name: str) -> None:
    """A PNG carries a profile whose name says sRGB, and nothing else that tells of the machine."""
    image = Image.open(io.BytesIO(drawn(name).png(matrix_profile("sRGB"))))
    assert image.info["icc_profile"] == matrix_profile("sRGB")
    assert "sRGB" in ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"])))
    assert image.info.get("Software") in (None, "finishlab")
    assert not {"Author", "exif"} & set(image.info)


@pytest.mark.parametrize("name", NAMES)
def test_svg_is_an_element_of_a_page(name: str) -> None:
    """The SVG is well-formed, has a title and words in its place, ids of its own, no style for the page, real text."""
    text = drawn(name).svg("one")
    root = ET.fromstring(text)
    assert root.tag == f"{SPACE}svg"
    assert root.attrib["role"] == "img"
    named = [root.find(f"{SPACE}{each}") for each in ("title", "desc")]
    assert all(each is not None and (each.text or "").strip() for each in named)
    assert root.attrib["aria-labelledby"].split() == [each.attrib["id"] for each in named if each is not None]
    idents = [each.attrib["id"] for each in root.iter() if "id" in each.attrib]
    assert len(idents) == len(set(idents))
    assert all(ident.startswith("one-") for ident in idents)
    for link in re.findall(r'url\(#([^)]+)\)|href="#([^"]+)"', text):
        assert "".join(link) in idents
    assert not list(root.iter(f"{SPACE}style"))
    assert "DejaVu" not in text
    assert len(list(root.iter(f"{SPACE}text"))) >= 5
    assert "http" not in text.replace("http://www.w3.org/", "")


@pytest.mark.parametrize("name", NAMES)
def test_words_can_be_read_on_a_phone(name: str) -> None:
    """At the drawing's own width no word is smaller than 10 px, and each stands out by 4.5:1 (WCAG 2, AA)."""
    figure = drawn(name).figure
    assert figure.get_size_inches()[0] * 72 == pytest.approx(WIDTH)
    behind = luminance(SURROUND if name == "swatches" else "white")
    for text in shown(figure, Text):
        if text.get_text().strip():
            assert text.get_fontsize() >= 10.0
            ink = luminance(text.get_color())
            assert (max(ink, behind) + 0.05) / (min(ink, behind) + 0.05) >= 4.5


def luminance(colour: Any) -> float:
    """Relative luminance (WCAG 2)."""
    codes = np.array(to_rgb(colour))
    linear = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    return float(linear @ np.array([0.2126, 0.7152, 0.0722]))


@pytest.mark.parametrize("name", NAMES)
def test_words_stay_inside(name: str) -> None:
    """No word is cut off at the drawing's edge, in the widest font a page is likely to use."""
    figure = drawn(name).figure
    laid_out(figure)
    width, height = figure.bbox.width, figure.bbox.height
    for text in shown(figure, Text):
        if text.get_text().strip():
            box = text.get_window_extent()
            assert box.x0 >= -1, text.get_text()
            assert box.x1 <= width + 1, text.get_text()
            assert box.y0 >= -1, text.get_text()
            assert box.y1 <= height + 1, text.get_text()


def test_swatches_are_the_colours_measured() -> None:
    """In the PNG each tile's middle is the board's colour and what is around it the floor's, without a seam between."""
    drawing = swatch_plot(BOARDS, FLOOR)
    pixels = np.asarray(Image.open(io.BytesIO(drawing.png(matrix_profile("sRGB"), dpi=144))).convert("RGB"))
    width, height = drawing.size
    patches = [p for p in shown(drawing.figure, Rectangle) if p.get_width() < width and p.get_width() > 1]
    outer, inner = patches[::2], patches[1::2]
    assert len(outer) == len(inner) == len(BOARDS)
    for board, around, within in zip(BOARDS, outer, inner, strict=True):
        row = int(2 * (within.get_y() + within.get_height() / 2))
        row = min(row, int(2 * height) - 1)
        across = pixels[row, int(2 * around.get_x()) + 2 : int(2 * (around.get_x() + around.get_width())) - 2]
        found = {tuple(int(v) for v in pixel) for pixel in across}
        wanted = {tuple(int(v) for v in lab_to_srgb8(lab)) for lab in (board.lab, FLOOR.lab)}
        assert found == wanted
    corner = tuple(int(v) for v in pixels[2, 2])
    assert corner == tuple(round(255 * v) for v in to_rgb(SURROUND))
    assert len(set(corner)) == 1


def test_a_swatch_that_cannot_be_seen_is_still_found() -> None:
    """A board of the floor's own colour is marked by ticks outside the swatch, so that its place is known."""
    same = PlottedBoard("B1", FLOOR.lab)
    drawing = swatch_plot([same], FLOOR)
    (_, inner) = [p for p in shown(drawing.figure, Rectangle) if 1 < p.get_width() < WIDTH]
    ticks = [line.get_xydata() for line in shown(drawing.figure, Line2D)]
    ends = {round(float(v), 3) for tick in ticks for v in np.asarray(tick).ravel()}
    for edge in (inner.get_x(), inner.get_x() + inner.get_width(), inner.get_y(), inner.get_y() + inner.get_height()):
        assert round(float(edge), 3) in ends


def test_colours_no_screen_shows_are_told() -> None:
    """A colour outside sRGB is marked in the drawing and in its words; one inside loses nothing."""
    vivid = PlottedBoard("B9", (60.0, 20.0, 95.0), note="dE00 30.0")
    assert clipping(vivid.lab) > 1.0
    assert clipping(BOARDS[0].lab) < 0.01
    drawing = swatch_plot([BOARDS[0], vivid], FLOOR)
    told = [t.get_text() for t in shown(drawing.figure, Text)]
    assert "dE00 30.0 *" in told
    assert "dE00 1.2" in told
    assert drawing.words.count("as near as a screen can") == 1


@pytest.mark.parametrize("plane", ["a*b*", "L*C*"])
def test_planes_do_not_rest_on_colour(plane: Any) -> None:
    """Each kind of board has its mark, every board its name and lightness, the floor's spread a hatch."""
    (axes,) = axes_of(plane_plot(BOARDS, FLOOR, plane))
    told = {t.get_text() for t in axes.texts}
    lifts = {b.name: f" {b.lab[0] - FLOOR.lab[0]:+.0f}" if plane == "a*b*" else "" for b in BOARDS}
    assert {f"{name}{lifts[name]}" for name in ("B4", "B6", "B1")} | {"floor"} <= told
    marks = [line.get_marker() for line in axes.lines if line.get_marker() in {"D", "o", "^", "s"}]
    assert sorted(marks) == ["D", "^", "o", "s"]
    hatched = [p for p in axes.patches if isinstance(p, Polygon) and p.get_hatch()]
    assert len(hatched) == 1
    legend = axes.get_legend()
    assert legend is not None
    assert {t.get_text() for t in legend.get_texts()} >= {"may be nearest", "board", "raw or clear only"}


def test_planes_are_to_one_scale_and_in_place() -> None:
    """A unit is as long along one axis as along the other, and each mark stands at its CIELAB values."""
    for plane in ("a*b*", "L*C*"):
        (axes,) = axes_of(plane_plot(BOARDS, FLOOR, plane))
        box = axes.get_position()
        wide, high = axes.figure.get_size_inches()
        x = np.ptp(axes.get_xlim()) / (box.width * wide)
        y = np.ptp(axes.get_ylim()) / (box.height * high)
        assert x == pytest.approx(y)
        points = [tuple(line.get_xydata()[0]) for line in axes.lines if line.get_marker() in {"D", "o", "^"}]
        lightness, a, b = np.array([b.lab for b in BOARDS]).T
        chroma = np.hypot(a, b)
        wanted = (
            [(b.lab[1], b.lab[2]) for b in BOARDS]
            if plane == "a*b*"
            else list(zip(chroma.tolist(), lightness.tolist(), strict=True))
        )
        np.testing.assert_allclose(points, wanted)


def test_the_ellipse_holds_what_it_says() -> None:
    """Of colours drawn from the floor's spread 95 % lie inside the drawn ellipse, by simulation to half a point."""
    (axes,) = axes_of(plane_plot(BOARDS, FLOOR, "a*b*"))
    (ellipse,) = [p for p in axes.patches if isinstance(p, Polygon) and p.get_hatch()]
    rng = np.random.default_rng(4)
    planks = rng.multivariate_normal(FLOOR.lab[1:], np.array(SPREAD)[1:, 1:], 20_000)
    inside = ellipse.get_path().contains_points(planks)
    assert inside.mean() == pytest.approx(0.95, abs=0.006)
    assert pytest.approx(2.4477, abs=1e-4) == HOLDS  # square root of chi squared 0.95 with 2 degrees, 5.9915


@given(
    st.tuples(st.floats(20, 80), st.floats(1, 30), st.floats(1, 40)),
    st.tuples(st.floats(-0.01, 0.01), st.floats(-0.01, 0.01), st.floats(-0.01, 0.01)),
)
@settings(max_examples=50)
def test_chroma_covariance_is_the_first_order_of_lch(lab: tuple[float, ...], step: tuple[float, ...]) -> None:
    """For a small step the covariance in (C*, L*) is the outer product of the steps CIELCH makes."""
    at, moved = np.array(lab), np.array(lab) + np.array(step)
    expected = np.array([np.hypot(*moved[1:]) - np.hypot(*at[1:]), moved[0] - at[0]])
    outer = tuple(tuple(float(a * b) for b in step) for a in step)
    found = chroma_covariance((lab[0], lab[1], lab[2]), outer)
    np.testing.assert_allclose(found, np.outer(expected, expected), atol=2e-6)


def test_names_of_many_boards_do_not_cover_each_other() -> None:
    """With 20 boards about the floor at most a twentieth of the names' area is covered by other names."""
    rng = np.random.default_rng(2)
    labs = np.array(FLOOR.lab) + rng.normal(0, (4, 2.5, 3.5), (20, 3))
    boards = [PlottedBoard(f"B{i}", (float(v[0]), float(v[1]), float(v[2])), COVARIANCE) for i, v in enumerate(labs)]
    for plane in ("a*b*", "L*C*"):
        figure = plane_plot(boards, FLOOR, plane).figure
        laid_out(figure)
        boxes = [t.get_window_extent() for t in figure.axes[0].texts]
        assert len(boxes) == 21
        area = sum(b.width * b.height for b in boxes)
        shared = 0.0
        for one, two in itertools.combinations(boxes, 2):
            wide = min(one.x1, two.x1) - max(one.x0, two.x0)
            high = min(one.y1, two.y1) - max(one.y0, two.y0)
            shared += wide * high if wide > 0 and high > 0 else 0.0
        assert shared <= 0.05 * area


def test_intervals_are_to_scale() -> None:
    """Ends, points and the floor's band stand at their figures; leaders have another mark and weight than others."""
    (axes,) = axes_of(interval_plot(BARS, floor_spread=1.5))
    assert axes.get_xlim()[0] == 0.0
    assert axes.get_xlim()[1] >= 7.9
    points = [line for line in axes.lines if line.get_marker() in {"D", "o"}]
    assert [float(np.asarray(p.get_xdata())[0]) for p in points] == [1.2, 5.5]
    assert [p.get_marker() for p in points] == ["D", "o"]
    spans = [s for bar in axes.collections for s in bar.get_segments()]
    assert sorted((round(float(s[0][0]), 6), round(float(s[1][0]), 6)) for s in spans) == [(0.4, 2.1), (4.0, 7.9)]
    (band,) = axes.patches
    assert band.get_hatch()
    assert band.get_extents().transformed(axes.transData.inverted()).x1 == pytest.approx(1.5)
    told = {t.get_text() for t in axes.texts}
    assert {"B4", "B6 <&>", "a", "ab"} <= told
    assert {t.get_text(): t.get_weight() for t in axes.texts}["B4"] == "bold"


def test_a_boards_own_part_is_drawn_thick() -> None:
    """What is a board's own stands thick within its line, to scale, and is told in words above the chart."""
    bars = (replace(BARS[0], own=(0.9, 1.5)), BARS[1])
    drawing = interval_plot(bars, floor_spread=1.5)
    (axes,) = drawing.figure.axes
    (thick,) = [line for line in axes.lines if line.get_linewidth() == 5.0]
    assert np.asarray(thick.get_xdata()).tolist() == [0.9, 1.5]
    assert "B4 1.2, interval 0.4 to 2.1, its own part 0.9 to 1.5" in drawing.words
    told = " ".join(t.get_text() for t in axes.texts)
    assert "own; thin: common to all" in told
    assert "own spread" in told
    assert "thin" not in " ".join(t.get_text() for t in interval_plot(BARS, floor_spread=1.5).figure.axes[0].texts)


def test_without_a_spread_there_is_no_band() -> None:
    """One spot cannot show the floor's spread: neither band nor ellipse is drawn, nor told."""
    bars = interval_plot(BARS, floor_spread=None)
    assert not bars.figure.axes[0].patches
    assert "own spread" not in bars.words
    alone = PlottedFloor(FLOOR.lab)
    axes = plane_plot(BOARDS, alone, "a*b*").figure.axes[0]
    assert not axes.patches
    assert not coats_plot("x", STEPS, alone).figure.axes[1].patches


def test_coats_stand_where_they_are() -> None:
    """Each panel shows L*, a* or b* of every board over its number of coats, and the floor's level across."""
    _, *panels = axes_of(coats_plot("Peat brown", STEPS, FLOOR))
    assert [p.get_ylabel() for p in panels] == ["L*", "a*", "b*"]
    for k, axes in enumerate(panels):
        points = {tuple(line.get_xydata()[0]) for line in axes.lines if line.get_marker() == "o"}
        assert {(x, y) for x, y in points if x in {0.0, 1.0}} == {(0.0, STEPS[0].lab[k]), (1.0, STEPS[1].lab[k])}
        assert any(np.all(np.asarray(line.get_ydata()) == FLOOR.lab[k]) for line in axes.lines)
        assert any(p.get_hatch() for p in axes.patches)
    assert [t.get_text() for t in panels[-1].get_xticklabels()] == ["clear only", "1 coat", "2 coats"]


def test_what_cannot_be_drawn_is_refused() -> None:
    """An interval the wrong way round and a drawing without words are refused."""
    with pytest.raises(ValueError, match="inside its interval"):
        PlottedBoard("B1", FLOOR.lab, score=DeltaE(1.0, 2.0, 1.0))
    with pytest.raises(ValueError, match="words"):
        Drawing(Figure(), "title", " ")


def test_names_of_users_are_never_formulas_or_markup() -> None:
    """A dollar sign is no formula, and angle brackets are text, in the drawing and in its words."""
    odd = "B$x_1$<b>"
    text = plane_plot([PlottedBoard(odd, BOARDS[0].lab)], FLOOR, "a*b*").svg("x")
    root = ET.fromstring(text)
    assert any((t.text or "").startswith(odd) for t in root.iter(f"{SPACE}text"))
    assert not list(root.iter(f"{SPACE}b"))


def test_font_size_is_set_once() -> None:
    """The page is told the drawing's font size, so that it can keep words readable."""
    assert f'font-size="{FONT_SIZE:g}"' in drawn("ab").svg("x")
    assert hex_colour(BOARDS[0].lab) in drawn("ab").svg("x")
