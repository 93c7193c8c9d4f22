"""A book as people need it: its tables, and the result of its check."""

from __future__ import annotations

import collections
import itertools
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from codec.encoding import example
from codec.screen import lines
from codec.screen.console import assembled, boxed, console, safe
from codec.screen.lines import Heading, Styled, line, table
from grammar.book import Book
from grammar.codes import CodeTable
from grammar.fields import ENUMERABLE, FieldBase
from grammar.message import Message

_HEADS = ("message", "readings", "symbols", "seconds", "longest to say")
_LEAST_ROOM = 12  # columns for the longest string; it may go on in the next line
_MOST_COUNTED = 10**12
_DIRECTION = {"car": "report, driver to pit", "pit": "call, engineer to driver"}


def show(book: Book, *, rows: int) -> None:
    """Print messages, tables (at most ``rows`` of each; 0 for all) and phrases."""
    line((book.title, "bold"))
    if book.spec.notes:
        line((book.spec.notes, "dim"))
    _heading("Messages")
    for message in book.messages.values():
        _message(book, message)
    for one in book.tables.values():
        _heading(f"Table {one.name}")
        _table(book, one, rows)
    if book.spec.phrases:
        _heading("Phrases")
        said = [
            (lines.safe(phrase.label or name), lines.safe(", ".join(phrase.says)))
            for name, phrase in book.spec.phrases.items()
        ]
        table([Heading("event"), Heading("said as")], said)
    _caution(book)


def _heading(text: str) -> None:
    line(("", ""))
    line((text, "bold underline"))


def _message(book: Book, message: Message) -> None:
    layout = book.spec.messages[message.name].layout
    line((message.title, "bold"), (f"  {_DIRECTION[message.direction]}", "dim"))
    line((f"  {' '.join(layout.split())}", "cyan"))
    shown = example(book, message)
    if shown is not None:
        line((f"  e.g. {shown.string}  {shown.words}", "dim"))


def _table(book: Book, shown: CodeTable, rows: int) -> None:
    if shown.check is not None:
        line((shown.summary, ""))
        return
    for field in shown.fields:
        line((_field_line(field), "dim"))
    if shown.summary:
        line((shown.summary, "dim"))
    pairs = shown.words()
    whole = rows == 0 or shown.size <= rows
    last = not whole and rows > 1 and shown.size <= ENUMERABLE
    first = pairs if whole else itertools.islice(pairs, rows - last)
    cells = [_row(book, shown, levels, word) for levels, word in first]
    if not whole:
        more = (f"{shown.size - rows} more", "dim")
        cells.append((("…", ""), more, ("", ""), ("", "")))
    if last:
        cells += [_row(book, shown, *one) for one in collections.deque(pairs, maxlen=1)]
    table([Heading(head) for head in ("symbols", "value", "said as", "")], cells)


def _row(
    book: Book, shown: CodeTable, levels: tuple[int, ...], word: str
) -> tuple[Styled, Styled, Styled, Styled]:
    pairs = list(zip(shown.fields, levels, strict=True))
    values = ", ".join(
        field.text(level) if len(pairs) == 1 else f"{field.title} {field.text(level)}"
        for field, level in pairs
    )
    usual = " (usual)" if len(pairs) == 1 and pairs[0][0].usual_level == levels[0] else ""
    warnings = "; ".join(f"! {text}" for field, level in pairs for text in field.warnings(level))
    return (
        lines.safe(word, "bold cyan"),
        lines.safe(values + usual),
        lines.safe(" ".join(book.spoken(shown, word))),
        lines.safe(warnings, "red"),
    )


def _field_line(field: FieldBase) -> str:
    return "; ".join([f"{field.title}: {field.domain}", *field.warns_when()])


def check(facts: dict[str, Any]) -> None:
    """Print the result of a book's check; ``facts`` as ``niner book check --json`` gives them."""
    console().print(
        assembled(
            (facts["title"], "bold"), "  ", ("no problem, no string with two readings", "green")
        )
    )
    console().print(safe(f"  proven {facts['proven']}", "dim"))
    _figures(facts["messages"])
    console().print(safe("symbols and seconds: mean under the usual values … worst", "dim"))
    for row in facts["checks"]:
        shares = ", ".join(
            f"{'all' if share == 1 else f'{share:.2%} of'} {change}s"
            for change, share in row["notices"].items()
        )
        console().print(
            safe(
                f"{row['table']} in {row['message']}, {row['symbols']} symbols before it,"
                f" {row['method']}: notices {shares or 'what is not counted over so many'}"
            )
        )
    if facts["confusable"]:
        console().print(safe("words most easily taken for each other in noise:", "bold"))
        for pair in facts["confusable"]:
            console().print(
                safe(f"  {' and '.join(pair['words'])}: about {pair['probability']:.2%}")
            )
    for note in facts["notes"]:
        console().print(safe(f"note: {note}", "yellow"))


def _figures(messages: Sequence[Mapping[str, Any]]) -> None:
    """Print the figures of each message as a table, or one below the other where a table would
    break numbers apart.
    """
    rows = [
        (
            f"{row['message']} ({row['direction']})",
            _many(row["readings"]),
            f"{row['symbols']['mean']:.1f} … {row['symbols']['worst']}",
            (
                f"{row['seconds']['mean']:.2f} ± {row['seconds']['error']:.2f} …"
                f" {row['seconds']['worst']:.2f}"
            ),
            row["worst"],
        )
        for row in messages
    ]
    grid = boxed(*_HEADS, right=_HEADS[1:4])
    for column in grid.columns[:4]:
        column.no_wrap = True
    for row in rows:
        grid.add_row(*map(safe, row))
    room = console().width - sum(max(len(row[n]) for row in (_HEADS, *rows)) + 2 for n in range(4))
    if room >= _LEAST_ROOM:
        console().print(grid)
        return
    for name, *figures in rows:
        console().print(safe(name, "bold"))
        for head, figure in zip(_HEADS[1:], figures, strict=True):
            console().print(safe(f"  {head}: {figure}"))


def _many(readings: int | None) -> str:
    """Return a number of readings, rounded where nobody would count its digits."""
    if readings is None:
        return "many"
    return f"{readings:,}" if readings < _MOST_COUNTED else f"{Decimal(readings):.2e}"


def _caution(book: Book) -> None:
    units = {field.unit_text for field in book.fields.values()}
    if units & {"°C", "K", "V", "kV", "Ω", "kΩ", "MΩ"}:
        line(("", ""))
        caution = (
            "A temperature, voltage or insulation warning is handled by the event's and the"
            " team's own safety procedures and qualified people. Event regulations on radio use"
            " come first."
        )
        line((caution, "italic"))
