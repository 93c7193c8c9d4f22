"""Cards for people: one for the driver (in what order a report is said, how each symbol is said,
what the codewords of calls mean), one for the engineer (what each codeword means).

Big, black on white, readable without colour: what warns is in bold with a mark. ``html`` prints on
A4, Letter or A5; ``card_picture`` draws SVG or PNG. Tables of more rows than a person can look up
are named, not listed. A mark tells cards of one state of a book from another's.
"""

from __future__ import annotations

import functools
import operator
import re
from collections.abc import Iterable
from dataclasses import dataclass
from html import escape
from typing import Literal

from grammar.book import Book
from grammar.codes import CodeTable
from grammar.difference import BookChange, Learner
from grammar.errors import visible
from grammar.message import Direction, Message

Reader = Literal["driver", "engineer"]
MOST_ROWS = 120  # of one table on a card
_SPOKEN: dict[Direction, str] = {"car": "Reports, driver to pit", "pit": "Calls, pit to driver"}
CAUTION = (
    "Read only where the car is straight. A temperature, voltage or insulation warning is handled"
    " by the event's and the team's own safety procedures and qualified people. Event regulations"
    " on radio use come first."
)


@dataclass(frozen=True, slots=True)
class CardLine:
    """One line: what is shown, what it means, whether it warns; ``named``: a name is shown, not
    symbols, and what it means stands below.
    """

    symbols: str
    meaning: str
    warns: bool = False
    named: bool = False


@dataclass(frozen=True, slots=True)
class Block:
    """One table of a card; ``note`` stands under its title."""

    title: str
    note: str
    rows: tuple[CardLine, ...]


def blocks(book: Book, reader: Reader) -> list[Block]:
    """Return what a card shows."""
    orders = [
        Block(told, "", _orders(book, way)) for way, told in _SPOKEN.items() if book.sent_by(way)
    ]
    if reader == "engineer":
        return [*orders, *map(_table, _tables(book, book.messages.values()))]
    used = _used(book)
    words = tuple(
        CardLine(symbol, book.alphabet.words[symbol].word)
        for symbol in book.alphabet.symbols
        if symbol in used
    )
    phrases = tuple(
        CardLine(phrase.label or name, ", ".join(phrase.says), named=True)
        for name, phrase in book.spec.phrases.items()
    )
    calls = [
        _short(_table(table)) if table.decimal else _table(table)
        for table in _tables(book, book.sent_by("pit"))
    ]
    return [
        *orders,
        Block("Say", "", words),
        *calls,
        *([Block("Phrases", "", phrases)] if phrases else []),
    ]


def _short(block: Block) -> Block:
    """Return a table of numbers in order by its first rows and its last: nobody looks the others
    up.
    """
    if len(block.rows) <= _SHORT:
        return block
    return Block(block.title, block.note, (*block.rows[:3], CardLine("…", "…"), block.rows[-1]))


def _orders(book: Book, way: Direction) -> tuple[CardLine, ...]:
    return tuple(
        CardLine(message.title, _order(book, message.name), named=True)
        for message in book.sent_by(way)
    )


def _tables(book: Book, messages: Iterable[Message]) -> list[CodeTable]:
    """Return the tables that messages say, in the order of the book."""
    said = {table.name for message in messages for table in message.tables}
    return [table for name, table in book.tables.items() if table.fields and name in said]


def _order(book: Book, name: str) -> str:
    """Return a layout with the members of each family of fields, which are said in that order."""

    def named(found: re.Match[str]) -> str:
        table = book.tables.get(found.group())
        family = table.fields[0] if table is not None and table.family else None
        return f"{found.group()} ({', '.join(family.members or ())})" if family else found.group()

    layout = " ".join(book.spec.messages[name].layout.split())
    return re.sub(r'"[^"]*"|\w+', named, layout)


def _used(book: Book) -> set[str]:
    said = (message.symbols for message in book.messages.values())
    return set(book.alphabet.unmask(functools.reduce(operator.or_, said)))


def _table(table: CodeTable) -> Block:
    title = ", ".join(field.title for field in table.fields)
    if table.size > MOST_ROWS:
        return Block(title, f"{table.size:,} codewords: read by the tool", ())
    rows = []
    for levels, word in table.words():
        pairs = list(zip(table.fields, levels, strict=True))
        rows.append(
            CardLine(
                word,
                ", ".join(field.text(level) for field, level in pairs),
                any(field.warnings(level) for field, level in pairs),
            )
        )
    return Block(title, "", tuple(rows))


# printable HTML

_STYLE = """
@page { margin: 9mm }
body { font: 12.5pt/1.2 "DejaVu Sans", Arial, sans-serif; color: #000; background: #fff; margin: 0 auto; max-width: 220mm }
h1 { font-size: 20pt; margin: 0 0 2mm; border-bottom: 1mm solid #000 }
p { margin: 0 0 3mm; font-size: 9pt }
h1 small { font-size: 10pt; font-weight: normal; white-space: nowrap }
main { columns: 42mm 4; column-gap: 5mm }
table { border-collapse: collapse; width: 100%; margin: 0 0 4mm }
table.short { break-inside: avoid }
tr { break-inside: avoid }
th { background: #000; color: #fff; font-size: 13pt; text-align: left; padding: .3mm 1mm; break-after: avoid }
td { border-bottom: .3mm solid #000; padding: .2mm 1mm; vertical-align: middle; overflow-wrap: anywhere }
td.note { font-size: 10pt }
td.symbols { overflow-wrap: normal; font: bold 15pt/1.1 "DejaVu Sans Mono", monospace; white-space: nowrap; width: 1% }
tr.warns td { font-weight: bold }
tr.warns .meaning::before { content: "! " }
body.driver { font-size: 16pt }
body.driver main { columns: 55mm 3 }
body.driver td.symbols { font-size: 22pt }
@media screen { body { padding: 4mm; max-width: none } main { display: flex; flex-wrap: wrap; align-items: flex-start; gap: 5mm } }
@media screen { table { width: 58mm } }
@media print { * { print-color-adjust: exact; -webkit-print-color-adjust: exact } }
"""
# rows of a table that is kept whole; a longer one goes on in the next column under its title
_SHORT = 12
_WIDE = 8  # symbols; what a longer codeword means stands below it


def html(book: Book, reader: Reader, mark: str = "") -> str:
    """Return a printable page: four columns on A4 or Letter, fewer on smaller paper; three larger
    ones for a driver.
    """
    return _page(title(book, reader), blocks(book, reader), reader, mark)


def relearning(book: Book, changes: Iterable[BookChange], learner: Learner, mark: str = "") -> str:
    """Return a printable page of what one who knew the book as it was has to learn anew."""
    shown = [
        Block(
            f"{change.about}: {change.text}",
            "",
            tuple(
                CardLine(
                    row.now or "–",
                    " ".join(filter(None, (row.meaning, f"(was {row.was})" if row.was else ""))),
                    named=not row.meaning,
                )
                for row in change.rows
            ),
        )
        for change in changes
        if learner in change.concerns
    ]
    return _page(f"{visible(book.title)}: what is new, {learner}", shown, "engineer", mark)


def _page(heading: str, shown: Iterable[Block], reader: Reader, mark: str) -> str:
    parts = [
        "<!DOCTYPE html>",
        (
            '<html lang="en"><head><meta'
            f' charset="utf-8"><title>{escape(heading)}</title><style>{_STYLE}</style></head>'
        ),
        f"<body class={reader}>",
        (
            f"<header><h1>{escape(heading)}{f' <small>{escape(mark)}</small>' if mark else ''}</h1><p>{escape(CAUTION)}</p></header><main>"
        ),
        *map(_printed, shown),
        "</main></body></html>",
        "",
    ]
    return "\n".join(parts)


def _printed(block: Block) -> str:
    kind = (
        " class=short"
        if len(block.rows) <= _SHORT and not any(row.named for row in block.rows)
        else ""
    )
    note = f"<tr><td colspan=2 class=note>{escape(block.note)}</td></tr>" if block.note else ""
    rows = "".join(map(_printed_row, block.rows))
    return (
        f"<table{kind}><thead><tr><th"
        f" colspan=2>{escape(visible(block.title))}</th></tr></thead><tbody>{note}{rows}</tbody></table>"
    )


def _printed_row(row: CardLine) -> str:
    left, right, warns = (
        escape(visible(row.symbols)),
        escape(visible(row.meaning)),
        " class=warns" if row.warns else "",
    )
    if row.named or len(row.symbols) > _WIDE:
        return (
            f"<tr{warns}><td colspan=2><b>{left}</b><br><span"
            f" class=meaning>{right}</span></td></tr>"
        )
    return f"<tr{warns}><td class=symbols>{left}</td><td class=meaning>{right}</td></tr>"


def title(book: Book, reader: Reader) -> str:
    """Return what stands on top of a card."""
    return f"{visible(book.title)}: {reader}"
