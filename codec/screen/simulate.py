"""A simulation's figures as tables, and its progress."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from codec.hear.tally import THRESHOLDS, Tally
from codec.screen.console import boxed, console, heading, safe


@contextlib.contextmanager
def progress(title: str, total: int) -> Iterator[Callable[[int], None]]:
    """Show a progress bar on standard error; yields what is to be told how many are done."""
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=total)
        yield lambda done: bar.update(task, completed=done)


def show(tallies: Sequence[Tally], threshold: float) -> None:
    """Print what simulations counted, side by side."""
    _outcome(tallies)
    for tally in tallies:
        _reliability(tally)
    _thresholds(tallies, threshold)


def _outcome(tallies: Sequence[Tally]) -> None:
    heading("What became of the reports")
    table = boxed(
        "", *(tally.title for tally in tallies), right=tuple(tally.title for tally in tallies)
    )
    facts = [tally.as_dict() for tally in tallies]
    table.add_row("reports", *(str(tally.reports) for tally in tallies))
    for key, label in (
        ("accepted_right", "accepted, right"),
        ("accepted_wrong", "accepted, wrong"),
        ("given_up", "given up"),
        ("asked_part", "asked for a part"),
        ("asked_all", "asked for all"),
    ):
        table.add_row(label, *(f"{100 * one[key]:.2f} %" for one in facts))
    table.add_row("radio seconds a report", *(f"{one['seconds']:.2f}" for one in facts))
    table.add_row(
        "  of these saying it once", *(f"{one['seconds_said_once']:.2f}" for one in facts)
    )
    table.add_row("asking, expected to cost", *(f"{one['asking_expected']:.2f} s" for one in facts))
    table.add_row("  came to", *(f"{one['asking_came_to']:.2f} s" for one in facts))
    console().print(table)


def _reliability(tally: Tally) -> None:
    heading(f"How sure, and how often right, when first heard: {tally.title}")
    table = boxed(
        "called",
        "mean",
        "right",
        "± chance",
        "reports",
        right=("called", "mean", "right", "± chance", "reports"),
    )
    for row in tally.reliability():
        if row.reports:
            called = f"{100 * row.low:.4g} … {100 * row.high:.4g} %"
            table.add_row(
                called,
                f"{100 * row.called:.1f} %",
                f"{100 * row.share:.1f} %",
                f"{100 * row.error:.1f}",
                str(row.reports),
            )
    console().print(table)
    console().print(
        safe(
            f"mean gap between called and right: {100 * tally.calibration_error():.2f} points",
            "dim",
        )
    )


def _thresholds(tallies: Sequence[Tally], threshold: float) -> None:
    heading("Had the threshold been … (first hearing only)")
    names = [f"{tally.title}: {what}" for tally in tallies for what in ("refused", "wrong")]
    table = boxed("threshold", *names, right=("threshold", *names))
    for value in sorted({*THRESHOLDS, threshold}):
        cells = [f"{100 * share:.2f} %" for tally in tallies for share in tally.at_threshold(value)]
        label = safe(f"▸ {value:g}", "bold") if value == threshold else safe(f"{value:g}")
        table.add_row(label, *cells)
    console().print(table)
    console().print(safe("▸ the book's threshold", "dim"))
