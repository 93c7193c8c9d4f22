"""A wheel as a finite automaton, kept in factors: the places that decide what a touch means (the
mode, rotaries, cursors), and beside them the settings, whose positions decide nothing.

A touch changes places and at most one setting, by what is said of it for the state before it. The
product of all settings is never made: what holds of one setting holds whatever the others are.
"""

from __future__ import annotations

import functools
import hashlib
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from codec.wheel.map import MOST_PLACE, SettingSpec, SlipsSpec, WheelMapSpec
from grammar.errors import CodeError, counted
from grammar.exact import whole
from grammar.problems import nearest

Places = tuple[int, ...]  # where every place stands, by its number in its list
ALONE = "left alone"  # what stands in a way where nothing is touched until a mode is left


class WheelError(CodeError):
    """A touch, a setting or a position that the wheel does not have, or no way there."""


@dataclass(frozen=True, slots=True)
class Place:
    """Something that decides what touches mean: the ``mode``, a ``rotary`` or a ``cursor``, and
    the names of where it may stand.
    """

    name: str
    kind: Literal["mode", "rotary", "cursor"]
    values: tuple[str, ...]
    start: int
    wraps: bool = False
    remembers: bool = True

    def moved(self, at: int, by: int) -> int:
        """Return where it stands after a move; what does not wrap stops at its ends."""
        last = len(self.values) - 1
        return (at + by) % (last + 1) if self.wraps else min(max(at + by, 0), last)


@dataclass(frozen=True, slots=True)
class Touch:
    """One touch: a control, which way (0: a press), what it takes in seconds, and the place of the
    rotary that it turns, -1 where it turns none.
    """

    name: str
    control: str
    way: int
    seconds: float
    rotary: int = -1


@dataclass(frozen=True, slots=True)
class TouchMeaning:
    """What a touch does where ``when`` holds (a place and where it may stand, each): it moves
    ``setting`` by so many positions, or to the one with number ``to``; ``cursor`` and ``mode`` are
    numbers of a place and of a mode, -1 for none. ``rule`` is the number of what it was written as.
    """

    when: tuple[tuple[int, frozenset[int]], ...]
    rule: int
    setting: str = ""
    by: int = 1
    to: int | None = None
    cursor: int = -1
    mode: int = -1
    confirms: bool = False
    acts: str = ""

    def holds(self, places: Sequence[int]) -> bool:
        """Tell whether it is what the touch means there."""
        return all(places[place] in allowed for place, allowed in self.when)

    @property
    def moves_places(self) -> bool:
        """Tell whether it changes what touches mean."""
        return self.cursor >= 0 or self.mode >= 0


@dataclass(frozen=True, slots=True)
class WheelState:
    """Where the wheel stands: its places, its settings by number of position, and the drafts that
    do not count yet.
    """

    places: Places
    settings: Mapping[str, int]
    drafts: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Wheel:
    """A wheel: its places (the first is the mode), touches, what each means, and its settings."""

    spec: WheelMapSpec
    name: str
    places: tuple[Place, ...]
    touches: tuple[Touch, ...]
    meanings: tuple[
        tuple[TouchMeaning, ...], ...
    ]  # of each touch, in the order in which they stand
    alone: Mapping[int, tuple[float, int]]  # mode → seconds until it is left, and the next
    drafts: frozenset[int]  # modes in which changes are drafts

    @property
    def title(self) -> str:
        """The wheel's title, or its file's name."""
        return self.spec.title or self.name

    @functools.cached_property
    def digest(self) -> str:
        """What tells this wheel's file from every other: a hash of what it says."""
        told = self.spec.model_dump_json().encode()
        return hashlib.blake2b(told, digest_size=16).hexdigest()

    @property
    def slips(self) -> SlipsSpec:
        """How often touches go wrong."""
        return self.spec.slips

    @property
    def start(self) -> WheelState:
        """Where it stands at the start."""
        numbers = {name: self.number(name, one.start) for name, one in self.spec.settings.items()}
        return WheelState(tuple(place.start for place in self.places), numbers)

    @property
    def metres_per_second(self) -> float:
        """How far the car goes while the eyes are down for a second."""
        return float(self.spec.speed) / 3.6

    def setting(self, name: str) -> str:
        """Return a setting's name as the file writes it; raises WheelError for an unknown one."""
        for known in self.spec.settings:
            if known.casefold() == name.strip().casefold():
                return known
        number, place = self.place(name)
        message, hint = f"the wheel has no setting {name!r}", nearest(name, self.spec.settings, "")
        if place is not None:
            message += f", it is {'the mode' if not number else f'a {place.kind}'}"
            hint = "tell where it stands, and ask for a setting"
        known_ones = list(self.spec.settings)
        raise WheelError(message, kind="setting", expected=known_ones, hint=hint)

    def number(self, setting: str, shown: int) -> int:
        """Return the number of a position as the dash shows it; raises WheelError where the setting
        has none such.
        """
        spec = self.spec.settings[setting]
        if not spec.low <= shown <= spec.high or (shown - spec.low) % spec.step:
            raise WheelError(
                f"{setting}: there is no position {shown}",
                kind="setting-range",
                expected=[span_of(spec)],
            )
        return (shown - spec.low) // spec.step

    def shown(self, setting: str, number: int) -> int:
        """Return a position as the dash shows it."""
        spec = self.spec.settings[setting]
        return spec.low + number * spec.step

    def touch(self, name: str) -> int:
        """Return the number of a touch; raises WheelError for an unknown one."""
        for number, one in enumerate(self.touches):
            if one.name.casefold() == name.strip().casefold():
                return number
        known = [one.name for one in self.touches]
        hint = nearest(name, known, "")
        raise WheelError(
            f"the wheel has no touch {name!r}", kind="touch", expected=known, hint=hint
        )

    def meaning(self, places: Sequence[int], touch: int) -> TouchMeaning | None:
        """Return what a touch means there, None where nothing."""
        return next((one for one in self.meanings[touch] if one.holds(places)), None)

    def after(self, places: Places, touch: int, meaning: TouchMeaning | None) -> Places:
        """Return where the places stand after a touch of that meaning."""
        rotary = self.touches[touch].rotary
        if rotary < 0 and (meaning is None or not meaning.moves_places):
            return places
        moved = list(places)
        if rotary >= 0:
            moved[rotary] = self.places[rotary].moved(places[rotary], self.touches[touch].way)
        if meaning is not None:
            if meaning.cursor >= 0:
                cursor = meaning.cursor
                moved[cursor] = self.places[cursor].moved(places[cursor], meaning.by)
            if meaning.mode >= 0:
                self._enter(moved, meaning.mode)
        return tuple(moved)

    def _enter(self, places: list[int], mode: int) -> None:
        """Change the mode; cursors that don't remember go back to their start."""
        if places[0] != mode:
            places[0] = mode
            for number, place in enumerate(self.places):
                if not place.remembers:
                    places[number] = place.start

    def alone_after(self, places: Places) -> Places:
        """Return where the places stand once the mode was left alone for long enough; raises
        KeyError in a mode that stays.
        """
        moved = list(places)
        self._enter(moved, self.alone[places[0]][1])
        return tuple(moved)

    def stepped(self, setting: str, number: int, meaning: TouchMeaning) -> int:
        """Return where a setting stands after a touch."""
        if meaning.to is not None:
            return meaning.to
        spec = self.spec.settings[setting]
        moved = number + meaning.by
        return moved % spec.count if spec.wraps else min(max(moved, 0), spec.count - 1)

    def touched(self, state: WheelState, touch: int) -> tuple[WheelState, TouchMeaning | None]:
        """Return the state after a touch, and what it meant."""
        meaning = self.meaning(state.places, touch)
        places = self.after(state.places, touch, meaning)
        if meaning is None:
            return WheelState(places, state.settings, state.drafts), None
        settings, drafts = state.settings, dict(state.drafts)
        if meaning.setting:
            name = meaning.setting
            moved = self.stepped(name, drafts.get(name, settings[name]), meaning)
            if state.places[0] in self.drafts:
                drafts[name] = moved
            else:
                settings = {**settings, name: moved}
        if meaning.confirms:
            settings, drafts = {**settings, **drafts}, {}
        if places[0] not in self.drafts:
            drafts = {}
        return WheelState(places, settings, drafts), meaning

    def moved(self, setting: str, number: int, steps: int) -> int:
        """Return where a setting stands so many positions on, below zero down: to the other side
        where there is no room, as far as there is some.
        """
        spec = self.spec.settings[setting]
        steps = min(max(steps, 1 - spec.count), spec.count - 1)
        moved = number + steps
        if spec.wraps:
            return moved % spec.count
        if not 0 <= moved < spec.count:
            moved = number - steps
        return min(max(moved, 0), spec.count - 1)

    def shows(self, places: Places) -> list[str]:
        """Return the settings that the dash shows all the time in a state."""
        modes = list(self.spec.modes.values())
        return list(modes[places[0]].shows) if modes else []

    def at_rest(self, state: WheelState) -> WheelState:
        """Return the state once every mode that is left when left alone was left."""
        return self.left_alone(state, math.inf)

    def left_alone(self, state: WheelState, seconds: float) -> WheelState:
        """Return the state after so many seconds without a touch."""
        places, drafts, modes = state.places, state.drafts, set[int]()
        while places[0] in self.alone and places[0] not in modes:
            modes.add(places[0])
            seconds -= self.alone[places[0]][0]
            if seconds < 0:
                break
            places = self.alone_after(places)
            if places[0] not in self.drafts:
                drafts = {}
        return WheelState(places, state.settings, drafts)

    def in_words(self, places: Places) -> str:
        """Return where the places stand in words; the mode is left out where there is one only."""
        told = [
            f"{place.name} {place.values[at]}"
            for place, at in zip(self.places, places, strict=True)
            if len(place.values) > 1
        ]
        return ", ".join(told)

    def standing(self, told: Mapping[str, str]) -> WheelState:
        """Return the state at the start but for what is told of it: the mode, a rotary, a cursor or
        a setting, by name. Raises WheelError for what it does not have, and for what is told twice
        or of a setting and a place both called that.
        """
        start = self.start
        places, settings = list(start.places), dict(start.settings)
        known = {name.casefold(): name for name in self.spec.settings}
        folded = [name.strip().casefold() for name in told]
        for key, (name, value) in zip(folded, told.items(), strict=True):
            if folded.count(key) > 1:
                raise WheelError(f"{name!r} is told twice", kind="place")
            (number, place), setting = self.place(name), known.get(key)
            if place is not None and setting is not None:  # whichever can stand there
                if value.strip().casefold() not in map(str.casefold, place.values):
                    place = None
                elif value.strip().removeprefix("-").isdigit():
                    message = f"{value!r} may be where {name!r} the {place.kind} or the setting is"
                    hint = "give one of them another name in the wheel file"
                    raise WheelError(message, kind="place", hint=hint)
            if place is not None:
                places[number] = self.value(place, value)
            elif setting is not None:
                settings[setting] = self._read(setting, value)
            else:
                names = [*(one.name for one in self.places), *self.spec.settings]
                message, hint = f"nothing on the wheel is called {name!r}", nearest(name, names, "")
                raise WheelError(message, kind="place", expected=names, hint=hint)
        return WheelState(tuple(places), settings)

    def _read(self, setting: str, text: str) -> int:
        """Return the number of a position given as text."""
        try:
            shown = whole(text, -MOST_PLACE, MOST_PLACE)
        except ValueError:
            span = span_of(self.spec.settings[setting])
            message = f"{setting}: {text!r} is no position"
            raise WheelError(message, kind="setting-range", expected=[span]) from None
        return self.number(setting, shown)

    def place(self, name: str) -> tuple[int, Place | None]:
        """Return a place and its number by its name; -1 and None where it is no place's."""
        folded = name.strip().casefold()
        for number, place in enumerate(self.places):
            if place.name.casefold() == folded:
                return number, place
        return -1, None

    @staticmethod
    def value(place: Place, value: str) -> int:
        """Return the number of one of a place's names; raises WheelError for another."""
        for number, name in enumerate(place.values):
            if name.casefold() == value.strip().casefold():
                return number
        hint = nearest(value, place.values, "")
        raise WheelError(
            f"{place.name} has no {value!r}", kind="place", expected=list(place.values), hint=hint
        )


def span_of(spec: SettingSpec) -> str:
    """Return a setting's positions in words."""
    steps = f" in steps of {spec.step}" if spec.step > 1 else ""
    return f"{spec.low} … {spec.high}{steps}"


def in_runs(touches: Sequence[str]) -> Iterator[tuple[str, int]]:
    """Yield touches with how often each follows on itself."""
    last, times = "", 0
    for touch in touches:
        if touch == last:
            times += 1
            continue
        if times:
            yield last, times
        last, times = touch, 1
    if times:
        yield last, times


def touches_in_words(touches: Sequence[str]) -> str:
    """Return touches in words: "left up ×2, thumb down"."""
    runs = in_runs(touches)
    return ", ".join(f"{touch} ×{times}" if times > 1 else touch for touch, times in runs)


def pressed(touches: Sequence[str]) -> str:
    """Return how many touches there are, and which."""
    return f"{counted(len(touches), 'touch', 'touches')}: {touches_in_words(touches)}"
