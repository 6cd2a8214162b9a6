"""QR codes of medium error correction."""

from __future__ import annotations

from typing import Any

import numpy as np

__all__ = ["qr_modules", "qr_width"]


def qr_modules(text: str) -> np.ndarray:
    """Return the modules of a code, shape (n, n), True where black; no quiet zone."""
    code = _code(text)
    code.make()
    return np.array(code.modules, dtype=bool)


def qr_width(text: str) -> int:
    """Return how many modules the code of a text is wide (ISO/IEC 18004, 6.3.1), without making it."""
    return 17 + 4 * int(_code(text).calculate_version())


def _code(text: str) -> Any:  # noqa: ANN401 - the library has no types
    from reportlab.graphics.barcode.qr import QrCodeWidget

    return QrCodeWidget(text, barLevel="M").qr
