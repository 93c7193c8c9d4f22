"""A book as people need it: its tables, and the result of its check."""

from __future__ import annotations

import collections
import itertools
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from codec.encoding import encode
from codec.screen.console import assembled, boxed, console, heading, safe
from grammar.book import Book
from grammar.codes import CodeTable
from grammar.errors import CodeError
from grammar.fields import ENUMERABLE, FieldBase
from grammar.message import Message

_HEADS = ("message", "readings", "symbols", "seconds", "longest to say")
_LEAST_ROOM = 12  # columns for the longest string; it may go on in the next line
_MOST_COUNTED = 10**12
_DIRECTION = {"car": "report, driver to pit", "pit": "call, engineer to driver"}


def show(book: Book, *, rows: int) -> None:
    """Print messages, tables (at most ``rows`` of each; 0 for all) and phrases."""
    console().print(safe(book.title, "bold"))
    if book.spec.notes:
        console().print(safe(book.spec.notes, "dim"))
    heading("Messages")
    for message in book.messages.values():
        _message(book, message)
    for table in book.tables.values():
        heading(f"Table {table.name}")
        _table(book, table, rows)
    if book.spec.phrases:
        heading("Phrases")
        said = boxed("event", "said as")
        for name, phrase in book.spec.phrases.items():
            said.add_row(safe(phrase.label or name), safe(", ".join(phrase.says)))
        console().print(said)
    _caution(book)


def _message(book: Book, message: Message) -> None:
    layout = book.spec.messages[message.name].layout
    console().print(
        assembled((message.title, "bold"), (f"  {_DIRECTION[message.direction]}", "dim"))
    )
    console().print(safe(f"  {' '.join(layout.split())}", "cyan"))
    example = _example(book, message)
    if example:
        console().print(safe(f"  e.g. {example}", "dim"))


def _example(book: Book, message: Message) -> str:
    """Return a string of the message with its words: usual values, else those in the middle."""
    levels = {}
    for name, field in message.fields.items():
        usual = field.usual_level
        levels[name] = field.value(field.size // 2 if usual is None else usual)
    try:
        encoded = encode(book, levels, message.name)
    except CodeError:
        return ""
    return f"{encoded.string}  {encoded.words}"


def _table(book: Book, table: CodeTable, rows: int) -> None:
    if table.check is not None:
        console().print(safe(table.summary))
        return
    for field in table.fields:
        console().print(safe(_field_line(field), "dim"))
    if table.summary:
        console().print(safe(table.summary, "dim"))
    grid = boxed("symbols", "value", "said as", "")
    pairs = table.words()
    whole = rows == 0 or table.size <= rows
    last = not whole and rows > 1 and table.size <= ENUMERABLE
    for levels, word in pairs if whole else itertools.islice(pairs, rows - last):
        _row(book, table, grid, levels, word)
    if not whole:
        grid.add_row("…", safe(f"{table.size - rows} more", "dim"), "", "")
    if last:
        for levels, word in collections.deque(pairs, maxlen=1):
            _row(book, table, grid, levels, word)
    console().print(grid)


def _row(book: Book, table: CodeTable, grid: Any, levels: tuple[int, ...], word: str) -> None:
    pairs = list(zip(table.fields, levels, strict=True))
    values = ", ".join(
        field.text(level) if len(pairs) == 1 else f"{field.title} {field.text(level)}"
        for field, level in pairs
    )
    usual = " (usual)" if len(pairs) == 1 and pairs[0][0].usual_level == levels[0] else ""
    warnings = "; ".join(f"! {text}" for field, level in pairs for text in field.warnings(level))
    grid.add_row(
        safe(word, "bold cyan"),
        safe(values + usual),
        safe(" ".join(book.spoken(table, word))),
        safe(warnings, "red"),
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
        console().print()
        console().print(
            safe(
                "A temperature, voltage or insulation warning is handled by the event's and the"
                " team's own safety procedures and qualified people. Event regulations on radio use"
                " come first.",
                "italic",
            )
        )
