"""Small charts as inline SVG, drawn here: greys only, words in real text, sizes that a phone can read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

__all__ = ["IntervalBar", "interval_chart"]

_WIDTH = 350.0
_LEFT, _RIGHT = 42.0, 16.0
_ROW = 26.0
_TOP = 30.0
_FONT = 11.5
_MOST_TICKS = 7


@dataclass(frozen=True, slots=True)
class IntervalBar:
    """One row of the chart."""

    label: str
    value: float
    low: float
    high: float
    colour: str
    """Fill of the point, ``"#rrggbb"``."""


def interval_chart(bars: Sequence[IntervalBar], *, floor_spread: float | None, ident: str = "intervals") -> str:
    """Return the chart of differences to the floor with their 95 % intervals.

    Parameters
    ----------
    bars
        Rows from the top down.
    floor_spread
        How far the floor's own spots lie from their middle, CIEDE2000; shown as a shaded band from 0.
    ident
        Start of the ids in the drawing; unlike any other on the page.
    """
    top = max([bar.high for bar in bars] + [floor_spread or 0.0, 1.0])
    step = _tick_step(top)
    end = math.ceil(top / step) * step
    base = _TOP + _ROW * len(bars)
    scale = (_WIDTH - _LEFT - _RIGHT) / end
    words = "; ".join(f"{bar.label} {bar.value:.1f}, interval {bar.low:.1f} to {bar.high:.1f}" for bar in bars)
    named = f'role="img" aria-labelledby="{ident}-title {ident}-desc"'
    size = f'viewBox="0 0 {_WIDTH:g} {base + 40:g}" font-size="{_FONT:g}"'
    parts = [
        f'<svg class="chart" {size} {named} xmlns="http://www.w3.org/2000/svg">',
        f'<title id="{ident}-title">Difference of each board to the floor, with its 95 % interval</title>',
        f'<desc id="{ident}-desc">CIEDE2000: {escape(words)}.</desc>',
    ]
    if floor_spread is not None:
        parts.append(_floor_band(floor_spread * scale, base))
    parts += _axis(step, end, scale, base)
    parts += [_row(bar, _TOP + _ROW * (i + 0.5), scale) for i, bar in enumerate(bars)]
    parts.append("</svg>")
    return "\n".join(parts)


def _tick_step(top: float) -> float:
    return next((step for step in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0) if top / step <= _MOST_TICKS), 50.0)


def _floor_band(width: float, base: float) -> str:
    return (
        f'<rect x="{_LEFT:g}" y="{_TOP - 8:g}" width="{width:.1f}" height="{base - _TOP + 8:g}" fill="#d2d2d2"/>'
        f'<text x="{_LEFT:g}" y="{_TOP - 14:g}" fill="#333">'
        "shaded: the floor\N{RIGHT SINGLE QUOTATION MARK}s own spread</text>"
    )


def _axis(step: float, end: float, scale: float, base: float) -> list[str]:
    parts = []
    for i in range(round(end / step) + 1):
        x = _LEFT + i * step * scale
        parts.append(
            f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{_TOP - 8:g}" y2="{base:g}" stroke="#bbb" stroke-width="0.7"/>'
            f'<text x="{x:.1f}" y="{base + 15:g}" text-anchor="middle" fill="#333">{i * step:g}</text>'
        )
    middle = (_LEFT + _WIDTH - _RIGHT) / 2
    parts.append(
        f'<text x="{middle:.1f}" y="{base + 33:g}" text-anchor="middle" fill="#333">'
        "difference to the floor (CIEDE2000)</text>"
    )
    return parts


def _row(bar: IntervalBar, y: float, scale: float) -> str:
    low, value, high = (_LEFT + v * scale for v in (bar.low, bar.value, bar.high))
    ends = "".join(f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{y - 5:g}" y2="{y + 5:g}"/>' for x in (low, high))
    return (
        f'<text x="{_LEFT - 9:g}" y="{y + 4:g}" text-anchor="end" font-weight="600" fill="#1a1a1a">'
        f"{escape(bar.label)}</text>"
        f'<g stroke="#1a1a1a" stroke-width="2"><line x1="{low:.1f}" x2="{high:.1f}" y1="{y:g}" y2="{y:g}"/>{ends}'
        f'<circle cx="{value:.1f}" cy="{y:g}" r="5.5" fill={quoteattr(bar.colour)} stroke-width="1.5"/></g>'
    )
