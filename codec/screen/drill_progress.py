"""Progress in drills as people read it: tables, bars and the matrix of confusions."""

from __future__ import annotations

from collections.abc import Sequence

from rich.table import Table
from rich.text import Text

from codec.drill.answer import MEANINGS, Answer
from codec.drill.progress import Progress, Row
from codec.drill.timing import Timing
from codec.screen.console import console, safe
from codec.screen.reading import boxed, heading

_BAR = 10
_SHADES = " ░▒▓█"
_MOST_SYMBOLS = 36


def summary(answers: Sequence[Answer], items: int, unanswered: int = 0) -> None:
    """Print what a session came to; ``unanswered`` questions were overtaken by the next."""
    right = sum(answer.right for answer in answers)
    console().print(safe(f"{len(answers)} of {items} answered, {right} right; all are in the journal"))
    for outcome, meaning in MEANINGS.items():
        count = sum(answer.outcome == outcome for answer in answers)
        if count:
            console().print(safe(f"  {meaning}: {count}", "dim"))
    if unanswered:
        console().print(safe(f"  not answered before the next was due: {unanswered}; these are not in the journal", "dim"))


def progress(found: Progress) -> None:
    """Print everything about one person in one drill."""
    what = "reading" if found.drill == "read" else "hearing"
    console().print(Text.assemble((f"{found.person}, {what}", "bold"), f"  {found.book.title}"))
    told = ", ".join(f"{MEANINGS[outcome]} {count}" for outcome, count in found.outcomes.items() if count)  # type: ignore[index]
    console().print(safe(f"  {len(found.answers)} answers: {told}"))
    console().print(safe(f"  whole reports right: {_share(found.reports)}"))
    if found.startup is not None:
        one, aside = found.startup, f"; {found.set_aside} times set aside as outliers" if found.set_aside else ""
        console().print(safe(f"  first {'word' if found.drill == 'read' else 'key'} after {_between(one)}{aside}"))
    _rows("Symbols", found.symbols, "word")
    _rows("Fields", found.fields, "field")
    _matrix(found)
    _rows("Days", found.days, "day")
    heading("Next")
    grid = Table(box=None, show_header=False, padding=(0, 2, 0, 2))
    for question in found.ahead():
        grid.add_row(safe(question.item.kind, "dim"), safe(question.item.text, "bold cyan"), safe(question.why))
    console().print(grid)
    console().print(safe("in brackets and behind bars: 95 % intervals; seconds ± standard error", "dim"))


def _share(row: Row) -> str:
    low, high = row.interval
    return f"{row.right} of {row.asked}, {row.share:.0%} ({low:.0%} … {high:.0%})" if row.asked else "none asked yet"


def _between(one: Timing) -> str:
    return f"{one.mean:.2f} s" + (f" ({one.low:.2f} … {one.high:.2f})" if one.count > 1 else "")


def _rows(title: str, rows: Sequence[Row], first: str) -> None:
    if not rows:
        return
    heading(title)
    labelled = any(row.label for row in rows)
    grid = boxed(*(["", first] if labelled else [first]), "right", "of", "share", "", "seconds", right=("right", "of", "seconds"))
    for row in rows:
        low, high = row.interval
        bar = Text.assemble(("█" * round(row.share * _BAR)).ljust(_BAR), style="green" if row.share > 0.9 else "yellow")
        seconds = "" if row.seconds is None else f"{row.seconds:.2f}" + ("" if row.error is None else f" ± {row.error:.2f}")
        cells = [safe(row.name, "bold cyan"), safe(row.label)] if labelled else [safe(row.name)]
        grid.add_row(*cells, str(row.right), str(row.asked), bar, safe(f"{low:.0%} … {high:.0%}", "dim"), seconds)
    console().print(grid)


def _matrix(found: Progress) -> None:
    """Print the matrix: symbols shown down, what they were taken for across; darker is more often."""
    heading("Taken for")
    pairs = {pair: count for pair, count in found.confusions.items() if pair[0]}
    if not pairs:
        console().print(safe("  nothing was taken for anything else", "dim"))
        return
    order = found.book.alphabet.symbols
    down = [symbol for symbol in order if any(shown == symbol for shown, _ in pairs)][:_MOST_SYMBOLS]
    across = [symbol for symbol in order if any(said == symbol for _, said in pairs)][:_MOST_SYMBOLS]
    across += [""] if any(not said for _, said in pairs) else []
    most = max(pairs.values())
    width = max(len(found.book.alphabet.words[symbol].word) for symbol in down)
    console().print(safe("  " + " " * (width + 3) + " ".join(symbol or "–" for symbol in across), "bold"))
    for shown in down:
        cells = " ".join(_shade(pairs.get((shown, said), 0), most) for said in across)
        told = ", ".join(f"{said or 'left out'} {count}" for (one, said), count in pairs.items() if one == shown)
        console().print(
            Text.assemble(
                "  ", found.book.alphabet.words[shown].word.rjust(width), (f" {shown} ", "bold"), (cells, "red"), (f"   {told}", "dim")
            )
        )


def _shade(count: int, most: int) -> str:
    return "·" if not count else _SHADES[max(1, round(count / most * (len(_SHADES) - 1)))]


def people(found: dict[str, int]) -> None:
    """Print who is in a journal."""
    for name, count in found.items():
        console().print(safe(f"  {name}: {count} answers"))
