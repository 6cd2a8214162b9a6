"""Find the surface inside a field: what belongs to the board or floor, and why the rest does not.

Three passes, coarse to fine. Cells of two millimetres, whose means are free of pores and noise, decide what has the
surface's colour, grown from the middle of the strip's edge where the board must lie. Straight steps cut off a bench
that differs by less than the grain does. Then pixels: seams, glare and clipped spots go, and a margin is kept to every
border.

Two very different surfaces side by side at the strip are refused: nothing says which of them is meant. The surface is
the one at the middle of the strip's edge. A border there that runs straight away from the strip, with an even colour on
either side, means two boards (or a board and a bench) share that middle.

**Mirrored light** is found by what it does to colour, not by brightness alone. A highlight adds the light's own colour
to the surface's (S. A. Shafer's dichromatic model, Color Research and Application 10 (1985) 210-218). After correction
the light is neutral, so each pixel is taken as ``k * surface + s * white``: grain changes k, glare raises s.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from finishlab.colorimetry.delta_e import delta_e_00
from finishlab.colorimetry.spaces import lab_to_rgb, rgb_to_lab
from finishlab.errors import QualityError
from finishlab.imaging.opencv import channel_mean, cv2, shrink
from finishlab.imaging.rectify import CorrectedImage
from finishlab.imaging.strip import FieldName

_MIDDLE: Final = (0.35, 0.65)
"""Part of the strip's edge that decides the surface."""
_BANDS: Final = 6
_APART: Final = 8.0
"""CIEDE2000 between the sides: more than the planks of one floor or the figure of one board differ."""
_EVEN: Final = 0.85
"""Share of a side's cells that must be nearer to its own side's colour than to the other's, by far."""
_LEAST_SHARE: Final = 0.25
_STRAIGHT: Final = 1.5
"""Cells by which a border may stray from a straight line."""
_STEEPEST: Final = 0.6
"""Cells the border may move along the strip for each cell away from it: about 30 degrees off upright."""


def refuse_two_surfaces(lab: np.ndarray, valid: np.ndarray, field: FieldName, cell_mm: float) -> None:
    """Refuse a field whose middle holds the border between two surfaces.

    Parameters
    ----------
    lab
        Shape (rows, columns, 3): CIELAB of the field's cells; the last row lies at the strip.
    valid
        Shape (rows, columns), bool: the cell lies in the photo.
    field
        For the sentence.
    cell_mm
        Size of a cell.

    Raises
    ------
    QualityError
        ``two-surfaces``.
    """
    rows, columns = valid.shape
    if rows < _BANDS or columns < 20:
        return
    # Medians over bands along the strip: grain and pores go, an upright border stays.
    bands = np.array_split(np.arange(rows), _BANDS)
    profile = np.stack([np.median(lab[band], axis=0) for band in bands])
    splits = [_split(line) for line in profile]
    line = _straight_line(np.array(splits, dtype=float), _STEEPEST * rows / _BANDS)
    if line is None:
        return
    middle = np.array([band.mean() for band in bands])
    border = np.polyval(np.polyfit(middle, line, 1), np.arange(rows))
    at = np.arange(columns)[None, :]
    left, right = ((at < border[:, None] - 1.0) & valid, (at > border[:, None] + 1.0) & valid)
    place = float(np.median(line))
    if not (_MIDDLE[0] * columns < place < _MIDDLE[1] * columns) or min(left.mean(), right.mean()) < _LEAST_SHARE:
        return
    colours = np.median(lab[left], axis=0), np.median(lab[right], axis=0)
    apart = float(delta_e_00(*colours))
    if apart > _APART and _even(lab[left], *colours) and _even(lab[right], *colours[::-1]):
        raise QualityError(
            "two-surfaces",
            f"Two different surfaces lie side by side in the {field} field, dE00 {apart:.0f} apart, with their border "
            f"{place * cell_mm:.0f} mm from the field's left end.",
            f"Lay the strip so that one {field} alone fills the middle of its {field} edge, and photograph again.",
        )


def _split(profile: np.ndarray) -> int:
    """Return the column that splits a row of colours into two parts with the least scatter."""
    n = len(profile)
    at = np.arange(2, n - 2)
    total = np.cumsum(profile, axis=0)
    left = total[at - 1] / at[:, None]
    right = (total[-1] - total[at - 1]) / (n - at)[:, None]
    between = (at * (n - at))[:, None] * (left - right) ** 2
    return int(at[between.sum(axis=1).argmax()])


def _straight_line(places: np.ndarray, steepest: float) -> np.ndarray | None:
    """Return the places on a straight line if all but one of the bands agree on a steep one, else None."""
    index = np.arange(len(places), dtype=float)
    slopes = [(places[j] - places[i]) / (j - i) for i in range(len(places)) for j in range(i)]
    slope = float(np.median(slopes))
    offset = float(np.median(places - slope * index))
    off = np.abs(places - slope * index - offset)
    if np.sort(off)[-2] > _STRAIGHT or abs(slope) > steepest:
        return None
    return np.asarray(slope * index + offset)


def _even(cells: np.ndarray, own: np.ndarray, other: np.ndarray) -> bool:
    """Return whether nearly all cells are on their own side of the way from one colour to the other."""
    way = other - own
    along = (cells - own) @ way / float(way @ way)
    return bool((np.abs(along) < 0.4).mean() > _EVEN)


_CELL_MM: Final = 2.0
_REACH: Final = 3.6
"""How many robust deviations from the surface's colour a cell may lie."""
_LEAST_SCATTER: Final = np.array([1.6, 0.8, 0.9])
"""Least deviation of L*, a*, b* assumed between cells of one surface."""
_MARGIN_MM: Final = 2.0
"""Kept clear of the surface's borders: bevel, rounded edge and shadow line."""
_STREAK_PART: Final = 0.03
"""Least share of the field that is worth joining again across a streak."""
_MENTIONED: Final = 0.0005
"""Share of the field below which a reason is not worth naming."""
_STEP_LEAST: Final = 1.1
_STEP_CLEAR: Final = 2.6
_STEP_NOISE: Final = 0.15
"""A step's least size, its least ratio to the wander on either side, and the wander taken for granted."""


@dataclass(frozen=True, eq=False, slots=True)
class Surface:
    """The part of a field that is sampled."""

    mask: np.ndarray
    """Shape (h, w), bool, on the corrected image's grid."""
    outline: np.ndarray
    """Shape (h, w), bool: the surface before glare and seams were taken out."""
    glare: np.ndarray
    """Shape (h, w), bool: glare on the surface."""
    left_out: Mapping[str, float]
    """Why the rest was left out: reason -> share of the field."""

    @property
    def used_share(self) -> float:
        """Share of the field that is sampled."""
        return float(self.mask.mean())

    @property
    def glare_share(self) -> float:
        """Share of the surface that mirrors the light."""
        return float(self.glare.sum() / max(1, self.outline.sum()))


def find_surface(image: CorrectedImage, field: FieldName) -> Surface:
    """Find the surface in a field.

    Parameters
    ----------
    image
        The corrected field.
    field
        ``"board"`` (lies against the field's lower side) or ``"floor"`` (against its upper side).

    Returns
    -------
    Surface

    Raises
    ------
    QualityError
        ``field-outside`` if most of the field is not in the photo, ``no-surface`` if no even surface lies at the strip,
        ``two-surfaces`` if two very different ones share its middle.
    """
    if image.inside.mean() < 0.25:
        raise QualityError(
            "field-outside",
            f"Most of the {field} field lies outside the photo.",
            f"Photograph again with the {field} beside the strip in view for its whole length.",
        )
    size = max(1, round(_CELL_MM * image.px_per_mm))
    lab, valid = _cells(image, size)
    if field == "floor":
        lab, valid = lab[::-1], valid[::-1]
    # From here on the last row of cells lies at the strip, for both fields.
    refuse_two_surfaces(lab, valid, field, size / image.px_per_mm)
    member, centre, scatter = _grow(lab, valid, field)
    if field == "board":
        # The tail of a highlight must not pass for a step, so highlights go first.
        shine = glare_mask(image.rgb, _to_pixels(member, image.inside.shape, size) & image.inside, image.px_per_mm)
        member = _seed_component(member & _cut_steps(lab, member & ~_cell_any(shine, size, member.shape)))
    outline = _to_pixels(member[::-1] if field == "floor" else member, image.inside.shape, size) & image.inside
    core = _erode(outline, image.inside, 2 * round(_MARGIN_MM * image.px_per_mm) + 1)
    seam = _seams(image, core)
    glare = glare_mask(image.rgb, core & ~seam, image.px_per_mm) & core
    shining = _cell_any(glare, size, member.shape)
    reasons = _name_the_rest(lab, valid, member, shining[::-1] if field == "floor" else shining, (centre, scatter))
    names = _to_pixels(reasons[::-1] if field == "floor" else reasons, image.inside.shape, size) * image.inside
    heart = _grown(names == 1 + _REASONS.index("glare"), round(_MARGIN_MM * image.px_per_mm)) & ~core
    left_out = {
        "outside-photo": float((~image.inside).mean()),
        "seam": float((seam & ~glare).mean()),
        "clipped": float((image.clipped & core).mean()),
    }
    for index, name in enumerate(_REASONS, start=1):
        left_out[name] = float(((names == index) & ~outline).mean())
    left_out["glare"] = float((glare | heart).mean())
    return Surface(
        mask=core & ~seam & ~glare & ~image.clipped,
        outline=outline | heart,
        glare=glare | heart,
        left_out={name: round(share, 4) for name, share in left_out.items() if share > _MENTIONED},
    )


def _cells(image: CorrectedImage, size: int) -> tuple[np.ndarray, np.ndarray]:
    """Return CIELAB of each cell's mean, shape (rows, columns, 3), and whether the cell lies in the photo."""
    h, w = (image.inside.shape[0] // size) * size, (image.inside.shape[1] // size) * size
    shape = (h // size, size, w // size, size)
    mean = shrink(image.rgb[:h, :w], size)
    valid = np.asarray(image.inside[:h, :w].reshape(shape).all(axis=(1, 3)))
    return rgb_to_lab(np.maximum(mean, 0.0005)).astype(np.float32), valid


def _cell_any(mask: np.ndarray, size: int, shape: tuple[int, ...]) -> np.ndarray:
    """Return the cells a fifth of which or more is in the mask, shape as given."""
    h, w = shape[0] * size, shape[1] * size
    return np.asarray(mask[:h, :w].reshape(shape[0], size, shape[1], size).mean(axis=(1, 3)) > 0.2)


def _grow(lab: np.ndarray, valid: np.ndarray, field: FieldName) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the cells of the surface's colour connected to the strip's middle, its centre colour and scatter."""
    rows, columns = valid.shape
    smooth = np.stack([cv2.medianBlur(np.ascontiguousarray(lab[..., k]), 3) for k in range(3)], axis=-1)
    seed = np.zeros_like(valid)
    seed[-max(4, rows // 3) : -1, columns // 4 : -(columns // 4)] = True
    seed &= valid
    if seed.sum() < 12:
        raise QualityError(
            "field-outside",
            f"The middle of the {field} field lies outside the photo.",
            f"Photograph again with the {field} beside the strip in view.",
        )
    member = seed
    for _ in range(4):
        chosen = smooth[member]
        centre = np.median(chosen, axis=0)
        scatter = np.maximum(1.4826 * np.median(np.abs(chosen - centre), axis=0), _LEAST_SCATTER)
        distance = np.sqrt((((smooth - centre) / scatter) ** 2).sum(axis=-1))
        alike = _open((distance < _REACH + 0.4) & valid)
        member = _seed_component(alike)
        if member.sum() < 0.04 * member.size:
            raise QualityError(
                "no-surface",
                f"No even surface was found in the {field} field beside the strip.",
                f"Lay the {field} flush against the strip's {field} edge and clear everything else away.",
            )
    # A highlight or a streak lies on the surface: what it cuts off belongs to it still.
    joined = _seed_component(alike | (_whitened(smooth, centre, loss=1.3) & valid)) & alike
    if field == "floor":  # beyond a board may lie a bench of nearly its colour
        for _ in range(3):
            joined = joined | _beyond_streaks(smooth, alike, joined, (centre, scatter))
    return joined, centre, scatter


def _beyond_streaks(
    lab: np.ndarray, alike: np.ndarray, member: np.ndarray, surface: tuple[np.ndarray, np.ndarray]
) -> np.ndarray:
    """Return parts of the surface's own colour that only a streak of grain, no wider than 8 mm, cuts off.

    A streak is the surface's own hue, darker or lighter; a gap, an edge or a bench is not, or it is no streak.
    """
    centre, scatter = surface
    out = np.zeros_like(member)
    ratio = np.maximum(lab[..., :1] + 16, 1) / (centre[0] + 16)
    own_hue = (np.abs(lab[..., 1:] - centre[1:] * ratio) / np.maximum(scatter[1:], 1.0) < 2.0).all(axis=-1)
    reach = cv2.dilate(member.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    count, labels = cv2.connectedComponents((alike & ~member).astype(np.uint8), connectivity=4)
    for label in range(1, count):
        part = labels == label
        if part.sum() < _STREAK_PART * member.size or not (part & reach).any():
            continue
        between = reach & (cv2.dilate(part.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0) & ~alike
        off = np.abs(np.median(lab[part], axis=0) - centre) / scatter
        if off.max() < 1.2 and between.any() and own_hue[between].mean() > 0.9:
            out |= part
    return out


def _open(member: np.ndarray) -> np.ndarray:
    """Return the cells with single-cell bridges cut and single-cell holes filled."""
    cells: np.ndarray = member.astype(np.uint8)
    for step in (cv2.MORPH_CLOSE, cv2.MORPH_OPEN):
        cells = cv2.morphologyEx(cells, step, np.ones((3, 3), np.uint8), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(cells > 0)


def _seed_component(member: np.ndarray) -> np.ndarray:
    """Return the connected part that holds most of the middle of the strip's edge."""
    _, labels = cv2.connectedComponents(member.astype(np.uint8), connectivity=4)
    rows, columns = member.shape
    there = labels[-max(4, rows // 3) :, columns // 4 : -(columns // 4)]
    counts = np.bincount(there[there > 0].ravel(), minlength=2)
    return np.asarray((labels == int(counts.argmax())) & member)


def _cut_steps(lab: np.ndarray, member: np.ndarray) -> np.ndarray:
    """Return False beyond a straight step in colour across the field: a bench only a little unlike the board.

    The step is looked for in the means of columns (board's ends) and of rows (its far side), outward from the middle.
    Once one side is cut the others show more clearly, so the search is repeated.
    """
    keep = np.ones_like(member)
    rows, columns = member.shape
    start = columns // 2
    for _ in range(2):
        left_to_right = _weighted_means(lab, (member & keep).astype(float), axis=0)
        right = _step(left_to_right[start:])
        left = _step(left_to_right[: start + 1][::-1])
        if right is not None:
            keep[:, start + right :] = False
        if left is not None:
            keep[:, : start + 1 - left] = False
        outward = _weighted_means(lab, (member & keep).astype(float), axis=1)[: rows - 1][::-1]
        far = _step(outward)
        if far is not None:
            keep[: rows - 1 - far] = False
    return keep


def _weighted_means(lab: np.ndarray, weights: np.ndarray, axis: int) -> np.ndarray:
    total = weights.sum(axis=axis)
    means = (lab * weights[..., None]).sum(axis=axis) / np.maximum(total, 1e-9)[:, None]
    means[total < 2] = np.nan
    return np.asarray(means)


def _step(profile: np.ndarray) -> int | None:
    """Return where a profile steps to another level for good, counted from its start; None if it does not.

    A step must be abrupt (the cells beside it differ about as much as the two levels do), lasting, and clear against
    the wander of the profile within either level. Colours are in units of the least scatter of one surface.
    """
    valid = np.flatnonzero(~np.isnan(profile).any(axis=1))
    if valid.size < 8:
        return None
    p = profile[valid] / _LEAST_SCATTER
    n = len(p)
    at = np.arange(3, n - 2)
    # Running sums give every split's means and variances at once. The cell at the split itself may hold both.
    total, squares = np.cumsum(p, axis=0), np.cumsum(p * p, axis=0)
    inner = total[at - 1] / at[:, None]
    outer = (total[-1] - total[at]) / (n - 1 - at)[:, None]
    inner_var = squares[at - 1] / at[:, None] - inner**2
    outer_var = (squares[-1] - squares[at]) / (n - 1 - at)[:, None] - outer**2
    gap = outer - inner
    size = np.linalg.norm(gap, axis=1)
    direction = gap / np.maximum(size, 1e-9)[:, None]
    wander = np.sqrt(np.maximum(((inner_var + outer_var) * direction**2).sum(axis=1), 0.0)) + _STEP_NOISE
    beyond = (p[at + 1] + p[np.minimum(at + 2, n - 1)]) / 2
    before = (p[at - 1] + p[at - 2]) / 2
    abrupt = ((beyond - before) * direction).sum(axis=1) / np.maximum(size, 1e-9)
    score = np.where((size > _STEP_LEAST) & (abrupt > 0.65), size / wander, 0.0)
    best = int(score.argmax())
    return int(valid[at[best]]) if score[best] > _STEP_CLEAR else None


_REASONS: Final = ("knot", "shadow", "other-surface", "glare")


def _name_the_rest(
    lab: np.ndarray,
    valid: np.ndarray,
    member: np.ndarray,
    shining: np.ndarray,
    surface: tuple[np.ndarray, np.ndarray],
) -> np.ndarray:
    """Return why each cell is not the surface: 0 it is, else 1 + index into `_REASONS`.

    `shining` marks the cells where glare was found on the surface; `surface` is its centre colour and scatter.
    """
    centre, scatter = surface
    out = np.zeros(member.shape, dtype=np.uint8)
    _, labels = cv2.connectedComponents((valid & ~member).astype(np.uint8), connectivity=8)
    columns = member.shape[1]
    for label in range(1, int(labels.max()) + 1):
        part = labels == label
        colour = np.median(lab[part], axis=0)
        ys, xs = np.nonzero(part)
        at_border = xs.min() == 0 or xs.max() == columns - 1 or ys.min() == 0
        near, wide = (cv2.dilate(part.astype(np.uint8), np.ones((n, n), np.uint8)) > 0 for n in (3, 7))
        ring = wide & ~near & member  # beyond the margin kept along every border
        # A shadow scales all channels alike: chroma falls with lightness at the same hue.
        expected = centre[1:] * max(colour[0] + 16, 1) / (centre[0] + 16)
        same_hue = float(np.linalg.norm((colour[1:] - expected) / np.maximum(scatter[1:], 1.5))) < 3.0
        fringed = bool(ring.any() and shining[ring].mean() > 0.5)  # the heart of a highlight on the surface
        inside = bool(_whitened(colour, centre, loss=0.2)) and not at_border
        if colour[0] > centre[0] + 1.0 and (fringed or inside):
            reason = "glare"
        elif part.sum() <= 0.12 * member.size and not at_border:
            reason = "knot"
        elif colour[0] < centre[0] - 1.0 and same_hue and colour[0] > 0.45 * centre[0]:
            reason = "shadow"
        else:
            reason = "other-surface"
        out[part] = 1 + _REASONS.index(reason)
        if reason == "glare":
            out[part & ~_whitened(lab, centre, loss=1.3)] = 1 + _REASONS.index("other-surface")
    return out


def _whitened(lab: np.ndarray, surface: np.ndarray, loss: float) -> np.ndarray:
    """Return where colours, shape (..., 3), are the surface's own with white added, as a mirrored light adds it.

    `loss` is how much of the surface's own colour may be missing: a highlight at the top of the photo's range hides it.
    """
    own = lab_to_rgb(surface)
    parts = lab_to_rgb(lab) @ np.linalg.pinv(np.stack([own, np.ones(3)], axis=1)).T
    return np.asarray((parts[..., 0] > 1.0 - loss) & (parts[..., 0] < 1.2) & (parts[..., 1] > 0.006))


def _to_pixels(cells: np.ndarray, shape: tuple[int, ...], size: int) -> np.ndarray:
    """Return cells blown up to the pixel grid; the rest of the last row and column repeats the last cell."""
    big = np.repeat(np.repeat(cells, size, axis=0), size, axis=1)
    pad = ((0, max(0, shape[0] - big.shape[0])), (0, max(0, shape[1] - big.shape[1])))
    return np.pad(big, pad, mode="edge")[: shape[0], : shape[1]]


def _erode(outline: np.ndarray, inside: np.ndarray, size: int) -> np.ndarray:
    """Return the outline less a margin along borders inside the field; the field's own sides need none."""
    solid = outline | ~inside
    core = cv2.erode(solid.astype(np.uint8), np.ones((size, size), np.uint8), borderType=cv2.BORDER_REPLICATE)
    return np.asarray((core > 0) & outline)


def _grown(mask: np.ndarray, by: int) -> np.ndarray:
    return np.asarray(cv2.dilate(mask.astype(np.uint8), np.ones((2 * by + 1, 2 * by + 1), np.uint8)) > 0)


def _seams(image: CorrectedImage, core: np.ndarray) -> np.ndarray:
    """Return thin dark lines right across the surface: joints between planks, not dark grain.

    Streaks of grain come in all depths and fade; a joint is a good deal darker than every streak and runs from border
    to border of the surface.
    """
    grey = np.log(np.maximum(channel_mean(image.rgb), 0.003)).astype(np.float32)
    width = 2 * round(1.6 * image.px_per_mm) + 1
    out = np.zeros(core.shape, dtype=bool)
    for axis in (0, 1):
        kernel = np.ones((width, 1) if axis == 0 else (1, width), np.uint8)
        dip = cv2.morphologyEx(grey, cv2.MORPH_CLOSE, kernel) - grey
        # Along a joint the dip lasts; averaging along the line leaves it and smooths grain away.
        length = 2 * round(6 * image.px_per_mm) + 1
        along = cv2.blur(dip, (length, 1) if axis == 0 else (1, length))
        usual, high = np.quantile(along[core][::5], [0.5, 0.95]) if core.sum() > 500 else (0.0, 0.1)
        dark = ((along > max(0.18, float(usual + 3.0 * (high - usual)))) & core).astype(np.uint8)
        count, labels, stats, _ = cv2.connectedComponentsWithStats(dark, connectivity=8)
        extent = float(np.ptp(np.nonzero(core.any(axis=axis))[0])) if core.any() else 0.0
        for label in range(1, count):
            box_w, box_h = stats[label, cv2.CC_STAT_WIDTH], stats[label, cv2.CC_STAT_HEIGHT]
            long, thin = (box_w, box_h) if axis == 0 else (box_h, box_w)
            if long > 0.8 * extent and thin < 6 * image.px_per_mm:
                out |= labels == label
    return np.asarray(_grown(out, max(1, round(0.8 * image.px_per_mm))) & core)


_SPECK: Final = (0.7, 0.05, 5.0)
"""Fine scale: smoothing (mm), least added white as reflectance, least excess in robust deviations."""
_LOBE: Final = (5.0, 0.010, 3.5)
"""Broad scale: the same; wide smoothing averages the grain out, so faint broad highlights are seen."""


_SHEEN: Final = 0.03
"""Added white over the field's least, as reflectance, above which it is glare whatever the rest does."""
_EVERY: Final = 7
"""Every so many pixels are enough for a median."""


def added_white(rgb: np.ndarray, surface: np.ndarray) -> np.ndarray:
    """Return the white added to each pixel over `surface`, as reflectance, shape (...).

    Least squares of ``rgb = k * surface + s * white``. For a grey surface the two cannot be told apart and 0 is given.
    """
    white = np.ones(3)
    basis = np.stack([surface, white], axis=1)
    if np.linalg.cond(basis / np.linalg.norm(basis, axis=0)) > 60:
        return np.zeros(rgb.shape[:-1], dtype=np.float32)
    row = np.linalg.pinv(basis)[1].astype(np.float32)
    return np.asarray(rgb @ row)


def glare_mask(rgb: np.ndarray, on_surface: np.ndarray, px_per_mm: float) -> np.ndarray:
    """Return where light is mirrored.

    Parameters
    ----------
    rgb
        Shape (h, w, 3), corrected reflectance.
    on_surface
        Shape (h, w), bool: where to take the surface's own colour from.
    px_per_mm
        Resolution.

    Returns
    -------
    ndarray, shape (h, w), bool
    """
    if not on_surface.any():
        return np.zeros(on_surface.shape, dtype=bool)
    places = np.flatnonzero(on_surface)[::_EVERY]
    surface = np.median(rgb.reshape(-1, 3)[places], axis=0)
    white = added_white(rgb, surface)
    brightness = channel_mean(rgb)
    white = np.clip(white, -1.0, 1.0)
    usual = float(np.median(brightness.ravel()[places]))
    mask: np.ndarray = np.zeros(on_surface.shape, dtype=bool)
    on = on_surface.astype(np.float32)
    for sigma_mm, least, deviations in (_SPECK, _LOBE):
        # A wide blur is the same on a coarser grid, and far cheaper. What lies beside the surface must not bleed in,
        # so sums over the surface are blurred and divided by its blurred share.
        step = max(1, round(sigma_mm * px_per_mm / 2))
        there = _blur(_coarse(on, step), sigma_mm * px_per_mm / step)
        smooth, bright = (
            _blur(_coarse(a * on, step), sigma_mm * px_per_mm / step) / np.maximum(there, 1e-3)
            for a in (white, brightness)
        )
        here = smooth[there > 0.5]
        if not here.size:
            continue
        # Highlights only ever add: the lower half of the distribution shows how the surface itself scatters. A sheen
        # over most of the field is scatter itself, so no more than `_SHEEN` over the least is believed to be wood.
        least_here, low, middle = np.quantile(here, [0.05, 0.16, 0.45])
        limit = middle + max(least, deviations * float(middle - low))
        if sigma_mm >= _LOBE[0]:
            limit = min(limit, least_here + _SHEEN)
        found = (smooth > limit) & (bright > 0.97 * usual)
        size = (mask.shape[1], mask.shape[0])
        mask |= np.asarray(cv2.resize(found.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)) > 0
    mask |= brightness > max(2.2 * usual, usual + 0.25)
    grow = max(1, round(1.0 * px_per_mm))
    return np.asarray(cv2.dilate(mask.astype(np.uint8), np.ones((2 * grow + 1, 2 * grow + 1), np.uint8)) > 0)


def _coarse(image: np.ndarray, step: int) -> np.ndarray:
    size = (max(1, image.shape[1] // step), max(1, image.shape[0] // step))
    return np.asarray(cv2.resize(np.ascontiguousarray(image), size, interpolation=cv2.INTER_AREA))


def _blur(image: np.ndarray, sigma: float) -> np.ndarray:
    return np.asarray(cv2.GaussianBlur(np.ascontiguousarray(image, dtype=np.float32), (0, 0), max(sigma, 0.3)))
