"""Simulated races, and how often the bands of the forecast hold what came. Run it for the table and
the figure:

    python tests/race/simulated.py --races 2000 --figure coverage.svg

A race is driven by the same kind of process as the filter assumes (a habit that drifts, single laps
that scatter), but with numpy and without the filter's code; the dash rounds what it shows to the
code, 10 % of the reports are missing and 2 % are wrong.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy

from codec import load_book
from codec.race import Event, follow, outlook, parse_event
from codec.sheet import Entry
from grammar.fields import Quantity

ROOT = Path(__file__).parents[2]
LOW, HIGH = 0.1, 0.9  # a value is in the 80 % band where so much of the probability lies below it
WIDTH = 2 * 1.2816  # standard deviations between the two, of a normal distribution

EVENT = """
[distance]
laps = 30

[energy]
usable = 42.4
reserve = 0.4
spread = 0.03
drift = 0.006
first = 0.04
{energy}

[plan]
per_lap = 1.4

[reports.energy]
says = "delta"

[temperatures.battery]
start = 30
start_spread = 3
rise = 1.2
rise_spread = 0.4
spread = 0.3
drift = 0.05
settles = 0.97
"""


@dataclass
class Truth:
    """What one race did: energy used and battery temperature at the end of each lap (index 0: the
    start).
    """

    used: Any
    battery: Any


@dataclass
class Case:
    """A way to simulate: the event the filter has, and how the truth differs from it."""

    name: str
    energy: str = ""
    missing: float = 0.1
    wrong: float = 0.02
    spread: float = 1.0
    drift: float = 1.0


CASES = (
    Case("as the event file says"),
    Case("no report missing, none wrong", missing=0.0, wrong=0.0),
    Case("30 % missing, 5 % wrong, 2 % expected", missing=0.3, wrong=0.05),
    Case("laps scatter half as much as expected", spread=0.5),
    Case("laps scatter twice as much as expected", spread=2.0),
    Case("the habit drifts twice as much as expected", drift=2.0),
)


@dataclass
class Counts:
    """Of each lap: how many races had the truth in the band of the margin at the flag, of the
    energy now, of the temperature now.
    """

    races: int = 0
    margin: dict[int, int] = field(default_factory=dict)
    used: dict[int, int] = field(default_factory=dict)
    battery: dict[int, int] = field(default_factory=dict)
    width: dict[int, float] = field(default_factory=dict)
    reach: int = 0
    reached: int = 0


def event_of(case: Case, book: Any) -> Event:
    """Return the event of a case."""
    return parse_event(EVENT.format(energy=case.energy), book)


def drive(event: Event, case: Case, random: Any) -> Truth:
    """Return what a race does."""
    spec, battery = event.spec.energy, event.spec.temperatures["battery"]
    used, temperature = (
        [0.0],
        [random.normal(float(battery.start or 0), float(battery.start_spread))],
    )
    habit, rise = (
        random.normal(0, float(spec.first)),
        random.normal(float(battery.rise), float(battery.rise_spread)),
    )
    for lap in range(event.laps):
        used.append(
            used[-1]
            + float(event.plan[lap])
            + habit
            + random.normal(0, float(spec.spread) * case.spread)
        )
        habit += random.normal(0, float(spec.drift) * case.drift)
        temperature.append(temperature[-1] + rise + random.normal(0, float(battery.spread)))
        rise = float(battery.settles) * rise + random.normal(0, float(battery.drift))
    return Truth(numpy.array(used), numpy.array(temperature))


def reported(event: Event, case: Case, truth: Truth, random: Any) -> list[Entry]:
    """Return the reports that are heard: rounded by the code, some missing, some wrong in one digit
    or altogether.
    """
    book, found = event.book, []
    for lap in range(1, event.laps + 1):
        planned = float(sum(event.plan[:lap]))
        values: dict[str, Any] = {}
        for name, value in (("energy", planned - truth.used[lap]), ("battery", truth.battery[lap])):
            quantity = book.fields[name]
            assert isinstance(quantity, Quantity)
            level = quantity.level(Decimal(repr(float(value)))).level
            values[name] = quantity.value(
                _misread(level, quantity.size, random) if random.random() < case.wrong else level
            )
        if random.random() >= case.missing:
            found.append(Entry(kind="report", message="lap", lap=lap, values=values, seq=lap))
    return found


def _misread(level: int, size: int, random: Any) -> int:
    """Return another level: one digit of it wrong, or any."""
    while True:
        digits = list(f"{level:02d}")
        digits[int(random.integers(len(digits)))] = str(int(random.integers(10)))
        other = int("".join(digits)) if random.random() < 0.5 else int(random.integers(size))
        if other != level and other < size:
            return other


def coverage(case: Case, races: int, seed: int) -> Counts:
    """Return how often the 80 % bands held what came."""
    event = event_of(case, load_book(ROOT / "examples" / "race" / "race.toml"))
    random, counts = numpy.random.default_rng(seed), Counts()
    for _ in range(races):
        truth = drive(event, case, random)
        race = follow(event, reported(event, case, truth, random), history=True)
        counts.races += 1
        _count(counts, event, race, truth)
    return counts


def _count(counts: Counts, event: Event, race: Any, truth: Truth) -> None:
    budget = float(event.spec.energy.usable - event.spec.energy.reserve)
    for look in map(outlook, race.history[1 : event.laps]):
        held: Mapping[str, tuple[Any, float, dict[int, int]]] = {
            "margin": (look.distance.margin, budget - truth.used[-1], counts.margin),
            "used": (
                look.left,
                float(event.spec.energy.usable) - truth.used[look.lap],
                counts.used,
            ),
            "battery": (
                look.temperatures["battery"],
                truth.battery[look.lap],
                counts.battery,
            ),
        }
        for name, (spread, value, hits) in held.items():
            hits[look.lap] = hits.get(look.lap, 0) + int(LOW <= spread.below(value) <= HIGH)
            if name == "margin":
                counts.width[look.lap] = counts.width.get(look.lap, 0.0) + WIDTH * spread.deviation
    middle = outlook(race.history[min(event.laps // 3, len(race.history) - 1)])
    reaching, limit = middle.reaching["battery"], float(event.temperatures["battery"].limit)
    first = next(
        (lap for lap in range(middle.lap, event.laps + 1) if truth.battery[lap] >= limit),
        event.laps + 1,
    )
    early, late = reaching.quantile(0.1), reaching.quantile(0.9)
    counts.reach += 1
    counts.reached += int((early or event.laps + 1) <= first <= (late or event.laps + 1))


def rows(counts: Counts) -> list[tuple[int, float, float, float, float]]:
    """Return, for each lap, the shares of races held by the bands of margin, energy and
    temperature, and the first one's mean width.
    """
    margin, used, battery, width = counts.margin, counts.used, counts.battery, counts.width
    races = counts.races
    return [
        (lap, margin[lap] / races, used[lap] / races, battery[lap] / races, width[lap] / races)
        for lap in sorted(margin)
    ]


def overall(hits: Mapping[int, int], races: int) -> float:
    """Return the share over all laps."""
    return sum(hits.values()) / (races * len(hits))


def main() -> None:
    """Print the table, draw the figure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--races", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--figure")
    args = parser.parse_args()
    found = []
    print(f"share of {args.races} races in which the 80 % band held what came, all laps together")
    print(f"{'':45}{'margin':>8}{'energy':>8}{'battery':>8}{'limit':>8}")
    for case in CASES:
        counts = coverage(case, args.races, args.seed)
        found.append((case, counts))
        shares = [
            overall(hits, counts.races) for hits in (counts.margin, counts.used, counts.battery)
        ] + [counts.reached / counts.reach]
        print(f"{case.name:45}" + "".join(f"{share:8.1%}" for share in shares), flush=True)
    print(f"\n{CASES[0].name}, lap by lap")
    print(f"{'lap':>4}{'margin':>8}{'energy':>8}{'battery':>8}{'width kWh':>11}")
    for lap, *shares, width in rows(found[0][1]):
        print(f"{lap:4}" + "".join(f"{share:8.1%}" for share in shares) + f"{width:11.2f}")
    if args.figure:
        _figure(found, args.figure)


def _figure(found: list[tuple[Case, Counts]], path: str) -> None:
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(figsize=(8, 4.5), layout="constrained")
    axes.axhspan(76, 84, color="0.9", label="76 … 84 %")
    for case, counts in found:
        laps = sorted(counts.margin)
        axes.plot(
            laps,
            [100 * counts.margin[lap] / counts.races for lap in laps],
            label=case.name,
            linewidth=2.2 if case is CASES[0] else 1,
        )
    axes.set(
        xlabel="lap of the forecast",
        ylabel="margin at the flag in the 80 % band, % of races",
        ylim=(30, 100),
    )
    axes.legend(fontsize=8, loc="lower left")
    figure.savefig(path)


if __name__ == "__main__":
    main()
