"""Everything that was written, searched, and each entry put right or taken back: by the lines
``/fix`` and ``/withdraw`` of the live log, which the page sends as the wall does.
"""

from __future__ import annotations

import datetime
import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from codec.desk.parts import Desk, DeskPage, number
from codec.log.session import Session
from codec.sheet.columns import MOST_NUMBER
from codec.sheet.entry import Entry
from codec.sheet.order import SINCE_1970
from codec.sheet.state import ADDED
from codec.sheet.stretch import SoundStretch
from codec.sheet.window import Sought
from codec.sheet.words import CLOCKS_APART, event_text, time_text, values_text
from grammar.book import Book
from grammar.exact import plain

_PAGE = 100  # entries of the history at a time
_MOST_SEARCH = 200  # characters
# what is searched beside an entry's words; what these are of one that nothing was read of; and what
# tells that something was
_FACTS = ("kind", "writer", "speaker", "car", "lap")
_TOLD, _READ = ("message", "heard", "refusal", "note"), ("amount", "string", "values")
_WORDED = ("report", "call", "correction", "note", "event", "car")  # what words put right


def part(desk: Desk) -> DeskPage:
    """Return the history of a sheet."""

    async def history(request: Request) -> Response:
        sheet, before = desk.sheet(request), number(request, "before", 0)
        search = request.query_params.get("search", "")[:_MOST_SEARCH]
        found, more = list[Entry](), before - 1 if before > 0 else MOST_NUMBER
        while more > 0 and len(found) <= _PAGE:  # nobody who writes waits for all of a search
            some, more = await sheet.ask(functools.partial(searched, search=search, place=more))
            found += some
        lines = await sheet.ask(lambda session: [line_of(session, one) for one in found[:_PAGE]])
        return desk.page(
            request,
            "history.html",
            history=History(lines, search, before, found[_PAGE - 1].seq if found[_PAGE:] else 0),
            time_text=time_text,
            version=sheet.version,
            cars=list(sheet.cars),
        )

    return DeskPage([Route("/history/{sheet}", history)], menu={"history": "/history/"})


class HistoryLine(NamedTuple):
    """An entry; when it was said, as a text and, where the time of day is known, in milliseconds
    since 1970, and when it was written where that is long after it or all that is known; what it
    says, and what has become of it, as people read them; the words to begin
    with where it is put right, None where it can't be; the number of the entry to withdraw so that
    it is taken back or comes back, 0 where there is none; whether nobody knows whose it is; whether
    it was heard in a recording.
    """

    entry: Entry
    said: str
    said_at: int | None
    written_at: int | None
    words: str
    fate: str
    typed: str | None
    withdraw: int
    whose: bool
    sounds: bool


@dataclass(frozen=True, slots=True)
class History:
    """A page of everything that was written, the newest first; ``earlier`` leads to the next."""

    lines: Sequence[HistoryLine]
    search: str
    before: int
    earlier: int


def searched(session: Session, search: str, place: int) -> tuple[list[Entry], int]:
    """Return some entries before a place that say all that is searched for, the newest first, and
    the place that all others are before.
    """
    wanted, book = search.casefold().split(), session.book

    def says(words: str, number: int, *facts: object) -> bool:
        kind, writer, speaker, car, lap = facts
        text = f"{words} #{number} {kind} {writer} {speaker} car {car} lap {lap}".casefold()
        return all(word in text for word in wanted)

    def may_say(number: int, *cells: Any) -> bool:
        """Tell whether an entry may say it: most say what their rows do."""
        facts, told, read = cells[:5], cells[5:9], cells[9:]
        return facts[0] == "event" or any(read) or says(_joined(*told), number, *facts)

    found, before = session.entries.piece(place, Sought((*_FACTS, *_TOLD, *_READ), may_say))
    return [
        entry
        for entry in found
        if says(words_of(book, entry), entry.seq, *(getattr(entry, name) for name in _FACTS))
    ], before


def line_of(session: Session, entry: Entry) -> HistoryLine:
    """Return an entry with what has become of it."""
    standing = session.standing
    by, row = standing.taken_back_by(entry), standing.row_of(entry)
    fate = f"withdrawn by #{by}" if by else ""
    if not by and row is not None and entry.seq == row.first.seq and row.corrections:
        fate = f"put right by #{row.corrections[-1].seq}"
    typed = None
    if entry.kind in _WORDED and not by and (row is None or not row.withdrawn):
        now = entry if row is None else row.entry
        typed = _typed(now)
    withdraw = 0 if entry.kind == "car" else by or entry.seq
    of_a_car = row is not None and row.first.kind in ("report", "call")
    whose = of_a_car and row is not None and not row.entry.car
    sounds = SoundStretch.of(entry.sound) is not None
    words = words_of(session.book, entry)
    return HistoryLine(
        entry, *_times(standing.moments.at(entry.seq), entry.logged), words, fate, typed, withdraw,
        whose, sounds,
    )  # fmt: skip


def _times(at: int | None, logged: str) -> tuple[str, int | None, int | None]:
    """Return when an entry was said and written, as a line of the history has it."""
    written = round(datetime.datetime.fromisoformat(logged).timestamp() * 1000)
    of_day = at is not None and at >= SINCE_1970
    soon = at is not None and of_day and abs(written - at) <= 1000 * CLOCKS_APART
    return time_text(at), at if of_day else None, None if soon else written


def _typed(entry: Entry) -> str:
    """Return the words with which an entry would be written again."""
    if entry.kind == "car":
        return entry.message
    if entry.kind == "event":
        laps = "" if entry.message != ADDED or entry.amount is None else f" {plain(entry.amount)}"
        return f"{entry.message}{laps}"
    return entry.heard or entry.string


def words_of(book: Book, entry: Entry) -> str:
    """Return what an entry says: what was read of it, then the words as heard."""
    if entry.kind == "event" or entry.amount is not None:
        read = event_text(book, entry)
    elif entry.accepted:
        known = book.messages.get(entry.message)
        title = entry.message if known is None else known.title
        read = f"{entry.string} {title}: {values_text(book, entry)}"
    else:
        read = entry.message
    return _joined(read, entry.heard, entry.refusal, entry.note)


def _joined(*texts: str) -> str:
    return "; ".join(filter(None, texts))
