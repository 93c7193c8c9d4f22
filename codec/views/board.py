"""Everything that a wall shows of one car: the race, the laps, the wheel, what was called and what
is to be asked.
"""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.log.readbacks import CallState
from codec.log.session import Session
from codec.log.watch import CarWatch, Notice
from codec.sheet.order import SINCE_1970
from codec.sheet.state import RaceState
from codec.views.laps import SheetLine, lap_columns, sheet_lines
from grammar.errors import counted

if TYPE_CHECKING:
    from codec.race import Advice, LapUse, Outlook, Race
    from codec.race.outlook import Distance

_LAPS = 30  # lines of each kind but reports that a wall shows, where it is not told how many
_LATE, _SLACK = 1.15, 5000  # a report is overdue behind so much of a lap, and so many milliseconds
_SLOW = 2.0  # of the usual lap time: a neutralised lap
_KNOWN = 3  # lap times, from which the usual one is known without an event file


@dataclass(frozen=True, slots=True)
class DialShown:
    """Where a dial stands, and where it will stand when every call is done."""

    name: str
    position: int
    heading: int
    doubtful: bool


@dataclass(frozen=True, slots=True)
class CallShown:
    """A call, the lap in which it was said, and what became of it."""

    string: str
    title: str
    state: CallState
    wrong: str


@dataclass(frozen=True, slots=True)
class LapClock:
    """The lap being driven, in milliseconds: how long it has lasted, and how long its report is
    overdue, None where nobody knows; ``begun`` is when it began and ``due`` when its report is
    overdue, since 1970.
    """

    into: int | None = None
    overdue: int | None = None
    begun: int | None = None
    due: int | None = None


@dataclass(frozen=True, slots=True)
class Board:
    """Everything of one car that a wall shows.

    ``due`` tells the laps due while the race is neutralised, where the event has a rule for them.
    ``lap`` is the last lap reported, ``driving`` the one being driven; ``heads`` are name and unit
    of each column of ``lines``, ``uses`` what each lap took, with an event file; ``kept`` is how
    likely it is that the target called is kept, None where none was.
    """

    car: str
    driver: str
    lap: int
    driving: int
    state: RaceState
    due: str
    clock: LapClock
    alerts: Sequence[str]
    looks: Sequence[Notice]
    waiting: Sequence[str]
    asking: str
    columns: Sequence[str]
    heads: Sequence[tuple[str, str]]
    lines: Sequence[SheetLine]
    uses: Mapping[int, LapUse]
    race: Race | None
    look: Outlook | None
    advice: Sequence[Advice]
    kept: float | None
    dials: Sequence[DialShown]
    calls: Sequence[CallShown]

    @property
    def endings(self) -> list[tuple[str, Distance]]:
        """How the race ends as it is, and with a lap more or fewer; while it is neutralised, with
        each number of laps that may be added.
        """
        if self.look is None:
            return []
        as_it_is, more, fewer = self.look.distance, self.look.more, self.look.fewer
        if self.race is not None and self.race.neutralised:
            rows = self.look.targets()[1:]
            added = [(counted(row.more, "lap more", "laps more"), row.plain) for row in rows]
            return [("as it is", as_it_is), *added]
        found = [("as it is", as_it_is), ("one lap more", more)]
        return found if fewer is None else [*found, ("one lap fewer", fewer)]


def board(session: Session, car: str | None = None, *, most: int | None = _LAPS) -> Board:
    """Return the board of a car, of the session's where none is named; ``most`` keeps only so many
    lines of each kind but reports.
    """
    car = session.car if car is None else car
    book, known = session.book, session.of(car)
    race, columns = known.followed, lap_columns(book)
    look, advice = (None, ()) if race is None else _heading(race)
    waits = car == session.car and session.waiting is not None
    return Board(
        car=car,
        driver=session.cars.get(car, ""),
        lap=known.lap,
        driving=known.lap + 1,
        state=session.race,
        due="" if race is None else race.due_in_words(session.now()),
        clock=lap_clock(session, car),
        alerts=known.alerts,
        looks=known.looks,
        waiting=session.doubtful() if waits else (),
        asking=session.asking if waits else "",
        columns=columns,
        heads=[(book.fields[name].title, book.fields[name].unit_text) for name in columns],
        lines=sheet_lines(session.standing, car, book, most=most),
        uses={} if race is None else race.uses(),
        race=race,
        look=look,
        advice=advice,
        kept=None if race is None or race.target is None else race.energy.branches()[0],
        dials=dials(race),
        calls=calls(session, known),
    )


def _heading(race: Race) -> tuple[Outlook, Sequence[Advice]]:
    from codec.race import advise, outlook  # slow to load, and not needed without an event

    return outlook(race), advise(race)


def dials(race: Race | None) -> list[DialShown]:
    """Return where the dials of the wheel stand."""
    if race is None:
        return []
    ledger = race.ledger
    return [
        DialShown(name, position, ledger.heading(name), name in ledger.doubtful)
        for name, position in ledger.positions.items()
    ]


def calls(session: Session, known: CarWatch) -> list[CallShown]:
    """Return every call to a car, the last one first."""
    messages = session.book.messages
    return [
        CallShown(
            one.row.entry.string,
            messages[one.row.entry.message].title if one.row.entry.message in messages else "",
            one.state,
            one.wrong,
        )
        for one in reversed(known.readbacks.log)
    ]


def lap_clock(session: Session, car: str) -> LapClock:
    """Return how long the lap being driven has lasted: since the report of the lap before."""
    known = session.of(car)
    ends = {lap: session.standing.moments.at(row.first.seq) for lap, row in known.reports.items()}
    begun, now = ends.get(known.lap), session.now()
    if begun is None or begun < SINCE_1970 or now < begun:
        return LapClock()
    usual = _usual_lap(known.followed, {lap: at for lap, at in ends.items() if at is not None})
    if usual is None:
        return LapClock(now - begun, begun=begun)
    due = begun + round(usual * (_SLOW if session.race.neutralised else 1) * _LATE) + _SLACK
    return LapClock(now - begun, max(0, now - due), begun, due)


def _usual_lap(race: Race | None, ends: Mapping[int, int]) -> float | None:
    """Return the usual lap time in milliseconds, None where nobody knows."""
    if race is not None:
        seconds = race.clock.lap_seconds(race.raced)
        return None if seconds is None else 1000 * seconds
    times = [at - ends[lap - 1] for lap, at in ends.items() if lap - 1 in ends]
    return statistics.median(times) if len(times) >= _KNOWN else None
