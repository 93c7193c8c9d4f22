"""The cheapest touches from where a wheel stands to the settings wanted: A* over what matters.

What matters are the places that decide the touches that move what is wanted, and so on back; the
others are left out, which changes no way. Of a setting that every touch moves without moving a
place, and that the same touches move wherever it can be moved, all steps are made at one go. The
bound of what is still to come is the sum of each thing's own least cost, so that the way found is
the cheapest (tests hold it against trying everything).
"""

from __future__ import annotations

import functools
import heapq
import itertools
import math
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

from codec.wheel.wheel import (
    ALONE,
    Places,
    TouchMeaning,
    Wheel,
    WheelError,
    WheelState,
    touches_in_words,
)

Measure = Literal["seconds", "touches", "metres"]
MEASURES: tuple[Measure, ...] = ("seconds", "touches", "metres")
# what a millisecond, a touch and a millisecond of looking weigh: first what is measured, then the
# others, so that of ways alike in it the better one is found
_WEIGHTS: Mapping[Measure, tuple[int, int, int]] = {
    "seconds": (1_000_000, 1000, 1),
    "touches": (1, 10_000_000, 1),
    "metres": (10, 10_000, 1_000_000),
}
_MOST_OPENED = 400_000  # states, before a way counts as not found
_MOST_CORE = 2000  # states
_NO_HAND = -1
_FAR = 10**15


@dataclass(frozen=True, slots=True)
class Way:
    """Touches from one state of the wheel to another, and what they cost: ``seconds``, and
    ``looked``, the seconds of it that the eyes are down.
    """

    wheel: Wheel
    begins: WheelState
    ends: WheelState
    touches: tuple[str, ...]
    seconds: float
    looked: float

    @property
    def count(self) -> int:
        """How many touches there are; waiting is none."""
        return sum(touch != ALONE for touch in self.touches)

    @property
    def metres(self) -> float:
        """How far the car goes while the eyes are down."""
        return self.looked * self.wheel.metres_per_second

    def __str__(self) -> str:
        return touches_in_words(self.touches)

    @property
    def told(self) -> str:
        """The touches and what they cost, in words."""
        looked = f", {self.metres:.0f} m looking down" if self.looked else ""
        return f"{self} ({self.seconds:.1f} s{looked})"

    def as_dict(self) -> dict[str, object]:
        """Return the facts for programs."""
        return {
            "touches": list(self.touches),
            "count": self.count,
            "seconds": round(self.seconds, 3),
            "looked_s": round(self.looked, 3),
            "metres": round(self.metres, 1),
        }


def priced(wheel: Wheel, begins: WheelState, touches: Iterable[str]) -> Way:
    """Return a way made of touches, with what it costs and where it ends; raises WheelError for a
    touch that is none.
    """
    state, hand, seconds, looked, made = begins, "", 0.0, 0.0, list[str]()
    for name in touches:
        made.append(name)
        if name == ALONE:
            if state.places[0] not in wheel.alone:
                raise WheelError("the mode stays however long it is left alone", kind="touch")
            pause = wheel.alone[state.places[0]][0]
            state, seconds = wheel.left_alone(state, pause), seconds + pause
            continue
        number = wheel.touch(name)
        touch = wheel.touches[number]
        control = wheel.spec.controls[touch.control]
        if touch.control != hand:
            hand, seconds = touch.control, seconds + float(control.find)
            looked += float(control.look)
        seconds += touch.seconds
        state, _ = wheel.touched(state, number)
    return Way(wheel, begins, state, tuple(made), seconds, looked)


def cheapest(
    wheel: Wheel,
    begins: WheelState,
    wanted: Mapping[str, int],
    measure: Measure = "seconds",
    *,
    places: Mapping[int, Collection[int]] | None = None,
    careless: bool = False,
) -> Way:
    """Return the cheapest way to the ``wanted`` settings (by name, as the dash shows them), and to
    ``places`` (by number, where each may stand) where asked for. No other setting is touched, and
    nothing else done, but where it is to be ``careless`` of that; nobody waits for a mode to be
    left, but where no other way leads there.

    Raises WheelError for a setting or position that is not there, and where there is no way.
    """
    goals = {
        (name := wheel.setting(told)): wheel.number(name, shown) for told, shown in wanted.items()
    }
    meant = tuple(sorted((place, tuple(sorted(at))) for place, at in (places or {}).items()))
    found = None
    for waits in (False, True) if wheel.alone else (False,):
        kind = _Kind(measure, careless, waits)
        search = _search(wheel, tuple(sorted(goals)), meant, kind)
        found = search.way(begins, goals)
        if found is not None:
            break
    if found is None:
        told = " and ".join(f"{name} {wheel.shown(name, at)}" for name, at in goals.items())
        raise WheelError(
            f"no touches lead to {told or 'that state'} from {wheel.in_words(begins.places)}",
            kind="no-way",
            hint="the wheel's check tells what can't be reached",
        )
    return priced(wheel, begins, found)


@dataclass(frozen=True, slots=True)
class _Kind:
    measure: Measure
    careless: bool
    waits: bool


_KEPT: dict[object, _Search] = {}
_MOST_KEPT = 64


def _search(
    wheel: Wheel,
    wanted: tuple[str, ...],
    meant: tuple[tuple[int, tuple[int, ...]], ...],
    kind: _Kind,
) -> _Search:
    """Return the search for some settings, kept with what it learned of the wheel."""
    key = (id(wheel), wanted, meant, kind)
    kept = _KEPT.get(key)
    if kept is None or kept.wheel is not wheel:
        while len(_KEPT) >= _MOST_KEPT:
            del _KEPT[next(iter(_KEPT))]
        kept = _KEPT[key] = _Search(wheel, wanted, meant, kind)
    return kept


Node = tuple[Places, int, tuple[int, ...], tuple[int, ...]]  # places, hand, settings, drafts
_Columns = tuple[tuple[int, frozenset[int]], ...]  # what has to hold, by column
_Bound = tuple[dict[tuple[int, ...], int] | None, list[tuple[int, list[int]]]]
_Steps = tuple[int, tuple[str, ...], int]  # cost, touches, last control


@dataclass(frozen=True, slots=True)
class _Effect:
    """What a touch does as far as it matters: where the places lead, which wanted setting it moves
    and how, and whether drafts count.
    """

    places: Places
    setting: int = -1
    meaning: TouchMeaning | None = None
    confirms: bool = False
    run: int = -1  # the column of the place that it moves, where it does nothing else


@dataclass(frozen=True, slots=True)
class _Errands:
    """Settings each of which is moved where a place stands at positions of its own, in ``there``:
    between two of them a hand moves the place, which takes ``move`` to find, and goes back to them,
    which takes ``step``.
    """

    column: int
    there: Mapping[int, frozenset[int]]
    movers: frozenset[int]
    move: int
    step: int

    def left(self, open_ones: Collection[int], at: int, hand: int, stepping: list[set[int]]) -> int:
        """Return the least that is still to be paid for finding controls."""
        left = [number for number in self.there if number in open_ones]
        if not left:
            return 0
        here = next((number for number in left if at in self.there[number]), None)
        moves = len(left) - (here is not None)
        found = moves * self.move - (self.move if moves and hand in self.movers else 0)
        ready = here is not None and hand in stepping[here]
        return found + (len(left) - ready) * self.step


@dataclass(eq=False)
class _Search:
    wheel: Wheel
    wanted: tuple[str, ...]
    meant: tuple[tuple[int, tuple[int, ...]], ...]
    kind: _Kind
    _effects: dict[Places, list[tuple[int, _Effect]]] = field(default_factory=dict)
    _told: dict[tuple[int, ...], tuple[bool, TouchMeaning | None]] = field(default_factory=dict)
    _bounds: dict[Places, list[int]] = field(default_factory=dict)
    _far: dict[tuple[int, frozenset[int]], list[int]] = field(default_factory=dict)
    _stairs: dict[tuple[int, int], list[int]] = field(default_factory=dict)
    _cores: dict[object, dict[tuple[int, ...], int]] = field(default_factory=dict)
    _all: dict[object, list[_Steps]] = field(default_factory=dict)
    _rows: dict[tuple[Places, int], list[tuple[int, Places]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        wheel = self.wheel
        self.alone = wheel.alone if self.kind.waits else {}
        self.weights = _WEIGHTS[self.kind.measure]
        self.matters = self._closure()
        self.at = {place: column for column, place in enumerate(self.matters)}
        self.controls = list(wheel.spec.controls)
        self.hands = [self.controls.index(touch.control) for touch in wheel.touches]
        self.costs = [self._cost(touch.seconds, 1, 0.0) for touch in wheel.touches]
        self.finds = [
            self._cost(float(one.find), 0, float(one.look)) for one in wheel.spec.controls.values()
        ]
        self.used = [
            number
            for number, touch in enumerate(wheel.touches)
            if touch.rotary in self.at
            or any(self._matters(meaning) for meaning in wheel.meanings[number])
        ]
        self.meanings = [
            [one for one in meanings if self._matters(one) or self._harms(one)]
            for meanings in wheel.meanings
        ]
        self.using = [
            [(one, self._columns(one)) for one in meanings if self._matters(one)]
            for meanings in self.meanings
        ]
        self.harming = [
            _joined_conditions([self._columns(one) for one in meanings if self._harms(one)])
            for meanings in self.meanings
        ]
        self.reads = [
            sorted(
                {self.at[place] for one in meanings for place, _ in one.when if place in self.at}
            )
            for meanings in self.meanings
        ]
        self.stepping = [
            [
                (touch, one)
                for touch in self.used
                for one in wheel.meanings[touch]
                if one.setting == name
            ]
            for name in self.wanted
        ]
        self.stops = self._stops()
        self.whole = [self._at_one_go(number) for number in range(len(self.wanted))]
        self.core = self._core_places()
        self.least = self._least()
        self.errands = list(self._errands())

    def _cost(self, seconds: float, touches: int, looked: float) -> int:
        time, count, look = self.weights
        return round(1000 * seconds) * time + touches * count + round(1000 * looked) * look

    # what matters

    def _moved(self, meaning: TouchMeaning) -> set[int]:
        moved = {meaning.cursor} if meaning.cursor >= 0 else set()
        if meaning.mode >= 0:
            moved |= {0, *self._forgetting}
        return moved

    @functools.cached_property
    def _forgetting(self) -> list[int]:
        return [n for n, place in enumerate(self.wheel.places) if not place.remembers]

    def _closure(self) -> tuple[int, ...]:
        """Return the places that decide what is wanted."""
        matters = {place for place, _ in self.meant}
        drafting = bool(self.wheel.drafts)
        while True:
            more = set(matters)
            for touch, meanings in zip(self.wheel.touches, self.wheel.meanings, strict=True):
                moving = [
                    one
                    for one in meanings
                    if self._moved(one) & matters
                    or one.setting in self.wanted
                    or (drafting and one.confirms)
                ]
                if moving or touch.rotary in matters:
                    moving += filter(self._harms, meanings)
                more |= {place for one in moving for place, _ in one.when}
            if drafting or more & set(self._forgetting):
                more.add(0)
            if more == matters:
                return tuple(sorted(matters))
            matters = more

    def _harms(self, meaning: TouchMeaning) -> bool:
        """Tell whether a way may not have a touch of that meaning."""
        other = bool(meaning.setting) and meaning.setting not in self.wanted
        return not self.kind.careless and (other or bool(meaning.acts))

    def _matters(self, meaning: TouchMeaning) -> bool:
        return (
            bool(self._moved(meaning) & self.at.keys())
            or meaning.setting in self.wanted
            or (bool(self.wheel.drafts) and meaning.confirms)
        )

    def effects(self, places: Places) -> list[tuple[int, _Effect]]:
        """Return the touches that may be made in a state, and what each does: none that moves a
        setting which is not wanted, or does anything besides.
        """
        found = self._effects.get(places)
        if found is None:
            every = ((touch, self._effect(places, touch)) for touch in self.used)
            found = [(touch, effect) for touch, effect in every if effect is not None]
            self._effects[places] = found
        return found

    def _effect(self, places: Places, touch: int) -> _Effect | None:
        """Return what a touch does in a state, None where it does nothing or may not be made."""
        key = (touch, *[places[column] for column in self.reads[touch]])
        known = self._told.get(key)
        if known is None:
            known = self._told[key] = self._told_by(places, touch)
        may, meaning = known
        if not may:
            return None
        after = self._after(places, touch, meaning)
        if meaning is None or (not meaning.setting and not meaning.confirms):
            if after == places:
                return None
            return _Effect(after, -1, meaning, run=self._alone_moved(places, after))
        setting = self.wanted.index(meaning.setting) if meaning.setting in self.wanted else -1
        if after == places and setting < 0 and not meaning.confirms:
            return None
        return _Effect(after, setting, meaning, meaning.confirms)

    def _told_by(self, places: Places, touch: int) -> tuple[bool, TouchMeaning | None]:
        """Tell whether a touch may be made in a state, and what of use it means there."""
        if any(_all_hold(one, places) for one in self.harming[touch]):
            return False, None
        using = self.using[touch]
        return True, next((one for one, when in using if _all_hold(when, places)), None)

    def _columns(self, meaning: TouchMeaning) -> _Columns:
        return tuple(
            (self.at[place], allowed) for place, allowed in meaning.when if place in self.at
        )

    def _alone_moved(self, places: Places, after: Places) -> int:
        """Return the column of the one place moved that may be moved by a row of touches; or -1."""
        moved = [column for column, at in enumerate(places) if after[column] != at]
        return moved[0] if len(moved) == 1 and self.matters[moved[0]] in self.stops else -1

    def _stops(self) -> dict[int, frozenset[int]]:
        """Return, for each place that one control alone moves, one position at a touch, where such
        a row of touches may end: where something holds that is of use.
        """
        found: dict[int, frozenset[int]] = {}
        for place in self.matters:
            movers, steps = set[int](), set[int]()
            for touch in self.used:
                moving = [one for one in self.wheel.meanings[touch] if place in self._moved(one)]
                if self.wheel.touches[touch].rotary == place:
                    movers.add(self.hands[touch])
                    steps.add(1)
                for one in moving:
                    movers.add(self.hands[touch])
                    steps.add(abs(one.by) if one.cursor == place else 0)
            if place and self.wheel.places[place].remembers and len(movers) == 1 and steps == {1}:
                found[place] = self._useful(place)
        return found

    def _useful(self, place: int) -> frozenset[int]:
        """Return where a place may have to stand for something that is of use."""
        every = frozenset(range(len(self.wheel.places[place].values)))
        found = set[int]().union(*(at for other, at in self.meant if other == place))
        for touch in self.used:
            turning = self.wheel.touches[touch].rotary >= 0
            for one in self.wheel.meanings[touch]:
                at = dict(one.when).get(place)
                if at is not None and turning:
                    return every  # a turn has to be made where it does nothing else
                if at is not None and self._matters(one) and not self._harms(one):
                    found |= at
        return frozenset(found)

    def _after(self, places: Places, touch: int, meaning: TouchMeaning | None) -> Places:
        wheel, moved = self.wheel, list(places)
        rotary = wheel.touches[touch].rotary
        if rotary in self.at:
            column = self.at[rotary]
            moved[column] = wheel.places[rotary].moved(places[column], wheel.touches[touch].way)
        if meaning is not None:
            if meaning.cursor in self.at:
                column = self.at[meaning.cursor]
                moved[column] = wheel.places[meaning.cursor].moved(places[column], meaning.by)
            if meaning.mode >= 0:
                self._enter(moved, meaning.mode)
        return tuple(moved)

    def _enter(self, moved: list[int], mode: int) -> None:
        if 0 in self.at and moved[self.at[0]] != mode:
            moved[self.at[0]] = mode
            for place in self._forgetting:
                if place in self.at:
                    moved[self.at[place]] = self.wheel.places[place].start

    def mode(self, places: Places) -> int:
        """Return the mode, where it matters; else one in which nothing is a draft."""
        return places[self.at[0]] if 0 in self.at else -1

    # the least that things cost by themselves

    def _at_one_go(self, number: int) -> bool:
        """Tell whether all steps of a setting may be made where it is stepped first: no touch of it
        moves a place, confirms, or is there in one state and not in another.
        """
        groups: dict[tuple[tuple[int, frozenset[int]], ...], set[tuple[int, int, int | None]]] = {}
        for touch, one in self.stepping[number]:
            if (
                self._moved(one) & self.at.keys()
                or one.confirms
                or self.wheel.touches[touch].rotary in self.at
            ):
                return False
            groups.setdefault(one.when, set()).add((touch, one.by, one.to))
        return len({frozenset(steps) for steps in groups.values()}) <= 1 and (
            len(groups) <= 1 or self._apart(list(groups))
        )

    @staticmethod
    def _apart(whens: list[tuple[tuple[int, frozenset[int]], ...]]) -> bool:
        """Tell whether no two conditions can hold together: then a state has all the touches of one
        of them, and no others.
        """
        return all(
            any(
                place == other and not allowed & others
                for place, allowed in one
                for other, others in another
            )
            for one, another in itertools.combinations(whens, 2)
        )

    def _least(self) -> list[list[_Bound]]:
        """Return, for each wanted setting and then for the places meant, every condition under
        which it moves, with the least cost to where it holds.
        """
        wanted = [dict.fromkeys(one.when for _, one in steps) for steps in self.stepping]
        if self.meant:
            wanted.append({tuple((place, frozenset(at)) for place, at in self.meant): None})
        return [[self._bound(when) for when in whens] for whens in wanted]

    def _bound(self, when: tuple[tuple[int, frozenset[int]], ...]) -> _Bound:
        core = tuple((place, allowed) for place, allowed in when if place in self.core)
        far = [
            (self.at[place], self._to(place, allowed))
            for place, allowed in when
            if place not in self.core
        ]
        return self._core_to(core) if core else None, far

    def _core_places(self) -> tuple[int, ...]:
        """Return the mode and the places that decide how it changes, as far as they are few: what
        they cost together is reckoned exactly.
        """
        if 0 not in self.at:
            return ()
        core = {0}
        while True:
            more = set(core)
            for meanings in self.meanings:
                for one in meanings:
                    if self._matters(one) and self._moved(one) & core:
                        more |= {place for place, _ in one.when}
            if math.prod(len(self.wheel.places[place].values) for place in more) > _MOST_CORE:
                return tuple(sorted(core))
            if more == core:
                return tuple(sorted(core))
            core = more

    @functools.cached_property
    def _core_back(self) -> dict[tuple[int, ...], list[tuple[tuple[int, ...], int]]]:
        """Every move of the core: where to, from where, at what cost. What is not of the core may
        stand anywhere.
        """
        back: dict[tuple[int, ...], list[tuple[tuple[int, ...], int]]] = {}
        sizes = [range(len(self.wheel.places[place].values)) for place in self.core]
        for state in itertools.product(*sizes):
            for touch in self.used:
                for after, cost in self._core_moves(state, touch):
                    if after != state:
                        back.setdefault(after, []).append((state, cost))
            if state[0] in self.alone:
                seconds, following = self.alone[state[0]]
                after = self._core_enter(state, following)
                back.setdefault(after, []).append((state, self._cost(seconds, 0, 0.0)))
        return back

    def _core_moves(
        self, state: tuple[int, ...], touch: int
    ) -> Iterator[tuple[tuple[int, ...], int]]:
        rotary, at = self.wheel.touches[touch].rotary, dict(zip(self.core, state, strict=True))
        turned = state
        if rotary in at:
            after = self.wheel.places[rotary].moved(at[rotary], self.wheel.touches[touch].way)
            turned = tuple(after if place == rotary else at[place] for place in self.core)
        sure = False
        for one in self.meanings[touch]:
            inside = [(place, allowed) for place, allowed in one.when if place in at]
            if not all(at[place] in allowed for place, allowed in inside):
                continue
            sure = sure or len(inside) == len(one.when)
            if self._harms(one) or not self._matters(one):
                continue
            moved = turned
            if one.cursor in at:
                column = self.core.index(one.cursor)
                there = self.wheel.places[one.cursor].moved(at[one.cursor], one.by)
                moved = (*moved[:column], there, *moved[column + 1 :])
            if one.mode >= 0:
                moved = self._core_enter(moved, one.mode)
            elsewhere = any(place in self.at and place not in at for place in (rotary, one.cursor))
            free = one.setting in self.wanted or elsewhere
            yield moved, 0 if free else self.costs[touch]
        if turned != state and not sure:
            yield turned, self.costs[touch]

    def _core_enter(self, state: tuple[int, ...], mode: int) -> tuple[int, ...]:
        """Return the core in another mode: what forgets is back at its start."""
        if state[0] == mode:
            return state
        return tuple(
            mode
            if place == 0
            else at
            if self.wheel.places[place].remembers
            else self.wheel.places[place].start
            for place, at in zip(self.core, state, strict=True)
        )

    def _core_to(self, goal: tuple[tuple[int, frozenset[int]], ...]) -> dict[tuple[int, ...], int]:
        """Return the least cost from every state of the core to where a condition holds."""
        found = self._cores.get(goal)
        if found is not None:
            return found
        allowed = dict(goal)
        ends = [
            sorted(allowed.get(place, range(len(self.wheel.places[place].values))))
            for place in self.core
        ]
        least: dict[tuple[int, ...], int] = {}
        queue = [(0, state) for state in itertools.product(*ends)]
        while queue:
            cost, state = heapq.heappop(queue)
            if cost >= least.get(state, _FAR):
                continue
            least[state] = cost
            for before, more in self._core_back.get(state, ()):
                if cost + more < least.get(before, _FAR):
                    heapq.heappush(queue, (cost + more, before))
        self._cores[goal] = least
        return least

    @functools.cached_property
    def _edges(self) -> dict[int, list[tuple[int, int, int]]]:
        """Every move of each place beside the core: from, to, and its share of the touch's cost.
        One thing has all of it: the setting, else the rotary, else the cursor, else the core.
        """
        found: dict[int, list[tuple[int, int, int]]] = {place: [] for place in self.matters}
        wheel = self.wheel
        for number in self.used:
            touch, cost = wheel.touches[number], self.costs[number]
            moving = [one for one in self.meanings[number] if self._matters(one)]
            if touch.rotary in self.at:
                place = wheel.places[touch.rotary]
                for at in range(len(place.values)):
                    free = any(
                        one.setting in self.wanted
                        and at in dict(one.when).get(touch.rotary, frozenset((at,)))
                        for one in moving
                    )
                    after = place.moved(at, touch.way)
                    found[touch.rotary].append((at, after, 0 if free else cost))
            for one in moving:
                free = one.setting in self.wanted or touch.rotary in self.at
                for moved in self._moved(one) & self.at.keys():
                    pays = not free and moved == one.cursor
                    allowed = dict(one.when).get(moved)
                    for at in range(len(wheel.places[moved].values)):
                        if allowed is None or at in allowed:
                            after = self._target(one, moved, at)
                            found[moved].append((at, after, cost if pays else 0))
        for number in self._forgetting if self.alone else ():
            if number in self.at:
                start, size = wheel.places[number].start, len(wheel.places[number].values)
                found[number] += [(at, start, 0) for at in range(size)]
        return found

    def _target(self, meaning: TouchMeaning, place: int, at: int) -> int:
        if place == meaning.cursor:
            return self.wheel.places[place].moved(at, meaning.by)
        return meaning.mode if place == 0 else self.wheel.places[place].start

    def _to(self, place: int, goals: frozenset[int]) -> list[int]:
        """Return the least cost from every position of a place to one of some."""
        found = self._far.get((place, goals))
        if found is None:
            found = self._far[place, goals] = self._dijkstra(place, goals)
        return found

    def _dijkstra(self, place: int, goals: frozenset[int]) -> list[int]:
        least = [_FAR] * len(self.wheel.places[place].values)
        queue = [(0, at) for at in goals]
        while queue:
            cost, at = heapq.heappop(queue)
            if cost >= least[at]:
                continue
            least[at] = cost
            for before, after, more in self._edges[place]:
                if after == at and cost + more < least[before]:
                    heapq.heappush(queue, (cost + more, before))
        return least

    def _errands(self) -> Iterator[_Errands]:
        """Yield the wanted settings that take a place to be moved in between, by other controls
        than their own.
        """
        for place, column in self.at.items():
            movers = {
                self.hands[touch]
                for touch in self.used
                if self.wheel.touches[touch].rotary == place
                or any(place in self._moved(one) for one in self.wheel.meanings[touch])
            }
            if not movers or (self.alone and place in {0, *self._forgetting}):
                continue
            taken, numbers = set[int](), dict[int, frozenset[int]]()
            for number, steps in enumerate(self.stepping):
                where = [dict(one.when).get(place) for _, one in steps]
                there = frozenset().union(*(at for at in where if at is not None))
                if (
                    steps
                    and None not in where
                    and not there & taken
                    and not movers & {self.hands[touch] for touch, _ in steps}
                ):
                    taken |= there
                    numbers[number] = there
            if numbers:
                hands = {self.hands[touch] for n in numbers for touch, _ in self.stepping[n]}
                move, step = (min(self.finds[hand] for hand in some) for some in (movers, hands))
                yield _Errands(column, numbers, frozenset(movers), move, step)

    def bounds(self, places: Places) -> list[int]:
        """Return, for each thing wanted, the least that it costs to come where it is moved."""
        found = self._bounds.get(places)
        if found is None:
            core = tuple(places[self.at[place]] for place in self.core)
            found = self._bounds[places] = [
                min(
                    (
                        (0 if near is None else near.get(core, _FAR))
                        + sum(far[places[column]] for column, far in beside)
                        for near, beside in conditions
                    ),
                    default=_FAR,
                )
                for conditions in self.least
            ]
        return found

    def _steps_to(self, number: int, goal: int) -> list[int]:
        """Return the least cost of the steps of a setting from every position to the goal."""
        found = self._stairs.get((number, goal))
        if found is None:
            found = self._stairs[number, goal] = self._least_steps(number, goal)
        return found

    def _least_steps(self, number: int, goal: int) -> list[int]:
        name = self.wanted[number]
        count = self.wheel.spec.settings[name].count
        back: list[list[tuple[int, int]]] = [[] for _ in range(count)]
        moves: dict[tuple[int, int | None], int] = {}
        for touch, one in self.stepping[number]:
            key = (one.by, one.to)
            moves[key] = min(self.costs[touch], moves.get(key, _FAR))
        for (by, to), cost in moves.items():
            step = TouchMeaning((), -1, name, by, to)
            for at in range(count):
                back[self.wheel.stepped(name, at, step)].append((at, cost))
        least, queue = [_FAR] * count, [(0, goal)]
        while queue:
            cost, at = heapq.heappop(queue)
            if cost >= least[at]:
                continue
            least[at] = cost
            for before, more in back[at]:
                if cost + more < least[before]:
                    heapq.heappush(queue, (cost + more, before))
        return least

    # the search

    def way(self, begins: WheelState, goals: Mapping[str, int]) -> list[str] | None:
        """Return the touches of the cheapest way, None where there is none."""
        goal = tuple(goals[name] for name in self.wanted)
        steps = [self._steps_to(number, at) for number, at in enumerate(goal)]
        places = tuple(begins.places[place] for place in self.matters)
        values = tuple(begins.settings[name] for name in self.wanted)
        drafts = tuple(begins.drafts.get(name, -1) for name in self.wanted)
        first: Node = (places, _NO_HAND, values, drafts)
        before: dict[Node, tuple[Node, tuple[str, ...]]] = {}
        best = {first: 0}
        number = itertools.count()
        queue = [(self._left(first, goal, steps), next(number), 0, first)]
        done: set[Node] = set()
        while queue:
            _, _, cost, node = heapq.heappop(queue)
            if node in done:
                continue
            if self._is_goal(node, goal):
                return _back(before, node)
            done.add(node)
            if len(done) > _MOST_OPENED:
                message = f"no way was found among {_MOST_OPENED:,} states"
                raise WheelError(message, kind="no-way", hint="ask for fewer settings at once")
            for more, touches, after in self._following(node, goal):
                total = cost + more
                if after not in done and total < best.get(after, _FAR):
                    left = self._left(after, goal, steps)
                    if left < _FAR:
                        best[after], before[after] = total, (node, touches)
                        heapq.heappush(queue, (total + left, -next(number), total, after))
        return None

    def _is_goal(self, node: Node, goal: tuple[int, ...]) -> bool:
        places, _, values, drafts = node
        there = all(places[self.at[place]] in at for place, at in self.meant)
        return there and values == goal and all(draft < 0 for draft in drafts)

    def _left(self, node: Node, goal: tuple[int, ...], steps: list[list[int]]) -> int:
        """Return a bound of what is still to be paid."""
        places, hand, values, drafts = node
        bounds, total, furthest, finding = self.bounds(places), 0, 0, 0
        open_ones = []
        for number, wanted in enumerate(goal):
            at = drafts[number] if drafts[number] >= 0 else values[number]
            if at != wanted:
                open_ones.append(number)
                total += steps[number][at]
                furthest = max(furthest, bounds[number])
                if hand not in self._stepping_hands[number]:
                    finding = max(finding, self._least_find[number])
        if self.meant:
            furthest = max(furthest, bounds[-1])
        for one in self.errands if open_ones else ():
            left = one.left(open_ones, places[one.column], hand, self._stepping_hands)
            finding = max(finding, left)
        return total + furthest + finding

    @functools.cached_property
    def _stepping_hands(self) -> list[set[int]]:
        return [{self.hands[touch] for touch, _ in steps} for steps in self.stepping]

    @functools.cached_property
    def _least_find(self) -> list[int]:
        return [
            min((self.finds[hand] for hand in hands), default=0) for hands in self._stepping_hands
        ]

    def _following(
        self, node: Node, goal: tuple[int, ...]
    ) -> Iterator[tuple[int, tuple[str, ...], Node]]:
        places, hand, values, drafts = node
        mode = self.mode(places)
        drafting = mode in self.wheel.drafts
        gone = set[int]()
        for touch, effect in self.effects(places):
            number = effect.setting
            if number >= 0 and self.whole[number]:
                if number not in gone:
                    gone.add(number)
                    yield from self._all_steps(node, number, goal[number], drafting=drafting)
                continue
            finding = self.finds[self.hands[touch]] if self.hands[touch] != hand else 0
            if effect.run >= 0:
                for times, there in self._runs(places, touch, effect):
                    names = (self.wheel.touches[touch].name,) * times
                    cost = finding + times * self.costs[touch]
                    yield cost, names, (there, self.hands[touch], values, drafts)
                continue
            moved, drawn = values, drafts
            if effect.meaning is not None and number >= 0:
                at = drafts[number] if drafts[number] >= 0 else values[number]
                at = self.wheel.stepped(self.wanted[number], at, effect.meaning)
                if drafting:
                    drawn = _with(drawn, number, at)
                else:
                    moved = _with(moved, number, at)
            if effect.confirms:
                moved = tuple(d if d >= 0 else v for v, d in zip(moved, drawn, strict=True))
                drawn = (-1,) * len(drawn)
            if drawn and self.mode(effect.places) not in self.wheel.drafts:
                drawn = (-1,) * len(drawn)
            after = (effect.places, self.hands[touch], moved, drawn)
            yield finding + self.costs[touch], (self.wheel.touches[touch].name,), after
        if mode in self.alone:
            seconds, following = self.alone[mode]
            left = list(places)
            self._enter(left, following)
            drawn = drafts if following in self.wheel.drafts else (-1,) * len(drafts)
            yield self._cost(seconds, 0, 0.0), (ALONE,), (tuple(left), hand, values, drawn)

    def _runs(self, places: Places, touch: int, effect: _Effect) -> list[tuple[int, Places]]:
        """Return how often a touch may be made in a row that moves one place and does nothing else,
        and where that leads: only to where something else may be done.
        """
        found = self._rows.get((places, touch))
        if found is not None:
            return found
        found, column, times, seen = [], effect.run, 1, {places[effect.run]}
        here = effect.places
        while here[column] not in seen:
            seen.add(here[column])
            following = next((one for number, one in self.effects(here) if number == touch), None)
            goes_on = following is not None and following.run == column
            leads_on = following is not None and not goes_on
            if leads_on or here[column] in self.stops[self.matters[column]]:
                found.append((times, here))
            if following is None or not goes_on:
                break
            here, times = following.places, times + 1
        self._rows[places, touch] = found
        return found

    def _all_steps(
        self, node: Node, number: int, goal: int, *, drafting: bool
    ) -> Iterator[tuple[int, tuple[str, ...], Node]]:
        """Yield all steps of a setting made at one go, for each control with which they may end."""
        places, hand, values, drafts = node
        at = drafts[number] if drafts[number] >= 0 else values[number]
        if at == goal:
            return
        touches = tuple(
            (touch, effect.meaning.by, effect.meaning.to)
            for touch, effect in self.effects(places)
            if effect.setting == number and effect.meaning is not None
        )
        key = (number, at, goal, hand, touches)
        made = self._all.get(key)
        if made is None:
            made = self._all[key] = self._gone(number, at, goal, hand, touches)
        for cost, names, last in made:
            moved = values if drafting else _with(values, number, goal)
            drawn = _with(drafts, number, goal) if drafting else drafts
            yield cost, names, (places, last, moved, drawn)

    def _gone(
        self,
        number: int,
        at: int,
        goal: int,
        hand: int,
        touches: tuple[tuple[int, int, int | None], ...],
    ) -> list[_Steps]:
        """Return the cheapest touches from one position to another, for each last control."""
        name = self.wanted[number]
        least: dict[tuple[int, int], int] = {}
        queue: list[tuple[int, int, int, tuple[str, ...]]] = [(0, at, hand, ())]
        found = []
        while queue:
            cost, here, last, names = heapq.heappop(queue)
            if cost >= least.get((here, last), _FAR):
                continue
            least[here, last] = cost
            if here == goal:
                found.append((cost, names, last))
                continue
            for touch, by, to in touches:
                following = self.hands[touch]
                more = self.costs[touch] + (self.finds[following] if following != last else 0)
                after = self.wheel.stepped(name, here, TouchMeaning((), -1, name, by, to))
                if cost + more < least.get((after, following), _FAR):
                    step = (*names, self.wheel.touches[touch].name)
                    heapq.heappush(queue, (cost + more, after, following, step))
        return found


def _all_hold(when: _Columns, places: Places) -> bool:
    """Tell whether a condition holds as far as it matters: the rest may stand anywhere."""
    for column, allowed in when:  # noqa: SIM110 - half of the time of a search is spent here
        if places[column] not in allowed:
            return False
    return True


def _joined_conditions(conditions: list[_Columns]) -> list[_Columns]:
    """Return fewer conditions of which one holds where one of these does: those that differ in one
    column only are one.
    """
    found = list(dict.fromkeys(conditions))
    for column in sorted({column for one in found for column, _ in one}):
        groups: dict[_Columns, frozenset[int] | None] = {}
        for one in found:
            rest = tuple(part for part in one if part[0] != column)
            here = dict(one).get(column)
            known = groups.get(rest, frozenset())
            groups[rest] = None if here is None or known is None else known | here
        found = [
            rest if here is None else tuple(sorted([*rest, (column, here)], key=_first_of))
            for rest, here in groups.items()
        ]
    return found


def _first_of(part: tuple[int, frozenset[int]]) -> int:
    return part[0]


def _with(values: tuple[int, ...], number: int, at: int) -> tuple[int, ...]:
    return (*values[:number], at, *values[number + 1 :])


def _back(before: Mapping[Node, tuple[Node, tuple[str, ...]]], node: Node) -> list[str]:
    """Return the touches that lead to a state, from the first."""
    found: list[tuple[str, ...]] = []
    while node in before:
        node, touches = before[node]
        found.append(touches)
    return [touch for touches in reversed(found) for touch in touches]


def way_to(wheel: Wheel, *meanings: TouchMeaning) -> Way | None:
    """Return the fewest touches from the start to where the conditions of some meanings hold, None
    where no touches lead there.
    """
    wanted: dict[int, set[int]] = {}
    for meaning in meanings:
        for place, allowed in meaning.when:
            wanted[place] = wanted.get(place, set(allowed)) & allowed
    try:
        return cheapest(wheel, wheel.start, {}, "touches", places=wanted, careless=True)
    except WheelError:
        return None
