"""Read-backs of calls: which report repeats which call, and whether it says the same.

A message from the car that has the very fields of a message from the pit is how that call is read
back. What is read back is expected to be what was called: common practice of radio work, as for
clearances in ICAO Annex 10, volume II (from memory), which also has the words for one that is not:
NEGATIVE I SAY AGAIN and the call.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

from codec.radio.answering import different, repeated
from codec.reading import Reading
from codec.sheet.entry import Entry
from codec.sheet.state import Row, Standing
from grammar.book import Book
from grammar.fields import Value

Values = Mapping[str, Value]
CallState = Literal["called", "read back", "wrong", "not answered"]
NEGATIVE = "NEGATIVE"  # what the reply to a wrong read-back begins with


def read_back(call: Row, said: Reading | None = None) -> Entry:
    """Return the entry that tells that a call was read back: as it was said, or as ``said``."""
    entry = _read_back(call)
    if said is None:
        return entry
    return entry.replace(string=said.said, values=dict(said.values), note="differs")


def _read_back(call: Row) -> Entry:
    said = call.entry
    return Entry(
        kind="readback",
        car=said.car,
        lap=said.lap,
        lap_by=said.lap_by,
        message=said.message,
        string=said.string,
        values=dict(said.values),
        certainty=1.0,
        about=call.first.seq,
        note="agrees",
    )


@dataclass(frozen=True, slots=True)
class ReadBack:
    """A read-back that stands, the call it is of (None if there was none), and in words what is
    wrong with it, "" if nothing is, or if it was put right since. One in the words of the call is
    a part of the call's own row.
    """

    row: Row
    call: Row | None
    wrong: str


@dataclass(slots=True)
class Called:
    """A call and how it was read back: ``answered`` is the last read-back, ``wrong`` tells in words
    what differed in it.

    ``right`` says that it was read back right, in a book that has no message for that, ``followed``
    that another call of its kind was made before it was.
    """

    row: Row
    answered: Row | None = None
    wrong: str = ""
    right: bool = False
    followed: bool = False

    @property
    def waits(self) -> bool:
        """Tell whether it is still to be read back."""
        return self.state in ("called", "wrong")

    @property
    def state(self) -> CallState:
        """What has become of it."""
        if self.right or (self.answered is not None and not self.wrong):
            return "read back"
        if self.followed:
            return "not answered"
        return "wrong" if self.wrong else "called"


class ReadBacks:
    """The calls of one car and their read-backs: ``log`` every call in order, ``done`` the
    read-backs, ``waiting`` the calls not read back yet.
    """

    def __init__(self, book: Book, standing: Standing, car: str) -> None:
        """Go through what stands, in the order in which it was said."""
        self.book = book
        self.done: list[ReadBack] = []
        self.waiting: list[Row] = []
        self.log: list[Called] = []
        self._called: set[str] = set()
        self._open: list[Called] = []  # those of the log that may still wait
        self._repeats: dict[str, frozenset[str]] = {}
        if not standing.of(car, "call"):
            return
        for row in standing.rows_in_order(standing.of(car, "report", "call")):
            if not row.counts:
                continue
            if row.first.kind == "call":
                self._call(row)
            elif self._called & self._repeated(row.entry.message):
                self._answer(row)

    def _repeated(self, message: str) -> frozenset[str]:
        if message not in self._repeats:
            self._repeats[message] = repeated(self.book, message)
        return self._repeats[message]

    def _call(self, row: Row) -> None:
        self._called.add(row.entry.message)
        again = self.said_again(row.entry.message, row.entry.values)
        if again is None:
            if not self._answered(row.entry.message):
                self._follow(row)
            again = Called(row)
            self.log.append(again)
            self._open.append(again)
            self.waiting.append(row)
        for answer in row.readbacks:  # said word for word
            again.right = dict(answer.values) == dict(row.entry.values)
            again.wrong = "" if again.right else different(self.book, row.entry, answer.values)
            if again.right:
                self._wait_no_more([again.row])
        if row.readbacks and again.wrong:
            self.done.append(ReadBack(row, row, again.wrong))

    def _follow(self, row: Row) -> None:
        """Wait no more for the read-backs of calls that another one follows."""
        self._open = [one for one in self._open if one.waits]
        followed = [
            one for one in self._open if _alike(one.row.entry, row.entry.message, row.entry.values)
        ]
        for one in followed:
            one.followed = True
            if one.wrong:
                self.done = [back for back in self.done if back.row is not one.row]
        self._wait_no_more([one.row for one in followed])

    def _wait_no_more(self, calls: Sequence[Row]) -> None:
        gone = set(map(id, calls))
        self.waiting = [call for call in self.waiting if id(call) not in gone]

    def _answer(self, row: Row) -> None:
        call, last = self.call(row.entry.message, row.entry.values), self._wrong(row.entry.message)
        if call is None and last is not None and _mends(last, row.entry.values):
            call, self.done[-1] = last.call, replace(last, wrong="")
        if call is None:
            self.done.append(ReadBack(row, None, "read back, but not called"))
            return
        self._wait_no_more([call])
        told = next(one for one in reversed(self.log) if one.row is call)
        told.answered, told.wrong = row, different(self.book, call.entry, row.entry.values)
        self.done.append(ReadBack(row, call, told.wrong))

    def said_again(self, message: str, values: Values) -> Called | None:
        """Return the call that a call says once more, because its read-back was wrong; None for a
        new one.
        """
        last = next((one for one in reversed(self.log) if one.row.entry.message == message), None)
        same = last is not None and last.wrong and dict(last.row.entry.values) == dict(values)
        return last if same else None

    def call(self, message: str, values: Values) -> Row | None:
        """Return the call that a report reads back: one that said the same, else of those most like
        it the last; None if there is none.
        """
        names = self._repeated(message)
        found = [row for row in self.waiting if row.entry.message in names]
        return max(
            reversed(found),
            key=lambda row: sum(values.get(name) == one for name, one in row.entry.values.items()),
            default=None,
        )

    def waits(self, reading: Reading) -> Row | None:
        """Return the last call of the same message that is not read back yet, where the book has a
        read-back for it.

        A read-back of which the end was lost may sound like one more call: ``sounds_like`` tells.
        """
        same = [row for row in self.waiting if row.entry.message == reading.message]
        return same[-1] if same and self._answered(reading.message) else None

    def last_of(self, reading: Reading) -> Row | None:
        """Return the last call that waits to be read back and that a call may put right."""
        said = reading.message, reading.values
        return next((row for row in reversed(self.waiting) if _alike(row.entry, *said)), None)

    def sounds_like(self, call: Row, reading: Reading) -> bool:
        """Tell whether a call may be the read-back of another, its end lost: it begins as that
        does.
        """
        called, said = call.entry.string, reading.said
        alike = next(
            (n for n, (a, b) in enumerate(zip(called, said, strict=False)) if a != b), len(called)
        )
        return len(called) == len(said) and 2 * alike >= len(called)

    def word_for_word(self, reading: Reading) -> Row | None:
        """Return the call that waits and says the very same, where the book has no message to read
        it back: then what is heard once more is taken for its read-back. None if there is none.
        """
        if self._answered(reading.message):
            return None
        same = [row for row in self.waiting if row.entry.message == reading.message]
        return same[-1] if same and dict(same[-1].entry.values) == dict(reading.values) else None

    def differently(self, reading: Reading, since: int) -> Row | None:
        """Return the call made ``since`` then that is read back wrong by one that is heard now: the
        same message of the same dial or the like, with another number, in a book that has no
        message to read it back. None where it is a call of its own.
        """
        if reading.direction != "pit" or self._answered(reading.message):
            return None
        last = self.last_of(reading)
        soon = last is not None and last.first.at is not None and last.first.at >= since
        return last if soon else None

    def _answered(self, message: str) -> bool:
        """Tell whether the book has a message to read a call back."""
        return any(message in self._repeated(name) for name in self.book.messages)

    def mended(self, reading: Reading) -> Row | None:
        """Return the wrong read-back that a report puts right or says once more, None if it does
        neither.

        Anything else may be of a call that nobody typed, and stands for itself.
        """
        last = self.repeating(reading)
        return last.row if last is not None and _mends(last, reading.values) else None

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
        return "read back, but not called" if self._called & self._repeated(reading.message) else ""

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


def _alike(call: Entry, message: str, values: Values) -> bool:
    """Tell whether a call is as another one, but for its numbers."""
    return call.message == message and all(
        call.values.get(name) == value or isinstance(value, Decimal)
        for name, value in values.items()
    )


def _mends(wrong: ReadBack, values: Values) -> bool:
    """Tell whether a report puts a wrong read-back right, or says it once more."""
    said = dict(values)
    return wrong.call is not None and said in (
        dict(wrong.call.entry.values),
        dict(wrong.row.entry.values),
    )
