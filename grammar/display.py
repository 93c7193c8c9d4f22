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
from dataclasses import dataclass
from typing import Literal, get_args

from grammar.data import table

Display = Literal["any", "7 segments", "14 segments", "16 segments", "5x7 dots", "7x9 dots"]
DISPLAYS: tuple[Display, ...] = get_args(Display)
ALIKE = 0.25  # the share of parts that two characters do not share, up to which they are alike
_SCALE = 0.12  # of that share, over which misreading falls to 1/e: ours, no source
CELL = (10.0, 20.0)  # in which a character is drawn: across, down
Line = tuple[float, float, float, float]  # from x, y to x, y


@dataclass(frozen=True, slots=True)
class Characters:
    """How a display draws: where each part that it can light lies in a ``CELL`` (a dot is a line of
    no length), how broad it is, and which parts each character lights.
    """

    parts: Mapping[str, Line]
    broad: float
    lit: Mapping[str, frozenset[str]]


@functools.cache
def characters(display: Display) -> Characters | None:
    """Return how a display draws, None for one that shows any character, as text does."""
    if display == "any":
        return None
    size, _, kind = display.partition(" ")
    tables = table("displays")
    if kind == "dots":
        across, down = (int(count) for count in size.split("x"))
        dots = {
            symbol: frozenset(_dots(rows, across)) for symbol, rows in tables[kind][size].items()
        }
        return Characters(_raster(across, down), 0.72 * CELL[0] / across * 1.25, dots)
    drawn = tables[kind]["14" if size == "16" else size]
    halves = tables[kind]["16"]["halves"] if size == "16" else {}
    lines = drawn["lines"] | (tables[kind]["16"]["lines"] if halves else {})
    slanted = drawn.get("slanted", "")
    return Characters(
        {name: _shortened(*line, slanted=name in slanted) for name, line in lines.items()},
        1.5,
        {
            symbol: frozenset("".join(halves.get(part, part) for part in lit))
            for symbol, lit in drawn["patterns"].items()
        },
    )


def patterns(display: Display) -> Mapping[str, frozenset[str]] | None:
    """Return the lit parts of each character that a display has; None for one that shows any
    character, of which no pattern is known.
    """
    known = characters(display)
    return None if known is None else known.lit


def _dots(rows: str, across: int) -> list[str]:
    return [
        f"{row},{column}"
        for row, number in enumerate(rows.split())
        for column in range(across)
        if int(number, 16) >> (across - 1 - column) & 1
    ]


def _raster(across: int, down: int) -> dict[str, Line]:
    """Return where the dots lie: in the middle of the parts of a cell."""
    wide, high = CELL[0] / across, CELL[1] / down
    return {
        f"{row},{column}": (x := wide * (column + 0.5), y := high * (row + 0.5), x, y)
        for row in range(down)
        for column in range(across)
    }


def _shortened(x1: float, y1: float, x2: float, y2: float, *, slanted: bool) -> Line:
    """Return a segment a little shorter at both ends, so that neighbours don't touch."""
    share = 0.16 if slanted else 0.9 / max(abs(x2 - x1) + abs(y2 - y1), 1)
    across, down = share * (x2 - x1), share * (y2 - y1)
    return x1 + across, y1 + down, x2 - across, y2 - down


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
