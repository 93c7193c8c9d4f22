"""Small wheels of every kind, and what trying everything finds on them."""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator
from typing import Any

from hypothesis import strategies as st

from codec.wheel import Wheel, WheelState, priced
from codec.wheel.compiling import compiled_wheel
from codec.wheel.map import WheelMapSpec
from codec.wheel.wheel import Places
from grammar.errors import Problem

SETTINGS = ("first", "second", "third")


@st.composite
def wheels(draw: st.DrawFn) -> Wheel:
    """Draw a wheel of up to three modes, a rotary, a cursor and three settings; of each touch at
    most one meaning holds, as each is of a mode of its own.
    """
    modes = [f"m{n}" for n in range(draw(st.integers(1, 3)))]
    controls: dict[str, Any] = {
        "turn": {
            "kind": "rotary",
            "positions": ["first", "second", "other"][: draw(st.integers(2, 3))],
            "wraps": draw(st.booleans()),
        },
        "thumb": {"kind": "encoder"},
        "pair": {"kind": "paddles"},
        "ok": {"kind": "button", "long": 0.8},
    }
    for control in controls.values():
        control |= {
            "seconds": draw(st.sampled_from([0.2, 0.3, 0.5])),
            "find": draw(st.sampled_from([0, 0.4])),
            "look": draw(st.sampled_from([0, 0.3, 0.7])),
        }
    cursors = {
        "line": {
            "items": ["first", "third", "x"],
            "wraps": draw(st.booleans()),
            "remembers": draw(st.booleans()),
        }
    }
    settings = {
        name: {"low": 0, "high": draw(st.integers(1, 3)), "start": 0, "wraps": draw(st.booleans())}
        for name in SETTINGS
    }
    does = list(_rules(draw, modes, controls["turn"]["positions"]))
    parts: dict[str, dict[str, Any]] = {}
    for mode in modes:
        parts[mode] = {"draft": draw(st.booleans())}
        if draw(st.integers(0, 3)) == 0:
            parts[mode] |= {"left_alone": 5, "then": draw(st.sampled_from(modes))}
    spec = WheelMapSpec.model_validate(
        {
            "controls": controls,
            "modes": parts,
            "cursors": cursors,
            "settings": settings,
            "does": does or [{"touch": "ok", "acts": "marks"}],
        }
    )
    return compiled_wheel(spec, "drawn", _refused)


@st.composite
def standings(draw: st.DrawFn) -> tuple[Wheel, WheelState]:
    """Draw a wheel, and where it stands: at the start or anywhere, also with drafts."""
    wheel = draw(wheels())
    if draw(st.booleans()):
        return wheel, wheel.start
    places = tuple(draw(st.integers(0, len(place.values) - 1)) for place in wheel.places)
    at = {name: draw(st.integers(0, one.high)) for name, one in wheel.spec.settings.items()}
    drafted = draw(st.sets(st.sampled_from(SETTINGS))) if places[0] in wheel.drafts else ()
    drafts = {name: draw(st.integers(0, wheel.spec.settings[name].high)) for name in drafted}
    return wheel, WheelState(places, at, drafts)


def _refused(problem: Problem) -> None:
    raise problem


def _rules(draw: st.DrawFn, modes: list[str], positions: list[str]) -> Iterator[dict[str, Any]]:
    touches = ["turn up", "turn down", "thumb", "pair right", "pair left", "ok", "ok long"]
    for touch, mode in itertools.product(touches, modes):
        rule: dict[str, Any] = {"touch": touch, "when": {"mode": mode}}
        if draw(st.booleans()):
            rule["when"]["turn"] = draw(
                st.lists(st.sampled_from(positions), min_size=1, unique=True)
            )
        if draw(st.integers(0, 3)) == 0:
            rule["when"]["line"] = draw(st.sampled_from(["first", "third", "x"]))
        kind = draw(st.sampled_from(["none", "steps", "to", "chosen", "moves", "goes", "acts"]))
        if kind == "none":
            continue
        if kind in ("steps", "to"):
            rule["steps"] = draw(st.sampled_from(SETTINGS))
            rule |= {"to": 1} if kind == "to" else {"by": draw(st.sampled_from([1, -1, 2]))}
        if kind == "chosen":
            rule["chosen_by"] = "line"
            rule["when"]["line"] = ["first", "third"]
        if kind == "moves":
            rule["moves"] = "line"
        if kind == "acts":
            rule["acts"] = "marks"
        if kind == "goes" or draw(st.integers(0, 3)) == 0:
            rule["goes"] = draw(st.sampled_from(modes))
        if draw(st.integers(0, 2)) == 0:
            rule["confirms"] = True
        yield rule


def all_places(wheel: Wheel) -> set[Places]:
    """Return every way in which the places can stand, by making every touch everywhere."""
    seen = {wheel.start.places}
    ring = list(seen)
    while ring:
        following = []
        for places in ring:
            after = [
                wheel.after(places, touch, wheel.meaning(places, touch))
                for touch in range(len(wheel.touches))
            ]
            if places[0] in wheel.alone:
                after.append(wheel.alone_after(places))
            following += after
        ring = [one for one in dict.fromkeys(following) if one not in seen]
        seen.update(ring)
    return seen


def least(
    wheel: Wheel, begins: WheelState, wanted: dict[str, int], measure: str, *, waits: bool = False
) -> float | None:
    """Return the least that a way costs, by trying all: every state of everything is one of its
    own. Nobody waits, but where no other way leads there. None where there is none.
    """

    def key(state: WheelState, hand: str) -> tuple[Any, ...]:
        drafts = tuple(sorted(state.drafts.items()))
        return state.places, tuple(sorted(state.settings.items())), drafts, hand

    number = itertools.count()
    queue: list[tuple[float, int, WheelState, str]] = [(0, next(number), begins, "")]
    done = set()
    while queue:
        cost, _, state, hand = heapq.heappop(queue)
        if key(state, hand) in done:
            continue
        done.add(key(state, hand))
        if not state.drafts and all(state.settings[name] == at for name, at in wanted.items()):
            return cost
        for touch, one in enumerate(wheel.touches):
            meaning = wheel.meaning(state.places, touch)
            if meaning is not None and (
                meaning.acts or (meaning.setting and meaning.setting not in wanted)
            ):
                continue
            after, _ = wheel.touched(state, touch)
            way = priced(wheel, state, [one.name])
            spec = wheel.spec.controls[one.control]
            same = hand == one.control
            more = {
                "seconds": way.seconds - (float(spec.find) if same else 0),
                "touches": 1,
                "metres": 0 if same else way.metres,
            }[measure]
            heapq.heappush(queue, (cost + more, next(number), after, one.control))
        if waits and state.places[0] in wheel.alone:
            pause = wheel.alone[state.places[0]][0]
            after = wheel.left_alone(state, pause)
            more = pause if measure == "seconds" else 0
            heapq.heappush(queue, (cost + more, next(number), after, hand))
    return least(wheel, begins, wanted, measure, waits=True) if wheel.alone and not waits else None
