"""The analysis of a book, and a fresh key, as people want to see them."""

from __future__ import annotations

from collections.abc import Sequence

from codec.screen.console import boxed, console, heading, safe
from codec.screen.design import FULL, count, rate
from grammar.design import Analysis, Keyed, Proposal
from grammar.design.analysis import Mixed


def analysis(
    found: Analysis, remarks: Sequence[str], after: Sequence[tuple[str, Proposal]]
) -> None:
    """Print where a message's seconds go, what is confused, and what the designer would do."""
    console().print(
        safe(
            f"{found.message}: {found.mean:.2f} s on average, {found.worst:.2f} s at most"
            f" ({found.worst_string})",
            "bold",
        )
    )
    bound = found.bound
    console().print(
        safe(
            f"its values carry {bound.bits:.2f} bits; with these words no code takes less than"
            f" {bound.seconds:.2f} s",
            "dim",
        )
    )
    console().print(
        safe(
            f"in noise {rate(found.wrong)} (± {100 * found.wrong_error:.1g}) are accepted with a"
            f" wrong reading, {found.ask:.1%} asked again"
        )
    )
    heading("Where the seconds go")
    right = ("seconds", "words", "bits", "least s", "wasted s")
    grid = boxed("table", *right, right=right)
    for one in found.spent:
        grid.add_row(
            safe(one.table),
            f"{one.seconds:.3f}",
            f"{one.symbols:.2f}",
            f"{one.bits:.2f}",
            f"{one.least:.3f}",
            f"{one.waste:+.3f}",
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
    wide = console().width >= FULL
    right = ("of reports", "harm", "costs s") if wide else ("of reports",)
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
        figures = (f"{pair.share:.3%}", f"{pair.harm:.2f}", f"{pair.cost:.4f}")[: len(right)]
        grid.add_row(safe(told), words, *figures, "yes" if pair.noticed else "no")
    console().print(grid)
    console().print(
        safe(
            "noticed: by the check, and asked for again; else it costs what a wrong reading does,"
            " by its harm",
            "dim",
        )
    )


def _after(found: Analysis, after: Sequence[tuple[str, Proposal]]) -> None:
    """Print the figures of a book and of what the designer proposes instead."""
    right = ("mean s", "saved", "wrong", "ask", "worst s", "rows")[
        : 6 if console().width >= FULL else 4
    ]
    grid = boxed("", *right, right=right)
    for column in grid.columns:
        column.no_wrap = True
    own = (f"{found.mean:.3f}", "", rate(found.wrong), f"{found.ask:.1%}", f"{found.worst:.2f}", "")
    grid.add_row("this book", *own[: len(right)])
    for _, other in after:
        saved, rates = f"{1 - other.mean / found.mean:.0%}", (rate(other.wrong), f"{other.ask:.1%}")
        figures = (f"{other.mean:.3f}", saved, *rates, f"{other.worst:.2f}", count(other.rows))
        grid.add_row(safe(other.name), *figures[: len(right)])
    console().print(grid)
    for why, other in after:
        console().print(safe(f"  {other.name}: {why}", "dim"))


def keyed(made: Keyed, path: str) -> None:
    """Tell what a fresh key changed."""
    grid = boxed("message", "mean s", "", "wrong", "", "ask", "", right=("mean s", "wrong", "ask"))
    for name, (seconds, wrong, ask) in made.before.items():
        new = made.after[name]
        grid.add_row(
            safe(name),
            f"{seconds:.3f}",
            f"→ {new[0]:.3f}",
            rate(wrong),
            f"→ {rate(new[1])}",
            f"{ask:.1%}",
            f"→ {new[2]:.1%}",
        )
    console().print(grid)
    if made.kept:
        console().print(safe(f"left as they were: {', '.join(made.kept)}", "dim"))
    console().print(
        safe(
            f"written to {path}. The secret is not in it: keep it apart, and give it to no one who"
            " need not have it."
        )
    )
    console().print(
        safe(
            "Event regulations on coded radio come first: make sure a code like this is allowed.",
            "bold",
        )
    )
