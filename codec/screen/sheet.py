"""The lap sheet as tables, and what an import brought."""

from __future__ import annotations

import contextlib
import functools
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from rich.cells import cell_len
from rich.text import Text

from codec.radio.doubt import guessed, how_sure
from codec.radio.importing import Summary, by_speaker
from codec.screen import lines
from codec.screen.console import Row, StyledRow, assembled, boxed, console, safe
from codec.sheet.entry import Entry
from codec.sheet.journal import Journal
from codec.sheet.listing import SheetAbout
from codec.sheet.order import Moments
from codec.sheet.state import Standing
from codec.sheet.words import conflict_text, time_text, values_text
from codec.views.laps import SheetLine, ShownValue, lap_columns, lap_doubt, sheet_lines, state_of
from grammar.book import Book
from grammar.errors import counted, visible
from grammar.exact import plain
from grammar.garbage import uncollected

if TYPE_CHECKING:
    from codec.race import LapUse


def lap_lines(book: Book, standing: Standing, car: str, width: int) -> Iterator[Row]:
    """Yield what stands for one car, lap by lap, a line or two each."""
    return line_rows(book, sheet_lines(standing, car, book), width)


def line_rows(
    book: Book,
    lines: Sequence[SheetLine],
    width: int,
    *,
    uses: Mapping[int, LapUse] | None = None,
    timed: bool = True,
    numbered: bool = False,
) -> Iterator[Row]:
    """Yield lines of the lap sheet: two lines of heads, and a line or two each.

    The fields of the lap report have a column each, and so have the use of a lap, its target and
    the gap, where ``uses`` tells them; whatever else there is to say follows on the same line where
    it fits. Times are left out where none is ``timed`` or known; lines that are ``numbered`` tell
    the number of their entry.
    """
    names = lap_columns(book)
    heads = [(name.replace("_", " "), book.fields[name].unit_text) for name in names]
    text_of = functools.cache(_cell)
    empty = [text_of(None)] * len(names)
    cells = [
        [text_of(line.values.get(name)) for name in names] if line.values else empty
        for line in lines
    ]
    if uses is not None:
        heads += [("used", ""), ("target", ""), ("gap", "")]
        cells = [row + _use(uses, line) for row, line in zip(cells, lines, strict=True)]
    sizes = [
        max(len(head), len(unit), *map(_wide, {row[n][0] for row in cells}), 1)
        for n, (head, unit) in enumerate(heads)
    ]
    timed = timed and any(line.at is not None for line in lines)
    lead = 3 + (10 if timed else 0) + (_NUMBER if numbered else 0)
    padded = [f"  {head:>{size}}" for (head, _), size in zip(heads, sizes, strict=True)]
    number = f"{'#':>{_NUMBER}}" if numbered else ""
    yield assembled("lap", number, "      time" if timed else "", *padded)
    yield Text.assemble(
        " " * lead,
        *(f"  {unit:>{size}}" for (_, unit), size in zip(heads, sizes, strict=True)),
        style="dim",
    )
    pads = [functools.cache(functools.partial(_pad, size)) for size in sizes]
    for line, values in zip(lines, cells, strict=True):
        parts = [(f"{line.lap:>3}", "")]
        if numbered:
            entry = "" if line.row is None else str(line.row.first.seq)
            parts.append((f"{entry:>{_NUMBER}}", "dim"))
        if timed:
            parts.append((f"  {time_text(line.at):>8}", "dim"))
        if any(text for text, _ in values):
            for pad, cell in zip(pads, values, strict=True):
                parts += (pad(cell[0]), cell)
        said = list[tuple[str, str]]()
        for text, tone in line.remarks:
            said += [("; ", "")] if said else []
            said.append((visible(text), _TONES[tone]))
        over = "dim strike" if line.withdrawn else "dim" if line.other else ""
        yield from _with_remark(StyledRow(parts, over), said, width, lead)


_NUMBER = 6  # columns of the number of an entry
_TONES = {
    "plain": "",
    "event": "bold yellow",
    "refused": "yellow",
    "call": "cyan",
    "asked": "bold magenta",
    "quiet": "dim",
    "alarm": "bold red",
}


def _cell(value: ShownValue | None) -> lines.Styled:
    return ("", "") if value is None else lines.safe(value.text, "bold red" if value.warns else "")


def _use(uses: Mapping[int, LapUse], line: SheetLine) -> list[lines.Styled]:
    """Return what a lap took, its target and the gap, at the report that counts."""
    use = uses.get(line.lap) if line.counts else None
    if use is None:
        return [("", "")] * 3
    gap = ("neutr.", "dim")
    if use.gap is not None:
        over = use.gap > _GAP * use.target
        gap = (f"{round(use.gap, 2) + 0.0:+.2f}".replace("-", "−"), "bold yellow" if over else "")
    return [(f"{use.used:.2f}", ""), (f"{use.target:.2f}", ""), gap]


def _pad(size: int, text: str) -> lines.Styled:
    """Return what stands before the text of a cell."""
    return " " * (2 + size - _wide(text)), ""


def _wide(text: str) -> int:
    """Return how many columns a text takes."""
    return len(text) if text.isascii() else cell_len(text)


def _with_remark(
    values: StyledRow, remark: Sequence[lines.Styled], width: int, lead: int
) -> Sequence[Row]:
    """Put a remark behind the values, or below them where it does not fit; a long one takes as many
    lines as it needs.
    """
    if not remark:
        return [values]
    across = sum(_wide(text) for text, _ in values.parts)
    if across + 2 + sum(_wide(text) for text, _ in remark) <= width:
        return [StyledRow([*values.parts, ("  ", ""), *remark], values.over)]
    shown, parts = StyledRow(values.parts).text(), StyledRow(remark).text()
    wrapped = parts.wrap(console(), max(1, width - lead - 2))
    below = [Text(" " * (lead + 2)).append_text(part) for part in wrapped]
    if across <= lead:
        below[0] = shown.append("  ").append_text(wrapped[0])
    else:
        below.insert(0, shown)
    if values.over:
        below[-1].stylize(values.over)
    return below


@uncollected()
def lap_tables(journal: Journal, only: str | None) -> None:
    """Print the laps of every car, or of one."""
    standing = Standing(journal.entries())
    named = standing.cars
    astray = bool(standing.of("", "report", "call"))
    for car in [only] if only is not None else [*named, ""] if astray or not named else list(named):
        count = sum(row.counts for row in standing.of(car, "report"))
        head = f"car {car}" if car else "of no car" if named else "no car named"
        console().print(
            assembled(
                (head, "bold"),
                f"  {named.get(car, '')}".rstrip(),
                (f"  {counted(count, 'report')}", "dim"),
            )
        )
        console().lines(lap_lines(journal.book, standing, car, console().width))
        console().print()
    state = standing.race
    if state.neutralised:
        console().print(safe("The race is neutralised.", "bold yellow"))
    if state.added:
        console().print(
            safe(f"{plain(state.added)} {'lap' if state.added == 1 else 'laps'} added.")
        )
    for row, fixes in standing.conflicts:
        console().print(safe(conflict_text(journal.book, row, fixes), "bold yellow"))
    _clock_lines(standing.moments)


def _clock_lines(moments: Moments) -> None:
    """Print where times can't be taken as they stand."""
    steps = moments.steps
    for step in steps[:_STEPS]:
        console().print(safe(str(step), "yellow"))
    if len(steps) > _STEPS:
        console().print(safe(f"and {len(steps) - _STEPS} more such entries", "yellow"))


def entries_table(journal: Journal, only: str | None) -> None:
    """Print every entry, the oldest first: page by page, however many there are."""
    moments, page = Moments(), list[list[lines.Styled]]()
    for entry in journal.entries():
        moments.take(entry)
        if only in (None, entry.car):
            page.append(_cells(journal.book, entry))
        if len(page) == _PAGE:
            lines.table(_ENTRIES, page)
            page.clear()
    if page or not len(journal):
        lines.table(_ENTRIES, page)
    _clock_lines(moments)


_PAGE = 500  # rows
_ENTRIES = [
    lines.Heading("#", folds=False, right=True),
    lines.Heading("lap", folds=False, right=True),
    lines.Heading("kind", folds=False),
    lines.Heading("car"),
    lines.Heading("who"),
    lines.Heading("sure", folds=False),
    lines.Heading("what"),
]


def _cells(book: Book, entry: Entry) -> list[lines.Styled]:
    about = f"of #{entry.about} " if entry.about else ""
    sure = "" if entry.certainty is None else how_sure(entry.certainty)
    what = values_text(book, entry) if entry.accepted else entry.heard
    what = (
        ": ".join(filter(None, (entry.message, what))) if entry.kind in ("event", "car") else what
    )
    style = "yellow" if entry.refusal else ""
    why = (
        f" ({'; '.join(filter(None, (state_of(entry), guessed(entry.note))))})"
        if entry.refusal
        else ""
    )
    detail = f"{about}{entry.string + ': ' if entry.string else ''}{what}{why}"
    return [
        (str(entry.seq), ""),
        _lap(entry),
        (entry.kind, ""),
        lines.safe(entry.car),
        lines.safe(entry.speaker or entry.writer),
        (sure, ""),
        lines.safe(detail, style),
    ]


def _lap(entry: Entry) -> lines.Styled:
    """Return the lap of an entry, with how sure it is where it is not as good as known."""
    if entry.lap is None:
        return "", ""
    unsure = lap_doubt(entry)
    return f"{entry.lap} ({unsure})" if unsure else str(entry.lap), "yellow" if unsure else ""


_SHOWN_AT, _LINES_AT = 100_000, 100  # bytes, and lines, after which the bar is drawn anew
_GAP = 0.05  # of the target: a lap that took more than so much above it is marked
_STEPS = 4  # that are told one by one
_UNPROVEN = (
    "  the export is of an earlier version and does not tell which sheet it is of: make sure that"
    " its values and units are those you expect"
)


def summary_lines(summary: Summary) -> None:
    """Print what an import brought and what it left out."""
    kinds = (
        ", ".join(counted(count, kind) for kind, count in summary.written.items()) or "nothing new"
    )
    console().print(safe(f"written: {kinds}", "bold"))
    if summary.refused:
        console().print(
            safe(
                f"  {summary.refused} of them can't be read or are doubtful, and need a look: niner"
                " sheet show --doubtful",
                "yellow",
            )
        )
    if summary.there:
        console().print(safe(f"  {counted(summary.there, 'entry', 'entries')} there already"))
    if summary.unproven:
        console().print(safe(_UNPROVEN, "yellow"))
    _lines_of_speakers(summary)
    _lines_left_out(summary)


def _lines_of_speakers(summary: Summary) -> None:
    """Print what should be looked at of who said what."""
    if summary.once_more:
        told = (
            f"  {counted(summary.once_more, 'report is', 'reports are')} of laps that had one"
            " before: is it the same radio once more?"
        )
        console().print(safe(told, "yellow"))
    if sum(count > 1 for count in summary.reporters.values()) > 1:
        told = (
            f"  no car is named, so all count for one, reported by {by_speaker(summary.reporters)};"
            " two cars are told apart by --car"
        )
        console().print(safe(told, "yellow"))
    if summary.of_no_car:
        console().print(
            safe(
                "  reports and calls of no car, counted for none, are said by"
                f" {by_speaker(summary.of_no_car)}",
                "yellow",
            )
        )
    if summary.supposed:
        told = (
            "  calls taken for the only car's, by people nobody named:"
            f" {by_speaker(summary.supposed)}"
        )
        console().print(safe(told, "yellow"))
    if summary.silent:
        console().print(safe(f"  never spoke: {', '.join(summary.silent[:6])}", "yellow"))


def _lines_left_out(summary: Summary) -> None:
    total = sum(summary.left_out.values())
    if total:
        console().print(safe(f"left out: {total}", "bold"))
    for reason, count in sorted(summary.left_out.items(), key=lambda pair: -pair[1])[:8]:
        console().print(safe(f"  {count}  {reason}"))
        for left in summary.examples[reason] if reason != "ordinary talk" else ():
            console().print(safe(f"      line {left.number}: {left.text[:100]}", "dim"))
        if reason != "ordinary talk" and count > len(summary.examples[reason]):
            console().print(
                safe(
                    f"      and {count - len(summary.examples[reason])} more: --left-out prints"
                    " them all",
                    "dim",
                )
            )


@contextlib.contextmanager
def progress(
    size: int, reports: Callable[[], int], *, by_line: bool = True
) -> Iterator[Callable[[int], None]]:
    """Show how far a file of ``size`` bytes is read, its lines where it is read ``by_line``, the
    reports found and the time left; nothing where the error output is no terminal. Yields what is
    to be told the bytes of each line or piece.
    """
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        DownloadColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn,
    )

    errors = Console(stderr=True)
    if not errors.is_terminal:
        yield lambda count: None  # noqa: ARG005
        return
    with Progress(
        "reading",
        BarColumn(),
        DownloadColumn(),
        TextColumn(
            ("{task.fields[lines]:,} lines, " if by_line else "")
            + "{task.fields[reports]:,} reports"
        ),
        TimeRemainingColumn(),
        console=errors,
        transient=True,
    ) as bar:
        task = bar.add_task("reading", total=size or None, lines=0, reports=0)
        lines = waiting = 0

        def read(count: int) -> None:
            nonlocal lines, waiting
            lines, waiting = lines + 1, waiting + count
            if waiting >= _SHOWN_AT or lines % _LINES_AT == 0:
                bar.update(task, advance=waiting, lines=lines, reports=reports())
                waiting = 0

        yield read


def listing(found: Sequence[SheetAbout]) -> None:
    """Print the sheets of a place: the day of the first entry, and of the last if it is another;
    below them which can't be read.
    """
    table = boxed("sheet", "written", "entries", "book", right=("entries",))
    readable = [one for one in found if not one.trouble]
    for one in readable:
        days = dict.fromkeys(filter(None, (one.first[:10], one.last[:10])))
        table.add_row(safe(one.name), " … ".join(days), f"{one.entries:,}", safe(one.book))
    if readable or not found:
        console().print(table if found else "no sheet")
    for one in found:
        if one.trouble:
            console().print(safe(f"! {one.trouble}", "bold red"))


@contextlib.contextmanager
def copying() -> Iterator[Callable[[int, int], None]]:
    """Show how far a copy is, in rows; nothing where the error output is no terminal."""
    from rich.console import Console
    from rich.progress import MofNCompleteColumn, Progress, TimeRemainingColumn

    errors = Console(stderr=True)
    if not errors.is_terminal:
        yield lambda count, total: None  # noqa: ARG005
        return
    columns = "copying", MofNCompleteColumn(), TimeRemainingColumn()
    with Progress(*columns, console=errors, transient=True) as progress:
        task = progress.add_task("", total=None)
        yield lambda count, total: progress.update(task, completed=count, total=total)
