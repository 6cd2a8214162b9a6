"""Which font can print which letter: Helvetica first, then a TrueType font of this computer that is embedded.

Helvetica needs no embedding and has the letters of Western Europe (PDF's WinAnsiEncoding, ISO 32000-1, annex D). Other
letters are looked for in fonts that are usually there, in the DejaVu Sans that comes with Matplotlib (Greek, Cyrillic
and more) and at last in Bitstream Vera, which comes with reportlab. A letter no font has is set as ``?`` and is named
by `unprintable`, so that nobody finds empty boxes on a label.
"""

from __future__ import annotations

import sys
import unicodedata
from collections.abc import Container, Iterable, Iterator
from functools import cache
from itertools import groupby
from pathlib import Path
from typing import Final

__all__ = ["HELVETICA", "MISSING_NOTE", "beside", "font_runs", "unprintable"]

HELVETICA: Final = {False: "Helvetica", True: "Helvetica-Bold"}
"""Bold or not -> the font every PDF reader has."""

_CANDIDATES: Final = (
    ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf"),
    ("NotoSans-Regular.ttf", "NotoSans-Bold.ttf"),
    ("LiberationSans-Regular.ttf", "LiberationSans-Bold.ttf"),
    ("arial.ttf", "arialbd.ttf"),
    ("Arial.ttf", "Arial Bold.ttf"),
    ("NotoSansSC-Regular.ttf", "NotoSansSC-Bold.ttf"),
    ("NotoSansJP-Regular.ttf", "NotoSansJP-Bold.ttf"),
    ("NotoSansKR-Regular.ttf", "NotoSansKR-Bold.ttf"),
    ("wqy-microhei.ttc", ""),
    ("wqy-zenhei.ttc", ""),
    ("msyh.ttc", "msyhbd.ttc"),
    ("YuGothR.ttc", "YuGothB.ttc"),
    ("meiryo.ttc", "meiryob.ttc"),
    ("msgothic.ttc", ""),
    ("simsun.ttc", ""),
    ("malgun.ttf", "malgunbd.ttf"),
    ("NanumGothic.ttf", "NanumGothicBold.ttf"),
    ("AppleGothic.ttf", ""),
    ("ipag.ttf", ""),
    ("TakaoPGothic.ttf", ""),
    ("fonts-japanese-gothic.ttf", ""),
    ("uming.ttc", ""),
    ("Arial Unicode.ttf", ""),
    ("DroidSansFallbackFull.ttf", ""),
)
"""File names, regular and bold, in the order of trust; those that are not there are passed over."""
_VERA: Final = ("Vera.ttf", "VeraBd.ttf")

_SIMPLE: Final = (
    "LATIN", "GREEK", "CYRILLIC", "ARMENIAN", "GEORGIAN", "CJK", "HIRAGANA", "KATAKANA", "HANGUL", "BOPOMOFO",
    "IDEOGRAPHIC", "HALFWIDTH", "FULLWIDTH", "MODIFIER LETTER",
)  # fmt: skip
"""Scripts whose letters stand side by side. The others need joining or reordering, which is not done here."""
_MISSING: Final = "?"
MISSING_NOTE: Final = "Where a “?” stands in a name, no font of the computer had its letter; the logbook holds it."
"""For the foot of whatever was printed with `unprintable` letters."""


def font_runs(words: str, *, bold: bool = False) -> list[tuple[str, str]]:
    """Return a line of text in pieces of one font, as (font, piece); what cannot be printed is ``?``.

    A line is set in one font where one has all its letters: a name with a single strange letter looks whole.
    """
    text = "".join(char if _font_of(char, bold=bold) else _MISSING for char in _composed(words))
    others = {char for char in text if not _in_helvetica(char)}
    if not others:
        return [(HELVETICA[bold], text)] if text else []
    for name, letters in _other_fonts(bold=bold):
        if all(ord(char) in letters for char in text):
            return [(name, text)]
    pairs = ((_font_of(char, bold=bold) or HELVETICA[bold], char) for char in text)
    return [(font, "".join(char for _, char in run)) for font, run in groupby(pairs, key=lambda pair: pair[0])]


def beside(words: str, own: Container[int], *, bold: bool = False) -> list[tuple[str | None, str]]:
    """Return a line for text that has a font of its own: what that font's letters (`own`) print with None as its font.

    The rest is in pieces of other fonts; what cannot be printed is ``?``, in the font of its own.
    """
    found: list[tuple[str | None, str]] = []
    for char in unicodedata.normalize("NFC", words):
        mine = ord(char) in own and (_in_helvetica(char) or _is_simple(char) or unicodedata.category(char)[0] in "ZM")
        font = None if mine or char in "\n\t" else _font_of(char, bold=bold)
        found.append((font, char if mine or font is not None or char in "\n\t" else _MISSING))
    return [(font, "".join(char for _, char in run)) for font, run in groupby(found, key=lambda pair: pair[0])]


def unprintable(texts: Iterable[str | None]) -> str:
    """Return the letters that no font here can print, each once, in order."""
    letters = (char for text in texts for char in _composed(text or ""))
    return "".join(dict.fromkeys(char for char in letters if _font_of(char, bold=False) is None))


def _composed(words: str) -> str:
    return " ".join(unicodedata.normalize("NFC", words).split())


@cache
def _font_of(char: str, *, bold: bool) -> str | None:
    if _in_helvetica(char):
        return HELVETICA[bold]
    if not _is_simple(char):
        return None
    return next((name for name, letters in _other_fonts(bold=bold) if ord(char) in letters), None)


def _in_helvetica(char: str) -> bool:
    try:
        return char.encode("cp1252") >= b" " and char != "\x7f"
    except UnicodeEncodeError:
        return False


def _is_simple(char: str) -> bool:
    kind = unicodedata.category(char)[0]
    return kind in "NPS" or (kind == "L" and unicodedata.name(char, "").startswith(_SIMPLE))


@cache
def _other_fonts(*, bold: bool) -> tuple[tuple[str, frozenset[int]], ...]:
    """Return the fonts that are there and can be read, each with its letters; they are registered under their name."""
    return tuple(_read_fonts(bold=bold))


def _read_fonts(*, bold: bool) -> Iterator[tuple[str, frozenset[int]]]:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFError, TTFont

    for names in (*_CANDIDATES, _VERA):
        file_name = names[bold] or names[0]
        path = _files().get(file_name.casefold())
        if path is None:
            continue
        name = f"finishlab-{Path(file_name).stem.replace(' ', '')}"
        try:
            font = TTFont(name, str(path))
        except (TTFError, OSError):  # outlines reportlab cannot embed, or a damaged file: the next font may do
            continue
        pdfmetrics.registerFont(font)
        yield name, frozenset(font.face.charToGlyph)


@cache
def _files() -> dict[str, Path]:
    """Return the font files of this computer by their names in small letters, of one name the first found."""
    found: dict[str, Path] = {}
    for folder in _folders():
        for path in sorted(folder.rglob("*.tt[fc]")) if folder.is_dir() else ():
            found.setdefault(path.name.casefold(), path)
    return found


@cache
def _folders() -> tuple[Path, ...]:
    """Return where fonts usually are, and the folders of those that come with Matplotlib and reportlab."""
    import matplotlib as mpl
    import reportlab

    home = Path.home()
    usual = {
        "win32": (Path("C:/Windows/Fonts"), home / "AppData/Local/Microsoft/Windows/Fonts"),
        "darwin": (Path("/System/Library/Fonts"), Path("/Library/Fonts"), home / "Library/Fonts"),
    }.get(sys.platform, (Path("/usr/share/fonts"), Path("/usr/local/share/fonts"), home / ".local/share/fonts"))
    return (*usual, Path(mpl.get_data_path()) / "fonts" / "ttf", Path(reportlab.__file__).parent / "fonts")
