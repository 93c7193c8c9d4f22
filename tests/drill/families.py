"""Families of simulated learners of other forms than the model that chooses the questions, and than
each other. Each but the last is taken from the literature named beside it. The figures are
invented, and those of the choice were not adjusted to them (what was looked at: DEVELOPERS.md).

A learner answers an item at a time of day and learns from it; ``chance`` is how likely a string is
read wholly right just then.
"""

from __future__ import annotations

import datetime
import math
import random
from collections import defaultdict

from codec.drill.pool import Item, Pool

_HOUR = 3600.0


class Family:
    """What the families share: people differ, and who errs says another symbol of the book."""

    def __init__(self, pool: Pool, generator: random.Random) -> None:
        self.generator, self.symbols = generator, sorted(pool.share)

    def answer(self, item: Item, at: datetime.datetime) -> tuple[str, float]:
        """Return what is said, and the seconds it takes; the right answer is shown afterwards."""
        said = self.said(item.text, at.timestamp() / _HOUR)
        return said, 0.8 + sum(
            0.5 + 0.3 * (one != other) for one, other in zip(said, item.text, strict=True)
        )

    def said(self, text: str, hour: float) -> str:
        said = ""
        for symbol in text:
            right = self.generator.random() < self.right(symbol, hour)
            said += symbol if right else self.taken(symbol)
            self.practise(symbol, hour, right=right)
        return said

    def taken(self, symbol: str) -> str:
        return self.generator.choice([one for one in self.symbols if one != symbol])

    def chance(self, text: str, hour: float) -> float:
        return math.prod(self.right(symbol, hour) for symbol in text)

    def right(self, symbol: str, hour: float) -> float:
        raise NotImplementedError

    def practise(self, symbol: str, hour: float, *, right: bool) -> None:
        raise NotImplementedError


class PowerForgetting(Family):
    """Each time a symbol was met leaves a trace that fades by a power of its age; what the traces
    make together decides (base-level activation: J. R. Anderson and L. J. Schooler, Psychological
    Science 2, 1991).
    """

    def __init__(self, pool: Pool, generator: random.Random) -> None:
        super().__init__(pool, generator)
        self.fading = generator.uniform(0.3, 0.6)
        self.threshold = {one: generator.gauss(0.2, 0.5) for one in self.symbols}
        self.traces: dict[str, list[float]] = defaultdict(list)
        self.summed: dict[tuple[str, float], float] = {}  # what they make together at an hour
        self.before = {one: math.exp(generator.gauss(0.4, 0.4)) for one in self.symbols}

    def right(self, symbol: str, hour: float) -> float:
        if (symbol, hour) not in self.summed:
            traces = sum((1 + hour - met) ** -self.fading for met in self.traces[symbol])
            self.summed[symbol, hour] = traces
        activation = math.log(self.before[symbol] + self.summed[symbol, hour])
        return 1 / (1 + math.exp((self.threshold[symbol] - activation) / 0.45))

    def practise(self, symbol: str, hour: float, *, right: bool) -> None:  # noqa: ARG002
        self.traces[symbol].append(hour)
        self.summed.clear()


class ExponentialForgetting(Family):
    """A symbol is known or not. Who does not know it learns it at once or not at all (G. H. Bower,
    Psychometrika 26, 1961); what is known is lost with a half-life that grows with each return
    (half-life regression: B. Settles and B. Meeder, ACL 2016).
    """

    def __init__(self, pool: Pool, generator: random.Random) -> None:
        super().__init__(pool, generator)
        self.learns = generator.uniform(0.15, 0.4)
        self.guesses = generator.uniform(0.5, 0.8)
        self.known = {one: generator.random() < 0.3 for one in self.symbols}
        self.half = {one: 24 * math.exp(generator.gauss(0.5, 0.6)) for one in self.symbols}
        self.met: dict[str, float] = {}

    def right(self, symbol: str, hour: float) -> float:
        kept = self.known[symbol] * 2 ** -((hour - self.met.get(symbol, hour)) / self.half[symbol])
        return kept * 0.998 + (1 - kept) * self.guesses

    def practise(self, symbol: str, hour: float, *, right: bool) -> None:  # noqa: ARG002
        away = hour - self.met.get(symbol, hour)
        if self.known[symbol] and self.generator.random() > 2 ** -(away / self.half[symbol]):
            self.known[symbol] = False
        if self.known[symbol]:
            self.half[symbol] *= 1 + min(1.0, away / 24)
        else:
            self.known[symbol] = self.generator.random() < self.learns
        self.met[symbol] = hour


class LookAlikes(Family):
    """Symbols lie in a space of what they look like, and one is taken for another by how near it is
    (R. N. Shepard, Psychometrika 22, 1957); practice draws the two apart (R. M. Nosofsky, Journal
    of Experimental Psychology: General 115, 1986), a break lets them come nearer again.
    """

    def __init__(self, pool: Pool, generator: random.Random) -> None:
        super().__init__(pool, generator)
        place = {one: [generator.gauss(0, 1) for _ in range(3)] for one in self.symbols}
        self.far = {
            one: {
                other: math.dist(place[one], place[other]) for other in self.symbols if other != one
            }
            for one in self.symbols
        }
        self.sharp = dict.fromkeys(self.symbols, 2.5)
        self.gain = math.exp(generator.gauss(math.log(0.12), 0.3))
        self.hour = 0.0

    def _likeness(self, symbol: str) -> dict[str, float]:
        return {
            other: math.exp(-self.sharp[symbol] * far) for other, far in self.far[symbol].items()
        }

    def right(self, symbol: str, hour: float) -> float:  # noqa: ARG002
        return 0.998 / (1 + sum(self._likeness(symbol).values()))

    def taken(self, symbol: str) -> str:
        likeness = self._likeness(symbol)
        return self.generator.choices(list(likeness), list(likeness.values()))[0]

    def practise(self, symbol: str, hour: float, *, right: bool) -> None:
        if hour - self.hour > 8 and self.hour:
            for one in self.symbols:
                self.sharp[one] = 2.5 + 0.93 * (self.sharp[one] - 2.5)
        self.hour = hour
        self.sharp[symbol] += self.gain * (1.0 if right else 2.0)
        nearest = min(self.far[symbol], key=self.far[symbol].__getitem__)
        self.sharp[nearest] += 0.3 * self.gain


class Chunks(Family):
    """Reads by twos: two symbols that stand together become one thing, all or nothing (W. G. Chase
    and H. A. Simon, Cognitive Psychology 4, 1973); what is none yet is spelled, by symbols that are
    known the better the more often they were met.
    """

    def __init__(self, pool: Pool, generator: random.Random) -> None:
        super().__init__(pool, generator)
        self.joins = generator.uniform(0.15, 0.4)
        self.takes = generator.uniform(5.0, 9.0)
        self.met: dict[str, int] = defaultdict(int)
        self.whole: set[str] = set()
        self.hour = 0.0

    def _chunks(self, text: str) -> list[str]:
        return [text[place : place + 2] for place in range(0, len(text), 2)]

    def _right(self, chunk: str) -> float:
        if chunk in self.whole:
            return 0.998
        return 1 - 0.008 - 0.2 * math.exp(-min(self.met[one] for one in chunk) / self.takes)

    def chance(self, text: str, hour: float) -> float:  # noqa: ARG002
        return math.prod(self._right(chunk) for chunk in self._chunks(text))

    def said(self, text: str, hour: float) -> str:
        if hour - self.hour > 8 and self.hour:
            self.whole = {one for one in sorted(self.whole) if self.generator.random() < 0.85}
        self.hour, said = hour, ""
        for chunk in self._chunks(text):
            right = self.generator.random() < self._right(chunk)
            wrong = self.generator.randrange(len(chunk))
            said += (
                chunk
                if right
                else "".join(
                    self.taken(one) if place == wrong else one for place, one in enumerate(chunk)
                )
            )
            if len(chunk) > 1 and self.generator.random() < self.joins:
                self.whole.add(chunk)
            for one in chunk:
                self.met[one] += 1
        return said


class Alike(Family):
    """All symbols are alike: errors fall by a power of practice (A. Newell and P. S. Rosenbloom,
    "Mechanisms of skill acquisition and the law of practice", 1981), and nothing is forgotten.
    """

    def __init__(self, pool: Pool, generator: random.Random) -> None:
        super().__init__(pool, generator)
        self.power = generator.uniform(0.8, 1.2)
        self.met: dict[str, int] = defaultdict(int)

    def right(self, symbol: str, hour: float) -> float:  # noqa: ARG002
        return 1 - 0.25 * float((1 + self.met[symbol]) ** -self.power)

    def practise(self, symbol: str, hour: float, *, right: bool) -> None:  # noqa: ARG002
        self.met[symbol] += 1


class Plateaus(Family):
    """Gets better by steps, with plateaus between them (W. L. Bryan and N. Harter, Psychological
    Review 6, 1899, of telegraphers), each symbol by steps of its own; a long break may cost one.
    Now and then attention lapses, however well all is known.
    """

    def __init__(self, pool: Pool, generator: random.Random) -> None:
        super().__init__(pool, generator)
        self.falls = generator.uniform(0.3, 0.5)
        self.lapses = generator.uniform(0.001, 0.003)
        self.step = {one: generator.choice([0, 0, 1, 2]) for one in self.symbols}
        self.until = {one: self._length() for one in self.symbols}
        self.met: dict[str, float] = {}

    def _length(self) -> int:
        return 1 + int(self.generator.expovariate(1 / 6))

    def right(self, symbol: str, hour: float) -> float:  # noqa: ARG002
        return 1 - self.lapses - 0.3 * self.falls ** self.step[symbol]

    def practise(self, symbol: str, hour: float, *, right: bool) -> None:  # noqa: ARG002
        away = hour - self.met.get(symbol, hour)
        if away > 36 and self.step[symbol] and self.generator.random() < 0.2:
            self.step[symbol] -= 1
        self.met[symbol] = hour
        self.until[symbol] -= 1
        if not self.until[symbol]:
            self.step[symbol], self.until[symbol] = self.step[symbol] + 1, self._length()


class Tiring(Family):
    """Errors fall exponentially with practice, by each symbol at a rate of its own (A. Heathcote,
    S. Brown and D. J. K. Mewhort, Psychonomic Bulletin and Review 7, 2000). Who drills for long
    errs more (N. H. Mackworth, Quarterly Journal of Experimental Psychology 1, 1948) and learns
    less, until a rest; ``chance`` is of one who has rested.
    """

    def __init__(self, pool: Pool, generator: random.Random) -> None:
        super().__init__(pool, generator)
        self.errors = {one: generator.uniform(0.05, 0.4) for one in self.symbols}
        self.rate = {one: math.exp(generator.gauss(-2.5, 0.5)) for one in self.symbols}
        self.hour, self.tired = 0.0, 0.0

    def said(self, text: str, hour: float) -> str:
        self.tired = 0.0 if hour - self.hour > 8 else self.tired + (1 - self.tired) / 60
        self.hour = hour
        return super().said(text, hour)

    def chance(self, text: str, hour: float) -> float:  # noqa: ARG002
        return math.prod(1 - self.errors[symbol] for symbol in text)

    def right(self, symbol: str, hour: float) -> float:  # noqa: ARG002
        return 1 - self.errors[symbol] - 0.06 * self.tired

    def practise(self, symbol: str, hour: float, *, right: bool) -> None:  # noqa: ARG002
        self.errors[symbol] *= math.exp(-self.rate[symbol] * (1 - 0.5 * self.tired))


class Mixed(Family):
    """Learns each symbol in one of three ways, by chance: no one law holds for all."""

    def __init__(self, pool: Pool, generator: random.Random) -> None:
        super().__init__(pool, generator)
        ways: list[Family] = [
            kind(pool, generator) for kind in (PowerForgetting, ExponentialForgetting, Alike)
        ]
        self.way = {one: generator.choice(ways) for one in self.symbols}

    def right(self, symbol: str, hour: float) -> float:
        return self.way[symbol].right(symbol, hour)

    def practise(self, symbol: str, hour: float, *, right: bool) -> None:
        self.way[symbol].practise(symbol, hour, right=right)


FAMILIES: dict[str, type[Family]] = {
    "forgetting by a power": PowerForgetting,
    "forgetting exponentially": ExponentialForgetting,
    "look-alikes": LookAlikes,
    "chunks": Chunks,
    "all alike": Alike,
    "plateaus": Plateaus,
    "tiring": Tiring,
    "mixed": Mixed,
}
