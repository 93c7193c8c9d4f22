"""What was said lately on the radio, of each car: what those who take an utterance apart, tell
whose it is and write it down know in common.

A few utterances of each speaker are held and nothing else, so a transcript may be of any length.
"""

from __future__ import annotations

import hashlib
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from codec.lap_report import lap_message
from codec.radio.choices import Interpretation
from codec.radio.crews import Crew, Roster
from codec.radio.doubt import REMEMBERED, Doubt, of_any_lap
from codec.radio.finder import Finder, Passage
from codec.radio.forms import Utterance
from codec.radio.laps import LapKeeper, LapTimes
from codec.radio.leaps import Leaps
from codec.radio.outlook import CarOutlook, Known
from codec.reading import Reading
from codec.sheet.entry import Entry, LapBy
from grammar.book import Book
from grammar.fields import Value
from grammar.message import Direction
from grammar.speech.spoken import Ask

NEAR = 6  # utterances: where there are no times, things this close belong together
MOST_JOINED = 400  # characters: longer utterances go on with no other
HEARD = 60.0  # bits: that it is a report was weighed already
FITS = 0.03  # a report of a lap less likely than this is of another time, or another car
REST = 4  # words that a report may still lack, cut in two by a pause


@dataclass(frozen=True, slots=True)
class Draft:
    """An entry to be written, and the ``uid`` of the one it is about."""

    entry: Entry
    about: str = ""


@dataclass(slots=True)
class Last:
    """The last report or call of a car: what came of it, and when."""

    uid: str
    text: str
    speaker: str
    number: int
    at: int | None
    reading: Reading | None
    lap: int | None
    asked: bool = False
    part: Ask | None = None  # of it, that was asked for
    entry: Entry | None = None
    doubt: Doubt | None = None
    values: Mapping[str, Value] | None = None  # of the report before it
    sure: bool = True

    def about(self, message: str) -> bool:
        """Tell whether it may be of a message, as far as anybody knows."""
        known = self.reading.message if self.reading is not None else ""
        known = known or ("" if self.doubt is None else self.doubt.message)
        return known in ("", message)

    @property
    def lap_known(self) -> tuple[int | None, LapBy]:
        """The lap that something said about it stands against, and how it is known."""
        return self.lap, "" if self.lap is None else "order"


@dataclass(slots=True)
class RadioCar:
    """A car on the radio: its laps, what it reported and what was called last, and what it is
    expected to say.
    """

    name: str
    laps: LapKeeper
    leaps: Leaps
    outlook: CarOutlook
    last: dict[Direction, Last] = field(default_factory=dict)
    events: dict[str, Utterance] = field(default_factory=dict)
    values: Mapping[str, Value] | None = None
    swapped: int = 0  # reports that the wall is said to have made, less those of the driver
    says_plus: bool = False  # in plain words, where a value is not below nought
    reports: deque[Entry] = field(default_factory=lambda: deque(maxlen=REMEMBERED))


@dataclass(frozen=True, slots=True)
class ExpectedReport:
    """What a car is expected to say: by its last report, if one is known or supposed, whose
    ``values`` it is ``laps`` after, and of which laps it is (``of_laps``, "surprise" is how likely
    that report was another one).
    """

    last: Known | None
    values: Mapping[str, Value] | None
    laps: int = 1
    of_laps: Mapping[int, float] = field(default_factory=dict)
    surprise: float = 0.0


@dataclass(frozen=True, slots=True)
class RadioTurn:
    """One utterance: what it is taken for, the direction of what its speaker sends, and the car."""

    choice: Interpretation
    role: Direction | None
    car: RadioCar

    @property
    def utterance(self) -> Utterance:
        """The utterance with the text it is taken for."""
        return self.choice.utterance

    def words_of(self, passage: Passage) -> str:
        """Return the text of a passage."""
        return self.utterance.text[slice(*passage.span)]

    def lap_now(self) -> tuple[int | None, LapBy]:
        """Return the lap of anything said in it that is no lap report."""
        return self.car.laps.now(self.utterance.at, self.utterance.lap)


def base_entry(turn: RadioTurn, heard: str) -> Entry:
    """Return what every entry of an utterance begins with."""
    utterance = turn.utterance
    return Entry(
        kind="note",
        car=turn.car.name,
        at=utterance.at,
        speaker=utterance.speaker,
        heard=heard,
        sound=str(utterance.sound or ""),
    )


class Exchange:
    """What was said lately, of each car."""

    def __init__(
        self,
        book: Book,
        crews: Sequence[Crew],
        times: LapTimes | None,
        after: Mapping[str, int],
    ) -> None:
        """Take who drives what, when laps began, and behind which lap each car's reports begin."""
        self.book, self.finder, self.roster = book, Finder(book), Roster(crews)
        self.odds, self.reported = self.finder.odds, lap_message(book)
        self._times, self._after = times, after
        self._cars: dict[str, RadioCar] = {}
        self._chain = hashlib.blake2b(
            repr(self.roster.crews).encode("utf-8", "replace"), digest_size=12
        )
        self._count = 0
        self.previous, self._number = 0, 0  # the number of the utterance before this one, and its
        self.just_read: tuple[Utterance, Reading] | None = None  # and the report that was read last

    def begin(self, utterance: Utterance) -> None:
        """Take the next utterance: what is written of it is named by it and all before it."""
        said = f"{utterance.speaker}\n{utterance.at}\n{utterance.text}\n"
        self._chain.update(said.encode())
        self._count = 0
        self.previous, self._number = self._number, utterance.number

    def uid(self) -> str:
        """Return the name of the next thing that is written of the utterance."""
        self._count += 1
        return f"{self._chain.hexdigest()}{self._count:04x}"

    def car(self, name: str) -> RadioCar:
        """Return what is known of a car; "" is none, or one that nobody knows."""
        if name not in self._cars:
            laps = LapKeeper(self.book, name, self._times, self._after.get(name, 0))
            outlook = CarOutlook(self.book, name, self._times)
            self._cars[name] = RadioCar(name, laps, Leaps(self.book), outlook)
        return self._cars[name]

    def context(self, car: RadioCar, utterance: Utterance) -> dict[str, Any]:
        """Return what restores the lap that a report says."""
        laps = car.outlook.laps(utterance.at, utterance.number) if utterance.at is not None else {}
        likely = max(laps, key=laps.__getitem__, default=0)
        return car.laps.context(utterance.at, likely if laps and laps[likely] > 0.5 else None)

    def expected(
        self, car: RadioCar, utterance: Utterance, *, again: Last | None = None, read: bool = False
    ) -> ExpectedReport:
        """Return what a car is expected to say, ``again`` what could not be read before; where that
        is not said again, and no time tells, its lap is any lap, unless the lap was ``read``.
        """
        at, number = utterance.at, utterance.number
        last, supposed = car.outlook.before(at, number), car.outlook.supposed(at, number)
        of_laps = {} if last is None else car.outlook.laps(at, number)
        if supposed is not None:
            last, of_laps = supposed[0], car.outlook.laps_behind(supposed[0], at)
        if last is None:
            return ExpectedReport(None, None)
        laps = max(1, max(of_laps, key=of_laps.__getitem__) - last.lap) if of_laps else 1
        surprise = 0.0 if supposed is None else 1 - supposed[1]
        one = car.last.get("car")
        unread = one is not None and one.reading is None and one is not again
        if supposed is None and unread and at is None and not read:
            return ExpectedReport(last, of_any_lap(self.book, last.values), laps)
        return ExpectedReport(last, last.values, laps, of_laps, surprise)

    def restored(self, reading: Reading, context: Mapping[str, Any]) -> Reading:
        """Return a reading with its lap made whole."""
        return Reading(self.book, reading.match, reading.text, reading.spans, context)

    def near(
        self, before: Utterance | Last, utterance: Utterance, seconds: float, within: int = NEAR
    ) -> bool:
        """Tell whether something was said shortly before an utterance: at most so many seconds, or
        where there are no times so many utterances.
        """
        start = before.at
        if isinstance(before, Utterance) and before.until is not None:
            start = before.until
        if start is not None and utterance.at is not None:
            return -1000 <= utterance.at - start <= seconds * 1000
        return utterance.number - before.number <= within

    def recent(self, turn: RadioTurn, direction: Direction, odds: str) -> Last | None:
        """Return the last report or call of the turn's car if it was just said."""
        last = turn.car.last.get(direction)
        near = last is not None and self.near(last, turn.utterance, self.odds[odds])
        return last if near else None

    def put_right(self, utterance: Utterance, role: Direction | None, car: RadioCar) -> Last | None:
        """Return the report or call that a correction said apart may be of."""
        last = car.last.get(role or "car")
        if last is None or last.speaker != utterance.speaker:
            return None
        return last if self.near(last, utterance, self.odds["again"]) else None

    def of_nobody(self, turn: RadioTurn) -> bool:
        """Tell whether a report said by this speaker is of no car known."""
        return bool(turn.car.name) and self.roster.foreign(turn.utterance, turn.role)

    def of_a_known_car(self, turn: RadioTurn) -> bool:
        """Tell whether the car of what was said is known, or all counts for one."""
        return bool(turn.car.name) or not self.roster.crews
