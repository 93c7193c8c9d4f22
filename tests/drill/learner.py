"""A simulated learner, who is not the model that chooses the questions.

Each symbol has a strength. It is said or heard right with probability ``1 - slip - (1 - guess -
slip) · exp(-strength)``. Practice adds to the strength, more after a mistake (the right answer is
shown), less the stronger it is already. Overnight strength is lost, the share falling with the
number of days on which the symbol was practised. A quarter of the symbols are hard (they gain half
as much), and two thirds have a rival that they are taken for; practising one weakens the other a
little while that is weak itself. Slow: a weak symbol takes longer. People differ: gains are drawn
log-normally. All figures are invented.
"""

from __future__ import annotations

import datetime
import math
import random
from dataclasses import dataclass, field

from codec.drill.pool import Item, Pool

_SLIP, _GUESS = 0.002, 0.03


@dataclass
class Learner:
    pool: Pool
    generator: random.Random
    strength: dict[str, float] = field(default_factory=dict)
    days: dict[str, int] = field(default_factory=dict)
    today: set[str] = field(default_factory=set)
    gain: dict[str, float] = field(default_factory=dict)
    rivals: dict[str, str] = field(default_factory=dict)
    day: datetime.date | None = None

    def __post_init__(self) -> None:
        symbols = sorted(self.pool.share)
        speed = math.exp(self.generator.gauss(0, 0.25))
        hard = set(self.generator.sample(symbols, len(symbols) // 4))
        for symbol in symbols:
            self.strength[symbol] = self.generator.uniform(0.5, 2.0)
            self.gain[symbol] = (
                speed * math.exp(self.generator.gauss(0, 0.3)) * (0.5 if symbol in hard else 1.0)
            )
        shuffled = self.generator.sample(symbols, len(symbols) // 3 * 2)
        for one, other in zip(shuffled[::2], shuffled[1::2], strict=False):
            self.rivals[one], self.rivals[other] = other, one

    def right(self, symbol: str) -> float:
        return 1 - _SLIP - (1 - _GUESS - _SLIP) * math.exp(-self.strength[symbol])

    def answer(self, item: Item, at: datetime.datetime | None = None) -> tuple[str, float]:
        """Return what is said, and the seconds it takes; a new day begins after a night."""
        if at is not None:
            if self.day is not None and at.date() > self.day:
                self.night()
            self.day = at.date()
        said, seconds = [], 0.8
        for symbol in item.text:
            right = self.generator.random() < self.right(symbol)
            other = self.rivals.get(symbol) or self.generator.choice(sorted(self.pool.share))
            said.append(symbol if right else other)
            seconds += 0.5 + 0.6 * math.exp(-self.strength[symbol]) + self.generator.gauss(0, 0.05)
            self._practised(symbol, right)
        return "".join(said), max(0.3, seconds)

    def _practised(self, symbol: str, right: bool) -> None:
        self.strength[symbol] += (
            self.gain[symbol] * (0.35 if right else 0.6) * math.exp(-self.strength[symbol] / 5)
        )
        rival = self.rivals.get(symbol)
        if rival is not None and self.strength[rival] < 2.0:
            self.strength[rival] = max(0.2, self.strength[rival] - 0.01)
        self.today.add(symbol)

    def night(self) -> None:
        for symbol in self.strength:
            if symbol in self.today:
                self.days[symbol] = self.days.get(symbol, 0) + 1
            self.strength[symbol] *= 1 - 0.25 / (1 + self.days.get(symbol, 0))
        self.today.clear()

    def chance(self, text: str, hour: float) -> float:  # noqa: ARG002 - forgets by nights alone
        return math.prod(self.right(symbol) for symbol in text)
