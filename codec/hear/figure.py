"""The figures of simulations, drawn with matplotlib: reliability, what thresholds let pass, and
what asking costs.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from grammar.libraries import needed

if TYPE_CHECKING:
    from codec.hear.tally import Tally

_STYLE: Any = {
    "svg.hashsalt": "niner",
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.alpha": 0.3,
}
_COLOURS = (
    "#0072b2",
    "#d55e00",
    "#009e73",
    "#cc79a7",
    "#56b4e9",
    "#e69f00",
)  # told apart by colour-blind people (M. Okabe, K. Ito 2008)
_MARKERS = "os^DvP"


def picture(tallies: Sequence[Tally], threshold: float, form: str) -> bytes:
    """Return the figures of some simulations side by side, as "svg" or "png"; raises CodeError
    where matplotlib is not installed.
    """
    with needed("matplotlib", "figures").rc_context(_STYLE):
        canvas = needed("matplotlib.figure", "figures").Figure(
            figsize=(12, 4.2), layout="constrained"
        )
        reliability, passed, time = canvas.subplots(1, 3, width_ratios=(1, 1, 0.9))
        _reliability(reliability, tallies)
        _passed(passed, tallies, threshold)
        _time(time, tallies)
        stream = io.BytesIO()
        canvas.savefig(
            stream, format=form, dpi=150, metadata={"Date": None} if form == "svg" else {}
        )
    return stream.getvalue()


def _reliability(axes: Any, tallies: Sequence[Tally]) -> None:
    axes.plot([0, 1], [0, 1], color="0.6", linewidth=1, linestyle="--", zorder=1)
    for tally, colour, marker in zip(tallies, _COLOURS, _MARKERS, strict=False):
        rows = [row for row in tally.reliability() if row.reports >= 10]
        axes.errorbar(
            [row.called for row in rows],
            [row.share for row in rows],
            yerr=[2 * row.error for row in rows],
            color=colour,
            marker=marker,
            markersize=4,
            linewidth=1,
            capsize=2,
            label=tally.title,
        )
    axes.set(
        xlabel="probability of the best reading",
        ylabel="share that was right (bars: chance, ± 2σ)",
        title="Reliability, first hearing",
    )
    axes.set(xlim=(0, 1.02), ylim=(0, 1.02))
    axes.legend(frameon=False, loc="best")


def _passed(axes: Any, tallies: Sequence[Tally], threshold: float) -> None:
    from codec.hear.tally import THRESHOLDS

    for tally, colour, marker in zip(tallies, _COLOURS, _MARKERS, strict=False):
        pairs = [tally.at_threshold(value) for value in THRESHOLDS]
        places = [1 - value for value in THRESHOLDS]
        axes.plot(
            places,
            [wrong or float("nan") for _, wrong in pairs],
            color=colour,
            marker=marker,
            markersize=4,
            linewidth=1,
        )
        axes.plot(
            places,
            [refused or float("nan") for refused, _ in pairs],
            color=colour,
            linewidth=1,
            linestyle=":",
        )
    axes.plot([], [], color="0.3", marker="o", markersize=4, linewidth=1, label="accepted, wrong")
    axes.plot([], [], color="0.3", linewidth=1, linestyle=":", label="refused")
    axes.axvline(1 - threshold, color="0.6", linewidth=1, linestyle="--")
    axes.annotate(
        "the book's",
        (1 - threshold, 0.42),
        xycoords=("data", "axes fraction"),
        rotation=90,
        va="top",
        ha="right",
        fontsize=7,
        color="0.4",
    )
    axes.set(
        xscale="log",
        yscale="log",
        xlabel="threshold",
        ylabel="share of all reports",
        title="What a threshold lets pass, first hearing",
    )
    axes.set_xticks(
        [1 - value for value in (0.6, 0.8, 0.9, 0.95, 0.99, 0.999)],
        ["0.6", "0.8", "0.9", "0.95", "0.99", "0.999"],
    )
    axes.minorticks_off()
    axes.invert_xaxis()
    axes.legend(frameon=False, loc="best")


def _time(axes: Any, tallies: Sequence[Tally]) -> None:
    places = range(len(tallies))
    facts = [tally.as_dict() for tally in tallies]
    once, more = (
        [one["seconds_said_once"] for one in facts],
        [one["seconds"] - one["seconds_said_once"] for one in facts],
    )
    axes.barh(places, once, color="0.75", label="said once")
    axes.barh(
        places,
        more,
        left=once,
        color=[_COLOURS[n % len(_COLOURS)] for n in places],
        label="asking again",
    )
    for place, one in enumerate(facts):
        asks, wrong, given_up = (
            100 * share
            for share in (
                one["asked_part"] + one["asked_all"],
                one["accepted_wrong"],
                one["given_up"],
            )
        )
        told = f"asks {asks:.1f} %\nwrong {wrong:.2f} %, given up {given_up:.1f} %"
        axes.annotate(
            told,
            (0.08, place),
            va="center",
            fontsize=7,
            bbox={"facecolor": "white", "alpha": 0.85, "linewidth": 0},
        )
    axes.set_yticks(list(places), [tally.title for tally in tallies])
    axes.invert_yaxis()
    axes.grid(visible=False, axis="y")
    axes.set(xlabel="radio seconds a report", title="Radio time")
