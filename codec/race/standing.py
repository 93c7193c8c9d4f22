"""Where the wheel of a car stands in a race, by what was called, read back and said."""

from __future__ import annotations

from codec.race.race import Race
from codec.wheel import Way, Wheel, WheelError, WheelState, cheapest
from grammar.errors import CodeError


def wheel_of(race: Race) -> Wheel:
    """Return the event's wheel; raises CodeError where it names none."""
    if race.event.wheel is None:
        raise CodeError(
            "the event names no wheel file", kind="event", hint='name it: wheel = "wheel.toml"'
        )
    return race.event.wheel


def wheel_state(race: Race) -> WheelState:
    """Return where the wheel stands most likely: settings where they are heading, hands gone the
    cheapest way to the last of them, and every mode left alone since.
    """
    wheel, ledger = wheel_of(race), race.ledger
    settings = dict(wheel.start.settings)
    for name in ledger.dials.keys() & settings.keys():
        settings[name] = wheel.number(name, ledger.heading(name))
    for part in (race.event.spec.calls.distance, race.event.spec.readbacks.distance):
        if part is not None and part.setting in settings:
            most = wheel.spec.settings[part.setting].count - 1
            first = wheel.start.settings[part.setting]
            settings[part.setting] = min(most, first + race.laps_entered)
    state = WheelState(_hands(wheel, ledger.last), settings)
    return wheel.at_rest(state)


def _hands(wheel: Wheel, last: str) -> tuple[int, ...]:
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
