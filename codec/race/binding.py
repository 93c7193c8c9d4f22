"""An event file bound to the book it is used with: every name looked up; what does not fit is a
problem with its keys.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import TypeVar

from codec.encoding import encode
from codec.race import units
from codec.race.event import (
    MOST_POSITION,
    DialSpec,
    EventSpec,
    LapsSpec,
    PaceSpec,
    ReportSpec,
    TemperatureSpec,
    WheelSpec,
)
from codec.wheel import Wheel, load_wheel
from grammar.book import Book
from grammar.errors import CodeError, DocumentError, Keys, Problem, counted
from grammar.exact import plain
from grammar.fields import FieldBase, Progression, labelled
from grammar.fields.base import Interval
from grammar.inspection import Inspection
from grammar.message import Direction, Message
from grammar.problems import nearest
from grammar.profile import Profile
from grammar.speech.facts import TITLES

PERCENT = "%"
Asked = TypeVar("Asked")
_DISTANCE = tuple(("distance", key) for key in ("laps", "minutes", "further_laps", "lap_seconds"))
_WHEELS = (("calls", "wheel"), ("readbacks", "wheel"))
_DIRECTIONS: dict[str, Direction] = {"calls": "pit", "readbacks": "car"}


@dataclass(frozen=True, slots=True)
class EnergyField:
    """A field that tells of the energy: its value times ``scale`` is in the event's unit, net."""

    field: FieldBase
    spec: ReportSpec
    scale: Fraction


@dataclass(frozen=True, slots=True)
class TemperatureField:
    """A field that is a temperature, and its limit in the field's own unit."""

    field: FieldBase
    spec: TemperatureSpec
    limit: Fraction
    start: Fraction


@dataclass(frozen=True)
class Event:
    """An event file bound to its book.

    ``laps`` and ``plan`` (one figure a lap) are those of the start; ``dials`` are those of the file
    and those settings of the wheel that a call or a read-back can name; ``driver`` and
    ``engineer`` are the profiles of those whose words are timed, ``stated`` is whose word for the
    noise of the laps is taken, ``people`` those of whom something is known, by their names in
    small letters (``codec.race.people``).
    """

    spec: EventSpec
    book: Book
    name: str
    plan: tuple[Fraction, ...]
    energies: dict[str, EnergyField]
    temperatures: dict[str, TemperatureField]
    wheel: Wheel | None = None
    dials: dict[str, DialSpec] = field(default_factory=dict)
    driver: Profile | None = None
    engineer: Profile | None = None
    stated: str = "the event file says"
    people: dict[str, Profile] = field(default_factory=dict)

    @property
    def title(self) -> str:
        """The event's title, or its file's name."""
        return self.spec.title or self.name

    @property
    def laps(self) -> int:
        """The laps planned at the start."""
        return self.spec.distance.planned

    @property
    def unreported(self) -> list[str]:
        """The facts of the race and of a car that no phrase or message of the book reports: they
        can only be entered by hand.
        """
        told = set(self.book.rules.meanings.values())
        if self.spec.calls.distance is not None or self.spec.readbacks.distance is not None:
            told.add("added")
        return [fact for fact in TITLES if fact not in told]


class Binding:
    """The event's names looked up in the book; what does not fit is noted."""

    def __init__(
        self, spec: EventSpec, book: Book, inspection: Inspection[EventSpec], folder: Path
    ) -> None:
        self.spec, self.book, self._inspection = spec, book, inspection
        self._folder = folder

    def event(self, name: str) -> Event:
        """Bind everything; the problems tell whether the event may be used."""
        plan = self._plan()
        energies = {
            key: bound
            for key, report in self.spec.reports.items()
            if (bound := self._energy(key, report))
        }
        temperatures = {
            key: warm
            for key, spec in self.spec.temperatures.items()
            if (warm := self._temperature(key, spec))
        }
        self._calls()
        wheel = self._wheel_file()
        dials = self._dials(wheel)
        self._charging()
        self._extra_power()
        for place, name in enumerate(self.spec.settings):
            self._measured(("settings", place), name)
        return Event(self.spec, self.book, name, plan, energies, temperatures, wheel, dials)

    def _note(self, keys: Keys, message: str, hint: str, rests_on: Sequence[Keys] = ()) -> None:
        self._inspection.note(Problem(keys, message, hint, rests_on=rests_on))

    def _plan(self) -> tuple[Fraction, ...]:
        laps, given, energy = self.spec.distance.planned, self.spec.plan.per_lap, self.spec.energy
        if given is None:
            return (Fraction(energy.usable - energy.reserve) / laps,) * laps
        figures = given if isinstance(given, list) else [given] * laps
        if len(figures) != laps:
            message = f"{len(figures)} figures for {laps} laps"
            hint = "give one for each lap, or one for all"
            self._note(("plan", "per_lap"), message, hint, _DISTANCE)
        elif (total := sum(figures, Decimal(0))) > self.spec.most_usable:
            message = (
                f"{plain(total)} {energy.unit} planned for {laps} laps, of"
                f" {plain(self.spec.most_usable)} usable"
            )
            hint = "a figure is the energy of one lap"
            self._note(("plan", "per_lap"), message, hint, (*_DISTANCE, ("energy", "usable")))
        return tuple(map(Fraction, figures))

    def _measured(self, keys: Keys, name: str) -> FieldBase | None:
        field = self.book.fields.get(name)
        if field is not None and field.interval(0) is not None:
            return field
        if field is None:
            hint = nearest(name, self.book.fields, f"its fields are {', '.join(self.book.fields)}")
            self._note(keys, f"the book has no field {name!r}", hint)
        else:
            message = f"the field {name!r} is a {field.described}, not a number with a unit"
            self._note(keys, message, "name a quantity or bands")
        return None

    def _energy(self, name: str, report: ReportSpec) -> EnergyField | None:
        keys = ("reports", name)
        if report.counts == "drawn" and report.says != "used":
            message = f"only what was used is counted as drawn, not {report.says}"
            self._note((*keys, "counts"), message, "remove it")
        field = self._measured(keys, name)
        if field is None:
            return None
        if field.unit_text == PERCENT:
            scale = Fraction(self.spec.energy.usable) / 100
        elif field.unit_text in units.energy_units():
            scale = units.energy(1, field.unit_text, self.spec.energy.unit)
        else:
            hint = f"an energy is told in {', '.join(units.energy_units())} or {PERCENT}"
            self._note(keys, f"the field's unit is {field.unit_text!r}", hint)
            return None
        self._reaches(keys, field, report, scale)
        if report.counts == "drawn":
            scale *= 1 - Fraction(self.spec.energy.regenerated)
        return EnergyField(field, report, scale)

    def _reaches(self, keys: Keys, field: FieldBase, report: ReportSpec, scale: Fraction) -> None:
        """Note an energy that the field could never tell, as where one of two units is another."""
        energy = self.spec.energy
        most = _ends(field)[1]
        if report.says != "delta" and most is not None and most * scale < energy.usable / 2:
            told = f"{float(most * scale):.3g} {energy.unit}"
            message = (
                f"the field ends at {told}, and {plain(energy.usable)} {energy.unit} are usable"
            )
            hint = f"is one of them in another unit than {energy.unit}?"
            self._note(keys, message, hint, (("energy", "usable"), ("energy", "unit")))

    def _temperature(self, name: str, spec: TemperatureSpec) -> TemperatureField | None:
        keys = ("temperatures", name)
        field = self._measured(keys, name)
        if field is None:
            return None
        if field.unit_text not in units.temperature_units():
            hint = f"a temperature is told in {' or '.join(units.temperature_units())}"
            self._note(keys, f"the field's unit is {field.unit_text!r}", hint)
            return None
        above = [limit.above for limit in field.thresholds if limit.above is not None]
        limit = spec.limit if spec.limit is not None else min(above, default=None)
        if limit is None:
            self._note(keys, "it has no limit", "give `limit` here, or a limit `above` in the book")
            return None
        low, high = _ends(field)
        beyond = (low is not None and limit < low) or (high is not None and limit > high)
        if spec.limit is not None and beyond:
            message = f"the limit {plain(limit)} {field.unit_text} is beyond what the field says"
            self._note((*keys, "limit"), message, f"{field.title}: {field.domain}")
            return None
        start = field.typical if spec.start is None else Fraction(spec.start)
        if start is None:
            self._note(keys, "it has no usual value", "give `start` here")
            return None
        return TemperatureField(field, spec, Fraction(limit), start)

    def _calls(self) -> None:
        if self.spec.calls.pace is not None:
            self._pace(("calls", "pace"), self.spec.calls.pace)
        for section, part in (("calls", self.spec.calls), ("readbacks", self.spec.readbacks)):
            if part.distance is not None:
                self._laps((section, "distance"), part.distance)
            if part.wheel is not None:
                self._wheel((section, "wheel"), part.wheel)

    def _message(self, keys: Keys, name: str) -> Message | None:
        """Return a message of the direction that its section is about, noting where it is none."""
        direction = _DIRECTIONS[str(keys[0])]
        message = self.book.messages.get(name)
        if message is not None and message.direction == direction:
            return message
        what = "message" if message is None else {"pit": "call", "car": "report"}[direction]
        known = [message.name for message in self.book.sent_by(direction)]
        hint = f"those of direction {direction!r} are: {', '.join(known) or 'none'}"
        problem = f"the book has no {what} {name!r}"
        self._note((*keys, "message"), problem, nearest(name, known, hint))
        return None

    def _field(
        self, keys: Keys, message: Message, name: str, ask: Callable[[FieldBase], Asked | None]
    ) -> Asked | None:
        """Return what a field of a message answers (its steps, its options), noting where it has
        none of that name, or one of another kind, which answers nothing.
        """
        field = message.fields.get(name)
        answer = None if field is None else ask(field)
        if answer is not None:
            return answer
        fitting = [other for other, one in message.fields.items() if ask(one) is not None]
        if field is None:
            problem = f"the message {message.name!r} has no field {name!r}"
            hint = f"its fields are {', '.join(message.fields) or 'none'}"
            self._note(keys, problem, nearest(name, fitting, hint))
        else:
            problem = f"the field {name!r} is a {field.described}, not a {_KINDS[ask]}"
            hint = f"{message.name!r} says these of that kind: {', '.join(fitting) or 'none'}"
            self._note(keys, problem, hint)
        return None

    def _pace(self, keys: Keys, pace: PaceSpec) -> None:
        message = self._message(keys, pace.message)
        targets = message and self._field((*keys, "target"), message, pace.target, _steps)
        if not message or not targets:
            return
        unit = message.fields[pace.target].unit_text
        if unit not in units.energy_units():
            hint = f"a target is told in {', '.join(units.energy_units())}"
            self._note((*keys, "target"), f"the field's unit is {unit!r}", hint)
        else:
            self._sayable(keys, pace.message, {pace.target: targets.first})

    def _laps(self, keys: Keys, laps: LapsSpec) -> None:
        message = self._message(keys, laps.message)
        added = message and self._field((*keys, "added"), message, laps.added, _steps)
        if added and added.step != added.step.to_integral_value():
            problem = f"laps come in steps of {plain(added.step)}"
            self._note((*keys, "added"), problem, "laps are whole")
        elif added and keys[0] == "calls":
            self._sayable(keys, laps.message, {laps.added: added.last})

    def _wheel(self, keys: Keys, wheel: WheelSpec) -> None:
        message = self._message(keys, wheel.message)
        if message is None:
            return
        dials = self._field((*keys, "dial"), message, wheel.dial, _options)
        if wheel.position:
            there = self._field((*keys, "position"), message, wheel.position, _steps)
            if there and dials and keys[0] == "calls":
                self._sayable(
                    keys, wheel.message, {wheel.dial: dials[0], wheel.position: there.last}
                )
            return
        if not (wheel.way and wheel.clicks):
            return  # told already
        clicks = self._field((*keys, "clicks"), message, wheel.clicks, _steps)
        ways = self._field((*keys, "way"), message, wheel.way, _options)
        wrong = [
            (key, option)
            for key, option in (("up", wheel.up), ("down", wheel.down))
            if ways and labelled(ways, option) is None
        ]
        for key, option in wrong:
            problem = f"{option!r} is not one of {', '.join(ways or ())}"
            self._note((*keys, key), problem, f"say which option means {key}")
        if clicks and dials and ways and not wrong and keys[0] == "calls":
            values = {wheel.dial: dials[0], wheel.way: wheel.up, wheel.clicks: clicks.last}
            self._sayable(keys, wheel.message, values)

    def _sayable(self, keys: Keys, message: str, values: dict[str, object]) -> None:
        """Check that a call can be said with nothing but the fields the event names."""
        try:
            encode(self.book, values, message)
        except CodeError as error:
            said = " and ".join(values)
            problem = f"{message!r} can't be said with {said} alone: {error.message}"
            hint = "name a message that says nothing else, or give its other fields a usual value"
            self._note((*keys, "message"), problem, hint)

    def _charging(self) -> None:
        """Note windows that close behind the flag."""
        laps = self.spec.distance.planned
        for name, stop in self.spec.charging.items():
            if stop.first <= stop.last and stop.last > laps and self.spec.distance.laps:
                keys = ("charging", name, "last")
                message = f"the race has {counted(laps, 'lap')}, not {stop.last}"
                self._note(keys, message, "give the last lap on which it may be made", _DISTANCE)

    def _extra_power(self) -> None:
        """Note a fact that neither the trade nor the book has a word for."""
        extra, known = self.spec.extra_power, {**TITLES, **self.book.rules.events}
        if extra is not None and extra.fact not in known:
            hint = nearest(extra.fact, known, f"they are {', '.join(known)}")
            message = f"the book has no fact {extra.fact!r}"
            self._note(("extra_power", "fact"), message, hint)

    def _wheel_file(self) -> Wheel | None:
        """Return the wheel that the event names, and note one that can't be used."""
        if not self.spec.wheel:
            return None
        path = self._folder / self.spec.wheel
        try:
            wheel = load_wheel(path)
        except DocumentError as error:
            first = error.problems[0]
            message = f"{counted(len(error.problems), 'problem')} in {path}: {first.message}"
            self._note(("wheel",), message, f"niner wheel check {path} tells all")
            return None
        for section, part in (("calls", self.spec.calls), ("readbacks", self.spec.readbacks)):
            laps = part.distance
            if laps is not None and laps.setting and laps.setting not in wheel.spec.settings:
                keys = (section, "distance", "setting")
                self._no_setting(keys, wheel, laps.setting)
        acts = dict.fromkeys(one.acts for several in wheel.meanings for one in several if one.acts)
        if self.spec.marker and self.spec.marker not in acts:
            message = f"no touch of the wheel {self.spec.marker!r}"
            hint = nearest(self.spec.marker, acts, f"one does: {', '.join(acts) or 'none'}")
            self._note(("marker",), message, hint)
        return wheel

    def _no_setting(self, keys: Keys, wheel: Wheel, name: str) -> None:
        settings = list(wheel.spec.settings)
        hint = nearest(name, settings, f"its settings are {', '.join(settings[:12])}")
        self._note(keys, f"{wheel.title} has no setting {name!r}", hint)

    def _dials(self, wheel: Wheel | None) -> dict[str, DialSpec]:
        """Return the dials of the event and of the wheel; what does not fit together is noted."""
        wheels = [one for one in (self.spec.calls.wheel, self.spec.readbacks.wheel) if one]
        named = {
            one.dial: found.one_of
            for one in wheels
            if (found := self.book.fields.get(one.dial)) and found.one_of is not None
        }
        settings = wheel.spec.settings if wheel is not None else {}
        for name, dial in self.spec.dials.items():
            keys = ("dials", name)
            if not wheels:
                hint = "name one in [calls.wheel] or [readbacks.wheel]"
                self._note(keys, "no message changes it", hint, _WHEELS)
            for field_name, options in named.items():
                if labelled(options, name) is None:
                    hint = nearest(name, options, f"they are {', '.join(options)}")
                    self._note(keys, f"the field {field_name!r} has no option {name!r}", hint)
            if wheel is not None:
                self._on_the_wheel(keys, name, dial, wheel)
        dials = dict(self.spec.dials)
        if wheel is None:
            return dials
        for field_name, options in named.items():
            for option in options:
                if option not in dials and option not in settings:
                    self._no_setting(self._naming(field_name), wheel, option)
                elif option not in dials and abs(settings[option].high) <= MOST_POSITION:
                    keys_of = ("low", "high", "step", "start", "wraps")
                    given = {key: getattr(settings[option], key) for key in keys_of}
                    dials[option] = DialSpec(**given)
        return dials

    def _naming(self, field_name: str) -> Keys:
        """Return the keys where a field is named as that of the dial."""
        called = self.spec.calls.wheel
        section = "calls" if called is not None and called.dial == field_name else "readbacks"
        return (section, "wheel", "dial")

    def _on_the_wheel(self, keys: Keys, name: str, dial: DialSpec, wheel: Wheel) -> None:
        """Note a dial that the wheel does not have, or has otherwise."""
        one = wheel.spec.settings.get(name)
        if one is None:
            self._no_setting(keys, wheel, name)
        elif any(
            getattr(one, key) != getattr(dial, key) for key in ("low", "high", "step", "wraps")
        ):
            hint = "say it in one place: leave the dial out here"
            self._note(keys, f"{wheel.title} has it otherwise", hint)


def _ends(field: FieldBase) -> Interval:
    """Return the lowest and the highest number that a field can tell, None for an open end."""
    first, last = field.interval(0), field.interval(field.size - 1)
    return None if first is None else first[0], None if last is None else last[1]


def _steps(field: FieldBase) -> Progression | None:
    return None if field.wraps else field.progression


def _options(field: FieldBase) -> Sequence[str] | None:
    return field.one_of


_KINDS: dict[Callable[[FieldBase], object], str] = {_steps: "quantity", _options: "choice"}
