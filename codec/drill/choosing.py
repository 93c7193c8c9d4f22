"""What to ask next, and why.

Mostly whole reports, drawn as they occur in races; of several drawn the one with most in it that is
weak is asked: no made-up strings, no time lost on what is known. Between them parts, more of them
at first, so that every symbol is met soon: those the scheduler calls due before others, the weak
and those often met more often. Same answers, seed and clock: same question.
"""

from __future__ import annotations

import datetime
import random
from collections.abc import Sequence
from dataclasses import dataclass

from codec.drill.answer import Kind
from codec.drill.memory import Memory
from codec.drill.pool import Item, Pool

CANDIDATES = 48  # reports drawn, of which one is asked
_FIRST, _LATER = 0.7, 0.95  # share of reports when nothing is known, and when all is
_RECENT = 3  # an item is not asked again within so many questions


@dataclass(frozen=True, slots=True)
class Question:
    """An item to ask and the reason in words."""

    item: Item
    why: str


class Chooser:
    """Chooses items of a pool for one person in one drill; ``kinds`` narrows what is asked."""

    def __init__(
        self, pool: Pool, memory: Memory, *, kinds: Sequence[Kind] = (), seed: int = 1
    ) -> None:
        """Take what may be asked and what is known; raises ValueError where a kind has no item."""
        self.pool, self.memory, self.seed = pool, memory, seed
        self.kinds = tuple(
            kind for kind in kinds or ("symbol", "pair", "entry", "report") if pool.of(kind)
        )
        self._parts = [item for kind in self.kinds if kind != "report" for item in pool.of(kind)]
        self._recent: list[str] = []

    def next(self, at: datetime.datetime) -> Question:
        """Return the next question."""
        generator = random.Random(f"{self.seed} {self.memory.answers}")  # noqa: S311 - a choice that can be repeated, not a secret
        weak = {symbol: self.memory.weakness(symbol, at) for symbol in self.pool.share}
        if not self._parts or ("report" in self.kinds and generator.random() < self._reports(weak)):
            question = self._report(generator, weak)
        else:
            question = self._part(generator, weak, at)
        self._recent = [*self._recent[1 - _RECENT :], question.item.key]
        return question

    def _reports(self, weak: dict[str, float]) -> float:
        """Return the share of whole reports: it grows with what is known of a typical one."""
        total = sum(self.pool.share.values())
        known = (
            1
            - sum(min(1.0, weak[symbol]) * often for symbol, often in self.pool.share.items())
            / total
        )
        return _FIRST + (_LATER - _FIRST) * known

    def _report(self, generator: random.Random, weak: dict[str, float]) -> Question:
        drawn = generator.choices(self.pool.reports, k=CANDIDATES)
        best = max(
            drawn,
            key=lambda item: sum(weak[symbol] for symbol in item.text) - (item.key in self._recent),
        )
        worst = max(best.text, key=lambda symbol: weak[symbol])
        return Question(best, f"a whole report, with {self._reason(worst)}")

    def _part(
        self, generator: random.Random, weak: dict[str, float], at: datetime.datetime
    ) -> Question:
        items = [item for item in self._parts if item.key not in self._recent] or self._parts
        due = [item for item in items if self.is_due(item, at)]
        new = [
            item for item in items if item.key not in self.memory.cards and item.kind == "symbol"
        ]
        chosen = generator.choices(
            due or new or items, [self.worth(item, weak) for item in due or new or items]
        )[0]
        return Question(chosen, self.why(chosen, at))

    def is_due(self, item: Item, at: datetime.datetime) -> bool:
        """Tell whether the scheduler asks for an item now."""
        due = self.memory.cards.due(item.key)
        return due is not None and due <= at

    def worth(self, item: Item, weak: dict[str, float]) -> float:
        """Return the weight of an item among others: how weak it is, times how often it is met."""
        weakest = max(weak.get(symbol, 0.5) for symbol in item.text)
        own = self.memory.items.get(item.key)
        unsure = weakest if own is None else max(weakest, 1 - own.accuracy)
        return unsure * (0.02 + min(1.0, item.share))

    def why(self, item: Item, at: datetime.datetime) -> str:
        """Return in words why an item is asked."""
        if self.is_due(item, at):
            return (
                "due for a repeat;"
                f" {self._reason(item.text[0]) if len(item.text) == 1 else 'its symbols together'}"
            )
        return (
            self._reason(item.text[0])
            if len(item.text) == 1
            else "seldom asked so far"
            if item.key in self.memory.items
            else "not asked yet"
        )

    def _reason(self, symbol: str) -> str:
        word, record = self.pool.book.alphabet.words[symbol].word, self.memory.symbols.get(symbol)
        if record is None:
            return f"{word} not asked yet"
        if record.missed:
            return f"{word} wrong {record.missed} of {record.asked} times"
        return (
            f"{word} slow"
            if record.pace > 1.25
            else f"{word} right {record.asked} of {record.asked} times"
        )

    def ahead(self, at: datetime.datetime, count: int = 8) -> list[Question]:
        """Return the parts that matter most now, the most worth asking first."""
        weak = {symbol: self.memory.weakness(symbol, at) for symbol in self.pool.share}
        ranked = sorted(
            self.pool.parts,
            key=lambda item: (not self.is_due(item, at), -self.worth(item, weak), item.key),
        )
        return [Question(item, self.why(item, at)) for item in ranked[:count]]
