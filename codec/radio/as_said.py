"""How likely a report in plain words was said as it was written down, and of which car."""

from __future__ import annotations

from collections.abc import Iterator

from codec.radio.exchange import FITS, Exchange, RadioTurn
from codec.radio.named import PlainReport
from codec.reading import Reading

_SPOILT_WORDS = 0.02  # of the words of a report that has one not as said, those that are not
_CUT = 20  # times as often is a word lost where the comma behind it is, too


class AsSaid:
    """Weighs reports in plain words; it learns how often they have words amiss."""

    def __init__(self, exchange: Exchange) -> None:
        """Take what is known of the exchange so far."""
        self.exchange = exchange
        self.book, self.finder, self.roster = exchange.book, exchange.finder, exchange.roster
        self.odds = exchange.odds
        self._named_spoilt = {True: 0, False: 0}  # reports in plain words, with words amiss or not

    def likely(self, said: PlainReport, reading: Reading, turn: RadioTurn) -> float:
        """Return how likely a report in plain words was said as it was written down: a word of a
        number may have been lost, or be another, and nothing checks it but the report before.
        """
        named, utterance, outlook = self.finder.named, turn.utterance, turn.car.outlook
        before = outlook.before(utterance.at, utterance.number)
        laps = 1 if before is None else max(1, (turn.car.laps.said(reading) or 0) - before.lap)
        plus, turn.car.says_plus = turn.car.says_plus, turn.car.says_plus or said.plus
        self._named_spoilt[said.spoilt] += 1
        if said.astray or named.far(said, None if before is None else before.values, laps):
            return 0.5
        if outlook.lap_share(reading, utterance.at, utterance.number) < FITS:
            return 0.5
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
                    share = outlook.share(name, other, utterance.at, utterance.number)
                    signed = plus and value == -said.values[name]
                    amiss = rate * (_CUT if name in said.cut else 1)
                    wrong += share * (1.0 if signed or value in said.unheard[name] else amiss)
            right = outlook.share(name, level, utterance.at, utterance.number)
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
