"""How many questions simulated learners need until they read 95 % of whole reports right: chosen by
us, and by chance.

python tests/bench/bench_drill.py [LEARNERS]
"""

from __future__ import annotations

import random
import sys
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from drill.courses import WAYS, items, mean, saving
from drill.learner import Learner

from codec.drill import Pool

_FIRST = 1000


class Unforgetting(Learner):
    """A learner who loses nothing overnight."""

    def night(self) -> None:
        self.today.clear()


class Even(Learner):
    """A learner to whom all symbols are alike: none hard, no rivals, all as weak."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self.rivals.clear()
        self.gain = dict.fromkeys(self.gain, sum(self.gain.values()) / len(self.gain))
        self.strength = dict.fromkeys(self.strength, 1.2)


def main(learners: int) -> None:
    kinds: list[tuple[str, Callable[[Pool, random.Random], Learner], int]] = [
        ("as stated", Learner, learners),
        ("who forget nothing", Unforgetting, learners // 4),
        ("to whom all is alike", Even, learners // 4),
    ]
    for name, make, count in kinds:
        found = items(range(_FIRST, _FIRST + max(2, count)), make)
        print(
            f"{max(2, count)} learners {name}; mean items (symbols) until 95 % of whole reports are"
            " right:"
        )
        for way in WAYS:
            print(f"  {way:12} {mean(found[way]):7.1f} ({mean(found[way], 1):.0f})")
        for way in WAYS[1:]:
            told = [
                f"{one:.1%} ({low:.1%} … {high:.1%})"
                for one, low, high in (saving(found, way, what) for what in (0, 1))
            ]
            print(f"  saved against {way}: items {told[0]}, symbols {told[1]}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
