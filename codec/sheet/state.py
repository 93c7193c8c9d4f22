"""What the journal says now: every entry with its corrections, withdrawals, questions and answers
put together.

Entries are taken up in the order of their numbers, each once: what stands goes on from where it
stood. What was said stands in the order of ``codec.sheet.order``.
"""

from __future__ import annotations

import bisect
import copy
import heapq
import itertools
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, NamedTuple

from codec.lap_report import lap_message
from codec.sheet.entry import Entry, Kind, PlainNote, Said
from codec.sheet.fitting import fitting
from codec.sheet.order import Moments, placed, puts_clock_right, reports_lap
from codec.sheet.window import HELD, EntryWindow, Older, Sought, read_through
from grammar.book import Book
from grammar.speech.facts import OF_THE_RACE

NEUTRALISED, RESUMED, STOPPED, ADDED = "neutralised", "resumed", "stopped", "added"
POSITION = "position"  # of a dial, which the event's note names
WITHDRAWN = "withdrawn"
BY_HAND = "by hand"  # the note of what somebody put right who looked at it
MOST_LAPS = 1000  # that a race may have, and that may be added to one
MOST_LAP = 10_000  # the highest number of a lap that is taken from people and files
_ROOTS: tuple[Kind, ...] = ("report", "call", "event", "note")
_STATES = (NEUTRALISED, RESUMED, STOPPED)  # of which the race is in one
_ANNOUNCED_AGAIN = 180_000  # milliseconds: laps added, announced again to another car


@dataclass(slots=True)
class Row:
    """A report, call, event or note as it stands: ``first`` as first written, ``entry`` its last
    version that was not withdrawn.
    """

    first: Entry
    entry: Entry
    withdrawn: bool = False
    corrections: Sequence[Entry] = ()
    questions: Sequence[Entry] = ()
    answers: Sequence[Entry] = ()
    readbacks: Sequence[Entry] = ()

    @property
    def counts(self) -> bool:
        """Tell whether its values count."""
        return not self.withdrawn and self.entry.accepted


def correction_of(entry: Entry, **changes: Any) -> Entry:
    """Return the entry that corrects another: its whole new version."""
    new = {"note": "", "refusal": "", "certainty": None, "writer": "", "desk": "", **changes}
    if "lap" in changes:
        new.setdefault("lap_certainty", None)
    return entry.replace(kind="correction", about=entry.seq, seq=0, uid="", logged="", **new)


def withdrawal_of(entry: Entry, note: str = "") -> Entry:
    """Return the entry that withdraws another; withdrawing a withdrawal brings back what it
    took.
    """
    return Entry(kind="withdrawal", car=entry.car, lap=entry.lap, about=entry.seq, note=note)


class Standing:
    """What a sheet says now: every report, call, event and note as it stands, the cars and their
    drivers, and when things were said.

    ``take`` goes on from where it stands: its work is in proportion to what is new. ``rows`` are in
    the order of their numbers.

    With ``older``, which reads entries by their numbers, it says the same and holds less: the last
    entries, whatever is no plain note, and the last plain notes of each car, ``held`` of each.
    Earlier notes are most of a long sheet, and stand as they were written, as nothing is about
    them: they are read where they are asked for.
    """

    def __init__(
        self, entries: Iterable[Said] = (), *, older: Older | None = None, held: int = HELD
    ) -> None:
        """Take up the entries there are."""
        self.entries = EntryWindow(older, held)
        self.cars: dict[str, str] = {}
        self.spoken = ""  # the car of the last entry that has one
        self.moments = Moments()
        self._held = held
        # by car, None where they name none: the last plain notes, and the last that is not held
        self._late: dict[str | None, deque[Said]] = {}
        self._left: dict[str | None, int] = {}
        self._about: dict[int, Row] = {}  # whatever is about a row, and the row itself
        self._parts: dict[int, list[Entry]] = {}  # of a row, by its number, in order
        self._withdrawals: dict[int, int] = {}  # each, and what it takes back
        self._taken_back_by: dict[int, list[int]] = {}
        self._of_car: dict[tuple[str | None, Kind], list[Row]] = {}  # None: of all of them
        self._fixes: dict[int, list[Entry]] = {}  # of a row, by its number, taken back or not
        self._changes: dict[str | None, int] = {}  # of what stands for a car; None: for all
        self.take(entries)

    def take(self, entries: Iterable[Said]) -> bool:
        """Take up what has come since; return whether all was taken up anew, as something tells
        when others were said.
        """
        # what is held as a whole is taken or left as a whole
        new = iter(entries if self.entries.older is not None else list(entries))
        for entry in new:
            if entry.kind in ("note", "withdrawal") and self._puts_clock_right(entry):
                self._begin_again(entry, new)
                return True
            self._take(entry)
        return False

    def _begin_again(self, entry: Said, new: Iterator[Said]) -> None:
        """Take up everything anew by what is told of clocks, up to the last of what is new."""
        older, count, telling = self.entries.older, 0, list[Said]()
        everything: Iterable[Said] = itertools.chain(self.entries, [entry], new)
        if older is None:
            everything = list(everything)
        for count, one in enumerate(everything, 1):  # noqa: B007 - how many there are
            if one.kind == "withdrawal" or puts_clock_right(one):
                telling.append(one)
        fresh = Standing(older=older, held=self._held)
        fresh.moments = Moments(_clocks(telling))
        for one in everything if older is None else read_through(older, count):
            fresh._take(one)
        self.__dict__ = fresh.__dict__

    def _take(self, entry: Said) -> None:
        self.entries.append(entry)
        self.moments.take(entry)
        if entry.car:
            self.spoken = entry.car
            if entry.kind != "car":
                self.cars.setdefault(entry.car, "")
        if isinstance(entry, PlainNote) or (entry.kind == "note" and self._is_plain(entry)):
            self._take_plainly(entry)
        elif entry.kind == "car":
            self.cars[entry.car] = entry.message
            self._changed(entry.car)
        elif entry.kind in _ROOTS:
            self._begin(entry)
        elif entry.kind == "withdrawal":
            self._take_back(entry)
        elif (row := self._row(entry.about or 0)) is not None:
            self._about[entry.seq] = row
            self._parts.setdefault(row.first.seq, []).append(entry)
            if entry.kind == "correction":
                self._fixes.setdefault(row.first.seq, []).append(entry)
            self._put_together(row)

    def _is_plain(self, note: Entry) -> bool:
        """Tell whether a note need not be held: it can be read, and tells nothing of clocks."""
        return self.entries.older is not None and not puts_clock_right(note)

    def _take_plainly(self, note: Said) -> None:
        """Hold a note among the last ones of its car."""
        car = note.car or None
        late = self._late.setdefault(car, deque())
        late.append(note)
        if len(late) > self._held:
            self._left[car] = late.popleft().seq
        self._changed(car)

    def as_it_stands(self) -> Standing:
        """Return what the sheet says now, but for what notes say: what comes later changes nothing
        there. It takes nothing more.
        """
        found = copy.copy(self)
        found.moments, found.cars = self.moments.as_it_stands(), dict(self.cars)
        rows = {id(row): replace(row) for row in self._about.values()}
        found._about = {number: rows[id(row)] for number, row in self._about.items()}
        found._of_car = {
            whose: [rows[id(row)] for row in listed]
            for whose, listed in self._of_car.items()
            if whose[1] != "note"
        }
        found._late, found._left, found.entries = {}, {}, EntryWindow()
        found._changes, found._withdrawals = dict(self._changes), dict(self._withdrawals)
        found._fixes = {number: list(fixes) for number, fixes in self._fixes.items()}
        found._taken_back_by = {number: list(by) for number, by in self._taken_back_by.items()}
        return found

    @property
    def rows(self) -> list[Row]:
        """What stands, in the order of its numbers; where not all of it is held it is read."""
        return self.every(*_ROOTS)

    def every(self, *kinds: Kind) -> list[Row]:
        """Return what stands of these kinds, whosever it is, in the order of its numbers."""
        rows = self.newest_first() if "note" in kinds and self._late else self._held_rows()
        return sorted((row for row in rows if row.first.kind in kinds), key=_number)

    def _held_rows(self) -> Iterator[Row]:
        return itertools.chain.from_iterable(self._of_car.values())

    def newest_first(self, sought: Sought | None = None) -> Iterator[Row]:
        """Yield what stands from the last on; what is not held is read meanwhile, of that only the
        notes that are ``sought``.
        """
        late = (row for car in self._late for row in self._late_notes(car))
        held = sorted([*self._held_rows(), *late], key=_number, reverse=True)
        left = max(self._left.values(), default=0)
        known = {row.first.seq for row in held}
        earlier = (row for row in self._read_notes(left, sought) if row.first.seq not in known)
        return heapq.merge(held, earlier, key=_number, reverse=True)

    def _late_notes(self, car: str | None, most: int | None = None) -> list[Row]:
        """Return the plain notes of a car that are held, the last ``most`` of them, but for those
        something is about.
        """
        last = reversed(self._late.get(car, ()))
        late = itertools.islice((note for note in last if note.seq not in self._about), most)
        entries = (note.entry if isinstance(note, PlainNote) else note for note in late)
        return [Row(entry, entry) for entry in entries][::-1]

    def _read_notes(self, left: int, sought: Sought | None = None) -> Iterator[Row]:
        """Yield the notes up to a number that nothing is about, the last one first."""
        for entry in self.entries.before(left, sought):
            if entry.kind == "note" and entry.seq not in self._about:
                yield Row(entry, entry)

    def changes(self, car: str) -> tuple[int, ...]:
        """Return what is another whenever anything of a car is, or of what counts for all cars."""
        of_all = (self._changes.get(whose, 0) for whose in (car, "", None))
        return (*of_all, len(self.moments.steps))

    def _changed(self, whose: str | None) -> None:
        self._changes[whose] = self._changes.get(whose, 0) + 1

    def _puts_clock_right(self, entry: Said) -> bool:
        """Tell whether an entry tells when others were said, or takes back what does."""
        told = self._taken_back(entry) if entry.kind == "withdrawal" else entry
        return puts_clock_right(told)

    def _taken_back(self, entry: Said) -> Said:
        """Return what a withdrawal takes back, or brings back, in the end."""
        about = entry.about or 0
        while about in self._withdrawals:
            about = self._withdrawals[about]
        row = self._about.get(about)
        return entry if row is None else row.first

    def of(self, car: str, *kinds: Kind, most: int | None = None) -> list[Row]:
        """Return what stands for one car, of these kinds (of all where none is named), in the order
        of their numbers: its own, and, of events and notes, facts of the race and what names no
        car. ``most`` keeps only so many of each kind, the last ones.

        A report or call of no car belongs to none.
        """
        found: list[Sequence[Row]] = []
        for kind in kinds or _ROOTS:
            for whose in (car, None):
                listed = self._listed(whose, kind, most)
                found.append(listed if most is None else listed[-most:])
        some = [listed for listed in found if listed]
        if len(some) == 1:  # which is in order
            return list(some[0])
        return sorted(itertools.chain.from_iterable(some), key=_number)

    def _listed(self, car: str | None, kind: Kind, most: int | None) -> Sequence[Row]:
        """Return what stands for a car, of a kind, the last ``most`` of them at least."""
        listed = self._of_car.get((car, kind), [])
        if kind != "note" or car not in self._late:
            return listed
        left, late = self._left.get(car, 0), self._late_notes(car, most)
        lacking = len(self.entries) if most is None else most - len(late)
        if left and lacking > 0:
            of_car = (row for row in self._read_notes(left) if row.first.car == (car or ""))
            late += itertools.islice(of_car, lacking)
        return sorted([*listed, *late], key=_number)

    def in_order(self, entries: Iterable[Entry]) -> list[Entry]:
        """Return entries as they stand in the order in which they were first said, each with the
        moment at which it was.
        """
        found = []
        for entry in sorted(entries, key=lambda entry: self.moments.key(entry.seq)):
            at = self.moments.at(entry.seq)
            found.append(entry if entry.at == at else entry.replace(at=at))
        return found

    def rows_in_order(self, listed: Iterable[Row]) -> list[Row]:
        """Return rows in the order in which they were first said."""
        return sorted(listed, key=lambda row: self.moments.key(row.first.seq))

    def stands(self, entry: Entry) -> bool:
        """Tell whether an entry was not withdrawn."""
        return not self._dead(entry.seq)

    def taken_back_by(self, entry: Entry) -> int:
        """Return the number of the last withdrawal that takes an entry back, 0 if it stands."""
        by = [seq for seq in self._taken_back_by.get(entry.seq, ()) if not self._dead(seq)]
        return max(by, default=0)

    def row_of(self, entry: Entry) -> Row | None:
        """Return what an entry is a part of: the report, call, event or note, None for none."""
        row = self._about.get(entry.seq)
        left = row is None and entry.kind == "note" and self.entries.older is not None
        return Row(entry, entry) if left else row

    def undoable(self, car: str) -> Entry | None:
        """Return the last entry of a car, or of none, that stands and can be taken back; a question
        goes with the report it is about.
        """

        sought = Sought(
            ("car", "kind"), lambda _, of, kind: of in (car, "") or kind == "correction"
        )
        kept = (
            entry
            for entry in self.entries.before(len(self.entries), sought)
            if (entry.car in (car, "") or (entry.kind == "correction" and self._was(entry) == car))
            and entry.kind not in ("withdrawal", "car", "question")
            and not puts_clock_right(entry)
            and self.stands(entry)
        )
        return next(kept, None)

    def _was(self, correction: Entry) -> str:
        """Return the car that a row was of before a correction."""
        row = self._about.get(correction.seq)
        if row is None:  # it is of no row
            return correction.car
        before = [one for one in row.corrections if one.seq < correction.seq]
        return [row.first, *before][-1].car

    @property
    def conflicts(self) -> list[tuple[Row, list[Entry]]]:
        """What was put right, or taken back, at several desks of which none knew of the other: each
        row with what it was made there. The last of them counts until somebody settles it.
        """
        found = []
        for number, fixes in self._fixes.items():
            replaced = {uid for fix in fixes for uid in fix.over.split()}
            last = [fix for fix in fixes if fix.uid not in replaced]
            if len({fix.desk for fix in last}) > 1 and any(
                _made(fix) != _made(last[0]) for fix in last
            ):
                found.append((self._about[number], last))
        return found

    @property
    def race(self) -> RaceState:
        """The state of the race, which is one for all cars."""
        shared = self._of_car.get((None, "event"), [])
        facts = [row.entry for row in shared if not row.withdrawn]
        calls = [
            row.entry
            for (_, kind), listed in self._of_car.items()
            if kind == "call"
            for row in listed
            if row.counts
        ]
        return _race(once(self.in_order(facts)), calls)

    def _begin(self, entry: Entry) -> None:
        row = self._about[entry.seq] = Row(entry, entry)
        self._of_car.setdefault(_whose(row), []).append(row)
        self._changed(_whose(row)[0])

    def _row(self, number: int) -> Row | None:
        """Return what an entry is a part of; a plain note is held from now on, as something is
        about it.
        """
        row = self._about.get(number)
        if row is None and self._late and 0 < number <= len(self.entries):
            entry = self.entries[number - 1]
            if entry.kind == "note":
                row = self._about[number] = Row(entry, entry)
                bisect.insort(self._of_car.setdefault(_whose(row), []), row, key=_number)
        return row

    def _take_back(self, entry: Entry) -> None:
        about = entry.about or 0
        self._withdrawals[entry.seq] = about
        self._taken_back_by.setdefault(about, []).append(entry.seq)
        while about in self._withdrawals:
            about = self._withdrawals[about]
        if (row := self._row(about)) is not None:
            self._fixes.setdefault(row.first.seq, []).append(entry)
            self._put_together(row)

    def _dead(self, seq: int) -> bool:
        """Tell whether an entry is withdrawn; withdrawing a withdrawal brings it back."""
        return any(not self._dead(by) for by in self._taken_back_by.get(seq, ()))

    def _put_together(self, row: Row) -> None:
        before = _whose(row)
        row.withdrawn, row.entry = self._dead(row.first.seq), row.first
        parts = self._parts.get(row.first.seq, ())
        living = [entry for entry in parts if not self._dead(entry.seq)]
        row.corrections, row.questions, row.answers, row.readbacks = (
            tuple(entry for entry in living if entry.kind == kind)
            for kind in ("correction", "question", "answer", "readback")
        )
        for fix in row.corrections[-1:]:
            row.entry = fix.replace(kind=row.first.kind, seq=row.first.seq, about=row.first.about)
        self._changed(before[0])
        if _whose(row) != before:
            self._changed(_whose(row)[0])
            self._of_car[before].remove(row)
            bisect.insort(self._of_car.setdefault(_whose(row), []), row, key=_number)


def _clocks(entries: Sequence[Said]) -> list[Said]:
    """Return what tells by how much desks' clocks were off, and was not taken back."""
    if not any(map(puts_clock_right, entries)):
        return []
    dead = set[int | None]()
    for entry in reversed(entries):  # whatever takes an entry back stands behind it
        if entry.kind == "withdrawal" and entry.seq not in dead:
            dead.add(entry.about)
    return [entry for entry in entries if puts_clock_right(entry) and entry.seq not in dead]


def _made(fix: Entry) -> Entry:
    """Return what a correction or a withdrawal says, whoever made it when."""
    return fix.replace(
        seq=0, uid="", logged="", writer="", at=None, about=None, desk="", made=None, over=""
    )


def _number(row: Row) -> int:
    return row.first.seq


def _whose(row: Row) -> tuple[str | None, Kind]:
    """Return the car that a row is of, None for all, and its kind."""
    entry, kind = row.entry, row.first.kind
    for_all = (kind == "event" and entry.message in OF_THE_RACE) or (
        kind in ("event", "note") and not entry.car
    )
    return None if for_all else entry.car, kind


def rows(entries: Iterable[Entry]) -> list[Row]:
    """Return every report, call, event and note in the order of their numbers, as it stands."""
    return Standing(entries).rows


def cars(entries: Iterable[Entry]) -> dict[str, str]:
    """Return the cars, each with its driver, in the order in which they are named."""
    return Standing(entries).cars


def laps(standing: Standing, car: str, book: Book) -> dict[int, Row]:
    """Return the lap report of each lap of a car: of several that count the one that fits the laps
    about it, else the last refused one.
    """
    message = lap_message(book)
    found: dict[int, list[Row]] = {}
    for row in standing.of(car, "report"):
        entry = row.entry
        if entry.message in (message, "") and entry.lap is not None and not row.withdrawn:
            found.setdefault(entry.lap, []).append(row)
    counting = {lap: [row for row in of_lap if row.counts] for lap, of_lap in found.items()}
    several = {lap: of_lap for lap, of_lap in sorted(counting.items()) if of_lap}
    chosen = fitting(
        book, {lap: [row.entry.values for row in of_lap] for lap, of_lap in several.items()}
    )
    best = {lap: of_lap[-1] for lap, of_lap in found.items()}
    best |= {lap: several[lap][place] for lap, place in chosen.items()}
    return dict(sorted(best.items()))


class LapRow(NamedTuple):
    """A line of the lap sheet: a row against its lap, or, without one, a lap of which no report
    came. ``counts`` tells whether its values are those of its lap.
    """

    lap: int
    row: Row | None = None
    counts: bool = False


def lap_rows(standing: Standing, car: str, book: Book, *, most: int | None = None) -> list[LapRow]:
    """Return what stands for one car, lap by lap: late reports at their lap, facts of the race
    once, and a line for each lap of which no report came. ``most`` keeps only so many rows of each
    other kind.
    """
    best, message = laps(standing, car, book), lap_message(book)
    others = standing.of(car, "call", "event", "note", most=most)
    by_number = {row.first.seq: row for row in [*standing.of(car, "report"), *others]}
    facts = [row.entry for row in others if row.first.kind == "event" and not row.withdrawn]
    for seq in {fact.seq for fact in facts} - {fact.seq for fact in once(standing.in_order(facts))}:
        del by_number[seq]
    said = standing.in_order(
        row.entry.replace(refusal=WITHDRAWN) if row.withdrawn else row.entry
        for row in by_number.values()
    )  # what was taken back tells nothing of the laps of others
    found = []
    for one in placed(said, lambda entry: reports_lap(entry, message)):
        row = by_number[one.entry.seq]
        counts = one.of_lap and row.counts and best.get(one.lap) is row
        found.append(LapRow(one.lap, row, counts))
    missing = [
        LapRow(lap) for lap in range(min(best, default=0), max(best, default=0)) if lap not in best
    ]
    return sorted([*found, *missing], key=lambda line: line.lap) if missing else found


@dataclass(frozen=True, slots=True)
class RaceState:
    """The state of the race: whether it is neutralised, and since when (milliseconds, None where
    nobody knows), whether it is stopped, wet or dry ("" if nobody said so), and the laps added.
    """

    neutralised: bool = False
    since: int | None = None
    stopped: bool = False
    weather: str = ""
    added: Decimal = Decimal(0)


def _race(facts: Sequence[Entry], calls: Sequence[Entry]) -> RaceState:
    """Return the state of the race from its facts, and from calls that say laps ``added``; a call
    said to two cars counts once.
    """
    found = RaceState()
    for fact in facts:
        if fact.message == NEUTRALISED and not found.neutralised:
            found = replace(found, neutralised=True, since=fact.at)
        elif fact.message == RESUMED:
            found = replace(found, neutralised=False, since=None, stopped=False)
        elif fact.message == STOPPED:
            found = replace(found, stopped=True)
        elif fact.message in ("rain", "dry"):
            found = replace(found, weather=fact.message)
        elif fact.message == ADDED:
            found = replace(found, added=found.added + (fact.amount or 0))
    called: dict[str, Decimal] = {}
    for call in calls:
        if isinstance(added := call.values.get(ADDED), Decimal):
            called[call.car] = called.get(call.car, Decimal(0)) + added
    return replace(found, added=found.added or max(called.values(), default=Decimal(0)))


def once(facts: Iterable[Entry]) -> list[Entry]:
    """Return facts of the race, given in order, without what was heard before on another car's
    channel: the same state of the race, or laps added that were announced already.
    """
    kept: list[Entry] = []
    state, channel = "", ""
    heard: list[tuple[Entry, set[str]]] = []  # announcements, and the channels they came on
    for fact in facts:
        if fact.message in _STATES:
            if fact.message == state and fact.car != channel:
                continue
            state, channel = fact.message, fact.car
        elif fact.message == ADDED:
            on = next((on for one, on in heard if _repeats(one, fact) and fact.car not in on), None)
            if on is not None:
                on.add(fact.car)
                continue
            heard.append((fact, {fact.car}))
        kept.append(fact)
    return kept


def _repeats(one: Entry, other: Entry) -> bool:
    timed = one.at is not None and other.at is not None
    return one.amount == other.amount and (
        not timed or abs((other.at or 0) - (one.at or 0)) <= _ANNOUNCED_AGAIN
    )
