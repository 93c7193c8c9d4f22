"""The least that is still to be paid on a wheel until what is wanted is there: never more than it
is, so that a search that goes by it finds the cheapest way.

Places are looked at apart: the mode with all that decides how it changes together, as far as that
is small, each other place by itself; the rest may stand anywhere. What a touch costs is paid in one
of them, so their sums are bounds. A way completes the settings wanted in some order; from one to
the next it leads from where the first is stepped to where the other is, and a hand that moves
places must be found, and then that which steps. The cheapest order is the bound (M. Held and R. M.
Karp, Journal of the Society for Industrial and Applied Mathematics 10, 1962).
"""

from __future__ import annotations

import functools
import heapq
import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from operator import itemgetter
from typing import Any

from codec.wheel.wheel import Places, TouchMeaning, Wheel

FAR = 10**15
_MOST_TOGETHER = 2000  # states of places that are looked at together
_MOST_ORDERS = 150  # in which settings may be completed; of more settings the rest lies on the way
_NO_MODE = -1
_ALONE = -1  # in place of a hand: it moves when left alone
_OTHER = -2  # any hand but those that count
State = tuple[int, ...]
When = tuple[tuple[int, frozenset[int]], ...]


class Allowed:
    """What a way may be made of: the places that matter, which are those that decide the touches
    that move what is wanted, and so on back; the touches that are of use, and what each means as
    far as it is of use or does harm; what touches, finding their hands and waiting cost.

    ``meant`` are places that must stand somewhere in the end. A touch does harm that moves another
    setting or does anything else, unless the way may be ``careless`` of that. Costs weigh a
    millisecond, a touch and a millisecond of looking.
    """

    def __init__(
        self,
        wheel: Wheel,
        wanted: tuple[str, ...],
        meant: When,
        weights: tuple[int, int, int],
        *,
        careless: bool,
        waits: bool,
    ) -> None:
        """Look at every touch of the wheel."""
        self.wheel, self.wanted, self.meant, self.careless = wheel, wanted, meant, careless
        self.forgetting = {n for n, place in enumerate(wheel.places) if not place.remembers}
        self.matters = self._closure()
        time, count, look = weights

        def cost(seconds: float, touches: int = 0, looked: float = 0.0) -> int:
            return round(1000 * seconds) * time + touches * count + round(1000 * looked) * look

        controls = wheel.spec.controls
        names = list(controls)
        self.hands = [names.index(touch.control) for touch in wheel.touches]
        self.costs = [cost(touch.seconds, 1) for touch in wheel.touches]
        self.finds = [cost(float(one.find), 0, float(one.look)) for one in controls.values()]
        self.waits = {
            mode: (cost(seconds), to)
            for mode, (seconds, to) in (wheel.alone if waits and 0 in self.matters else {}).items()
        }
        self.meanings = [
            [one for one in meanings if self.acts(one) or self.harms(one)]
            for meanings in wheel.meanings
        ]
        self.touches = [
            number
            for number, touch in enumerate(wheel.touches)
            if touch.rotary in self.matters or any(map(self.acts, wheel.meanings[number]))
        ]
        used = [(touch, one) for touch in self.touches for one in self.meanings[touch]]
        self.stepping = [[(n, one) for n, one in used if one.setting == name] for name in wanted]
        self.confirming = [(n, one) for n, one in used if one.confirms and self.useful(one)]
        # settings whose steps are drafts in any case, which something else makes count
        self.drafted = [
            bool(steps)
            and all(
                not one.confirms and dict(one.when).get(0, {_NO_MODE}) <= wheel.drafts
                for _, one in steps
            )
            for steps in self.stepping
        ]

    def _closure(self) -> frozenset[int]:
        """Return the places that decide what is wanted."""
        matters = {place for place, _ in self.meant}
        drafting = bool(self.wheel.drafts)
        while True:
            more = set(matters)
            for touch, meanings in zip(self.wheel.touches, self.wheel.meanings, strict=True):
                moving = [
                    one
                    for one in meanings
                    if self.moved(one) & matters
                    or one.setting in self.wanted
                    or (drafting and one.confirms)
                ]
                if moving or touch.rotary in matters:
                    moving += filter(self.harms, meanings)
                more |= {place for one in moving for place, _ in one.when}
            if drafting or more & self.forgetting:
                more.add(0)
            if more == matters:
                return frozenset(matters)
            matters = more

    def moved(self, meaning: TouchMeaning) -> set[int]:
        """Return the places that a touch of some meaning may move, besides its own rotary."""
        moved = {meaning.cursor} if meaning.cursor >= 0 else set()
        return moved | {0, *self.forgetting} if meaning.mode >= 0 else moved

    def harms(self, meaning: TouchMeaning) -> bool:
        """Tell whether a way may not have a touch of that meaning."""
        other = bool(meaning.setting) and meaning.setting not in self.wanted
        return not self.careless and (other or bool(meaning.acts))

    def acts(self, meaning: TouchMeaning) -> bool:
        """Tell whether a touch of that meaning changes anything that matters."""
        return (
            not self.matters.isdisjoint(self.moved(meaning))
            or meaning.setting in self.wanted
            or (bool(self.wheel.drafts) and meaning.confirms)
        )

    def useful(self, meaning: TouchMeaning) -> bool:
        """Tell whether a touch of that meaning may be of use."""
        return self.acts(meaning) and not self.harms(meaning)


@dataclass(eq=False)
class _Part:
    """Places looked at together: every move of theirs, and who makes it. ``owned`` are the hands
    whose finding is paid here: the table of what is still to be paid has the last of them that was
    used, or none.
    """

    allowed: Allowed
    places: tuple[int, ...]
    paid_apart: bool  # whether the touch that makes drafts count is paid elsewhere
    owned: set[int] = field(default_factory=set)
    tables: dict[When, dict[int, dict[Any, int]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        wheel = self.allowed.wheel
        sizes = (range(len(wheel.places[place].values)) for place in self.places)
        self.states = list(itertools.product(*sizes))
        self.key: Callable[[Places], Any] = itemgetter(*self.places)
        self.touches = [
            touch
            for touch in self.allowed.touches
            if wheel.touches[touch].rotary in self.places
            or any(
                self.allowed.useful(one) and not self.allowed.moved(one).isdisjoint(self.places)
                for one in self.allowed.meanings[touch]
            )
        ]
        self.moves = [
            (hand, state, after, cost)
            for state in self.states
            for hand, after, cost in self._moves(dict(zip(self.places, state, strict=True)))
            if after != state
        ]
        self.hands = {hand for hand, *_ in self.moves}

    @functools.cached_property
    def back(self) -> dict[tuple[State, int], list[tuple[State, int, int]]]:
        """Every move backwards: to a state and the last hand, from where, at what cost."""
        found: dict[tuple[State, int], list[tuple[State, int, int]]] = {}
        for hand, state, after, cost in self.moves:
            for last in (_OTHER, *self.owned):
                now = last if hand == _ALONE else hand if hand in self.owned else _OTHER
                find = self.allowed.finds[hand] if hand in self.owned and hand != last else 0
                found.setdefault((after, now), []).append((state, last, cost + find))
        return found

    def _moves(self, at: dict[int, int]) -> Iterator[tuple[int, State, int]]:
        """Yield what may move these places, where to, and what of it is paid here."""
        allowed = self.allowed
        for touch in self.touches:
            hand, cost, told = allowed.hands[touch], allowed.costs[touch], False
            rotary, turned = allowed.wheel.touches[touch].rotary, dict(at)
            if rotary in at:
                way = allowed.wheel.touches[touch].way
                turned[rotary] = allowed.wheel.places[rotary].moved(at[rotary], way)
            for one in allowed.meanings[touch]:
                if all(at[place] in there for place, there in one.when if place in at):
                    if allowed.useful(one):
                        paid = cost if self._pays(rotary, one) else 0
                        for after in self._outcomes(turned, one):
                            yield hand, after, paid
                    told = told or all(place in at for place, _ in one.when)
            if not told and rotary in at:
                yield hand, tuple(turned.values()), cost
        if 0 not in at and allowed.waits:
            yield _ALONE, self._entered(at), 0
        elif 0 in at and at[0] in allowed.waits:
            cost, mode = allowed.waits[at[0]]
            yield _ALONE, self._entered(at, mode), cost

    def _pays(self, rotary: int, meaning: TouchMeaning) -> bool:
        """Tell whether a touch is paid for here: steps that are wanted are paid by themselves."""
        if meaning.setting in self.allowed.wanted or (meaning.confirms and self.paid_apart):
            return False
        moved = [rotary, meaning.cursor, 0 if meaning.mode >= 0 else -1]
        payer = next((place for place in moved if place in self.allowed.matters), -1)
        return payer in self.places

    def _outcomes(self, turned: dict[int, int], meaning: TouchMeaning) -> Iterator[State]:
        moved, cursor = dict(turned), meaning.cursor
        if cursor in moved:
            moved[cursor] = self.allowed.wheel.places[cursor].moved(moved[cursor], meaning.by)
        if meaning.mode < 0 or 0 not in moved:
            yield tuple(moved.values())
        if meaning.mode >= 0:
            yield self._entered(moved, meaning.mode)

    def _entered(self, at: dict[int, int], mode: int = -1) -> State:
        """Return the state in another mode: what forgets is back at its start."""
        if at.get(0) == mode:
            return tuple(at.values())
        forgot = {
            place: self.allowed.wheel.places[place].start for place in self.allowed.forgetting
        }
        return tuple(mode if place == 0 else forgot.get(place, here) for place, here in at.items())

    def inside(self, when: When) -> list[State]:
        """Return the states in which a condition may hold."""
        there = dict(when)
        return [
            state
            for state in self.states
            if all(
                at in there.get(place, (at,)) for place, at in zip(self.places, state, strict=True)
            )
        ]

    def to(self, when: When) -> dict[int, dict[Any, int]]:
        """Return the least cost from every state to where a condition may hold, by the last
        hand.
        """
        mine = tuple((place, there) for place, there in when if place in self.places)
        if mine not in self.tables:
            single = len(self.places) == 1
            found: dict[int, dict[Any, int]] = {last: {} for last in (_OTHER, *self.owned)}
            queue = [(0, state, last) for state in self.inside(mine) for last in found]
            while queue:
                cost, state, last = heapq.heappop(queue)
                key = state[0] if single else state
                if cost < found[last].get(key, FAR):
                    found[last][key] = cost
                    for before, hand, more in self.back.get((state, last), ()):
                        heapq.heappush(queue, (cost + more, before, hand))
            self.tables[mine] = found
        return self.tables[mine]

    def least(
        self, table: Mapping[int, Mapping[Any, int]], begin: When, hands: Iterable[int]
    ) -> int:
        """Return the least of a table where another condition may hold, for one of some hands."""
        single = len(self.places) == 1
        lasts = {hand if hand in self.owned else _OTHER for hand in hands}
        keys = [state[0] if single else state for state in self.inside(begin)]
        return min((table[last].get(key, FAR) for last in lasts for key in keys), default=FAR)


@dataclass(frozen=True, slots=True)
class _Stop:
    """Where something is done: the parts that a condition tells of, each with what is to be paid to
    get there, and the hands that do it; ``blurred`` are parts that this may move as well.
    """

    when: When
    parts: Mapping[_Part, Mapping[int, Mapping[Any, int]]]
    hands: frozenset[int]
    blurred: frozenset[_Part] = frozenset()


@dataclass(frozen=True, slots=True)
class _Order:
    """Stops one after the other: the parts that must be brought to where the first that asks for
    them is, what is to be paid from then on, and what it costs to find a hand for the first stop,
    which is saved by one of ``hands`` where none of ``away`` is moved.
    """

    first: tuple[tuple[_Part, Mapping[int, Mapping[Any, int]]], ...]
    cost: int
    find: int
    hands: frozenset[int]
    away: frozenset[_Part]

    def left(self, places: Places, hand: int) -> int:
        """Return the least that is to be paid from a state on."""
        total, moved = self.cost, hand not in self.hands
        for part, table in self.first:
            far = table[hand if hand in part.owned else _OTHER].get(part.key(places), FAR)
            if far:
                total += far
                moved = moved or part in self.away
        return total + self.find if moved else total


class LeastCost:
    """Bounds of what is still to be paid."""

    def __init__(self, allowed: Allowed) -> None:
        """Look at the wheel's places apart."""
        self.allowed, self.drafted = allowed, allowed.drafted
        together = self._together()
        apart = any(self.drafted)
        self.parts = [_Part(allowed, together, apart)] if together else []
        self.parts += [
            _Part(allowed, (place,), apart)
            for place in sorted(allowed.matters)
            if place not in together
        ]
        for hand in {hand for part in self.parts for hand in part.hands}:
            # who moves a place by itself is found for that, else for the mode
            owner = next(part for part in reversed(self.parts) if hand in part.hands)
            owner.owned |= {hand} - {_ALONE}
        self.owned = set().union(*(part.owned for part in self.parts))
        self.stops = [self._stops(steps) for steps in allowed.stepping]
        self.confirms = self._stops(allowed.confirming) if apart else []
        self.meant = [self._stop(allowed.meant, ())] if allowed.meant else []
        self.confirming = min(  # a step that is wanted is paid as such, also where it confirms
            (
                0 if one.setting in allowed.wanted else allowed.costs[touch]
                for touch, one in allowed.confirming
            ),
            default=0,
        )
        self._orders: dict[tuple[tuple[int, ...], bool], list[_Order]] = {}
        self._known: dict[object, int] = {}

    def _together(self) -> tuple[int, ...]:
        """Return the mode and the places that decide how it changes, as far as they are few."""
        if 0 not in self.allowed.matters:
            return ()
        core, sizes = {0}, [len(place.values) for place in self.allowed.wheel.places]
        while True:
            more = set(core)
            for meanings in self.allowed.meanings:
                for one in meanings:
                    if self.allowed.useful(one) and self.allowed.moved(one) & core:
                        more |= {place for place, _ in one.when}
            if more == core or math.prod(sizes[place] for place in more) > _MOST_TOGETHER:
                return tuple(sorted(core))
            core = more

    def _stops(self, steps: Sequence[tuple[int, TouchMeaning]]) -> list[_Stop]:
        by_when: dict[When, list[tuple[int, TouchMeaning]]] = {}
        for touch, one in steps:
            by_when.setdefault(one.when, []).append((touch, one))
        return [self._stop(when, several) for when, several in by_when.items()]

    def _stop(self, when: When, steps: Iterable[tuple[int, TouchMeaning]]) -> _Stop:
        named = {place for place, _ in when}
        moved = set[int]()
        for touch, one in steps:
            moved |= {self.allowed.wheel.touches[touch].rotary, *self.allowed.moved(one)}
        return _Stop(
            when,
            {part: part.to(when) for part in self.parts if named & set(part.places)},
            frozenset(self.allowed.hands[touch] for touch, _ in steps),
            frozenset(part for part in self.parts if moved & set(part.places)),
        )

    def _find(self, stop: _Stop) -> int:
        """Return what it costs to find a hand for a stop, where no part pays for that."""
        if not stop.hands or not self.owned.isdisjoint(stop.hands):
            return 0
        return min(map(self.allowed.finds.__getitem__, stop.hands))

    def _order(self, stops: Sequence[_Stop], confirmed: int) -> _Order:
        """Return what one order of stops costs; ``confirmed`` comes on top."""
        cost, before = confirmed, dict[_Part, _Stop]()
        first: dict[_Part, Mapping[int, Mapping[Any, int]]] = {}
        for number, stop in enumerate(stops):
            again = bool(number) and stop.hands.isdisjoint(stops[number - 1].hands)
            for part, table in stop.parts.items():
                if part not in before:
                    first[part] = table
                elif part not in before[part].blurred:
                    far = part.least(table, before[part].when, before[part].hands)
                    cost += far
                    if far and before[part] is stops[number - 1]:
                        again = again or part.hands.isdisjoint((*stop.hands, _ALONE))
                before[part] = stop
            for part in stop.blurred - stop.parts.keys():
                before[part] = stop
            cost += self._find(stop) if again else 0
        one = stops[0]
        away = (part for part in one.parts if part.hands.isdisjoint((*one.hands, _ALONE)))
        return _Order(tuple(first.items()), cost, self._find(one), one.hands, frozenset(away))

    def orders(self, open_ones: tuple[int, ...], *, drafts: bool) -> list[_Order]:
        """Return every order in which the open settings may be completed, and in which of their
        places: of so many of them as have not too many.
        """
        found = self._orders.get((open_ones, drafts))
        if found is not None:
            return found
        choices: list[list[_Stop]] = []
        several = 1
        for place, number in enumerate(open_ones, start=1):
            several *= place * len(self.stops[number])
            if several > _MOST_ORDERS:
                break
            choices.append(self.stops[number])
        found = []
        for stops in itertools.product(*choices):
            for order in itertools.permutations(range(len(stops))):
                last = self._confirmed(open_ones[order[-1]]) if order else 0
                ways = [*(stops[place] for place in order), *self.meant]
                found.append(self._order(ways, last) if ways else _NOTHING)
        if not open_ones and drafts and self.confirms:
            found = [self._order([stop, *self.meant], 0) for stop in self.confirms]
        self._orders[open_ones, drafts] = found
        return found

    def _confirmed(self, last: int) -> int:
        """Return what it costs to find what makes a draft count that was stepped last."""
        if not self.drafted[last] or not self.confirms:
            return 0
        hands = frozenset().union(*(stop.hands for stop in self.confirms))
        mine = frozenset().union(*(stop.hands for stop in self.stops[last]))
        return 0 if hands & mine else min(map(self.allowed.finds.__getitem__, hands))

    def left(self, places: Places, hand: int, open_ones: tuple[int, ...], *, drafts: bool) -> int:
        """Return the least that is still to be paid, but for the steps themselves: for settings
        that are still open, and for ``drafts`` that do not count yet.
        """
        key = (places, hand, open_ones, drafts)
        found = self._known.get(key)
        if found is None:
            orders = self.orders(open_ones, drafts=drafts)
            found = min((order.left(places, hand) for order in orders), default=FAR)
            if drafts or any(self.drafted[number] for number in open_ones):
                found += self.confirming
            self._known[key] = found
        return found


_NOTHING = _Order((), 0, 0, frozenset(), frozenset())  # is left to be paid
