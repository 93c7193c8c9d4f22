"""What was said, from how likely each word is at each time: the best strings of a book's symbols,
how likely the sound is for any string, and the doubts of each word.

The model's classes are first reduced to the symbols of a book: words that are no symbol of it, all
other talk and no word at all are one class, which may stand anywhere. Sums over all ways to place a
string in time are those of connectionist temporal classification (A. Graves et al. 2006).
"""

from __future__ import annotations

import functools
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING

from codec.hear import Slots
from codec.hear.slots import symbol_of
from grammar.symbols import normal

if TYPE_CHECKING:
    import numpy as np

    from grammar.book import Book

BEAM = 12
_LEAST = 1e-4  # how likely a symbol must be at a time to begin there
_TOLD = 1e-6  # words less likely than this are not told


class HeardSymbols:
    """A stretch of sound as it bears on the symbols of a book.

    ``likely`` is (time, 1 + symbols): the first column for anything that is no symbol.
    """

    def __init__(
        self, book: Book, classes: Sequence[str], log_posteriors: np.ndarray, temperature: float
    ) -> None:
        """Reduce the classes of the model to the symbols of the book."""
        import numpy as np

        self.book, self.temperature = book, temperature
        index = book.alphabet.index
        column = np.zeros(len(classes), dtype=int)
        for number, word in enumerate(classes):
            symbol = symbol_of(book, word) if word not in ("", "?") else None
            column[number] = 0 if symbol is None else 1 + index[symbol]
        likely = np.zeros((len(log_posteriors), 1 + len(index)))
        for number, share in enumerate(np.exp(log_posteriors).T):
            likely[:, column[number]] += share
        self.likely = likely + 1e-9

    @functools.cached_property
    def strings(self) -> list[list[int]]:
        """The likeliest strings, symbols by number, the best first, by prefix search."""
        import numpy as np

        beams: dict[tuple[int, ...], tuple[float, float]] = {(): (1.0, 0.0)}
        for row in self.likely:
            found: dict[tuple[int, ...], list[float]] = defaultdict(lambda: [0.0, 0.0])
            starting = [int(one) for one in np.flatnonzero(row[1:] > _LEAST)]
            for prefix, (passed, said) in beams.items():
                here = found[prefix]
                here[0] += (passed + said) * row[0]
                if prefix:
                    here[1] += said * row[1 + prefix[-1]]
                for symbol in starting:
                    before = passed if prefix and prefix[-1] == symbol else passed + said
                    found[(*prefix, symbol)][1] += before * row[1 + symbol]
            kept = sorted(found.items(), key=lambda pair: -sum(pair[1]))[:BEAM]
            whole = sum(sum(pair) for _, pair in kept)
            beams = {prefix: (a / whole, b / whole) for prefix, (a, b) in kept}
        found_last = sorted(beams.items(), key=lambda pair: -pair[1][0] - pair[1][1])
        return [list(prefix) for prefix, _ in found_last]

    def scores(self) -> dict[str, float]:
        """Return the scores of the likeliest strings, as symbols."""
        symbols = self.book.alphabet.symbols
        found = self.log_likelihoods(self.strings).tolist()
        return {
            "".join(symbols[number] for number in string): float(score)
            for string, score in zip(self.strings, found, strict=True)
        }

    def log_likelihoods(self, strings: Sequence[Sequence[int]]) -> np.ndarray:
        """Return log P(string | sound) of strings, symbols by number, over the temperature."""
        import numpy as np

        longest = max(map(len, strings), default=0)
        states = np.zeros((len(strings), 2 * longest + 1), dtype=int)
        ends = np.array([2 * len(string) for string in strings])
        for number, string in enumerate(strings):
            states[number, 1 : 2 * len(string) : 2] = np.array(string, dtype=int) + 1
        skips = np.zeros(states.shape, dtype=bool)
        skips[:, 3::2] = states[:, 3::2] != states[:, 1:-2:2]
        weights = np.zeros(states.shape)
        weights[:, 0] = 1.0
        scale = np.zeros(len(strings))
        for row in self.likely:
            after = weights.copy()
            after[:, 1:] += weights[:, :-1]
            after[:, 2:] += np.where(skips[:, 2:], weights[:, :-2], 0.0)
            after *= row[states]
            whole = after.sum(axis=1)
            scale += np.log(whole)
            weights = after / whole[:, None]
        rows = np.arange(len(strings))
        last = weights[rows, ends] + np.where(ends > 0, weights[rows, ends - 1], 0.0)
        found: np.ndarray = (scale + np.log(last + 1e-300)) / self.temperature
        return found

    def score(self, strings: Sequence[str]) -> list[float | None]:
        """Return what ``log_likelihoods`` does, of strings of symbols."""
        index = self.book.alphabet.index
        numbers = [[index[symbol] for symbol in string] for string in strings]
        return [float(one) for one in self.log_likelihoods(numbers)] if strings else []

    def slots(self) -> Slots:
        """Return the doubts of the likeliest string: for each word the others it may have been, or
        that there was none, and between words those that may have been missed, every one of these
        changes weighed over all ways to place the string so changed.
        """
        import numpy as np

        best, symbols = self.strings[0], self.book.alphabet.symbols
        words = [self.book.alphabet.words[symbol].word for symbol in symbols]
        count, size = len(best), len(symbols)
        changed = [
            [*best[:place], symbol, *best[place + 1 :]]
            for place in range(count)
            for symbol in range(size)
        ]
        fewer = [[*best[:place], *best[place + 1 :]] for place in range(count)]
        more = [
            [*best[:place], symbol, *best[place:]]
            for place in range(count + 1)
            for symbol in range(size)
        ]
        log = self.log_likelihoods([best, *changed, *fewer, *more])
        ratio = np.exp(np.minimum(50.0, log[1:] - log[0]))
        instead = ratio[: count * size].reshape(count, size)
        missing = ratio[count * size : count * (size + 1)]
        added = ratio[count * (size + 1) :].reshape(count + 1, size)
        slots: list[Mapping[str | None, float]] = []
        for row, none in zip(instead, missing, strict=True):
            whole = float(row.sum() + none)
            slot: dict[str | None, float] = {None: float(none) / whole}
            slot.update(_told(words, row / whole))
            slots.append(slot)
        gaps = [_told(words, row / (1 + row.sum())) for row in added]
        return Slots(slots, gaps, self.score)


def _told(words: Sequence[str], shares: np.ndarray) -> dict[str, float]:
    return {word: float(share) for word, share in zip(words, shares, strict=True) if share > _TOLD}


def words_said(classes: Sequence[str], log_posteriors: np.ndarray) -> str:
    """Return the likeliest class of each time as words, "?" for other talk."""
    said, before = [], 0
    for number in log_posteriors.argmax(axis=1).tolist():
        if number not in (0, before):
            said.append(classes[number])
        before = number
    return " ".join(said)


def unheard(book: Book, classes: Sequence[str], forms: Collection[str]) -> list[str]:
    """Return the words of a book's symbols that the model does not tell apart: of symbols that are
    none of its classes, and a team's own words that are none of the forms it knows.
    """
    known = {symbol_of(book, word) for word in classes if word not in ("", "?")}
    own = book.alphabet.spec.words
    words = {symbol: book.alphabet.words[symbol].word for symbol in book.alphabet.symbols}
    return [
        word
        for symbol, word in words.items()
        if symbol not in known or (symbol in own and normal(word) not in forms)
    ]
