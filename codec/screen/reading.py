"""One reading, or one encoded string, as a person wants to see it."""

from __future__ import annotations

from rich import box
from rich.table import Table
from rich.text import Text

from codec.encoding import Encoded
from codec.reading import Reading
from codec.screen.console import assembled, console, safe
from grammar.book import Book
from grammar.exact import plain


def reading_lines(book: Book, reading: Reading) -> None:
    """Print a reading: a head line, then a row for each part with what was said, its values and
    warnings.
    """
    head = assembled((reading.title, "bold"), "  ", (reading.said, "bold cyan"))
    if reading.string != reading.said:
        head.append(f"  (shortest: {reading.string})", "dim")
    console().print(head)
    console().print(_rows(book, reading))


def _rows(book: Book, reading: Reading) -> Table:
    table = Table(box=None, show_header=False, padding=(0, 2, 0, 2))
    for folds in (False, False, False, True, True):
        table.add_column(no_wrap=not folds, overflow="fold")
    for part in reading.parts:
        words = (
            " ".join(book.spoken(book.tables[part.table], part.string))
            if part.table in book.tables
            else book.alphabet.say(part.string)
        )
        if not part.fields:
            what = "fits" if part.table in book.tables else ""
            table.add_row(
                safe(part.table, "dim"),
                safe(what, "dim"),
                safe(part.string, "cyan"),
                safe(words, "dim"),
                "",
            )
        for name in part.fields:
            table.add_row(
                safe(reading.field(name).title),
                safe(reading.shown(name), "bold"),
                safe(part.string, "cyan"),
                safe(words, "dim"),
                _warning(reading, name),
            )
    for name in reading.implied:
        table.add_row(
            safe(reading.field(name).title),
            safe(reading.shown(name), "bold"),
            "",
            safe("unsaid: as usual", "dim"),
            "",
        )
    return table


def _warning(reading: Reading, name: str) -> Text:
    warnings = reading.field(name).warnings(reading.levels[name])
    return safe("; ".join(f"! {warning}" for warning in warnings), "bold red")


def encoded_lines(book: Book, encoded: Encoded) -> None:
    """Print a string, the words to say, how long they take, and what was rounded."""
    console().print(assembled((encoded.string, "bold cyan"), "  ", (encoded.words, "bold")))
    facts = (
        f"{encoded.message}: {len(encoded.string)} symbols, {encoded.syllables} syllables, about"
        f" {encoded.seconds:.1f} s"
    )
    console().print(safe("  " + facts, "dim"))
    for name, error in encoded.rounding.items():
        field = book.fields[name]
        given = f"{field.title} said as {field.text(encoded.levels[name])}"
        gap = f"{plain(abs(error))} {field.unit_text}".rstrip()
        console().print(
            safe(f"  {given}, {gap} {'more' if error > 0 else 'less'} than given", "yellow")
        )


def event_lines(facts: dict[str, object]) -> None:
    """Print an event, a question or an answer heard in a transcript."""
    shown = {
        kind: value for kind, value in facts.items() if kind not in ("span", "label") and value
    }
    if "event" in shown:
        shown["event"] = facts["label"]
    console().print(safe(", ".join(f"{kind}: {value}" for kind, value in shown.items()), "magenta"))


def heading(text: str) -> None:
    """Print a line that parts one thing from the next."""
    console().print()
    console().print(safe(text, "bold underline"))


def boxed(*columns: str, right: tuple[str, ...] = ()) -> Table:
    """Return an empty table with these column heads."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    for column in columns:
        table.add_column(column, justify="right" if column in right else "left", overflow="fold")
    return table
