"""Answers read aloud: what was said, and how sure that is.

Before anything is heard it is as likely that a string was read right as that it was not, and any
one symbol is as easily taken for another: less than people read right, so that no slip is
overheard for being unlikely. What is then not sure enough, either way, is not marked.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from grammar.speech.kinds import CHANGING
from grammar.speech.words import cut

if TYPE_CHECKING:
    from codec.voice.listening import Transmission
    from grammar.book import Book

_RIGHT = 0.5  # how often a string is read right, before it is heard
SURE = 0.9  # what is less sure is not marked: it is said again, or typed


@dataclass(frozen=True, slots=True)
class ReadAloud:
    """An answer as it is marked, ``text``, and how sure it is that this was said."""

    text: str
    sure: float

    @property
    def enough(self) -> bool:
        """Tell whether it may be marked."""
        return bool(self.text) and self.sure >= SURE


def read_aloud(book: Book, shown: str, said: Transmission) -> ReadAloud:
    """Return what was said where ``shown`` stood on the dash; words that take something back are
    part of it.
    """
    scores = dict(said.scores)
    if shown not in scores and said.slots.score is not None:
        [score] = said.slots.score([shown])
        scores |= {} if score is None else {shown: score}
    if not scores:
        return ReadAloud("", 0.0)
    others = len(shown) * (len(book.alphabet.symbols) - 1)  # that one slip makes of what was shown
    for string in scores:
        scores[string] += math.log(_RIGHT if string == shown else (1 - _RIGHT) / max(1, others))
    best = max(scores, key=scores.__getitem__)
    sure = 1 / math.fsum(math.exp(score - scores[best]) for score in scores.values())
    words = " ".join(word for word in said.text.split() if word != "?")
    if any(word.kind in CHANGING for word in cut(book.lexicon, words)):
        return ReadAloud(words, sure)
    return ReadAloud(book.alphabet.say(best) if best else "", sure)
