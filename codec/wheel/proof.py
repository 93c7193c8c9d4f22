"""What is proven of a wheel, or shown with the shortest way there: that every setting can be
reached, that no touch means two things, and that nothing leads where something is lost.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

from codec.wheel.reach import PlaceGroup, Reach, reach
from codec.wheel.way import way_to
from codec.wheel.wheel import TouchMeaning, Wheel, pressed
from grammar.errors import Problem, counted, listed

_MOST_TOLD = 20  # problems of one kind


@dataclass(frozen=True, slots=True)
class WheelFigures:
    """How much there is to a wheel, exactly: states of its places, positions of all settings
    together, and ``combinations``, both at once.
    """

    controls: int
    touches: int
    settings: int
    states: int
    positions: int

    @property
    def combinations(self) -> int:
        """Every way in which the wheel can stand."""
        return self.states * self.positions

    def as_dict(self) -> dict[str, int]:
        """Return the facts for programs."""
        return {
            "controls": self.controls,
            "touches": self.touches,
            "settings": self.settings,
            "states": self.states,
            "positions": self.positions,
            "combinations": self.combinations,
        }


def wheel_figures(wheel: Wheel) -> WheelFigures:
    """Return the figures of a wheel that was proven."""
    known = reach(wheel)
    positions = 1
    for name in wheel.spec.settings:
        positions *= len(_positions(wheel, name, _moving(known, name)))
    return WheelFigures(
        len(wheel.spec.controls),
        len(wheel.touches),
        len(wheel.spec.settings),
        known.states,
        positions,
    )


def prove(wheel: Wheel) -> Iterator[Problem]:
    """Yield all that is wrong with a wheel."""
    try:
        known = reach(wheel)
    except Problem as problem:
        yield problem
        return
    twice = list(itertools.islice(_two_meanings(wheel, known), _MOST_TOLD))
    yield from twice
    yield from itertools.islice(_never(wheel, known), _MOST_TOLD)
    yield from itertools.islice(_unreached(wheel, known), _MOST_TOLD)
    if not twice:
        yield from itertools.islice(_dead_ends(wheel, known), _MOST_TOLD)


def _rule(wheel: Wheel, meaning: TouchMeaning) -> str:
    """Return what a meaning does in words."""
    told = []
    if meaning.setting:
        verb = "sets" if meaning.to is not None else "moves"
        told.append(f"{verb} {meaning.setting}")
    if meaning.cursor >= 0:
        told.append(f"moves {wheel.places[meaning.cursor].name}")
    if meaning.mode >= 0:
        told.append(f"goes to {wheel.places[0].values[meaning.mode]}")
    if meaning.confirms:
        told.append("confirms")
    if meaning.acts:
        told.append(meaning.acts)
    return " and ".join(told)


def _there(wheel: Wheel, *meanings: TouchMeaning) -> str:
    """Return where conditions hold together, and the shortest way there."""
    way = way_to(wheel, *meanings)
    if way is None:  # pragma: no cover - what can hold can be come to
        return ""
    if not way.touches:
        return f"at the start: {wheel.in_words(way.ends.places)}"
    return f"after {pressed(way.touches)}: {wheel.in_words(way.ends.places)}"


def _two_meanings(wheel: Wheel, known: Reach) -> Iterator[Problem]:
    for touch, meanings in zip(wheel.touches, wheel.meanings, strict=True):
        told: set[tuple[int, int]] = set()
        for one, other in itertools.combinations(meanings, 2):
            pair = (one.rule, other.rule)
            if pair in told or not _together(one, other) or not known.holds(one, other):
                continue
            told.add(pair)
            message = (
                f"{touch.name!r} means two things, {_rule(wheel, one)} (does.{one.rule}) and"
                f" {_rule(wheel, other)},"
                f"\n    {_there(wheel, one, other)}"
            )
            hint = "let `when` of one of them leave that state to the other"
            yield Problem(("does", other.rule), message, hint)


def _together(one: TouchMeaning, other: TouchMeaning) -> bool:
    """Tell whether two conditions do not exclude each other by one place."""
    others = dict(other.when)
    return all(bool(allowed & others.get(place, allowed)) for place, allowed in one.when)


def _never(wheel: Wheel, known: Reach) -> Iterator[Problem]:
    """Yield rules whose condition never holds."""
    held: set[int] = set()
    rules: dict[int, TouchMeaning] = {}
    for meanings in wheel.meanings:
        for meaning in meanings:
            rules.setdefault(meaning.rule, meaning)
            if meaning.rule not in held and known.holds(meaning):
                held.add(meaning.rule)
    for number in sorted(rules.keys() - held):
        when = [
            f"{wheel.places[place].name} {listed([wheel.places[place].values[n] for n in allowed])}"
            for place, allowed in rules[number].when
        ]
        message = f"no touches lead to where it holds: {', '.join(when)}"
        yield Problem(("does", number), message, "say what leads there, or remove it")


def _moving(known: Reach, setting: str) -> list[TouchMeaning]:
    """Return the meanings of touches that can move a setting."""
    return [
        one
        for meanings in known.wheel.meanings
        for one in meanings
        if one.setting == setting and known.holds(one)
    ]


def _positions(wheel: Wheel, setting: str, moving: list[TouchMeaning]) -> dict[int, int]:
    """Return the positions that a setting can come to from its start, each with that before it."""
    first = wheel.start.settings[setting]
    found, ring = {first: first}, [first]
    while ring:
        following = []
        for at in ring:
            for one in moving:
                moved = wheel.stepped(setting, at, one)
                if moved not in found:
                    found[moved] = at
                    following.append(moved)
        ring = following
    return found


def _unreached(wheel: Wheel, known: Reach) -> Iterator[Problem]:
    """Yield settings that nothing moves, positions that none comes to, and those it stays at."""
    for name, spec in wheel.spec.settings.items():
        keys, written = (
            ("settings", name),
            any(one.setting == name for meanings in wheel.meanings for one in meanings),
        )
        moving = _moving(known, name)
        if not moving:
            message = "no touches lead to where it is moved" if written else "no touch moves it"
            hint = "say which in a [[does]], or remove the setting"
            yield Problem(keys, message, hint)
            continue
        found = _positions(wheel, name, moving)
        missing = [wheel.shown(name, n) for n in range(spec.count) if n not in found]
        if missing:
            told = ", ".join(map(str, missing[:8])) + (" …" if len(missing) > 8 else "")
            message = f"{counted(len(missing), 'position')} no touches lead to: {told}"
            yield Problem(keys, message, "let a touch move it by less, or the other way")
        stuck = [at for at in found if at not in _returning(wheel, name, moving, found)]
        if stuck:
            shown = wheel.shown(name, stuck[0])
            message = f"position {shown} is a dead end: no touches lead back from it"
            yield Problem(keys, message, "let a touch move it the other way, or let it wrap")


def _returning(
    wheel: Wheel, name: str, moving: list[TouchMeaning], found: dict[int, int]
) -> set[int]:
    """Return the positions from which the start can be come to again."""
    back: dict[int, set[int]] = {}
    for at in found:
        for one in moving:
            back.setdefault(wheel.stepped(name, at, one), set()).add(at)
    seen = {wheel.start.settings[name]}
    ring = list(seen)
    while ring:
        ring = [at for there in ring for at in back.get(there, ()) if at not in seen]
        seen.update(ring)
    return seen


def _dead_ends(wheel: Wheel, known: Reach) -> Iterator[Problem]:
    """Yield states from which a setting that could be moved can't be any more."""
    for group in known.groups:
        if bool(group.returns.all()):
            continue  # whatever could be done can be done again
        for name in wheel.spec.settings:
            moving = _moving(known, name)
            problem = _lost(wheel, group, name, moving) if moving else None
            if problem is not None:
                yield problem
                break  # one way into it is enough


def _lost(wheel: Wheel, group: PlaceGroup, name: str, moving: list[TouchMeaning]) -> Problem | None:
    import numpy as np

    goals = np.zeros(group.size, dtype=np.bool_)
    for one in moving:
        goals |= group.standing(one)
    lost = np.flatnonzero(~group.leading_to(goals))
    if not len(lost):
        return None
    row = group.digits[lost[0]]  # those nearest to the start stand first
    here = tuple(
        (place, frozenset((int(at),))) for place, at in zip(group.places, row, strict=True)
    )
    there = _there(wheel, TouchMeaning(here, -1))
    mode = wheel.places[0].values[int(row[group.places.index(0)])] if 0 in group.places else ""
    message = f"a dead end: {name} can't be changed any more\n    {there}"
    hint = "say what leads on from there, or let time do (`left_alone`)"
    return Problem(("modes", mode) if mode else ("does",), message, hint)
