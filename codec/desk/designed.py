"""Designs that lie beside a sheet: what ``niner design --json`` told, with the book of each
proposal, and needs files that wait to be designed.
"""

from __future__ import annotations

import functools
import json
import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from grammar.book import Book
from grammar.parsing import parse_book

_MOST_BYTES = 20_000_000
_MOST_FILES = 50
WIDTH, HEIGHT, _LEFT, _BELOW = 640, 300, 90, 40  # of the figure
_FREE = 1.3  # so far from a name, in halves of it, is room enough


@dataclass(frozen=True, slots=True)
class Proposed:
    """A proposal of a design with its figures: mean seconds with questions, seconds at most, the
    share accepted wrong; who hears it; whether nothing beats it, and whether it was picked; what it
    is called among all ("best by card"), and whether it keeps the limits.
    """

    name: str
    seconds: float
    worst: float
    wrong: float
    rows: int
    ear: Literal["tool", "card"]
    best: bool
    picked: bool
    source: str
    names: tuple[str, ...] = ()
    kept: bool = True

    @property
    def text(self) -> str:
        """What it is, in words."""
        who = "heard by people with a card" if self.ear == "card" else "heard by the tool"
        odds = f"1 in {1 / self.wrong:,.0f}" if self.wrong else "none seen"
        return (
            f"{self.name}, {who}: {self.seconds:.2f} s with questions, wrong {odds},"
            f" {self.rows:,} rows"
        )


@dataclass(frozen=True, slots=True)
class Design:
    """What was proposed for some needs; ``bound`` is the least mean seconds of any code, ``wrong``
    the limit of what is accepted wrong, ``explained`` says in two sentences what was picked.
    """

    title: str
    bound: float
    proposals: Sequence[Proposed]
    wrong: float | None = None
    explained: str = ""

    def book(self, number: int) -> Book | None:
        """Return the book of a proposal, None where there is none of that number."""
        if not 0 <= number < len(self.proposals):
            return None
        return _book(self.proposals[number].source, self.proposals[number].name)


@dataclass(frozen=True, slots=True)
class PlacedProposal:
    """Where a proposal stands in the figure, and where its name does, if it has one."""

    number: int
    x: float
    y: float
    proposed: Proposed
    name_x: float = 0.0
    name_y: float = 0.0


@dataclass(frozen=True, slots=True)
class Frontier:
    """The figure of a design: seconds with questions to the right, one wrong report in how many
    upwards; ``limit`` is the height of the limit of these.
    """

    marks: Sequence[PlacedProposal]
    across: Sequence[tuple[float, str]]
    up: Sequence[tuple[float, str]]
    limit: float | None = None
    width: int = WIDTH
    height: int = HEIGHT


def designs_beside(folder: Path) -> dict[str, Design]:
    """Return the designs whose results lie in a folder, by the names of their files."""
    found = {}
    for path in sorted(folder.glob("*.json"))[:_MOST_FILES]:
        try:
            told = path.stat()
            design = _read(path, told.st_mtime_ns, told.st_size)
        except OSError:
            continue
        if design is not None:
            found[path.stem] = design
    return found


def needs_beside(folder: Path) -> list[str]:
    """Return the names of the needs files in a folder."""
    found = []
    for path in sorted(folder.glob("*.toml"))[:_MOST_FILES]:
        try:
            keys = tomllib.loads(path.read_text("utf-8")[:_MOST_BYTES]).keys()
        except (OSError, ValueError):
            continue
        if {"fields", "message"} <= keys and not {"tables", "messages"} & keys:
            found.append(path.name)
    return found


@functools.lru_cache(32)
def _read(path: Path, _changed: int, size: int) -> Design | None:
    """Return the design in a file, None where it holds none."""
    if size > _MOST_BYTES:
        return None
    try:
        told = json.loads(path.read_text("utf-8"))
        return Design(
            str(told["needs"]),
            float(told["bound"]),
            [_proposed(one) for one in told["proposals"]],
            told.get("limits", {}).get("wrong"),
            str(told.get("explained", "")),
        )
    except (OSError, ValueError, AttributeError, KeyError, TypeError, RecursionError):
        return None


def _proposed(told: dict[str, Any]) -> Proposed:
    seconds = told["seconds"]
    return Proposed(
        name=str(told["name"]),
        seconds=float(seconds["with_questions"]),
        worst=float(seconds["worst"]),
        wrong=float(told["wrong"]),
        rows=int(told["rows"]),
        ear="card" if told["ear"] == "card" else "tool",
        best=bool(told["frontier"]),
        picked=bool(told["picked"]),
        source=str(told["book"]),
        names=tuple(map(str, told.get("names", ()))),
        kept=bool(told["keeps_limits"]),
    )


@functools.lru_cache(64)
def _book(source: str, name: str) -> Book:
    return parse_book(source, name)


def frontier(design: Design) -> Frontier:
    """Return the figure of a design. What was never heard wrong stands on the highest line."""
    wrongs = [one.wrong for one in design.proposals if one.wrong > 0]
    limits = [] if design.wrong is None else [design.wrong]
    low, high = (min(wrongs) / 3, max(wrongs + limits) * 1.5) if wrongs else (1e-6, 1e-1)
    least = min((one.seconds for one in design.proposals), default=0.0)
    most = max((one.seconds for one in design.proposals), default=1.0)
    start, reach = 0.9 * least, max(1.1 * most - 0.9 * least, 0.1)

    def x(seconds: float) -> float:
        return round(_LEFT + (WIDTH - _LEFT - 10) * (seconds - start) / reach, 1)

    def y(wrong: float) -> float:
        share = math.log(max(wrong, low) / low) / math.log(high / low)
        return round((HEIGHT - _BELOW) * share + 10 * (1 - share), 1)

    step = next(one for one in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 1000) if reach / one <= 8)
    seconds = [step * n for n in range(math.ceil(start / step), int((start + reach) / step) + 1)]
    powers = range(math.ceil(math.log10(low)), math.floor(math.log10(high)) + 1)
    return Frontier(
        _named(
            [
                PlacedProposal(n, x(one.seconds), y(one.wrong), one)
                for n, one in enumerate(design.proposals)
            ]
        ),
        [(x(at), f"{at:g} s") for at in seconds],
        [(y(10.0**power), f"1 in {10**-power:,}" if power <= 0 else "") for power in powers],
        None if design.wrong is None else y(design.wrong),
    )


def _named(marks: Sequence[PlacedProposal]) -> list[PlacedProposal]:
    """Return points with a place for each name: above or below it, where it is farthest from points
    and names; a name is the width of its letters.
    """
    taken = [(mark.x, mark.y) for mark in marks]
    found = []
    for mark in marks:
        if not mark.proposed.names:
            found.append(mark)
            continue
        half = 3.2 * len(", ".join(mark.proposed.names))
        places = [
            (min(max(mark.x + dx, _LEFT + half), WIDTH - 10 - half), mark.y + dy)
            for dy in (-18, 26, -34, 42, -50)
            for dx in (0, half, -half)
            if 14 < mark.y + dy < HEIGHT - _BELOW - 4
        ]
        best = max(
            places,
            key=lambda place: (
                min(
                    (
                        math.hypot((place[0] - one) / half, (place[1] - other) / 14)
                        for one, other in taken
                        if (one, other) != (mark.x, mark.y)
                    ),
                    default=_FREE,
                )
                >= _FREE
            ),
        )  # the nearest of those that are free
        taken.append(best)
        found.append(replace(mark, name_x=round(best[0], 1), name_y=round(best[1], 1)))
    return found
