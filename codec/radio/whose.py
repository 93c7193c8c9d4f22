"""Whose a report is: by who speaks, and by whose laps and values it fits."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from codec.radio.exchange import Exchange, RadioTurn
from codec.radio.finder import Passage
from codec.radio.forms import Utterance
from codec.radio.outlook import CarOutlook
from codec.reading import Reading
from codec.sheet.entry import DOUBTFUL, Entry

_NAMED_RIGHT = 0.995  # how often the name before a line is that of somebody of the car that speaks
# how sure a car must be that the name tells, or that it does not
_AS_NAMED, _OTHERWISE = 0.9, 0.999
# how often a report is of no car named
_OTHERS = {"known": 1e-9, "blank": 0.01, "numbered": 0.02, "stranger": 0.5}
# how a program names those it tells apart only by their voices
_NUMBERED = re.compile(r"(?:speaker|spk|spkr|s|channel|ch)?[\s_-]*\d{1,3}", re.IGNORECASE)
_WAIT = 150.0  # seconds, and lines: so long a report waits for what tells whose it is
_MOST_WAITING = 40


@dataclass(frozen=True, slots=True)
class Waiting:
    """A report or call that can be read, and of which nobody knows yet whose it is."""

    reading: Reading
    passage: Passage
    entry: Entry
    turn: RadioTurn


class Whose:
    """Tells whose reports are, learns which strangers report of which car, and holds what waits."""

    def __init__(self, exchange: Exchange) -> None:
        """Take what is known of the exchange so far."""
        self.exchange = exchange
        self.book, self.finder, self.roster = exchange.book, exchange.finder, exchange.roster
        self.odds = exchange.odds
        self._waiting: list[Waiting] = []
        self._learnt: dict[str, dict[str, float]] = {}  # by a stranger's name, reports of each car

    def learn(self, turn: RadioTurn) -> None:
        """Take that a report was of the turn's car: a stranger who made it may make the next."""
        if self.roster.stranger(turn.utterance):
            learnt = self._learnt.setdefault(turn.utterance.speaker, {})
            learnt[turn.car.name] = learnt.get(turn.car.name, 0.0) + 1

    def of(self, reading: Reading, turn: RadioTurn) -> tuple[str, float]:
        """Return the car whose report it most likely is, and how likely; "" for one not named."""
        utterance, cars = turn.utterance, self.roster.cars
        stranger = self.roster.stranger(utterance)
        if utterance.car or not cars or (len(cars) == 1 and not self.exchange.of_nobody(turn)):
            return turn.car.name, 1.0
        if reading.message != self.exchange.reported:
            return turn.car.name, float(bool(turn.car.name))
        kind = "stranger" if stranger else "known" if turn.role and turn.car.name else "blank"
        if stranger and _NUMBERED.fullmatch(utterance.speaker.strip()):
            kind = "numbered"
        if kind == "stranger" and len(cars) == 1:
            return "", 0.0  # somebody else's name, where the car's people are known by theirs
        others = _OTHERS[kind]
        learnt = self._learnt.get(utterance.speaker, {}) if stranger else {}
        logs = {"": math.log(others) + self._of_another(reading, turn, kind)}
        for car in cars:
            share = 1 / len(cars)
            if kind == "known" and len(cars) > 1:
                named = car == turn.car.name
                share = _NAMED_RIGHT if named else (1 - _NAMED_RIGHT) / (len(cars) - 1)
            elif kind == "known":
                share = 1.0
            elif learnt:
                share = (learnt.get(car, 0.0) + 0.2) / (sum(learnt.values()) + 0.2 * len(cars))
            outlook = self.exchange.car(car).outlook
            fit = outlook.fit(reading, utterance.at, utterance.number)
            logs[car] = math.log((1 - others) * share) + fit
        most = max(logs.values())
        weights = {car: math.exp(log - most) for car, log in logs.items()}
        car = max(weights, key=weights.__getitem__)
        return car, weights[car] / sum(weights.values())

    def _of_another(self, reading: Reading, turn: RadioTurn, kind: str) -> float:
        """Return log P(report | it is of no car named): of a person with a name most likely another
        driver, whose car is on the same lap and much like these.
        """
        other = CarOutlook(self.book, "")
        if kind != "stranger":
            return other.flat(reading)
        utterance = turn.utterance
        laps = [
            self.exchange.car(car).outlook.lap_share(reading, utterance.at, utterance.number)
            for car in self.roster.cars
        ]
        return math.log(max([*laps, 1e-4])) + other.usual(reading)

    def known(self, car: str, sure: float, turn: RadioTurn) -> bool:
        """Tell whether a report is surely enough of a car."""
        if not self.roster.crews:
            return True
        least = self.book.spec.hearing.threshold
        if turn.role is not None and turn.car.name:
            least = _AS_NAMED if car == turn.car.name else _OTHERWISE
        return bool(car) and sure >= least

    def just_said(self, reading: Reading, turn: RadioTurn) -> str:
        """Return the car of which the same was reported just now, "" for none or several."""
        same = [
            name
            for name in self.roster.cars
            if (last := self.exchange.car(name).last.get("car")) is not None
            and last.reading == reading
            and self.exchange.near(last, turn.utterance, self.odds["readback"])
        ]
        return same[0] if len(same) == 1 else ""

    # what nobody knows whose it is waits for what tells

    def wait(self, one: Waiting) -> None:
        """Keep a report or call until it is known whose it is."""
        self._waiting.append(one)

    def doubt(self, number: int, note: str) -> None:
        """Keep as doubtful what waits of an utterance, with why."""
        for place, one in enumerate(self._waiting):
            if one.turn.utterance.number == number:
                entry = one.entry.replace(refusal=DOUBTFUL, note=note)
                self._waiting[place] = replace(one, entry=entry)

    def waits(self, turn: RadioTurn) -> int:
        """Return how much of a turn waits."""
        return sum(one.turn is turn for one in self._waiting)

    def since(self) -> int | None:
        """Return since when something waits; None where nothing does."""
        moments = [one.entry.at for one in self._waiting if one.entry.at is not None]
        return min(moments, default=None)

    def late(self, utterance: Utterance) -> bool:
        """Tell whether what waits longest has waited long enough, or too much waits."""
        if not self._waiting:
            return False
        oldest = self._waiting[0].turn.utterance
        near = self.exchange.near(oldest, utterance, _WAIT, within=int(_WAIT))
        return not near or len(self._waiting) > _MOST_WAITING

    def told(self) -> Iterator[tuple[Waiting, str, float]]:
        """Yield what waited, with its car and how likely that is, where it is known now: again from
        the first, as what is done with one may tell of another.
        """
        while True:
            for place, one in enumerate(self._waiting):
                car, sure = self.of(one.reading, one.turn)
                if self.known(car, sure, one.turn):
                    del self._waiting[place]
                    yield one, car, sure
                    break
            else:
                return

    def oldest(self) -> Iterator[Waiting]:
        """Yield what waits, the oldest first; it waits no more."""
        while self._waiting:
            yield self._waiting.pop(0)

    def said_again(self, reading: Reading, turn: RadioTurn) -> Waiting | None:
        """Return what waited and is said again now by somebody of a known car; it waits no more."""
        for place, one in enumerate(self._waiting):
            again = reading.said.startswith(one.reading.said)
            if one.reading.direction == "pit":  # the walls of two cars may call the same
                called = self.exchange.recent(turn, "pit", "readback")
                again = again and turn.role == "car" and called is None
            near = self.exchange.near(one.turn.utterance, turn.utterance, self.odds["readback"])
            if again and near:
                return self._waiting.pop(place)
        return None

    def called(self, reading: Reading, turn: RadioTurn) -> str:
        """Return the car whose call is read back, "" for none."""
        if reading.message == self.exchange.reported:
            return ""
        for car in self.roster.cars:
            last = self.exchange.car(car).last.get("pit")
            if (
                last is not None
                and last.reading is not None
                and reading.said.startswith(last.reading.said)
                and self.exchange.near(last, turn.utterance, self.odds["readback"])
            ):
                return car
        return ""
