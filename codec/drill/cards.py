"""When an item is due again: the scheduler of the library fsrs (a model of memory fitted to very
many reviews), fed with our marks.

Cards are not stored: they follow from the journal's answers. Random changes of the intervals are
off, so that the same answers give the same plan. The version is pinned: releases differ in what a
hard answer on the same day does.
"""

from __future__ import annotations

import datetime
import functools
from typing import TYPE_CHECKING, Any, Literal

from codec.drill.answer import Answer
from grammar.libraries import needed

if TYPE_CHECKING:
    from fsrs import Card, Scheduler

Grade = Literal["again", "hard", "good"]
_SLOW = 1.6  # times the usual seconds of this person, from which a right answer counts as hard


@functools.cache
def _library() -> Any:
    return needed("fsrs", "drill")


@functools.cache
def scheduler() -> Scheduler:
    """Return the scheduler, without random intervals."""
    made: Scheduler = _library().Scheduler(enable_fuzzing=False)
    return made


def grade(answer: Answer, usual: float | None = None) -> Grade:
    """Return the grade of an answer: wrong is "again"; corrected, asked for again, or slow against
    ``usual`` seconds a symbol is "hard".
    """
    if not answer.right:
        return "again"
    slow = (
        usual is not None
        and answer.last is not None
        and answer.last / max(1, len(answer.shown)) > _SLOW * usual
    )
    return "hard" if answer.outcome == "corrected" or answer.repeats or slow else "good"


class Cards:
    """The cards of one person in one drill, by item key."""

    def __init__(self) -> None:
        """Begin without any."""
        self._cards: dict[str, Card] = {}

    def review(self, key: str, given: Grade, at: datetime.datetime) -> None:
        """Note that an item was asked and how it went."""
        rating = _library().Rating[given.capitalize()]
        card = self._cards.get(key)
        if card is None:
            card = _library().Card(card_id=len(self._cards) + 1, due=at)
        self._cards[key], _ = scheduler().review_card(card, rating, at)

    def __contains__(self, key: str) -> bool:
        return key in self._cards

    def due(self, key: str) -> datetime.datetime | None:
        """Return when an item is due, None if it was never asked."""
        card = self._cards.get(key)
        return None if card is None else card.due

    def recall(self, key: str, at: datetime.datetime) -> float:
        """Return the probability that an item is still known, 0 if it was never asked."""
        card = self._cards.get(key)
        return 0.0 if card is None else float(scheduler().get_card_retrievability(card, at))

    def interval(self, key: str) -> int:
        """Return the whole days between the last answer and the next; raises KeyError for an item
        never asked.
        """
        card = self._cards[key]
        return (
            0
            if card.due is None or card.last_review is None
            else (card.due - card.last_review).days
        )


def moment(at: str) -> datetime.datetime:
    """Return the time of an answer."""
    return datetime.datetime.fromisoformat(at)
