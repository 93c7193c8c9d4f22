"""Read-backs of calls: which report repeats which call, and whether it says the same.

A message from the car that has the very fields of a message from the pit is how that call is read
back. What is read back is expected to be what was called: common practice of radio work, as for
clearances in ICAO Annex 10, volume II (from memory), which also has the words for one that is not:
NEGATIVE I SAY AGAIN and the call.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from codec.reading import Reading
from codec.sheet.entry import Entry
from codec.sheet.state import Row, Standing
from grammar.book import Book
from grammar.fields import Value, value_text

Values = Mapping[str, Value]
NEGATIVE = "NEGATIVE"  # what the reply to a wrong read-back begins with


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
        f"{book.fields[name].title} {value_text(value)} called, {value_text(said)} read back"
        for name, value in called.values.items()
        if (said := values[name]) != value
    ]
    return "; ".join(told)


@dataclass(frozen=True, slots=True)
class ReadBack:
    """A read-back that stands, the call it is of (None if there was none), and in words what is
    wrong with it, "" if nothing is.
    """

    row: Row
    call: Row | None
    wrong: str


class ReadBacks:
    """The calls of one car and their read-backs: ``done`` in order, ``waiting`` the calls not read
    back yet.
    """

    def __init__(self, book: Book, standing: Standing, car: str) -> None:
        """Go through what stands, in the order in which it was said."""
        self.book = book
        self.done: list[ReadBack] = []
        self.waiting: list[Row] = []
        self._called: set[str] = set()
        for row in standing.rows_in_order(standing.of(car, "report", "call")):
            if not row.counts:
                continue
            if row.first.kind == "call":
                self.waiting.append(row)
                self._called.add(row.entry.message)
            elif row.first.kind == "report" and self._called & repeated(book, row.entry.message):
                call = self.call(row.entry.message, row.entry.values)
                if call is not None:
                    self.waiting.remove(call)
                wrong = (
                    "read back, but not called"
                    if call is None
                    else different(book, call.entry, row.entry.values)
                )
                self.done.append(ReadBack(row, call, wrong))

    def call(self, message: str, values: Values) -> Row | None:
        """Return the call that a report reads back: one that said the same, else of those most like
        it the last; None if there is none.
        """
        names = repeated(self.book, message)
        found = [row for row in self.waiting if row.entry.message in names]
        return max(
            reversed(found),
            key=lambda row: sum(values.get(name) == one for name, one in row.entry.values.items()),
            default=None,
        )

    def waits(self, reading: Reading) -> Row | None:
        """Return the last call of the same message that is not read back yet, where the book has a
        read-back for it.

        A read-back of which the end was lost may sound like one more call.
        """
        answered = any(reading.message in repeated(self.book, name) for name in self.book.messages)
        same = [row for row in self.waiting if row.entry.message == reading.message]
        return same[-1] if answered and same else None

    def mended(self, reading: Reading) -> Row | None:
        """Return the wrong read-back that a report puts right or says once more, None if it does
        neither.

        Anything else may be of a call that nobody typed, and stands for itself.
        """
        last = self.repeating(reading)
        if last is None or last.call is None:
            return None
        said = dict(reading.values)
        return (
            last.row
            if said in (dict(last.call.entry.values), dict(last.row.entry.values))
            else None
        )

    def repeating(self, reading: Reading) -> ReadBack | None:
        """Return the wrong read-back that a reading is likely a repeat of: no call but that of the
        last one can be meant.
        """
        last = self._wrong(reading.message)
        return (
            last
            if last is not None
            and last.call is not None
            and self.call(reading.message, reading.values) is None
            else None
        )

    def differs(self, reading: Reading) -> str:
        """Return in words where a report that is a read-back says something else than was called,
        "" where it does not or is none.
        """
        if reading.direction != "car":
            return ""
        call, last = self.call(reading.message, reading.values), self.repeating(reading)
        if last is not None:
            call = last.call
        if call is not None:
            return different(self.book, call.entry, reading.values)
        return (
            "read back, but not called"
            if self._called & repeated(self.book, reading.message)
            else ""
        )

    def reply(self, seq: int) -> str:
        """Return what to say to a wrong read-back: that it was wrong, and the call once more."""
        call = next(
            (back.call for back in self.done if back.row.first.seq == seq and back.wrong), None
        )
        return (
            "SAY AGAIN"
            if call is None
            else f"{NEGATIVE}, I SAY AGAIN {self.book.alphabet.say(call.entry.string)}"
        )

    def _wrong(self, message: str) -> ReadBack | None:
        """Return the last read-back if it is wrong and of this message."""
        last = self.done[-1] if self.done else None
        return (
            last if last is not None and last.wrong and last.row.entry.message == message else None
        )
