"""Ways on the wheel: how long they take to find, and what sharing touches saves against each
change made by itself, on the example's wheel, on one of 12 controls and 40 settings, and on one
whose 103,680 states all hang together.

    PYTHONPATH=.:tests python tests/bench/bench_wheel.py
"""

from __future__ import annotations

import random
import statistics
import time
from pathlib import Path

from wheels.entangled import entangled_wheel
from wheels.large import large_wheel

from codec.wheel import Wheel, cheapest, load_wheel, wheel_figures
from codec.wheel.design import arrangements

EXAMPLE = Path(__file__).parents[2] / "examples" / "event" / "wheel.toml"
RACES, SEED = 20, 7


def bench(wheel: Wheel) -> None:
    """Print the figures of a wheel."""
    begin = time.process_time()
    figures = wheel_figures(wheel)
    took = time.process_time() - begin
    print(f"{wheel.title}: {figures.states:,} states, counted in {took:.2f} s")
    chance = random.Random(SEED)
    for count in (1, 2, 3):
        first, again, shared, alone = [], [], [0.0] * 3, [0.0] * 3
        for _ in range(RACES):
            names = chance.sample(list(wheel.spec.settings), count)
            wanted = {
                name: wheel.shown(name, chance.randrange(wheel.spec.settings[name].count))
                for name in names
            }
            for times in (first, again):
                begin = time.process_time()
                way = cheapest(wheel, wheel.start, wanted)
                times.append(1000 * (time.process_time() - begin))
            singles = [cheapest(wheel, wheel.start, {name: at}) for name, at in wanted.items()]
            for number, key in enumerate(("count", "seconds", "metres")):
                shared[number] += getattr(way, key) / RACES
                alone[number] += sum(getattr(one, key) for one in singles) / RACES
        print(
            f"  {count} at once: first {statistics.median(first):.1f} ms (worst {max(first):.0f}),"
            f" again {statistics.median(again):.1f} ms (worst {max(again):.0f});"
            f" touches {alone[0]:.1f} → {shared[0]:.1f}, seconds {alone[1]:.1f} → {shared[1]:.1f},"
            f" metres {alone[2]:.0f} → {shared[2]:.0f}"
        )


def bench_design(wheel: Wheel) -> None:
    """Print what the changes of a race take on the map as written and on the maps designed."""
    begin = time.process_time()
    for one in arrangements(wheel):
        cost = one.cost
        gap = "" if one.gap is None else f", at most {one.gap:.1%} above the bound"
        print(
            f"  {one.moved} moved: {cost.touches:.1f} touches, {cost.seconds:.1f} s,"
            f" {cost.metres:.0f} m looking down, slips {cost.harm:.1f} s{gap}"
        )
    print(f"  found in {time.process_time() - begin:.0f} s")


if __name__ == "__main__":
    for one in (load_wheel(EXAMPLE), large_wheel(), entangled_wheel()):
        bench(one)
        if one.spec.changes:
            bench_design(one)
