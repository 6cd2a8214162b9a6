"""Local tone mapping as a phone may do it, rendered and synthetic: after no phone in particular.

Log luminance is split into a base, blurred by a wide Gaussian, and the detail over it; the base is drawn towards its
own mean, the detail stays (the scheme of F. Durand, J. Dorsey, Proc. SIGGRAPH (2002) 257-266, with a plain Gaussian in
place of their edge-preserving filter). Bright regions get darker, dark ones lighter, and borders get wide halos.
"""

from __future__ import annotations

from typing import Final

import numpy as np

__all__ = ["REACH", "even_out"]

REACH: Final = 0.04
"""Sigma of the base over the photo's longer side."""
_DARKEST: Final = 0.002
"""Luminance below which everything counts as equally dark."""


def even_out(rgb: np.ndarray, strength: float, reach: float = REACH) -> np.ndarray:
    """Return linear light with its base compressed.

    Parameters
    ----------
    rgb
        Shape (H, W, 3), 1.0 at the sensor's limit.
    strength
        Share of the base's departure from its mean that is taken out: 0 none, 1 all.
    reach
        Sigma of the base over the longer side.

    Returns
    -------
    ndarray, same shape, clipped to 0..1
    """
    from scipy.ndimage import gaussian_filter, zoom

    luma = rgb @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
    height, width = luma.shape
    step = max(1, int(reach * max(height, width) / 6))
    rows, columns = height // step, width // step
    # The base is smooth: block means, blurred, blown up again.
    log = np.log(np.maximum(luma[: rows * step, : columns * step], _DARKEST))
    coarse = log.reshape(rows, step, columns, step).mean(axis=(1, 3))
    base = gaussian_filter(coarse, reach * max(height, width) / step, mode="nearest")
    big = zoom(base, (height / rows, width / columns), order=1, grid_mode=True, mode="nearest")
    gain = np.exp(-strength * (big - base.mean())).astype(np.float32)
    return np.asarray(np.clip(rgb * gain[..., None], 0.0, 1.0), dtype=np.float32)
