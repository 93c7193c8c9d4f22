"""One heard word to its likelihoods: a word of the book, one of no table by its sound, an unclear
one, or a recogniser's alternatives.
"""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from codec.hear.channel import Channel
from codec.hear.evidence import Slot
from grammar import sound
from grammar.errors import CodeError, ReportError
from grammar.symbols import normal

if TYPE_CHECKING:
    from grammar.book import Book

Item = str | Mapping[str, float] | Sequence[Sequence[Any]]
MARK = re.compile(
    r"\[[^\]\n]*\]|(?<!\S)[?]+(?!\S)|\((?:unclear|inaudible|unintelligible)\)", re.IGNORECASE
)


class Ear:
    """Turns words into slots for one book and channel."""

    def __init__(self, book: Book, channel: Channel) -> None:
        """Take the book for its words and the channel for how they are heard."""
        self.book, self.channel = book, channel

    def symbol(self, symbol: str, label: str) -> Slot:
        """Return the slot of a word of the book."""
        return Slot(self.channel.heard(symbol), 1 / self.channel.vocabulary, label, symbol)

    def unclear(self, label: str) -> Slot:
        """Return the slot of a word that may be anything."""
        import numpy as np

        return Slot(np.ones(self.channel.vocabulary), 1.0, label)

    def foreign(self, text: str, source: str = "", span: tuple[int, int] | None = None) -> Slot:
        """Return the slot of a word that is in no table, by its sound; one that can't be sounded
        may be anything.
        """
        phones = sound_of(text)
        if phones is None:
            if not any(character.isalnum() for character in text):
                return self.unclear(text)
            raise ReportError(
                f"{text[:40]!r} can't be placed by its sound",
                kind="no-sound",
                source=source,
                span=span,
                hint="write it in letters, or ? for a word that was not understood",
            )
        return Slot(self.channel.foreign(normal(text)), 1 / (self.channel.vocabulary + 1), text)

    def item(self, item: Item) -> Slot:
        """Return the slot of one word of a list."""
        if isinstance(item, str):
            return self.one(item)
        if isinstance(item, Mapping):
            return self.choice(list(item.items()))
        if not isinstance(item, Sequence):
            raise CodeError(
                f"{str(item)[:40]} is no word",
                kind="alternatives",
                expected=["a text", '{"word": confidence}'],
            )
        return self.choice(
            [
                tuple(pair) if isinstance(pair, Sequence) and not isinstance(pair, str) else (pair,)
                for pair in item
            ]
        )

    def one(self, text: str) -> Slot:
        """Return the slot of a text that is one spoken word."""
        form = normal(text)
        meaning = self.book.lexicon.meanings.get(form)
        options = (
            [] if meaning is None else [option for option in meaning.options if len(option) == 1]
        )
        if options:
            return self.symbol(options[0], text)
        if means_unclear(form):
            return self.unclear(text or "?")
        return self.foreign(form)

    def choice(self, pairs: Sequence[tuple[Any, ...]]) -> Slot:
        """Return the slot of alternatives with confidences; what these leave of 1 is any word, more
        than 1 in all is scaled down.
        """
        import numpy as np

        if not pairs:
            return self.unclear("?")
        for pair in pairs:
            if (
                len(pair) != 2
                or not isinstance(pair[0], str)
                or not isinstance(pair[1], int | float)
                or not 0 <= pair[1] <= 1
            ):
                raise CodeError(
                    f"{'='.join(map(str, pair))[:60]!r} is no alternative with its confidence",
                    kind="alternatives",
                    expected=["a word and its confidence, a number from 0 to 1"],
                )
        total = max(1.0, math.fsum(confidence for _, confidence in pairs))
        rest = max(0.0, 1 - math.fsum(confidence for _, confidence in pairs) / total)
        even = 1 / self.channel.vocabulary
        likelihood, stray = np.full(self.channel.vocabulary, rest * even), rest * even
        for word, confidence in pairs:
            slot = self.one(word)
            scale = (
                even if slot.stray == 1.0 else 1.0
            )  # an unclear word stands for each word of the book alike
            likelihood = likelihood + confidence / total * slot.likelihood * scale
            stray += confidence / total * slot.stray * scale
        return Slot(likelihood, stray, "/".join(word for word, _ in pairs))


def means_unclear(text: str) -> bool:
    """Tell whether a text that stands for one word only marks that nothing was understood."""
    return set(text) <= set("?.… ") or MARK.fullmatch(text) is not None


@functools.lru_cache(maxsize=2048)
def sound_of(text: str) -> sound.Phones | None:
    """Return the phones of a text, None for what has no sound."""
    try:
        return sound.phones(normal(text))
    except CodeError:
        return None
