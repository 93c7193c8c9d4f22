"""The charts of a debrief that can be pointed at, as numbers by lap: the figures of
``codec.debrief.figures``, one chart a panel.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from codec.debrief.figures import against_plan, figures, limits_of, temperatures_of
from codec.debrief.summary import Debrief, certainties

if TYPE_CHECKING:
    from codec.race import LapUse
    from codec.race.kalman import Distribution

Look = Literal["line", "step", "points", "low", "high", "limit", "bar"]


@dataclass(frozen=True, slots=True)
class ChartLine:
    """Values by lap, None where there is none, and how they are drawn; the values of ``low`` and
    the ``high`` behind it are the ends of a band.
    """

    name: str
    values: Sequence[float | None]
    look: Look = "line"


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart: its title, what it shows in words, its unit, and its lines over laps."""

    title: str
    description: str
    unit: str
    laps: Sequence[int]
    lines: Sequence[ChartLine]

    def as_dict(self) -> dict[str, Any]:
        """Return the numbers for a script."""
        return {
            "unit": self.unit,
            "laps": list(self.laps),
            "lines": [
                {
                    "name": one.name,
                    "look": one.look,
                    "values": [None if v is None else round(v, 4) for v in one.values],
                }
                for one in self.lines
            ],
        }


def charts(debrief: Debrief) -> list[Chart]:
    """Return the charts for which there is something to show."""
    return [
        chart
        for figure in figures(debrief)
        if figure.name in _DRAWN
        for chart in _DRAWN[figure.name](debrief, figure.title, figure.description)
    ]


def _laid(laps: Sequence[int], values: Mapping[int, float]) -> list[float | None]:
    """Return a value for each lap, None where there is none that is finite."""
    found = [values.get(lap) for lap in laps]
    return [value if value is not None and math.isfinite(value) else None for value in found]


def _band(laps: Sequence[int], by_lap: Mapping[int, Distribution], name: str) -> list[ChartLine]:
    bands = {lap: one.band() for lap, one in by_lap.items()}
    return [
        ChartLine("80 % from", _laid(laps, {lap: low for lap, (low, _) in bands.items()}), "low"),
        ChartLine("to", _laid(laps, {lap: high for lap, (_, high) in bands.items()}), "high"),
        ChartLine(name, _laid(laps, {lap: one.mean for lap, one in by_lap.items()})),
    ]


def _use(debrief: Debrief, title: str, description: str) -> Iterator[Chart]:
    race = debrief.race
    if race is None:
        return
    yield use_chart(race.uses(), race.event.spec.energy.unit, title, description)


def use_chart(
    uses: Mapping[int, LapUse], unit: str, title: str = "energy a lap", description: str = ""
) -> Chart:
    """Return what laps took against their targets."""
    lines = [
        ChartLine("used", [use.used for use in uses.values()]),
        ChartLine("target", [use.target for use in uses.values()], "step"),
    ]
    return Chart(title, description, f"{unit} a lap", list(uses), lines)


def _energy(debrief: Debrief, title: str, description: str) -> Iterator[Chart]:
    race = debrief.race
    if race is None:
        return
    unit, outlooks = race.event.spec.energy.unit, debrief.outlooks
    laps = [one.lap for one in outlooks]
    lines = _band(laps, {one.lap: one.against_plan for one in outlooks}, "estimated")
    for name, bound in race.event.energies.items():
        said = {
            lap: against_plan(race, bound, lap, (value, value))[0]
            for lap, value in debrief.reported(name).items()
            if lap < len(race.history)
        }
        lines.append(
            ChartLine(f"{debrief.book.fields[name].title}, reported", _laid(laps, said), "points")
        )
    yield Chart(title, description, unit, laps, lines)
    margins = _band(laps, {one.lap: one.distance.margin for one in outlooks}, "margin at the flag")
    lines = [*margins, ChartLine("reserve", [0.0] * len(laps), "limit")]
    yield Chart("Margin at the flag, forecast on each lap", description, unit, laps, lines)


def _temperatures(debrief: Debrief, title: str, description: str) -> Iterator[Chart]:
    laps = [line.lap for line in debrief.lines]
    for name in temperatures_of(debrief):
        field = debrief.book.fields[name]
        estimates = {
            one.lap: one.temperatures[name] for one in debrief.outlooks if name in one.temperatures
        }
        lines = _band(laps, estimates, "estimated") if estimates else []
        lines.append(ChartLine("reported", _laid(laps, debrief.reported(name)), "points"))
        lines += [
            ChartLine("limit", [limit] * len(laps), "limit") for limit in limits_of(debrief, name)
        ]
        yield Chart(f"{title}: {field.title}", description, field.unit_text, laps, lines)


def _certainty(debrief: Debrief, title: str, description: str) -> Iterator[Chart]:
    laps = [line.lap for line in debrief.lines]
    sure = {lap: 100 * share for lap, share in certainties(debrief).items()}
    yield Chart(title, description, "%", laps, [ChartLine("certain", _laid(laps, sure), "bar")])


def _radio(debrief: Debrief, title: str, description: str) -> Iterator[Chart]:
    laps = [line.lap for line in debrief.lines]
    car, pit = (
        [line.car_seconds for line in debrief.lines],
        [line.pit_seconds for line in debrief.lines],
    )
    lines = [ChartLine("car", car, "bar"), ChartLine("pit", pit, "points")]
    yield Chart(title, description, "s", laps, lines)


_DRAWN = {
    "use": _use,
    "energy": _energy,
    "temperatures": _temperatures,
    "certainty": _certainty,
    "radio": _radio,
}
