"""Many simulated learners, each drilled in several ways: by our choice, and by chance."""

from __future__ import annotations

import datetime
import random
import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Protocol

from drill.support import lap_pool, race

from codec.drill import Answer, Pool
from codec.drill.choosing import Chooser
from codec.drill.memory import Memory
from codec.drill.pool import Item

START = datetime.datetime(2026, 3, 2, 9, 0, tzinfo=datetime.UTC)
A_DAY = 60  # questions
WAYS = ("chosen", "any item", "any report")
GOALS = (0.9, 0.95)
_LOOKS = 5  # items between two looks at whether the goal is reached


class Drilled(Protocol):
    """Anybody who can be drilled."""

    def answer(self, item: Item, at: datetime.datetime) -> tuple[str, float]:
        """Return what is said, and the seconds it takes."""

    def chance(self, text: str, hour: float) -> float:
        """Return how likely a string is read wholly right at an hour."""


Make = Callable[[Pool, random.Random], Drilled]
Ask = Callable[[datetime.datetime], Item]


@dataclass(frozen=True)
class Spent:
    """What a goal took."""

    items: int
    symbols: int


def course(
    learner: Drilled,
    ask: Ask,
    note: Callable[[Answer], None],
    reports: Sequence[Item],
    *,
    most: int = 3000,
) -> dict[float, Spent]:
    """Drill until the last goal is reached on whole reports; return what each goal took."""
    symbols, found = 0, dict[float, Spent]()
    for number in range(most):
        day, place = divmod(number, A_DAY)
        at = START + datetime.timedelta(days=day, seconds=15 * place)
        if number % _LOOKS == 0:
            hour = at.timestamp() / 3600
            share = statistics.fmean(learner.chance(report.text, hour) for report in reports)
            found |= {
                goal: Spent(number, symbols)
                for goal in GOALS
                if share >= goal and goal not in found
            }
            if len(found) == len(GOALS):
                break
        item = ask(at)
        said, seconds = learner.answer(item, at)
        symbols += len(item.text)
        note(
            Answer(
                person="Learner",
                drill="read",
                session="s",
                book="b",
                kind=item.kind,
                part_of=item.part_of,
                shown=item.text,
                said=said,
                outcome="right" if said == item.text else "accepted",
                first=0.8,
                last=seconds,
                at=at.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            )
        )
    return {goal: found.get(goal, Spent(most, symbols)) for goal in GOALS}


def _chosen(chooser: Chooser, at: datetime.datetime) -> Item:
    return chooser.next(at).item


def _by_chance(chance: random.Random, choices: Sequence[Item], _at: datetime.datetime) -> Item:
    return chance.choice(choices)


Found = dict[str, list[dict[float, Spent]]]


def items(seeds: Sequence[int], make: Make, ways: Sequence[str] = WAYS) -> Found:
    """Return for each way, by learner, what each goal took.

    ``any item`` takes symbols, pairs, entries and reports alike by chance; ``any report`` only
    reports, as they occur in races.
    """
    pool, test = lap_pool(), Pool(race(), ["lap"], seed=999, draws=300).reports
    every = {"any item": [*pool.parts, *pool.reports], "any report": pool.reports}
    found: Found = {way: [] for way in ways}
    for seed in seeds:
        for way in ways:
            ask: Ask
            note: Callable[[Answer], None]
            memory, chance = Memory(), random.Random(f"chance {seed}")
            if way == "chosen":
                ask, note = partial(_chosen, Chooser(pool, memory, seed=seed)), memory.note
            else:
                ask, note = partial(_by_chance, chance, every[way]), _forget
            found[way].append(course(make(pool, random.Random(seed)), ask, note, test))
    return found


def _forget(answer: Answer) -> None:
    """Chance needs no answers."""
    del answer


def saving(
    found: Found, against: str, goal: float = 0.95, what: str = "items"
) -> tuple[float, float, float]:
    """Return the saving in mean items (or symbols) against a way, with its 95 % interval by the
    bootstrap over learners.
    """
    pairs = [
        (getattr(ours[goal], what), getattr(theirs[goal], what))
        for ours, theirs in zip(found["chosen"], found[against], strict=True)
    ]

    def saved(rows: Sequence[tuple[int, int]]) -> float:
        return 1 - sum(one for one, _ in rows) / sum(other for _, other in rows)

    generator = random.Random(1)
    drawn = sorted(saved(generator.choices(pairs, k=len(pairs))) for _ in range(1000))
    return saved(pairs), drawn[25], drawn[974]


def mean(rows: Sequence[dict[float, Spent]], goal: float = 0.95, what: str = "items") -> float:
    return statistics.fmean(getattr(row[goal], what) for row in rows)
