"""What a report that can't be read may have been, and what to ask: a narrow door to ``codec.hear``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from codec.reading import Reading
from grammar.book import Book
from grammar.errors import CodeError

if TYPE_CHECKING:
    from codec.hear import Hearing

_SURE = 0.9  # a field less sure than this is pointed out
LIKELY = 0.5  # a guess below this is more likely wrong than right: it is worth no mention
_GUESSED = "most likely"


@dataclass(frozen=True, slots=True)
class Doubt:
    """The likeliest reading with its probability, the fields that are not sure, what to ask, and whether it may be taken as it is.

    ``fields`` holds (title, value, probability of it) of every doubtful field; ``hearing`` is what an answer to the question is added to.
    """

    guess: Reading
    probability: float
    fields: tuple[tuple[str, str, float], ...]
    question: str
    accept: bool
    hearing: Hearing


def doubt(book: Book, text: str, last: Mapping[str, Any] | None, asked: Doubt | None = None) -> Doubt | None:
    """Return what ``text`` may have been, given the values of the last report of this car; None where nothing can be said.

    With ``asked``, the text answers the question asked there.
    """
    from codec.hear import hear

    earlier = [] if asked is None else [asked.hearing]
    try:
        hearing = hear(book, text, prior=dict(last) if last else None, direction="car", earlier=earlier)
    except (CodeError, ValueError):
        return None
    if not hearing.candidates:
        return None
    best = hearing.candidates[0]
    fields = []
    for name, marginal in hearing.marginals.items():
        if name in best.reading.levels and marginal.probability < _SURE:
            fields.append((marginal.field.title, marginal.text(marginal.level), marginal.probability))
    decision = hearing.decision
    return Doubt(best.reading, best.probability, tuple(fields), decision.question, decision.kind == "accept", hearing)


@dataclass(frozen=True, slots=True)
class Perhaps:
    """What a report that can't be read most likely was: its symbols ("" where no guess is likely), and its lap where that is sure."""

    string: str
    probability: float
    lap: int | None

    def __str__(self) -> str:
        share = f"{100 * self.probability:.0f} %" if self.probability < 0.995 else "> 99 %"
        return f"{_GUESSED} {self.string} ({share})" if self.string else ""


def guessed(note: str) -> str:
    """Return the part of an entry's note that tells what it most likely was, "" if it has none."""
    return note[note.find(_GUESSED) :] if _GUESSED in note else ""


def perhaps(book: Book, text: str, last: Mapping[str, Any] | None, context: Mapping[str, Any]) -> Perhaps | None:
    """Return what ``text`` most likely was, given the values of the last report and what restores its lap; None where nobody can tell."""
    from codec.sheet.laps import lap_field

    found = doubt(book, text, last)
    if found is None:
        return None
    marginal = found.hearing.marginals.get(lap_field(book))
    sure = marginal is not None and marginal.probability >= _SURE
    guess = found.guess
    said = Reading(book, guess.match, guess.text, guess.spans, dict(context)).values.get(lap_field(book)) if sure else None
    string = guess.said if found.probability >= LIKELY else ""
    return Perhaps(string, found.probability, int(said) if isinstance(said, Decimal) and said == said.to_integral_value() else None)
