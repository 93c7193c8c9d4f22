"""Proposed codes, the analysis of a book and a fresh key, as people want to see them."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from codec.screen.console import console, safe
from codec.screen.reading import boxed, heading
from grammar.design import FAMILIES, Analysis, Keyed, Needs, Proposal, bound_of
from grammar.errors import CodeError
from grammar.libraries import needed

CAUTION = "Event regulations on radio use, and on coded messages, come first."
_RATE = "{:.2g}"


@contextlib.contextmanager
def progress(title: str, total: int) -> Iterator[Callable[[str], None]]:
    """Show a progress bar on standard error; yields what is to be told the name of each thing done."""
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=total)
        yield lambda name: bar.update(task, advance=1, description=f"{title} {name}")


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
    right = ("mean s", "over bound", "worst s", "wrong", "ask", "rows")
    grid = boxed("proposal", *right, "card", "", right=right)
    for one in shown:
        marks = [*(["picked"] if one is pick else []), *([] if one in best else ["beaten"])]
        grid.add_row(
            safe(one.name, "bold" if one is pick else ""),
            f"{one.mean:.3f}",
            f"{one.over:.1%}",
            f"{one.worst:.2f}",
            _RATE.format(one.wrong),
            f"{one.ask:.1%}",
            f"{one.rows:,}",
            "yes" if one.readable else "no",
            safe(" ".join(marks), "green"),
        )
    console().print(grid)
    for family in dict.fromkeys(one.family for one in shown):
        console().print(safe(f"  {family}: {FAMILIES[family]}", "dim"))
    console().print(safe("wrong: accepted with a wrong reading; ask: refused, to be said again; both in the noise of [hearing]", "dim"))
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
    floor = min((one.wrong for one in found if one.wrong > 0), default=1e-6) / 3
    for one in found:
        marker = "s" if one.readable else "o"
        inside = one in best
        axes.plot(one.mean, max(one.wrong, floor), marker, color="black" if inside else "0.7", mfc="black" if inside else "white", ms=7)
    for number, one in enumerate(best, start=1):
        weight = "bold" if one is pick else "normal"
        place = (one.mean, max(one.wrong, floor))
        axes.annotate(str(number), place, xytext=(5, 4), textcoords="offset points", fontsize=8, fontweight=weight)
    names = [f"{number}  {one.name}{'  (picked)' if one is pick else ''}" for number, one in enumerate(best, start=1)]
    axes.text(1.02, 1.0, "\n".join(names), transform=axes.transAxes, fontsize=8, va="top")
    bound = bound_of(needs).seconds
    axes.axvline(bound, color="black", linestyle="--", linewidth=1, label=f"no code takes less: {bound:.2f} s")
    axes.set(
        yscale="log", xlabel="mean seconds a report", ylabel="share accepted with a wrong reading", title=needs.title.replace("$", r"\$")
    )
    axes.plot([], [], "s", color="black", label="read from a card")
    axes.plot([], [], "o", color="black", label="needs the tool")
    axes.plot([], [], "o", color="0.7", mfc="white", label="beaten by another")
    axes.legend(fontsize=8)
    try:
        with matplotlib.rc_context({"svg.hashsalt": "niner"}):
            figure.savefig(path, format=form, dpi=130, metadata={"Date": None} if form == "svg" else {"Software": None})
    except OSError as error:
        raise CodeError(f"{path} can't be written: {error.strerror}", kind="file", hint="name a file in a folder that exists") from None


def analysis(found: Analysis, remarks: Sequence[str], after: Sequence[tuple[str, Proposal]]) -> None:
    """Print where a message's seconds go, what is confused, and what the designer would do."""
    console().print(safe(f"{found.message}: {found.mean:.2f} s on average, {found.worst:.2f} s at most ({found.worst_string})", "bold"))
    bound = found.bound
    console().print(safe(f"its values carry {bound.bits:.2f} bits; with these words no code takes less than {bound.seconds:.2f} s", "dim"))
    console().print(
        safe(f"in noise {found.wrong:.2g} (± {found.wrong_error:.1g}) are accepted with a wrong reading, {found.ask:.1%} asked for again")
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
    grid = boxed("said", "read", "words", "of reports", "harm", "costs s", "", right=("of reports", "harm", "costs s"))
    for pair in found.mixed:
        told = "noticed by the check: asked again" if pair.noticed else "not noticed"
        words = f"{pair.words[0]} → {pair.words[1]}"
        grid.add_row(safe(pair.said), safe(pair.read), words, f"{pair.share:.3%}", f"{pair.harm:.2f}", f"{pair.cost:.4f}", told)
    console().print(grid)
    if remarks:
        heading("Remarks")
        for remark in remarks:
            console().print(safe(f"  {remark}"))
    if after:
        heading("What the designer would do")
        right = ("mean s", "worst s", "wrong", "ask", "rows")
        grid = boxed("", *right, "", right=right)
        grid.add_row("this book", f"{found.mean:.3f}", f"{found.worst:.2f}", _RATE.format(found.wrong), f"{found.ask:.1%}", "", "")
        for why, other in after:
            share = f"{1 - other.mean / found.mean:+.0%} time saved; {why}"
            rates = (_RATE.format(other.wrong), f"{other.ask:.1%}")
            grid.add_row(safe(other.name), f"{other.mean:.3f}", f"{other.worst:.2f}", *rates, f"{other.rows:,}", share)
        console().print(grid)


def keyed(made: Keyed, path: str) -> None:
    """Tell what a fresh key changed."""
    grid = boxed("message", "mean s", "", "wrong", "", "ask", "", right=("mean s", "wrong", "ask"))
    for name, (seconds, wrong, ask) in made.before.items():
        new = made.after[name]
        grid.add_row(
            safe(name), f"{seconds:.3f}", f"→ {new[0]:.3f}", _RATE.format(wrong), f"→ {new[1]:.2g}", f"{ask:.1%}", f"→ {new[2]:.1%}"
        )
    console().print(grid)
    if made.kept:
        console().print(safe(f"left as they were: {', '.join(made.kept)}", "dim"))
    console().print(safe(f"written to {path}. The secret is not in it: keep it apart, and give it to no one who need not have it."))
    console().print(safe("Event regulations on coded radio come first: make sure a code like this is allowed.", "bold"))
