"""The reports of a sheet that could not be read, or not surely enough: what each may have been, and
how somebody who looks at them puts them right.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from codec.decoding import decode
from codec.radio.doubt import LIKELY, doubt, how_sure, of_any_lap
from codec.radio.laps import lap_field
from codec.radio.wording import RadioWords
from codec.reading import Reading
from codec.sheet.entry import Entry, SheetError
from codec.sheet.journal import Journal
from codec.sheet.state import BY_HAND, Row, Standing, correction_of, lap_message, laps
from grammar.book import Book
from grammar.message import Direction

_BEST = 3  # readings shown


@dataclass(frozen=True, slots=True)
class Doubtful:
    """A report or call that does not count, and its likeliest readings with their probabilities,
    the best first.
    """

    row: Row
    readings: tuple[tuple[Reading, float], ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the facts for ``--json``."""
        entry = self.row.entry
        return {
            "entry": self.row.first.seq,
            "car": entry.car,
            "lap": entry.lap,
            "at": entry.at,
            "speaker": entry.speaker,
            "heard": entry.heard,
            "refusal": entry.refusal,
            "readings": [
                {"probability": round(sure, 4), **reading.as_dict()}
                for reading, sure in self.readings
            ],
        }


def doubtful_rows(journal: Journal, car: str | None = None) -> Iterator[Doubtful]:
    """Yield what stands in a sheet and does not count, in order; what only repeats a lap that was
    reported is left out.
    """
    standing = Standing(journal.entries())
    counted = {
        one: {lap for lap, row in laps(standing, one, journal.book).items() if row.counts}
        for one in (*standing.cars, "")
    }
    for row in standing.rows:
        entry = row.entry
        if row.first.kind not in ("report", "call") or row.counts or row.withdrawn:
            continue
        if not entry.refusal or car not in (None, entry.car):
            continue
        if entry.message in ("", lap_message(journal.book)) and entry.lap in counted[entry.car]:
            continue
        yield Doubtful(row, tuple(_readings(journal.book, standing, row)))


def _readings(book: Book, standing: Standing, row: Row) -> Iterator[tuple[Reading, float]]:
    entry = row.entry
    context = {lap_field(book): entry.lap} if lap_field(book) and entry.lap is not None else {}
    if entry.string:
        said = decode(book, entry.string, typed=True, context=context)
        yield said, min(entry.certainty or 0.0, 0.9999)
        return
    words = " ".join(word.text for word in RadioWords(book.lexicon).cut(entry.heard))
    doubted = doubt(book, words, _before(book, standing, entry))
    if doubted is None:
        return
    for one in doubted.hearing.candidates[:_BEST]:
        reading = one.reading
        yield (
            Reading(book, reading.match, reading.text, reading.spans, context or None),
            one.probability,
        )


def _before(book: Book, standing: Standing, entry: Entry) -> dict[str, Any] | None:
    """Return the values of the report of the car's lap before, without its lap where that is not
    the lap before.
    """
    if entry.lap is None:
        return None
    reported = laps(standing, entry.car, book)
    earlier = [lap for lap, row in reported.items() if lap < entry.lap and row.counts]
    if not earlier:
        return None
    values = dict(reported[max(earlier)].entry.values)
    return values if max(earlier) == entry.lap - 1 else of_any_lap(book, values)


def accept(journal: Journal, number: int, car: str | None = None) -> tuple[Entry, Reading]:
    """Take the likeliest reading of the report with this number as it is; returns the correction
    written, and the reading.

    Raises SheetError where there is no such report, or none of its readings is likely.
    """
    row, standing = _row(journal, number)
    readings = list(_readings(journal.book, standing, row))
    if not readings or readings[0][1] < LIKELY:
        best = f"the best is {how_sure(readings[0][1])} sure" if readings else "nobody can tell"
        raise SheetError(
            f"no reading of entry {number} is likely: {best}",
            kind="sheet-entry",
            hint=f"say what it was: niner sheet fix SHEET {number} WORDS",
        )
    return _put_right(journal, row, readings[0][0], row.entry.heard, car), readings[0][0]


def fix(journal: Journal, number: int, words: str, car: str | None = None) -> tuple[Entry, Reading]:
    """Put the report or call with this number right by words; returns the correction written, and
    its reading. Raises SheetError, and ReportError where the words are no report.
    """
    row, _ = _row(journal, number)
    direction: Direction = "pit" if row.first.kind == "call" else "car"
    lap, name = row.entry.lap, lap_field(journal.book)
    context = {name: lap} if name and lap is not None else None
    reading = decode(journal.book, words, direction=direction, context=context)
    return _put_right(journal, row, reading, words, car), reading


def _row(journal: Journal, number: int) -> tuple[Row, Standing]:
    standing = Standing(journal.entries())
    for row in standing.rows:
        parts = {row.first.seq, *(one.seq for one in row.corrections)}
        if number in parts and row.first.kind in ("report", "call"):
            return row, standing
    raise SheetError(
        f"entry {number} is no report or call of this sheet",
        kind="sheet-entry",
        hint="niner sheet show SHEET --doubtful lists those that need a look",
    )


def _put_right(journal: Journal, row: Row, reading: Reading, heard: str, car: str | None) -> Entry:
    entry = row.entry
    known = [one.car for one in journal.entries() if one.kind == "car"]
    if car is not None and known and car not in known:
        raise SheetError(
            f"there is no car {car[:40]!r} in the sheet", kind="sheet-entry", expected=known
        )
    lap = reading.values.get(lap_field(journal.book))
    said = row.first.kind == "report" and lap is not None
    written = correction_of(
        entry,
        car=entry.car if car is None else car,
        heard=heard,
        message=reading.message,
        string=reading.said,
        values=dict(reading.values),
        certainty=1.0,
        lap=int(str(lap)) if said else entry.lap,
        lap_by="said" if said else entry.lap_by,
        note=BY_HAND,
    )
    return journal.append(written)


def lines(found: Iterable[Doubtful], sheet: str) -> Iterator[str]:
    """Yield what is to be shown of doubtful reports: where each stands, what was heard, what it may
    have been, and what to type.
    """
    for one in found:
        entry, number = one.row.entry, one.row.first.seq
        lap = "" if entry.lap is None else f"  lap {entry.lap}"
        yield f"#{number}  car {entry.car or '?'}{lap}  {entry.speaker}: {entry.heard}"
        for reading, sure in one.readings:
            yield f"      {how_sure(sure):>8}  {reading.said}  {reading}"
        likely = bool(one.readings) and one.readings[0][1] >= LIKELY
        of_car = "" if entry.car else " --car CAR"
        told = f"niner sheet accept {sheet} {number}{of_car}  or  " if likely else ""
        yield f"      {told}niner sheet fix {sheet} {number} WORDS{of_car}"
