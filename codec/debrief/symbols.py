"""Words heard as symbols, also where the report they are from can't be read; and two strings laid
side by side.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from grammar.book import Book
from grammar.speech.kinds import ONE_SYMBOL, WordKind
from grammar.speech.words import Word, cut

_ANEW = (WordKind.REPEAT, WordKind.ANEW)


@dataclass(frozen=True, slots=True)
class HeardSymbol:
    """One symbol heard, "" for a word that stands for none, and the word as it was written."""

    symbol: str
    word: str


def heard_symbols(book: Book, text: str) -> list[HeardSymbol]:
    """Return the symbols that the words of a transcript stand for, word by word.

    What was said before the speaker began anew does not count, nor do fillers. A typed string is
    cut into its symbols.
    """
    plain, given = book.lexicon.plain, text.split()
    if all(word in plain for word in given):  # as most are: each means one symbol for sure
        return [HeardSymbol(plain[word], word) for word in given]
    words = cut(book.lexicon, text)
    begin = max((place + 1 for place, word in enumerate(words) if word.kind in _ANEW), default=0)
    return list(_symbols(book, words[begin:]))


def _symbols(book: Book, words: Sequence[Word]) -> Iterator[HeardSymbol]:
    times, tens = 1, ""
    for word in words:
        meaning, raw = word.meaning, word.text
        one = meaning.options[0] if meaning.kind in ONE_SYMBOL and len(meaning.options) == 1 else ""
        if tens:
            yield from (
                HeardSymbol(symbol, raw)
                for symbol in (tens[0] if one.isdigit() and one != "0" else tens)
            )
            tens = ""
        if meaning.kind is WordKind.MULTIPLE:
            times = int(meaning.value)
            continue
        if one:
            yield from [HeardSymbol(one, raw)] * times
        elif meaning.kind is WordKind.TENS:
            tens = meaning.value
        elif meaning.kind is WordKind.TEEN:
            yield from (HeardSymbol(symbol, raw) for symbol in meaning.value)
        elif meaning.kind is WordKind.TYPED:
            yield from (
                HeardSymbol(symbol, symbol)
                for symbol in meaning.options[0]
                if symbol in book.alphabet.index
            )
        elif meaning.kind is WordKind.UNKNOWN:
            yield HeardSymbol("", raw)
        times = 1
    yield from (HeardSymbol(symbol, symbol) for symbol in tens)


def string_of(book: Book, words: str) -> str:
    """Return the symbols of some words as one string; words that stand for none are left out."""
    return "".join(heard.symbol for heard in heard_symbols(book, words))


@dataclass(frozen=True, slots=True)
class Aligned:
    """Two strings side by side: pairs of (said, heard), what was said and not heard, and what was
    heard and not said; ``marks`` tells of each symbol said whether it was heard (=), taken for
    another (x) or lost (-).
    """

    pairs: tuple[tuple[str, str], ...]
    lost: str
    added: str
    marks: str

    @property
    def wrong(self) -> tuple[tuple[str, str], ...]:
        """The pairs that differ."""
        return tuple(pair for pair in self.pairs if pair[0] != pair[1])


def side_by_side(said: str, heard: Sequence[str]) -> Aligned:
    """Lay two strings side by side; an element of ``heard`` may be "" for a word that is no symbol.

    Strings of one length are taken place by place. Otherwise the longest runs in common are found
    first, and what stands between them is paired only where as many were said as heard.
    """
    if len(said) == len(heard):
        return Aligned(tuple(zip(said, heard, strict=True)), "", "", _marked(said, heard))
    pairs: list[tuple[str, str]] = []
    lost = added = marks = ""
    for tag, a, b, c, d in difflib.SequenceMatcher(
        None, list(said), list(heard), autojunk=False
    ).get_opcodes():
        if tag == "equal" or b - a == d - c:
            pairs += zip(said[a:b], heard[c:d], strict=True)
            marks += _marked(said[a:b], heard[c:d])
        else:
            lost, added = lost + said[a:b], added + "".join(heard[c:d])
            marks += "-" * (b - a)
    return Aligned(tuple(pairs), lost, added, marks)


def _marked(said: str, heard: Sequence[str]) -> str:
    return "".join("=" if a == b else "x" for a, b in zip(said, heard, strict=True))
