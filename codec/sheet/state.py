"""What the journal says now: every entry with its corrections, withdrawals, questions and answers
put together.

Entries are taken in the order of their numbers; the clock plays no part in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from codec.sheet.entry import Entry
from grammar.book import Book

NEUTRALISED, RESUMED, ADDED, STOP, MARKER = "neutralised", "resumed", "added", "stop", "marker"
EVENTS = {
    NEUTRALISED: "race neutralised",
    RESUMED: "race resumed",
    ADDED: "laps added",
    STOP: "stop",
    MARKER: "marker pressed",
}
MOST_LAPS = 1000  # that a race may have, and that may be added to one
MOST_LAP = 10_000  # the highest number of a lap that is taken from people and files
_ROOTS = ("report", "call", "event", "note")


@dataclass(slots=True)
class Row:
    """A report, call, event or note as it stands: ``first`` as first written, ``entry`` its last
    version that was not withdrawn.
    """

    first: Entry
    entry: Entry
    withdrawn: bool = False
    corrections: list[Entry] = field(default_factory=list)
    questions: list[Entry] = field(default_factory=list)
    answers: list[Entry] = field(default_factory=list)
    readbacks: list[Entry] = field(default_factory=list)

    @property
    def counts(self) -> bool:
        """Tell whether its values count."""
        return not self.withdrawn and self.entry.accepted


def correction_of(entry: Entry, **changes: Any) -> Entry:
    """Return the entry that corrects another: its whole new version."""
    new = {"note": "", "refusal": "", "certainty": None, "writer": "", **changes}
    return entry.replace(kind="correction", about=entry.seq, seq=0, uid="", logged="", **new)


def withdrawal_of(entry: Entry, note: str = "") -> Entry:
    """Return the entry that withdraws another; withdrawing a withdrawal brings back what it
    took.
    """
    return Entry(kind="withdrawal", car=entry.car, lap=entry.lap, about=entry.seq, note=note)


def rows(entries: Iterable[Entry]) -> list[Row]:
    """Return every report, call, event and note in order, as it stands."""
    listed = list(entries)
    dead = _dead(listed)
    found: dict[int, Row] = {}
    root: dict[int, int] = {}
    for entry in listed:
        if entry.kind in _ROOTS:
            found[entry.seq] = Row(entry, entry, withdrawn=entry.seq in dead)
            root[entry.seq] = entry.seq
            continue
        row = found.get(root.get(entry.about or 0, 0))
        if row is None:
            continue
        root[entry.seq] = row.first.seq
        if entry.seq in dead:
            continue
        if entry.kind == "correction":
            row.corrections.append(entry)
            row.entry = entry.replace(kind=row.first.kind, seq=row.first.seq, about=row.first.about)
        else:
            {"question": row.questions, "answer": row.answers, "readback": row.readbacks}.get(
                entry.kind, []
            ).append(entry)
    return list(found.values())


def _dead(entries: Sequence[Entry]) -> set[int]:
    """Return the numbers of entries withdrawn; the last word is with the latest, so they are gone
    through from the end.
    """
    dead: set[int] = set()
    for entry in reversed(entries):
        if entry.kind == "withdrawal" and entry.about is not None and entry.seq not in dead:
            dead.add(entry.about)
    return dead


def last_to_undo(entries: Sequence[Entry]) -> Entry | None:
    """Return the last entry that stands and can be taken back; a question goes with the report it
    is about.
    """
    dead = _dead(entries)
    kept = (
        entry
        for entry in reversed(entries)
        if entry.seq not in dead and entry.kind not in ("withdrawal", "car", "question")
    )
    return next(kept, None)


def cars(entries: Iterable[Entry]) -> dict[str, str]:
    """Return the cars named, each with its driver, in order; then those that only occur."""
    named: dict[str, str] = {}
    for entry in entries:
        if entry.kind == "car":
            named[entry.car] = entry.message
        elif entry.car:
            named.setdefault(entry.car, "")
    return named


def of_car(standing: Iterable[Row], car: str) -> list[Row]:
    """Return what stands for one car: its own, and events and notes that name no car; a report or
    call of no car belongs to none.
    """
    return [
        row
        for row in standing
        if row.entry.car == car or (not row.entry.car and row.first.kind in ("event", "note"))
    ]


def lap_message(book: Book) -> str:
    """Return the name of the message that is reported each lap: the first that the book has from
    the car.
    """
    return next((message.name for message in book.sent_by("car")), "")


def laps(standing: Iterable[Row], car: str, message: str) -> dict[int, Row]:
    """Return the report of each lap of a car in one message: the last one that counts, else the
    last refused one.
    """
    found: dict[int, Row] = {}
    for row in standing:
        entry = row.entry
        mine = row.first.kind == "report" and entry.car == car and entry.message in (message, "")
        if mine and entry.lap is not None and not row.withdrawn:
            before = found.get(entry.lap)
            if before is None or row.counts or not before.counts:
                found[entry.lap] = row
    return dict(sorted(found.items()))


@dataclass(frozen=True, slots=True)
class RaceState:
    """The state of the race: whether it is neutralised, and the laps added so far."""

    neutralised: bool
    added: Decimal


def race(standing: Iterable[Row]) -> RaceState:
    """Return the state of the race from its events, and from calls that say laps ``added``; a call
    said to two cars counts once.
    """
    neutralised = False
    events, called = Decimal(0), dict[str, Decimal]()
    for row in standing:
        entry = row.entry
        if row.withdrawn:
            continue
        if row.first.kind == "event" and entry.message in (NEUTRALISED, RESUMED):
            neutralised = entry.message == NEUTRALISED
        elif row.first.kind == "event" and entry.message == ADDED:
            events += entry.amount or 0
        elif (
            row.first.kind == "call"
            and row.counts
            and isinstance(added := entry.values.get(ADDED), Decimal)
        ):
            called[entry.car] = called.get(entry.car, Decimal(0)) + added
    return RaceState(neutralised, events or max(called.values(), default=Decimal(0)))


def clock_steps(entries: Iterable[Entry]) -> list[int]:
    """Return the numbers of the entries before which the clock had gone backwards."""
    steps, last = [], ""
    for entry in entries:
        if last and entry.logged < last:
            steps.append(entry.seq)
        last = entry.logged
    return steps
