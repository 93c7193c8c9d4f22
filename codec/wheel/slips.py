"""What a slip on the way costs: one detent too many or too few (of a rotary, the neighbour of the
position wanted), a press that was not taken; and what on the dash would show it soonest.

The rest of the way is taken to be made as it was meant, by a driver who has not noticed.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from codec.wheel.way import Way
from codec.wheel.wheel import ALONE, TouchMeaning, Wheel, WheelState, in_runs
from grammar.errors import counted

SlipKind = Literal["too many", "too few", "not taken"]


@dataclass(frozen=True, slots=True)
class Slip:
    """One thing that may go wrong on a way: its ``kind``, the touch, how likely it is, where the
    wheel stands then, and what that is worth in seconds of radio.

    ``wrong`` holds the settings that end elsewhere: where they stand, and where they should, as the
    dash shows them; ``acts`` what else was done. ``shows`` is what on the dash tells of it first,
    ``behind`` so many further touches; "" where nothing does.
    """

    kind: SlipKind
    touch: str
    chance: float
    ends: WheelState
    harm: float
    wrong: dict[str, tuple[int, int]]
    acts: tuple[str, ...]
    shows: str
    behind: int

    @property
    def what(self) -> str:
        """What goes wrong, in words."""
        return f"{self.touch} {'one ' if self.kind != 'not taken' else ''}{self.kind}"

    def __str__(self) -> str:
        ends = ", ".join(f"{name} {at} for {meant}" for name, (at, meant) in self.wrong.items())
        then = " and ".join(filter(None, (ends, *self.acts))) or "nothing comes of it"
        return f"{self.what}: {then}; {self.seen}"

    @property
    def seen(self) -> str:
        """How it is noticed soonest, in words."""
        if not self.shows:
            return "the dash shows nothing of it: ask where it stands" if self.wrong else "unseen"
        at_once = "at once" if not self.behind else f"{counted(self.behind, 'touch', 'touches')} on"
        return f"the dash shows {self.shows}, {at_once}"

    def as_dict(self) -> dict[str, object]:
        """Return the facts for programs."""
        return {
            "kind": self.kind,
            "touch": self.touch,
            "chance": round(self.chance, 6),
            "harm": round(self.harm, 4),
            "wrong": {name: {"at": at, "meant": to} for name, (at, to) in self.wrong.items()},
            "acts": list(self.acts),
            "shows": self.shows,
            "behind": self.behind,
        }


def slips(way: Way) -> list[Slip]:
    """Return all single slips of a way, those that cost most (chance times harm) first."""
    found = [_slip(way, *one) for one in _single(way)]
    return sorted(found, key=lambda one: (-one.chance * one.harm, -one.chance, one.touch))


def slipping(found: Sequence[Slip]) -> float:
    """Return the chance that any of the slips happens."""
    return 1 - math.prod(1 - one.chance for one in found)


def expected_harm(found: Sequence[Slip]) -> float:
    """Return what slips cost on average, in seconds of radio, of more than one at once only
    one.
    """
    return sum(one.chance * one.harm for one in found)


def _single(way: Way) -> Iterator[tuple[SlipKind, str, float, int, list[str]]]:
    """Yield each slip: its kind, touch, chance, the place in the way where it shows at the
    earliest, and the touches that are made instead.
    """
    spec, at = way.wheel.slips, 0
    touches = list(way.touches)
    for name, times in in_runs(touches):
        end = at + times
        if name == ALONE:
            at = end
            continue
        if way.wheel.touches[way.wheel.touch(name)].way:
            far = 1 - (1 - float(spec.further)) ** times
            short = 1 - (1 - float(spec.short)) ** times
            yield "too many", name, far, end, [*touches[:end], name, *touches[end:]]
            yield "too few", name, short, end - 1, [*touches[: end - 1], *touches[end:]]
        else:
            missed = float(spec.missed)
            for place in range(at, end):
                rest = [*touches[:place], *touches[place + 1 :]]
                yield "not taken", name, missed, place, rest
        at = end


def _slip(way: Way, kind: SlipKind, touch: str, chance: float, place: int, made: list[str]) -> Slip:
    wheel = way.wheel
    meant, done = list(_walk(way, way.touches)), list(_walk(way, made))
    ends, should = done[-1][0], way.ends
    wrong = {
        name: (wheel.shown(name, at), wheel.shown(name, should.settings[name]))
        for name, at in ends.settings.items()
        if at != should.settings[name]
    }
    harm = sum(
        _apart(wheel, name, ends.settings[name], should.settings[name])
        * float(wheel.spec.settings[name].harm)
        for name in wrong
    )
    acts = [one.acts for _, one in done[1:] if one and one.acts]
    for _, one in meant[1:]:
        if one and one.acts in acts:
            acts.remove(one.acts)
    shows, behind = _shown_first(wheel, meant, done, place, len(made) - len(way.touches))
    return Slip(kind, touch, chance, ends, harm, wrong, tuple(acts), shows, behind)


def _walk(way: Way, touches: Sequence[str]) -> Iterator[tuple[WheelState, TouchMeaning | None]]:
    wheel, state = way.wheel, way.begins
    yield state, None
    for name in touches:
        if name == ALONE:
            pause = wheel.alone[state.places[0]][0] if state.places[0] in wheel.alone else 0.0
            state, meaning = wheel.left_alone(state, pause), None
        else:
            state, meaning = wheel.touched(state, wheel.touch(name))
        yield state, meaning


def _apart(wheel: Wheel, name: str, at: int, other: int) -> int:
    """Return by how many positions a setting is off."""
    spec, off = wheel.spec.settings[name], abs(at - other)
    return min(off, spec.count - off) if spec.wraps else off


def _dash(wheel: Wheel, state: WheelState, meaning: TouchMeaning | None) -> dict[str, str]:
    """Return what the dash shows after a touch: its mode, where its cursors stand, the settings
    that it always shows there, and the one that is being changed.
    """
    found = {
        place.name: place.values[at]
        for place, at in zip(wheel.places, state.places, strict=True)
        if place.kind != "rotary" and len(place.values) > 1
    }
    shown = wheel.shows(state.places)
    if meaning is not None and meaning.setting and wheel.spec.settings[meaning.setting].shown:
        shown.append(meaning.setting)
    for name in shown:
        at = state.drafts.get(name, state.settings[name])
        found[name] = str(wheel.shown(name, at))
    return found


def _shown_first(
    wheel: Wheel,
    meant: Sequence[tuple[WheelState, TouchMeaning | None]],
    done: Sequence[tuple[WheelState, TouchMeaning | None]],
    place: int,
    longer: int,
) -> tuple[str, int]:
    """Return the first thing that the dash shows otherwise than meant, and behind how many touches
    more than the one that slipped.
    """
    if longer < 0:  # a touch is missing: the driver believes to be one on
        for number in range(place, len(done)):
            other = _otherwise(wheel, meant[number + 1], done[number])
            if other:
                return other, number - place
        return "", 0
    for number in range(place + 1, len(done)):
        other = _otherwise(wheel, meant[number - 1], done[number])
        if other:
            return other, number - place - 1
    return "", 0


def _otherwise(
    wheel: Wheel,
    meant: tuple[WheelState, TouchMeaning | None],
    done: tuple[WheelState, TouchMeaning | None],
) -> str:
    should, does = _dash(wheel, *meant), _dash(wheel, *done)
    for name in itertools.chain(wheel.spec.settings, should):
        if name in does and name in should and does[name] != should[name]:
            return f"{name} {does[name]}, not {should[name]}"
    missing = [name for name in should if name not in does]
    if missing:
        return f"no {missing[0]}"
    more = [name for name in does if name not in should]
    return f"{more[0]} {does[more[0]]}" if more else ""
