"""Which font can print which letter: Helvetica or DejaVu Sans first, then an embedded TrueType font of this computer.

Helvetica needs no embedding and has the letters of Western Europe (PDF's WinAnsiEncoding, ISO 32000-1, annex D). Other
letters are looked for in fonts that are usually there, in the DejaVu Sans that comes with Matplotlib (Greek, Cyrillic
and more) and at last in Bitstream Vera, which comes with reportlab. A letter no font has is set as ``?`` and is named
by `unprintable`, so that nobody finds empty boxes on a label.
"""

from __future__ import annotations

import re
import sys
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import fields, is_dataclass
from functools import cache
from itertools import groupby
from pathlib import Path
from typing import Final, Literal

__all__ = ["DEJAVU", "HELVETICA", "MISSING_NOTE", "Face", "font_runs", "letters_missing", "unprintable"]

Face = Literal["Helvetica", "DejaVu"]
HELVETICA: Final[Face] = "Helvetica"
DEJAVU: Final[Face] = "DejaVu"
"""The font text is set in as far as it has the letters; DejaVu Sans is embedded, and is that of the drawings."""
_HELVETICA: Final = {False: "Helvetica", True: "Helvetica-Bold"}
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
    "IDEOGRAPHIC", "COMBINING", "HALFWIDTH", "FULLWIDTH", "MODIFIER LETTER",
)  # fmt: skip
"""Scripts whose letters stand side by side. The others need joining or reordering, which is not done here."""
_MISSING: Final = "?"
MISSING_NOTE: Final = "Where a “?” stands in a name, no font of the computer had its letter; the logbook holds it."
"""For the foot of whatever was printed with `unprintable` letters."""


def font_runs(words: str, *, bold: bool = False, face: Face = HELVETICA) -> list[tuple[str, str]]:
    """Return a line of text in pieces of one font, as (font, piece); what cannot be printed is ``?``.

    A line is set in one font where one has all its letters: a name with a single strange letter looks whole.
    """
    text = "".join(char if _font_of(char, bold=bold) else _MISSING for char in _composed(words))
    plain = face == HELVETICA
    if plain and all(map(_in_helvetica, text)):
        return [(_HELVETICA[bold], text)] if text else []
    for name, letters in _other_fonts(bold=bold):
        if all(ord(char) in letters for char in text):
            return [(name, text)] if text else []
    pairs = ((_font_of(char, bold=bold, plain=plain) or _HELVETICA[bold], char) for char in text)
    return [(font, "".join(char for _, char in run)) for font, run in groupby(pairs, key=lambda pair: pair[0])]


def letters_missing(said: object) -> str:
    """Return the letters of all texts in a value of data classes and sequences that no font here can print."""
    return unprintable(_texts_of(said))


def _texts_of(value: object) -> Iterator[str]:
    """Return every text in a value of data classes and sequences."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple | list):
        for each in value:
            yield from _texts_of(each)
    elif is_dataclass(value):
        for each in fields(value):
            yield from _texts_of(getattr(value, each.name))


def unprintable(texts: Iterable[str | None]) -> str:
    """Return the letters that no font here can print, each once, in order."""
    letters = (char for text in texts for char in _composed(text or ""))
    return "".join(dict.fromkeys(char for char in letters if _font_of(char, bold=False) is None))


def _composed(words: str) -> str:
    return re.sub(r"\s", " ", unicodedata.normalize("NFC", words))


@cache
def _font_of(char: str, *, bold: bool, plain: bool = True) -> str | None:
    if plain and _in_helvetica(char):
        return _HELVETICA[bold]
    if not _in_helvetica(char) and not _is_simple(char):
        return None
    return next((name for name, letters in _other_fonts(bold=bold) if ord(char) in letters), None)


def _in_helvetica(char: str) -> bool:
    try:
        return char.encode("cp1252") >= b" " and char != "\x7f"
    except UnicodeEncodeError:
        return False


def _is_simple(char: str) -> bool:
    kind = unicodedata.category(char)[0]
    return kind in "NPS" or (kind in "LM" and unicodedata.name(char, "").startswith(_SIMPLE))


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
