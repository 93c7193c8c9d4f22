"""Decoding spoken reports of the example books and of the METAR book of the tests, against a
regular expression written by hand and against Lark LALR on the generated grammar.

    python tests/bench/bench_decode.py [reports of each book]

All read the same words into the same dictionaries of values, checks held, and refuse what they do
not know. The expressions (``expressions.py``) are one a book, with named groups, dictionaries for
what they catch and the sum of a check in Python; those of designed books, and of a table too large
to list, are made by the same rules, and Lark does not try the latter. Lark has its transformer
inside, which looks a table's words up in dictionaries; reports that LALR can't settle are left out
for it. All are made before the clock runs; it is the processor's, the works run by turns, and the
median counts.
"""

from __future__ import annotations

import collections
import itertools
import math
import random
import resource
import sys
import tracemalloc
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from common import ROOT, by_turns, table
from expressions import METAR, MOST_LISTED, QUALIFYING, RACE, STARTER, Values, by_rule
from lark import Lark, Transformer
from lark.exceptions import UnexpectedInput, VisitError

from codec import Reading, decode, decode_many, load_book, parse_book
from grammar.book import Book
from grammar.codes import CodeTable
from grammar.design import candidates
from grammar.design.needs import load_needs
from grammar.design.write import book_text
from grammar.export.lark_grammar import grammar_text
from grammar.fields import FieldBase
from grammar.figures import drawn
from grammar.layout import leaves
from grammar.message import Message

BOOKS: dict[str, tuple[str, Callable[[str], Values]]] = {
    "starter": ("examples/starter/starter.toml", STARTER),
    "race": ("examples/race/race.toml", RACE),
    "qualifying": ("examples/qualifying/qualifying.toml", QUALIFYING),
    "METAR": ("tests/published/books/metar.toml", METAR),
}

DESIGNED = ("packed", "fixed", "36^6")


def book_of(name: str) -> tuple[Book, Callable[[str], Values]]:
    """Return a book and its expression; "packed" and "fixed" are designed for the example needs."""
    if name in BOOKS:
        path, expression = BOOKS[name]
        return load_book(ROOT / path), expression
    if name == "36^6":
        fields = "".join(
            f"[fields.f{n}]\nkind = 'quantity'\nlow = 0\nhigh = 35\nstep = 1\n" for n in range(6)
        )
        names = [f"f{n}" for n in range(6)]
        message = "[messages.m]\nlayout = 'all'\n"
        book = parse_book(f"{fields}[tables.all]\nkind = 'packed'\nfields = {names}\n{message}")
    else:
        needs = load_needs(str(ROOT / "examples" / "design" / "needs.toml"))
        made = next(iter(candidates(needs, (name,))))()
        assert made is not None
        book = parse_book(book_text(made.sections, [], made.notes))
    return book, by_rule(book)


def spoken(book: Book, count: int) -> list[tuple[str, str]]:
    """Return (direction, words) of reports, messages as often as the book expects them."""
    chance = random.Random(7)
    often = book.hearing.messages
    messages = list(book.messages.values())
    picked = chance.choices(messages, [often.get(m.name, 1) for m in messages], k=count)
    waiting = {
        name: itertools.cycle(drawn(book, book.messages[name], number, 5))
        for name, number in collections.Counter(m.name for m in picked).items()
    }
    return [(m.direction, book.alphabet.say(next(waiting[m.name]).string)) for m in picked]


def turns_of(message: Message) -> list[tuple[set[str], Values]]:
    """Return what each time of a part said again says, and what of it is implied as usual."""
    fields: dict[tuple[int, int], list[FieldBase]] = {}
    for leaf in leaves(message.node):
        if leaf.repetition:
            fields.setdefault((leaf.again, leaf.repetition), []).extend(
                message.tables[leaf.number].fields
            )
    return [
        (
            {one.name for one in said},
            {one.name: one.value(one.usual_level) for one in said if one.usual_level is not None},
        )
        for said in fields.values()
    ]


def leaf_reader(table: CodeTable) -> Callable[[Any, Sequence[Any]], Any]:
    """Return what names the values of a table at one place."""
    names = [field.name for field in table.fields]

    def values(_: Any, children: Sequence[Any]) -> Any:
        if not children or isinstance(children[0], str):
            return ({}, children)
        said, words = children[0]
        return dict(zip(names, said, strict=True)), words

    return values


def joined(_: Any, parts: Sequence[Any]) -> Any:
    """Return the values and words of parts together."""
    merged: Values = {}
    for part in parts:
        merged.update(part[0])
    return merged, [word for part in parts for word in part[1]]


def by_lark(book: Book) -> Callable[[str, str], Values]:
    """Return stock Lark on the generated grammar, values made by a transformer while it parses."""

    def of_table(name: str) -> Callable[[Any, Sequence[str]], Any]:
        found = book.tables[name]
        known = {book.alphabet.say(word): found.values(word) or () for _, word in found.words()}
        return lambda _, words: (known[" ".join(words)], words)

    def of_message(message: Message) -> Callable[[Any, Sequence[Any]], Values]:
        usual = {
            name: message.fields[name].value(level)
            for name, level in message.usual(message.node).items()
        }
        turns = turns_of(message)
        checked = [message.tables[leaf].check for leaf in message.check_leaves]
        symbol_of = book.lexicon.plain

        def values(_: Any, parts: Sequence[Any]) -> Values:
            merged: Values = {}
            for part in parts:
                merged.update(part[0])
            for rule in checked:
                said = "".join([symbol_of[word] for part in parts for word in part[1]])
                if rule is not None and rule.wanted(said[:-1]) != said[-1]:
                    raise ValueError(said)
            for name, value in usual.items():
                merged.setdefault(name, value)
            for said, implied in turns:
                if said & merged.keys():
                    merged = implied | merged
            return merged

        return values

    rules: dict[str, Any] = {f"table_{name}": of_table(name) for name in book.tables}
    rules |= {f"message_{name}": of_message(m) for name, m in book.messages.items()}

    for name, message in book.messages.items():
        for number, one in enumerate(message.tables):
            rules[f"message_{name}_{number + 1}"] = leaf_reader(one)
            rules[f"message_{name}_again{f'_{number + 1}' if number else ''}"] = joined
    rules |= {direction: lambda _, children: children[0] for direction in book.directions}
    reads = type("Reads", (Transformer,), rules)()
    lark = Lark(grammar_text(book), parser="lalr", start=list(book.directions), transformer=reads)
    return lambda direction, line: lark.parse(line, start=direction)


def last(rows: Iterable[Any]) -> Any:
    """Read all rows, keep one."""
    return collections.deque(rows, maxlen=1)[0]


def many(book: Book, lines: Iterable[str]) -> Iterable[Values]:
    """Read lines in bulk."""
    for reading in decode_many(book, lines):
        assert isinstance(reading, Reading), reading
        yield reading.values


def read_by_lark(
    book: Book, reports: Sequence[tuple[str, str]], expected: Sequence[Values]
) -> tuple[Callable[[str, str], Values], list[tuple[str, str]]]:
    """Return Lark's reader and the reports it reads as they are meant."""
    read, able = by_lark(book), []
    for (direction, line), values in zip(reports, expected, strict=True):
        try:
            if read(direction, line) == values:
                able.append((direction, line))
        except (UnexpectedInput, VisitError):
            pass
    return read, able


def measured(name: str, count: int) -> tuple[str, ...]:
    """Return a row of ratios for a book, all works held against each other first."""
    book, expression = book_of(name)
    reports = spoken(book, count)
    lines = [line for _, line in reports]
    ours = list(many(book, lines))
    for line, values in zip(lines, ours, strict=True):
        assert decode(book, line).values == values == expression(line), line
    part = reports[: max(200, count // 20)]
    listable = max(one.size for one in book.tables.values()) <= MOST_LISTED
    lark, able = read_by_lark(book, part, ours[: len(part)]) if listable else (None, [])
    seconds = by_turns(
        {
            "many": lambda: last(many(book, lines)),
            "one": lambda: last(decode(book, line).values for line in lines),
            "expression": lambda: last(expression(line) for line in lines),
            **({"lark": lambda: last(lark(*one) for one in able)} if lark else {}),
        },
        9,
    )
    expressed = seconds["expression"]
    parsed = seconds["lark"] / len(able) * count if lark else math.nan
    return (
        name,
        f"{count / seconds['many']:,.0f}",
        f"{seconds['many'] / expressed:.2f}",
        f"{seconds['one'] / expressed:.2f}",
        *(f"{parsed / seconds[work]:.1f}" if lark else "-" for work in ("many", "one")),
        f"{len(able) / len(part):.0%}" if lark else "-",
    )


def memory(count: int) -> None:
    """Print what streaming allocates at most, for a tenth of the reports and for all of them."""
    book, _ = book_of("race")
    lines = [line for _, line in spoken(book, count)]
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    peaks = []
    for amount in (count // 10, count):
        tracemalloc.start()
        last(many(book, iter(lines[:amount])))
        peak = tracemalloc.get_traced_memory()[1] / 1024
        peaks.append((f"{amount:,} reports streamed", f"{peak:,.0f} KiB allocated at most"))
        tracemalloc.stop()
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    peaks.append(("peak of the process grew by", f"{grown / 1024:.1f} MiB"))
    table("memory while streaming (constant is the aim)", peaks)


def main(count: int) -> None:
    """Print the ratios of every book, and the memory that streaming takes."""
    head = (
        "",
        "reports/s in bulk",
        "times the expression",
        "one by one",
        "Lark: times in bulk",
        "one by one",
        "Lark reads",
    )
    rows = [head, *(measured(name, count) for name in (*BOOKS, *DESIGNED))]
    rows.append(("aim", "", "at most 2", "at most 2.5", "at least 10", "", ""))
    table(f"decoding {count:,} spoken reports of each book, values read of each", rows)
    memory(count)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
