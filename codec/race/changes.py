"""Changes of the wheel in a race: from where it stands by what was called, read back and said, the
cheapest touches to where it should, cut to the straights of a lap, with the calls that ask for
them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from codec.race.advice import Advice, call_of, settings_calls
from codec.race.people import seconds_of
from codec.race.race import Race
from codec.race.standing import wheel_of, wheel_state
from codec.wheel import Measure, Way, Wheel, WheelState, cheapest
from codec.wheel.slips import Slip, slips


@dataclass(frozen=True, slots=True)
class WheelChange:
    """What is touched on one straight: the settings ``wanted``, the ``way`` there and its
    ``slips``, and the ``calls`` that ask for it; none for a setting that the book can't name.

    ``straight`` is "" where the event names none, ``lap`` counts from 0, this one. ``fits`` tells
    whether the straight is long enough.
    """

    straight: str
    lap: int
    wanted: dict[str, int]
    way: Way
    slips: list[Slip]
    calls: list[Advice]
    fits: bool


def changes(
    race: Race, wanted: Mapping[str, int], measure: Measure = "seconds"
) -> list[WheelChange]:
    """Return what to touch on which straight so that the ``wanted`` settings (as the dash shows
    them, the most urgent first) are there: as much on each as fits, what can wait last.

    Raises WheelError for what the wheel does not have, and where there is no way.
    """
    wheel, state = wheel_of(race), wheel_state(race)
    goals = {wheel.setting(name): at for name, at in wanted.items()}
    left = {
        name: at for name, at in goals.items() if state.settings[name] != wheel.number(name, at)
    }
    left = dict(sorted(left.items(), key=lambda one: wheel.spec.settings[one[0]].waits))
    straights = [(one.name, float(one.seconds)) for one in race.event.spec.straights]
    longest = max((seconds for _, seconds in straights), default=math.inf)
    found: list[WheelChange] = []
    number = 0
    while left:
        name, seconds = straights[number % len(straights)] if straights else ("", math.inf)
        lap = number // len(straights) if straights else 0
        number += 1
        taken = _taken(wheel, state, left, measure, seconds)
        fits = bool(taken)
        if not fits:  # what fits nowhere is begun on the longest
            first = next(iter(left))
            way = cheapest(wheel, state, {first: left[first]}, measure)
            if seconds < longest or way.seconds <= longest:
                continue
            taken = {first: left[first]}
        way = cheapest(wheel, state, taken, measure)
        calls = _calls(race, taken)
        found.append(WheelChange(name, lap, taken, way, slips(way), calls, fits))
        state = wheel.at_rest(way.ends)
        left = {name: at for name, at in left.items() if name not in taken}
    return found


def _taken(
    wheel: Wheel, state: WheelState, left: Mapping[str, int], measure: Measure, seconds: float
) -> dict[str, int]:
    """Return the settings that are changed together within so many seconds: the first that fits,
    and each further one that still does.
    """
    taken: dict[str, int] = {}
    for name, at in left.items():
        together = {**taken, name: at}
        if cheapest(wheel, state, together, measure).seconds <= seconds:
            taken = together
    return taken


def _calls(race: Race, wanted: Mapping[str, int]) -> list[Advice]:
    """Return the calls that ask for settings, as far as the book can name them."""
    spec, found = race.event.spec.calls, list[Advice]()
    named = {name: at for name, at in wanted.items() if name in race.ledger.dials}
    if named and spec.wheel is not None:
        found += settings_calls(race, named)
    distance = spec.distance
    if distance is not None and distance.setting in wanted:
        setting, wheel = distance.setting, wheel_of(race)
        more = wanted[setting] - wheel.shown(setting, wheel_state(race).settings[setting])
        laps = race.event.book.fields[distance.added].progression
        if laps is not None and 0 < more <= laps.last:
            call = call_of(race.event, {distance.added: more}, distance.message)
            seconds = seconds_of(race.event, call)
            found.append(Advice(f"{setting} to {wanted[setting]}", call, seconds=seconds))
    return found
