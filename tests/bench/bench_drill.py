"""How many questions simulated learners need until they read 90 % and 95 % of whole reports right:
chosen by us, and by chance. The families are of other forms than what chooses; ``as stated`` is the
learner at whom the choice was tried out while it was made.

python tests/bench/bench_drill.py [LEARNERS] [FIRST SEED]
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from drill.courses import GOALS, WAYS, Make, items, mean, saving
from drill.families import FAMILIES
from drill.learner import Learner


def main(learners: int, first: int) -> None:
    kinds: dict[str, Make] = {**FAMILIES, "as stated": Learner}
    for name, make in kinds.items():
        found = items(range(first, first + learners), make)
        print(f"{name}: {learners} learners, seeds from {first}; mean items (symbols):")
        for goal in GOALS:
            spent = ", ".join(
                f"{way} {mean(found[way], goal):.0f} ({mean(found[way], goal, 'symbols'):.0f})"
                for way in WAYS
            )
            print(f"  until {goal:.0%} of whole reports are right: {spent}")
            for way in WAYS[1:]:
                told = [
                    f"{what} {one:.1%} ({low:.1%} … {high:.1%})"
                    for what in ("items", "symbols")
                    for one, low, high in [saving(found, way, goal, what)]
                ]
                print(f"    saved against {way}: {', '.join(told)}", flush=True)


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 40,
        int(sys.argv[2]) if len(sys.argv) > 2 else 7000,
    )
