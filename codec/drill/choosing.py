"""What to ask next, and why.

Whatever adds most to the share of whole reports read right, as they occur in races: by how often
each symbol and each pair is met in them, times what asking it once more is expected to add
(``knowledge``). Mostly whole reports, usual and unusual ones of the book: no made-up strings. What
goes wrong more often than right is now and then asked alone; where only parts are wanted, those
that the scheduler calls due come first. Same answers, seed and clock: same question.
"""

from __future__ import annotations

import datetime
import itertools
import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.drill.answer import Kind
from codec.drill.memory import Memory
from codec.drill.pool import Item, Pool
from grammar.libraries import needed

if TYPE_CHECKING:
    import numpy as np

_ALONE = 0.1  # share of parts while something goes wrong more often than right
_LEFT_OUT = 0.5  # share of the reports that a question leaves out by chance
_RECENT = 3  # an item is not asked again within so many questions
_SLOW = 0.02  # what a slow symbol is worth, as if it went wrong more often by this much


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
        self._reports = _Candidates(pool, [*pool.reports, *pool.unusual])
        self._units = _Candidates(pool, self._parts)

    def next(self, at: datetime.datetime) -> Question:
        """Return the next question."""
        generator = random.Random(f"{self.seed} {self.memory.answers}")  # noqa: S311 - a choice that can be repeated, not a secret
        part = self._part(generator, at)
        if part is None:
            best, weakest = self._reports.best(self.memory, at, self._recent, generator)
            part = Question(best, f"a whole report, with {self._reason(weakest)}")
        self._recent = [*self._recent[1 - _RECENT :], part.item.key]
        return part

    def _part(self, generator: random.Random, at: datetime.datetime) -> Question | None:
        """Return a part to ask, None where a whole report is to be asked."""
        items = [item for item in self._parts if item.key not in self._recent] or self._parts
        if "report" not in self.kinds:
            due = [item for item in items if self.is_due(item, at)] or items
            worths = self._units.worths(self.memory, at)
            chosen = generator.choices(due, [worths[item.key] + 1e-9 for item in due])[0]
            return Question(chosen, self.why(chosen, at))
        failing = [item for item in items if item.kind == "symbol" and self._fails(item.text)]
        if not failing or generator.random() >= _ALONE:
            return None
        chosen = max(failing, key=lambda item: (item.share, item.key))
        return Question(chosen, self.why(chosen, at))

    def _fails(self, symbol: str) -> bool:
        record = self.memory.symbols.get(symbol)
        return record is not None and record.asked > 1 and record.accuracy < 0.5

    def is_due(self, item: Item, at: datetime.datetime) -> bool:
        """Tell whether the scheduler asks for an item now."""
        due = self.memory.cards.due(item.key)
        return due is not None and due <= at

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
            right, wrong = self.memory.raced.get(symbol, (0.0, 0.0))
            if wrong:
                return f"{word} wrong {wrong:.0f} of {right + wrong:.0f} times before the drills"
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
        units = _Candidates(self.pool, self.pool.parts)
        worths = units.worths(self.memory, at)
        ranked = sorted(
            self.pool.parts,
            key=lambda item: (not self.is_due(item, at), -worths[item.key], item.key),
        )
        return [Question(item, self.why(item, at)) for item in ranked[:count]]


class _Candidates:
    """Items that may be asked, laid out so that what each is worth is one sum over its units: its
    symbols, and its pairs of neighbours. What comes twice in one report counts once: the second is
    read off the first.
    """

    def __init__(self, pool: Pool, items: Sequence[Item]) -> None:
        self.numpy = needed("numpy", "drill")
        self.items = list({item.key: item for item in items}.values())
        self.at = {item.key: place for place, item in enumerate(self.items)}
        self.shares = {**pool.share, **pool.pair_share}
        self.units = list(pool.share), list(pool.pair_share)
        place = {unit: n for n, unit in enumerate(self.shares)}
        cells = [
            [place[unit] for unit in dict.fromkeys((*one.text, *_pairs(one.text))) if unit in place]
            for one in self.items
        ]
        widest = max(map(len, cells), default=0)
        self.cells = self.numpy.array(
            [row + [len(place)] * (widest - len(row)) for row in cells], dtype=int
        ).reshape(len(cells), widest)

    def _worth(self, memory: Memory, at: datetime.datetime) -> np.ndarray:
        """Return what each item is worth."""
        recall = {symbol: memory.recall(symbol, at) for symbol in self.units[0]}
        slow = [_SLOW * memory.slowness(symbol) for symbol in self.units[0]]
        symbols, pairs = memory.knowledge.gains(*self.units, recall)
        each = self.numpy.concatenate([symbols + slow, pairs]) * list(self.shares.values())
        found: np.ndarray = self.numpy.append(each, 0.0)[self.cells].sum(axis=1)
        return found

    def worths(self, memory: Memory, at: datetime.datetime) -> dict[str, float]:
        """Return what each item is worth now, by its key."""
        found = self._worth(memory, at)
        return dict(zip(self.at, map(float, found), strict=True))

    def best(
        self,
        memory: Memory,
        at: datetime.datetime,
        recent: Sequence[str],
        generator: random.Random,
    ) -> tuple[Item, str]:
        """Return the item worth most of about half of them, drawn so that no two sessions are
        alike, and the symbol in it that is known least.
        """
        found = self._worth(memory, at)
        found[
            self.numpy.random.default_rng(generator.getrandbits(32)).random(len(found)) < _LEFT_OUT
        ] -= 1
        if len(self.items) > len(recent):
            found[[self.at[key] for key in recent if key in self.at]] -= 2
        item = self.items[int(self.numpy.argmax(found))]
        known, recall = memory.knowledge.alone, memory.recall
        weakest = min(item.text, key=lambda symbol: known.chance(symbol, recall(symbol, at)))
        return item, weakest


def _pairs(text: str) -> list[str]:
    return ["".join(pair) for pair in itertools.pairwise(text)]
