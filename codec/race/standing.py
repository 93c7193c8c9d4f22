"""Where the wheel of a car stands in a race, by what was called, read back and said."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, replace

from codec.race.dials import NOT_DONE
from codec.race.race import Race
from codec.wheel import Way, Wheel, WheelError, WheelState, cheapest
from codec.wheel.wheel import Places
from grammar.errors import CodeError

_ELSEWHERE = 0.02  # of marker presses, made where the wheel was not thought to be: ours, no source
_MOST_MARKS = 3  # presses since the last change that are weighed


def wheel_of(race: Race) -> Wheel:
    """Return the event's wheel; raises CodeError where it names none."""
    if race.event.wheel is None:
        raise CodeError(
            "the event names no wheel file", kind="event", hint='name it: wheel = "wheel.toml"'
        )
    return race.event.wheel


def wheel_state(race: Race) -> WheelState:
    """Return where the wheel stands most likely: settings where they are heading, hands gone the
    cheapest way to the last of them, and every mode left alone since; otherwise where marker
    presses tell so.
    """
    wheel, ledger = wheel_of(race), race.ledger
    settings = dict(wheel.start.settings)
    likely = max(_weighed(race), key=lambda one: one.chance)
    for name in ledger.dials.keys() & settings.keys():
        heading = ledger.heading(name)
        if name == ledger.last and not likely.done:
            heading = next(iter(ledger.doubt(name, 1.0)))
        settings[name] = wheel.number(name, heading)
    for part in (race.event.spec.calls.distance, race.event.spec.readbacks.distance):
        if part is not None and part.setting in settings:
            most = wheel.spec.settings[part.setting].count - 1
            first = wheel.start.settings[part.setting]
            settings[part.setting] = min(most, first + race.laps_entered)
    return WheelState(likely.places, settings)


def wheel_places(race: Race) -> dict[Places, float]:
    """Return where the places of the wheel may stand, each with its chance, the likeliest first."""
    found: dict[Places, float] = {}
    for one in _weighed(race):
        found[one.places] = found.get(one.places, 0.0) + one.chance
    return dict(sorted(found.items(), key=lambda one: -one[1]))


def doubts(race: Race) -> dict[str, dict[int, float]]:
    """Return the settings of which it is not sure where they stand, each position with its chance:
    what the ledger says, and what marker presses tell of the last call.
    """
    ledger, undone = race.ledger, NOT_DONE
    if ledger.marked:
        undone = sum(one.chance for one in _weighed(race) if not one.done)
    found = {
        name: ledger.doubt(name, undone) if name == ledger.last else ledger.doubt(name)
        for name in ledger.dials
    }
    return {name: chances for name, chances in found.items() if len(chances) > 1}


@dataclass(frozen=True, slots=True)
class _Standing:
    """Where the places may stand: whether the last call was ``done``, and how likely that is."""

    done: bool
    places: Places
    chance: float


def _weighed(race: Race) -> list[_Standing]:
    """Return where the places may stand: after the last change, or before it where it is called
    and not read back yet; weighed by the marker presses since, which are made where the wheel has
    the marker.
    """
    wheel, ledger = race.event.wheel, race.ledger
    if wheel is None:
        return [_Standing(done=True, places=(), chance=1.0)]
    found = [_Standing(done=True, places=_rested(wheel, _hands(wheel, ledger.last)), chance=1.0)]
    if ledger.waiting.get(ledger.last):
        before = _rested(wheel, _hands(wheel, ledger.earlier))
        found = [
            replace(found[0], chance=1 - NOT_DONE),
            _Standing(done=False, places=before, chance=NOT_DONE),
        ]
    for _ in range(min(ledger.marked, _MOST_MARKS) if race.event.spec.marker else 0):
        found = [_marked(wheel, race.event.spec.marker, one) for one in found]
        whole = sum(one.chance for one in found)
        found = [replace(one, chance=one.chance / whole) for one in found]
    return found


def _rested(wheel: Wheel, places: Places) -> Places:
    return wheel.at_rest(WheelState(places, {})).places


def _marked(wheel: Wheel, marker: str, one: _Standing) -> _Standing:
    """Return what a marker press makes of a standing: where the wheel has no marker there it has
    come, in the fewest touches, to where it has, which is not likely.
    """
    presses = [
        (touch, meaning)
        for touch, meanings in enumerate(wheel.meanings)
        for meaning in meanings
        if meaning.acts == marker
    ]
    chance, there = one.chance, next((p for p in presses if p[1].holds(one.places)), None)
    places = one.places
    if there is None:
        begins = WheelState(places, wheel.start.settings)
        ways = []
        for press in presses:
            with contextlib.suppress(WheelError):
                to = dict(press[1].when)
                way = cheapest(wheel, begins, {}, "touches", places=to, careless=True)
                ways.append((way.count, way.ends.places, press))
        if not ways:
            return one
        _, places, there = min(ways, key=lambda way: way[0])
        chance *= _ELSEWHERE
    return replace(one, places=_rested(wheel, wheel.after(places, *there)), chance=chance)


def _hands(wheel: Wheel, last: str) -> Places:
    """Return where the places stand once a setting was changed."""
    start = wheel.start
    if last in start.settings:
        spec, shown = wheel.spec.settings[last], wheel.shown(last, start.settings[last])
        for by in (spec.step, -spec.step):
            try:
                return cheapest(wheel, start, {last: shown + by}).ends.places
            except WheelError:
                continue
    return start.places


def way_of_laps(race: Race, missing: int) -> Way | None:
    """Return the way to enter laps that were added, None where the event does not tell how."""
    wheel, spec = race.event.wheel, race.event.spec.calls.distance
    if wheel is None or spec is None or spec.setting not in wheel.spec.settings:
        return None
    state = wheel_state(race)
    shown = wheel.shown(spec.setting, state.settings[spec.setting]) + missing
    try:
        return cheapest(wheel, state, {spec.setting: shown})
    except WheelError:  # more than the setting can take
        return None
