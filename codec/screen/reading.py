"""One reading, or one encoded string, as a person wants to see it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from codec.reading import Reading
from codec.screen.lines import Styled, line, rows, safe
from grammar.book import Book
from grammar.exact import plain

if TYPE_CHECKING:
    from codec.encoding import Encoded


def reading_lines(book: Book, reading: Reading) -> None:
    """Print a reading: a head line, then a row for each part with what was said, its values and
    warnings.
    """
    head = [(reading.title, "bold"), ("  ", ""), (reading.said, "bold cyan")]
    if reading.string != reading.said:
        head.append((f"  (shortest: {reading.string})", "dim"))
    line(*head)
    rows(list(_rows(book, reading)), (False, False, False, True, True))


def _rows(book: Book, reading: Reading) -> Iterator[tuple[Styled, ...]]:
    """Yield a row for each field and each part without one."""
    for part in reading.parts:
        words = (
            " ".join(book.spoken(book.tables[part.table], part.string))
            if part.table in book.tables
            else book.alphabet.say(part.string)
        )
        if not part.fields:
            what = "fits" if part.table in book.tables else ""
            yield (
                safe(part.table, "dim"),
                safe(what, "dim"),
                safe(part.string, "cyan"),
                safe(words, "dim"),
                ("", ""),
            )
        for name in part.fields:
            yield (
                safe(reading.field(name).title),
                safe(reading.shown(name), "bold"),
                safe(part.string, "cyan"),
                safe(words, "dim"),
                _warning(reading, name),
            )
    for name in reading.implied:
        yield (
            safe(reading.field(name).title),
            safe(reading.shown(name), "bold"),
            ("", ""),
            safe("unsaid: as usual", "dim"),
            ("", ""),
        )


def _warning(reading: Reading, name: str) -> Styled:
    warnings = reading.field(name).warnings(reading.levels[name])
    return safe("; ".join(f"! {warning}" for warning in warnings), "bold red")


def encoded_lines(book: Book, encoded: Encoded) -> None:
    """Print a string, the words to say, how long they take, and what was rounded."""
    match = encoded.reading.match
    groups = match.groups()
    string = " ".join("".join(match.texts[place] for place in group) for group in groups)
    words = ", ".join(
        " ".join(
            word
            for place in group
            for word in book.spoken(match.plan.tables[place], match.texts[place])
        )
        for group in groups
    )
    line((string, "bold cyan"), ("  ", ""), (words if len(groups) > 1 else encoded.words, "bold"))
    facts = (
        f"{encoded.message}: {len(encoded.string)} symbols, {encoded.syllables} syllables, about"
        f" {encoded.seconds:.1f} s"
    )
    line(safe("  " + facts, "dim"))
    for name, error in encoded.rounding.items():
        field = book.fields[name]
        given = f"{field.title} said as {field.text(encoded.levels[name])}"
        gap = f"{plain(abs(error))} {field.unit_text}".rstrip()
        line(safe(f"  {given}, {gap} {'more' if error > 0 else 'less'} than given", "yellow"))


def event_lines(facts: dict[str, object]) -> None:
    """Print an event, a question or an answer heard in a transcript."""
    shown = {
        kind: value for kind, value in facts.items() if kind not in ("span", "label") and value
    }
    if "event" in shown:
        shown["event"] = facts["label"]
    line(safe(", ".join(f"{kind}: {value}" for kind, value in shown.items()), "magenta"))
