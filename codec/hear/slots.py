"""What a recogniser made of one stretch of sound, with its doubts: slots of words.

A slot is a place where it heard a word: each word it may have been with its probability, and under
None the probability that there was no word. What these leave of 1 is any word. Before, between and
after the slots are gaps: each word that may have been missed there with its probability; what these
leave of 1 is that there was none.

Such probabilities already say how the sound was heard, so nothing is laid over them: a word is
the symbol it means and no other; only the driver may slip. A recogniser that can tell how likely
its sound is for whole strings gives ``score``: the best readings are then weighed by that.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from codec.hear.heard import WHOLE, AskedPart, HeardReport, HeardSlot
from grammar.errors import CodeError, Incomplete, ReportError
from grammar.symbols import normal

if TYPE_CHECKING:
    from grammar.book import Book

MOST_SLOTS = 60

# for each string of symbols the natural logarithm of P(sound | string), up to one constant; None
# where the recogniser can't tell
Score = Callable[[Sequence[str]], Sequence[float | None]]


@dataclass(frozen=True)
class Slots:
    """What was heard in one stretch of sound.

    ``slots`` holds {word: probability}, None for no word; ``gaps``, one more than the slots or none
    at all, {word: probability} of words missed before, between and after them; ``score`` may tell
    log P(sound | string).
    """

    slots: Sequence[Mapping[str | None, float]]
    gaps: Sequence[Mapping[str, float]] = ()
    score: Score | None = None

    def __post_init__(self) -> None:
        """Refuse what are no probabilities; raises CodeError (kind "alternatives")."""
        if self.gaps and len(self.gaps) != len(self.slots) + 1:
            raise CodeError(
                f"{len(self.slots)} slots with {len(self.gaps)} gaps",
                kind="alternatives",
                expected=["no gaps, or one more than slots"],
            )
        places: list[Mapping[Any, float]] = [*self.slots, *self.gaps]
        for place in places:
            for word, share in place.items():
                if not 0 <= share <= 1:
                    raise _no_probability(word, share)
            whole = math.fsum(place.values())
            if whole > 1 + 1e-6:
                raise _no_probability("all words of a slot", whole)

    @property
    def text(self) -> str:
        """The likeliest word of each slot, without slots that most likely hold none."""
        best = [max(slot, key=lambda word: slot[word], default="?") for slot in self.slots]
        return " ".join(word for word in best if word is not None)


def _no_probability(word: object, share: float) -> CodeError:
    return CodeError(
        f"{share} for {str(word)[:40]!r} is no probability",
        kind="alternatives",
        expected=["0 to 1 for each word, and at most 1 for all words of a slot"],
    )


def listen_to_slots(book: Book, heard: Slots, part: AskedPart = WHOLE) -> HeardReport:
    """Return the hearing in slots; raises ReportError where there are none, or too many."""
    if not heard.slots and not any(heard.gaps):
        raise Incomplete("nothing was heard", kind="no-report")
    if len(heard.slots) > MOST_SLOTS:
        raise ReportError(
            f"{len(heard.slots)} words are too many for one report",
            kind="too-long",
            source=heard.text,
            hint="pass one report at a time",
        )
    gaps = heard.gaps or [{} for _ in range(len(heard.slots) + 1)]
    places = [_place(book, gaps[0], gap=True)]
    for slot, gap in zip(heard.slots, gaps[1:], strict=True):
        places += [_place(book, slot, gap=False), _place(book, gap, gap=True)]
    return HeardReport([], part, heard.text, slots=tuple(places), score=heard.score)


def _place(
    book: Book, words: Mapping[str, float] | Mapping[str | None, float], *, gap: bool
) -> HeardSlot:
    """Return how likely each symbol is at a place, and that it holds none: no word, or a word that
    is no symbol.
    """
    import numpy as np

    index = book.alphabet.index
    likelihood, passed, rest = np.zeros(len(index)), 0.0, 1.0
    for word, share in words.items():
        symbol = None if word is None else symbol_of(book, word)
        if symbol is None:
            passed += share
        else:
            likelihood[index[symbol]] += share
        rest -= share
    rest = max(0.0, rest)
    if gap:
        return HeardSlot(likelihood, passed + rest)
    even = rest / (len(index) + 1)
    return HeardSlot(likelihood + even, passed + even)


def symbol_of(book: Book, word: str) -> str | None:
    """Return the symbol a word means in a book, None if it means none or several."""
    meaning = book.lexicon.meanings.get(normal(word))
    options = () if meaning is None else meaning.options
    return next((option for option in options if len(option) == 1), None)
