"""JSON texts of the database, read fast: the doorway to orjson."""

from __future__ import annotations

import json
from typing import Any

import orjson

__all__ = ["read_json"]


def read_json(text: str) -> Any:  # noqa: ANN401 - any JSON value
    """Return what a JSON text says; numbers come out exactly as the standard library reads them.

    Raises
    ------
    json.JSONDecodeError
        If it is none.
    """
    try:
        return orjson.loads(text)
    except (orjson.JSONDecodeError, TypeError, UnicodeEncodeError):
        # A camera's name may hold half of a character pair, which orjson refuses and the standard library bears.
        return json.loads(text)
