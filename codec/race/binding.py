"""An event file bound to the book it is used with: every name looked up; every misfit is a problem
with its path.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from codec.encoding import encode
from codec.race import units
from codec.race.event import EventSpec, LapsSpec, PaceSpec, ReportSpec, TemperatureSpec, WheelSpec
from grammar.book import Book
from grammar.errors import CodeError
from grammar.exact import plain
from grammar.fields import FieldBase, Progression, labelled
from grammar.loading import Collector

PERCENT = "%"
Place = Sequence[str | int]


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

    ``laps`` and ``plan`` (one figure a lap) are those of the start.
    """

    spec: EventSpec
    book: Book
    name: str
    plan: tuple[Fraction, ...]
    energies: dict[str, EnergyField]
    temperatures: dict[str, TemperatureField]

    @property
    def title(self) -> str:
        """The event's title, or its file's name."""
        return self.spec.title or self.name

    @property
    def laps(self) -> int:
        """The laps planned at the start."""
        return self.spec.distance.planned


class Binding:
    """The event's names looked up in the book; every misfit is a problem."""

    def __init__(self, spec: EventSpec, book: Book, problems: Collector) -> None:
        self.spec, self.book, self.problems = spec, book, problems

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
        if self.spec.energy.unit not in units.energy_units():
            self._add(
                ("energy", "unit"),
                f"{self.spec.energy.unit!r} is no unit of energy",
                f"units are {', '.join(units.energy_units())}",
            )
        self._calls()
        self._dials()
        return Event(self.spec, self.book, name, plan, energies, temperatures)

    def _add(self, path: Place, message: str, hint: str = "") -> None:
        self.problems.add(path, message, hint, "event")

    def _plan(self) -> tuple[Fraction, ...]:
        laps, given, energy = self.spec.distance.planned, self.spec.plan.per_lap, self.spec.energy
        if given is None:
            return (Fraction(energy.usable - energy.reserve) / laps,) * laps
        if not isinstance(given, list):
            return (Fraction(given),) * laps
        if len(given) != laps:
            self._add(
                ("plan", "per_lap"),
                f"{len(given)} figures for {laps} laps",
                "give one for each lap, or one for all",
            )
        return tuple(map(Fraction, given))

    def _measured(self, path: Place, key: str) -> FieldBase | None:
        field = self.book.fields.get(key)
        if field is None:
            self._add(
                path,
                f"the book has no field {key!r}",
                f"its fields are {', '.join(self.book.fields)}",
            )
        elif field.interval(0) is None:
            self._add(
                path,
                f"the field {key!r} is a {field.described}, not a number with a unit",
                "name a quantity or bands",
            )
        else:
            return field
        return None

    def _energy(self, key: str, report: ReportSpec) -> EnergyField | None:
        path = ("reports", key)
        field = self._measured(path, key)
        if field is None or self.spec.energy.unit not in units.energy_units():
            return None
        if field.unit_text == PERCENT:
            scale = Fraction(self.spec.energy.usable) / 100
        elif field.unit_text in units.energy_units():
            scale = units.energy(1, field.unit_text, self.spec.energy.unit)
        else:
            self._add(
                path,
                f"the field's unit is {field.unit_text!r}",
                f"an energy is told in {', '.join(units.energy_units())} or {PERCENT}",
            )
            return None
        if report.counts == "drawn":
            if report.says != "used":
                self._add(
                    (*path, "counts"),
                    f"only what was used is counted as drawn, not {report.says}",
                    "remove it",
                )
            scale *= 1 - Fraction(self.spec.energy.regenerated)
        return EnergyField(field, report, scale)

    def _temperature(self, key: str, spec: TemperatureSpec) -> TemperatureField | None:
        path = ("temperatures", key)
        field = self._measured(path, key)
        if field is None:
            return None
        if field.unit_text not in units.temperature_units():
            self._add(
                path,
                f"the field's unit is {field.unit_text!r}",
                f"a temperature is told in {' or '.join(units.temperature_units())}",
            )
            return None
        above = [limit.above for limit in field.thresholds if limit.above is not None]
        limit = spec.limit if spec.limit is not None else min(above, default=None)
        if limit is None:
            self._add(path, "it has no limit", "give `limit` here, or a limit `above` in the book")
            return None
        start = field.typical if spec.start is None else Fraction(spec.start)
        if start is None:
            self._add(path, "it has no usual value", "give `start` here")
            return None
        return TemperatureField(field, spec, Fraction(limit), start)

    def _calls(self) -> None:
        calls, readbacks = self.spec.calls, self.spec.readbacks
        if calls.pace:
            self._pace(("calls", "pace"), calls.pace)
        for section, direction, laps, wheel in (
            ("calls", "pit", calls.distance, calls.wheel),
            ("readbacks", "car", readbacks.distance, readbacks.wheel),
        ):
            if laps:
                self._laps((section, "distance"), laps, direction)
            if wheel:
                self._wheel((section, "wheel"), wheel, direction)

    def _field(
        self, path: Place, message: str, direction: str, key: str, name: str
    ) -> FieldBase | None:
        """Return the field ``name`` of a message, noting what is wrong with either."""
        found = self.book.messages.get(message)
        if found is None or found.direction != direction:
            what = (
                "no message"
                if found is None
                else f"no {'call' if direction == 'pit' else 'report'}"
            )
            known = (
                ", ".join(m.name for m in self.book.sent_by("pit" if direction == "pit" else "car"))
                or "none"
            )
            problem = (
                (*path, "message"),
                f"the book has {what} {message!r}",
                f"those of direction {direction!r} are: {known}",
            )
            if tuple(problem[0]) not in {place for place, *_ in self.problems.found}:
                self._add(*problem)
            return None
        if name not in found.fields:
            self._add(
                (*path, key),
                f"the message {message!r} has no field {name!r}",
                f"its fields are {', '.join(found.fields)}",
            )
        return found.fields.get(name)

    def _quantity(
        self, path: Place, message: str, direction: str, key: str, name: str
    ) -> tuple[Progression, str] | None:
        """Return the values of a field in even steps, and its unit; None for any other."""
        field = self._field(path, message, direction, key, name)
        if field is None:
            return None
        values = None if field.wraps else field.progression
        if values is None:
            self._add((*path, key), f"the field {name!r} is a {field.described}, not a quantity")
            return None
        return values, field.unit_text

    def _pace(self, path: Place, pace: PaceSpec) -> None:
        found = self._quantity(path, pace.message, "pit", "target", pace.target)
        if found is None:
            return
        values, unit = found
        if unit not in units.energy_units():
            self._add(
                (*path, "target"),
                f"the field's unit is {unit!r}",
                f"a target is told in {', '.join(units.energy_units())}",
            )
        else:
            self._sayable(path, pace.message, {pace.target: values.first})

    def _laps(self, path: Place, laps: LapsSpec, direction: str) -> None:
        found = self._quantity(path, laps.message, direction, "added", laps.added)
        if found is None:
            return
        values, _ = found
        if values.step != values.step.to_integral_value():
            self._add(
                (*path, "added"), f"laps come in steps of {plain(values.step)}", "laps are whole"
            )
        elif direction == "pit":
            self._sayable(path, laps.message, {laps.added: values.last})

    def _wheel(self, path: Place, wheel: WheelSpec, direction: str) -> None:
        clicks = self._quantity(path, wheel.message, direction, "clicks", wheel.clicks)
        dials = self._choice(path, wheel.message, direction, ("dial", wheel.dial), ())
        ways = self._choice(
            path,
            wheel.message,
            direction,
            ("way", wheel.way),
            (("up", wheel.up), ("down", wheel.down)),
        )
        if clicks and dials and ways and direction == "pit":
            self._sayable(
                path,
                wheel.message,
                {wheel.dial: dials[0], wheel.way: wheel.up, wheel.clicks: clicks[0].last},
            )

    def _sayable(self, path: Place, message: str, values: dict[str, object]) -> None:
        """Check that a call can be said with nothing but the fields the event names."""
        try:
            encode(self.book, values, message)
        except CodeError as error:
            self._add(
                (*path, "message"),
                f"{message!r} can't be said with {' and '.join(values)} alone: {error.message}",
            )

    def _choice(
        self,
        path: Place,
        message: str,
        direction: str,
        named: tuple[str, str],
        options: Sequence[tuple[str, str]],
    ) -> Sequence[str] | None:
        """Return the options of a field, if ``options`` (key, option) are among them."""
        field = self._field(path, message, direction, *named)
        if field is None:
            return None
        known = field.one_of
        if known is None:
            self._add(
                (*path, named[0]), f"the field {named[1]!r} is a {field.described}, not a choice"
            )
            return None
        for key, option in options:
            if labelled(known, option) is None:
                self._add(
                    (*path, key),
                    f"{option!r} is not one of {', '.join(known)}",
                    f"say which option means {key}",
                )
                return None
        return known

    def _dials(self) -> None:
        wheels = [wheel for wheel in (self.spec.calls.wheel, self.spec.readbacks.wheel) if wheel]
        dials = {
            wheel.dial: field.one_of
            for wheel in wheels
            if (field := self.book.fields.get(wheel.dial)) and field.one_of is not None
        }
        for name in self.spec.dials:
            if not wheels:
                self._add(
                    ("dials", name),
                    "no message changes it",
                    "name one in [calls.wheel] or [readbacks.wheel]",
                )
            for dial, options in dials.items():
                if labelled(options, name) is None:
                    self._add(
                        ("dials", name),
                        f"the field {dial!r} has no option {name!r}",
                        f"they are {', '.join(options)}",
                    )
