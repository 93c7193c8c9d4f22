"""What a desk shows of one car, as data: the templates only lay it out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from codec.log.session import Session
from codec.log.watch import Notice
from codec.race import Advice, Outlook, Race, advise, outlook
from codec.radio.laps import lap_field
from codec.sheet.entry import Entry
from codec.sheet.state import Row, lap_message, lap_rows
from grammar.book import Book
from grammar.fields import value_text

_LAPS = 30
_PAGE = 100  # entries of the history at a time


@dataclass(frozen=True, slots=True)
class Cell:
    """A value of a lap, and whether it warns."""

    text: str
    warns: bool = False


@dataclass(frozen=True, slots=True)
class BoardLine:
    """One line of the laps."""

    row: Row
    cells: Sequence[Cell]
    said: str
    counts: bool


@dataclass(frozen=True, slots=True)
class Board:
    """Everything of one car that a wall shows."""

    car: str
    driver: str
    lap: int
    neutralised: bool
    added: str
    cars: Sequence[str]
    alerts: Sequence[str]
    looks: Sequence[Notice]
    waiting: Sequence[str]
    asking: str
    heads: Sequence[tuple[str, str]]
    lines: Sequence[BoardLine]
    race: Race | None
    look: Outlook | None
    advice: Sequence[Advice]


def board(session: Session) -> Board:
    """Return the board of the session's car."""
    book, mine = session.book, session.mine
    race = mine.followed
    name = lap_message(book)
    fields = [f for f in book.messages[name].fields if f != lap_field(book)] if name else []
    lines = [
        _line(book, fields, line.row, line.counts)
        for line in lap_rows(session.standing, session.car, book, most=_LAPS)
        if line.row is not None and not line.row.withdrawn
    ]
    return Board(
        car=session.car,
        driver=session.cars.get(session.car, ""),
        lap=session.lap,
        neutralised=session.race.neutralised,
        added=str(session.race.added) if session.race.added else "",
        cars=list(session.cars),
        alerts=mine.alerts,
        looks=mine.looks,
        waiting=session.doubtful(),
        asking=session.asking if session.waiting is not None else "",
        heads=[(book.fields[f].title, book.fields[f].unit_text) for f in fields],
        lines=lines[: -_LAPS - 1 : -1],
        race=race,
        look=None if race is None else outlook(race),
        advice=[] if race is None else advise(race),
    )


def _line(book: Book, fields: Sequence[str], row: Row, best: bool) -> BoardLine:
    entry = row.entry
    in_columns = row.first.kind == "report" and entry.accepted
    cells = [_cell(book, name, entry) if in_columns else Cell("") for name in fields]
    said = "" if in_columns and any(cell.text for cell in cells) else _said(book, row)
    return BoardLine(row, cells, said, row.first.kind != "report" or best)


def _cell(book: Book, name: str, entry: Entry) -> Cell:
    if name not in entry.values:
        return Cell("")
    field, value = book.fields[name], entry.values[name]
    return Cell(value_text(value), bool(field.warnings(field.level(value).level)))


def _said(book: Book, row: Row) -> str:
    entry = row.entry
    if row.first.kind == "event":
        amount = "" if entry.amount is None else f" {entry.amount}"
        return book.rules.title_of(entry.message) + amount
    if row.first.kind == "call":
        values = ", ".join(f"{name} {value_text(value)}" for name, value in entry.values.items())
        return f"called: {values}"
    return entry.heard or entry.note


@dataclass(frozen=True, slots=True)
class History:
    """A page of everything that was written, the newest first; ``before`` leads to the next."""

    entries: Sequence[Entry]
    search: str
    before: int


def history(session: Session, search: str, before: int) -> History:
    """Return the entries whose words have all that is searched for, those before a number."""
    wanted = search.casefold().split()
    found: list[Entry] = []
    for entry in reversed(session.entries):
        if before and entry.seq >= before:
            continue
        text = (
            f"{entry.heard} {entry.string} {entry.message} {entry.note} {entry.kind} {entry.writer}"
        )
        if all(word in text.casefold() for word in wanted):
            found.append(entry)
        if len(found) == _PAGE:
            return History(found, search, found[-1].seq)
    return History(found, search, 0)
