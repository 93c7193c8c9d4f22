"""Procedure words that change what was said: CORRECTION, I SAY AGAIN, DISREGARD, WORDS TWICE.

Sources: ICAO Doc 9432 2.6, SERA.14075. They work on everything a stretch of speech may have meant: each way is a row of (symbol, place).
A correction repeats the last correct group and goes on from there, so every place where the repeated symbol stands before is kept as a
possibility; the layouts decide, and a tie is refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from grammar.errors import Span

Said = tuple[tuple[str, Span], ...]  # (symbol, its place in the text)
MOST_WAYS = 512


@dataclass(frozen=True, slots=True)
class Broken(Exception):
    """A procedure word that does not fit what was said before it."""

    word: int
    message: str
    hint: str


def symbols(said: Said) -> str:
    """Return the symbols of one way."""
    return "".join(symbol for symbol, _ in said)


def corrected(before: Sequence[Said], after: Sequence[Said], word: int) -> list[Said]:
    """CORRECTION: go on from the repeated group."""
    if not any(after):
        raise Broken(word, "nothing follows the correction", "the last correct group, then the right version, is expected")
    ways = [(*one[:place], *tail) for one in before for tail in after for place in range(len(one)) if tail and one[place][0] == tail[0][0]]
    if not ways:
        hint = "a correction repeats the last correct group; after CORRECTION, I SAY AGAIN the whole message follows"
        raise Broken(word, "the correction does not begin with a group that was said before it", hint)
    return ways


def repeated(before: Sequence[Said], after: Sequence[Said], word: int) -> list[Said]:
    """I SAY AGAIN: what follows must agree with what was said, or complete it."""
    ways = []
    for one in before:
        for tail in after:
            said, again = symbols(one), symbols(tail)
            if again and again in said:
                ways.append(one)
            elif again.startswith(said):
                ways.append(tail)
    if not ways:
        raise Broken(word, "the repetition differs from what was said before it", "ask for the report once more")
    return ways


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


def distinct(ways: Sequence[Said]) -> list[Said]:
    """Return the ways without those that say the same symbols as an earlier one."""
    return list({symbols(way): way for way in reversed(ways)}.values())[::-1]
