"""What is no mistake in a book but makes it harder for people: characters that look alike, colours
that can't be read or told apart, values of one table that are easily taken for each other, symbols
with two meanings, symbols in use that nothing says, numbers out of order; and a report of each lap
without a check symbol.
"""

from __future__ import annotations

import functools
import itertools
import operator
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, get_args

from grammar.book import Book
from grammar.codes import CodeTable
from grammar.colours import APART, READABLE, SIGHTS, apart, contrast
from grammar.dash import DashSpec
from grammar.design.learning import learning_of
from grammar.design.noise import Noise, confused_words, noise_of
from grammar.display import Display, look_alikes
from grammar.fields import FieldBase

Kind = Literal[
    "unchecked", "look-alike", "colours", "confusable", "two meanings", "unused", "out of order"
]
KINDS: tuple[Kind, ...] = get_args(Kind)
MISHEARD = 0.003  # how often a codeword is taken for another, from which it is worth a remark
MISREAD = 0.003  # how often a character is read as another, from which it is worth one
_MOST_LISTED = 20_000


@dataclass(frozen=True, slots=True)
class Remark:
    """Something people stumble over: its ``kind``, what it is about, and what would do; ``weight``
    orders those of a kind, the worst first.
    """

    kind: Kind
    text: str
    hint: str
    weight: float = 0.0


def lint(book: Book, display: Display | None = None) -> list[Remark]:
    """Return the remarks on a book, by kind, the worst of each first; its dash is taken to have
    another ``display`` where one is given.
    """
    found = [
        *unchecked(book),
        *_look_alikes(book, book.dash if display is None else book.dash.on(display)),
        *_colours(book.dash),
        *_confusable(book),
        *_several(book),
        *_unused(book),
        *_unordered(book),
    ]
    return sorted(found, key=lambda one: (KINDS.index(one.kind), -one.weight))


def unchecked(book: Book) -> Iterator[Remark]:
    """Yield the report of each lap where it has no check symbol."""
    for message in book.sent_by("car")[:1]:
        if not message.check_leaves:
            yield Remark(
                "unchecked",
                f"{message.name}: a word misheard, left out or swapped makes another report",
                'a table of kind = "check" at the end of its layout, one symbol more',
            )


def _used(book: Book) -> str:
    masks = (message.symbols for message in book.messages.values())
    return book.alphabet.unmask(functools.reduce(operator.or_, masks))


def _tables(book: Book) -> list[CodeTable]:
    """Return the tables with fields that messages say, each once."""
    said = {table.name: table for one in book.messages.values() for table in one.tables}
    return [table for table in said.values() if table.fields]


def _look_alikes(book: Book, dash: DashSpec) -> Iterator[Remark]:
    for one, other, share, alike in _pairs(dash, _used(book)):
        both = [
            table.name
            for table in _tables(book)
            if {one, other} <= set(table.alphabet.unmask(table.symbols))
        ]
        where = f"; both stand in {', '.join(both)}" if both else "; never in one table"
        yield Remark(
            "look-alike",
            f"{one} and {other} look alike on {'the dash' if dash.look_alikes else dash.display}:"
            f" {alike}{where}",
            "retire one of them, or keep them out of one table",
            share + (1 if both else 0),
        )


def _pairs(dash: DashSpec, symbols: str) -> Iterator[tuple[str, str, float, str]]:
    """Yield what looks alike on a dash, how much, and that in words: as the team states it, else
    computed from what the display lights.
    """
    for place, one in enumerate(symbols if dash.look_alikes else ""):
        for other in symbols[place + 1 :]:
            rows = dash.look_alikes
            share = max(rows.get(one, {}).get(other, 0.0), rows.get(other, {}).get(one, 0.0))
            if share >= MISREAD:
                yield one, other, share, f"one read as the other in up to {share:.1%}"
    for one, other, share in () if dash.look_alikes else look_alikes(dash.display, symbols):
        alike = "drawn the same" if not share else f"{1 - share:.0%} of what they light is shared"
        yield one, other, 1 - share, alike


def _colours(dash: DashSpec) -> Iterator[Remark]:
    """Yield colours that can't be read on their ground, or that somebody can't tell apart."""
    for name, colour in dash.colours.items():
        found = contrast(colour, dash.ground)
        if found < READABLE:
            yield Remark(
                "colours",
                f"{name} {colour} on {dash.ground} has a contrast of {found:.1f}:1",
                f"{READABLE:g}:1 or more, as text must have (WCAG 2.2, 1.4.3)",
                READABLE / found,
            )
    for one, other in itertools.combinations(dash.colours, 2):
        pair = dash.colours[one], dash.colours[other]
        for sight in SIGHTS:
            far = apart(*pair, sight)
            if far < APART:
                who = f"to who sees {sight}" if sight else "to anybody"
                yield Remark(
                    "colours",
                    f"{one} and {other} are hardly told apart {who}: {far:.1f} in L*a*b*",
                    f"{APART:.1f} or more (Machado et al. 2009), one light and one dark",
                    APART / max(far, 0.1),
                )
                break


def _confusable(book: Book) -> Iterator[Remark]:
    noise = noise_of(book.alphabet, book.hearing)
    bare = {
        table.name
        for message in book.messages.values()
        if not message.check_leaves
        for table in message.tables
    }
    for table in _tables(book):
        if len(table.fields) == 1 and table.size <= _MOST_LISTED:
            hint = (
                "other codewords, or a check symbol that notices it"
                if table.name in bare
                else "where a check symbol notices it, it costs a question; others cost none"
            )
            yield from _in_table(table, table.fields[0].family[0], noise, hint)


def _in_table(table: CodeTable, field: FieldBase, noise: Noise, hint: str) -> Iterator[Remark]:
    pairs = list(table.words())
    worst: dict[tuple[int, int], float] = {}
    words = [word for _, word in pairs]
    for said, heard, share in confused_words(noise, words, lambda _: MISHEARD):
        key = (min(said, heard), max(said, heard))
        worst[key] = max(share, worst.get(key, 0.0))
    for (one, other), share in worst.items():
        ((first,), word), ((second,), taken) = pairs[one], pairs[other]
        if share >= MISHEARD:
            yield Remark(
                "confusable",
                f"{table.name}: {word} for {field.text(first)} and {taken} for"
                f" {field.text(second)}, one heard as the other in up to {share:.1%}",
                hint,
                share * field.harm(first, second),
            )


def _several(book: Book) -> Iterator[Remark]:
    for message in book.messages.values():
        for symbol, names in learning_of(message).several.items():
            yield Remark(
                "two meanings",
                f"{symbol}: {', '.join(names)}, in message {message.name}",
                "letters of its own for each table, figures for numbers",
                len(names),
            )


def _unused(book: Book) -> Iterator[Remark]:
    used = _used(book)
    unused = "".join(symbol for symbol in book.alphabet.symbols if symbol not in used)
    for symbol in unused:
        yield Remark(
            "unused",
            f"no codeword has {symbol}",
            f'retired = "{book.alphabet.spec.retired}{unused}" in [alphabet], so that'
            " nothing is heard as them",
        )


def _unordered(book: Book) -> Iterator[Remark]:
    numeric = {
        table.name
        for table in _tables(book)
        if all(one.numeric or one.interval(0) is not None for one in table.fields)
    }
    told = itertools.chain.from_iterable(
        learning_of(message).tables for message in book.messages.values()
    )
    for one in {table.table: table for table in told}.values():
        if one.table in numeric and one.regular is not None and one.regular < 1:
            yield Remark(
                "out of order",
                f"{one.table}: of neighbouring values {one.regular:.0%} have codewords that follow"
                " each other",
                "a table in order is learnt as a rule; one that is not may be harder to mishear",
                1 - one.regular,
            )
