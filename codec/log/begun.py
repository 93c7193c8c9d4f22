"""A report that is being typed: the fields that it tells already, whatever follows."""

from __future__ import annotations

from functools import reduce
from typing import NamedTuple

from grammar.book import Book
from grammar.errors import CodeError
from grammar.speech.kinds import ONE_SYMBOL, WordKind
from grammar.speech.words import Wording

_MOST_WAYS = 64  # of cutting what was typed into codewords
_LEAST = 2  # symbols: fewer tell nothing worth reading


class _Way(NamedTuple):
    """One way to read the symbols so far: the state, the codewords that are complete, and where the
    next begins.
    """

    state: int
    complete: tuple[tuple[str, str], ...]
    begins: int


def begun(book: Book, words: Wording) -> list[str]:
    """Return in words the fields that a report begun so tells in every way to go on, [] where none
    does.
    """
    string = _symbols(words)
    if string is None or len(string) < _LEAST or "car" not in book.directions:
        return []
    try:
        automaton = book.automaton("car")
    except CodeError:  # larger than what can be walked: then nothing is told before it is whole
        return []
    ways = [_Way(state, (), 0) for state in automaton.starts]
    for place, symbol in enumerate(string):
        bit = book.alphabet.mask(symbol) if symbol in book.alphabet.index else 0
        following: list[_Way] = []
        for way in ways:
            for edge in automaton.steps[way.state]:
                if edge.begins or not edge.mask & bit:
                    continue
                complete, begins = way.complete, way.begins
                if automaton.ended[edge.target]:
                    number, leaf = automaton.owner[edge.target]
                    table = automaton.messages[number].tables[leaf]
                    complete = (*complete, (table.name, string[begins : place + 1]))
                    begins = place + 1
                following.append(_Way(edge.target, complete, begins))
        ways = following
        if not ways or len(ways) > _MOST_WAYS:
            return []
    sure = reduce(set.intersection, (set(way.complete) for way in ways))
    told: list[str] = []
    for name, word in ways[0].complete:
        known = book.tables.get(name)
        levels = known.levels(word) if known is not None and (name, word) in sure else None
        if known is not None and levels is not None:
            pairs = zip(known.fields, levels, strict=True)
            told += [f"{field.title} {field.text(level)}" for field, level in pairs]
    return told


def _symbols(words: Wording) -> str | None:
    """Return the symbols of some words, None where one of them is none."""
    found = ""
    for word in words:
        meaning = word.meaning
        if meaning.kind is WordKind.FILLER:
            continue
        one = meaning.kind in ONE_SYMBOL and len(meaning.options) == 1
        if one or meaning.kind is WordKind.TYPED:
            found += meaning.options[0]
        elif meaning.kind in (WordKind.TEEN, WordKind.TENS):
            found += meaning.value
        else:
            return None
    return found
