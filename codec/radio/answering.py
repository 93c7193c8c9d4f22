"""Which message from the car answers which call, and where it says something else."""

from __future__ import annotations

from collections.abc import Mapping

from codec.sheet.entry import Entry
from grammar.book import Book
from grammar.fields import Value, value_text

Values = Mapping[str, Value]
UNREAD = "not read"  # the note of a read-back that can't be read


def repeated(book: Book, message: str) -> frozenset[str]:
    """Return the names of the calls that a message from the car reads back: none for most."""
    fields = frozenset(book.messages[message].fields) if message in book.messages else frozenset()
    from_car = bool(fields) and book.messages[message].direction == "car"
    return frozenset(
        call.name for call in book.sent_by("pit") if from_car and frozenset(call.fields) == fields
    )


def different(book: Book, called: Entry, values: Values) -> str:
    """Return in words where a read-back says something else than was called, "" if it does not."""
    told = [
        f"{book.fields[name].title} {value_text(value)} called,"
        f" {value_text(values[name]) if name in values else 'nothing'} read back"
        for name, value in called.values.items()
        if values.get(name) != value
    ]
    return "; ".join(told)
