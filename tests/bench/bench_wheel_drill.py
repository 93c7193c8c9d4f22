"""How soon changes of a wheel are known: those that the drill asks for against changes drawn as
often as they are made in a race, over learners of two families that the drill was not made for.

    PYTHONPATH=.:tests python tests/bench/bench_wheel_drill.py

A learner makes a change right with a chance that grows with each time it was practised and falls
with the changes made since: as a power of that number, or exponentially. Told is how many changes
are made until a race's changes are right nine times in ten, in the mean over the learners, with two
standard errors.
"""

from __future__ import annotations

import datetime
import math
import random
import statistics
import tempfile
from pathlib import Path
from typing import Literal

from codec.drill import DrillJournal
from codec.drill.turn import Signals
from codec.drill.wheel_drill import WheelDrill, WheelTask, WheelTurn
from codec.wheel import Wheel, cheapest, load_wheel

EXAMPLE = Path(__file__).parents[2] / "examples" / "event" / "wheel.toml"
LEARNERS, MOST, SEED = 10, 300, 3
Family = Literal["power", "exponential"]


class Learner:
    """Somebody who learns changes one by one, each at a pace of its own."""

    def __init__(self, family: Family, seed: int) -> None:
        self._family, self._draw = family, random.Random(f"{family} {seed}")
        self._pace: dict[str, float] = {}
        self._made: dict[str, list[int]] = {}
        self._count = 0

    def chance(self, key: str) -> float:
        """Return how likely a change is made right now."""
        pace = self._pace.setdefault(key, self._draw.lognormvariate(-0.9, 0.5))
        since = [self._count - when for when in self._made.get(key, ())]
        if self._family == "power":
            strength = sum((1 + one) ** -0.3 for one in since)
        else:
            strength = sum(math.exp(-one / 120) for one in since)
        return 1 - math.exp(-pace * strength)

    def make(self, key: str) -> bool:
        """Make a change, and learn from it."""
        right = self._draw.random() < self.chance(key)
        self._made.setdefault(key, []).append(self._count)
        self._count += 1
        return right


class AsInARace(WheelDrill):
    """Asks for changes as often as they are made in a race, whatever is known."""

    def ask(self) -> tuple[WheelTask, Signals]:
        """Return a change drawn as in a race."""
        key = self._draw.choices(list(self._often), list(self._often.values()))[0]
        wanted = {name: self._wanted(name) for name in key.split(" + ")}
        return WheelTask(wanted, cheapest(self.wheel, self._state, wanted)), Signals()


class Clock:
    """Twenty seconds a change."""

    def __init__(self) -> None:
        self.at = datetime.datetime(2026, 3, 2, 9, tzinfo=datetime.UTC)

    def __call__(self) -> datetime.datetime:
        self.at += datetime.timedelta(seconds=10)
        return self.at


def until_known(wheel: Wheel, kind: type[WheelDrill], family: Family, seed: int) -> int:
    """Return how many changes are made until a race's are right nine times in ten."""
    learner, often = Learner(family, seed), wheel.spec.changes
    whole = sum(float(one.often) for one in often)
    with (
        tempfile.TemporaryDirectory() as folder,
        DrillJournal(Path(folder) / "j", create=True) as journal,
    ):
        drill = kind(journal, wheel, "Ana", seed=seed, clock=Clock())
        for count in range(1, MOST + 1):
            task, _ = drill.ask()
            turn = WheelTurn.begin(wheel, task, 0.0)
            if learner.make(task.key):
                for number, touch in enumerate(task.way.touches, start=1):
                    turn.touch(touch, 0.4 * number)
            drill.write(turn, drill.marked(turn, 8.0))
            known = sum(float(o.often) * learner.chance(" + ".join(o.settings)) for o in often)
            if known >= 0.9 * whole:
                return count
    return MOST


if __name__ == "__main__":
    example = load_wheel(EXAMPLE)
    families: tuple[Family, ...] = ("power", "exponential")
    for family in families:
        for kind in (AsInARace, WheelDrill):
            found = [until_known(example, kind, family, SEED + n) for n in range(LEARNERS)]
            spread = 2 * statistics.stdev(found) / math.sqrt(LEARNERS)
            print(f"{family}, {kind.__name__}: {statistics.mean(found):.0f} ± {spread:.0f} changes")
