"""What a report that can't be read may have been, and what to ask: a narrow door to
``codec.hear``.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from codec.lap_report import lap_field
from codec.radio.forms import Utterance
from codec.radio.laps import whole_lap
from codec.radio.outlook import level_of_lap
from codec.reading import Reading
from codec.sheet.entry import Entry
from grammar.book import Book
from grammar.errors import CodeError
from grammar.exact import percent
from grammar.fields import ENUMERABLE
from grammar.message import Direction

if TYPE_CHECKING:
    from codec.hear import Hearing, Slots
    from codec.hear.words import Words

# a guess below this can't be taken, not even by hand: it is more likely wrong than right
LIKELY = 0.5
_SURE = 0.9  # a field less sure than this is pointed out
_TELLING = 0.1  # and one less sure than this says nothing of the report
_GUESSED = "most likely"
_TOLD = re.compile(rf"{_GUESSED} (\S+) \([<>]? ?([\d.]+) %\)")
NOISY = "heard through noise"  # the note of a report that was taken all the same
REMEMBERED = 100  # reports: of what is longer ago nearly all is forgotten


@dataclass(frozen=True, slots=True)
class Doubt:
    """The likeliest reading with its probability, the fields that are not sure, what to ask, and
    whether it may be taken as it is.

    ``fields`` holds (title, value, probability of it) of every doubtful field; ``hearing`` is what
    an answer to the question is added to.
    """

    guess: Reading
    probability: float
    fields: tuple[tuple[str, str, float], ...]
    question: str
    accept: bool
    hearing: Hearing

    @property
    def lap(self) -> int | None:
        """The lap that is likely said, whatever else was heard; None if none is."""
        lap = self.hearing.marginals.get(lap_field(self.hearing.book))
        value = lap.value(lap.level) if lap is not None and lap.probability >= LIKELY else None
        return int(value) if isinstance(value, Decimal) else None

    @property
    def message(self) -> str:
        """The message that is likely said, whatever its values; "" if none is."""
        messages = self.hearing.messages
        message = max(messages, key=messages.__getitem__)
        return message if messages[message] >= LIKELY else ""

    @property
    def sure(self) -> str:
        """How sure the guess is, as people read it."""
        return how_sure(self.probability)


def how_sure(probability: float) -> str:
    """Return a probability as people read it: never all of 100 %, which nothing heard through noise
    is.
    """
    return percent(min(probability, 0.9999))


def radio_after(book: Book, reports: Iterable[Entry]) -> tuple[float, ...]:
    """Return what is known of the radio for the next report of a car, by its reports as they were
    first written, the oldest first.
    """
    from codec.hear import channel

    ears, radio = channel(book), tuple[float, ...]()
    for entry in deque(reports, REMEMBERED):
        words = len(entry.string) or len(entry.heard.split())
        clean = not entry.refusal and NOISY not in entry.note
        radio = ears.learnt(radio, words, clean=clean)
    return radio


def of_any_lap(book: Book, last: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return the values of the last report without its lap: where one waits for its repeat, what is
    heard next is that lap again or the next.
    """
    return {name: value for name, value in (last or {}).items() if name != lap_field(book)}


def slots_of(utterance: Utterance) -> Slots:
    """Return the doubts of an utterance as they are heard."""
    from codec.hear import Slots

    def score(strings: Sequence[str]) -> list[float | None]:
        return [utterance.scores.get(string) for string in strings]

    slots = [{word or None: share for word, share in slot.items()} for slot in utterance.slots]
    return Slots(slots, utterance.gaps, utterance.score or (score if utterance.scores else None))


def doubt(
    book: Book,
    text: Words | Slots,
    last: Mapping[str, Any] | None,
    asked: Doubt | None = None,
    radio: Sequence[float] = (),
    direction: Direction = "car",
    *,
    laps: int = 1,
    of_laps: Mapping[int, float] | None = None,
    surprise: float = 0.0,
    again: bool = False,
    ask: bool = True,
) -> Doubt | None:
    """Return what ``text`` may have been, given the values of the last report of this car, ``laps``
    ago, and what is known of its radio; None where nothing can be said. ``of_laps`` tells how
    likely it is of each lap, where more is known of that than how many laps ago the last one was,
    ``surprise`` how likely that report was another one.

    With ``asked``, the text answers the question asked there, or says all of it ``again``. Without
    ``ask`` nobody is to be asked, and what can't be accepted is weighed in half the time.
    """
    from codec.hear import AskedPart, Prior, hear

    earlier = [] if asked is None else [asked.hearing]
    prior = Prior.of(dict(last), laps) if last else None
    if prior is not None and surprise:
        prior = replace(prior, surprise=surprise)
    if prior is not None and of_laps:
        prior = replace(prior, told=levels_of_laps(book, of_laps))
    try:
        hearing = hear(
            book,
            text,
            prior=prior,
            direction=direction,
            earlier=earlier,
            part=AskedPart() if again else None,
            radio=() if earlier else radio,
            count=5 if ask else 1,
            ask=ask,
        )
    except (CodeError, ValueError):
        return None
    if not hearing.candidates:
        return None
    best = hearing.candidates[0]
    fields = [
        (marginal.field.title, marginal.text(marginal.level), marginal.probability)
        for name, marginal in hearing.marginals.items()
        if name in best.reading.levels and marginal.probability < _SURE
    ]
    decision = hearing.decision
    return Doubt(
        best.reading,
        best.probability,
        tuple(fields),
        decision.question,
        decision.kind == "accept",
        hearing,
    )


def levels_of_laps(book: Book, laps: Mapping[int, float]) -> dict[str, tuple[float, ...]]:
    """Return the shares of the levels that say laps, by the field that does; {} where none can be
    told.
    """
    name = lap_field(book)
    if not name or book.fields[name].size > ENUMERABLE:
        return {}
    shares = [0.0] * book.fields[name].size
    for lap, share in laps.items():
        level = level_of_lap(book, lap)
        if level is not None:
            shares[level] += share
    whole = sum(shares)
    return {name: tuple(share / whole for share in shares)} if whole > 0 else {}


def doubtful(guess: Doubt) -> list[tuple[str, str, float]]:
    """Return the (title, value, probability) worth telling of: none where it is likely that no
    report was heard at all.
    """
    if guess.hearing.nothing >= LIKELY:
        return []
    return [field for field in guess.fields if field[2] >= _TELLING]


@dataclass(frozen=True, slots=True)
class Perhaps:
    """What a report that can't be read most likely was: its symbols ("" where no guess is likely),
    and its lap where that is sure.
    """

    string: str
    probability: float
    lap: int | None

    def __str__(self) -> str:
        return f"{_GUESSED} {self.string} ({how_sure(self.probability)})" if self.string else ""


def guess_of(note: str) -> Perhaps | None:
    """Return what an entry's note tells that it most likely was; None if it tells nothing."""
    found = _TOLD.search(note)
    return None if found is None else Perhaps(found[1], min(float(found[2]) / 100, 0.9999), None)


def guessed(note: str) -> str:
    """Return the part of an entry's note that tells what it most likely was, "" if it has none."""
    return note[note.find(_GUESSED) :] if _GUESSED in note else ""


def perhaps(book: Book, doubted: Doubt | None, context: Mapping[str, Any]) -> Perhaps | None:
    """Return what a report that can't be read most likely was, given what restores its lap; None
    where nobody can tell.
    """
    if doubted is None:
        return None
    guess, name = doubted.guess, lap_field(book)
    marginal, lap = doubted.hearing.marginals.get(name), None
    if marginal is not None and marginal.probability >= _SURE:
        lap = restored(doubted, context).values.get(name)
    string = guess.said if doubted.probability >= LIKELY else ""
    return Perhaps(string, doubted.probability, whole_lap(lap))


def restored(doubted: Doubt, context: Mapping[str, Any]) -> Reading:
    """Return the likeliest reading with its lap made whole."""
    guess = doubted.guess
    return Reading(doubted.hearing.book, guess.match, guess.text, guess.spans, dict(context))
