"""Procedure words that change what was said: CORRECTION, I SAY AGAIN, DISREGARD, WORDS TWICE.

Sources: ICAO Doc 9432 2.6, SERA.14075. They work on everything a stretch of speech may have meant:
each way is a row of (symbol, place). A correction repeats the last correct group and goes on from
there, so every place where the repeated symbol stands before is kept as a possibility; the layouts
decide, and a tie is refused.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

from grammar.errors import Span

Said = tuple[tuple[str, Span], ...]  # (symbol, its place in the text)
Symbol = TypeVar("Symbol")  # however a symbol said is held, with its place or its chances
MOST_WAYS = 512
MOST_WORDS = 1000  # words for symbols in a stretch that is corrected or repeated
MOST_CHANGES = 16  # procedure words in it
_MOST_WORK = 100_000  # symbols of all the ways looked at for one procedure word


@dataclass(frozen=True, slots=True)
class Broken(Exception):
    """A procedure word that does not fit what was said before it."""

    word: int
    message: str
    hint: str


def symbols(said: Said) -> str:
    """Return the symbols of one way."""
    return "".join(symbol for symbol, _ in said)


def many_ways(word: int) -> Broken:
    """Return the refusal of speech that leaves too much open to follow."""
    return Broken(
        word, "what was said may mean too many things", "ask for the report once more, word by word"
    )


def spliced(
    before: Iterable[Sequence[Symbol]],
    after: Iterable[Sequence[Symbol]],
    symbol_of: Callable[[Symbol], str],
) -> Iterator[tuple[Symbol, ...]]:
    """Yield every way a correction may be meant: what comes ``after`` it begins with a symbol said
    ``before``, and goes on from there. A word of no symbol ("") can't be the one repeated.
    """
    tails: dict[str, list[Sequence[Symbol]]] = {}
    for tail in after:
        if tail and symbol_of(tail[0]):
            tails.setdefault(symbol_of(tail[0]), []).append(tail)
    for said in before:
        for place, symbol in enumerate(said):
            for tail in tails.get(symbol_of(symbol), ()):
                yield (*said[:place], *tail)


def corrected(before: Sequence[Said], after: Sequence[Said], word: int) -> list[Said]:
    """CORRECTION: go on from the repeated group."""
    if not any(after):
        raise Broken(
            word,
            "nothing follows the correction",
            "the last correct group, then the right version, is expected",
        )
    ways = distinct(spliced(before, after, lambda said: said[0]), word)
    if not ways:
        hint = (
            "a correction repeats the last correct group; after CORRECTION, I SAY AGAIN the whole"
            " message follows"
        )
        raise Broken(
            word, "the correction does not begin with a group that was said before it", hint
        )
    return ways


def repeated(before: Sequence[Said], after: Sequence[Said], word: int) -> list[Said]:
    """I SAY AGAIN: what follows must agree with what was said, or complete it."""
    tails = [(symbols(tail), tail) for tail in after]
    ways = distinct(_agreeing([(symbols(one), one) for one in before], tails), word)
    if not ways:
        raise Broken(
            word,
            "the repetition differs from what was said before it",
            "ask for the report once more",
        )
    return ways


def _agreeing(
    before: Sequence[tuple[str, Said]], after: Sequence[tuple[str, Said]]
) -> Iterator[Said]:
    for said, one in before:
        for again, tail in after:
            if again and again in said:
                yield one
            elif again.startswith(said):
                yield tail


def doubled(after: Sequence[Said], word: int) -> list[Said]:
    """WORDS TWICE: every word twice, or all of it twice."""
    ways = []
    for tail in after:
        text, half = symbols(tail), len(tail) // 2
        if tail and len(tail) % 2 == 0:
            if text[::2] == text[1::2]:
                ways.append(tail[::2])
            if text[:half] == text[half:]:
                ways.append(tail[:half])
    if not ways:
        raise Broken(word, "the words are not the same both times", "ask for the report once more")
    return ways


def distinct(ways: Iterable[Said], word: int) -> list[Said]:
    """Return the ways without those that say the same symbols as an earlier one; raises Broken
    where there are too many.
    """
    kept: dict[str, Said] = {}
    work = 0
    for way in ways:
        kept.setdefault(symbols(way), way)
        work += len(way)
        if len(kept) > MOST_WAYS or work > _MOST_WORK:
            raise many_ways(word)
    return list(kept.values())
