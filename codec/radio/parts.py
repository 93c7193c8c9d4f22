"""A report in two parts: one that ended too early, and what was said to the question for the rest.

The questions are those of ICAO Doc 9432, 2.6: SAY AGAIN ALL AFTER, ALL BEFORE, and from one word to
another. An answer may say the words at its borders again.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from codec.decoding import decode
from codec.reading import Reading
from grammar.book import Book
from grammar.errors import CodeError
from grammar.speech.kinds import CHANGING, SPOKEN, WordKind
from grammar.speech.spoken import Ask, listen
from grammar.speech.words import Word, Wording, cut

_MOST = 12  # words of an answer
_BORDER = 3  # words that it may say again


def asked_for(book: Book, question: str) -> Ask | None:
    """Return the part of a report that a question asks for, None for all of it, and for what is no
    such question.
    """
    try:
        stretches = listen(book.lexicon, cut(book.lexicon, question))
    except CodeError:
        return None
    asks = [ask for stretch in stretches for ask in stretch.asks]
    return asks[0] if len(asks) == 1 and (asks[0].after or asks[0].before) else None


def put_together(
    book: Book, first: Wording, answer: Wording, part: Ask, context: Mapping[str, Any]
) -> Reading | None:
    """Return the report whose ``part`` an answer says, the rest of which was heard ``first``; None
    where there is not just one, and where the answer is a report of its own.
    """
    said, words = _code(first), _code(_begun(answer))
    if not words or len(words) > _MOST or _read(book, words, context) is not None:
        return None
    found: list[Reading] = []
    for head, tail in _borders(said, part):
        for start in _again(head, words):
            for end in _again([*tail][::-1], words[start:][::-1]):
                middle = words[start : len(words) - end]
                reading = _read(book, [*head, *middle, *tail], context) if middle else None
                if reading is not None and reading not in found:
                    found.append(reading)
    return found[0] if len(found) == 1 else None


def gone_on(
    book: Book, first: Wording, rest: Wording, context: Mapping[str, Any]
) -> Reading | None:
    """Return the report that words which ended too early and those behind them are together; None
    where they are none, or the rest is one of its own.
    """
    said, words = _code(first), _code(rest)
    if not said or not words or _read(book, words, context) is not None:
        return None
    return _read(book, [*said, *words], context)


def said_twice(words: Wording) -> Wording | None:
    """Return the half of words that say all twice, None where they do not."""
    spoken = [word for word in words if word.kind is not WordKind.FILLER]
    half = len(spoken) // 2
    halves = spoken[:half], spoken[half:]
    if half < _BORDER or [_symbols(one) for one in halves[0]] != [_symbols(w) for w in halves[1]]:
        return None
    return words[: [*words].index(spoken[half])]


def _begun(answer: Wording) -> Wording:
    """Return an answer without what it begins with, such as I SAY AGAIN."""
    start = 0
    while start < len(answer) and (
        answer[start].kind in CHANGING or answer[start].kind is WordKind.FILLER
    ):
        start += 1
    return answer[start:]


def _code(words: Wording) -> list[Word]:
    """Return words that are all of a code, symbols typed as one string apart, [] where one is
    not.
    """
    if any(word.kind not in SPOKEN and word.kind is not WordKind.FILLER for word in words):
        return []
    return [one for word in words if word.kind is not WordKind.FILLER for one in _apart(word)]


def _apart(word: Word) -> list[Word]:
    if word.kind is not WordKind.TYPED:
        return [word]
    return [
        Word(word.meaning._replace(options=(symbol,)), word.span, symbol)
        for symbol in word.meaning.options[0]
    ]


def _symbols(word: Word) -> tuple[str, ...]:
    return tuple(word.meaning.options) or (word.meaning.value,)


def _borders(said: Sequence[Word], part: Ask) -> Iterator[tuple[Sequence[Word], Sequence[Word]]]:
    """Yield what stands before a part and behind it: its words, where each is said once."""
    after = [n for n, word in enumerate(said) if part.after in _symbols(word)]
    before = [n for n, word in enumerate(said) if part.before in _symbols(word)]
    heads = [said[: n + 1] for n in after] if part.after else [said[:0]]
    for head in heads:
        places = [n for n in before if n >= len(head)] if part.before else [len(said)]
        for place in places:
            yield head, said[place:]


def _again(border: Sequence[Word], words: Sequence[Word]) -> Iterator[int]:
    """Yield how many words may say the end of a border once more."""
    for count in range(min(_BORDER, len(border), len(words)) + 1):
        one = [_symbols(word) for word in border[len(border) - count :]]
        if one == [_symbols(word) for word in words[:count]]:
            yield count


def _read(book: Book, words: Sequence[Word], context: Mapping[str, Any]) -> Reading | None:
    text = " ".join(word.text for word in words)
    try:
        return decode(book, text, direction="car", context=dict(context) or None)
    except CodeError:
        return None
