"""What somebody who looks at a sheet puts right: reports that could not be read, or not surely
enough, with what each may have been; and any other entry, by its number.
"""

from __future__ import annotations

import contextlib
import functools
import re
import shlex
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from codec.decoding import decode, decode_all
from codec.encoding import encode
from codec.lap_report import lap_field, lap_message
from codec.radio.doubt import LIKELY, doubt, guess_of, how_sure, of_any_lap
from codec.radio.evidence import least_symbols
from codec.radio.laps import near_lap, whole_lap, without_report
from codec.radio.named import NamedReports, in_full
from codec.radio.outlook import level_of_lap
from codec.radio.wording import RadioWords
from codec.reading import Reading
from codec.sheet.entry import Entry
from codec.sheet.journal import Journal
from codec.sheet.state import (
    ADDED,
    BY_HAND,
    MOST_LAP,
    MOST_LAPS,
    Row,
    Standing,
    correction_of,
    laps,
    withdrawal_of,
)
from codec.sheet.words import event_text, message_text
from grammar.book import Book
from grammar.errors import CodeError
from grammar.exact import whole
from grammar.fields import Value
from grammar.message import Direction
from grammar.speech.facts import TITLES

_BEST = 3  # readings shown
_LAP = re.compile(r"lap\s*=\s*(?P<lap>\S+)", re.IGNORECASE)  # that an entry is filed on


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


def doubtful_rows(
    book: Book, standing: Standing, car: str | None = None, *, after: int = 0
) -> Iterator[Doubtful]:
    """Yield what stands in a sheet behind a number and does not count, in order; what only repeats
    a lap that was reported, or could not be read, is left out.
    """
    counted = {
        one: {lap: row.entry for lap, row in laps(standing, one, book).items() if row.counts}
        for one in (*standing.cars, "")
    }
    for row in standing.every("report", "call"):
        entry = row.entry
        if row.counts or row.withdrawn:
            continue
        if not entry.refusal or car not in (None, entry.car) or row.first.seq <= after:
            continue
        there = counted[entry.car].get(entry.lap or 0)
        of_lap = entry.message in ("", lap_message(book))
        if of_lap and there is not None and entry.values in ({}, there.values):
            continue
        yield Doubtful(row, tuple(_readings(book, standing, row)))


def _readings(book: Book, standing: Standing, row: Row) -> Iterator[tuple[Reading, float]]:
    entry = row.entry
    context = near_lap(book, entry.lap)
    if entry.string:
        said = whole_lap(entry.values.get(lap_field(book)))  # may be another than it stands on
        context = context if said is None else {lap_field(book): said}
        sent = _direction(row)
        read = decode(book, entry.string, typed=True, direction=sent, context=context)
        yield read, min(entry.certainty or 0.0, 0.9999)
        return
    told = None
    if (named := _named(book)).speaks(entry.heard):
        told = {name: one for name, one in named.told(entry.heard).items() if name != named.lap}
        if not told:
            return  # what is said by names is no code
        whole = named.find(entry.heard) if told.keys() >= {*named.needed} else None
        if whole is not None:
            reading = named.reading(whole, entry.lap, entry.heard, context)
            if reading is not None:
                yield reading, LIKELY  # nothing checks it
            return
    heard = RadioWords(book.lexicon).cut(entry.heard)
    text = " ".join(word.text for word in heard)
    values, ago = _before(book, standing, entry)
    doubted = doubt(book, text, values, laps=ago)
    if doubted is None:
        return
    least, left = least_symbols(heard), 1.0
    kept = guess_of(entry.note)
    if kept is not None:  # when it was written down more was known than stands in the sheet
        with contextlib.suppress(CodeError):
            reading = _near(book, decode(book, kept.string, typed=True), context)
            yield reading, kept.probability
            left -= kept.probability
    for one in doubted.hearing.candidates[:_BEST]:
        reading = one.reading
        if len(reading.said) < least or (kept is not None and reading.said == kept.string):
            continue  # it would pass over words of the code that were said
        if told and any(reading.values.get(name) != value for name, value in told.items()):
            continue  # or say something else than was said by name
        sure = min(one.probability, left)
        left -= sure
        yield _near(book, reading, context), sure


@functools.lru_cache(8)
def _named(book: Book) -> NamedReports:
    return NamedReports(book)


def _near(book: Book, reading: Reading, context: Mapping[str, Any]) -> Reading:
    """Return a reading with its lap made whole, as said where two laps are equally near."""
    found = Reading(book, reading.match, reading.text, reading.spans, context or None)
    try:
        return found if found.values else reading
    except CodeError:
        return reading


def _before(book: Book, standing: Standing, entry: Entry) -> tuple[dict[str, Any] | None, int]:
    """Return the values of the car's last report before a lap, and how many laps ago that was;
    without its lap where that is not the lap before.
    """
    reported = laps(standing, entry.car, book)
    earlier = [lap for lap, row in reported.items() if lap < (entry.lap or 0) and row.counts]
    if not earlier or entry.lap is None:
        return None, 1
    values, ago = dict(reported[max(earlier)].entry.values), entry.lap - max(earlier)
    return (values if ago == 1 else of_any_lap(book, values)), ago


def accept(
    journal: Journal, standing: Standing, number: int, car: str | None = None, string: str = ""
) -> tuple[Entry, str]:
    """Take the likeliest reading of the report with this number as it is, or the one with this
    string, which somebody chose, or what was told field by field; returns the correction written,
    and what it says now.

    Raises CodeError where there is no such report, none of its readings is likely, or none of them
    has that string.
    """
    row = _row(standing, number)
    if row.first.kind not in ("report", "call"):
        raise _missing(number, "report or call")
    readings = list(_readings(journal.book, standing, row))
    if string:
        readings = [(one, 1.0) for one, _ in readings if one.said == string.upper()]
    elif _taken_as_told(row.entry, readings):
        told = InPart(row.entry.values, row.entry.lap)
        return _put_right_in_part(journal, standing, row, told, row.entry.heard, car)
    if not readings or readings[0][1] < LIKELY:
        best = f"the best is {how_sure(readings[0][1])} sure" if readings else "nobody can tell"
        raise CodeError(
            f"no reading of entry {number} is likely: {best}",
            kind="sheet-entry",
            hint=f"say what it was: niner sheet fix SHEET {number} WORDS",
        )
    reading = readings[0][0]
    return _put_right(journal, standing, row, reading, row.entry.heard, car), str(reading)


def _taken_as_told(entry: Entry, readings: Sequence[tuple[Reading, float]]) -> bool:
    """Tell whether an entry that does not count holds values told by the names of fields, and no
    string is likely: then it can be taken as it was told.
    """
    told = bool(entry.refusal and entry.values) and not entry.string
    return told and not (readings and readings[0][1] >= LIKELY)


def fix(
    journal: Journal, standing: Standing, number: int, words: str, car: str | None = None
) -> tuple[Entry, str]:
    """Put the entry with this number right by words: a report or a call by what was said, an event
    by its phrase or name, a note by its text, a car by its driver, and any but a car by the lap it
    is of, ``lap=12``; returns the entry written, and what it says now.

    Raises CodeError where there is no such entry, and ReportError where the words are no report.
    """
    entry = numbered(standing, number)
    if entry.kind == "car":
        if "=" in words:
            raise CodeError(
                f"entry {number} names car {entry.car}: only its driver can be put right",
                kind="sheet-entry",
                expected=["the driver's name"],
            )
        written = journal.append(Entry(kind="car", car=entry.car, message=words.strip()))
        return written, f"driver {written.message}"
    row = _row(standing, number)
    if (lap := _LAP.fullmatch(words.strip())) is not None:
        return _filed(journal, standing, row, lap["lap"], car)
    if row.first.kind in ("report", "call"):
        found = fixed(journal.book, row, words)
        if isinstance(found, Reading):
            written, told = _put_right(journal, standing, row, found, words, car), str(found)
        else:
            written, told = _put_right_in_part(journal, standing, row, found, words, car)
        return written, "; ".join([told, *taken_whole(journal.book, row.entry, found.values)])
    of = _known_car(standing, car)
    changed: dict[str, Any] = {
        "car": row.entry.car if of is None else of,
        "note": BY_HAND,
        "heard": words,
    }
    if row.first.kind == "event":
        message, amount = _fact(journal.book, words)
        changed |= {"heard": row.entry.heard, "message": message, "amount": amount}
    written = journal.append(correction_of(row.entry, **changed))
    return written, event_text(journal.book, written) if row.first.kind == "event" else words


def lap_of(words: str) -> int | None:
    """Return the lap that words file an entry on, ``lap=12``; None where they do not."""
    lap = _LAP.fullmatch(words.strip())
    with contextlib.suppress(ValueError):
        return None if lap is None else whole(lap["lap"], 0, MOST_LAP)
    return None


@dataclass(frozen=True, slots=True)
class InPart:
    """What is known of a report of which not all is, and its lap."""

    values: Mapping[str, Any]
    lap: int | None


def fixed(book: Book, row: Row, words: str) -> Reading | InPart:
    """Return what words say of a report or call: all of it, or fields of a lap report by their
    names, and its lap, the rest of which stands. Raises CodeError.
    """
    context = near_lap(book, row.entry.lap) or None
    try:
        return decode(book, words, direction=_direction(row), context=context)
    except CodeError:
        of_lap = row.first.kind == "report" and row.entry.message in ("", lap_message(book))
        named = _named(book)
        told = dict(named.parts(_by_names(named, words))) if of_lap else {}
        lap = whole_lap(told.pop(named.lap)) if named.lap in told else row.entry.lap
        if not told:
            raise
    rounded = {name: book.fields[name].rounded(value) for name, value in told.items()}
    values = {**row.entry.values, **rounded}
    if named.lap in values and lap is not None:
        values[named.lap], context = Decimal(lap), near_lap(book, lap)
    try:
        reading = encode(book, values, lap_message(book)).reading
    except CodeError:
        return InPart(values, lap)
    near = {name: value for name, value in values.items() if in_full(book.fields[name], value)}
    return Reading(book, reading.match, reading.text, reading.spans, {**near, **(context or {})})


def taken_whole(book: Book, before: Entry, values: Mapping[str, Any]) -> Iterator[str]:
    """Yield what to tell of values of which only the remainder is said, and that an entry did not
    have: of a number that is no remainder, as somebody may have meant one.
    """
    for name, value in values.items():
        field = book.fields.get(name)
        if field is None or not field.wraps or name == lap_field(book):
            continue
        level = field.level(value).level
        if value != before.values.get(name) and field.value(level) != value:
            whole, said = field.restored_text(value), field.text(level)
            yield f"{field.title}: no remainder, kept as the whole number {whole}, said {said}"


def _by_names(named: NamedReports, words: str) -> str:
    """Return words typed by the names of fields as they are said; a number alone is of the first
    field.
    """
    words, first = words.replace("=", " "), next(iter(named.needed), "")
    return f"{first} {words}" if first and named.number(words) is not None else words


def values_on(book: Book, entry: Entry, lap: int) -> dict[str, Value]:
    """Return the values of an entry that is filed on a lap; raises CodeError where it says
    another.
    """
    name, values = lap_field(book), dict(entry.values)
    said = whole_lap(values.get(name))
    if said is None or entry.kind not in ("report", "correction"):
        return values
    field, level = book.fields[name], level_of_lap(book, said)
    if level_of_lap(book, lap) != level:
        says = said if level is None else field.text(level)
        raise CodeError(
            f"{entry.string or 'the report'} says lap {says}, and can't be of lap {lap}",
            kind="sheet-entry",
            hint=f"where that was misheard: niner sheet fix SHEET {entry.seq} WORDS",
        )
    return values | {name: Decimal(lap)}


def _filed(
    journal: Journal, standing: Standing, row: Row, lap: str, car: str | None
) -> tuple[Entry, str]:
    """File what stands on another lap, and change nothing else of it."""
    entry, of = row.entry, _known_car(standing, car)
    try:
        number = whole(lap, 0, MOST_LAP)
    except ValueError as error:
        raise CodeError(str(error), kind="usage", expected=["lap=12"]) from None
    written = correction_of(
        entry,
        car=entry.car if of is None else of,
        lap=number,
        lap_by="given",
        lap_certainty=1.0,
        values=values_on(journal.book, entry, number),
        refusal=entry.refusal,
        certainty=entry.certainty,
        note="; ".join(filter(None, (entry.note, BY_HAND))),
    )
    reported = laps(standing, written.car, journal.book)
    between = without_report((one for one in reported if one not in (entry.lap, number)), number)
    between = f"; no report of {between}" if between else ""
    return journal.append(written), f"lap {number}{between}"


def _direction(row: Row) -> Direction:
    """Return who sent a report or call."""
    return "pit" if row.first.kind == "call" else "car"


def withdraw(journal: Journal, standing: Standing, number: int) -> Entry:
    """Withdraw the entry with this number; a withdrawal that is withdrawn brings back what it took.

    Returns the withdrawal written; raises CodeError where there is nothing to withdraw.
    """
    entry = numbered(standing, number)
    if entry.kind == "car":
        raise CodeError(
            "a car can't be withdrawn", kind="sheet-entry", hint=f"fix {number}, with its driver"
        )
    by = standing.taken_back_by(entry)
    if by:
        raise CodeError(
            f"entry {number} is withdrawn already",
            kind="sheet-entry",
            hint=f"withdraw {by}, which took it back: then it counts again",
        )
    return journal.append(withdrawal_of(entry, BY_HAND))


def numbered(standing: Standing, number: int) -> Entry:
    """Return the entry with this number; raises CodeError where there is none."""
    if not 0 < number <= len(standing.entries):
        raise _missing(number, "entry")
    return standing.entries[number - 1]


def _missing(number: int, what: str) -> CodeError:
    return CodeError(
        f"entry {number} is no {what} of this sheet",
        kind="sheet-entry",
        hint="niner sheet show SHEET --doubtful lists those that need a look, --all every one",
    )


def _row(standing: Standing, number: int) -> Row:
    row = standing.row_of(numbered(standing, number))
    if row is None or number in {one.seq for one in (*row.questions, *row.answers, *row.readbacks)}:
        raise CodeError(
            f"entry {number} can't be put right: {standing.entries[number - 1].kind}",
            kind="sheet-entry",
            hint="withdraw it, and enter what was said",
        )
    return row


def _fact(book: Book, words: str) -> tuple[str, Decimal | None]:
    """Return the fact that words name, and how many laps were added."""
    name, _, number = words.strip().removeprefix("/").partition(" ")
    known = dict.fromkeys([*TITLES, *book.rules.meanings.values()])
    if name not in known or (number and name != ADDED):
        said = decode_all(book, words).events
        name = book.rules.meanings[said[0][0]] if said else name
    if name not in known:
        raise CodeError("no fact of a race is named", kind="usage", expected=list(known))
    if name != ADDED:
        return name, None
    try:
        return name, Decimal(whole(number, 0, MOST_LAPS))
    except ValueError:
        raise CodeError("how many laps?", kind="usage", expected=[f"{ADDED} 3"]) from None


def _known_car(standing: Standing, car: str | None) -> str | None:
    if car is not None and standing.cars and car not in standing.cars:
        raise CodeError(
            f"there is no car {car[:40]!r} in the sheet",
            kind="sheet-entry",
            expected=list(standing.cars),
        )
    return car


def _car_of(standing: Standing, row: Row, car: str | None) -> str:
    """Return the car of a report or call that is put right, or the one named; raises CodeError
    where nobody knows it.
    """
    of = _known_car(standing, car)
    if not row.entry.car and of is None and standing.cars:
        raise CodeError(
            f"nobody knows whose entry {row.first.seq} is",
            kind="sheet-entry",
            expected=[f"--car {name}" for name in standing.cars],
            hint="say of which car it is",
        )
    return row.entry.car if of is None else of


def _put_right(
    journal: Journal, standing: Standing, row: Row, reading: Reading, heard: str, car: str | None
) -> Entry:
    entry, car = row.entry, _car_of(standing, row, car)
    lap = reading.values.get(lap_field(journal.book))
    said = row.first.kind == "report" and lap is not None
    written = correction_of(
        entry,
        car=car,
        heard=heard,
        message=reading.message,
        string=reading.said,
        values=dict(reading.values),
        certainty=1.0,
        lap=int(str(lap)) if said else entry.lap,
        lap_by="said" if said else entry.lap_by,
        lap_certainty=None if said else entry.lap_certainty,
        note=BY_HAND,
    )
    return journal.append(written)


def _put_right_in_part(
    journal: Journal,
    standing: Standing,
    row: Row,
    part: InPart,
    heard: str,
    car: str | None,
) -> tuple[Entry, str]:
    """Write a report of which only some fields are known."""
    entry, car = row.entry, _car_of(standing, row, car)
    filed = {} if part.lap == entry.lap else {"lap": part.lap, "lap_by": "given"}
    written = correction_of(
        entry,
        car=car,
        heard=heard,
        message=lap_message(journal.book),
        string="",
        values=dict(part.values),
        certainty=1.0,
        note=BY_HAND,
        **filed,
    )
    written = journal.append(written)
    return written, message_text(journal.book, written)


def lines(book: Book, found: Iterable[Doubtful], sheet: str) -> Iterator[str]:
    """Yield what is to be shown of doubtful reports: where each stands, what was heard, what it may
    have been, and what to type.
    """
    sheet = shlex.quote(sheet)
    for one in found:
        entry, number = one.row.entry, one.row.first.seq
        lap = "" if entry.lap is None else f"  lap {entry.lap}"
        yield f"#{number}  car {entry.car or '?'}{lap}  {entry.speaker}: {entry.heard}"
        for reading, sure in one.readings:
            yield f"      {how_sure(sure):>8}  {reading.said}  {reading}"
        likely = bool(one.readings) and one.readings[0][1] >= LIKELY
        if _taken_as_told(entry, one.readings):
            yield f"       as told  {message_text(book, entry)}"
            likely = True
        of_car = "" if entry.car else " --car CAR"
        told = f"niner sheet accept {sheet} {number}{of_car}  or  " if likely else ""
        yield f"      {told}niner sheet fix {sheet} {number} WORDS{of_car}"
