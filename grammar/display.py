"""What a dash can show, and which of its characters look alike.

How often a character is read as another is computed from the patterns that the display lights,
which is no measurement: a pair is the more alike, the fewer of the parts that either lights
(segments, dots) the two do not share. How often characters are misread in all is stated elsewhere
(``misread`` of ``[hearing]``); here it is only told where that happens.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from typing import Literal, get_args

from grammar.data import table

Display = Literal["any", "7 segments", "14 segments", "16 segments", "5x7 dots"]
DISPLAYS: tuple[Display, ...] = get_args(Display)
ALIKE = 0.25  # the share of parts that two characters do not share, up to which they are alike
_SCALE = 0.12  # of that share, over which misreading falls to 1/e: ours, no source
_ROWS = 7
_COLUMNS = 5
_HALVES = {"a": "ao", "d": "dp"}  # of sixteen segments the top and the bottom one are in halves


@functools.cache
def patterns(display: Display) -> Mapping[str, frozenset[str]] | None:
    """Return the lit parts of each character that a display has; None for one that shows any
    character, of which no pattern is known.
    """
    if display == "any":
        return None
    if display == "5x7 dots":
        return {
            symbol: frozenset(_dots(rows))
            for symbol, rows in table("displays")["dots"]["5x7"].items()
        }
    drawn = table("displays")["segments"]["7" if display == "7 segments" else "14"]["patterns"]
    if display == "16 segments":
        return {
            symbol: frozenset("".join(_HALVES.get(part, part) for part in lit))
            for symbol, lit in drawn.items()
        }
    return {symbol: frozenset(lit) for symbol, lit in drawn.items()}


def _dots(rows: str) -> list[str]:
    return [
        f"{row},{column}"
        for row, number in enumerate(rows.split())
        for column in range(_COLUMNS)
        if int(number, 16) >> (_COLUMNS - 1 - column) & 1
    ]


def shown(display: Display, symbols: str, characters: str = "") -> tuple[str, dict[str, str]]:
    """Return the symbols that a display can show and tell apart, and why each other can't stand:
    it is none of ``characters`` where the dash has no others, has no usual pattern, or is drawn as
    another (of two the figure stays, then the one that comes first).
    """
    known, left, why = patterns(display), "", dict[str, str]()
    taken: dict[frozenset[str], str] = {}
    for symbol in sorted(symbols, key=lambda one: (not one.isdigit(), symbols.index(one))):
        lit = None if known is None else known.get(symbol)
        if characters and symbol not in characters:
            why[symbol] = "the dash does not have it"
        elif known is None:
            left += symbol
        elif lit is None:
            why[symbol] = f"{display} have no usual pattern for it"
        elif lit in taken:
            why[symbol] = f"{display} draw it as {taken[lit]}"
        else:
            taken[lit] = symbol
            left += symbol
    return "".join(symbol for symbol in symbols if symbol in left), why


def unlike(display: Display, one: str, other: str) -> float | None:
    """Return the share of the lit parts that two characters do not share, 0 for the same; None
    where a pattern is not known.
    """
    known = patterns(display)
    if known is None or one not in known or other not in known:
        return None
    return len(known[one] ^ known[other]) / len(known[one] | known[other])


def look_alikes(display: Display, symbols: str) -> list[tuple[str, str, float]]:
    """Return the pairs of symbols that look alike, the most alike first, with ``unlike``."""
    pairs = [
        (one, other, share)
        for place, one in enumerate(symbols)
        for other in symbols[place + 1 :]
        if (share := unlike(display, one, other)) is not None and share <= ALIKE
    ]
    return sorted(pairs, key=lambda pair: pair[2])


def misreadings(display: Display, symbols: str, misread: float) -> dict[str, dict[str, float]]:
    """Return P(read | shown), one row a symbol: ``misread`` on average over the symbols, more for
    those that have look-alikes, and all alike where no patterns are known.
    """
    weights = {
        one: {
            other: math.exp(-(share if share is not None else 1.0) / _SCALE)
            for other in symbols
            if other != one
            for share in (unlike(display, one, other),)
        }
        for one in symbols
    }
    whole = math.fsum(sum(row.values()) for row in weights.values())
    scale = misread * len(symbols) / whole if whole else 0.0
    rows = {}
    for one, row in weights.items():
        others = {other: min(0.5, scale * weight) for other, weight in row.items()}
        total = math.fsum(others.values())
        damped = min(1.0, 0.5 / total) if total else 1.0  # more than half is read as it is
        rows[one] = {one: 1 - damped * total} | {
            other: damped * share for other, share in others.items()
        }
    return rows
