"""Books that several tests of hearing use."""

from __future__ import annotations

from typing import Any

from helpers import book_of

from codec import Book

# a radio that is never worse than the book's noise, and a driver who never slips
PLAIN: dict[str, Any] = {
    "conditions": [{"share": 1}],
    "misread": 0,
    "swapped": 0,
    "repeated": 0,
}
LAP: dict[str, Any] = {
    "hearing": {"messages": {"lap": 9}},
    "fields": {
        "lap": {"kind": "wrapped", "modulus": 10, "drift": 1, "wander": 0},
        "energy": {
            "kind": "quantity",
            "unit": "kWh",
            "low": -2,
            "high": 2,
            "step": 0.1,
            "usual": 0,
            "spread": 0.4,
            "wander": 0.2,
        },
        "motor": {
            "kind": "quantity",
            "unit": "°C",
            "low": 40,
            "high": 139,
            "step": 1,
            "usual": 90,
            "spread": 12,
            "drift": 1,
            "wander": 3,
        },
        "alert": {"kind": "flags", "flags": ["rain", "damage"], "usual": [], "hold": 0.8},
        "mode": {"kind": "choice", "options": ["save", "push"]},
    },
    "tables": {
        "lap": {"kind": "digits"},
        "energy": {"kind": "digits"},
        "motor": {"kind": "digits"},
        "alert": {"kind": "scale", "symbols": "WXYZ"},
        "mode": {"kind": "scale", "symbols": "SP"},
        "check": {"kind": "check", "method": "iso7064 mod 37,36"},
    },
    "messages": {
        "lap": {"layout": "lap energy motor alert? check"},
        "mode": {"layout": '"M" mode check'},
    },
}


def lap_book(**hearing: Any) -> Book:
    """Return a book of a lap report (lap, energy, motor, alert, check) and a mode report."""
    return book_of(LAP | {"hearing": LAP["hearing"] | hearing})


PACKED: dict[str, Any] = {
    "fields": {
        "energy": {
            "kind": "quantity",
            "low": -3,
            "high": 3,
            "step": 0.1,
            "usual": 0,
            "spread": 0.8,
        },
        "motor": {"kind": "quantity", "low": 40, "high": 140, "step": 1, "usual": 90, "spread": 12},
        "battery": {"kind": "quantity", "low": 0, "high": 270, "step": 1},
    },
    "tables": {
        "all": {"kind": "packed", "fields": ["energy", "motor", "battery"]},
        "check": {"kind": "check", "method": "iso7064 mod 37,36"},
    },
    "messages": {"lap": {"layout": "all check"}},
}


def packed_book() -> Book:
    """Return a book of 61 · 101 · 271 combinations packed in four of 36 symbols, with a check."""
    return book_of(PACKED)
