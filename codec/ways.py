"""Every way to read a stretch of a transcript: what each symbol stands for, and where it was
said.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from codec.refusal import refusal
from grammar.book import Book
from grammar.errors import Span, UnexpectedWord
from grammar.message import Direction, Match
from grammar.paths import Arc, Lattice, string_lattice, walk
from grammar.speech import Stretch
from grammar.speech.procedure import Said
from grammar.speech.words import check_length, unknown

Way = tuple[
    tuple[Match, ...], tuple[Span, ...]
]  # the reports of a stretch, and the place of each of their symbols


def ways_of(book: Book, text: str, stretch: Stretch, direction: Direction | None) -> list[Way]:
    """Return every different reading of a stretch with the spans of its symbols; raises the error
    that explains why there is none.
    """
    automaton = book.automaton(direction)
    if stretch.ways is None:
        lattice: Lattice = stretch.lattice()
        walked = walk(automaton, lattice)
        found = _distinct(
            (matches, _arc_spans(stretch, arcs)) for matches, arcs in walked.readings()
        )
        if len(found) == 1 and walked.cut_short:
            raise UnexpectedWord(
                "this can be taken in too many ways to hold them all against each other",
                kind="too-many-ways",
                source=text,
                span=stretch.span,
                hint="ask for the report once more, word by word",
            )
        if found:
            return found
        lattice, spans = _typed_apart(stretch, lattice, walked.furthest)
        raise refusal(walk(automaton, lattice), lattice, text, spans)
    found = _distinct(pair for said in stretch.ways for pair in _said_ways(book, said, direction))
    if found:
        return found
    said = max(
        stretch.ways, key=lambda way: walk(automaton, string_lattice(_symbols(way))).furthest
    )
    lattice = string_lattice(_symbols(said))
    raise refusal(walk(automaton, lattice), lattice, text, [span for _, span in said])


def _typed_apart(stretch: Stretch, lattice: Lattice, place: int) -> tuple[Lattice, list[Span]]:
    """Return a lattice with the symbols typed as the word at a place each at a place of its own, to
    tell which of them can't stand.
    """
    spans = [word.span for word in stretch.words]
    for symbols, target in lattice[place] if place < len(lattice) else ():
        own = stretch.spans(place, target, symbols)
        if len(set(own)) > 1:
            more = len(symbols) - 1
            moved = [
                [(option, end + more * (end > place)) for option, end in options]
                for options in lattice
            ]
            single = [[(symbol, place + number)] for number, symbol in enumerate(symbols, start=1)]
            return [*moved[:place], *single, *moved[place + 1 :]], [
                *spans[:place],
                *own,
                *spans[place + 1 :],
            ]
    return lattice, spans


def typed_ways(book: Book, text: str, direction: Direction | None) -> list[Way]:
    """Return the same for a text of symbols as they stand on the dash."""
    check_length(text)
    said: list[tuple[str, Span]] = []
    for place, character in enumerate(text):
        if character.isspace():
            continue
        if character not in book.alphabet.index:
            raise unknown(book.lexicon, text, character, (place, place + 1))
        said.append((character, (place, place + 1)))
    if not said:
        return []
    return ways_of(book, text, Stretch(ways=[tuple(said)]), direction)


def _said_ways(book: Book, said: Said, direction: Direction | None) -> Iterator[Way]:
    spans = tuple(span for _, span in said)
    for matches, _ in walk(book.automaton(direction), string_lattice(_symbols(said))).readings():
        yield matches, spans


def _symbols(said: Said) -> str:
    return "".join(symbol for symbol, _ in said)


def _arc_spans(stretch: Stretch, arcs: Sequence[Arc]) -> tuple[Span, ...]:
    return tuple(
        span for place, target, symbols in arcs for span in stretch.spans(place, target, symbols)
    )


def _distinct(
    ways: Iterable[Way],
) -> list[Way]:
    kept: dict[Any, Way] = {}
    for matches, spans in ways:
        kept.setdefault(
            tuple((match.message.name, tuple(match.levels().items())) for match in matches),
            (matches, spans),
        )
    return list(kept.values())
