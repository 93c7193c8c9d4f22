"""Proposed codes as people want to see them: a table, and a figure of the trade-off."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from codec.files import written
from codec.screen.console import boxed, console, safe
from grammar.design import (
    FAMILIES,
    Needs,
    Proposal,
    bound_of,
    broken,
    expected_seconds,
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
    " are of the card"
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
    needs: Needs, shown: Sequence[Proposal], best: Sequence[Proposal], pick: Proposal | None
) -> None:
    """Print proposals as a table, and what they are measured against."""
    bound = bound_of(needs)
    console().print(safe(needs.title, "bold"))
    console().print(
        safe(
            f"{bound.bits:.2f} bits a report over {bound.capacity:.2f} bits a second: no code that"
            f" tells its own end takes less than {bound.seconds:.2f} s on average",
            "dim",
        )
    )
    console().print(_proposals(needs, shown, best, pick))
    if pick is not None:
        console().print(
            safe(
                f"→ picked: {pick.name}; {expected_seconds(pick, needs):.2f} s with questions and"
                " the price of wrong readings",
                "green",
            )
        )
        for asked, came in broken(pick, needs.limits).items():
            console().print(
                safe(f"  it does not keep the limits: {asked}, this one {came}", "bold red")
            )
    if any(broken(one, needs.limits) for one in shown):
        console().print(safe("! does not keep [limits]", "dim"))
    if len(shown) > len(best):
        console().print(safe("· another is as good in every figure and better in one", "dim"))
    for family in dict.fromkeys(one.family for one in shown):
        console().print(safe(f"  {family}: {FAMILIES[family]}", "dim"))
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
_COLUMNS = {"over": 92, "worst": 92, "rows": 78, "mean s": 75, "ask": 66}  # from what width on


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
        "ear": lambda one: one.ear,
    }
    left_out = {name for name, least in _COLUMNS.items() if width < least}
    taken = {name: text for name, text in columns.items() if name not in left_out}
    grid = boxed("proposal", *taken, right=tuple(name for name in taken if name != "ear"))
    for column in grid.columns:
        column.no_wrap = True
    for one in shown:
        mark = (
            "→"
            if one is pick
            else "!"
            if broken(one, needs.limits)
            else " "
            if one in best
            else "·"
        )
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


def plot(
    needs: Needs,
    found: Sequence[Proposal],
    best: Sequence[Proposal],
    pick: Proposal | None,
    path: Path,
) -> None:
    """Draw mean seconds against the share of wrong readings; raises CodeError where matplotlib is
    missing or the file can't be written.
    """
    form = form_of(path)
    matplotlib = needed("matplotlib", "figures")
    figure = needed("matplotlib.figure", "figures").Figure(
        figsize=(9.5, max(5.5, 0.16 * len(best) + 0.8)), facecolor="white", layout="constrained"
    )
    axes = figure.add_subplot()
    axes.set_yscale("log")
    floor = min((one.wrong for one in found if one.wrong > 0), default=1e-6) / 3
    for one in found:
        marker = "v" if one.wrong == 0 else "s" if one.ear == "card" else "o"
        inside = one in best
        axes.errorbar(
            one.seconds,
            max(one.wrong, floor),
            xerr=one.met.seconds_error,
            yerr=min(one.met.wrong_error, 0.9 * max(one.wrong, floor)),
            fmt=marker,
            color="black" if inside else "0.7",
            mfc="black" if inside else "white",
            elinewidth=0.7,
            ms=6,
        )
    if pick is not None:
        axes.plot(
            pick.seconds,
            max(pick.wrong, floor),
            "o",
            color="black",
            mfc="none",
            ms=15,
            label="picked",
        )
    _number(axes, [(one.seconds, max(one.wrong, floor), one is pick) for one in best])
    axes.yaxis.set_major_formatter(lambda share, _: one_in(share))
    axes.yaxis.set_minor_formatter(lambda *_: "")
    names = [
        f"{number}  {one.name}{', by card' if one.ear == 'card' else ''}"
        for number, one in enumerate(best, start=1)
    ]
    axes.text(1.02, 1.0, "\n".join(names), transform=axes.transAxes, fontsize=7, va="top")
    bound = bound_of(needs).seconds
    axes.axvline(
        bound,
        color="black",
        linestyle="--",
        linewidth=1,
        label=f"no code takes less: {bound:.2f} s",
    )
    axes.set(
        xlabel="mean seconds a report, with questions and answers (bars: one standard error)",
        ylabel="reports accepted with a wrong reading",
        title=needs.title.replace("$", r"\$"),
    )
    axes.plot([], [], "s", color="black", label="people with a card")
    axes.plot([], [], "o", color="black", label="the tool")
    axes.plot([], [], "o", color="0.7", mfc="white", label="beaten by another")
    if any(one.wrong == 0 for one in found):
        axes.plot([], [], "v", color="black", label="no wrong reading drawn: fewer than shown")
    axes.legend(fontsize=7)
    with written(path), matplotlib.rc_context({"svg.hashsalt": "niner"}):
        figure.savefig(
            path,
            format=form,
            dpi=130,
            metadata={"Date": None} if form == "svg" else {"Software": None},
        )


def _number(axes: Any, points: Sequence[tuple[float, float, bool]]) -> None:
    """Number points, each number on the side of its point that is farthest from other points and
    numbers.
    """
    spots = [tuple(axes.transData.transform((x, y))) for x, y, _ in points]
    taken = list(spots)
    for number, ((x, y, strong), (across, up)) in enumerate(
        zip(points, spots, strict=True), start=1
    ):
        sides = [(across + dx, up + dy) for dx, dy in ((10, 9), (10, -11), (-12, 9), (-12, -11))]
        side = max(
            sides,
            key=lambda side: min(
                (math.dist(side, spot) for spot in taken if spot != (across, up)), default=0.0
            ),
        )
        taken.append(side)
        offset = (side[0] - across, side[1] - up)
        style = {
            "fontsize": 8,
            "fontweight": "bold" if strong else "normal",
            "ha": "center",
            "va": "center",
        }
        axes.annotate(str(number), (x, y), xytext=offset, textcoords="offset pixels", **style)
