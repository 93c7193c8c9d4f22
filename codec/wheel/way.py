"""The cheapest touches from where a wheel stands to the settings wanted: A* over what matters.

What matters are the places that decide the touches that move what is wanted, and so on back; the
others are left out, which changes no way. The bound of what is still to come (``least``) is never
more than it is, so that the way found is the cheapest (tests hold it against trying everything).
"""

from __future__ import annotations

import functools
import heapq
import itertools
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

from codec.wheel.least import FAR, Allowed, LeastCost, When, all_hold
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
_NO_HAND = -1


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

    Raises WheelError for a setting or position that is not there, for a setting wanted twice, and
    where there is no way.
    """
    goals = {
        (name := wheel.setting(told)): wheel.number(name, shown) for told, shown in wanted.items()
    }
    if len(goals) < len(wanted):
        raise WheelError("a setting is wanted twice", kind="setting")
    for name in begins.drafts:  # of another setting: dropped, where what is wanted is confirmed
        goals.setdefault(name, begins.settings[name])
    meant = tuple(sorted((place, frozenset(at)) for place, at in (places or {}).items()))
    found = None
    for waits in (False, True) if wheel.alone else (False,):
        search = _search(
            wheel, tuple(sorted(goals)), meant, measure, careless=careless, waits=waits
        )
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


_KEPT: dict[object, _Search] = {}
_MOST_KEPT = 64


def _search(
    wheel: Wheel, wanted: tuple[str, ...], meant: When, measure: Measure, **kind: bool
) -> _Search:
    """Return the search for some settings, kept with what it learned of the wheel."""
    key = (id(wheel), wanted, meant, measure, *kind.items())
    kept = _KEPT.get(key)
    if kept is None or kept.wheel is not wheel:
        while len(_KEPT) >= _MOST_KEPT:
            del _KEPT[next(iter(_KEPT))]
        allowed = Allowed(wheel, wanted, meant, _WEIGHTS[measure], **kind)
        kept = _KEPT[key] = _Search(wheel, allowed)
    return kept


# where the places that matter stand (the others at 0), the hand, the settings, and their drafts
Node = tuple[Places, int, tuple[int, ...], tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class _Effect:
    """What a touch does as far as it matters: where the places lead, and what it means; ``run`` is
    the place that it moves, where it does nothing else.
    """

    places: Places
    meaning: TouchMeaning | None = None
    run: int = -1


@dataclass(eq=False)
class _Search:
    wheel: Wheel
    allowed: Allowed
    _effects: dict[Places, list[tuple[int, _Effect]]] = field(default_factory=dict)
    _told: dict[tuple[int, ...], tuple[bool, TouchMeaning | None]] = field(default_factory=dict)
    _stairs: dict[tuple[int, int], list[int]] = field(default_factory=dict)
    _rows: dict[tuple[Places, int], list[tuple[int, Places]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        allowed = self.allowed
        self.matters, self.wanted = allowed.matters, allowed.wanted
        self.others = [n for n in range(len(self.wheel.places)) if n not in self.matters]
        self.using = [
            [(one, self._when(one)) for one in meanings if allowed.acts(one)]
            for meanings in allowed.meanings
        ]
        self.harming = [
            _joined_conditions(tuple(self._when(one) for one in meanings if allowed.harms(one)))
            for meanings in allowed.meanings
        ]
        self.reads = [
            sorted({place for one in meanings for place, _ in self._when(one)})
            for meanings in allowed.meanings
        ]
        self.stops = self._stops()
        self.least = LeastCost(allowed)

    def _when(self, meaning: TouchMeaning) -> When:
        return tuple(part for part in meaning.when if part[0] in self.matters)

    # what touches do

    def effects(self, places: Places) -> list[tuple[int, _Effect]]:
        """Return the touches that may be made in a state, and what each does: none that moves a
        setting which is not wanted, or does anything besides.
        """
        found = self._effects.get(places)
        if found is None:
            every = ((touch, self._effect(places, touch)) for touch in self.allowed.touches)
            found = [(touch, effect) for touch, effect in every if effect is not None]
            self._effects[places] = found
        return found

    def _effect(self, places: Places, touch: int) -> _Effect | None:
        """Return what a touch does in a state, None where it does nothing or may not be made."""
        key = (touch, *[places[place] for place in self.reads[touch]])
        known = self._told.get(key)
        if known is None:
            harmful = any(all_hold(one, places) for one in self.harming[touch])
            using = self.using[touch]
            meant = next((one for one, when in using if all_hold(when, places)), None)
            known = self._told[key] = (not harmful, meant)
        may, meaning = known
        if not may:
            return None
        after = self._kept(self.wheel.after(places, touch, meaning), places)
        if meaning is not None and (meaning.setting in self.wanted or meaning.confirms):
            return _Effect(after, meaning)
        if after == places:
            return None
        moved = [place for place in self.matters if after[place] != places[place]]
        alone = len(moved) == 1 and moved[0] in self.stops
        return _Effect(after, meaning, moved[0] if alone else -1)

    def _kept(self, after: Places, before: Places) -> Places:
        """Return where places stand after something, those that don't matter where they stood."""
        if after is before or not self.others:
            return after
        kept = list(after)
        for place in self.others:
            kept[place] = before[place]
        return tuple(kept)

    def _stops(self) -> dict[int, frozenset[int]]:
        """Return, for each place that one control alone moves, by touches that do nothing else and
        one position each, where a row of them may have to end: where something of use asks for it.

        A row that ends elsewhere, and not where its touch does nothing more, is of no use: nothing
        asks where the place stands until the same hand moves it on. Moves back cancel each other;
        moves on can all be made at the cheaper of the two times, as none of them asks where the
        place stands either, and the hand is not found more often.
        """
        found: dict[int, frozenset[int]] = {}
        allowed, wheel = self.allowed, self.wheel
        for place in self.matters - {0}:
            plain, movers = wheel.places[place].remembers, set[int]()
            useful = dict(allowed.meant).get(place, frozenset())
            for touch in allowed.touches:
                rotary, meanings = wheel.touches[touch].rotary, allowed.helping[touch]
                moving = [one for one in meanings if place in (rotary, one.cursor)]
                if rotary == place or moving:
                    movers.add(allowed.hands[touch])
                for one in meanings:
                    useful |= dict(one.when).get(place, frozenset())
                if any(abs(one.by) != 1 or one.mode >= 0 or one.confirms for one in moving) or (
                    # a turn does something, or may have to be made where it does not
                    rotary >= 0
                    and (moving or any(place in dict(one.when) for one in allowed.meanings[touch]))
                ):
                    plain = False
            if plain and len(movers) == 1:
                found[place] = useful
        return found

    # the search

    def way(self, begins: WheelState, goals: Mapping[str, int]) -> list[str] | None:
        """Return the touches of the cheapest way, None where there is none."""
        goal = tuple(goals[name] for name in self.wanted)
        steps = [self._steps_to(number, at) for number, at in enumerate(goal)]
        places = self._kept(begins.places, (0,) * len(begins.places))
        values = tuple(begins.settings[name] for name in self.wanted)
        drafts = tuple(begins.drafts.get(name, -1) for name in self.wanted)
        first: Node = (places, _NO_HAND, values, drafts)
        before: dict[Node, tuple[Node, tuple[str, ...]]] = {}
        best = {first: 0}
        number = itertools.count()
        queue = [(self._left(first, goal, steps), next(number), 0, first)]
        opened = 0
        while queue:
            _, _, cost, node = heapq.heappop(queue)
            if cost > best[node]:
                continue  # a cheaper way there was found since
            if self._is_goal(node, goal):
                return _back(before, node)
            opened += 1
            if opened > _MOST_OPENED:
                message = f"no way was found among {_MOST_OPENED:,} states"
                raise WheelError(message, kind="no-way", hint="ask for fewer settings at once")
            for more, touches, after in self._following(node):
                total = cost + more
                if total < best.get(after, FAR):
                    left = self._left(after, goal, steps)
                    if left < FAR:
                        best[after], before[after] = total, (node, touches)
                        heapq.heappush(queue, (total + left, -next(number), total, after))
        return None

    def _is_goal(self, node: Node, goal: tuple[int, ...]) -> bool:
        places, _, values, drafts = node
        return (
            values == goal and max(drafts, default=-1) < 0 and all_hold(self.allowed.meant, places)
        )

    def _left(self, node: Node, goal: tuple[int, ...], steps: list[list[int]]) -> int:
        """Return a bound of what is still to be paid."""
        places, hand, values, drafts = node
        total, open_ones, pending = 0, [], False
        for number, wanted in enumerate(goal):
            value, draft = values[number], drafts[number]
            if wanted == value:
                continue  # a draft of it may be dropped
            if draft == wanted:
                pending = True
                continue
            open_ones.append(number)
            least = steps[number][value]
            total += least if draft < 0 else min(least, steps[number][draft])
        return total + self.least.left(places, hand, tuple(open_ones), drafts=pending)

    def _steps_to(self, number: int, goal: int) -> list[int]:
        """Return the least cost of the steps of a setting from every position to the goal."""
        if (number, goal) in self._stairs:
            return self._stairs[number, goal]
        name = self.wanted[number]
        count = self.wheel.spec.settings[name].count
        back: list[list[tuple[int, int]]] = [[] for _ in range(count)]
        for touch, one in self.allowed.stepping[number]:
            for at in range(count):
                back[self.wheel.stepped(name, at, one)].append((at, self.allowed.costs[touch]))
        least, queue = [FAR] * count, [(0, goal)]
        while queue:
            cost, at = heapq.heappop(queue)
            if cost < least[at]:
                least[at] = cost
                for before, more in back[at]:
                    heapq.heappush(queue, (cost + more, before))
        self._stairs[number, goal] = least
        return least

    def _following(self, node: Node) -> Iterator[tuple[int, tuple[str, ...], Node]]:
        places, hand, values, drafts = node
        wheel, allowed = self.wheel, self.allowed
        for touch, effect in self.effects(places):
            own, name, meaning = allowed.hands[touch], wheel.touches[touch].name, effect.meaning
            finding = allowed.finds[own] if own != hand else 0
            if effect.run >= 0:
                for times, there in self._runs(places, touch, effect):
                    cost = finding + times * allowed.costs[touch]
                    yield cost, (name,) * times, (there, own, values, drafts)
                continue
            moved, drawn = values, drafts
            if meaning is not None and meaning.setting in self.wanted:
                number = self.wanted.index(meaning.setting)
                at = drafts[number] if drafts[number] >= 0 else values[number]
                at = wheel.stepped(meaning.setting, at, meaning)
                if self._drafting(places):
                    drawn = _with(drawn, number, at)
                else:
                    moved = _with(moved, number, at)
            if meaning is not None and meaning.confirms:
                moved = tuple(d if d >= 0 else v for v, d in zip(moved, drawn, strict=True))
                drawn = _none(drawn)
            drawn = drawn if self._drafting(effect.places) else _none(drawn)
            yield finding + allowed.costs[touch], (name,), (effect.places, own, moved, drawn)
        if places[0] in allowed.waits:
            left = self._kept(wheel.alone_after(places), places)
            drawn = drafts if self._drafting(left) else _none(drafts)
            yield allowed.waits[places[0]][0], (ALONE,), (left, hand, values, drawn)

    def _drafting(self, places: Places) -> bool:
        """Tell whether changes are drafts; where the mode does not matter they never are."""
        return 0 in self.matters and places[0] in self.wheel.drafts

    def _runs(self, places: Places, touch: int, effect: _Effect) -> list[tuple[int, Places]]:
        """Return how often a touch may be made in a row that moves one place and does nothing else,
        and where that leads: only to where something else may be done.
        """
        found = self._rows.get((places, touch))
        if found is not None:
            return found
        found, place, times, seen = [], effect.run, 1, {places[effect.run]}
        here = effect.places
        while here[place] not in seen:
            seen.add(here[place])
            following = self._effect(here, touch)
            goes_on = following is not None and following.run == place
            if here[place] in self.stops[place] or not goes_on:
                found.append((times, here))
            if following is None or not goes_on:
                break
            here, times = following.places, times + 1
        self._rows[places, touch] = found
        return found


@functools.lru_cache(maxsize=256)  # the two ways of a control often do harm in the same places
def _joined_conditions(conditions: tuple[When, ...]) -> list[When]:
    """Return fewer conditions of which one holds where one of these does: those that differ in one
    place only are one.
    """
    found = list(dict.fromkeys(conditions))
    for place in sorted({place for one in found for place, _ in one}):
        groups: dict[When, frozenset[int] | None] = {}
        for one in found:
            rest = tuple(part for part in one if part[0] != place)
            here, known = dict(one).get(place), groups.get(rest, frozenset())
            groups[rest] = None if here is None or known is None else known | here
        found = [rest if here is None else (*rest, (place, here)) for rest, here in groups.items()]
    return found


def _with(values: tuple[int, ...], number: int, at: int) -> tuple[int, ...]:
    return (*values[:number], at, *values[number + 1 :])


def _none(drafts: tuple[int, ...]) -> tuple[int, ...]:
    return (-1,) * len(drafts)


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
