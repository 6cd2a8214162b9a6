"""Figures with units as people type them, back into words, and what a length can be.

Inside, lengths are millimetres, areas square metres, volumes litres, coverages square metres a litre. The factors are
exact by definition: 1 in = 25.4 mm; 1 US gallon = 231 in3 (NIST Handbook 44, appendix C). A length without a unit is in
millimetres, and what makes no sense as such is refused.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Final

from finishlab.errors import UsageError

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


COMMON_PRACTICE: Final = "common practice, no source"

UNITS: Final[Mapping[str, Mapping[str, float]]] = {
    "mm": LENGTHS,
    "h": {"h": 1.0, "hours": 1.0, "hour": 1.0, "min": 1 / 60, "d": 24.0, "days": 24.0, "day": 24.0},
    "min": {"min": 1.0, "minutes": 1.0, "minute": 1.0, "h": 60.0, "s": 1 / 60},
    "days": {"d": 1.0, "days": 1.0, "day": 1.0, "h": 1 / 24, "weeks": 7.0, "week": 7.0},
    "L": VOLUMES,
    "m2/L": {"m2/l": 1.0, "ft2/gal": FT2_PER_GAL, "ft2/qt": 4 * FT2_PER_GAL},
    "%": {"%": 1.0},
    "C": {"c": 1.0, "f": 1.0},
    "GU": {"gu": 1.0},
    "": {},
}
"""A field's unit -> units that may be typed -> how many of the field's one of them is."""

_FIGURE: Final = re.compile(
    r"(?:(?P<whole>[+-]?[0-9]*[.,]?[0-9]+)(?:\s+(?P<over>[0-9]+)/(?P<under>[0-9]+))?|(?P<o>[0-9]+)/(?P<u>[0-9]+))"
    r"\s*(?P<unit>[^0-9\s/.,].*)?"
)


def read_figure(text: str, unit: str, what: str) -> float:
    """Return a typed figure in a field's unit; without a unit it is taken to be in that one.

    Parameters
    ----------
    text
        What was typed; a whole number may be followed by a fraction.
    unit
        The field's unit, a key of `UNITS`.
    what
        Name of the field, for the sentence.

    Raises
    ------
    UsageError
        ``"not-a-number"`` or ``"unknown-unit"``.
    """
    found = _FIGURE.fullmatch(text.strip())
    if found is None:
        raise UsageError("not-a-number", f"“{text.strip()}” is not a number ({what}).", "Give a number.")
    value = _value(found, text, what)
    named = (found["unit"] or "").strip().lower().replace("²", "2")
    known = UNITS[unit]
    if named and named not in known:
        hint = f"Use one of: {', '.join(known)}." if known else "Give a plain number."
        raise UsageError("unknown-unit", f"“{named}” is not a unit for this ({what}).", hint)
    if unit == "C" and named == "f":
        return round((value - 32) / 1.8, _DECIMALS)
    return round(value * known.get(named, 1.0), _DECIMALS)


def _value(found: re.Match[str], text: str, what: str) -> float:
    whole = float((found["whole"] or "0").replace(",", "."))
    over, under = int(found["over"] or found["o"] or 0), int(found["under"] or found["u"] or 1)
    if under == 0 or (over and whole % 1):
        raise UsageError("not-a-number", f"“{text.strip()}” is not a number ({what}).", "Give a number.")
    return whole + math.copysign(over / under, whole)


LIKELY: Final[Mapping[tuple[str, str], tuple[float, float]]] = {
    ("board", "length"): (40, 3000),
    ("board", "width"): (40, 3000),
    ("board", "thickness"): (2.5, 120),
    ("tread", "front"): (300, 3000),
    ("tread", "back"): (60, 3000),
    ("tread", "depth"): (120, 1500),
    ("tread", "thickness"): (10, 100),
    ("tread", "nosing"): (5, 80),
    ("riser", "front"): (300, 3000),
    ("riser", "depth"): (80, 300),
    ("riser", "height"): (80, 300),
    ("riser", "thickness"): (3, 60),
    ("part", "front"): (50, 12000),
    ("part", "back"): (50, 12000),
    ("part", "depth"): (14, 3000),
    ("part", "height"): (14, 3000),
    ("part", "thickness"): (3, 150),
    ("part", "nosing"): (5, 80),
    ("added", "thickness"): (1.5, 200),
    ("saw cut", "width"): (0.5, 10),
    ("cutting", "allowance"): (2, 300),
    ("stock", "length"): (300, 12000),
    ("stock", "width"): (40, 2000),
    ("room", "side"): (500, 60000),
    ("room", "other side"): (500, 60000),
}
"""What has a length, and which -> what that can be in a house, widely, least and most in mm (common practice, no
source): one typed without its unit must lie within. “part” is any part of the stair that has no row of its own."""


def likely_length(kind: str, field: str) -> tuple[float, float] | None:
    """Return what a length can be, least and most in mm; None where nothing is known of it."""
    return LIKELY.get((kind, field)) or LIKELY.get(("part", field))


_MEANT: Final = {"in": "inches", "cm": "centimetres", "ft": "feet", "m": "metres"}
"""What may have been meant, the likeliest first."""


def read_length(text: str, kind: str, field: str) -> float:
    """Return one typed length in mm; see `read_lengths`."""
    return read_lengths({field: text}, kind)[field]


def read_lengths(texts: Mapping[str, str], kind: str) -> dict[str, float]:
    """Return typed lengths in mm.

    Parameters
    ----------
    texts
        By what they are of, such as ``"depth"``, in the order in which they were typed.
    kind
        What has them, such as ``"tread"``; see `finishlab.units.LIKELY`.

    Raises
    ------
    UsageError
        ``"bad-length"``, ``"unit-missing"``.
    """
    found = {field: parse_length(text, f"{kind} {field}") for field, text in texts.items()}
    check_likely(texts, found, kind)
    return found


def check_likely(texts: Mapping[str, str], found: Mapping[str, float], kind: str) -> None:
    """Refuse lengths that were typed without a unit and make no sense in millimetres, with what was likely meant.

    Raises
    ------
    UsageError
        ``"unit-missing"``.
    """
    bare = {field: found[field] for field, text in texts.items() if not has_unit(text)}
    odd = [field for field, value in bare.items() if not _fits(kind, field, value)]
    if not odd:
        return
    # All that named no unit were likely typed in one; else it was forgotten where it does not fit.
    meant = _meant(texts, bare, kind) or _meant(texts, {field: bare[field] for field in odd}, kind)
    asked = f"Did you mean {', or '.join(meant[:2])}?" if meant else "Give it with its unit, such as 36in or 914mm."
    raise UsageError(
        "unit-missing",
        f"{kind.capitalize()} {odd[0]}: {bare[odd[0]]:g} mm makes no sense; without a unit a length is in millimetres.",
        asked if not meant else f"{asked} If it really is so, write {texts[odd[0]].strip()}mm.",
    )


def _meant(texts: Mapping[str, str], values: Mapping[str, float], kind: str) -> list[str]:
    """Return the units in which all values would fit, each with what had to be typed."""
    return [
        f"{name}: {'x'.join(texts[field].strip() + unit for field in values)}"
        for unit, name in _MEANT.items()
        if all(_fits(kind, field, value * LENGTHS[unit]) for field, value in values.items())
    ]


def _fits(kind: str, field: str, mm: float) -> bool:
    likely = likely_length(kind, field)
    # What no length can be is refused by the hard limits, in their words.
    return likely is None or mm <= 0 or likely[0] <= mm <= likely[1]


def in_inches(texts: Mapping[str, str]) -> tuple[str, ...]:
    """Return which of typed lengths were typed in inches or feet, and are shown so."""
    return tuple(field for field, text in texts.items() if is_us(text))
