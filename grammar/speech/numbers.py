"""Number words: every string of digits that a run of words may stand for, and whole numbers as
words.

Sources: ICAO Annex 10 Volume II 5.2.1.4.1.1-2 and CAP 413 chapter 2 table 3. Where words leave open
whether numbers are added or said one after the other ("four thousand three hundred" is 4300, but
also 4000 and then 300) both are kept: what a layout has no place for falls away later, and a tie is
refused. Leading zeros are digits like any other.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from grammar.speech.kinds import WordKind
from grammar.speech.lexicon import Meaning

DigitArc = tuple[int, str]  # (how many words, the digits they stand for)


def arcs(words: Sequence[Meaning], start: int) -> Iterator[DigitArc]:
    """Yield every (number of words, string of symbols) that begins with ``words[start]``; the usual
    way of reading is the longest.
    """
    word = words[start]
    if word.options:
        for option in word.options:
            yield 1, option
    if word.kind is WordKind.MULTIPLE and start + 1 < len(words):
        for option in words[start + 1].options:
            if len(option) == 1:
                yield 2, option * int(word.value)
    seen = set()
    for count, amount in _numbers(words, start):
        if (count > 1 or not word.options) and (count, amount) not in seen:
            seen.add((count, amount))
            yield count, str(amount)


def _numbers(words: Sequence[Meaning], start: int) -> Iterator[tuple[int, int]]:
    """Yield (words, amount): a small number; so many hundred and something; so many thousand and
    something.
    """
    for count, small in _small(words, start):
        yield count, small
        after = start + count
        if small and _is(words, after, WordKind.HUNDRED):
            yield from _with_rest(words, start, after + 1, small * 100, below=100)
        if small and _is(words, after, WordKind.THOUSAND):
            yield from _with_rest(words, start, after + 1, small * 1000, below=1000)


def _with_rest(
    words: Sequence[Meaning], start: int, after: int, amount: int, *, below: int
) -> Iterator[tuple[int, int]]:
    yield after - start, amount
    rest = after + 1 if _is(words, after, WordKind.AND) else after
    for count, small in _small(words, rest):
        if small > 0:
            yield rest + count - start, amount + small
        hundred = rest + count
        if below == 1000 and 0 < small < 10 and _is(words, hundred, WordKind.HUNDRED):
            for more, total in _with_rest(words, rest, hundred + 1, small * 100, below=100):
                yield rest + more - start, amount + total


def _small(words: Sequence[Meaning], start: int) -> Iterator[tuple[int, int]]:
    """Yield (words, amount) of numbers below a hundred: a digit, ten to nineteen, tens, tens and a
    digit.
    """
    if start >= len(words):
        return
    word = words[start]
    unit = _unit(word)
    if unit is not None:
        yield 1, unit
    elif word.kind in (WordKind.TEEN, WordKind.TENS):
        yield 1, int(word.value)
        following = (
            _unit(words[start + 1])
            if word.kind is WordKind.TENS and start + 1 < len(words)
            else None
        )
        if following:
            yield 2, int(word.value) + following


def _unit(word: Meaning) -> int | None:
    """Return the digit a word stands for, if it is a digit's word."""
    digits = [option for option in word.options if len(option) == 1 and option.isdigit()]
    return int(digits[0]) if word.kind in (WordKind.UNIT, WordKind.TO) and digits else None


def _is(words: Sequence[Meaning], place: int, kind: WordKind) -> bool:
    return place < len(words) and words[place].kind is kind


def whole(digits: str) -> list[str] | None:
    """Return the words of a whole hundred or thousand as ICAO says them, digits as digits: 800,
    3400, 12000; None for other numbers.

    "12000" gives ["1", "2", "thousand"]; a digit stands for its spelling word.
    """
    if (
        not digits.isdigit()
        or digits.startswith("0")
        or not 3 <= len(digits) <= 5
        or not digits.endswith("00")
    ):
        return None
    thousands, hundreds = digits[:-3], digits[-3]
    words = [*thousands, "thousand"] if thousands else []
    return [*words, hundreds, "hundred"] if hundreds != "0" else words
