"""What becomes of a report in the air, as those who design it need to know it; who listens is
given by the caller, as this package knows codes, not hearers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, Protocol

if TYPE_CHECKING:
    from grammar.book import Book
    from grammar.message import Message

Ear = Literal["tool", "card"]  # who listens: the tool that weighs words, or people with a card


@dataclass(frozen=True, slots=True)
class Met:
    """What becomes of a report, with standard errors.

    ``seconds`` is the radio time, with the question and the answer where one is asked; ``wrong``
    the share of reports accepted with a wrong reading, ``ask`` of those asked about when first
    heard, ``lost`` of those given up. ``price`` is what wrong readings cost a report, in seconds;
    None where one costs as much as any other.
    """

    seconds: float
    seconds_error: float
    wrong: float
    wrong_error: float
    ask: float
    ask_error: float
    lost: float = 0.0
    price: float | None = None


class HearingTrial(Protocol):
    """Measures what becomes of the reports of a message."""

    def __call__(self, book: Book, message: Message, ear: Ear, seed: int) -> Met:
        """Return what becomes of a report; the same seed gives the same figures."""
        ...


def one_in(share: float, error: float = 0.0) -> str:
    """Return a share of reports as people say it: 1 in 10,000, two figures that count; with its
    standard error in per cent of it, where there is one.
    """
    if share <= 0:
        return "none"
    number = 1 / share
    rounded = max(1, round(number, 1 - math.floor(math.log10(number))))
    told = f"1 in {rounded:,.0f}" if rounded >= 10 else f"1 in {number:.1f}"
    return told + (f" ±{min(999, 100 * error / share):.0f}%" if error > 0 else "")
