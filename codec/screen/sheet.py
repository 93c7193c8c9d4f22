"""The lap sheet as tables, and what an import brought."""

from __future__ import annotations

import contextlib
import datetime
from collections.abc import Callable, Iterator

from rich import box
from rich.table import Table
from rich.text import Text

from codec.radio.doubt import guessed, how_sure
from codec.radio.importing import Summary, by_speaker
from codec.radio.laps import lap_field
from codec.screen.console import assembled, console, safe
from codec.sheet.entry import DOUBTFUL, Entry
from codec.sheet.journal import Journal
from codec.sheet.order import SINCE_1970
from codec.sheet.state import Row, Standing, lap_message, lap_rows
from grammar.book import Book
from grammar.errors import counted
from grammar.exact import plain
from grammar.fields import FieldBase, Value, value_text


def clock(at: int | None) -> str:
    """Write a time: from the beginning of a recording, or of day (local)."""
    if at is None:
        return ""
    if at >= SINCE_1970:
        moment = datetime.datetime.fromtimestamp(at / 1000, datetime.UTC)
        return moment.astimezone().strftime("%H:%M:%S")
    minutes, seconds = divmod(abs(at) // 1000, 60)
    return f"{'−' if at < 0 else ''}{minutes // 60}:{minutes % 60:02d}:{seconds:02d}"


def warned(field: FieldBase, value: Value) -> bool:
    """Tell whether a value passes a limit or is one to warn of."""
    try:
        return bool(field.warnings(field.level(value).level))
    except ValueError:
        return False


def shown_value(field: FieldBase | None, value: Value) -> Text:
    """Write a value without its unit, in red where it warns; no flags are a dot."""
    text = value_text(value)
    text = (
        "·"
        if text == "none" and isinstance(value, frozenset)
        else text.replace("-", "−")
        if text[:1] == "-"
        else text
    )
    return safe(text, "bold red" if field is not None and warned(field, value) else "")


def lap_columns(book: Book) -> list[str]:
    """Return the fields of the lap report, which get a column each: those of the first message from
    the car, but for the lap.
    """
    name = lap_message(book)
    return (
        [field for field in book.messages[name].fields if field != lap_field(book)] if name else []
    )


def values_text(book: Book, entry: Entry) -> str:
    """Write all values of an entry in words."""
    shown = []
    for name, value in entry.values.items():
        field = book.fields.get(name)
        unit = f" {field.unit_text}" if field is not None and field.unit_text else ""
        shown.append(f"{field.title if field is not None else name} {value_text(value)}{unit}")
    return ", ".join(shown)


def remark(book: Book, row: Row) -> Text:
    """Return what is to be said of a row besides its values."""
    entry, parts = row.entry, []
    if row.first.kind == "event":
        name = book.rules.title_of(entry.message)
        parts.append(
            (f"{name}{'' if entry.amount is None else f' {plain(entry.amount)}'}", "bold yellow")
        )
    elif row.first.kind == "note":
        parts.append((entry.heard or entry.note, ""))
    elif entry.refusal:
        parts.append((f"{_state(entry)}: {entry.heard}", "yellow"))
        parts += [(guess, "yellow")] if (guess := guessed(entry.note)) else []
    elif row.first.kind == "call" or entry.message != lap_message(book):
        title = (
            book.messages[entry.message].title if entry.message in book.messages else entry.message
        )
        parts.append(
            (f"{title}: {values_text(book, entry)}", "cyan" if row.first.kind == "call" else "")
        )
    if row.questions and not entry.accepted:
        parts.append((f"asked: {row.questions[-1].heard}", "magenta"))
    if row.corrections and entry.accepted:
        parts.append(
            (
                (
                    f"first heard: {row.first.heard}"
                    if row.first.refusal
                    else f"corrected from {row.first.string}"
                ),
                "dim",
            )
        )
    if any(back.note == "differs" for back in row.readbacks):
        parts.append(("read back differently", "bold magenta"))
    if row.withdrawn:
        parts.append(("withdrawn", "dim"))
    return Text("; ").join([safe(text, style) for text, style in parts])


def lap_lines(
    book: Book, standing: Standing, car: str, width: int, *, last: int | None = None
) -> list[Text]:
    """Return what stands for one car, lap by lap, a line or two each; ``last`` keeps only so many
    lines below the head.

    The fields of the lap report have a column each; whatever else there is to say follows on the
    same line where it fits.
    """
    columns = lap_columns(book)
    mine = lap_rows(standing, car, book, most=last)
    cells = [
        [
            shown_value(book.fields[n], line.row.entry.values[n])
            if line.row is not None and _in_columns(line.row, n)
            else Text()
            for n in columns
        ]
        for line in mine
    ]
    heads = [(name.replace("_", " "), book.fields[name].unit_text) for name in columns]
    sizes = [
        max(len(head), len(unit), *(line[n].cell_len for line in cells), 1)
        for n, (head, unit) in enumerate(heads)
    ]
    timed = any(line.row is not None and line.row.first.at is not None for line in mine)
    lead = 3 + (10 if timed else 0)
    padded = [f"  {head:>{size}}" for (head, _), size in zip(heads, sizes, strict=True)]
    titles = assembled("lap", "      time" if timed else "", *padded)
    units = Text.assemble(
        " " * lead,
        *(f"  {unit:>{size}}" for (_, unit), size in zip(heads, sizes, strict=True)),
        style="dim",
    )
    lines: list[Text] = []
    for line, values in zip(mine, cells, strict=True):
        row = line.row
        shown = Text(f"{line.lap:>3}")
        if row is None:
            lines.append(shown.append(" " * (lead - 3)).append("  no report", "yellow"))
            continue
        shown.append(f"  {clock(row.first.at):>8}" if timed else "", "dim")
        if any(values):
            for cell, size in zip(values, sizes, strict=True):
                shown.append(" " * (2 + size - cell.cell_len)).append_text(cell)
        other = row.first.kind == "report" and row.counts and any(values) and not line.counts
        said = remark(book, row)
        if other and not row.withdrawn:
            said = Text("; ").join(filter(None, (said, safe(_OTHER, "yellow"))))
        lines.extend(_with_remark(shown, said, width, lead))
        if row.withdrawn or other:
            lines[-1].stylize("dim strike" if row.withdrawn else "dim")
    return [titles, units, *(lines if last is None else lines[max(0, len(lines) - last) :])]


_OTHER = "does not count: of another car or lap?"


def _in_columns(row: Row, name: str) -> bool:
    return row.first.kind == "report" and row.entry.accepted and name in row.entry.values


def _state(entry: Entry) -> str:
    """Return what became of a report that was not accepted; its refusal is the slug of an error,
    for programs.
    """
    return entry.refusal if entry.refusal == DOUBTFUL else "not read"


def _with_remark(shown: Text, said: Text, width: int, lead: int) -> list[Text]:
    """Put a remark behind the values, or below them where it does not fit; a long one takes as many
    lines as it needs.
    """
    if not said:
        return [shown]
    if shown.cell_len + 2 + said.cell_len <= width:
        return [shown.append("  ").append_text(said)]
    parts = list(said.wrap(console(), max(1, width - lead - 2)))
    below = [Text(" " * (lead + 2)).append_text(part) for part in parts]
    if shown.cell_len <= lead:
        return [shown.append("  ").append_text(parts[0]), *below[1:]]
    return [shown, *below]


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
        console().print(
            Text("\n").join(lap_lines(journal.book, standing, car, console().width)),
            no_wrap=True,
            crop=False,
        )
        console().print()
    state = standing.race
    if state.neutralised:
        console().print(safe("The race is neutralised.", "bold yellow"))
    if state.added:
        console().print(
            safe(f"{plain(state.added)} {'lap' if state.added == 1 else 'laps'} added.")
        )
    _clock_lines(standing)


def _clock_lines(standing: Standing) -> None:
    """Print where times can't be taken as they stand."""
    steps = standing.moments.steps
    for step in steps[:_STEPS]:
        console().print(safe(str(step), "yellow"))
    if len(steps) > _STEPS:
        console().print(safe(f"and {len(steps) - _STEPS} more such entries", "yellow"))


def entries_table(journal: Journal, only: str | None) -> None:
    """Print every entry, the oldest first."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    for name in ("#", "lap"):
        table.add_column(name, justify="right", no_wrap=True)
    for name in ("kind", "car", "who", "sure", "what"):
        table.add_column(name, overflow="fold", no_wrap=name in ("kind", "sure"))
    standing = Standing(journal.entries())
    for entry in standing.entries:
        if only not in (None, entry.car):
            continue
        about = f"of #{entry.about} " if entry.about else ""
        sure = "" if entry.certainty is None else how_sure(entry.certainty)
        what = values_text(journal.book, entry) if entry.accepted else entry.heard
        what = (
            ": ".join(filter(None, (entry.message, what)))
            if entry.kind in ("event", "car")
            else what
        )
        style = "yellow" if entry.refusal else ""
        why = (
            f" ({'; '.join(filter(None, (_state(entry), guessed(entry.note))))})"
            if entry.refusal
            else ""
        )
        detail = f"{about}{entry.string + ': ' if entry.string else ''}{what}{why}"
        table.add_row(
            str(entry.seq), "" if entry.lap is None else str(entry.lap), safe(entry.kind),
            safe(entry.car),
            safe(entry.speaker or entry.writer), sure, safe(detail, style),
        )  # fmt: skip
    console().print(table)
    _clock_lines(standing)


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
                " sheet show",
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
def progress(size: int) -> Iterator[Callable[[int], None]]:
    """Show how far a file of ``size`` bytes is read; nothing where the error output is no
    terminal.
    """
    from rich.console import Console
    from rich.progress import BarColumn, DownloadColumn, Progress, TimeRemainingColumn

    errors = Console(stderr=True)
    if not errors.is_terminal:
        yield lambda count: None  # noqa: ARG005
        return
    with Progress(
        "reading",
        BarColumn(),
        DownloadColumn(),
        TimeRemainingColumn(),
        console=errors,
        transient=True,
    ) as bar:
        task = bar.add_task("reading", total=size or None)
        yield lambda count: bar.update(task, advance=count)
