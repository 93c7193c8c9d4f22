"""The answer to give: the shortest pit calls of the book that put the race where it should be."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from codec.encoding import Encoded, encode
from codec.race import units
from codec.race.binding import Event
from codec.race.dials import Move, Position, fewest_clicks, wheel_move
from codec.race.event import WheelSpec
from codec.race.outlook import Outlook, UseLimit, outlook
from codec.race.people import seconds_of
from codec.race.race import Race
from codec.race.standing import way_of_laps
from codec.wheel import Way
from grammar.errors import CodeError, counted
from grammar.exact import plain
from grammar.fields import FieldBase, Progression

_MOST_TARGETS = 200


@dataclass(frozen=True, slots=True)
class Advice:
    """One call to make, why, how to say it, the way on the wheel, where the event tells it, and the
    seconds that it takes with its read-back, where people's words are known.
    """

    reason: str
    call: Encoded
    way: Way | None = None
    seconds: float | None = None

    @property
    def told(self) -> str:
        """Why, with a wheel file the touches that it takes, and the seconds to say it."""
        parts = [self.reason]
        if self.way is not None:
            parts.append(self.way.told)
        if self.seconds is not None:
            parts.append(f"{self.seconds:.0f} s with its read-back")
        return "; ".join(parts)

    def __str__(self) -> str:
        return f"{self.call.words} ({self.told})"

    def as_dict(self) -> dict[str, Any]:
        """Return the facts for JSON, but for the way."""
        facts = {"reason": self.reason, **self.call.as_dict()}
        return facts if self.seconds is None else {**facts, "with_readback": round(self.seconds, 2)}


def advise(race: Race) -> list[Advice]:
    """Return the calls to make now, most urgent first: laps the dash does not know of, then a new
    target. [] if all is well.

    The target is the highest that, held to the flag, keeps the chance of running short within what
    the event accepts, and so every other limit (``Outlook.limits``); of those that lie less than
    the tolerance below it, the one that is quickest to say. No higher target is called while a
    temperature may reach its limit.
    """
    return [advice for advice in (_laps(race), _target(race)) if advice is not None]


def _laps(race: Race) -> Advice | None:
    announced = race.laps_added - race.laps_expected
    spec, missing = race.event.spec.calls.distance, announced - race.laps_entered
    laps = race.event.book.fields[spec.added].progression if spec else None
    if spec is None or missing <= 0 or laps is None or race.neutralised:
        return None
    call = call_of(race.event, {spec.added: min(Decimal(missing), laps.last)}, spec.message)
    why = f"{counted(missing, 'lap')} added, not entered yet"
    return Advice(why, call, way_of_laps(race, missing), seconds_of(race.event, call))


def call_of(event: Event, values: Mapping[str, Any], message: str) -> Encoded:
    """Return a call as it is said in the least time by who calls."""
    return encode(event.book, values, message, profile=event.engineer)


def _target(race: Race) -> Advice | None:
    pace, look = race.event.spec.calls.pace, outlook(race)
    if pace is None or race.lap == 0 or race.neutralised or not look.limits:
        return None
    field, change = race.event.book.fields[pace.target], float(race.event.spec.advice.change)
    now, limit = look.use.mean, look.limits[0]
    accepted = float(race.event.spec.advice.chance)
    hot = any(reached.chance > accepted for reached in look.reaching.values())
    if abs(limit.use - now) <= change or field.progression is None:
        return None
    if limit.use > now and hot:
        return None
    low, high = _band(race, field.progression, field.unit_text, limit.use)
    call = quickest(race.event, pace.message, field, min(low, max(high, 0)), max(high, 0))
    again = call is not None and call.reading.values[pace.target] == _said(race, field)
    if call is None or (again and not _missed(race, now)):
        return None
    why = _why(race, look)
    if high < 0:
        why += "; this is the least that can be called, and not enough"
    off = race.target is not None and _missed(race, now)
    called = f", not the {float(race.target or 0):.2f} called" if off else ""
    told = f"{now:.2f} {race.event.spec.energy.unit} a lap now{called}: {why}"
    return Advice(told, call, seconds=seconds_of(race.event, call))


def _why(race: Race, look: Outlook) -> str:
    """Return why a target is called: all that does not hold as it is, or up to what there is more
    to use.
    """
    now, lowest = look.use.mean, look.limits[0]
    if lowest.use > now:
        return "there is more to use" + _MORE[lowest.holds].format(_name(race, lowest))
    over = [limit for limit in look.limits if limit.use < now]
    return " and ".join(_broken(race, look, limit) for limit in over)


_MORE = {
    "reserve": "",
    "temperature": ", as far as {} stays below its limit",
    "stop": ", so far that the charging stop {} is reached",
}


def _broken(race: Race, look: Outlook, limit: UseLimit) -> str:
    """Return in words how likely a limit is broken, driving on as now."""
    if limit.holds == "reserve":
        return f"{look.distance.short:.0%} chance of running short"
    if limit.holds == "stop":
        return f"the charging stop {limit.name} may not be reached"
    chance = look.reaching[limit.name].chance
    return f"{chance:.0%} chance that {_name(race, limit)} reaches its limit"


def _name(race: Race, limit: UseLimit) -> str:
    """Return what a limit is called that is a temperature's or a stop's."""
    bound = race.event.temperatures.get(limit.name) if limit.holds == "temperature" else None
    return limit.name if bound is None else bound.field.title


def _missed(race: Race, now: float) -> bool:
    """Tell whether the driver uses more than the target in force allows him, by more than he may be
    off one just called: then it is called again.
    """
    spec = race.event.spec
    off = max(float(spec.energy.first), float(spec.advice.change))
    return race.target is not None and now - float(race.target) > off


def _said(race: Race, field: FieldBase) -> Decimal | None:
    """Return the target in force as the call says it, None if none was called."""
    if race.target is None:
        return None
    target = units.energy(race.target, race.event.spec.energy.unit, field.unit_text)
    return Decimal(target.numerator) / Decimal(target.denominator)


def _band(race: Race, targets: Progression, called_in: str, safe: float) -> tuple[int, int]:
    """Return the lowest and the highest level of the targets that may be called."""
    unit, tolerance = race.event.spec.energy.unit, float(race.event.spec.advice.tolerance)

    def level(target: float) -> int:
        called = units.energy(Fraction(target), unit, called_in)
        steps = (called - Fraction(targets.first)) / Fraction(targets.step)
        return math.floor(steps + Fraction(1, 10**9))

    highest = min(level(safe), targets.size - 1)
    return (
        max(
            0,
            highest - _MOST_TARGETS,
            min(highest, level(safe - tolerance) + 1 if tolerance else highest),
        ),
        highest,
    )


def quickest(event: Event, message: str, field: FieldBase, low: int, high: int) -> Encoded | None:
    """Return the call of a level from ``low`` to ``high`` that is said in the least time, the
    highest of equals; None if there is none.
    """
    calls = [
        call_of(event, {field.name: field.value(level)}, message)
        for level in range(high, low - 1, -1)
    ]
    return min(calls, key=lambda call: round(call.seconds, 6), default=None)


def check_call(race: Race, message: str, values: Mapping[str, Any]) -> None:
    """Refuse a call that would move a dial out of its range; raises SettingError.

    Any other call passes.
    """
    wheel = race.event.spec.calls.wheel
    if wheel is None or message != wheel.message or not race.event.dials:
        return
    dial, clicks = wheel_move(wheel, values)
    race.ledger.as_it_stands().call(dial, clicks)


def settings_calls(race: Race, wanted: Mapping[str, int]) -> list[Advice]:
    """Return the calls that bring the dials to the ``wanted`` positions: fewest clicks, then fewest
    calls, then least time.

    Raises SettingError for a position that is not there, CodeError where the event names no call
    for the wheel.
    """
    wheel = race.event.spec.calls.wheel
    if wheel is None:
        raise CodeError(
            "the event names no call that changes the wheel",
            kind="event",
            hint="name one in [calls.wheel]",
        )
    if wheel.position:
        return _positions(race, wheel, wanted)
    event, field = race.event, race.event.book.fields[wheel.clicks]
    most = (
        max((dial.high - dial.low) // dial.step for dial in event.dials.values())
        if event.dials
        else 0
    )
    allowed = [
        int(v)
        for n in range(min(field.size, most + 1))
        if isinstance(v := field.value(n), Decimal) and 0 < v == int(v) <= most
    ]
    calls = functools.cache(lambda move: _wheel_call(event, wheel, move))
    return [
        Advice(
            f"{move.dial} {plain(Decimal(abs(move.clicks)))} {'up' if move.clicks > 0 else 'down'}",
            calls(move),
            seconds=seconds_of(event, calls(move)),
        )
        for move in fewest_clicks(
            race.ledger, wanted, allowed, lambda move: float(calls(move).seconds)
        )
    ]


def _positions(race: Race, wheel: WheelSpec, wanted: Mapping[str, int]) -> list[Advice]:
    """Return a call for each dial that is not heading for the position wanted."""
    ledger, found = race.ledger.as_it_stands(), list[Advice]()
    for dial, position in wanted.items():
        name = ledger.name(dial)
        if ledger.heading(name) != ledger.call(name, Position(position)):
            values = {wheel.dial: name, wheel.position: position}
            call = call_of(race.event, values, wheel.message)
            seconds = seconds_of(race.event, call)
            found.append(Advice(f"{name} to {position}", call, seconds=seconds))
    return found


def _wheel_call(event: Event, wheel: WheelSpec, move: Move) -> Encoded:
    way = wheel.up if move.clicks > 0 else wheel.down
    values = {wheel.dial: move.dial, wheel.way: way, wheel.clicks: abs(move.clicks)}
    return call_of(event, values, wheel.message)
