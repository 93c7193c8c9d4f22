"""Proposed codes, the analysis of a book and a fresh key, as people want to see them."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from codec.files import written
from codec.screen.console import console, safe
from codec.screen.reading import boxed, heading
from grammar.design import FAMILIES, Analysis, Keyed, Needs, Proposal, bound_of
from grammar.design.analysis import Mixed
from grammar.design.frontier import expected_seconds
from grammar.errors import CodeError
from grammar.libraries import needed

CAUTION = "Event regulations on radio use, and on coded messages, come first."


@contextlib.contextmanager
def progress(title: str, total: int) -> Iterator[Callable[[str], None]]:
    """Show a progress bar on standard error; yields what is to be told the name of each thing done."""
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=total)
        yield lambda name: bar.update(task, advance=1, description=f"{title} {name}")


def rate(share: float) -> str:
    """Return a share, however small, in per cent: two digits that count, one of what is rare."""
    return f"{100 * share:.{2 if share > 1e-4 else 1}g}%"


def count(number: int) -> str:
    """Return a number of rows: 11,754; in millions where nobody would print them, 33 M."""
    return f"{number:,}" if number < 1_000_000 else f"{number / 1e6:,.0f} M"


def show(needs: Needs, shown: Sequence[Proposal], best: Sequence[Proposal], pick: Proposal | None) -> None:
    """Print proposals as a table, and what they are measured against."""
    bound = bound_of(needs)
    console().print(safe(needs.title, "bold"))
    console().print(
        safe(
            f"{bound.bits:.2f} bits a report over {bound.capacity:.2f} bits a second: no code that tells its own end takes less than "
            f"{bound.seconds:.2f} s on average",
            "dim",
        )
    )
    right = ("mean s", "over", "worst", "wrong", "ask", "rows")
    grid = boxed("proposal", *right, "card", right=right)
    for column in grid.columns:
        column.no_wrap = True
    for one in shown:
        grid.add_row(
            safe(f"{'→' if one is pick else ' ' if one in best else '·'} {one.name}", "bold green" if one is pick else ""),
            f"{one.mean:.3f}",
            f"{one.over:.0%}",
            f"{one.worst:.2f}",
            rate(one.wrong),
            f"{one.ask:.1%}",
            count(one.rows),
            "yes" if one.readable else "no",
        )
    console().print(grid)
    if pick is not None:
        console().print(
            safe(f"→ picked: {pick.name}; {expected_seconds(pick, needs):.2f} s with questions and the price of wrong readings", "green")
        )
    if len(shown) > len(best):
        console().print(safe("· another is as good in every figure and better in one", "dim"))
    for family in dict.fromkeys(one.family for one in shown):
        console().print(safe(f"  {family}: {FAMILIES[family]}", "dim"))
    console().print(safe("over: above the least of any code; wrong: accepted with a wrong reading; ask: refused, to be said again", "dim"))
    console().print(safe("wrong and ask are in the noise of [hearing]; rows are of the card, card tells whether people can read it", "dim"))
    console().print(safe(CAUTION, "italic"))


def wrote(pick: Proposal, path: str, left_out: Mapping[str, str]) -> None:
    """Tell where a book was written, and which messages of the book it comes from could not go on."""
    if path == "-":
        return
    console().print(safe(f"{pick.name} written to {path}; look at it with: niner book check {path}", "green"))
    for name, reason in left_out.items():
        console().print(safe(f"left out: message {name}. {reason}", "yellow"))


def plot(needs: Needs, found: Sequence[Proposal], best: Sequence[Proposal], pick: Proposal | None, path: Path) -> None:
    """Draw mean seconds against the share of wrong readings; raises CodeError where matplotlib is missing or the file can't be written."""
    form = path.suffix.lower().lstrip(".")
    if form not in ("svg", "png"):
        raise CodeError(f"{path.name}: a figure is SVG or PNG", kind="usage", expected=["a name that ends in .svg or .png"])
    matplotlib = needed("matplotlib", "figures")
    figure = needed("matplotlib.figure", "figures").Figure(figsize=(9.5, 5.5), facecolor="white", layout="constrained")
    axes = figure.add_subplot()
    axes.set_yscale("log")
    floor = min((one.wrong for one in found if one.wrong > 0), default=1e-6) / 3
    for one in found:
        marker = "s" if one.readable else "o"
        inside = one in best
        axes.plot(one.mean, max(one.wrong, floor), marker, color="black" if inside else "0.7", mfc="black" if inside else "white", ms=7)
    if pick is not None:
        axes.plot(pick.mean, max(pick.wrong, floor), "o", color="black", mfc="none", ms=15, label="picked")
    _number(axes, [(one.mean, max(one.wrong, floor), one is pick) for one in best])
    names = [f"{number}  {one.name}" for number, one in enumerate(best, start=1)]
    axes.text(1.02, 1.0, "\n".join(names), transform=axes.transAxes, fontsize=8, va="top")
    bound = bound_of(needs).seconds
    axes.axvline(bound, color="black", linestyle="--", linewidth=1, label=f"no code takes less: {bound:.2f} s")
    axes.set(xlabel="mean seconds a report", ylabel="share accepted with a wrong reading", title=needs.title.replace("$", r"\$"))
    axes.plot([], [], "s", color="black", label="read from a card")
    axes.plot([], [], "o", color="black", label="needs the tool")
    axes.plot([], [], "o", color="0.7", mfc="white", label="beaten by another")
    axes.legend(fontsize=8)
    with written(path), matplotlib.rc_context({"svg.hashsalt": "niner"}):
        figure.savefig(path, format=form, dpi=130, metadata={"Date": None} if form == "svg" else {"Software": None})


def _number(axes: Any, points: Sequence[tuple[float, float, bool]]) -> None:
    """Number points, each number on the side of its point that is farthest from other points and numbers."""
    spots = [tuple(axes.transData.transform((x, y))) for x, y, _ in points]
    taken = list(spots)
    for number, ((x, y, strong), (across, up)) in enumerate(zip(points, spots, strict=True), start=1):
        sides = [(across + dx, up + dy) for dx, dy in ((10, 9), (10, -11), (-12, 9), (-12, -11))]
        side = max(sides, key=lambda side: min((math.dist(side, spot) for spot in taken if spot != (across, up)), default=0.0))
        taken.append(side)
        offset = (side[0] - across, side[1] - up)
        style = {"fontsize": 8, "fontweight": "bold" if strong else "normal", "ha": "center", "va": "center"}
        axes.annotate(str(number), (x, y), xytext=offset, textcoords="offset pixels", **style)


def analysis(found: Analysis, remarks: Sequence[str], after: Sequence[tuple[str, Proposal]]) -> None:
    """Print where a message's seconds go, what is confused, and what the designer would do."""
    console().print(safe(f"{found.message}: {found.mean:.2f} s on average, {found.worst:.2f} s at most ({found.worst_string})", "bold"))
    bound = found.bound
    console().print(safe(f"its values carry {bound.bits:.2f} bits; with these words no code takes less than {bound.seconds:.2f} s", "dim"))
    console().print(
        safe(
            f"in noise {rate(found.wrong)} (± {100 * found.wrong_error:.1g}) are accepted with a wrong reading, {found.ask:.1%} asked again"
        )
    )
    heading("Where the seconds go")
    right = ("seconds", "words", "bits", "least s", "wasted s")
    grid = boxed("table", *right, right=right)
    for one in found.spent:
        grid.add_row(
            safe(one.table), f"{one.seconds:.3f}", f"{one.symbols:.2f}", f"{one.bits:.2f}", f"{one.least:.3f}", f"{one.waste:+.3f}"
        )
    console().print(grid)
    heading("Most easily confused, by one word")
    if found.mixed:
        _mixed(found.mixed)
    if remarks:
        heading("Remarks")
        for remark in remarks:
            console().print(safe(f"  {remark}"))
    if after:
        heading("What the designer would do")
        _after(found, after)


def _mixed(pairs: Sequence[Mixed]) -> None:
    """Print which readings one misheard word turns into each other."""
    right = ("of reports", "harm", "costs s")
    grid = boxed("said → read", "words", *right, "noticed", right=right)
    for column in grid.columns[1:]:
        column.no_wrap = True
    for pair in pairs:
        said, read = pair.said.split(), pair.read.split()
        alike = 0  # words that need not be told again: the field's name
        while alike < min(len(said), len(read)) and said[alike] == read[alike]:
            alike += 1
        told = f"{pair.said} → {' '.join(read[alike:])}"
        words = f"{pair.words[0]} → {pair.words[1]}"
        figures = (f"{pair.share:.3%}", f"{pair.harm:.2f}", f"{pair.cost:.4f}")
        grid.add_row(safe(told), words, *figures, "yes" if pair.noticed else "no")
    console().print(grid)
    console().print(safe("noticed: by the check, and asked for again; else it costs what a wrong reading does, by its harm", "dim"))


def _after(found: Analysis, after: Sequence[tuple[str, Proposal]]) -> None:
    """Print the figures of a book and of what the designer proposes instead."""
    right = ("mean s", "time saved", "worst s", "wrong", "ask", "rows")
    grid = boxed("", *right, right=right)
    grid.columns[0].no_wrap = True
    grid.add_row("this book", f"{found.mean:.3f}", "", f"{found.worst:.2f}", rate(found.wrong), f"{found.ask:.1%}", "")
    for _, other in after:
        saved, rates = f"{1 - other.mean / found.mean:.0%}", (rate(other.wrong), f"{other.ask:.1%}")
        grid.add_row(safe(other.name), f"{other.mean:.3f}", saved, f"{other.worst:.2f}", *rates, count(other.rows))
    console().print(grid)
    for why, other in after:
        console().print(safe(f"  {other.name}: {why}", "dim"))


def keyed(made: Keyed, path: str) -> None:
    """Tell what a fresh key changed."""
    grid = boxed("message", "mean s", "", "wrong", "", "ask", "", right=("mean s", "wrong", "ask"))
    for name, (seconds, wrong, ask) in made.before.items():
        new = made.after[name]
        grid.add_row(safe(name), f"{seconds:.3f}", f"→ {new[0]:.3f}", rate(wrong), f"→ {rate(new[1])}", f"{ask:.1%}", f"→ {new[2]:.1%}")
    console().print(grid)
    if made.kept:
        console().print(safe(f"left as they were: {', '.join(made.kept)}", "dim"))
    console().print(safe(f"written to {path}. The secret is not in it: keep it apart, and give it to no one who need not have it."))
    console().print(safe("Event regulations on coded radio come first: make sure a code like this is allowed.", "bold"))
