"""What an engineer at one sheet knows: of each car its laps and calls, what waits for its repeat,
and what there is to look at.

Everything that is to outlive a crash is in the journal: the car spoken to, the laps, and a report
that still waits for its repeat are read back from it when a session begins.
"""

from __future__ import annotations

import contextlib
import datetime
import functools
import itertools
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from codec.decoding import Transcript, decode, decode_all
from codec.lap_report import lap_field, lap_message
from codec.log.expected import Expected, Weighed
from codec.log.readbacks import ReadBacks
from codec.log.shown import Shown
from codec.radio.answering import repeated
from codec.radio.doubt import LIKELY, Doubt, doubtful, radio_after
from codec.radio.finder import Finder
from codec.radio.laps import LapKeeper, whole_lap
from codec.radio.leaps import Leap, Leaps, Valued, stray, unchecked_report
from codec.radio.outlook import usual_lap
from codec.reading import Reading
from codec.sheet.entry import Entry, Kind, Said, SheetError
from codec.sheet.journal import Journal
from codec.sheet.state import RaceState, Row, Standing, laps
from codec.sheet.window import EntryWindow, Sought
from codec.sheet.words import (
    CLOCKS_APART,
    clock_text,
    conflict_text,
    duration_text,
    values_text,
)
from codec.store.store import stamp
from grammar.errors import CodeError
from grammar.exact import percent
from grammar.fields import Value
from grammar.message import Direction
from grammar.speech.words import Wording, cut

if TYPE_CHECKING:
    from codec.race import Event, Race
    from codec.race.follow import Follower

_TELLING = 24  # reports of a car, that tell on which lap it is
_WEIGHED = 8  # lines whose doubts are kept, of those who type at the same time
_CLOCKS_APART = datetime.timedelta(seconds=CLOCKS_APART)
_READ_BACK, _WRONG = "readback-differs", "WRONG READ-BACK"


@dataclass(frozen=True, slots=True)
class Notice:
    """Something to look at, in words: the entry it is about, the lap, whether somebody must ask the
    driver now, and whether it stays until it is settled.
    """

    seq: int
    lap: int
    text: str
    ask: bool
    stays: bool = False  # until it is settled


class CarWatch:
    """What is known of one car, by the entries there are; when others of it, or of all cars, come,
    a new one is made.
    """

    def __init__(self, watch: Watch, car: str) -> None:
        """Look at a car."""
        self._watch, self.car, self.book = watch, car, watch.book
        self.standing = watch.standing

    @property
    def lap(self) -> int:
        """The last lap that the car has a report of, 0 if none; one that waits for its repeat does
        not count.
        """
        return max(self.reports, default=0)

    @functools.cached_property
    def reports(self) -> dict[int, Row]:
        """The reports of this car that count, by lap."""
        found = laps(self.standing, self.car, self.book)
        return {lap: row for lap, row in found.items() if row.counts}

    @functools.cached_property
    def waiting(self) -> Row | None:
        """The report of this car that waits for its repeat: the last one refused.

        It waits until a report of its lap or of a later one stands behind it, a read-back until the
        next call of its kind, a call until something reads such a call back.
        """
        called, answered = set[str](), set[str]()
        behind = -1  # the last lap of which a report stands behind the row looked at
        for row in reversed(self.standing.of(self.car, "report", "call")):
            entry = row.entry
            if row.withdrawn:
                continue
            lap = entry.lap or 0
            if row.counts and row.first.kind == "call":
                called.add(entry.message)
            elif entry.refusal:
                over = {entry.message} & answered or called & repeated(self.book, entry.message)
                if not over and (behind < lap or behind < 0):
                    return row
            elif row.counts and entry.message == lap_message(self.book):
                behind = max(behind, lap)
            elif row.counts:
                answered |= repeated(self.book, entry.message)
        return None

    @functools.cached_property
    def radio(self) -> tuple[float, ...]:
        """What is known of this car's radio by its reports before the one that waits."""
        waiting = self.waiting
        mine = [row.first for row in self.standing.of(self.car, "report")]
        if waiting is not None:
            mine = [one for one in mine if one.seq < waiting.first.seq]
        return radio_after(self.book, mine)

    @functools.cached_property
    def alerts(self) -> list[str]:
        """The warnings of the car's last lap report that counts: what the driver reports as such
        comes before limits passed.
        """
        flagged: list[str] = []
        passed: list[str] = []
        for name, value in self.values.items():
            field = self.book.fields[name]
            (flagged if field.reports_warnings else passed).extend(
                field.warnings(field.level(value).level)
            )
        return flagged + passed

    @property
    def values(self) -> Mapping[str, Value]:
        """The values of the car's last lap report that counts."""
        return self.reports[self.lap].entry.values if self.reports else {}

    @functools.cached_property
    def readbacks(self) -> ReadBacks:
        """The calls of this car, and how they were read back."""
        return ReadBacks(self.book, self.standing, self.car)

    @functools.cached_property
    def followed(self) -> Race | None:
        """The race of this car, None without an event."""
        follower = self._watch.follower(self.car)
        if follower is None:
            return None
        from codec.race import facts

        return follower.race(facts(self.standing, self.car))

    @property
    def flag(self) -> int | None:
        """The last lap of the race by all that is known so far, laps added or expected counted;
        None where nobody knows.
        """
        event, race = self._watch.event, self.followed
        laps = None if event is None else event.spec.distance.laps
        return None if laps is None or race is None else laps + race.laps_added

    @functools.cached_property
    def notices(self) -> list[Notice]:
        """Everything to look at of this car, the oldest first."""
        of_race = [] if self.followed is None else self.followed.notices
        told = {notice.seq for notice in of_race if notice.kind == _READ_BACK}
        noticed = [
            Notice(back.row.first.seq, back.row.entry.lap or 0, f"{_WRONG}: {back.wrong}", ask=True)
            for back in self.readbacks.done
            if back.wrong and back.row.first.seq not in told
        ]
        for notice in of_race:  # of a read-back it tells more: it knows where the dials stand
            ask = notice.kind == _READ_BACK
            text = f"{_WRONG}: {notice.text}" if ask else notice.text
            noticed.append(Notice(notice.seq, notice.lap, text, ask))
        steps = self.standing.moments.steps  # told once, when they come
        noticed += [Notice(step.seq, 0, str(step), ask=False) for step in steps]
        for row, fixes in self.standing.conflicts:
            if row.entry.car in (self.car, ""):
                text = conflict_text(self.book, row, fixes)
                lap = row.entry.lap or 0
                noticed.append(Notice(row.first.seq, lap, text, ask=False, stays=True))
        return sorted(noticed, key=lambda notice: notice.seq)

    @property
    def looks(self) -> list[Notice]:
        """What there is to look at since the last lap, the gravest first; the last read-back stays
        until it is put right.
        """
        done = self.readbacks.done
        last = done[-1].row.first.seq if done else 0
        now = [
            notice
            for notice in self.notices
            if notice.stays or notice.lap >= self.lap or (notice.ask and notice.seq == last)
        ]
        off = self._watch.clock_off
        clocks = [*([off] if off else []), *self._watch.clocks_ahead]
        now += [Notice(0, 0, text, ask=False, stays=True) for text in clocks]
        return sorted(now, key=lambda notice: (not notice.ask, not notice.stays))

    def keeper(self) -> LapKeeper:
        """Return what knows the car's lap."""
        return LapKeeper(self.book, self.car, last=self.lap)

    def leaps(self) -> Leaps:
        """Return what tells how likely a report is of the lap that it says, behind those so far."""
        found, message, name = Leaps(self.book), lap_message(self.book), lap_field(self.book)
        for row in self.standing.of(self.car, "report")[-_TELLING:]:
            entry = row.entry
            said = whole_lap(entry.values.get(name))
            if entry.message != message or row.withdrawn or entry.lap is None:
                continue
            if said is not None and (entry.lap_by == "said" or entry.refusal):
                found.take(said, row.first.at, self.lap_length)
            elif row.counts:
                found.known(entry.lap, row.first.at)
        return found

    def valued(self) -> list[Valued]:
        """Return the last report that counts, and one behind it that is only doubted."""
        found, name = list[Valued](), lap_field(self.book)
        for row in reversed(self.standing.of(self.car, "report")[-_TELLING:]):
            entry = row.entry
            if entry.message != lap_message(self.book) or row.withdrawn or not entry.values:
                continue
            said = whole_lap(entry.values.get(name))
            if row.counts or not found:
                found.append(Valued(row.first.at, said, entry.values))
            if row.counts:
                return found[::-1]
        return []

    @functools.cached_property
    def lap_length(self) -> float | None:
        """The milliseconds of a usual lap, by the reports there are, else by the event; None where
        nobody knows.
        """
        event = self._watch.event
        usual = None if event is None else event.spec.distance.lap_seconds
        known = usual_lap((lap, row.first.at) for lap, row in self.reports.items())
        return float(usual) * 1000 if known is None and usual is not None else known


class Watch:
    """One engineer at one sheet: what is known there now, and the car spoken to."""

    def __init__(self, journal: Journal, car: str = "", event: Event | None = None) -> None:
        """Take up the sheet where it was left; with an ``event`` the race is followed."""
        self.journal, self.book, self.event = journal, journal.book, event
        self.over, self._ago = False, 0
        self._begin()
        self.refresh()
        self.car = car or self.standing.spoken

    def _begin(self) -> None:
        """Know nothing yet of what stands in the sheet."""
        self._epoch = self.journal.epoch
        self.standing = Standing(older=functools.partial(self._older, self._epoch))
        # of who writes by a clock ahead of this one the last entry, and by how many seconds
        self._early: dict[str, tuple[Said, float]] = {}
        self._forget()

    def _older(
        self, epoch: int, first: int, last: int, sought: Sought | None = None
    ) -> Sequence[Entry]:
        """Read entries that are not held, by numbers as they were when an order began."""
        if self.journal.epoch != epoch:
            raise SheetError(
                "the entries of another desk have come in before others: numbers are others now",
                kind="sheet-order",
                hint="look again",
            )
        return self.journal.between(first, last, sought)

    def _forget(self) -> None:
        """Know nothing yet of what follows from what stands."""
        self._guesses: dict[str, tuple[object, Doubt | None]] = {}  # by car
        self._cars: dict[str, tuple[tuple[int, ...], CarWatch]] = {}
        self._weighed: deque[tuple[str, Expected, Weighed]] = deque(maxlen=_WEIGHED)
        self._followers: dict[tuple[str, str], Follower] = {}  # by car and driver
        self._race: tuple[int, RaceState] = (-1, RaceState())

    @property
    def entries(self) -> EntryWindow:
        """Every entry of the sheet; earlier ones are read where they are asked for."""
        return self.standing.entries

    @property
    def rows(self) -> list[Row]:
        """What stands, in the order of its numbers; where not all of it is held it is read."""
        return self.standing.rows

    @property
    def cars(self) -> dict[str, str]:
        """The cars of the sheet, each with its driver."""
        return self.standing.cars

    @property
    def race(self) -> RaceState:
        """The state of the race."""
        if self._race[0] != len(self.entries):
            self._race = (len(self.entries), self.standing.race)
        return self._race[1]

    def refresh(self) -> None:
        """Read what has come since, from this writer or another."""
        new = self.journal.said(len(self.entries))
        first = next(new, None)
        if self.journal.epoch != self._epoch:  # one has come in before others: all counts anew
            self._begin()
            first = next(new := self.journal.said(), None)
        if first is None:
            return
        early = dict[str, tuple[Said, float]]()
        if self.standing.take(self._looked_at(itertools.chain([first], new), early)):
            self._forget()  # something tells when others were said
        self._early |= early

    def _looked_at(
        self, new: Iterable[Said], early: dict[str, tuple[Said, float]]
    ) -> Iterator[Said]:
        """Yield entries, and note those that are logged by a clock ahead of this one."""
        latest = stamp(lambda: self.journal.clock() + _CLOCKS_APART)
        for entry in new:
            if entry.logged > latest:
                logged = datetime.datetime.fromisoformat(entry.logged)
                who = f"{entry.writer} at {entry.desk}" if entry.desk else entry.writer
                early[who] = entry, (logged - self.journal.clock()).total_seconds()
            yield entry

    def write(self, *entries: Entry) -> list[Entry]:
        """Write entries as said now, all or none of them; raises SheetError."""
        now = self.now()
        timed = [entry if entry.at is not None else entry.replace(at=now) for entry in entries]
        return self.journal.append_all(timed)

    def now(self) -> int:
        """Return the time of the clock, in milliseconds since 1970; of a line that comes late, that
        at which it was said.
        """
        return round(self.journal.clock().timestamp() * 1000) - self._ago

    @contextlib.contextmanager
    def said(self, ago: int) -> Iterator[None]:
        """Take what is entered within as said so many milliseconds ago."""
        self._ago = ago
        try:
            yield
        finally:
            self._ago = 0

    @property
    def clock_off(self) -> str:
        """What to tell of this computer's clock, "" where it is as the server's."""
        off = clock_text(self.journal.ahead)
        return off and f"{off}, by which is written here: set it right"

    @property
    def clocks_ahead(self) -> list[str]:
        """What to tell of who wrote by a clock that is ahead of this one."""
        return [
            f"{who} wrote by a clock {duration_text(seconds)} ahead of the one here: what they"
            " wrote stands later than it was said"
            for who, (entry, seconds) in self._early.items()
            if not self.standing.moments.off(entry)  # nobody has put it right
        ]

    def of(self, car: str) -> CarWatch:
        """Return what is known of a car: the same while nothing of it is new."""
        now = self.standing.changes(car)
        before, known = self._cars.get(car, ((), None))
        if known is None or before != now:
            known = CarWatch(self, car)
            self._cars[car] = (now, known)
        return known

    @property
    def mine(self) -> CarWatch:
        """What is known of the car spoken to."""
        return self.of(self.car)

    def follower(self, car: str) -> Follower | None:
        """Return what follows the race of a car, from look to look; None without an event."""
        if self.event is None:
            return None
        of = car, self.cars.get(car, "")
        if of not in self._followers:
            from codec.race.follow import Follower
            from codec.race.people import driven_by

            self._followers[of] = Follower(driven_by(self.event, of[1], self.journal.writer))
        return self._followers[of]

    @property
    def lap(self) -> int:
        """The last lap that the car spoken to has a report of, 0 if none."""
        return self.mine.lap

    @property
    def waiting(self) -> Row | None:
        """The report of the car spoken to that waits for its repeat."""
        return self.mine.waiting

    @property
    def read(self) -> Reading | None:
        """What the report that waits says, where it was read and is only doubted: of a lap that it
        is hardly of. None where none waits, or it could not be read.
        """
        waiting = self.waiting
        if waiting is None or not waiting.entry.string:
            return None
        name = lap_field(self.book)
        lap = whole_lap(waiting.entry.values.get(name))
        context = None if lap is None else {name: lap}
        direction: Direction = "pit" if waiting.first.kind == "call" else "car"
        return decode(
            self.book, waiting.entry.string, typed=True, direction=direction, context=context
        )

    def leap(self, reading: Reading) -> Leap | None:
        """Return of which lap a lap report said now is, and how likely; None for anything else, and
        where none is said.
        """
        said = self.keeper().said(reading)
        if said is None or reading.message != lap_message(self.book):
            return None
        return self.mine.leaps().look(said, self.now(), self.mine.lap_length)

    def beyond(self, lap: int | None) -> str:
        """Return in words that a lap is beyond the flag, "" where it is not, or nobody knows."""
        flag = self.mine.flag
        if lap is None or flag is None or lap <= flag:
            return ""
        return f"lap {lap} is beyond the flag: the race has {flag} laps; /added 3 adds some"

    def strayed(self, reading: Reading) -> str:
        """Return which value of a lap report said now is too far from those before, where nothing
        checks it; "" where none is.
        """
        if not unchecked_report(self.book, reading):
            return ""
        report = Valued(self.now(), self.keeper().said(reading), reading.values)
        return stray(self.book, report, self.mine.valued(), self.mine.lap_length)

    @property
    def readbacks(self) -> ReadBacks:
        """The calls of the car spoken to, and how they were read back."""
        return self.mine.readbacks

    @property
    def notices(self) -> list[Notice]:
        """Everything to look at of the car spoken to, the oldest first."""
        return self.mine.notices

    @property
    def guess(self) -> Doubt | None:
        """What the report that waits for its repeat may have been, None if none waits or nothing
        can be said.
        """
        mine = self.mine
        if mine.waiting is None or mine.waiting.entry.string or mine.waiting.entry.values:
            return None
        key = self._key(mine.waiting)
        known = self._guesses.get(self.car)
        if known is None or known[0] != key:
            expected = Expected(self.book, self.values(), mine.radio, waits=False, before=None)
            known = (key, self.weighed(mine.waiting.entry.heard, expected).alone)
            self._guesses[self.car] = known
        return known[1]

    @property
    def expected(self) -> Expected:
        """What is known of the car spoken to before it is heard."""
        waits = self.waiting is not None
        return Expected(self.book, self.values(), self.mine.radio, waits, self.guess)

    def weighed(self, heard: str, expected: Expected) -> Weighed:
        """Return what words may have been; what was weighed of late is not weighed anew."""
        known = self.known(heard, expected)
        if known is None:
            plain = self.finder.named.speaks(heard)  # that is no code, to be misheard as code
            known = Weighed(None, None) if plain else expected.weigh(heard)
            self.remember(heard, expected, known)
        return known

    def known(self, heard: str, expected: Expected) -> Weighed | None:
        """Return what words may have been where that was weighed of late, else None."""
        for words, before, found in self._weighed:
            if words == heard and before.same(expected):
                return found
        return None

    def remember(self, heard: str, expected: Expected, found: Weighed) -> None:
        """Take what words were weighed as, here or beside this."""
        self._weighed.append((heard, expected, found))

    @staticmethod
    def _key(waiting: Row) -> object:
        return waiting.first.seq, len(waiting.corrections)

    def heard(self) -> list[str]:
        """Return the lines entered so far, the oldest first: the history of the prompt."""
        rows = self.standing.every("report", "call")
        said = [one for row in rows for one in (row.first, *row.corrections) if one.heard]
        return list(dict.fromkeys(one.heard for one in sorted(said, key=lambda one: one.seq)))

    def entry(self, kind: Kind, **facts: Any) -> Entry:
        """Return an entry of the car spoken to, against the lap being driven."""
        lap, lap_by = self.keeper().now(None, None)
        return Entry(kind=kind, car=self.car, lap=lap, lap_by=lap_by, **facts)

    def keeper(self) -> LapKeeper:
        """Return what knows the lap of the car spoken to."""
        return self.mine.keeper()

    def cut(self, text: str) -> Wording:
        """Return the words of a line."""
        return cut(self.book.lexicon, text)

    def decoded(self, words: Wording, lap: int | None = None) -> Transcript:
        """Return what was said: as the car would say it, else as the pit would; raises CodeError of
        the first.
        """
        keeper = self.keeper() if lap is None else LapKeeper(self.book, self.car, last=lap - 1)
        context, first = keeper.context(None), None
        for direction in self.book.directions:
            try:
                return decode_all(self.book, words, direction=direction, context=context)
            except CodeError as error:
                first = first or error
        raise first or CodeError("the book has no messages", kind="usage")

    def doubtful(self) -> list[str]:
        """Return what the report that waits for its repeat may have been, and which parts of it are
        not sure.
        """
        guess, read = self.guess, self.read
        if read is not None:
            return [f"perhaps: {read}  /ok takes it"]
        if guess is None:
            told = "" if self.waiting is None else values_text(self.book, self.waiting.entry)
            return [f"perhaps: {told}  /ok takes it"] if told else []
        likely: list[str] = []
        if guess.probability >= LIKELY:
            reading = self.restored(guess.guess)
            differs = self.readbacks.differs(reading)
            likely = [
                f"perhaps ({guess.sure}): {reading}  /ok takes it",
                *([f"! {differs}"] if differs else []),
            ]
        sure = [
            f"{title} {value} ({percent(share)})" for title, value, share in doubtful(guess)[:4]
        ]
        return likely + ([f"doubtful: {', '.join(sure)}"] if sure else [])

    @property
    def asking(self) -> str:
        """The question to ask about the report that waits for its repeat."""
        guess, waiting = self.guess, self.waiting
        if waiting is not None and waiting.entry.values and not waiting.entry.string:
            return waiting.entry.note  # all but a word of it is known
        if guess is None or self.readbacks.differs(
            self.restored(guess.guess)
        ):  # a part of it can't be named: what was said is not known
            return "SAY AGAIN"
        return guess.question or "SAY AGAIN"

    def answered(self, answer: Doubt) -> None:
        """Let what waits for its repeat be taken for what it is likely to be together with an
        answer; what was heard stands.
        """
        waiting = self.waiting
        if waiting is not None:
            self._guesses[self.car] = (self._key(waiting), answer)

    @functools.cached_property
    def finder(self) -> Finder:
        """What finds phrases and questions in talk."""
        return Finder(self.book)

    def restored(self, reading: Reading) -> Reading:
        """Return a reading with its lap restored: the likeliest behind the laps so far."""
        found = self._within(reading, self.keeper().context(None))
        leap = self.leap(found)
        if leap is None or leap.doubted or leap.lap == self.keeper().said(found):
            return found
        return self._within(reading, {lap_field(self.book): leap.lap})

    def _within(self, reading: Reading, context: Mapping[str, Any]) -> Reading:
        return Reading(self.book, reading.match, reading.text, reading.spans, context)

    def values(self) -> dict[str, object]:
        """Return the values of the last lap report of the car spoken to."""
        return dict(self.mine.values)

    def event_title(self, name: str) -> str:
        """Return what people call an event."""
        return self.book.rules.title_of(name)

    def spoken_to(self) -> Shown:
        """Return who is spoken to, and what still waits for an answer."""
        lines = [f"car {self.car} {self.cars.get(self.car, '')}".rstrip()]
        if self.waiting is not None:
            lines += [f"still to ask: {self.asking}", *self.doubtful()]
        return Shown("good" if len(lines) == 1 else "warning", tuple(lines))

    def next_car(self) -> Shown:
        """Speak to the next car of the sheet."""
        names = list(self.cars)
        if names:
            self.car = (
                names[(names.index(self.car) + 1) % len(names)] if self.car in names else names[0]
            )
        return self.spoken_to() if names else Shown("warning", ("no car yet: /car 7=DRIVER",))
