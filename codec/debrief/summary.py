"""The race lap by lap, as it was heard: what the debrief shows."""

from __future__ import annotations

import functools
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from codec.debrief.recorded import CarFile
from codec.debrief.symbols import heard_symbols, side_by_side
from codec.lap_report import lap_message
from codec.radio.named import NamedReports
from codec.sheet.entry import Entry
from codec.sheet.state import BY_HAND, LapRow, Row, Standing, lap_rows, laps
from codec.sheet.words import event_text, message_text
from grammar.book import Book
from grammar.errors import CodeError
from grammar.fields import Value

if TYPE_CHECKING:
    from codec.debrief.findings import Comparison
    from codec.race import Event, Outlook, Race

UNKNOWN_WORD = 0.5  # seconds for a word whose sound nobody knows
CAUTION = (
    "A temperature, voltage or insulation warning is handled by the event's and the team's own"
    " safety procedures and qualified people. Event regulations on radio use come first. What is"
    " forecast here is arithmetic on spoken reports, not a measurement."
)


@dataclass(slots=True)
class LapLine:
    """One lap: the report that stands, what came before it, how sure it was, and the radio seconds
    of car and pit.

    ``certainty`` is that of the hearing (None if nobody knows), ``doubt`` the probability that the
    report is wrong by the laps about it (None without an event file). ``warnings`` are the limits
    passed.
    """

    lap: int
    heard: str = ""
    string: str = ""
    values: Mapping[str, Value] = field(default_factory=dict)
    certainty: float | None = None
    doubt: float | None = None
    refused: list[str] = field(default_factory=list)
    questions: int = 0
    car_seconds: float = 0.0
    pit_seconds: float = 0.0
    warnings: tuple[str, ...] = ()
    remarks: list[str] = field(default_factory=list)


@dataclass
class Debrief:
    """The race of one car: its laps, the words that were doubted, those taken for another (said,
    and heard as, "" for not at all), and, with an event file, the race as it was followed.
    """

    title: str
    book: Book
    car: str
    lines: list[LapLine]
    doubted: Counter[str]
    misheard: Counter[tuple[str, str]]
    race: Race | None = None
    recorded: CarFile | None = None
    comparison: Comparison | None = None

    def reported(self, name: str) -> dict[int, float]:
        """Return the reported value of a numeric field by lap."""
        return {
            line.lap: float(value)
            for line in self.lines
            if isinstance(value := line.values.get(name), Decimal)
        }

    def intervals(self, name: str) -> dict[int, tuple[float, float]]:
        """Return, by lap, the values of a measured field that are said as it was reported."""
        from codec.race.interval import interval

        field = self.book.fields[name]
        return {
            line.lap: interval(field, field.level(line.values[name]).level)
            for line in self.lines
            if name in line.values
        }

    @functools.cached_property
    def outlooks(self) -> list[Outlook]:
        """What was to be seen behind each lap; [] without an event file."""
        if self.race is None:
            return []
        from codec.race import outlook

        return [outlook(race) for race in self.race.history]

    def was(self, name: str) -> dict[int, float]:
        """Return the recorded value of a numeric field by lap."""
        if self.recorded is None:
            return {}
        return {
            lap: float(value)
            for lap, row in self.recorded.laps.items()
            if isinstance(value := row.values.get(name), Decimal)
        }


def summarise(
    book: Book,
    entries: Iterable[Entry] | Standing,
    *,
    car: str,
    event: Event | None = None,
    recorded: CarFile | None = None,
    title: str = "",
) -> Debrief:
    """Return the race of one car lap by lap; with an event file also where it was heading, with a
    car's file also what was wrong. Notes take no part in it.
    """
    standing = entries if isinstance(entries, Standing) else Standing(entries)
    sheet = lap_rows(standing, car, book)
    lines = {lap: _line(book, lap, row) for lap, row in laps(standing, car, book).items()}
    _radio(book, sheet, lines)
    for told in sheet:
        if told.row is None:
            lines[told.lap] = LapLine(told.lap, remarks=["no report"])
        elif not told.row.withdrawn and (said := _said(book, told)):
            lines.setdefault(told.lap, LapLine(told.lap)).remarks.append(said)
    doubted, misheard = _doubted(book, standing.of(car, "report"))
    debrief = Debrief(
        title or (event.title if event else book.title),
        book,
        car,
        [lines[lap] for lap in sorted(lines)],
        doubted,
        misheard,
    )
    if event is not None:
        _follow(debrief, event, standing)
    if recorded is not None:
        from codec.debrief.compare import compare

        found = compare(book, standing.entries, recorded, car=car)
        debrief.recorded, debrief.comparison = recorded, found
        debrief.misheard = Counter(
            {(_word(book, said), _word(book, heard)): n for said, heard, n in found.confused()}
        )
    return debrief


def _said(book: Book, line: LapRow) -> str:
    """Return in words what was said on a lap besides its report, "" for what is told elsewhere."""
    row = line.row
    if row is None or row.first.kind == "note":
        return ""
    if row.first.kind == "event":
        return event_text(book, row.entry)
    if not row.counts or row.entry.message == lap_message(book):
        return ""
    return message_text(book, row.entry)


def _follow(debrief: Debrief, event: Event, standing: Standing) -> None:
    from codec.race import facts, follow

    debrief.race = follow(event, facts(standing, debrief.car), history=True)
    doubts = debrief.race.doubts()
    for line in debrief.lines:
        line.doubt = doubts.get(line.lap)
        line.remarks += [notice.text for notice in debrief.race.notices if notice.lap == line.lap]


def _line(book: Book, lap: int, row: Row) -> LapLine:
    entry = row.entry
    tries = [row.first, *row.corrections]
    line = LapLine(lap, heard=entry.heard, certainty=entry.certainty, questions=len(row.questions))
    line.refused = [f"{one.heard} ({one.refusal})" for one in tries if one.refusal]
    if row.counts:
        line.string, line.values, line.warnings = entry.string, entry.values, _warnings(book, entry)
    return line


def _warnings(book: Book, entry: Entry) -> tuple[str, ...]:
    found: list[str] = []
    for name, value in entry.values.items():
        named = book.fields.get(name)
        if named is not None:
            found += named.warnings(named.level(value).level)
    return tuple(found)


def _radio(book: Book, sheet: Sequence[LapRow], lines: dict[int, LapLine]) -> None:
    """Add up the seconds of everything said on each lap, and not taken back."""
    for told in sheet:
        row = told.row
        if row is None or row.withdrawn or row.first.kind == "note":
            continue
        line = lines.setdefault(told.lap, LapLine(told.lap))
        for entry in (row.first, *row.corrections, *row.questions, *row.answers, *row.readbacks):
            seconds = said_seconds(book, entry)
            if entry.kind == "question" or (row.first.kind == "call" and entry.kind != "readback"):
                line.pit_seconds += seconds
            else:
                line.car_seconds += seconds


def said_seconds(book: Book, entry: Entry) -> float:
    """Return about how long an entry took to say: its symbols as they are spoken, else its words by
    their sound.
    """
    if entry.string:
        return sum(
            book.alphabet.words[symbol].seconds
            for symbol in entry.string
            if symbol in book.alphabet.words
        )
    return sum(_word_seconds(word) for word in entry.heard.split())


def _word_seconds(word: str) -> float:
    from grammar import sound

    try:
        return sound.seconds(word.strip(".,;:!?\"'()[]").casefold())
    except CodeError:
        return UNKNOWN_WORD


def _doubted(book: Book, standing: Sequence[Row]) -> tuple[Counter[str], Counter[tuple[str, str]]]:
    """Count the words at which reports were refused, corrected or asked for again, and those that
    were taken for another, or not heard.

    Where the report was read in the end, they are the words that were not those of its string; else
    the words that can't be read.
    """
    found, misheard = Counter[str](), Counter[tuple[str, str]]()
    named = NamedReports(book)
    for row in standing:
        if row.first.kind != "report" or row.withdrawn:
            continue
        for entry in (row.first, *row.corrections):
            if entry.note == BY_HAND or named.speaks(entry.heard):
                continue  # what somebody typed, or said in plain words, is no code misheard
            accepted = entry.heard == row.entry.heard and row.counts and not entry.refusal
            heard = heard_symbols(book, entry.heard)
            if row.counts:
                aligned = side_by_side(row.entry.string, [one.symbol or one.word for one in heard])
                pairs = [(_word(book, said), _word(book, taken)) for said, taken in aligned.wrong]
                if not accepted:
                    pairs += [(_word(book, said), "") for said in aligned.lost]
                    found.update(said for said, _ in pairs)
                misheard.update(pairs)
            elif entry.refusal:
                found.update(_refused_words(book, entry))
    return found, misheard


def _refused_words(book: Book, entry: Entry) -> list[str]:
    """Return the words at the place where a report can't be read."""
    from codec.decoding import decode_all

    try:
        decode_all(
            book,
            entry.heard,
            direction="car",
            context={"lap": entry.lap} if entry.lap is not None else None,
        )
    except CodeError as error:
        if error.span is None or error.source != entry.heard:
            return []
        return [word.casefold() for word in entry.heard[error.span[0] : error.span[1]].split()]
    return []


def _word(book: Book, symbol: str) -> str:
    return book.alphabet.words[symbol].word if symbol in book.alphabet.words else symbol


def certainties(debrief: Debrief) -> dict[int, float]:
    """Return, by lap, how sure the report is: sure of its words, and that they fit the laps about
    it; 0 where none could be read.
    """
    found: dict[int, float] = {}
    for line in debrief.lines:
        if line.values:
            found[line.lap] = (1.0 if line.certainty is None else line.certainty) * (
                1 - (line.doubt or 0.0)
            )
        elif line.refused:
            found[line.lap] = 0.0
    return found


def table(debrief: Debrief) -> list[dict[str, Any]]:
    """Return the laps as rows of text for the page: field titles → values as people read them."""
    names = (
        [name for name in debrief.book.sent_by("car")[0].fields if name != "lap"]
        if debrief.book.sent_by("car")
        else []
    )
    found = []
    for line in debrief.lines:
        cells = []
        for name in names:
            named, value = debrief.book.fields[name], line.values.get(name)
            level = None if value is None else named.level(value).level
            cells.append(
                (
                    "" if level is None else named.text(level),
                    bool(level is not None and named.warnings(level)),
                )
            )
        found.append({"line": line, "cells": cells})
    return found
