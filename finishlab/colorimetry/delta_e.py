"""Colour-difference formulas by their standards' names, and how far two surfaces are apart colour by colour.

CIEDE2000 with its parametric factors and its metric, CMC(l:c). Sources: ISO/CIE 11664-6:2022 and Sharma, Wu, Dalal,
Color Res. Appl. 30 (2005) 21 (CIEDE2000, its pitfalls and test pairs); F. J. J. Clarke, R. McDonald, B. Rigg, J. Soc.
Dyers Colour. 100 (1984) 128, and ISO 105-J03 (CMC).

A surface is a few colours that each stand for an equal share of it. The distance of two surfaces is the mean CIEDE2000
of the pairing in which that mean is smallest: the transport problem of Kantorovich with CIEDE2000 as the cost of a
move, known from images as earth mover's distance (Y. Rubner, C. Tomasi, L. J. Guibas, Int. J. Comput. Vis. 40 (2000)
99). A busy grain with the right mean is far from a calm floor by it. With equal shares it is an assignment problem,
solved exactly by shortest augmenting paths with prices (R. Jonker, A. Volgenant, Computing 38 (1987) 325; D. F. Crouse,
IEEE Trans. Aerosp. Electron. Syst. 52 (2016) 1679). A library has it too, but loading that takes longer than all the
pairs of a ranking.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

_COS_30, _SIN_30 = math.cos(math.radians(30.0)), math.sin(math.radians(30.0))
_COS_6, _SIN_6 = math.cos(math.radians(6.0)), math.sin(math.radians(6.0))
_COS_63, _SIN_63 = math.cos(math.radians(63.0)), math.sin(math.radians(63.0))


def delta_e_00(lab1: ArrayLike, lab2: ArrayLike, kL: float = 1.0, kC: float = 1.0, kH: float = 1.0) -> FloatArray:
    """CIEDE2000 between CIELAB colours (ISO/CIE 11664-6:2022).

    Parameters
    ----------
    lab1, lab2
        CIELAB D65 2 degrees, shapes (..., 3), broadcast against each other.
    kL, kC, kH
        Parametric factors; 1 unless a standard for the material names others.

    Returns
    -------
    ndarray, shape (...)
        The difference, never negative, the same with the colours exchanged. Where the two hues lie 180 degrees apart
        the mean hue jumps and with it the formula itself (Sharma, Wu, Dalal 2005).
    """
    one, two = np.asarray(lab1, dtype=np.float64), np.asarray(lab2, dtype=np.float64)
    l1, a1, b1 = one[..., 0], one[..., 1], one[..., 2]
    l2, a2, b2 = two[..., 0], two[..., 1], two[..., 2]
    stretch = _red_stretch((_chroma(a1, b1) + _chroma(a2, b2)) / 2.0)
    a1, a2 = stretch * a1, stretch * a2
    c1, c2 = _chroma(a1, b1), _chroma(a2, b2)
    h1, h2 = np.arctan2(b1, a1), np.arctan2(b2, a2)
    turn = h2 - h1
    far = np.abs(turn) > np.pi
    # of the two mean hues, the one between the colours on the shorter way round; beside a neutral colour, for which the
    # standard has a rule of its own, the mean hue only weights a hue difference of nothing
    mean_h = (h1 + h2) / 2.0 + np.where(far, np.pi, 0.0)
    turn = turn - np.where(far, np.copysign(2.0 * np.pi, turn), 0.0)
    d_hue = 2.0 * np.sqrt(c1 * c2) * np.sin(turn / 2.0)
    s_l, s_c, s_h, r_t = _weights((l1 + l2) / 2.0, (c1 + c2) / 2.0, mean_h)
    x, y, z = (l2 - l1) / (kL * s_l), (c2 - c1) / (kC * s_c), d_hue / (kH * s_h)
    result: FloatArray = np.sqrt(np.maximum(x * x + y * y + z * z + r_t * y * z, 0.0))
    return result


def _chroma(a: FloatArray, b: FloatArray) -> FloatArray:
    """sqrt(a^2 + b^2): colours are no numbers so large that a slower way would be needed to keep them from overflow."""
    result: FloatArray = np.sqrt(a * a + b * b)
    return result


def _seventh(chroma: FloatArray) -> FloatArray:
    """sqrt(C^7 / (C^7 + 25^7)), the common piece of CIEDE2000's G and R_C."""
    square = chroma * chroma
    c7 = square * square * square * chroma  # a third of the time of a general power
    result: FloatArray = np.sqrt(c7 / (c7 + 25.0**7))
    return result


def _red_stretch(mean_chroma: FloatArray) -> FloatArray:
    """CIEDE2000's 1 + G, by which a* is stretched near neutral."""
    return 1.5 - 0.5 * _seventh(mean_chroma)


def _weights(mean_l: FloatArray, mean_c: FloatArray, mean_h: FloatArray) -> tuple[FloatArray, ...]:
    """CIEDE2000's S_L, S_C, S_H and R_T at a mean L', C' and h' (radians)."""
    # T holds the cosines of h - 30, 2h, 3h + 6 and 4h - 63 degrees: sums of angles take less time than four cosines
    cos, sin = np.cos(mean_h), np.sin(mean_h)
    cos2, sin2 = cos * cos - sin * sin, 2.0 * sin * cos
    cos3, sin3 = cos2 * cos - sin2 * sin, sin2 * cos + cos2 * sin
    cos4, sin4 = cos2 * cos2 - sin2 * sin2, 2.0 * sin2 * cos2
    t = (
        1.0
        - 0.17 * (cos * _COS_30 + sin * _SIN_30)
        + 0.24 * cos2
        + 0.32 * (cos3 * _COS_6 - sin3 * _SIN_6)
        - 0.20 * (cos4 * _COS_63 + sin4 * _SIN_63)
    )
    from_fifty = (mean_l - 50.0) ** 2
    s_l = 1.0 + 0.015 * from_fifty / np.sqrt(20.0 + from_fifty)
    s_c = 1.0 + 0.045 * mean_c
    s_h = 1.0 + 0.015 * mean_c * t
    # mean_h lies between -180 and 360 degrees
    from_blue = (np.degrees(mean_h) + np.where(mean_h < 0.0, 360.0 - 275.0, -275.0)) / 25.0
    # twice the standard's 30 degrees, as R_T takes the sine of the doubled angle
    turn = math.radians(60.0) * np.exp(-(from_blue * from_blue))
    return s_l, s_c, s_h, -2.0 * _seventh(mean_c) * np.sin(turn)


def metric_00(lab: ArrayLike, kL: float = 1.0, kC: float = 1.0, kH: float = 1.0) -> FloatArray:
    """Return the metric of small differences: CIEDE2000 squared is d' G d for a small step d at a colour.

    Parameters
    ----------
    lab
        CIELAB, shape (..., 3). At a neutral colour, where hue has no direction, that of red is taken.
    kL, kC, kH
        Parametric factors, as in `delta_e_00`.

    Returns
    -------
    ndarray, shape (..., 3, 3)
        G, symmetric and positive definite: the second-order term of ISO/CIE 11664-6:2022 at equal colours, the slope of
        the stretch of a* left out (it is below 1 % of G for wood colours).
    """
    v = np.asarray(lab, dtype=np.float64)
    stretch = _red_stretch(np.hypot(v[..., 1], v[..., 2]))
    red = stretch * v[..., 1]
    hue = np.arctan2(v[..., 2], red)
    s_l, s_c, s_h, r_t = _weights(v[..., 0], np.hypot(red, v[..., 2]), hue)
    s_l, s_c, s_h = kL * s_l, kC * s_c, kH * s_h
    cos, sin, none = np.cos(hue), np.sin(hue), np.zeros_like(hue)
    rows = [[1.0 / s_l, none, none], [none, cos * stretch / s_c, sin / s_c], [none, -sin * stretch / s_h, cos / s_h]]
    turned = np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
    mixed = np.zeros_like(turned)
    mixed[..., [0, 1, 2], [0, 1, 2]] = 1.0
    mixed[..., 1, 2] = mixed[..., 2, 1] = r_t / 2.0
    metric: FloatArray = np.swapaxes(turned, -1, -2) @ mixed @ turned
    return metric


_STEP: Final = 1e-3
"""Step of the numeric slopes, CIELAB units: rounding and curvature both stay below 1e-6 of the slope."""


def delta_e_cmc(standard: ArrayLike, batch: ArrayLike, lightness: float = 2.0, chroma: float = 1.0) -> FloatArray:
    """CMC(l:c) of batches from their standard (Clarke, McDonald, Rigg 1984).

    Parameters
    ----------
    standard, batch
        CIELAB, shapes (..., 3), broadcast against each other. The formula is not symmetric.
    lightness, chroma
        Its l and c: 2:1 judges whether a difference is acceptable, 1:1 whether it can be seen.

    Returns
    -------
    ndarray, shape (...)
    """
    one, two = np.asarray(standard, dtype=np.float64), np.asarray(batch, dtype=np.float64)
    s_l, s_c, s_h = _cmc_weights(one)
    c1, c2 = np.hypot(one[..., 1], one[..., 2]), np.hypot(two[..., 1], two[..., 2])
    d_l, d_c = two[..., 0] - one[..., 0], c2 - c1
    square_h = (two[..., 1] - one[..., 1]) ** 2 + (two[..., 2] - one[..., 2]) ** 2 - d_c**2
    total = (d_l / (lightness * s_l)) ** 2 + (d_c / (chroma * s_c)) ** 2 + np.maximum(square_h, 0.0) / s_h**2
    result: FloatArray = np.sqrt(total)
    return result


def _cmc_weights(lab: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """CMC's S_L, S_C, S_H at a standard."""
    lightness, chroma = lab[..., 0], np.hypot(lab[..., 1], lab[..., 2])
    hue = np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) % 360.0
    s_l = np.where(lightness < 16.0, 0.511, 0.040975 * lightness / (1.0 + 0.01765 * lightness))
    s_c = 0.0638 * chroma / (1.0 + 0.0131 * chroma) + 0.638
    violet = (hue >= 164.0) & (hue <= 345.0)
    t = np.where(
        violet,
        0.56 + np.abs(0.2 * np.cos(np.radians(hue + 168.0))),
        0.36 + np.abs(0.4 * np.cos(np.radians(hue + 35.0))),
    )
    fourth = chroma**4
    f = np.sqrt(fourth / (fourth + 1900.0))
    return s_l, s_c, s_c * (f * t + 1.0 - f)


@dataclass(frozen=True, slots=True)
class Formula:
    """A colour-difference formula with the factors it is used with.

    Raises
    ------
    ValueError
        If a factor is not above 0.
    """

    kind: Literal["CIEDE2000", "CMC"] = "CIEDE2000"
    lightness: float = 1.0
    """CIEDE2000's kL, or CMC's l."""
    chroma: float = 1.0
    """CIEDE2000's kC, or CMC's c."""
    hue: float = 1.0
    """CIEDE2000's kH; CMC has none."""

    def __post_init__(self) -> None:
        if not all(0.0 < factor < math.inf for factor in (self.lightness, self.chroma, self.hue)):
            raise ValueError("the factors of a colour-difference formula are above 0")

    @property
    def name(self) -> str:
        """The standard's name with its parametric factors: ``"CIEDE2000"``, ``"CIEDE2000(2:1:1)"``, ``"CMC(2:1)"``."""
        if self.kind == "CMC":
            return f"CMC({self.lightness:g}:{self.chroma:g})"
        factors = (self.lightness, self.chroma, self.hue)
        return "CIEDE2000" if factors == (1.0, 1.0, 1.0) else "CIEDE2000({:g}:{:g}:{:g})".format(*factors)

    def difference(self, standard: ArrayLike, batch: ArrayLike) -> FloatArray:
        """Return the difference of batches from standards, CIELAB of shapes (..., 3)."""
        if self.kind == "CMC":
            return delta_e_cmc(standard, batch, self.lightness, self.chroma)
        return delta_e_00(standard, batch, self.lightness, self.chroma, self.hue)

    def metric(self, lab: ArrayLike) -> FloatArray:
        """Return G, shape (..., 3, 3): the squared difference is d' G d for a small step d at a colour."""
        if self.kind == "CMC":
            return _cmc_metric(np.asarray(lab, dtype=np.float64), self.lightness, self.chroma)
        return metric_00(lab, self.lightness, self.chroma, self.hue)

    def slopes(self, standard: ArrayLike, batch: ArrayLike) -> FloatArray:
        """Return how the difference moves with (L1, a1, b1, L2, a2, b2), shape (..., 6), by central differences.

        At equal colours a difference has no slope; zeros come back.
        """
        one, two = np.asarray(standard, dtype=np.float64), np.asarray(batch, dtype=np.float64)
        steps = np.eye(3) * _STEP
        columns = [self.difference(one + e, two) - self.difference(one - e, two) for e in steps]
        columns += [self.difference(one, two + e) - self.difference(one, two - e) for e in steps]
        result: FloatArray = np.stack(columns, axis=-1) / (2.0 * _STEP)
        return result


def _cmc_metric(lab: FloatArray, lightness: float, chroma: float) -> FloatArray:
    s_l, s_c, s_h = _cmc_weights(lab)
    hue = np.arctan2(lab[..., 2], lab[..., 1])
    cos, sin, none = np.cos(hue), np.sin(hue), np.zeros_like(hue)
    rows = [
        [1.0 / (lightness * s_l), none, none],
        [none, cos / (chroma * s_c), sin / (chroma * s_c)],
        [none, -sin / s_h, cos / s_h],
    ]
    turned = np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
    metric: FloatArray = np.swapaxes(turned, -1, -2) @ turned
    return metric


CIEDE2000: Final = Formula()
CIEDE2000_TEXTURE: Final = Formula(lightness=2.0)
"""Parametric factor kL = 2, which textiles use: texture makes eyes less strict about lightness (CIE 142-2001)."""
CMC_2_1: Final = Formula("CMC", 2.0)


_SLICES: Final = (8, 4)
PALETTE_SIZE: Final = _SLICES[0] * _SLICES[1]
"""Colours kept of one measured field."""


def equal_shares(labs: ArrayLike, slices: tuple[int, int] = _SLICES) -> FloatArray:
    """Return the mean colours of equal shares of a surface.

    The colours are sorted along the direction in which they vary most and cut into as many parts as `slices` says
    first; each part is cut again along the direction of most variance in it. So the same colours always give the
    same summary, and light and dark grain stay apart.

    Parameters
    ----------
    labs
        CIELAB of places of the surface, shape (n, 3).
    slices
        Numbers of parts of the first and the second cut.

    Returns
    -------
    ndarray, shape (slices[0] * slices[1], 3)

    Raises
    ------
    ValueError
        If there are fewer places than parts.
    """
    places = np.asarray(labs, dtype=np.float64).reshape(-1, 3)
    if len(places) < slices[0] * slices[1]:
        raise ValueError("a surface needs a place for each part")
    return np.array([part.mean(axis=0) for first in _cut(places, slices[0]) for part in _cut(first, slices[1])])


def _cut(places: FloatArray, parts: int) -> list[FloatArray]:
    """Cut colours into parts of equal number along the direction in which they vary most, the darkest part first."""
    centred = places - places.mean(axis=0)
    _, axes = np.linalg.eigh(centred.T @ centred)
    axis = axes[:, -1] * (1.0 if axes[0, -1] >= 0 else -1.0)
    return np.array_split(places[np.argsort(centred @ axis, kind="stable")], parts)


_MERGED: Final = (16, 4)
_MOST: Final = 256
"""Colours a side, after each was split so that both sides have as many."""


def transport_distance(standard: ArrayLike, batch: ArrayLike, formula: Formula = CIEDE2000) -> float:
    """Return the optimal-transport distance of two surfaces.

    Parameters
    ----------
    standard, batch
        CIELAB of equal shares, shapes (n, 3) and (m, 3).
    formula
        The cost of a move.

    Returns
    -------
    float
        In units of the formula; at 0 the two have the same colours in the same shares.

    Raises
    ------
    ValueError
        If a side is empty, or the least common multiple of n and m is above 256.
    """
    one, two = np.asarray(standard, dtype=np.float64), np.asarray(batch, dtype=np.float64)
    size = math.lcm(len(one), len(two))
    if not 0 < size <= _MOST:
        raise ValueError(f"surfaces of {len(one)} and {len(two)} colours cannot be paired")
    one, two = np.repeat(one, size // len(one), axis=0), np.repeat(two, size // len(two), axis=0)
    cost = formula.difference(one[:, None, :], two[None, :, :])
    return float(cost[np.arange(size), cheapest_pairs(cost)].mean())


def centred(colours: ArrayLike, mean: ArrayLike) -> FloatArray:
    """Return colours moved as one so that their mean is `mean`, shape (n, 3)."""
    values = np.asarray(colours, dtype=np.float64)
    moved: FloatArray = values - values.mean(axis=0) + np.asarray(mean, dtype=np.float64)
    return moved


def merge_colours(surfaces: Sequence[ArrayLike]) -> FloatArray:
    """Return equal shares of several surfaces taken together, each surface counted once.

    Parameters
    ----------
    surfaces
        At least one, each of shape (n, 3) with the same n.
    """
    together = np.concatenate([np.asarray(each, dtype=np.float64) for each in surfaces])
    return equal_shares(together, _MERGED) if len(surfaces) > 1 and len(together) >= math.prod(_MERGED) else together


def plank_yardstick(surfaces: Sequence[ArrayLike]) -> float | None:
    """Return how far planks are from the floor as a whole, on average; None for one plank."""
    if len(surfaces) < 2:
        return None
    whole = merge_colours(surfaces)
    return float(np.mean([transport_distance(whole, each) for each in surfaces]))


def cheapest_pairs(cost: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the column of each row, shape (n,), so that the sum of their costs is the least.

    Parameters
    ----------
    cost
        Finite, shape (n, n).
    """
    of_column = cost.min(axis=0)
    of_row = (cost - of_column).min(axis=1)
    column_of, row_of = _first_pairs(cost - of_column - of_row[:, None])
    for row in np.flatnonzero(column_of < 0):
        _add_row(int(row), cost, of_row, of_column, column_of, row_of)
    return column_of


def _first_pairs(reduced: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pair rows and columns whose reduced cost is 0 as far as they come free; -1 stands for none."""
    size = len(reduced)
    column_of, row_of = np.full(size, -1), np.full(size, -1)
    for row, column in np.argwhere(reduced <= 0.0).tolist():
        if column_of[row] < 0 and row_of[column] < 0:
            column_of[row], row_of[column] = column, row
    return column_of, row_of


def _add_row(
    start: int,
    cost: NDArray[np.float64],
    of_row: NDArray[np.float64],
    of_column: NDArray[np.float64],
    column_of: NDArray[np.intp],
    row_of: NDArray[np.intp],
) -> None:
    """Give one more row a column by the shortest path over pairs made before (Dijkstra); changes the last four."""
    size = len(cost)
    shortest, before = np.full(size, np.inf), np.full(size, start)
    ahead = shortest.copy()  # as `shortest`, infinite where the path has been
    row, length = start, 0.0
    visited: list[int] = []
    while True:
        reached = cost[row] - of_column + (length - of_row[row])
        better = (reached < shortest) & np.isfinite(ahead) if visited else np.ones(size, dtype=bool)
        shortest[better] = ahead[better] = reached[better]
        before[better] = row
        column = int(ahead.argmin())
        length = float(ahead[column])
        if row_of[column] < 0:
            break
        ahead[column] = np.inf
        visited.append(column)
        row = int(row_of[column])
    of_row[start] += length
    if visited:
        gained = length - shortest[visited]
        of_row[row_of[visited]] += gained
        of_column[visited] -= gained
    while True:
        row = int(before[column])
        row_of[column] = row
        column_of[row], column = column, int(column_of[row])
        if row == start:
            return
