"""What a car is expected to say before it is heard, and what a line or a voice that can't be read
may have been, given that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from codec.radio.doubt import Doubt, doubt, of_any_lap
from grammar.book import Book

if TYPE_CHECKING:
    from codec.hear import Slots
    from codec.hear.words import Words


@dataclass(frozen=True, slots=True)
class Weighed:
    """What was heard, weighed ``alone`` and, where that can't be accepted and a report waits for
    its repeat, as an ``answer`` about that one.
    """

    alone: Doubt | None
    answer: Doubt | None

    @property
    def best(self) -> Doubt | None:
        """What it is taken for: the answer only where that can be accepted."""
        return self.answer if self.answer is not None and self.answer.accept else self.alone


@dataclass(frozen=True, slots=True)
class Expected:
    """What is known of a car before it is heard: the values of its last report, its radio, whether
    a report waits for its repeat, and what that one may have been.
    """

    book: Book
    last: Mapping[str, Any]
    radio: tuple[float, ...]
    waits: bool
    before: Doubt | None

    def same(self, other: Expected) -> bool:
        """Tell whether the same words would be taken for the same with another."""
        known = (self.last, self.radio, self.waits) == (other.last, other.radio, other.waits)
        return known and self.before is other.before

    def weigh(self, said: Words | Slots) -> Weighed:
        """Return what was said; it needs nothing but what is here, and may be done beside
        everything else.
        """
        last = of_any_lap(self.book, self.last) if self.waits else self.last
        alone = doubt(self.book, said, last, radio=self.radio)
        if self.before is None or (alone is not None and alone.accept):
            return Weighed(alone, None)
        return Weighed(alone, doubt(self.book, said, self.last, self.before))
