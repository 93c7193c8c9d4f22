"""Proposed codes as people want to see them: a table, and a figure of the trade-off."""

from __future__ import annotations

import contextlib
import math
import textwrap
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from codec.files import written
from codec.screen.console import boxed, console, safe
from grammar.design import (
    Needs,
    Proposal,
    bound_of,
    broken,
    costs,
    expected_seconds,
    explained,
    one_in,
)
from grammar.errors import CodeError
from grammar.libraries import needed

_FIGURES = (
    "over: above the least of any code; wrong: accepted with a wrong reading; ask: asked about when"
    " first heard; each in the noise of [hearing], bad moments included"
)
_EARS = (
    "ear: tool weighs what it hears (niner hear); card is people who take each word as heard; rows"
    " are of the card; learn: pairs of value and codeword to learn"
)
CAUTION = "Event regulations on radio use, and on coded messages, come first."


@contextlib.contextmanager
def progress(title: str, total: int) -> Iterator[Callable[[str], None]]:
    """Show a progress bar on standard error; yields what is to be told the name of each thing
    done.
    """
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=total)
        yield lambda name: bar.update(task, advance=1, description=f"{title} {name}")


def rate(share: float) -> str:
    """Return a share, however small, in per cent: two digits that count, one of what is rare; none
    was seen in any report drawn.
    """
    if share < 1e-6:
        return "<0.0001%" if share else "none"
    return f"{100 * share:.{2 if share > 1e-4 else 1}g}%"


def count(number: int) -> str:
    """Return a number of rows: 11,754; in millions where nobody would print them, 33 M."""
    return f"{number:,}" if number < 1_000_000 else f"{number / 1e6:,.0f} M"


def show(
    needs: Needs,
    shown: Sequence[Proposal],
    found: Sequence[Proposal],
    best: Sequence[Proposal],
    known: Mapping[str, Proposal],
) -> None:
    """Print proposals as a table, and what they are measured against; ``known`` are those with a
    name of their own, "picked" among them.
    """
    bound, pick = bound_of(needs), known.get("picked")
    console().print(safe(needs.title, "bold"))
    console().print(
        safe(
            f"{bound.bits:.2f} bits a report over {bound.capacity:.2f} bits a second: no code that"
            f" tells its own end takes less than {bound.seconds:.2f} s on average",
            "dim",
        )
    )
    for told in needs.demands.told():
        console().print(safe(told, "dim"))
    for name, (bits, less) in needs.flat.items():
        console().print(
            safe(
                f"{needs.fields[name].title}: nothing tells how often its values occur, so they are"
                f" taken as equally likely, {bits:.2f} bits of these; were they spread as values"
                f" mostly are, {bits - less:.1f} bits less: say it in [values]",
                "yellow",
            )
        )
    console().print(_proposals(needs, shown, best, pick))
    if pick is not None:
        console().print(
            safe(
                f"→ picked: {explained(pick, needs, found)} {_cost(pick, needs)}",
                "green",
            )
        )
        for asked, came in broken(pick, needs).items():
            console().print(
                safe(f"  it does not keep the limits: {asked}, this one {came}", "bold red")
            )
    others = "; ".join(f"{name}: {one.name}" for name, one in known.items() if one is not pick)
    if others:
        console().print(safe(others, ""))
    if len(shown) < len(found):
        console().print(safe(f"{len(shown)} of {len(found)}; --all shows the others", "dim"))
    if any(broken(one, needs) for one in shown):
        console().print(safe("! does not keep [limits]", "dim"))
    if any(one not in best for one in shown):
        console().print(safe("· another is as good in every figure and better in one", "dim"))
    for about in dict.fromkeys((one.family, one.candidate.about) for one in shown):
        console().print(safe("  {}: {}".format(*about), "dim"))
    error = max((one.error for one in shown), default=0.0)
    in_all = max((one.met.seconds_error for one in shown), default=0.0)
    said = f"mean s: said once, of the same reports drawn for each (standard error {error:.3f} s)"
    lines = (
        f"{said}; in all: with questions and answers (up to {in_all:.2f} s)",
        _FIGURES,
        _EARS,
    )
    for line in lines:
        console().print(safe(line, "dim"))
    console().print(safe(CAUTION, "italic"))


FULL = 78  # columns of a screen that hold all figures of an analysis
_COLUMNS = {
    "over": 104,
    "worst": 104,
    "learn": 84,
    "rows": 78,
    "mean s": 75,
    "ask": 66,
}  # from what width on


def _cost(pick: Proposal, needs: Needs) -> str:
    """Return what a report of the one picked costs in all, and on what."""
    spent = [f"{seconds:.2f} s {name}" for name, seconds in costs(pick, needs).items() if seconds]
    prices = needs.demands.spec.prices
    looked = (
        f"; {pick.looked:.1f} s of looking down, {prices.metres(pick.looked):.0f} m at"
        f" {prices.speed:g} km/h"
        if prices.looking
        else ""
    )
    return f"It costs {expected_seconds(pick, needs):.2f} s in all: {', '.join(spent)}{looked}."


def _proposals(
    needs: Needs, shown: Sequence[Proposal], best: Sequence[Proposal], pick: Proposal | None
) -> Table:
    """Return the table of proposals, with as many columns as a narrow screen holds whole."""
    width = console().width
    columns: dict[str, Callable[[Proposal], str]] = {
        "mean s": lambda one: f"{one.mean:.3f}",
        "in all": lambda one: f"{one.seconds:.2f}",
        "over": lambda one: f"{one.over:.0%}",
        "worst": lambda one: f"{one.worst:.2f}",
        "wrong": lambda one: one_in(one.wrong, one.met.wrong_error),
        "ask": lambda one: f"{one.ask:.1%}",
        "rows": lambda one: count(one.rows),
        "learn": lambda one: count(one.learning.pairs),
        "ear": lambda one: one.ear,
    }
    left_out = {name for name, least in _COLUMNS.items() if width < least}
    taken = {name: text for name, text in columns.items() if name not in left_out}
    grid = boxed("proposal", *taken, right=tuple(name for name in taken if name != "ear"))
    for column in grid.columns:
        column.no_wrap = True
    for one in shown:
        mark = "→" if one is pick else "!" if broken(one, needs) else " " if one in best else "·"
        grid.add_row(
            safe(f"{mark} {one.name}", "bold green" if one is pick else ""),
            *(text(one) for text in taken.values()),
        )
    return grid


def wrote(pick: Proposal, path: str, left_out: Mapping[str, str]) -> None:
    """Tell where a book was written, and which messages of the book it comes from could not go
    on.
    """
    if path == "-":
        return
    console().print(
        safe(f"{pick.name} written to {path}; look at it with: niner book check {path}", "green")
    )
    for name, reason in left_out.items():
        console().print(safe(f"left out: message {name}. {reason}", "yellow"))


def form_of(path: Path) -> str:
    """Return the form of a figure by its name, svg or png; raises CodeError for any other, and
    where matplotlib is missing.
    """
    form = path.suffix.lower().lstrip(".")
    if form not in ("svg", "png"):
        raise CodeError(
            f"{path.name}: a figure is SVG or PNG",
            kind="usage",
            expected=["a name that ends in .svg or .png"],
        )
    needed("matplotlib", "figures")
    return form


_FREE = 1.3  # so far from a name, in halves of it, is room enough


def plot(
    needs: Needs, found: Sequence[Proposal], known: Mapping[str, Proposal], path: Path
) -> None:
    """Draw seconds on the radio against one wrong report in how many: the proposals that have a
    name, all others in grey, the limits, and in two sentences what was picked. Raises CodeError
    where matplotlib is missing or the file can't be written.
    """
    form = form_of(path)
    matplotlib = needed("matplotlib", "figures")
    figure = needed("matplotlib.figure", "figures").Figure(figsize=(9.5, 6.4), facecolor="white")
    axes = figure.add_axes((0.1, 0.235, 0.87, 0.695))
    axes.set_yscale("log")
    top = 3 / min((one.wrong for one in found if one.wrong > 0), default=1e-6)
    for one in found:
        axes.plot(
            one.seconds,
            _safety(one, top),
            "x" if broken(one, needs) else "s" if one.ear == "card" else "o",
            color="0.72",
            mfc="none",
            ms=5,
            zorder=1,
        )
    names: dict[int, list[str]] = {}
    for name, one in known.items():
        names.setdefault(id(one), []).append(name)
    points = {id(one): one for one in known.values()}
    for one in points.values():
        axes.errorbar(
            one.seconds,
            _safety(one, top),
            xerr=one.met.seconds_error,
            fmt="^" if one.wrong == 0 else "s" if one.ear == "card" else "o",
            color="black",
            elinewidth=0.8,
            ms=8,
            zorder=3,
        )
    pick = known.get("picked")
    if pick is not None:
        axes.plot(
            pick.seconds, _safety(pick, top), "o", color="black", mfc="none", ms=19, mew=2, zorder=3
        )
    _limits(axes, needs, found, top)
    _label(axes, [
        ((one.seconds, _safety(one, top)), f"{', '.join(names[key])}: {one.name}", one is pick)
        for key, one in points.items()
    ], [(one.seconds, _safety(one, top)) for one in found])  # fmt: skip
    axes.yaxis.set_major_formatter(lambda count, _: f"{count:,.0f}")
    axes.yaxis.set_minor_formatter(lambda *_: "")
    axes.spines[["top", "right"]].set_visible(False)
    axes.set(
        xlabel="seconds on the radio, a report with its questions and answers",
        ylabel="one wrong report in so many: higher is safer",
    )
    axes.set_title(_plain(needs.title), loc="left", fontweight="bold")
    axes.plot([], [], "s", color="black", label="heard by people with a card")
    axes.plot([], [], "o", color="black", label="heard by the tool")
    axes.plot([], [], "o", color="0.72", mfc="none", label="other proposals")
    axes.plot([], [], "x", color="0.72", label="breaks a limit")
    if any(one.wrong == 0 for one in found):
        axes.plot([], [], "^", color="black", label="none wrong in what was heard")
    axes.legend(fontsize=8, frameon=False, ncols=5, loc="upper center", bbox_to_anchor=(0.5, -0.11))
    told = "Nothing keeps the limits." if pick is None else explained(pick, needs, found)
    lines = textwrap.wrap(told, 118)
    figure.text(0.1, 0.085, _plain("\n".join(lines)), fontsize=9.5, va="top", linespacing=1.4)
    with written(path), matplotlib.rc_context({"svg.hashsalt": "niner"}):
        figure.savefig(
            path,
            format=form,
            dpi=130,
            metadata={"Date": None} if form == "svg" else {"Software": None},
        )


def _plain(text: str) -> str:
    """Return text that is not taken for mathematics."""
    return text.replace("$", r"\$")


def _safety(one: Proposal, top: float) -> float:
    """Return in how many reports one is wrong; those in which none was seen stand at the top."""
    return min(top, 1 / one.wrong) if one.wrong else top


def _limits(axes: Any, needs: Needs, found: Sequence[Proposal], top: float) -> None:
    """Draw the least any code takes, and the limit of wrong readings."""
    bound, wrong = bound_of(needs).seconds, needs.limits.wrong
    low = min((_safety(one, top) for one in found), default=1.0) / 1.6
    if wrong is not None:
        low = min(low, 0.7 / wrong)
    right = max((one.seconds for one in found), default=bound) * 1.06
    axes.set(xlim=(0.93 * bound, right), ylim=(low, top * 1.8))
    axes.axvline(bound, color="black", linestyle="--", linewidth=1)
    axes.annotate(
        f"no code takes less: {bound:.2f} s said once",
        (bound, low), xytext=(5, 6), textcoords="offset points", fontsize=8, rotation=90,
    )  # fmt: skip
    if wrong is not None:
        axes.axhspan(low, 1 / wrong, color="0.93", zorder=0, linewidth=0)
        axes.axhline(1 / wrong, color="black", linewidth=1)
        axes.annotate(
            f"limit: {one_in(wrong)} wrong",
            (right, 1 / wrong), xytext=(-4, -11), textcoords="offset points", fontsize=8,
            ha="right",
        )  # fmt: skip
    if needs.limits.seconds is not None:
        axes.text(
            0.995, 0.985, f"limit: no report longer than {needs.limits.seconds:g} s",
            transform=axes.transAxes, fontsize=8, ha="right", va="top",
        )  # fmt: skip


def _label(
    axes: Any,
    points: Sequence[tuple[tuple[float, float], str, bool]],
    crowd: Sequence[tuple[float, float]],
) -> None:
    """Name points, each name where it is farthest from all other points and names, inside."""
    (left, bottom), (right, top) = axes.transAxes.transform([(0, 0), (1, 1)])
    spots = [tuple(axes.transData.transform(place)) for place, *_ in points]
    taken = [*spots, *(tuple(axes.transData.transform(place)) for place in crowd)]
    for (place, text, strong), (across, up) in sorted(
        zip(points, spots, strict=True), key=lambda pair: not pair[0][2]
    ):
        room = 3.1 * len(text)  # half of its width in pixels, as the letters are
        sides = [
            (min(max(across + dx, left + room), right - room), up + dy)
            for dy in (22, -22, 34, -34, 48, -48, 64, -64)
            for dx in (0, room, -room)
            if bottom + 8 < up + dy < top - 8
        ]
        others = [spot for spot in taken if spot != (across, up)]
        side = max(
            sides,
            key=lambda side: min(
                [_FREE, *(math.hypot((side[0] - x) / room, (side[1] - y) / 14) for x, y in others)]
            ),
        )
        taken += [(side[0] + part * room, side[1]) for part in (-0.8, 0.0, 0.8)]
        axes.annotate(
            _plain(text), place, xytext=axes.transData.inverted().transform(side),
            fontsize=9, fontweight="bold" if strong else "normal", ha="center", va="center",
            arrowprops={"arrowstyle": "-", "color": "0.5", "linewidth": 0.6, "shrinkB": 6},
            bbox={"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none"},
            zorder=4,
        )  # fmt: skip
