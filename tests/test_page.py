"""The page of a logbook: one file, whole in itself, readable by everyone, also in a real browser."""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import report_samples as samples
from PIL import Image

from finishlab.colorimetry.spaces import hex_colour
from finishlab.errors import OutputError
from finishlab.report.story import report_html, write_report
from finishlab.show.pages import Picture

_BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
needs_browser = pytest.mark.skipif(_BROWSER is None, reason="Chromium is not installed (apt-get install -y chromium)")

_PROBE = """
<script>
function luminance(rgb) {
  const c = rgb.map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  return 0.2126 * c[0] + 0.7152 * c[1] + 0.0722 * c[2];
}
function parts(text) { return text.match(/[0-9.]+/g).map(Number); }
function behind(element) {
  for (let e = element; e; e = e.parentElement) {
    const c = parts(getComputedStyle(e).backgroundColor);
    if (c.length === 3 || c[3] === 1) return c.slice(0, 3);
  }
  return [255, 255, 255];
}
let worst = 99, where = '';
for (const e of document.body.querySelectorAll('*')) {
  const own = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
  if (!own || e.closest('svg, script')) continue;
  const a = luminance(parts(getComputedStyle(e).color)), b = luminance(behind(e));
  const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
  if (ratio < worst) { worst = ratio; where = e.textContent.slice(0, 40); }
}
const below = element => element.getBoundingClientRect().bottom;
const found = {
  swatch: below(document.querySelector('.spots.large')),
  next: below(document.getElementById('next').parentElement),
  inner: window.innerWidth, client: document.documentElement.clientWidth,
  scroll: document.documentElement.scrollWidth, contrast: worst, where: where,
  pictures: [...document.images].map(i => i.complete && i.naturalWidth > 0),
  requests: performance.getEntriesByType('resource').map(r => r.name).filter(n => !n.startsWith('data:')),
  charts: [...document.querySelectorAll('svg.chart')].map(c => c.getBoundingClientRect().width),
  smallest: Math.min(...[...document.querySelectorAll('svg.chart text')].map(t => {
    const chart = t.ownerSVGElement;
    const scale = chart.getBoundingClientRect().width / chart.viewBox.baseVal.width;
    return scale * parseFloat(getComputedStyle(t).fontSize);
  })),
  outside: [...document.querySelectorAll('svg.chart text')].filter(t => {
    const a = t.getBoundingClientRect(), b = t.ownerSVGElement.getBoundingClientRect();
    return a.left < b.left - 1 || a.right > b.right + 1 || a.top < b.top - 1 || a.bottom > b.bottom + 1;
  }).map(t => t.textContent),
};
parent.postMessage(JSON.stringify(found), '*');
</script>
"""
# A frame gives the exact width, below the least one of a browser's window.
_FRAME = """
<body style="margin:0"><iframe src="page.html" style="border:0;width:{width}px;height:900px"></iframe>
<textarea id="probe"></textarea>
<script>addEventListener("message", e => {{ document.getElementById("probe").textContent = e.data; }})</script>
"""


class _Outline(HTMLParser):
    """What a page is made of: its tags with their attributes, and its text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words += data

    def all(self, name: str) -> list[dict[str, str | None]]:
        return [attributes for tag, attributes in self.tags if tag == name]


def test_the_answer_comes_first() -> None:
    """The page's one main heading is the answer; what to do next, then evidence folded away, then cautions follow."""
    text = report_html(samples.content())
    main = re.findall(r"<h1>(.*?)</h1>", text)
    assert main == ["Closest to the floor: Peat brown, 2 coats, under water-based matte, on ash (B4)."]
    board, floor = hex_colour(samples.ranking().boards[0].lab), hex_colour(samples.FLOOR)
    colours = "".join(f'<span style="background:{each}"></span>' for each in (floor, board, floor))
    assert colours in text, "the board lies between the floor, edge to edge"
    assert text.index(colours) < text.index("How sure:") < text.index('id="next"') < text.index("<details")
    headings = re.findall(r'<h2 id="(\w+)">', text)
    assert headings == ["next", "pictures", "ranking", "floor", "doubts", "method", "cautions"]
    levels = [int(tag[1]) for tag, _ in _Outline(text).tags if re.fullmatch(r"h[1-6]", tag)]
    assert all(b - a <= 1 for a, b in pairwise(levels))


def test_every_board_stands_with_its_figures_and_swatches() -> None:
    """Each board shows place, recipe, difference, interval and chance, and its swatch touching the floor's."""
    text = report_html(samples.content())
    floor = hex_colour(samples.FLOOR)
    for board in samples.ranking().boards:
        assert (
            f'<span style="background:{hex_colour(board.lab)}"></span><span style="background:{floor}"></span>' in text
        )
        assert f"{board.delta_e00.low:.1f} to {board.delta_e00.high:.1f}" in text
    outline = _Outline(text)
    assert "2 ab" in outline.words
    assert "Old copper, thinned one to one with clear, 1 coat" in outline.words


def test_nothing_is_asked_from_outside() -> None:
    """The page has no script and no address; pictures are inside it, and its own policy forbids anything else."""
    outline = _Outline(report_html(samples.content()))
    assert not outline.all("script")
    assert not outline.all("link")
    for tag, attributes in outline.tags:
        for name in ("src", "href", "srcset", "action"):
            value = attributes.get(name)
            assert value is None or value.startswith(("data:image/jpeg;base64,", "#")), (tag, value)
    assert not re.search(r"url\((?!#)", report_html(samples.content()))
    assert "@import" not in report_html(samples.content())
    (policy,) = [m["content"] for m in outline.all("meta") if m.get("http-equiv") == "Content-Security-Policy"]
    assert policy is not None
    assert policy.startswith("default-src 'none'")


def test_page_can_be_heard_as_well_as_seen() -> None:
    """Language, title, a text for each picture and each drawing, and column heads are there."""
    text = report_html(samples.content())
    outline = _Outline(text)
    assert outline.all("html")[0]["lang"] == "en"
    assert outline.all("img")
    assert all(image["alt"] for image in outline.all("img"))
    drawn = [a for _, a in outline.tags if a.get("role") == "img"]
    assert len(drawn) >= 7
    assert all(a.get("aria-label") or a.get("aria-labelledby") for a in drawn)
    idents = [a["id"] for _, a in outline.tags if a.get("id")]
    assert len(idents) == len(set(idents))
    for _, attributes in outline.tags:
        for ident in (attributes.get("aria-labelledby") or "").split():
            assert ident in idents
    assert all(head.get("scope") for head in outline.all("th"))


@pytest.mark.parametrize("rendered", [True, False])
def test_rendered_photos_are_called_rendered(rendered: bool) -> None:
    """The notice stands near the top when the photos are rendered, and not otherwise."""
    text = report_html(samples.content(rendered=rendered))
    assert ("The photos behind this report are rendered" in text) is rendered
    if rendered:
        assert text.index("are rendered") < text.index('id="pictures"')


def test_cautions_defer_to_label_and_code() -> None:
    """Rags, vapour, dust and treads are named, and label, safety data sheet and local code win."""
    words = " ".join(_Outline(report_html(samples.content())).words.split())
    for expected in (
        "catch fire by themselves",
        "Solvent vapour",
        "IARC group 1",
        "slippery",
        "safety data sheet",
        "local code",
    ):
        assert expected in words


def test_words_of_users_are_never_markup() -> None:
    """What a user wrote is shown as it is and cannot become a tag or leave an attribute."""
    nasty = '"><script>alert(1)</script><b onclick=x>'
    spot = samples.spot(nasty, samples.FLOOR)
    crop = Picture(samples.jpeg(), nasty, nasty, 120.0)
    text = report_html(samples.content(title=nasty, spots=(spot,), crops={"B4": crop}, extra={nasty: nasty}))
    outline = _Outline(text)
    assert not outline.all("script")
    assert not outline.all("b")
    assert outline.all("img")[0]["alt"] == nasty
    assert outline.words.count(nasty) >= 4


def test_picture_with_camera_data_is_refused() -> None:
    """A picture that still carries Exif, where a place may be, is no JPEG, has no text or no scale is refused."""
    exif = Image.Exif()
    exif[0x010F] = "Some maker"
    with pytest.raises(ValueError, match="location"):
        Picture(samples.jpeg(exif=exif), "", "a board", 120.0)
    with pytest.raises(ValueError, match="JPEG"):
        Picture(b"\x89PNG", "", "a board", 120.0)
    with pytest.raises(ValueError, match="text in its place"):
        Picture(samples.jpeg(), "", " ", 120.0)
    with pytest.raises(ValueError, match="scale"):
        Picture(samples.jpeg(), "", "a board", 0.0)


def test_page_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    """The same content gives the same file; a folder that is not there is an OutputError."""
    write_report(samples.content(), page=tmp_path / "page.html")
    assert (tmp_path / "page.html").read_text(encoding="utf-8") == report_html(samples.content())
    with pytest.raises(OutputError):
        write_report(samples.content(), page=tmp_path / "missing" / "page.html")


def _in_browser(tmp_path: Path, *arguments: str) -> str:
    assert _BROWSER is not None
    done = subprocess.run(
        [
            _BROWSER,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            f"--user-data-dir={tmp_path / 'browser'}",
            *arguments,
        ],
        capture_output=True,
        timeout=120,
        check=True,
    )
    return done.stdout.decode()


def _probed(page: str, width: int, tmp_path: Path, *, unfolded: bool = True) -> dict[str, Any]:
    """Open a page at a width in a real browser and return what the probe found."""
    # The page's own policy forbids scripts, the probe's too; it is taken out of this copy alone.
    page = re.sub(r'<meta http-equiv="Content-Security-Policy".*?>', "", page).replace("</body>", f"{_PROBE}</body>")
    if unfolded:
        page = page.replace('<details class="section">', '<details class="section" open>')
    (tmp_path / "page.html").write_text(page, encoding="utf-8")
    (tmp_path / "frame.html").write_text(_FRAME.format(width=width), encoding="utf-8")
    dom = _in_browser(
        tmp_path,
        f"--window-size={width + 100},1000",
        "--virtual-time-budget=6000",
        "--dump-dom",
        (tmp_path / "frame.html").as_uri(),
    )
    probe = re.search(r'<textarea id="probe">(.+?)</textarea>', dom, flags=re.DOTALL)
    assert probe is not None, dom[-400:]
    found: dict[str, Any] = json.loads(html.unescape(probe.group(1)))
    return found


@needs_browser
@pytest.mark.parametrize("count", [0, 20])
@pytest.mark.parametrize("width", [390, 1280])
def test_page_fits_phone_and_desk(width: int, count: int, tmp_path: Path) -> None:
    """In a real browser nothing scrolls sideways, pictures load, nothing is fetched and words can be read.

    Words stand out by 4.5:1 or more (WCAG 2, AA); those of the drawings are no smaller than 10 px, and none is cut off.
    With the five boards of the sample, and with twenty.
    """
    content = samples.many(count) if count else samples.content()
    found = _probed(report_html(content), width, tmp_path)
    assert found["inner"] == width
    assert found["scroll"] <= found["client"] <= width
    assert found["pictures"] == [True] * len(content.crops)
    assert found["requests"] == []
    assert found["contrast"] >= 4.5, found["where"]
    assert len(found["charts"]) >= 4
    assert all(250 < wide <= width for wide in found["charts"])
    assert found["smallest"] >= 10
    assert found["outside"] == []


@needs_browser
def test_the_answer_and_what_to_do_next_lie_within_two_phone_screens(tmp_path: Path) -> None:
    """On a phone of 390 x 844 px the swatch is on the first screen, what to do next ends on the second, unfolded."""
    found = _probed(report_html(samples.content()), 390, tmp_path, unfolded=False)
    assert found["swatch"] <= 844
    assert found["next"] <= 2 * 844
    assert found["scroll"] <= 390


def test_page_is_light() -> None:
    """With twenty boards, each drawn and cut out, the page stays below 3 MB."""
    assert len(report_html(samples.many(20)).encode()) < 3_000_000


@needs_browser
@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("letter", (612, 792))])
def test_page_prints(paper: str, size: tuple[int, int], tmp_path: Path) -> None:
    """Printed by a browser on A4 and Letter, the answer is on the first sheet and nothing stays folded away."""
    import pypdfium2

    content = samples.content()
    page = report_html(content).replace("@page { margin: 14mm; }", f"@page {{ margin: 14mm; size: {paper}; }}")
    (tmp_path / "page.html").write_text(page, encoding="utf-8")
    out = tmp_path / "page.pdf"
    _in_browser(tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={out}", (tmp_path / "page.html").as_uri())
    document = pypdfium2.PdfDocument(out)
    assert 1 <= len(document) <= 9
    assert [round(side) for side in document[0].get_size()] == pytest.approx(size, abs=1)
    words = [" ".join(sheet.get_textpage().get_text_range().split()) for sheet in document]
    document.close()
    assert "Closest to the floor: Peat brown, 2 coats" in words[0]
    whole = " ".join(words)
    for expected in ("Coat by coat", "How far from the floor", "Before you open a can", "Strip: 0412"):
        assert expected in whole
    assert min(len(sheet) for sheet in words) > 0
