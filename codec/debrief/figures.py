"""The debrief's figures, drawn with matplotlib: each for a wide page and for a phone.

Colours are those of M. Okabe and K. Ito (2002), told apart by colour-blind readers; nothing is told
by colour alone.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from codec.debrief.summary import Debrief, certainties
from grammar.errors import CodeError, counted

if TYPE_CHECKING:
    from codec.race import Outlook
    from codec.race.kalman import Distribution

Width = Literal["wide", "narrow"]
_INCHES: dict[Width, tuple[float, float]] = {"wide": (9.0, 3.6), "narrow": (4.2, 3.6)}
_BLUE, _ORANGE, _GREEN, _RED, _GREY = "#0072b2", "#e69f00", "#009e73", "#d55e00", "#777777"
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
        found.append(
            Figure("energy", "Energy against plan", _described_energy(debrief), _energy, 2)
        )
    if _temperatures(debrief):
        description = "Temperatures as reported, lap by lap, with their limits."
        found.append(
            Figure(
                "temperatures",
                "Temperatures against limits",
                description,
                _temperature_panels,
                len(_temperatures(debrief)),
            )
        )
    if certainties(debrief):
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
    if debrief.doubted:
        description = ", ".join(
            f"{word} {count}" for word, count in debrief.doubted.most_common(12)
        )
        found.append(Figure("doubted", "Words most often doubted", description, _words))
    return found


def image(
    debrief: Debrief, figure: Figure, form: Literal["svg", "png"], width: Width = "wide"
) -> bytes:
    """Return a figure as SVG or PNG; raises CodeError where matplotlib is not installed."""
    try:
        import matplotlib as mpl
        from matplotlib.figure import Figure as Canvas
    except ImportError:
        raise CodeError(
            "figures need matplotlib", kind="not-installed", hint="pip install 'niner[figures]'"
        ) from None
    with mpl.rc_context(_STYLE):
        across, down = _INCHES[width]
        canvas = Canvas(
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


def _outlooks(debrief: Debrief) -> Sequence[Outlook]:
    from codec.race import outlook

    return [outlook(race) for race in debrief.race.history] if debrief.race is not None else []


def _banded(
    axis: Any, estimates: Sequence[tuple[int, Distribution]], colour: str, label: str = ""
) -> None:
    """Draw the band of each lap's estimate, and a line of their means where it has a label."""
    laps = [lap for lap, _ in estimates]
    lows, highs = zip(*(one.band() for _, one in estimates), strict=True) if estimates else ((), ())
    axis.fill_between(laps, lows, highs, color=colour, alpha=0.2, linewidth=0, label="80 % band")
    if label:
        axis.plot(laps, [one.mean for _, one in estimates], color=colour, label=label)


def _both(axis: Any, debrief: Debrief, name: str, scale: float = 1) -> None:
    """Draw the values of a field as reported, and as recorded where they were."""
    reported, recorded = debrief.reported(name), debrief.was(name)
    values = [scale * value for value in reported.values()]
    axis.plot(list(reported), values, "o", color=_ORANGE, markersize=4, label="reported")
    if recorded:
        values = [scale * value for value in recorded.values()]
        dashed = {"linestyle": "--", "linewidth": 1, "label": "recorded"}
        axis.plot(list(recorded), values, color=_GREY, **dashed)


def _energy(debrief: Debrief, canvas: Any) -> None:
    above, below = _axes(canvas, 2)
    race = debrief.race
    if race is None:
        return
    unit, outlooks = race.event.spec.energy.unit, _outlooks(debrief)
    _banded(above, [(one.lap, one.against_plan) for one in outlooks], _BLUE, "estimated")
    for name, bound in race.event.energies.items():
        if bound.spec.says == "delta":
            sign = 1 if bound.spec.positive == "left" else -1
            _both(above, debrief, name, sign * float(bound.scale))
    above.axhline(0, color="black", linewidth=0.8)
    above.set_ylabel(f"against the plan, {unit}")
    _legend(above)
    margins = [(one.lap, one.distance.margin) for one in outlooks]
    _banded(below, margins, _GREEN, "forecast on that lap")
    below.axhline(0, color=_RED, linewidth=1, linestyle="--", label="reserve")
    below.set_ylabel(f"margin at the flag, {unit}")
    _legend(below)


def _described_energy(debrief: Debrief) -> str:
    last = _outlooks(debrief)[-1]
    low, high = last.distance.margin.band()
    unit = debrief.race.event.spec.energy.unit if debrief.race is not None else ""
    now = f"{last.against_plan.mean:+.2f} {unit} against plan on lap {last.lap}"
    return f"{now}; margin at the flag {low:+.2f} to {high:+.2f} {unit}.".replace("-", "−")


def _temperatures(debrief: Debrief) -> list[str]:
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
    names = _temperatures(debrief)
    for axis, name in zip(_axes(canvas, len(names)), names, strict=True):
        field = debrief.book.fields[name]
        estimates = [
            (one.lap, one.temperatures[name])
            for one in _outlooks(debrief)
            if name in one.temperatures
        ]
        if estimates:
            _banded(axis, estimates, _BLUE)
        _both(axis, debrief, name)
        for limit in _limits(debrief, name):
            axis.axhline(limit, color=_RED, linestyle="--", linewidth=1, label=f"limit {limit:g}")
        axis.set_ylabel(f"{field.title}, {field.unit_text}")
        _legend(axis)


def _limits(debrief: Debrief, name: str) -> list[float]:
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
        bbox_to_anchor=(0, 1.02),
        ncols=4,
        handlelength=1.4,
        columnspacing=1.0,
        borderaxespad=0.0,
    )
    legend.set_in_layout(False)  # a legend wider than a phone's figure must not narrow it
    low, high = axis.get_ylim()
    axis.set_ylim(low, high + (high - low) * 0.22)
