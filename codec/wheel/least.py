"""The least that is still to be paid on a wheel until what is wanted is there: never more than it
is, so that a search that goes by it finds the cheapest way.

Places are looked at apart: the mode with all that decides how it changes together, as far as that
is small, each other place by itself; the rest may stand anywhere. What a touch costs is paid in one
of them, so their sums are bounds. A way completes the settings wanted in some order, and makes what
it drafted last count: each part is led through all these stops in a row, so that it brings what the
next one asks from where it was left. A hand that moves places must be found, and then that which
steps. The cheapest order is the bound (M. Held and R. M. Karp, Journal of the Society for
Industrial and Applied Mathematics 10, 1962).
"""

from __future__ import annotations

import functools
import heapq
import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from codec.wheel.wheel import Places, TouchMeaning, Wheel

FAR = 10**15
_MOST_TOGETHER = 2000  # states of places that are looked at together
_MOST_ORDERS = 150  # in which settings may be completed; of more settings the rest lies on the way
_NO_MODE = -1
_ALONE = -1  # in place of a hand: it moves when left alone
_OTHER = -2  # any hand but those that count
State = tuple[int, ...]
When = tuple[tuple[int, frozenset[int]], ...]


def all_hold(when: Iterable[tuple[int, frozenset[int]]], places: Places) -> bool:
    """Tell whether a condition holds as far as it matters: the rest may stand anywhere."""
    for place, allowed in when:  # noqa: SIM110 - a third of the time of a search is spent here
        if places[place] not in allowed:
            return False
    return True


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
        self.helping = [list(filter(self.useful, meanings)) for meanings in self.meanings]
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


@dataclass(frozen=True, slots=True)
class _Leg:
    """A stop as a part has it: where the part must stand, who may make the touch there, as numbers
    of its ``lasts``, and whether it may stand anywhere after that, ``blurred``.
    """

    when: When
    hands: tuple[int, ...]
    blurred: bool


@dataclass(eq=False)
class _Part:
    """Places looked at together: every move of theirs, and who makes it. ``owned`` are the hands
    whose finding is paid here: a table of what is still to be paid tells it for every state, and
    in each for every one of ``lasts``, the last hand that was used as far as it is one of them.
    """

    allowed: Allowed
    places: tuple[int, ...]
    paid_apart: bool  # whether the touch that makes drafts count is paid elsewhere
    owned: set[int] = field(default_factory=set)
    tables: dict[tuple[_Leg, ...], list[int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        every = self.allowed.wheel.places
        self.sizes = [(place, len(every[place].values)) for place in self.places]
        self.states = list(itertools.product(*(range(size) for _, size in self.sizes)))
        numbers = {state: number for number, state in enumerate(self.states)}
        self.moves = [
            (hand, numbers[before], numbers[after], cost)
            for hand, before, after, cost in self._moves()
            if before != after
        ]
        self.hands = {hand for hand, *_ in self.moves}

    @functools.cached_property
    def lasts(self) -> dict[int, int]:
        """The hands that were used last, each with its number; any other is the first."""
        return {hand: number for number, hand in enumerate((_OTHER, *sorted(self.owned)))}

    def at(self, places: Places, hand: int) -> int:
        """Return where a table tells of a state and the last hand."""
        state = 0
        for place, size in self.sizes:
            state = state * size + places[place]
        return state * len(self.lasts) + self.lasts.get(hand, 0)

    @functools.cached_property
    def back(self) -> list[list[tuple[int, int]]]:
        """Every move backwards: from where in a table it comes, at what cost."""
        width = len(self.lasts)
        found: list[list[tuple[int, int]]] = [[] for _ in range(len(self.states) * width)]
        for state in range(0, len(found), width):  # no hand is worth less than any
            found[state] += [(state + last, 0) for last in range(1, width)]
        for hand, before, after, cost in self.moves:
            if hand == _ALONE:
                for last in range(width):
                    found[after * width + last].append((before * width + last, cost))
                continue
            now = self.lasts.get(hand, 0)
            there, find = found[after * width + now], self.allowed.finds[hand] if now else 0
            there.append((before * width, find + cost))
            if now:
                there.append((before * width + now, cost))
        return found

    def _moves(self) -> Iterator[tuple[int, State, State, int]]:
        """Yield what may move these places, from where, where to, and what of it is paid here."""
        allowed, mine = self.allowed, frozenset(self.places)
        for touch in allowed.touches:
            moved = {place for one in allowed.helping[touch] for place in allowed.moved(one)}
            if not mine.isdisjoint({allowed.wheel.touches[touch].rotary, *moved}):
                for before, after, cost in self._touched(touch):
                    yield allowed.hands[touch], before, after, cost
        for state in self.states if allowed.waits else ():
            if 0 not in mine:
                yield _ALONE, state, self._entered(state), 0
            elif state[0] in allowed.waits:
                cost, mode = allowed.waits[state[0]]
                yield _ALONE, state, self._entered(state, mode), cost

    def _touched(self, touch: int) -> Iterator[tuple[State, State, int]]:
        """Yield from where to where a touch may move these places, and what of it is paid here."""
        allowed, mine = self.allowed, {place: at for at, place in enumerate(self.places)}
        one, cost = allowed.wheel.touches[touch], allowed.costs[touch]
        at_rotary, places = mine.get(one.rotary, -1), allowed.wheel.places
        meanings = [
            (
                [(mine[place], there) for place, there in meaning.when if place in mine],
                meaning if allowed.useful(meaning) else None,
                cost if self._pays(one.rotary, meaning) else 0,
                all(place in mine for place, _ in meaning.when),
            )
            for meaning in allowed.meanings[touch]
        ]
        for state in self.states:
            turned, told = list(state), False
            if at_rotary >= 0:
                turned[at_rotary] = places[one.rotary].moved(state[at_rotary], one.way)
            for when, helping, paid, whole in meanings:
                if all_hold(when, state):
                    told = told or whole
                    for after in self._outcomes(turned, helping) if helping else ():
                        yield state, after, paid
            if not told and at_rotary >= 0:
                yield state, tuple(turned), cost

    def _pays(self, rotary: int, meaning: TouchMeaning) -> bool:
        """Tell whether a touch is paid for here: steps that are wanted are paid by themselves."""
        if meaning.setting in self.allowed.wanted or (meaning.confirms and self.paid_apart):
            return False
        moved = [rotary, meaning.cursor, 0 if meaning.mode >= 0 else -1]
        payer = next((place for place in moved if place in self.allowed.matters), -1)
        return payer in self.places

    def _outcomes(self, turned: Sequence[int], meaning: TouchMeaning) -> Iterator[State]:
        moved, cursor = list(turned), meaning.cursor
        if cursor in self.places:
            at = self.places.index(cursor)
            moved[at] = self.allowed.wheel.places[cursor].moved(moved[at], meaning.by)
        if meaning.mode < 0 or 0 not in self.places:
            yield tuple(moved)
        if meaning.mode >= 0:
            yield self._entered(moved, meaning.mode)

    def _entered(self, state: Sequence[int], mode: int = -1) -> State:
        """Return the state in another mode: what forgets is back at its start."""
        if self.places[0] == 0 and state[0] == mode:
            return tuple(state)
        every, forgetting = self.allowed.wheel.places, self.allowed.forgetting
        return tuple(
            mode if place == 0 else every[place].start if place in forgetting else at
            for place, at in zip(self.places, state, strict=True)
        )

    def legs(self, stops: Iterable[_Stop]) -> tuple[_Leg, ...]:
        """Return a row of stops as this part has it, without those that ask nothing of it."""
        found: list[_Leg] = []
        for stop in stops:
            when = tuple((place, there) for place, there in stop.when if place in self.places)
            blurred = not stop.moved.isdisjoint(self.places)
            hands = tuple(sorted({self.lasts.get(hand, 0) for hand in stop.hands}))
            leg = _Leg(when, hands, blurred)
            if (when or blurred) and (blurred or leg not in found[-1:]):
                found.append(leg)
        while found and not found[-1].when:
            found.pop()
        return tuple(found)

    def table(self, legs: tuple[_Leg, ...]) -> list[int]:
        """Return the least cost from everywhere to the first leg, and on to all that follow: never
        more than it is, as what moves the part, and finds a hand of its own anew, is paid once.
        """
        found = self.tables.get(legs)
        if found is None:
            least = [FAR] * len(self.back)
            queue = list(self._ending(*legs))
            heapq.heapify(queue)
            while queue:
                cost, here = heapq.heappop(queue)
                if cost < least[here]:
                    least[here] = cost
                    for before, more in self.back[here]:
                        if cost + more < least[before]:
                            heapq.heappush(queue, (cost + more, before))
            found = self.tables[legs] = least
        return found

    def _ending(self, one: _Leg, *legs: _Leg) -> Iterator[tuple[int, int]]:
        """Yield where in a table the first leg may end, with what is still to be paid there."""
        width = len(self.lasts)
        further = self.table(legs) if legs else [0] * len(self.back)
        finds = [self.allowed.finds[hand] if hand in self.owned else 0 for hand in self.lasts]
        anywhere = [min(further[last::width]) for last in range(width)]
        when = [(self.places.index(place), there) for place, there in one.when]
        for number, state in enumerate(self.states):
            if all_hold(when, state):
                begin = number * width
                left = anywhere if one.blurred else further[begin : begin + width]
                other = min((finds[hand] + left[hand] for hand in one.hands), default=0)
                yield other, begin
                for hand in filter(None, one.hands):
                    yield left[hand], begin + hand


@dataclass(frozen=True, slots=True)
class _Stop:
    """Where something is done: the parts that a condition tells of, the hands that do it, and the
    places that this may move as well. ``find`` is what it costs to find such a hand, where no part
    pays for that, and ``away`` the part of the condition that no such hand brings about.
    """

    when: When
    hands: frozenset[int]
    moved: frozenset[int]
    find: int
    away: When

    def anew(self, before: _Stop) -> bool:
        """Tell whether a hand must be found anew after another stop: none of its hands did that, or
        another has to move something in between.
        """
        stood = dict(before.when)
        return self.hands.isdisjoint(before.hands) or any(
            place in stood and place not in before.moved and there.isdisjoint(stood[place])
            for place, there in self.away
        )


@dataclass(frozen=True, slots=True)
class _Order:
    """Stops one after the other: the parts that lead there, by number, with what is to be paid from
    each state, and what hands cost that must be found, which for the first stop is saved by one of
    its own where it stands.
    """

    tables: tuple[tuple[int, list[int]], ...]
    cost: int
    first: _Stop

    def left(self, places: Places, hand: int, at: Sequence[int]) -> int:
        """Return the least that is to be paid from a state on, given where in the tables it is."""
        total, first = self.cost, self.first
        for part, table in self.tables:
            total += table[at[part]]
        there = hand in first.hands and all_hold(first.away, places)
        return total if there else total + first.find


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
            for meanings in self.allowed.helping:
                for one in meanings:
                    if self.allowed.moved(one) & core:
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
        allowed, hands, moved = self.allowed, set[int](), set[int]()
        for touch, one in steps:
            hands.add(allowed.hands[touch])
            moved |= {allowed.wheel.touches[touch].rotary, *allowed.moved(one)}
        paid = not hands or not self.owned.isdisjoint(hands)
        find = 0 if paid else min(map(allowed.finds.__getitem__, hands))
        others = [part for part in self.parts if part.hands.isdisjoint((*hands, _ALONE))]
        away = [asked for asked in when if any(asked[0] in part.places for part in others)]
        return _Stop(when, frozenset(hands), frozenset(moved), find, tuple(away))

    def orders(self, open_ones: tuple[int, ...], *, drafts: bool) -> list[_Order]:
        """Return every order in which the open settings may be completed, and in which of their
        places: of so many of them as have not too many. What is drafted last is confirmed then.
        """
        found = self._orders.get((open_ones, drafts))
        if found is not None:
            return found
        choices: list[list[_Stop]] = []
        several = 1
        for number in open_ones:
            more = several * (len(choices) + 1) * len(self.stops[number])
            if more > _MOST_ORDERS:
                break
            several = more
            choices.append(self.stops[number])
        found = []
        confirms = self.confirms if several * len(self.confirms) <= _MOST_ORDERS else []
        for stops in itertools.product(*choices):
            for order in itertools.permutations(range(len(stops))):
                drafted = self.drafted[open_ones[order[-1]]] if order else drafts and not open_ones
                row = [stops[place] for place in order]
                for ending in ([one] for one in confirms) if drafted and confirms else ([],):
                    found.append(self._order([*row, *ending, *self.meant]))
        self._orders[open_ones, drafts] = found
        return found

    def _order(self, stops: Sequence[_Stop]) -> _Order:
        legs = [part.legs(stops) for part in self.parts]
        tables = [
            (number, part.table(row))
            for number, (part, row) in enumerate(zip(self.parts, legs, strict=True))
            if row
        ]
        anew = sum(stop.find for before, stop in itertools.pairwise(stops) if stop.anew(before))
        return _Order(tuple(tables), anew, stops[0] if stops else _NOWHERE)

    def left(self, places: Places, hand: int, open_ones: tuple[int, ...], *, drafts: bool) -> int:
        """Return the least that is still to be paid, but for the steps themselves: for settings
        that are still open, and for ``drafts`` that do not count yet.
        """
        key = (places, hand, open_ones, drafts)
        found = self._known.get(key)
        if found is None:
            at = [part.at(places, hand) for part in self.parts]
            orders = self.orders(open_ones, drafts=drafts)
            found = min((order.left(places, hand, at) for order in orders), default=FAR)
            if drafts or any(self.drafted[number] for number in open_ones):
                found += self.confirming
            self._known[key] = found
        return found


_NOWHERE = _Stop((), frozenset(), frozenset(), 0, ())
