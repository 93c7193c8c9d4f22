"""The map designed: which setting stands in whose place, so that the changes of a race take the
least time, touches or looks, and slips do the least harm.

The controls, modes and menus stay; the settings exchange their places, each place with everything
that leads there. It is a quadratic assignment: what is changed one after the other should lie near,
what a slip would move instead should be harmless. Costs come from the ways of the wheel itself; the
figures told are those of whole races, made anew on each map.
"""

from __future__ import annotations

import functools
import heapq
import itertools
import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from codec.wheel.compiling import compiled_wheel
from codec.wheel.map import DoesSpec, WheelMapSpec
from codec.wheel.proof import prove
from codec.wheel.slips import expected_harm, slips
from codec.wheel.way import Measure, Way, cheapest
from codec.wheel.wheel import ALONE, Wheel, WheelError, WheelState
from grammar.design.quadratic import QuadraticAssignment
from grammar.design.write import key_lines, key_text, value_text
from grammar.errors import Problem, visible

_NEVER = 1e6  # the price of what may not be
_LESS = 0.998  # of the cost: less gained than that is not worth one more to relearn
_RELEARNT = 1e-6  # of a setting that moves for nothing
_MOST_CHANGES = 250  # of all races together that a figure is made of
_EXACT = 10  # settings that may move, up to which the search is made to its end
_STARTS, _ROUNDS, _NODES = 4, 4, 20_000
_RACES, _FEW_RACES, _TRIED, _EXCHANGED = 16, 3, 8, 3  # that the figures are made of


@dataclass(frozen=True, slots=True)
class RaceCost:
    """What the changes of a race take, on average: touches, seconds, metres looked down, and the
    harm of slips in seconds of radio.
    """

    touches: float
    seconds: float
    metres: float
    harm: float

    def of(self, measure: Measure) -> float:
        """Return what a measure asks for."""
        return {"touches": self.touches, "seconds": self.seconds, "metres": self.metres}[measure]

    def total(self, wheel: Wheel, measure: Measure) -> float:
        """Return it with the harm, in the unit of the measure."""
        return self.of(measure) + harm_price(wheel, measure) * self.harm

    def as_dict(self) -> dict[str, float]:
        """Return the facts for programs."""
        return {
            "touches": round(self.touches, 3),
            "seconds": round(self.seconds, 3),
            "metres": round(self.metres, 2),
            "harm_s": round(self.harm, 3),
        }


@dataclass(frozen=True, slots=True)
class Arrangement:
    """A map: the wheel with its settings in other places. ``places`` tells of each setting that
    moved whose place it takes; ``cost`` what the changes of a race take on it.

    ``gap`` is how far above the proven bound the assignment may be, as a share, None where only the
    best of so many moved was asked for and not proven.
    """

    wheel: Wheel
    places: Mapping[str, str]
    cost: RaceCost
    gap: float | None

    @property
    def moved(self) -> int:
        """How many settings are to be found anew."""
        return len(self.places)


def harm_price(wheel: Wheel, measure: Measure) -> float:
    """Return what a second of radio is worth in the unit of a measure: a second, a touch, or the
    metres that the car goes in it.
    """
    return wheel.metres_per_second if measure == "metres" else 1.0


def arrangements(
    wheel: Wheel, measure: Measure = "seconds", *, most_moved: int | None = None
) -> list[Arrangement]:
    """Return the wheel as it is, then the best maps with more and more settings moved, each cheaper
    than those before; the last is the best there is, or the best with ``most_moved``.

    Raises WheelError where the wheel file tells no changes, or nothing may move, and CodeError
    where scipy is missing.
    """
    spec = wheel.spec
    if not spec.changes:
        raise WheelError(
            "the wheel file does not tell what is changed in a race",
            kind="no-changes",
            hint='add [[changes]], such as: settings = ["brake balance"], often = 6',
        )
    names = list(spec.settings)
    movable = len(names) - len(set(spec.design.stays))
    most = movable if most_moved is None else min(most_moved, movable)
    found = [Arrangement(wheel, {}, race_cost(wheel, measure), None)]
    if most < 2:
        return found
    costs = _Costs(wheel, measure)
    nodes = _NODES if movable <= _EXACT else 0
    whole = tuple(range(len(names)))
    for _ in range(_ROUNDS):  # where the hands are left depends on what stands where
        problem = costs.problem(whole)
        best = problem.best(starts=_STARTS, most_nodes=nodes)
        if best.places == whole:
            break
        whole = best.places
    for moved in _numbers_moved(most):
        last = moved == most
        anything = last and most == movable  # that was looked for above
        some = best if anything else problem.best(most_moved=moved, most_nodes=nodes)
        at = list(some.places)
        if nodes and (last or moved <= _EXCHANGED):
            at = _exchanged(wheel, problem, at, moved, measure)
        places = {
            name: names[place]
            for name, place in zip(names, at, strict=True)
            if name != names[place]
        }
        there = rearranged(wheel, places)
        gap = some.gap if nodes or anything else None
        found.append(Arrangement(there, places, race_cost(there, measure), gap))
    return _cheaper_and_cheaper(found, measure)


def _numbers_moved(most: int) -> Iterator[int]:
    """Yield how many settings may move, map by map: the more there are, the fewer are tried."""
    moved = 2
    while moved < most:
        yield moved
        moved += max(1, moved // 2)
    yield most


def _cheaper_and_cheaper(found: Sequence[Arrangement], measure: Measure) -> list[Arrangement]:
    """Return the arrangements than which none costs less with no more settings moved."""
    kept: list[Arrangement] = []
    by_moves = sorted(found, key=lambda one: (one.moved, one.cost.total(one.wheel, measure)))
    for one in by_moves:
        if not kept or one.cost.total(one.wheel, measure) < _LESS * kept[-1].cost.total(
            kept[-1].wheel, measure
        ):
            kept.append(one)
    return kept


def _exchanged(
    wheel: Wheel, problem: QuadraticAssignment, at: list[int], most: int, measure: Measure
) -> list[int]:
    """Exchange two settings as long as whole races cost less: the sums of pairs know nothing of
    what is left from the change before the last. Tried are those that cost least by the sums.
    """
    names = list(wheel.spec.settings)

    def cost(places: Sequence[int]) -> float:
        stands = {name: names[place] for name, place in zip(names, places, strict=True)}
        there = rearranged(wheel, stands)
        return race_cost(there, measure, races=_FEW_RACES).total(wheel, measure)

    least = cost(at)
    for _ in range(_ROUNDS):
        tried = [_swapped(at, *two) for two in itertools.combinations(range(len(at)), 2)]
        tried = [one for one in tried if sum(p != i for i, p in enumerate(one)) <= most]
        likely = heapq.nsmallest(_TRIED, tried, key=problem.cost)
        found = min(
            ((cost(one), one) for one in likely if problem.cost(one) < _NEVER), default=None
        )
        if found is None or found[0] >= least:
            break
        least, at = found
    return at


def _swapped(at: Sequence[int], one: int, other: int) -> list[int]:
    found = list(at)
    found[one], found[other] = at[other], at[one]
    return found


def rearranged(wheel: Wheel, places: Mapping[str, str]) -> Wheel:
    """Return the wheel with each setting in the place of another: where that is chosen, stepped and
    asked for, it is now; proven. Raises WheelError where the map does not hold.
    """
    stands = {place: name for name, place in places.items()}
    spec = _renamed(wheel.spec, stands)
    problems = list[Problem]()
    made = compiled_wheel(spec, wheel.name, problems.append)
    problems += prove(made) if not problems else []
    if problems:
        raise WheelError(problems[0].message, kind="map", hint=problems[0].hint)
    return made


def _renamed(spec: WheelMapSpec, stands: Mapping[str, str]) -> WheelMapSpec:
    """Return a wheel file in which the places of some settings have other settings."""
    choosing = {rule.chosen_by for rule in spec.does if rule.chosen_by}

    def named(names: list[str]) -> list[str]:
        return [stands.get(name, name) for name in names]

    def condition(key: str, value: str | list[str]) -> str | list[str]:
        if key not in choosing:
            return value
        return stands.get(value, value) if isinstance(value, str) else named(value)

    def rule(one: DoesSpec) -> DoesSpec:
        when = {key: condition(key, value) for key, value in one.when.items()}
        return one.model_copy(update={"steps": stands.get(one.steps, one.steps), "when": when})

    def listed(parts: Mapping[str, Any], key: str) -> dict[str, Any]:
        return {
            name: one.model_copy(
                update={
                    key: named(getattr(one, key)),
                    "start": stands.get(one.start, one.start),
                }
            )
            if name in choosing
            else one
            for name, one in parts.items()
        }

    return spec.model_copy(
        update={
            "controls": listed(spec.controls, "positions"),
            "cursors": listed(spec.cursors, "items"),
            "does": [rule(one) for one in spec.does],
        }
    )


def found_anew(
    wheel: Wheel, arrangement: Arrangement, measure: Measure = "seconds"
) -> dict[str, tuple[Way, Way]]:
    """Return of each setting that moved the way that changes it by one position from the start: on
    the wheel as it is, and on the new map.
    """
    return {
        name: (_one_step(wheel, name, measure), _one_step(arrangement.wheel, name, measure))
        for name in arrangement.places
    }


def wheel_text(arrangement: Arrangement) -> str:
    """Return the TOML text of a map's wheel file, without the comments of the file it comes of."""
    told = arrangement.wheel.spec.model_dump(exclude_defaults=True)
    head = f"The map of {arrangement.wheel.title!r} with {arrangement.moved} settings moved."
    lines = [f"# {visible(head)}", ""]
    lines += [f"{key} = {value_text(value)}" for key, value in told.items() if _plain(value)]
    for part, value in told.items():
        if isinstance(value, list):
            tables = [(f"[[{part}]]", one) for one in value]
        elif part in ("slips", "design"):
            tables = [(f"[{part}]", value)]
        elif isinstance(value, dict):
            tables = [(f"[{part}.{key_text(name)}]", one) for name, one in value.items()]
        else:
            continue
        for heading, entries in tables:
            lines += ["", heading]
            lines += key_lines(entries)
    return "\n".join(lines) + "\n"


def _plain(value: object) -> bool:
    return not isinstance(value, list | dict)


def race_cost(wheel: Wheel, measure: Measure = "seconds", *, races: int = _RACES) -> RaceCost:
    """Return what the changes of a race take on a wheel, by ways found for races drawn from what
    the wheel file tells of them; the same races for every map.
    """
    found = [0.0] * 4
    made = sum(float(change.often) for change in wheel.spec.changes)
    races = max(2, min(races, round(_MOST_CHANGES / made)))
    for race in range(races):
        state = wheel.start
        for wanted in _race(wheel, random.Random(race)):  # noqa: S311
            way = cheapest(wheel, state, wanted, measure)
            state = wheel.at_rest(way.ends)
            for number, part in enumerate(
                (way.count, way.seconds, way.metres, expected_harm(slips(way)))
            ):
                found[number] += part / races
    return RaceCost(*found)


def _race(wheel: Wheel, draw: random.Random) -> Iterator[dict[str, int]]:
    """Yield the changes of a race in turn, each as the settings wanted."""
    spec = wheel.spec
    at = {name: wheel.number(name, one.start) for name, one in spec.settings.items()}
    drawn = []
    for change in spec.changes:
        times = int(change.often) + (draw.random() < float(change.often) % 1)
        drawn += [change] * times
    draw.shuffle(drawn)
    for change in drawn:
        wanted = {}
        for name in change.settings:
            at[name] = wheel.moved(name, at[name], change.steps * draw.choice((1, -1)))
            wanted[name] = wheel.shown(name, at[name])
        yield wanted


def _one_step(wheel: Wheel, name: str, measure: Measure, begins: WheelState | None = None) -> Way:
    """Return the way that changes a setting by one position."""
    state = begins or wheel.start
    wanted = wheel.shown(name, wheel.moved(name, state.settings[name], 1))
    return cheapest(wheel, state, {name: wanted}, measure)


class _Costs:
    """What one setting in the place of another costs, from the ways of the wheel as it is."""

    def __init__(self, wheel: Wheel, measure: Measure) -> None:
        self._wheel, self._names, self._measure = wheel, list(wheel.spec.settings), measure

    def problem(self, places: Sequence[int]) -> QuadraticAssignment:
        """Return the assignment of the settings to each other's places, where the rotaries stand
        for most of the time as they do with the settings in these ``places``.
        """
        names, spec = self._names, self._wheel.spec
        size, number = len(names), {name: place for place, name in enumerate(names)}
        later, at_once, moved, own, step = self._distances()
        first, last, often, steps = ([0.0] * size for _ in range(4))
        together = _square(size)
        for change in spec.changes:
            told, share = [number[name] for name in change.settings], float(change.often)
            for one in told:
                often[one] += share
                steps[one] += share * (change.steps - 1)
            first[told[0]] += share
            last[told[-1]] += share
            for one, other in itertools.pairwise(told):
                together[one][other] += share
        total = sum(last)
        apart = [[one * other / total for other in first] for one in last]
        later = self._left(later, [last[places.index(place)] for place in range(size)])
        harm = harm_price(self._wheel, self._measure)
        harms = [float(spec.settings[name].harm) for name in names]
        mistaken = [[often[i] * harms[k] * harm for k in range(size)] for i in range(size)]
        linear = [
            [
                steps[i] * step[p]
                + often[i] * harms[i] * own[p] * harm
                + (_RELEARNT if i != p else 0.0)
                + (0.0 if self._may(names[i], names[p]) else _NEVER)
                for p in range(size)
            ]
            for i in range(size)
        ]
        return QuadraticAssignment(linear, [(apart, later), (together, at_once), (mistaken, moved)])

    def _left(self, later: list[list[float]], often: Sequence[float]) -> list[list[float]]:
        """Return what a change costs behind another: behind one that turns no rotary they stand as
        those before left them.
        """
        turning = [place for place in range(len(often)) if place not in self._keeping]
        total = sum(often[place] for place in turning)
        if not total:
            return later
        usual = [
            sum(often[place] * later[place][there] for place in turning) / total
            for there in range(len(often))
        ]
        return [usual if place in self._keeping else row for place, row in enumerate(later)]

    @functools.cache  # noqa: B019 - one for each design, and gone with it
    def _distances(
        self,
    ) -> tuple[list[list[float]], list[list[float]], list[list[float]], list[float], list[float]]:
        """Return, by place: what a change costs behind another, later and at the same go; how often
        a slip moves what is there instead, by how much, and what was meant; and a further step.
        """
        wheel, names, size = self._wheel, self._names, len(self._names)
        later, at_once, moved = _square(size), _square(size), _square(size)
        own, step = [0.0] * size, [0.0] * size
        self._direct = dict.fromkeys(names, True)
        ends = [self._one_step(wheel.start, name) for name in names]
        rotaries = [n for n, place in enumerate(wheel.places) if place.kind == "rotary"]
        elsewhere = self._turned(rotaries)
        after = [self._one_step(elsewhere, name).ends.places for name in names]
        self._keeping = {
            p
            for p, places in enumerate(after)
            if all(places[n] == elsewhere.places[n] for n in rotaries)
        }
        for p, name in enumerate(names):
            step[p] = self._step(name)
            for q, before in enumerate(ends):
                rested = wheel.at_rest(before.ends)
                way = self._one_step(rested, name)
                later[q][p] = self._paid(way)
                self._direct[name] = self._direct[name] and self._only_steps(way, name)
                if q != p:
                    going = self._one_step(before.ends, name)
                    at_once[q][p] = self._paid(going) - self._found_already(before, going)
                for slip in slips(way):
                    for other, (at, meant) in slip.wrong.items():
                        off = abs(at - meant) // wheel.spec.settings[other].step
                        if other == name:
                            own[p] += slip.chance * off / size
                        else:
                            moved[p][names.index(other)] += slip.chance * off / size
        return later, at_once, moved, own, step

    def _turned(self, rotaries: Sequence[int]) -> WheelState:
        """Return the start with every rotary at another position."""
        start = self._wheel.start
        places = list(start.places)
        for number in rotaries:
            places[number] = (places[number] + 1) % len(self._wheel.places[number].values)
        return WheelState(tuple(places), start.settings)

    def _one_step(self, state: WheelState, name: str) -> Way:
        return _one_step(self._wheel, name, self._measure, state)

    def _paid(self, way: Way) -> float:
        return {"seconds": way.seconds, "touches": float(way.count), "metres": way.metres}[
            self._measure
        ]

    def _found_already(self, before: Way, way: Way) -> float:
        """Return what is saved where the hand is at the control already."""
        touches, wheel = [*before.touches[-1:], *way.touches[:1]], self._wheel
        if len(touches) < 2 or ALONE in touches:
            return 0.0
        one, other = (wheel.touches[wheel.touch(name)].control for name in touches)
        if one != other:
            return 0.0
        control = wheel.spec.controls[one]
        look = float(control.look) * wheel.metres_per_second
        return {"seconds": float(control.find), "touches": 0.0, "metres": look}[self._measure]

    def _stepping(self, name: str) -> Iterator[float]:
        for touch, meanings in zip(self._wheel.touches, self._wheel.meanings, strict=True):
            if any(one.setting == name and one.to is None for one in meanings):
                yield touch.seconds

    def _step(self, name: str) -> float:
        seconds = min(self._stepping(name), default=0.0)
        return {"seconds": seconds, "touches": 1.0, "metres": 0.0}[self._measure]

    def _only_steps(self, way: Way, name: str) -> bool:
        wheel, state = self._wheel, way.begins
        for touch in way.touches:
            if touch == ALONE:
                return False
            state, meaning = wheel.touched(state, wheel.touch(touch))
            if meaning is None or meaning.setting != name:
                return False
        return True

    def _may(self, setting: str, place: str) -> bool:
        """Tell whether a setting may stand in the place of another."""
        spec = self._wheel.spec
        if setting == place:
            return True
        if setting in spec.design.stays or place in spec.design.stays:
            return False
        if setting in spec.design.at_once and not self._direct[place]:
            return False
        one = spec.settings[setting]
        puts = [rule.to for rule in spec.does if rule.to is not None and rule.steps == place]
        return all(one.low <= to <= one.high and not (to - one.low) % one.step for to in puts)


def _square(size: int) -> list[list[float]]:
    return [[0.0] * size for _ in range(size)]
