"""How likely a report in plain words was said as it was written down, and of which car."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

from codec.radio.choices import places
from codec.radio.exchange import FITS, Exchange, RadioTurn
from codec.radio.named import PlainReport, in_full
from codec.radio.outlook import CarOutlook
from codec.reading import Reading

_SPOILT_WORDS = 0.02  # of the words of a report that has one not as said, those that are not
_LEAST = 1e-6  # how sure a recogniser is at least
_CUT = 20  # times as often is a word lost where the comma behind it is, too


class AsSaid:
    """Weighs reports in plain words; it learns how often they have words amiss."""

    def __init__(self, exchange: Exchange) -> None:
        """Take what is known of the exchange so far."""
        self.exchange = exchange
        self.book, self.finder, self.roster = exchange.book, exchange.finder, exchange.roster
        self.odds = exchange.odds
        self._named_spoilt = {True: 0, False: 0}  # reports in plain words, with words amiss or not
        self._unlike: dict[str, CarOutlook] = {}  # by car the last one unlike those before
        # by car the last one that is not sure, if the one before was none that counts, and how sure
        self._unsure: dict[str, tuple[CarOutlook, float]] = {}
        self._in_full: dict[str, dict[str, tuple[int, Decimal]]] = {}  # by car and field, each lap

    def likely(self, said: PlainReport, reading: Reading, turn: RadioTurn) -> tuple[float, str]:
        """Return how likely a report in plain words was said as it was written down, and where it
        is doubted for what it says, why: a word of a number may have been lost, or be another, and
        nothing checks it but the report before. One unlike the last that counts is believed where
        it goes on from one doubted for the same.
        """
        utterance, name = turn.utterance, turn.car.name
        plus, turn.car.says_plus = turn.car.says_plus, turn.car.says_plus or said.plus
        self._named_spoilt[said.spoilt] += 1
        if said.astray:
            return 0.5, "it may be asked about, or be of another time"
        unlike = self._unlike.pop(name, None) if name else None
        why = ""
        for outlook in filter(None, (turn.car.outlook, unlike)):
            lap = self._lap(reading, turn, outlook)
            before = outlook.before(utterance.at, utterance.number)
            laps = 1 if before is None else max(1, lap - before.lap)
            last = None if before is None else before.values
            share = outlook.lap_share(reading, utterance.at, utterance.number)
            odd = "" if share >= FITS else f"lap {lap} is not the one expected"
            odd = (
                odd
                or self.finder.named.far(said, last, laps)
                or self._unlike_in_full(said, lap, name)
            )
            if not odd:
                self._in_full[name] = self._in_full.get(name, {}) | {
                    one: (lap, value)
                    for one, value in said.values.items()
                    if one != self.finder.named.lap and in_full(self.book.fields[one], value)
                }
                unsure = self._unsure.pop(name, None)
                likely = self._behind(outlook, unsure, said, reading, turn, plus=plus)
                if name and likely < self.book.hearing.threshold:
                    self._unsure[name] = self._alone(reading, lap, turn), likely
                return likely, ""
            why = why or odd
        lap = self._lap(reading, turn, turn.car.outlook)
        self._unlike[name] = self._alone(reading, lap, turn)
        return 0.5, why

    def _alone(self, reading: Reading, lap: int, turn: RadioTurn) -> CarOutlook:
        """Return what would be known of a car by a report alone."""
        found = CarOutlook(self.book, turn.car.name)
        found.learn(reading, lap, turn.utterance.at, turn.utterance.number)
        return found

    def _unlike_in_full(self, said: PlainReport, lap: int, car: str) -> str:
        """Return in words which number said in full is far from the one said so before."""
        for name, (before, value) in self._in_full.get(car, {}).items():
            if name in said.values and in_full(self.book.fields[name], said.values[name]):
                alone = replace(said, values={name: said.values[name]})
                odd = self.finder.named.far(alone, {name: value}, max(1, lap - before))
                if odd:
                    return odd
        return ""

    def recognised(self, said: PlainReport, reading: Reading, turn: RadioTurn) -> float:
        """Return how likely a recogniser was right in the words of the numbers, by its confidences:
        had it been wrong in one, the value would seldom be one that is expected.
        """
        utterance, odds = (
            turn.utterance,
            {name: self._odds(name, reading, turn) for name in said.spans},
        )
        told = [one for one in places(utterance) if one[0].confidence is not None]
        wrong = 0.0
        for word, start, end in told:
            if self.finder.named.counts(word.text):
                sure = max(word.confidence or 0.0, _LEAST)
                of = [
                    odds[n] for n, span in said.spans.items() if span[0] <= start and end <= span[1]
                ]
                wrong += (1 - sure) / sure * max(of, default=0.0)
        if not told and utterance.confidence is not None:
            sure = max(utterance.confidence, _LEAST)
            wrong = (1 - sure) / sure * max(odds.values(), default=1.0)
        return 1 / (1 + wrong)

    def _odds(self, name: str, reading: Reading, turn: RadioTurn) -> float:
        """Return the odds that a value is as said by chance, against that it is said."""
        utterance, outlook = turn.utterance, turn.car.outlook
        if name not in reading.levels:
            return 1.0
        if name == self.finder.named.lap:
            right = outlook.lap_share(reading, utterance.at, utterance.number)
        else:
            right = outlook.share(name, reading.levels[name], utterance.at, utterance.number)
        return (1 - right) / max(1, self.book.fields[name].size - 1) / right

    @staticmethod
    def _lap(reading: Reading, turn: RadioTurn, outlook: CarOutlook) -> int:
        """Return the lap that a report says, the likeliest where it says none."""
        said = turn.car.laps.said(reading)
        laps = outlook.laps(turn.utterance.at, turn.utterance.number) if said is None else {}
        return max(laps, key=laps.__getitem__, default=said or 0)

    def _behind(
        self,
        outlook: CarOutlook,
        unsure: tuple[CarOutlook, float] | None,
        said: PlainReport,
        reading: Reading,
        turn: RadioTurn,
        *,
        plus: bool,
    ) -> float:
        """Return how likely every number was said as it was written down, behind the report that
        an outlook knows of, or behind an ``unsure`` one since, as likely as that is: several that
        agree speak for each other.
        """
        named, utterance = self.finder.named, turn.utterance

        def share_of(name: str, level: int) -> float:
            known = outlook.share(name, level, utterance.at, utterance.number)
            if unsure is None:
                return known
            since, sure = unsure
            there = since.share(name, level, utterance.at, utterance.number)
            return (1 - sure) * known + sure * there

        spoilt, clean = self._named_spoilt[True], self._named_spoilt[False]
        rate = (0.5 + spoilt) / (20 + spoilt + clean) * _SPOILT_WORDS
        rate *= 4 if said.spoilt else 1
        likely = 0.9999
        for name, others in said.others.items():
            level = reading.levels[name]
            wrong = 0.0
            for value in (*others, *said.unheard[name]):
                other = named.level(name, value)
                if other is not None and other != level:
                    share = share_of(name, other)
                    signed = plus and value == -said.values[name]
                    amiss = rate * (_CUT if name in said.cut else 1)
                    wrong += share * (1.0 if signed or value in said.unheard[name] else amiss)
            right = share_of(name, level)
            likely *= right / (right + wrong)
        return likely

    def ways(self, said: PlainReport, turn: RadioTurn) -> Iterator[tuple[float, Reading]]:
        """Yield what was said as the report of each car whose it may be, with how well it fits."""
        utterance, named = turn.utterance, self.finder.named
        cars = [turn.car.name] if turn.car.name or not self.roster.cars else self.roster.cars
        for name in cars:
            car = self.exchange.car(name)
            laps = car.outlook.laps(utterance.at, utterance.number)
            lap = max(laps, key=laps.__getitem__, default=car.laps.expected(utterance.at))
            context = self.exchange.context(car, utterance)
            reading = named.reading(said, utterance.lap or lap, utterance.text, context)
            if reading is not None:
                yield car.outlook.fit(reading, utterance.at, utterance.number), reading
