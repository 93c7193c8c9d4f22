"""The two messages that are compared with weighted automata: six symbols with a check, and eight
with an optional part.
"""

from __future__ import annotations

from typing import Any

from hear.books import LAP, PLAIN
from helpers import book_of

from codec import Book

SIX: dict[str, Any] = {"hearing": PLAIN | {"stray": 0}} | {
    key: LAP[key] for key in ("fields", "tables")
}


def six_with_check() -> Book:
    """Return a book whose report is lap, energy, motor (five symbols) and a check: six symbols."""
    return book_of(SIX | {"messages": {"lap": {"layout": "lap energy motor check"}}})


def eight_with_option() -> Book:
    """Return a book whose report has eight symbols, one of them optional, and no check."""
    fields = SIX["fields"] | {
        "battery": {"kind": "quantity", "low": 20, "high": 69, "step": 1, "usual": 40, "spread": 5}
    }
    tables = SIX["tables"] | {"battery": {"kind": "digits"}}
    return book_of(
        SIX
        | {
            "fields": fields,
            "tables": tables,
            "messages": {"lap": {"layout": "lap energy motor battery alert?"}},
        }
    )
