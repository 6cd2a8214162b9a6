"""What printers make of the strip's page: the tone of greys, the solid black, and how ink and light spread in paper.

The measuring side believes nothing of this but through its priors: half-tones, toner saving, wiggles, casts and bands
here are other physics than the curve it fits. Half-tones reflect by A. Murray, J. Franklin Inst. 221 (1936) 721-744
(and E. R. Davies): paper and ink by area. Light that spreads in the paper before it leaves darkens what lies between
dots and lines: J. A. C. Yule, W. J. Nielsen, TAGA Proc. 3 (1951) 65-76; here as ``R = paper * t * (t spread)``, ``t``
being what the ink lets through at a place.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from finishlab.colorimetry.spaces import lightness_of_reflectance, reflectance_of_lightness, srgb_to_linear

__all__ = ["PRINTERS", "Printer", "random_printer", "with_gain"]

Kind = Literal["managed", "half-tone"]

_RAMP: Final = np.linspace(0.0, 1.0, 101)


def with_gain(area: np.ndarray, gain: float) -> np.ndarray:
    """Return what dots cover on paper of what they should cover.

    Ink grows the dots and then light spreads under them: two steps of ``a + 4 h a (1 - a)`` each (a parabola fits
    published gain curves well; common practice, no source), equal in size, that add up to the gain at half tone.

    Parameters
    ----------
    area
        Nominal coverage, 0..1.
    gain
        Tone value increase at coverage 1/2 as ISO 12647-2 states it, 0.17 for 17 %; below 0.43.
    """
    # 2 h - 4 h^3 = gain: both steps from one half.
    step = float(min(root.real for root in np.roots([-4.0, 0.0, 2.0, -gain]) if root.real >= -1e-12))
    out = np.asarray(area, dtype=float)
    for _ in range(2):
        out = out + 4.0 * step * out * (1.0 - out)
    return out


@dataclass(frozen=True, slots=True)
class Printer:
    """One printer with its paper and settings.

    Raises
    ------
    ValueError
        If greys would not rise from black to paper.
    """

    name: str = "as assumed"
    kind: Kind = "managed"
    """``managed`` takes a grey as sRGB, ``half-tone`` as coverage, 1 - grey."""
    gamma: float = 1.0
    """Managed: exponent on the sRGB decode."""
    gain: float = 0.0
    """Half-tone: tone value increase at coverage 1/2."""
    toner: float = 1.0
    """Share of the ink's range that is used: below 1 toner is saved and everything printed is lighter, black too."""
    paper: float = 0.87
    """Luminous reflectance factor of bare paper."""
    ink: float = 0.045
    """The same of solid black with no toner saved."""
    wiggles: tuple[float, ...] = ()
    """Amplitudes (L*) of sin(2 pi g), sin(3 pi g) ... along the ramp."""
    casts: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    """Composite ink: relative slope of the spectrum (warm above 0) and its bump at 550 nm (green above 0), each at the
    middle of the ramp and how it changes from dark to light."""
    bands: tuple[float, float] = (0.0, 0.0)
    """Relative change of the ink's density across the page: slow along the strip, fast across it; amplitudes."""
    band_mm: tuple[float, float] = (110.0, 3.0)
    """Their periods, mm."""
    edge: float = 0.0
    """How far each edge of solid black grows, mm."""
    spread: float = 0.0
    """Deviation of the Gaussian over which light spreads in the paper, mm."""

    def __post_init__(self) -> None:
        ramp = self.reflectance(_RAMP)
        if not (0.0 < ramp[0] < ramp[-1] <= 1.0 and (np.diff(ramp) > 0).all()):
            raise ValueError("a printer's greys rise from black to paper")

    @property
    def black(self) -> float:
        """Luminous reflectance factor of solid black."""
        return self.paper - self.toner * (self.paper - self.ink)

    def reflectance(self, grey: np.ndarray) -> np.ndarray:
        """Return the luminous reflectance factor of DeviceGray values in 0..1, same shape."""
        g = np.asarray(grey, dtype=float)
        if self.kind == "managed":
            bare = np.asarray(srgb_to_linear(g)) ** self.gamma
        else:
            bare = 1.0 - with_gain(1.0 - g, self.gain)
        plain = self.black + (self.paper - self.black) * bare
        if not self.wiggles:
            return np.asarray(plain)
        turns = sum(size * np.sin((k + 2) * np.pi * g) for k, size in enumerate(self.wiggles))
        return np.asarray(reflectance_of_lightness(lightness_of_reflectance(plain) + turns))

    def cast(self, grey: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return slope and bump of the composite ink's cast at DeviceGray values, none at black and on paper."""
        g = np.asarray(grey, dtype=float)
        much = 4.0 * g * (1.0 - g)
        slope, slope_rise, bump, bump_rise = self.casts
        return much * (slope + slope_rise * (2 * g - 1)), much * (bump + bump_rise * (2 * g - 1))


_USUAL: Final = Printer(edge=0.03, spread=0.06)

PRINTERS: Final[tuple[Printer, ...]] = (
    _USUAL,
    replace(_USUAL, name="exponent 0.8", gamma=0.8),
    replace(_USUAL, name="exponent 1.2", gamma=1.2),
    replace(_USUAL, name="offset-like half-tone, gain 17 %", kind="half-tone", gain=0.17, ink=0.025),
    replace(_USUAL, name="laser half-tone, gain 24 %", kind="half-tone", gain=0.24, ink=0.025),
    replace(_USUAL, name="toner saving", toner=0.88),
)
"""Named members of the population, each unlike the first in one thing."""


def _wiggles(rng: np.random.Generator) -> tuple[float, ...]:
    """Draw smooth wiggles that reach 0 to 2 L*."""
    shape = rng.standard_normal(3) / np.arange(1, 4)
    curve = sum(size * np.sin((k + 2) * np.pi * _RAMP) for k, size in enumerate(shape))
    return tuple(float(v) for v in shape * rng.uniform(0.0, 2.0) / np.abs(curve).max())


def random_printer(rng: np.random.Generator) -> Printer:
    """Draw a printer: half are managed, half print half-tones, one in five saves toner, four in ten mix inks to grey.

    Paper L* 88 to 96, black 14 to 34, exponents 0.75 to 1.25, gains 6 to 28 %, edges 0 to 0.06 mm, spread 0.03 to 0.10
    mm: the ramps of published print profiles lie inside (see the tests); how often each is met is common practice, no
    source.
    """
    while True:
        managed, saving, composite = rng.random() < 0.5, rng.random() < 0.2, rng.random() < 0.4
        paper, ink = (
            reflectance_of_lightness(rng.uniform(88.0, 96.0)),
            reflectance_of_lightness(rng.uniform(14.0, 34.0)),
        )
        gamma, gain, toner = rng.uniform(0.75, 1.25), rng.uniform(0.06, 0.28), rng.uniform(0.85, 1.0)
        casts = rng.normal(0.0, 1.0, 4) * (0.05, 0.03, 0.02, 0.012)
        wiggles = _wiggles(rng)
        bands = rng.uniform(0.0, 0.01, 2)
        periods = rng.uniform(60.0, 250.0), rng.uniform(0.8, 6.0)
        edge, spread = rng.uniform(0.0, 0.06), rng.uniform(0.03, 0.10)
        try:
            return Printer(
                name="drawn",
                kind="managed" if managed else "half-tone",
                gamma=float(gamma) if managed else 1.0,
                gain=0.0 if managed else float(gain),
                toner=float(toner) if saving else 1.0,
                paper=float(paper),
                ink=float(ink),
                wiggles=wiggles,
                casts=(float(casts[0]), float(casts[1]), float(casts[2]), float(casts[3]))
                if composite
                else (0.0, 0.0, 0.0, 0.0),
                bands=(float(bands[0]), float(bands[1])),
                band_mm=(float(periods[0]), float(periods[1])),
                edge=float(edge),
                spread=float(spread),
            )
        except ValueError:  # wiggles would turn the ramp back
            continue
