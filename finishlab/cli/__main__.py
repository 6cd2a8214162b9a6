"""``python -m finishlab.cli``, for where the command is not on the path."""

from __future__ import annotations

from finishlab.cli import main

if __name__ == "__main__":
    main()
