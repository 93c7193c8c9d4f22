"""Simulated people who learn to turn codewords into values by being told after each: two models of
memory that share nothing with what chooses the questions of a drill, nor with its simulated
learners. Their constants are ours, no source: only what is learnt sooner than what counts.

- ``DeltaRule``: cues compete to predict what follows (R. Rescorla and A. Wagner, 1972): a symbol
  that means something in several tables is a cue of all of them.
- ``Exemplars``: some of what was seen is remembered, and answers by how much it is like what is
  asked (R. Nosofsky, 1986, the generalized context model).

A number in figures is one rule, which is found at some report or other, all or nothing (G. Bower,
1961); figures that are the value need none. Anybody slips now and then.
"""

from __future__ import annotations

import math
import random
from collections import defaultdict
from typing import Protocol

from grammar.design import Proposal
from grammar.design.learning import learning_of
from grammar.figures import drawn

SLIP = 0.01  # of parts that are known
RULE = 0.2  # a report at which a rule is found, if it was not before
Part = tuple[str, str]  # a table, a codeword
Meaning = tuple[str, str]  # a table, a value


class Memory(Protocol):
    """Pairs of part and meaning, learnt one by one."""

    def answer(self, part: Part) -> Meaning | None:
        """Return what the part is taken for."""
        ...

    def told(self, part: Part, meaning: Meaning) -> None:
        """Learn what it was."""
        ...


class DeltaRule:
    """Cues (a symbol at a place, alone and in its table) that learn by what they failed to tell."""

    rate, sharpness = 0.12, 8.0

    def __init__(self, chance: random.Random) -> None:
        self.chance = chance
        self.weights: dict[Meaning, dict[object, float]] = defaultdict(lambda: defaultdict(float))

    def _cues(self, part: Part) -> list[object]:
        table, word = part
        places = list(enumerate(word))
        return [*places, *((table, place, symbol) for place, symbol in places), table]

    def answer(self, part: Part) -> Meaning | None:
        cues = self._cues(part)
        known = list(self.weights)
        if not known:
            return None
        pulls = [
            math.exp(self.sharpness * sum(self.weights[one].get(cue, 0.0) for cue in cues))
            for one in known
        ]
        return self.chance.choices(known, pulls)[0]

    def told(self, part: Part, meaning: Meaning) -> None:
        cues = self._cues(part)
        for one in {*self.weights, meaning}:
            row = self.weights[one]
            missing = (one == meaning) - sum(row.get(cue, 0.0) for cue in cues)
            for cue in cues:
                row[cue] += self.rate * missing


class Exemplars:
    """What was seen, kept now and then; what is asked is like it by table and by each symbol."""

    kept, other_table, other_symbol, guess = 0.5, 0.05, 0.0005, 0.02

    def __init__(self, chance: random.Random) -> None:
        self.chance = chance
        self.seen: dict[tuple[Part, Meaning], int] = defaultdict(int)

    def answer(self, part: Part) -> Meaning | None:
        pulls: dict[Meaning | None, float] = defaultdict(float)
        pulls[None] = self.guess
        for (other, meaning), count in self.seen.items():
            pulls[meaning] += count * self._like(part, other)
        return self.chance.choices(list(pulls), list(pulls.values()))[0]

    def _like(self, one: Part, other: Part) -> float:
        (table, word), (before, seen) = one, other
        apart = sum(a != b for a, b in zip(word, seen, strict=False)) + abs(len(word) - len(seen))
        return float((self.other_table if table != before else 1.0) * self.other_symbol**apart)

    def told(self, part: Part, meaning: Meaning) -> None:
        if self.chance.random() < self.kept:
            self.seen[part, meaning] += 1


MEMORIES: dict[str, type[DeltaRule] | type[Exemplars]] = {
    "cues compete": DeltaRule,
    "exemplars": Exemplars,
}


def errors(
    one: Proposal, memory: str, reports: int, seed: int, window: int = 50
) -> dict[int, float]:
    """Return the share of reports in which any part was taken for something else, in the last
    ``window`` before so many reports were heard: after each doubling from ``window`` on.
    """
    chance = random.Random(seed)
    mind: Memory = MEMORIES[memory](chance)
    message = one.book.messages[next(iter(one.book.messages))]
    pairs = {table.table: table.pairs for table in learning_of(message).tables}
    found: dict[str, bool] = {}
    wrong, told = list[bool](), dict[int, float]()
    said = drawn(one.book, message, reports, seed)
    for number, report in enumerate(said, start=1):
        match = message.quick(report.string)
        assert match is not None
        missed = False
        for table, word in zip(match.plan.tables, match.texts, strict=True):
            if table.check is not None:
                continue
            levels = table.levels(word) or ()
            value = ", ".join(
                field.text(level) for field, level in zip(table.fields, levels, strict=True)
            )
            part, meaning = (table.name, word), (table.name, value)
            if pairs[table.name] <= 1:  # a rule, or nothing to learn
                right = found.setdefault(table.name, pairs[table.name] == 0)
                found[table.name] = right or chance.random() < RULE
            else:
                right = mind.answer(part) == meaning
                mind.told(part, meaning)
            missed |= not right or chance.random() < SLIP
        wrong.append(missed)
        if number >= window and (number // window).bit_count() == 1 and number % window == 0:
            told[number] = sum(wrong[-window:]) / window
    return told
