"""Many simulated learners, each drilled in several ways: by our choice, and by chance."""

from __future__ import annotations

import datetime
import random
import statistics
from collections.abc import Callable, Sequence
from functools import partial

from drill.learner import Learner, course
from drill.support import lap_pool, race

from codec.drill import Pool
from codec.drill.choosing import Chooser
from codec.drill.memory import Memory
from codec.drill.pool import Item

WAYS = ("chosen", "any item", "any report")


def _chosen(chooser: Chooser, at: datetime.datetime) -> Item:
    return chooser.next(at).item


def _by_chance(chance: random.Random, choices: Sequence[Item], _at: datetime.datetime) -> Item:
    return chance.choice(choices)


def items(
    seeds: Sequence[int], make: Callable[[Pool, random.Random], Learner] = Learner
) -> dict[str, list[tuple[int, int]]]:
    """Return for each way, by learner, the items and the symbols asked until 95 % of whole reports
    are right.

    ``any item`` takes symbols, pairs, entries and reports alike by chance; ``any report`` only
    reports, as they occur in races.
    """
    pool, test = lap_pool(), Pool(race(), ["lap"], seed=999, draws=300).reports
    every = [*pool.parts, *pool.reports]
    found: dict[str, list[tuple[int, int]]] = {way: [] for way in WAYS}
    for seed in seeds:
        memory = Memory()
        chooser, chance = Chooser(pool, memory, seed=seed), random.Random(f"chance {seed}")
        learner = make(pool, random.Random(seed))
        found["chosen"].append(course(learner, partial(_chosen, chooser), memory.note, test))
        for way, choices in (("any item", every), ("any report", pool.reports)):
            learner = make(pool, random.Random(seed))
            found[way].append(
                course(
                    learner,
                    partial(_by_chance, chance, choices),
                    lambda _: None,
                    test,
                )
            )
    return found


def saving(
    found: dict[str, list[tuple[int, int]]], against: str, what: int = 0
) -> tuple[float, float, float]:
    """Return the saving in mean items (or symbols, ``what`` 1) against a way, with its 95 %
    interval by the bootstrap over learners.
    """
    pairs = [
        (ours[what], theirs[what])
        for ours, theirs in zip(found["chosen"], found[against], strict=True)
    ]

    def saved(rows: Sequence[tuple[int, int]]) -> float:
        return 1 - sum(one for one, _ in rows) / sum(other for _, other in rows)

    generator = random.Random(1)
    drawn = sorted(saved(generator.choices(pairs, k=len(pairs))) for _ in range(1000))
    return saved(pairs), drawn[25], drawn[974]


def mean(rows: Sequence[tuple[int, int]], what: int = 0) -> float:
    return statistics.fmean(row[what] for row in rows)
