"""The Alembic environment: every step the logbook's tables have gone through, from the first on."""

from __future__ import annotations

from typing import Final

HEAD: Final = "0007_conditions"
"""The newest revision. It is written here too, so that an up-to-date logbook opens without loading Alembic."""
