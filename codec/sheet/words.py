"""What entries say, in words."""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Iterable
from decimal import Decimal

from codec.lap_report import LAP
from codec.sheet.entry import Entry
from codec.sheet.order import SINCE_1970
from codec.sheet.state import POSITION, Row
from grammar.book import Book
from grammar.errors import CodeError
from grammar.exact import plain
from grammar.fields import FieldBase, Value, value_text

_MARKS = "≤≥… "  # before a value: it is not that value alone
CLOCKS_APART = 5.0  # seconds that two clocks may be apart before it is told


def time_text(at: int | None) -> str:
    """Write when something was said: from the beginning of a recording, or the time of day (local),
    "" where nobody knows.
    """
    if at is None:
        return ""
    if at >= SINCE_1970:
        moment = datetime.datetime.fromtimestamp(at / 1000, datetime.UTC)
        return moment.astimezone().strftime("%H:%M:%S")
    minutes, seconds = divmod(abs(at) // 1000, 60)
    return f"{'−' if at < 0 else ''}{minutes // 60}:{minutes % 60:02d}:{seconds:02d}"


def values_text(book: Book, entry: Entry) -> str:
    """Write all values of an entry in words."""
    shown = []
    for name, value in entry.values.items():
        field = book.fields.get(name)
        told = value_told(field, value, whole=name == LAP)
        shown.append(f"{name if field is None else field.title} {told}")
    return ", ".join(shown)


def value_told(
    field: FieldBase | None, value: Value, *, unit: bool = True, whole: bool = False
) -> str:
    """Write a value with its unit: at an open end as one or beyond, and a remainder of a wrapped
    field, unless it is known to be ``whole``, as such.
    """
    text = f"{value_text(value)} {field.unit_text if field is not None and unit else ''}".strip()
    if field is None or not isinstance(value, Decimal) or whole:
        return text
    try:
        level = field.level(value).level
        said = field.text(level) if field.value(level) == value else ""
    except CodeError:
        return text
    return "".join(itertools.takewhile(lambda sign: sign in _MARKS, said)) + text


def clock_text(ahead: float) -> str:
    """Write by how much this computer's clock is off, "" where it is hardly."""
    if abs(ahead) <= CLOCKS_APART:
        return ""
    which = "ahead of" if ahead > 0 else "behind"
    return f"this computer's clock is {duration_text(abs(ahead))} {which} the server's"


def duration_text(seconds: float) -> str:
    """Write how long something is, roughly."""
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"


def conflict_text(book: Book, row: Row, fixes: Iterable[Entry]) -> str:
    """Write what several desks made of an entry, and what settles it."""
    made = []
    for fix in fixes:
        what = values_text(book, fix) or fix.heard or fix.message
        what = "taken back" if fix.kind == "withdrawal" else what
        made.append(f"{fix.desk or 'the shared sheet'} ({fix.writer}): {what}")
    number = row.first.seq
    return (
        f"#{number} was put right at two desks that did not know of each other: {'; '.join(made)}."
        f" Settle it: /fix {number} WORDS, or /withdraw {number}"
    )


def message_text(book: Book, entry: Entry) -> str:
    """Write a report or a call in words, with what its message is called."""
    known = book.messages.get(entry.message)
    return f"{entry.message if known is None else known.title}: {values_text(book, entry)}"


def event_text(book: Book, entry: Entry) -> str:
    """Write an event in words."""
    if entry.message == POSITION and entry.amount is not None:
        return f"{entry.note} stands at {plain(entry.amount)}"
    amount = "" if entry.amount is None else f" {plain(entry.amount)}"
    return book.rules.title_of(entry.message) + amount
