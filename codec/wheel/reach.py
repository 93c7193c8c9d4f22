"""Where a wheel's places can stand, counted exactly without making their product.

Places that decide each other's moves stand in one group, which is walked whole. A group that moves
by what another one shows, but not the other way round, is walked by itself with the other taken to
stand wherever it can: that is exact as long as the other can always get back to where it was, and
where it can't they are made one group.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from typing import TYPE_CHECKING

from codec.wheel.wheel import TouchMeaning, Wheel
from grammar.errors import Problem

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Codes = NDArray[np.int64]
    Digits = NDArray[np.intp]

MOST_STATES = 250_000  # of one group, that are walked
_MOST_CODE = 2**62


@dataclass(frozen=True)
class PlaceGroup:
    """Places that hang together, and all ways in which they can stand: ``digits`` has a row for
    each, the first that of the start, and ``following`` where each touch (or time) leads.
    """

    places: tuple[int, ...]
    digits: Digits
    following: list[Digits]
    returns: NDArray[np.bool_]  # whether the start can be reached from it again

    @property
    def size(self) -> int:
        """How many ways there are in which they can stand."""
        return len(self.digits)

    def standing(self, meaning: TouchMeaning) -> NDArray[np.bool_]:
        """Tell of each way to stand whether a meaning's condition, as far as it is of these places,
        holds.
        """
        return _holding(self.digits, self.places, meaning.when)

    def leading_to(self, goals: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Tell of each way to stand whether one of the goals can be reached from it."""
        return _leading_to(goals, self.following)


@dataclass(frozen=True)
class Reach:
    """Every group of a wheel's places, with all they can do."""

    wheel: Wheel
    groups: tuple[PlaceGroup, ...]

    @property
    def states(self) -> int:
        """How many states the places have together, exactly."""
        return math.prod(group.size for group in self.groups)

    def holds(self, *meanings: TouchMeaning) -> bool:
        """Tell whether the conditions of meanings can hold together."""
        return all(bool(_all_standing(group, meanings).any()) for group in self.groups)


def _all_standing(group: PlaceGroup, meanings: Sequence[TouchMeaning]) -> NDArray[np.bool_]:
    found = group.standing(meanings[0])
    for one in meanings[1:]:
        found = found & group.standing(one)
    return found


def reach(wheel: Wheel) -> Reach:
    """Return where the places can stand; raises Problem where too many hang together."""
    groups = [frozenset((place,)) for place in range(len(wheel.places))]
    while True:
        groups, order = _joined(wheel, groups)
        found: dict[frozenset[int], PlaceGroup] = {}
        again = False
        for group in order:
            found[group] = _walked(wheel, tuple(sorted(group)), list(found.values()))
            movers = [other for other in groups if group in _read_by(wheel, other, groups)]
            if movers and not bool(found[group].returns.all()):
                groups = [
                    *(one for one in groups if one != group and one not in movers),
                    group.union(*movers),
                ]
                again = True
                break
        if not again:
            return Reach(wheel, tuple(found.values()))


def _moves(wheel: Wheel, meaning: TouchMeaning) -> set[int]:
    """Return the places that a meaning changes, beside the rotary turned."""
    moved = {meaning.cursor} if meaning.cursor >= 0 else set()
    if meaning.mode >= 0:
        moved |= {0} | {n for n, place in enumerate(wheel.places) if not place.remembers}
    return moved


def _reads(meaning: TouchMeaning) -> set[int]:
    return {place for place, _ in meaning.when}


def _steps(wheel: Wheel) -> Iterator[tuple[set[int], set[int]]]:
    """Yield what is read and what is changed by each thing that changes places."""
    for touch, meanings in zip(wheel.touches, wheel.meanings, strict=True):
        if touch.rotary >= 0:
            yield set(), {touch.rotary}
        for meaning in meanings:
            moved = _moves(wheel, meaning)
            if moved and touch.rotary >= 0:  # the turn and the rest are one move
                yield set(), moved | {touch.rotary} | _reads(meaning)
            elif moved:
                yield _reads(meaning), moved
    if wheel.alone:
        yield {0}, {0} | {n for n, place in enumerate(wheel.places) if not place.remembers}


def _read_by(
    wheel: Wheel, group: frozenset[int], groups: Sequence[frozenset[int]]
) -> set[frozenset[int]]:
    """Return the other groups whose places decide how a group moves."""
    read = set().union(*(reads for reads, moved in _steps(wheel) if moved & group))
    return {other for other in groups if other != group and other & read}


def _joined(
    wheel: Wheel, groups: list[frozenset[int]]
) -> tuple[list[frozenset[int]], list[frozenset[int]]]:
    """Join groups that move at once or decide each other; return them, and in an order in which
    each stands behind those that decide it.
    """
    for _, moved in _steps(wheel):
        touched = [group for group in groups if group & moved]
        if len(touched) > 1:
            groups = [group for group in groups if not group & moved]
            groups.append(frozenset().union(*touched))
    while True:
        graph = {group: _read_by(wheel, group, groups) for group in groups}
        try:
            return groups, list(TopologicalSorter(graph).static_order())
        except CycleError as error:
            circle = set(error.args[1])
            groups = [group for group in groups if group not in circle]
            groups.append(frozenset().union(*circle))


def _walked(wheel: Wheel, places: tuple[int, ...], known: Sequence[PlaceGroup]) -> PlaceGroup:
    """Walk a group from the start, a ring of new states at a time."""
    import numpy as np

    sizes = [len(wheel.places[place].values) for place in places]
    if math.prod(sizes) > _MOST_CODE:
        raise _too_many(wheel, places)
    radix = np.cumprod([1, *sizes[:-1]], dtype=np.int64)
    steps = list(_group_steps(wheel, places, known))
    start = np.array([[wheel.places[place].start for place in places]], dtype=np.intp)
    seen = (start @ radix).astype(np.int64)
    ring, order = start, [start]
    while len(ring):
        following = np.concatenate([step(ring) for step in steps]) if steps else ring[:0]
        codes, first = np.unique((following @ radix).astype(np.int64), return_index=True)
        at = np.searchsorted(seen, codes)
        new = (at == len(seen)) | (seen[np.minimum(at, len(seen) - 1)] != codes)
        ring = following[first[new]]
        seen = np.union1d(seen, codes)
        order.append(ring)
        if len(seen) > MOST_STATES:
            raise _too_many(wheel, places)
    digits = np.concatenate(order)
    codes = (digits @ radix).astype(np.int64)
    place_of = np.argsort(codes)
    ranked = codes[place_of]
    following_ones = [
        place_of[np.searchsorted(ranked, (step(digits) @ radix).astype(np.int64))] for step in steps
    ]
    goal = np.zeros(len(digits), dtype=np.bool_)
    goal[0] = True
    return PlaceGroup(places, digits, following_ones, _leading_to(goal, following_ones))


def _too_many(wheel: Wheel, places: Sequence[int]) -> Problem:
    named = ", ".join(wheel.places[place].name for place in places[:8])
    cursor = next((n for n in places if not wheel.places[n].remembers), None)
    keys = ("does",) if cursor is None else ("cursors", wheel.places[cursor].name)
    hint = (
        "let what chooses not also change the mode"
        if cursor is None
        else "let cursors remember, or give each menu a mode of its own"
    )
    message = f"more than {MOST_STATES:,} states hang together: {named}"
    return Problem(keys, message, hint)


def _leading_to(goals: NDArray[np.bool_], following: Sequence[Digits]) -> NDArray[np.bool_]:
    found = goals.copy()
    while True:
        more = found.copy()
        for step in following:
            more |= more[step]
        if int(more.sum()) == int(found.sum()):
            return found
        found = more


def _holding(
    digits: Digits, places: Sequence[int], when: Sequence[tuple[int, frozenset[int]]]
) -> NDArray[np.bool_]:
    import numpy as np

    found = np.ones(len(digits), dtype=np.bool_)
    for place, allowed in when:
        if place in places:
            found &= np.isin(digits[:, places.index(place)], list(allowed))
    return found


@dataclass(frozen=True)
class _GroupStep:
    """What one touch, or time, does to a group's places, all its states at once; ``meaning`` is
    what else it may do there, besides turning its rotary.
    """

    wheel: Wheel
    places: tuple[int, ...]
    rotary: int
    way: int
    meanings: tuple[TouchMeaning, ...]

    def __call__(self, digits: Digits) -> Digits:
        import numpy as np

        moved = digits.copy()
        if self.rotary in self.places:
            column = self.places.index(self.rotary)
            moved[:, column] = self._moved(self.rotary, digits[:, column], self.way)
        undone = np.ones(len(digits), dtype=np.bool_)
        for meaning in self.meanings:
            held = undone & _holding(digits, self.places, meaning.when)
            undone &= ~held
            if meaning.cursor in self.places:
                column = self.places.index(meaning.cursor)
                moved[held, column] = self._moved(meaning.cursor, digits[held, column], meaning.by)
            if meaning.mode >= 0 and 0 in self.places:
                self._enter(digits, moved, held, meaning.mode)
        return moved

    def _enter(self, digits: Digits, moved: Digits, held: NDArray[np.bool_], mode: int) -> None:
        column = self.places.index(0)
        changed = held & (digits[:, column] != mode)
        moved[changed, column] = mode
        for number, place in enumerate(self.places):
            if not self.wheel.places[place].remembers:
                moved[changed, number] = self.wheel.places[place].start

    def _moved(self, place: int, at: Digits, by: int) -> Digits:
        import numpy as np

        one = self.wheel.places[place]
        size = len(one.values)
        return (at + by) % size if one.wraps else np.clip(at + by, 0, size - 1)


def _group_steps(
    wheel: Wheel, places: tuple[int, ...], known: Sequence[PlaceGroup]
) -> Iterator[_GroupStep]:
    """Yield what can happen to a group. What else decides a touch stands wherever it can: each
    meaning that can hold there may be what the touch does, and so may none.
    """

    def possible(meaning: TouchMeaning) -> bool:
        return all(bool(group.standing(meaning).any()) for group in known)

    inside = set(places)
    for touch, all_meanings in zip(wheel.touches, wheel.meanings, strict=True):
        moving = [one for one in all_meanings if _moves(wheel, one) & inside and possible(one)]
        within = tuple(one for one in moving if _reads(one) <= inside)
        if touch.rotary in inside or within:
            yield _GroupStep(wheel, places, touch.rotary, touch.way, within)
        for one in moving:
            if one not in within:
                yield _GroupStep(wheel, places, -1, touch.way, (one,))
    if 0 in inside:
        for mode, (_, following) in wheel.alone.items():
            left = TouchMeaning(((0, frozenset((mode,))),), -1, mode=following)
            yield _GroupStep(wheel, places, -1, 0, (left,))
