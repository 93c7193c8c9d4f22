"""Progress in drills as people read it: tables, bars and the matrix of confusions."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import RenderableType
from rich.measure import Measurement
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from codec.drill.answer import MEANINGS, PLURALS, Answer
from codec.drill.progress import Progress, Score
from codec.drill.timing import Timing
from codec.screen.console import assembled, boxed, console, heading, safe
from grammar.errors import counted

_BAR = 10
_SHADES = " ░▒▓█"
_MOST_SYMBOLS = 36
_FULLEST = (
    ("label", "bar", "error"),
    ("label", "error"),
    ("error",),
    (),
)  # what a table tells, in less and less width
_BESIDE = (
    20  # columns beside the words and the cells of the matrix: blanks, symbols, and what a row says
)
_BOUNDLESS = 1000  # columns in which every table has room


def summary(answers: Sequence[Answer], items: int, unanswered: int = 0) -> None:
    """Print what a session came to; ``unanswered`` questions were overtaken by the next."""
    right = sum(answer.right for answer in answers)
    console().print(
        safe(f"{len(answers)} of {items} answered, {right} right; all are in the journal")
    )
    for outcome, meaning in MEANINGS.items():
        count = sum(answer.outcome == outcome for answer in answers)
        if count:
            _print(f"{meaning}: {count}", "dim")
    if unanswered:
        _print(
            f"not answered before the next was due: {unanswered}; these are not in the journal",
            "dim",
        )


def progress(found: Progress) -> None:
    """Print everything about one person in one drill."""
    what = "reading" if found.drill == "read" else "hearing"
    console().print(assembled((f"{found.person}, {what}", "bold"), f"  {found.book.title}"))
    told = ", ".join(
        f"{MEANINGS[outcome]} {count}"  # type: ignore[index]
        for outcome, count in found.outcomes.items()
        if count
    )
    _print(f"{counted(len(found.answers), 'answer')}: {told}")
    _print(f"whole reports right: {_share(found.reports)}")
    if found.startup is not None:
        one, aside = (
            found.startup,
            (
                f"; {counted(found.set_aside, 'time')} set aside as outlying"
                if found.set_aside
                else ""
            ),
        )
        _print(f"first {'word' if found.drill == 'read' else 'key'} after {_between(one)}{aside}")
    if found.impossible:
        _print(
            f"{counted(found.impossible, 'answer')} timed faster than anybody speaks: the key was"
            " pressed twice or too soon; those times are set aside, the marks count",
            "dim",
        )
    for kind, seen in found.exposures.items():
        _print(
            f"nine in ten {PLURALS[kind]} right at a glance of {seen.seconds:.2f} s"
            f" ({seen.low:.2f} … {seen.high:.2f}), by {counted(seen.answers, 'flash', 'flashes')}"
        )
    _rows("Symbols", found.symbols, "word")
    _rows("Fields", found.fields, "field")
    _matrix(found)
    _rows("Days", found.days, "day")
    heading("Next")
    grid = Table(box=None, show_header=False, padding=(0, 2, 0, 2))
    for question in found.ahead():
        grid.add_row(
            safe(question.item.kind, "dim"),
            safe(question.item.text, "bold cyan"),
            safe(question.why),
        )
    console().print(grid)
    console().print(
        safe("95 % intervals: in brackets, and under share; seconds ± standard error", "dim")
    )


def _print(text: str, style: str = "") -> None:
    """Print a line that keeps its indent where it is wrapped."""
    console().print(Padding(safe(text, style), (0, 0, 0, 2)))


def _share(row: Score) -> str:
    low, high = row.interval
    return (
        f"{row.right} of {row.asked}, {row.share:.0%} ({low:.0%} … {high:.0%})"
        if row.asked
        else "none asked yet"
    )


def _between(one: Timing) -> str:
    return f"{one.mean:.2f} s" + (f" ({one.low:.2f} … {one.high:.2f})" if one.count > 1 else "")


def _rows(title: str, rows: Sequence[Score], first: str) -> None:
    """Print rows as a table: the fullest one that fits the width without parting what belongs
    together.
    """
    if not rows:
        return
    heading(title)
    for parts in _FULLEST:
        grid = _table(rows, first, parts)
        if _least(grid) <= console().width:
            break
    else:  # so narrow that intervals take two lines
        for column in grid.columns:
            column.min_width, column.no_wrap = None, False
    console().print(grid)


def _table(rows: Sequence[Score], first: str, parts: Sequence[str]) -> Table:
    """Return the table with some of ``_FULLEST``'s parts; only labels may be wrapped."""
    labelled, bars = "label" in parts and any(row.label for row in rows), "bar" in parts
    heads = [
        *(["", first] if labelled else [first]),
        "right",
        "of",
        *(["share", ""] if bars else ["share"]),
        "seconds",
    ]
    grid = boxed(*heads, right=("right", "of", "seconds"))
    for row in rows:
        low, high = row.interval
        error = "" if row.error is None or "error" not in parts else f" ± {row.error:.2f}"
        cells = [
            safe(row.name, "bold cyan" if row.label else ""),
            *([safe(row.label)] if labelled else []),
        ]
        cells += [Text(str(row.right)), Text(str(row.asked))]
        cells += (
            [Text("█" * round(row.share * _BAR), style="green" if row.share > 0.9 else "yellow")]
            if bars
            else []
        )
        cells += [
            safe(f"{low:.0%} … {high:.0%}", "dim"),
            Text("" if row.seconds is None else f"{row.seconds:.2f}{error}"),
        ]
        grid.add_row(*cells)
    for place, column in enumerate(grid.columns):
        if not (labelled and place == 1):
            column.no_wrap = True
            column.min_width = (
                _BAR
                if bars and heads[place] == "share"
                else max(len(heads[place]), *map(_length, column.cells))
            )
    return grid


def _length(cell: RenderableType) -> int:
    return cell.cell_len if isinstance(cell, Text) else 0


def _least(grid: Table) -> int:
    """Return the columns a table needs so that no word and no number of it is parted."""
    return Measurement.get(console(), console().options.update(width=_BOUNDLESS), grid).minimum


def _matrix(found: Progress) -> None:
    """Print the matrix: symbols shown down, what they were taken for across; darker is more often.

    Where it is wider than the console only what it says is listed.
    """
    heading("Taken for")
    pairs = {pair: count for pair, count in found.confusions.items() if pair[0]}
    if not pairs:
        _print("nothing was taken for anything else", "dim")
        return
    order = found.book.alphabet.symbols
    down = [symbol for symbol in order if any(shown == symbol for shown, _ in pairs)][
        :_MOST_SYMBOLS
    ]
    across = [symbol for symbol in order if any(said == symbol for _, said in pairs)][
        :_MOST_SYMBOLS
    ]
    across += [""] if any(not said for _, said in pairs) else []
    most = max(pairs.values())
    words = found.book.alphabet.words
    grid = Table(box=None, show_header=False, padding=(0, 1, 0, 0), pad_edge=False)
    grid.add_column(justify="right", no_wrap=True)
    drawn = (
        max(len(words[symbol].word) for symbol in down) + 2 * len(across) + _BESIDE
        <= console().width
    )
    for _ in range(2 if drawn else 1):
        grid.add_column(no_wrap=True)
    if drawn:
        grid.add_row("", "", Text(" ".join(symbol or "–" for symbol in across), style="bold"))
    for shown in down:
        cells = (
            [
                Text(
                    " ".join(_shade(pairs.get((shown, said), 0), most) for said in across),
                    style="red",
                )
            ]
            if drawn
            else []
        )
        told = ", ".join(
            f"{words[said].word if said in words else 'left out'} {count}"
            for (one, said), count in pairs.items()
            if one == shown
        )
        grid.add_row(safe(words[shown].word), safe(shown, "bold"), *cells, safe(told, "dim"))
    console().print(Padding(grid, (0, 0, 0, 2)))


def _shade(count: int, most: int) -> str:
    return "·" if not count else _SHADES[max(1, round(count / most * (len(_SHADES) - 1)))]
