"""Lengths, volumes, areas and coverages as people write them, and back into words.

Inside, lengths are millimetres, areas square metres, volumes litres, coverages square metres a litre. The factors are
exact by definition: 1 in = 25.4 mm; 1 US gallon = 231 in3 (NIST Handbook 44, appendix C).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from fractions import Fraction
from typing import Final

from finishlab.errors import UsageError

__all__ = [
    "FT2_PER_GAL",
    "LENGTHS",
    "LITRES_PER_GAL",
    "LITRES_PER_QT",
    "M2_PER_FT2",
    "MM_PER_INCH",
    "VOLUMES",
    "area_text",
    "as_typed_text",
    "has_unit",
    "inches_text",
    "is_us",
    "left_text",
    "length_text",
    "limit_text",
    "parse_area",
    "parse_coverage",
    "parse_length",
    "parse_volume",
    "split_sizes",
    "volume_text",
]

MM_PER_INCH: Final = 25.4
M2_PER_FT2: Final = (12 * MM_PER_INCH / 1000) ** 2
LITRES_PER_GAL: Final = 231 * MM_PER_INCH**3 / 1e6
LITRES_PER_QT: Final = LITRES_PER_GAL / 4
FT2_PER_GAL: Final = M2_PER_FT2 / LITRES_PER_GAL
"""1 ft2/gal in m2/L: 0.02454."""

_NUMBER: Final = r"(?:\d+(?:\.\d+)?(?:[ -]\d+/\d+)?|\d+/\d+|\.\d+)"
LENGTHS: Final = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "ft": 12 * MM_PER_INCH,
    "foot": 12 * MM_PER_INCH,
    "feet": 12 * MM_PER_INCH,
    "'": 12 * MM_PER_INCH,
}
VOLUMES: Final = {
    "l": 1.0,
    "litre": 1.0,
    "litres": 1.0,
    "liter": 1.0,
    "liters": 1.0,
    "ml": 0.001,
    "cl": 0.01,
    "gal": LITRES_PER_GAL,
    "gallon": LITRES_PER_GAL,
    "gallons": LITRES_PER_GAL,
    "qt": LITRES_PER_QT,
    "quart": LITRES_PER_QT,
    "quarts": LITRES_PER_QT,
    "pt": LITRES_PER_QT / 2,
    "pint": LITRES_PER_QT / 2,
    "pints": LITRES_PER_QT / 2,
    "floz": LITRES_PER_QT / 32,
}
_AREAS: Final = {
    "m2": 1.0,
    "m²": 1.0,
    "sqm": 1.0,
    "ft2": M2_PER_FT2,
    "ft²": M2_PER_FT2,
    "sqft": M2_PER_FT2,
    "sqfeet": M2_PER_FT2,
}
_US: Final = re.compile(
    r"(?:\d|\b|\s)(?:in|inch|inches|ft|ft2|ft²|foot|feet|sqft|gal|gallons?|qt|quarts?|pt|floz)\b|[\"']"
)
_DECIMALS: Final = 6
"""What a length in mm is kept to, so that 3/4 in are 19.05 mm and not a little less."""
_LONGEST: Final = 100_000.0
"""Longest length that can be meant on a stair, mm."""


def parse_length(text: str, what: str = "length") -> float:
    """Return a length in millimetres: ``914``, ``914mm``, ``36in``, ``1 1/16 in``, ``2ft 6in``.

    Without a unit it is millimetres.

    Raises
    ------
    UsageError
        ``"bad-length"`` if it is none, is zero or negative, or is longer than 100 m.
    """
    mm = _amount(text, LENGTHS, 1.0)
    if mm is None or not 0 < mm <= _LONGEST:
        raise UsageError(
            "bad-length",
            f"“{text}” is not a {what}.",
            "Write a number above 0 and its unit, for example 914mm, 36in or “1 1/16in”.",
        )
    return round(mm, _DECIMALS)


def has_unit(text: str) -> bool:
    """Return whether a typed length names its unit."""
    return bool(re.search(r"[a-z\"']", text.lower()))


def split_sizes(text: str) -> list[str]:
    """Return the lengths of a size such as ``36x11.5x1 1/16in``; a unit at the end holds for all that name none."""
    pieces = [piece.strip() for piece in re.split(r"[x\N{MULTIPLICATION SIGN}]", text.lower())]
    unit = re.sub(r"^[\d./,\s-]*", "", pieces[-1])
    return [piece if not piece or has_unit(piece) else piece + unit for piece in pieces]


def parse_volume(text: str, what: str = "can size") -> float:
    """Return a volume in litres: ``1qt``, ``946ml``, ``2.5L``, ``1 gal``; a unit is needed.

    Raises
    ------
    UsageError
        ``"bad-volume"``.
    """
    litres = _amount(text, VOLUMES, None)
    if litres is None or not 0 < litres <= 1000:
        raise UsageError("bad-volume", f"“{text}” is not a {what}.", "Write for example 1qt, 1gal, 946ml or 2.5L.")
    return litres


def parse_area(text: str, what: str = "area") -> float:
    """Return an area in square metres: ``12m2``, ``130 ft2``; a unit is needed.

    Raises
    ------
    UsageError
        ``"bad-area"``.
    """
    area = _amount(text, _AREAS, None)
    if area is None or not 0 < area <= 100_000:
        raise UsageError("bad-area", f"“{text}” is not an {what}.", "Write for example 12m2 or 130ft2.")
    return area


def parse_coverage(text: str) -> tuple[float, float]:
    """Return what a label says one coat covers, m2/L, least and most: ``125 ft2/qt``, ``400-500 ft2/gal``.

    Raises
    ------
    UsageError
        ``"bad-coverage"``.
    """
    match = re.fullmatch(r"\s*([\d.]+)(?:\s*(?:-|to)\s*([\d.]+))?\s*([^\d\s/][^/]*?)\s*(?:/|per)\s*(\S+)\s*", text)
    if match:
        low, high, area, volume = match.groups()
        factors = _unit(area, _AREAS), _unit(volume, VOLUMES)
        if factors[0] and factors[1]:
            values = [_number(each) for each in (low, high or low)]
            if all(value is not None and 0 < value < 1e5 for value in values):
                found = sorted(value * factors[0] / factors[1] for value in values if value is not None)
                return found[0], found[1]
    raise UsageError(
        "bad-coverage",
        f"“{text}” is not a coverage.",
        "Copy it from the label, for example “125 ft2/qt”, “400-500 ft2/gal” or “12 m2/L”.",
    )


def is_us(text: str) -> bool:
    """Return whether a text names feet, inches, quarts or gallons, so that answers are given in them too."""
    return bool(_US.search(text.lower()))


def inches_text(mm: float, rounded: Callable[[float], int] = round) -> str:
    """Return a length in inches to the nearest 1/32, as a tape shows it: ``35 29/32 in``."""
    whole = rounded(abs(mm) / MM_PER_INCH * 32)
    inches, part = divmod(whole, 32)
    fraction = Fraction(part, 32)
    words = " ".join(str(each) for each in (inches, fraction) if each) or "0"
    return f"{'-' if mm < 0 and whole else ''}{words} in"


def as_typed_text(mm: float, *, inches: bool) -> str:
    """Return a length that was typed as it was: ``292 mm``; in `inches` a fraction or else decimals: ``11 1/2 in``."""
    if not inches:
        return f"{_short(mm, 1)} mm"
    value = mm / MM_PER_INCH
    whole, part = divmod(round(value * 64), 64)
    if abs(value * 64 - round(value * 64)) > 1e-3:
        return f"{_short(value, 3)} in"
    return f"{' '.join(str(each) for each in (whole, Fraction(part, 64)) if each) or '0'} in"


def length_text(mm: float, *, us: bool = False) -> str:
    """Return a length in words: ``914 mm``; with `us` the inches first: ``36 in (914 mm)``."""
    metric = f"{_short(mm, 1 if abs(mm) < 100 else 0)} mm"
    return f"{inches_text(mm)} ({metric})" if us else metric


def limit_text(mm: float, *, most: bool, us: bool = False) -> str:
    """Return a limit in words, rounded so that what is read holds: the `most` downwards, the least upwards.

    7 3/4 in are 196.85 mm, so at most ``196.8 mm``.
    """
    down = most == (mm >= 0)  # of what is below 0 the size grows where the value falls

    def rounded(value: float) -> int:
        return math.floor(value + 1e-6) if down else math.ceil(value - 1e-6)

    metric = f"{_short(math.copysign(rounded(abs(mm) * 10) / 10, mm) + 0.0, 1)} mm"
    return f"{inches_text(mm, rounded)} ({metric})" if us else metric


_US_VOLUMES: Final = (("gal", LITRES_PER_GAL), ("qt", LITRES_PER_QT))
"""Units of a can's size, the largest first."""


def area_text(m2: float, *, us: bool = False) -> str:
    """Return an area in words: ``4.32 m2``; with `us`: ``46.5 ft2 (4.32 m2)``."""
    return f"{m2 / M2_PER_FT2:.1f} ft2 ({m2:.2f} m2)" if us else f"{m2:.2f} m2"


def volume_text(litres: float, *, us: bool = False) -> str:
    """Return a volume in words: ``0.73 L``; with `us`: ``0.77 qt (0.73 L)``."""
    return f"{litres / LITRES_PER_QT:.2f} qt ({litres:.2f} L)" if us else f"{litres:.2f} L"


def left_text(left: float | None, size: float | None) -> str | None:
    """Return what is left of a can, in the unit its size was typed in: ``"0.5 of 1 qt"``; None where nothing is known.

    Nothing is kept of that unit, and nothing need be: a US measure is no whole number of millilitres.
    """
    whole = size if size is not None else left
    if whole is None:
        return None
    name, litres = next(((name, of) for name, of in _US_VOLUMES if _is_measured_in(of, whole)), ("L", 1.0))
    shown = [None if each is None else f"{round(each / litres, 2):g}" for each in (left, size)]
    if shown[1] is None:
        return f"{shown[0]} {name}"
    return f"of {shown[1]} {name}" if shown[0] is None else f"{shown[0]} of {shown[1]} {name}"


def _is_measured_in(unit: float, litres: float) -> bool:
    """Return whether a volume is so many quarters of a unit, and no whole number of millilitres."""
    quarters = 4.0 * litres / unit
    whole = abs(quarters - round(quarters)) < 1e-6 and (quarters >= 4.0 or unit == LITRES_PER_QT)
    return whole and abs(litres * 1000.0 - round(litres * 1000.0)) > 1e-4


def _short(value: float, places: int) -> str:
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _unit(text: str, units: dict[str, float]) -> float | None:
    return units.get(re.sub(r"[\s.]", "", text.lower()))


def _number(text: str) -> float | None:
    try:
        value = float(sum(Fraction(part) for part in re.split(r"[ -]", text.strip())))
    except (ValueError, ZeroDivisionError, OverflowError):
        return None
    return value if math.isfinite(value) else None


def _amount(text: str, units: dict[str, float], alone: float | None) -> float | None:
    """Return the sum of numbers with units, e.g. feet and inches; None if the text is anything else."""
    rest = text.strip().lower()
    if re.fullmatch(_NUMBER, rest):
        value = _number(rest)
        return None if value is None or alone is None else value * alone
    pieces = re.findall(rf"({_NUMBER})\s*([^\d\s/-]+(?:\s*oz|\s*ft|\s*m)?[2²]?)\s*", rest)
    if not pieces or len(pieces) > 2 or "".join(n + u for n, u in pieces).replace(" ", "") != rest.replace(" ", ""):
        return None
    found = [(_number(number), _unit(unit, units)) for number, unit in pieces]
    total = 0.0
    for number, factor in found:
        if number is None or factor is None:
            return None
        total += number * factor
    # Two pieces are feet and inches: the second is in the smaller unit.
    if len(found) == 2 and (found[0][1] or 0) <= (found[1][1] or 0):
        return None
    return total
