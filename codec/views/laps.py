"""The lap sheet of one car, line by line: values against their laps, and whatever else was said."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from typing import Literal, NamedTuple

from codec.lap_report import lap_field, lap_message
from codec.log.readbacks import Called, ReadBacks
from codec.radio.answering import UNREAD
from codec.radio.doubt import guessed, how_sure
from codec.sheet.entry import DOUBTFUL, Entry
from codec.sheet.state import Row, Standing, lap_rows
from codec.sheet.words import event_text, message_text, value_told
from grammar.book import Book
from grammar.fields import FieldBase, Value

LineKind = Literal["report", "call", "event", "note", "missing"]
Tone = Literal["plain", "event", "refused", "call", "asked", "quiet", "alarm"]
_KNOWN = 0.95  # a lap as sure as this needs no second look
_ANSWERED = 150_000  # milliseconds: what is said later is hardly the read-back of a call
_KEPT = 20_000  # values as they are shown: laps are much alike
OTHER = "does not count: of another car or lap?"


class SheetRemark(NamedTuple):
    """Something to be said of a line besides its values, and its tone."""

    text: str
    tone: Tone = "plain"


class ShownValue(NamedTuple):
    """A value as people read it, without its unit, and whether it passes a limit."""

    text: str
    warns: bool = False


class SheetLine(NamedTuple):
    """One line of the lap sheet: what was said against a lap, or that no report came of it.

    ``at`` is when it was said, ``values`` the fields of the lap report, by name; ``counts`` tells
    whether they are those of the lap, ``other`` that there is a report that fits it better.
    """

    lap: int
    kind: LineKind
    at: int | None = None
    row: Row | None = None
    values: Mapping[str, ShownValue] | None = None
    remarks: Sequence[SheetRemark] = ()
    counts: bool = False
    other: bool = False

    @property
    def withdrawn(self) -> bool:
        """Tell whether it was taken back."""
        return self.row is not None and self.row.withdrawn

    @property
    def refused(self) -> bool:
        """Tell whether it was not accepted."""
        return self.row is not None and bool(self.row.entry.refusal)

    @property
    def said(self) -> str:
        """The remarks as one text."""
        return "; ".join(remark.text for remark in self.remarks)


def lap_columns(book: Book) -> list[str]:
    """Return the fields of the lap report, which get a column each: those of the first message from
    the car, but for the lap.
    """
    name = lap_message(book)
    return (
        [field for field in book.messages[name].fields if field != lap_field(book)] if name else []
    )


def sheet_lines(
    standing: Standing, car: str, book: Book, *, most: int | None = None
) -> list[SheetLine]:
    """Return the lap sheet of a car; ``most`` keeps only so many lines of each kind but reports."""
    columns, lap_report = lap_columns(book), lap_message(book)
    found: list[SheetLine] = []
    rows = lap_rows(standing, car, book, most=most)
    counted = {line.lap: line.row.entry.values for line in rows if line.row and line.counts}
    shown = functools.lru_cache(_KEPT)(lambda name, value: _shown(book.fields.get(name), value))
    answered = {
        one.row.first.seq: one.wrong
        for one in ReadBacks(book, standing, car).log
        if one.wrong and (one.answered is None or _soon(standing, one))
    }
    for line in rows:
        row = line.row
        if row is None:
            found.append(
                SheetLine(line.lap, "missing", remarks=(SheetRemark("no report", "refused"),))
            )
            continue
        entry = row.entry
        in_columns = row.first.kind == "report" and entry.accepted
        said = entry.values if in_columns else {}
        values = {name: shown(name, said[name]) for name in columns if name in said}
        other = bool(values) and not line.counts and not row.withdrawn
        again = other and entry.values == counted.get(line.lap)
        other = other and not again
        remarks = _remarks(book, row, answered.get(row.first.seq, ""), lap_report)
        remarks += [SheetRemark(OTHER, "refused")] if other else []
        remarks += [SheetRemark("said again", "quiet")] if again else []
        kind: LineKind = row.first.kind  # type: ignore[assignment]  # a row begins with one of these
        at = standing.moments.at(row.first.seq)
        found.append(SheetLine(line.lap, kind, at, row, values, remarks, line.counts, other))
    return found


def _soon(standing: Standing, call: Called) -> bool:
    """Tell whether a call was answered so soon that the answer is of it."""
    if call.answered is None:
        return False
    then, now = (standing.moments.at(row.first.seq) for row in (call.row, call.answered))
    return then is None or now is None or now - then <= _ANSWERED


def _shown(field: FieldBase | None, value: Value) -> ShownValue:
    """Return a value as people read it; no flags are a dot."""
    text = value_told(field, value, unit=False)
    if text == "none" and isinstance(value, frozenset):
        text = "·"
    return ShownValue(text.replace("-", "−") if text[:1] == "-" else text, _warns(field, value))


def _warns(field: FieldBase | None, value: Value) -> bool:
    try:
        return field is not None and bool(field.warnings(field.level(value).level))
    except ValueError:
        return False


def state_of(entry: Entry) -> str:
    """Return what became of a report that was not accepted; its refusal is the slug of an error,
    for programs.
    """
    return entry.refusal if entry.refusal == DOUBTFUL else "not read"


def _corrected(row: Row) -> str:
    """Return in words what was first written of a row that was corrected, "" where it says the
    same now.
    """
    first, entry = row.first, row.entry
    if first.refusal:
        return f"first heard: {first.heard}"
    if first.car != entry.car:
        return f"first filed with car {first.car}"
    if first.values == entry.values and first.lap != entry.lap:
        return f"first filed with lap {first.lap}"
    if (first.string, first.values) == (entry.string, entry.values) and first.string:
        return ""
    return f"corrected from {first.string or first.heard}"


def _remarks(book: Book, row: Row, differs: str, lap_report: str) -> list[SheetRemark]:
    """Return what is to be said of a row besides its values; ``differs`` tells in words where a
    call was read back wrong, ``lap_report`` is the message that is reported each lap.
    """
    entry, parts = row.entry, list[SheetRemark]()
    if row.first.kind == "event":
        parts.append(SheetRemark(event_text(book, entry), "event"))
    elif row.first.kind == "note":
        parts.append(SheetRemark(f"note: {entry.heard or entry.note}"))
    elif entry.refusal:
        parts.append(SheetRemark(f"{state_of(entry)}: {entry.heard}", "refused"))
        parts += [SheetRemark(guess, "refused")] if (guess := guessed(entry.note)) else []
    elif row.first.kind == "call" or entry.message != lap_report:
        tone: Tone = "call" if row.first.kind == "call" else "plain"
        parts.append(SheetRemark(message_text(book, entry), tone))
    if row.questions and not entry.accepted:
        parts.append(SheetRemark(f"asked: {row.questions[-1].heard}", "asked"))
    if row.corrections and entry.accepted and (corrected := _corrected(row)):
        parts.append(SheetRemark(corrected, "quiet"))
    if differs or any(back.note == "differs" for back in row.readbacks):
        told = ": ".join(filter(None, ("read back differently", differs)))
        parts.append(SheetRemark(told, "asked"))
    unread = [back.heard for back in row.readbacks if back.refusal and back.note == UNREAD]
    if unread:
        parts.append(SheetRemark(f"read back, not understood: {unread[-1]}", "asked"))
    if (unsure := lap_doubt(entry)) and not row.withdrawn:
        parts.append(SheetRemark(f"on this lap {unsure}", "refused"))
    if row.withdrawn:
        parts.append(SheetRemark("withdrawn", "quiet"))
    return parts


def lap_doubt(entry: Entry) -> str:
    """Return how sure the lap of an entry is as people read it, "" where it is as good as known."""
    sure = entry.lap_certainty
    return "" if sure is None or sure >= _KNOWN else how_sure(sure)
