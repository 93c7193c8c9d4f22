"""Lines of a drill's screen, however narrow: wrapped at words, indented where they began, keys
never parted from what they do.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

LEAST = 16  # columns below which nothing is wrapped at words any more


def wrapped(text: str, columns: int, indent: int = 0) -> list[str]:
    """Return the lines of a text, each indented; a word longer than a line is cut."""
    blank = " " * indent
    width = max(LEAST, columns)
    return textwrap.wrap(
        text, width, initial_indent=blank, subsequent_indent=blank, break_on_hyphens=False
    ) or [""]


def keys(hints: Sequence[str], columns: int) -> list[str]:
    """Return the lines of what keys do: as many hints a line as fit whole, one alone is wrapped at
    words where it must be.
    """
    lines = [""]
    for hint in hints:
        joined = f"{lines[-1]}   {hint}" if lines[-1] else hint
        if len(joined) <= columns:
            lines[-1] = joined
        else:
            lines += wrapped(hint, columns)
    return [line for line in lines if line]


def spaced(count: int, columns: int, indent: int) -> int:
    """Return how many of ``count`` single symbols, a blank behind each, go on a line after an
    indent.
    """
    return max(1, min(count, (columns - indent) // 2))
