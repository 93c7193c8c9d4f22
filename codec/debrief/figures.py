"""The debrief's figures, drawn with matplotlib: each for a wide page and for a phone.

Colours are those of M. Okabe and K. Ito (2002), told apart by colour-blind readers; nothing is told
by colour alone.
"""

from __future__ import annotations

import io
import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from codec.debrief.summary import Debrief, certainties
from grammar.errors import counted
from grammar.libraries import needed

if TYPE_CHECKING:
    from codec.race import Race
    from codec.race.binding import EnergyField
    from codec.race.interval import Interval
    from codec.race.kalman import Distribution

Width = Literal["wide", "narrow"]
_INCHES: dict[Width, tuple[float, float]] = {"wide": (9.0, 3.6), "narrow": (4.2, 3.6)}
_BLUE, _ORANGE, _GREEN, _RED, _GREY = "#0072b2", "#e69f00", "#009e73", "#d55e00", "#777777"
_CERTAIN = 0.9  # a report at least so certain needs no look
_ALIKE = 0.005  # of two energies that are written alike
_MANY = 8  # words doubted: fewer are told in a sentence
_LEAST_BAR = 2  # %: a report that is surely wrong is still to be seen
_STYLE: Any = {
    "svg.fonttype": "path",
    "svg.hashsalt": "niner",
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#e4e4e4",
    "axes.axisbelow": True,
    "legend.frameon": False,
    "legend.fontsize": 8,
}


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of the debrief: a short name, what it is called, and what it shows for those who
    can't see it.
    """

    name: str
    title: str
    description: str
    draw: Callable[[Debrief, Any], None]
    panels: int = 1


NAMES = (
    "use",
    "energy",
    "temperatures",
    "certainty",
    "radio",
    "doubted",
)  # of all figures there may be, in their order


def figures(debrief: Debrief) -> list[Figure]:
    """Return the figures for which there is something to show."""
    found: list[Figure] = []
    if debrief.race is not None and debrief.race.event.energies:
        if debrief.race.reported:
            about = _described_use(debrief.race)
            found.append(Figure("use", "Use against target", about, _use))
        found.append(
            Figure("energy", "Energy against plan", _described_energy(debrief), _energy, 2)
        )
    if temperatures_of(debrief):
        description = "Temperatures as reported, lap by lap, with their limits."
        found.append(
            Figure(
                "temperatures",
                "Temperatures against limits",
                description,
                _temperature_panels,
                len(temperatures_of(debrief)),
            )
        )
    if _doubtful(debrief):
        found.append(
            Figure(
                "certainty",
                "Certainty of each lap's report",
                _described_certainty(debrief),
                _certainty,
            )
        )
    if debrief.lines:
        total = sum(line.car_seconds + line.pit_seconds for line in debrief.lines)
        found.append(
            Figure(
                "radio",
                "Radio seconds per lap",
                f"{total:.0f} seconds in {counted(len(debrief.lines), 'lap')}.",
                _radio,
            )
        )
    if often_doubted(debrief):
        description = ", ".join(
            f"{word} {count}" for word, count in debrief.doubted.most_common(12)
        )
        found.append(Figure("doubted", "Words most often doubted", description, _words))
    return found


def image(
    debrief: Debrief, figure: Figure, form: Literal["svg", "png"], width: Width = "wide"
) -> bytes:
    """Return a figure as SVG or PNG; raises CodeError where matplotlib is not installed."""
    with needed("matplotlib", "figures").rc_context(_STYLE):
        across, down = _INCHES[width]
        canvas = needed("matplotlib.figure", "figures").Figure(
            figsize=(across, down * (1 + 0.6 * (figure.panels - 1))), layout="constrained"
        )
        figure.draw(debrief, canvas)
        stream = io.BytesIO()
        metadata = {"Date": None} if form == "svg" else {}
        canvas.savefig(stream, format=form, dpi=160, metadata=metadata)
    return stream.getvalue()


def _axes(canvas: Any, count: int) -> list[Any]:
    axes = canvas.subplots(count, 1, sharex=True, squeeze=False)[:, 0]
    from matplotlib.ticker import MaxNLocator

    axes[-1].set_xlabel("lap")
    axes[-1].xaxis.set_major_locator(MaxNLocator(integer=True))
    return list(axes)


def _banded(
    axis: Any, estimates: Sequence[tuple[int, Distribution]], colour: str, label: str = ""
) -> None:
    """Draw the band of each lap's estimate, and a line of their means where it has a label."""
    laps = [lap for lap, _ in estimates]
    lows, highs = zip(*(one.band() for _, one in estimates), strict=True) if estimates else ((), ())
    axis.fill_between(laps, lows, highs, color=colour, alpha=0.2, linewidth=0, label="80 % band")
    if label:
        axis.plot(laps, [one.mean for _, one in estimates], color=colour, label=label)


def _intervals(axis: Any, said: Mapping[int, Interval]) -> None:
    """Draw reports as the intervals that they stand for; an end that is open as an arrow."""
    label = "reported"
    ends = [end for interval in said.values() for end in interval if math.isfinite(end)]
    reach = 0.1 * (max(ends) - min(ends)) if len(ends) > 1 else 1.0
    for lap, (low, high) in said.items():
        bottom = low if math.isfinite(low) else high - reach
        top = high if math.isfinite(high) else low + reach
        style = {"color": _ORANGE, "linewidth": 4, "solid_capstyle": "butt", "label": label}
        axis.plot([lap, lap], [bottom, top], **style)
        label = "_"  # once in the legend
        if not math.isfinite(low):
            axis.plot([lap], [bottom], "v", color=_ORANGE, markersize=5)
        if not math.isfinite(high):
            axis.plot([lap], [top], "^", color=_ORANGE, markersize=5)


def _recorded(axis: Any, values: Mapping[int, float]) -> None:
    """Draw what the car recorded, where it did."""
    if values:
        dashed = {"linestyle": "--", "linewidth": 1, "label": "recorded"}
        axis.plot(list(values), list(values.values()), color=_GREY, **dashed)


def _use(debrief: Debrief, canvas: Any) -> None:
    """Draw what each lap took against its target, with calls, neutralisations and laps added."""
    axis, race = _axes(canvas, 1)[0], debrief.race
    if race is None:
        return
    edges = [lap - 0.5 for lap in range(1, len(race.driven) + 2)]
    targets = [float(driven.target) for driven in race.driven]
    axis.stairs(targets, edges, baseline=None, color="black", linewidth=1.4, label="target")
    raced = {one.lap: race.use_of(one.lap) or 0.0 for one in race.driven if not one.neutralised}
    over = [lap for lap in raced if lap in race.reported and raced[lap] > targets[lap - 1]]
    below = [lap for lap in raced if lap in race.reported and lap not in over]
    missing = [lap for lap in raced if lap not in race.reported]
    for laps, marker, colour, label in (
        (below, "v", _GREEN, "took less"),
        (over, "^", _RED, "took more"),
        (missing, "o", _GREY, "no report"),
    ):
        values = [raced[lap] for lap in laps]
        axis.vlines(laps, [targets[lap - 1] for lap in laps], values, color=colour, linewidth=2)
        if laps:
            axis.plot(laps, values, marker, color=colour, markersize=6, label=label)
    axis.set_ylabel(f"{race.event.spec.energy.unit} a lap")
    every = [*targets, *raced.values()]
    low, high = min(every), max(every)
    room = max(high - low, 0.05 * high)
    axis.set_ylim(low - 0.25 * room, high + 0.3 * room)
    _mark_race(axis, race)
    _legend(axis)


def _mark_race(axis: Any, race: Race) -> None:
    """Mark neutralisations, laps added, and calls of a target on a strip of laps."""
    low, high = axis.get_ylim()
    for span in race.spans:
        last = race.lap if span.last is None else span.last
        axis.axvspan(span.first - 0.5, last + 0.5, color=_GREY, alpha=0.18, linewidth=0)
        middle = (span.first + last) / 2
        axis.text(middle, low, "neutralised", ha="center", va="bottom", fontsize=7, color="#444444")
    for before, then in itertools.pairwise(race.history):
        added = then.laps_added - before.laps_added
        if added:
            axis.axvline(then.lap + 0.5, color=_BLUE, linestyle=":", linewidth=1.2)
            told = f"{added:+d} {'lap' if abs(added) == 1 else 'laps'}"
            axis.text(then.lap + 0.6, high, told, va="top", fontsize=8, color=_BLUE)
        if then.target is not None and then.target != before.target:
            axis.annotate(
                f"called {float(then.target):.2f}",
                (then.lap + 0.5, float(then.target)),
                (4, -26),
                textcoords="offset points",
                fontsize=7,
                arrowprops={"arrowstyle": "->", "linewidth": 0.8},
            )


def _described_use(race: Race) -> str:
    gaps = [
        (race.use_of(one.lap) or 0.0) - float(one.target)
        for one in race.driven
        if not one.neutralised and one.lap in race.reported
    ]
    over, unit = sum(gap >= _ALIKE for gap in gaps), race.event.spec.energy.unit
    mean = math.fsum(gaps) / len(gaps) if gaps else 0.0
    laps = counted(len(gaps), "raced lap")
    text = f"{over} of {laps} above the target in force; {mean:+.3f} {unit} a lap on average."
    return text.replace("-", "−")


def _energy(debrief: Debrief, canvas: Any) -> None:
    above, below = _axes(canvas, 2)
    race = debrief.race
    if race is None:
        return
    unit, outlooks = race.event.spec.energy.unit, debrief.outlooks
    _banded(above, [(one.lap, one.against_plan) for one in outlooks], _BLUE, "estimated")
    for name, bound in race.event.energies.items():
        said = debrief.intervals(name).items()
        known = range(len(race.history))
        _intervals(
            above, {lap: against_plan(race, bound, lap, one) for lap, one in said if lap in known}
        )
        was = {lap: (value, value) for lap, value in debrief.was(name).items() if lap in known}
        _recorded(above, {lap: against_plan(race, bound, lap, one)[0] for lap, one in was.items()})
    above.axhline(0, color="black", linewidth=0.8)
    above.set_ylabel(f"against the plan, {unit}")
    _legend(above)
    margins = [(one.lap, one.distance.margin) for one in outlooks]
    _banded(below, margins, _GREEN, "forecast on that lap")
    below.axhline(0, color=_RED, linewidth=1, linestyle="--", label="reserve")
    below.set_ylabel(f"margin at the flag, {unit}")
    _legend(below)


def against_plan(race: Race, bound: EnergyField, lap: int, values: Interval) -> Interval:
    """Return an interval of a field's values as energy against the plan the dash had then: above
    zero, more is left than planned.
    """
    from codec.race.interval import mirrored, shifted

    behind, scale = race.history[lap], float(bound.scale)
    planned = float(behind.plan.used(lap))
    told = values[0] * scale, values[1] * scale
    if bound.spec.says == "delta":
        return told if bound.spec.positive == "left" else mirrored(told)
    if bound.spec.says == "remaining":
        return shifted(told, planned - float(behind.usable))
    return mirrored(told, planned)


def _doubtful(debrief: Debrief) -> bool:
    """Tell whether any report was less than certain, or refused: else there is nothing to draw."""
    found = certainties(debrief)
    refused = any(line.refused for line in debrief.lines)
    return bool(found) and (refused or min(found.values()) < _CERTAIN)


def often_doubted(debrief: Debrief) -> bool:
    """Tell whether words were doubted so often that a figure of them says something."""
    return debrief.doubted.total() >= _MANY and max(debrief.doubted.values()) > 1


def _described_energy(debrief: Debrief) -> str:
    last = debrief.outlooks[-1]
    low, high = last.distance.margin.band()
    unit = debrief.race.event.spec.energy.unit if debrief.race is not None else ""
    now = f"{last.against_plan.mean:+.2f} {unit} against plan on lap {last.lap}"
    return f"{now}; margin at the flag {low:+.2f} to {high:+.2f} {unit}.".replace("-", "−")


def temperatures_of(debrief: Debrief) -> list[str]:
    """Return the fields that are temperatures: of the event, else those in °C or K that were
    reported.
    """
    if debrief.race is not None and debrief.race.event.temperatures:
        return list(debrief.race.event.temperatures)
    fields = debrief.book.fields
    return [
        name for name in fields if fields[name].unit_text in ("°C", "K") and debrief.reported(name)
    ]


def _temperature_panels(debrief: Debrief, canvas: Any) -> None:
    names = temperatures_of(debrief)
    for axis, name in zip(_axes(canvas, len(names)), names, strict=True):
        field = debrief.book.fields[name]
        estimates = [
            (one.lap, one.temperatures[name])
            for one in debrief.outlooks
            if name in one.temperatures
        ]
        if estimates:
            _banded(axis, estimates, _BLUE)
        _intervals(axis, debrief.intervals(name))
        _recorded(axis, debrief.was(name))
        for limit in limits_of(debrief, name):
            axis.axhline(limit, color=_RED, linestyle="--", linewidth=1, label=f"limit {limit:g}")
        axis.set_ylabel(f"{field.title}, {field.unit_text}")
        _legend(axis)


def limits_of(debrief: Debrief, name: str) -> list[float]:
    """Return the limits of a temperature: the event's, else those of the book."""
    if debrief.race is not None and name in debrief.race.event.temperatures:
        return [float(debrief.race.event.temperatures[name].limit)]
    limits = debrief.book.fields[name].thresholds
    return [float(limit.number) for limit in limits]


def _described_certainty(debrief: Debrief) -> str:
    found = certainties(debrief)
    low = [lap for lap, sure in found.items() if sure < 0.9]
    return (
        f"{len(found) - len(low)} of {counted(len(found), 'lap')} at least 90 % certain; less so:"
        f" {', '.join(map(str, low)) or 'none'}."
    )


def _certainty(debrief: Debrief, canvas: Any) -> None:
    axis = _axes(canvas, 1)[0]
    found = certainties(debrief)
    colours = [
        _BLUE if sure >= 0.9 else _ORANGE if sure >= 0.5 else _RED for sure in found.values()
    ]
    axis.bar(list(found), [max(_LEAST_BAR, 100 * sure) for sure in found.values()], color=colours)
    refused = {line.lap: len(line.refused) for line in debrief.lines if line.refused}
    for lap, count in refused.items():
        axis.annotate("×" * count, (lap, 101), ha="center", va="bottom", fontsize=8, color=_RED)
    axis.axhline(90, color=_GREY, linestyle=":", linewidth=1)
    axis.set(ylabel="certain, %", ylim=(0, 112))
    if refused:
        axis.set_title("×: refused before it was read", fontsize=8, loc="right")


def _radio(debrief: Debrief, canvas: Any) -> None:
    axis = _axes(canvas, 1)[0]
    laps = [line.lap for line in debrief.lines]
    car, pit = (
        [line.car_seconds for line in debrief.lines],
        [line.pit_seconds for line in debrief.lines],
    )
    axis.bar(laps, car, color=_BLUE, label="car")
    axis.bar(
        laps,
        pit,
        bottom=car,
        color=_ORANGE,
        hatch="///",
        edgecolor="white",
        linewidth=0,
        label="pit",
    )
    axis.set_ylabel("seconds said")
    _legend(axis)


def _words(debrief: Debrief, canvas: Any) -> None:
    from matplotlib.ticker import MaxNLocator

    axis = canvas.subplots()
    words: Mapping[str, int] = dict(debrief.doubted.most_common(12)[::-1])
    axis.barh(list(words), list(words.values()), color=_BLUE)
    axis.xaxis.set_major_locator(MaxNLocator(integer=True))
    axis.set_xlabel("times refused, corrected or asked for again")
    axis.grid(visible=False, axis="y")


def _legend(axis: Any) -> None:
    legend = axis.legend(
        loc="upper left",
        bbox_to_anchor=(0, 0.99),
        ncols=4,
        handlelength=1.4,
        columnspacing=1.0,
        borderaxespad=0.0,
    )
    legend.set_in_layout(False)  # a legend wider than a phone's figure must not narrow it
    low, high = axis.get_ylim()
    axis.set_ylim(low, high + (high - low) * 0.22)
