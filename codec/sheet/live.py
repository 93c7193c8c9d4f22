"""Logging live: one line in, one entry or more on the disk, and what is to be shown.

Everything that is to outlive a crash is in the journal: the car spoken to, the laps, and a report that still waits for its repeat are read
back from it when a session begins.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from codec.decode import Transcript, decode_all
from codec.reading import Reading
from codec.sheet.doubt import Doubt, doubt
from codec.sheet.entry import Entry, SheetError
from codec.sheet.journal import Journal
from codec.sheet.laps import LapKeeper
from codec.sheet.state import EVENTS, Row, cars, lap_message, laps, race, rows
from grammar.errors import CodeError

LIKELY = 0.5  # a guess below this can't be taken, not even by hand: it is more likely wrong than right
Tone = Literal["good", "warning", "bad", "plain"]


@dataclass(frozen=True, slots=True)
class Shown:
    """What to tell after a line: its tone and its lines."""

    tone: Tone
    lines: tuple[str, ...]


class Session:
    """One engineer at one sheet."""

    def __init__(self, journal: Journal, car: str = "") -> None:
        """Take up the sheet where it was left."""
        self.journal, self.book = journal, journal.book
        self.entries: list[Entry] = []
        self.guess: Doubt | None = None
        self.refresh()
        spoken = [entry.car for entry in self.entries if entry.car]
        self.car = car or (spoken[-1] if spoken else "")

    def refresh(self) -> None:
        """Read what has come since, from this writer or another."""
        after = self.entries[-1].seq if self.entries else 0
        self.entries.extend(self.journal.entries(after))
        self.rows = rows(self.entries)
        self.cars = cars(self.entries)
        self.race = race(self.rows)

    @property
    def lap(self) -> int:
        """The last lap that the car has a report of, 0 if none; one that waits for its repeat does not count."""
        found = laps(self.rows, self.car, lap_message(self.book))
        return max((lap for lap, row in found.items() if row.counts), default=0)

    @property
    def waiting(self) -> Row | None:
        """The report of this car that waits for its repeat: the last one, if it was refused."""
        mine = [row for row in self.rows if row.first.kind == "report" and row.entry.car == self.car and not row.withdrawn]
        return mine[-1] if mine and mine[-1].entry.refusal else None

    @property
    def alerts(self) -> list[str]:
        """The warnings of the car's last lap report that counts."""
        warnings: list[str] = []
        for name, value in self.values().items():
            field = self.book.fields[name]
            warnings += field.warnings(field.level(value).level)
        return warnings

    def heard(self) -> list[str]:
        """Return the lines entered so far, the oldest first: the history of the prompt."""
        return list(dict.fromkeys(entry.heard for entry in self.entries if entry.heard and entry.kind in ("report", "call", "correction")))

    def enter(self, line: str) -> Shown:
        """Take a line: a report, a call, a phrase, or a command that begins with ``/``; what it tells is on the disk when this returns."""
        self.refresh()
        text = line.strip()
        if not text:
            return Shown("plain", ())
        from codec.sheet.commands import command

        try:
            return command(self, text) if text.startswith("/") else self._said(text)
        finally:
            self.refresh()

    def look(self, text: str) -> Shown:
        """Return what a line would be taken for, and write nothing."""
        text = text.strip()
        if not text or text.startswith("/"):
            return Shown("plain", ())
        try:
            transcript = self.decoded(text)
        except CodeError as error:
            return Shown("warning", (error.message,))
        return Shown("good", tuple(str(reading) for reading in transcript.reports))

    def keeper(self) -> LapKeeper:
        """Return what knows the car's lap."""
        return LapKeeper(self.book, self.car, last=self.lap)

    def decoded(self, text: str, lap: int | None = None) -> Transcript:
        """Return what was said: as the car would say it, else as the pit would; raises CodeError of the first."""
        keeper = self.keeper() if lap is None else LapKeeper(self.book, self.car, last=lap - 1)
        context, first = keeper.context(None), None
        for direction in self.book.directions:
            try:
                return decode_all(self.book, text, direction=direction, context=context)
            except CodeError as error:
                first = first or error
        raise first or CodeError("the book has no messages", kind="usage")

    def _said(self, text: str) -> Shown:
        try:
            transcript = self.decoded(text)
        except CodeError as error:
            return self._refused(text, error)
        if not (transcript.reports or transcript.events or transcript.asks):
            return Shown("warning", ("nothing in it to log",))
        self.guess = None
        shown: list[str] = []
        warnings: list[str] = []
        entries: list[Entry] = []
        for reading in transcript.reports:
            entries.append(self.report(reading, text, 1.0))
            shown.append(str(reading))
            warnings += [f"! {warning}" for warning in reading.warnings]
        keeper = self.keeper()
        for name, _ in transcript.events:
            lap, lap_by = keeper.now(None, None)
            entries.append(Entry(kind="event", car=self.car, lap=lap, lap_by=lap_by, heard=text, message=name))
            shown.append(self.event_title(name))
        for ask in transcript.asks:
            waiting = self.waiting
            about = waiting.first.seq if waiting is not None else None
            entries.append(Entry(kind="question", car=self.car, heard=text[ask.span[0] : ask.span[1]], about=about))
            shown.append(f"asked: {text[ask.span[0] : ask.span[1]]}")
        self.journal.append_all(entries)
        return Shown("warning" if warnings else "good", (*shown, *warnings))

    def report(self, reading: Reading, text: str, certainty: float, note: str = "") -> Entry:
        """Return the entry of a reading: a correction of the report that waits for its repeat, else a new one."""
        keeper = self.keeper()
        lap, lap_by = keeper.of(reading, None, None)
        entry = Entry(
            kind="report" if reading.direction == "car" else "call",
            car=self.car,
            lap=lap,
            lap_by=lap_by,
            heard=text,
            message=reading.message,
            string=reading.said,
            values=dict(reading.values),
            certainty=certainty,
            note=note,
        )
        waiting = self.waiting
        if waiting is not None and reading.message == lap_message(self.book) and (lap in (None, waiting.entry.lap) or not self.lap):
            return entry.replace(kind="correction", about=waiting.first.seq)
        return entry

    def _refused(self, text: str, error: CodeError) -> Shown:
        """Keep a report that can't be read, with the question to ask; take it all the same where the book's threshold allows."""
        asked = self.guess if self.waiting is not None else None
        answer = doubt(self.book, text, self.values(), asked) if asked is not None else None
        self.guess = answer if answer is not None and answer.accept else doubt(self.book, text, self.values())
        if self.guess is not None and self.guess.accept:
            guess = self.guess
            self.guess = None
            self.journal.append(self.report(self.restored(guess.guess), text, guess.probability, "heard through noise"))
            return Shown("warning", (f"{self.restored(guess.guess)}  ({guess.probability:.1%} sure)", f"as heard: {error.message}"))
        lap = self.lap + 1
        entry = Entry(kind="report", car=self.car, lap=lap, lap_by="order", heard=text)
        entry = entry.replace(refusal=error.kind, note=error.message[:400])
        waiting = self.waiting
        kept = self.journal.append(entry if waiting is None else entry.replace(kind="correction", about=waiting.first.seq))
        question = self.guess.question if self.guess is not None else "say again"
        self.journal.append(Entry(kind="question", car=self.car, lap=lap, lap_by="order", heard=question, about=kept.about or kept.seq))
        return Shown("bad", (f"ask: {question}", error.message, *self._doubtful()))

    def _doubtful(self) -> list[str]:
        if self.guess is None:
            return []
        sure = [f"{title} {value} ({share:.0%})" for title, value, share in self.guess.fields[:4]]
        perhaps = f"perhaps ({self.guess.probability:.0%}): {self.restored(self.guess.guess)}  /ok takes it"
        likely = [perhaps] if self.guess.probability >= LIKELY else []
        return likely + ([f"doubtful: {', '.join(sure)}"] if sure else [])

    def restored(self, reading: Reading) -> Reading:
        """Return a reading with its lap restored."""
        return Reading(self.book, reading.match, reading.text, reading.spans, self.keeper().context(None))

    def values(self) -> dict[str, object]:
        """Return the values of the car's last lap report that counts."""
        found = [row for row in laps(self.rows, self.car, lap_message(self.book)).values() if row.counts]
        return dict(found[-1].entry.values) if found else {}

    def event_title(self, name: str) -> str:
        """Return what people call an event."""
        phrase = self.book.spec.phrases.get(name)
        return phrase.label if phrase is not None and phrase.label else EVENTS.get(name, name)

    @property
    def commands(self) -> dict[str, str]:
        """What may stand behind ``/``, and what it does."""
        events = {name: self.event_title(name) for name in (*EVENTS, *self.book.spec.phrases)}
        return {
            "ok": "take the likeliest reading of what was heard",
            "undo": "withdraw the last entry",
            "lap": "enter a lap again: /lap 5 and the report",
            "car": "speak to another car: /car 61 and, for a new one, its driver",
            "note": "write a note",
            "quit": "leave; everything is on the disk",
            **events,
        }

    def next_car(self) -> None:
        """Speak to the next car of the sheet."""
        names = list(self.cars)
        if names:
            self.car = names[(names.index(self.car) + 1) % len(names)] if self.car in names else names[0]
            self.guess = None


def told(error: CodeError) -> Shown:
    """Return what to show of an error; the line is not lost, it stays in the history."""
    return Shown("bad", (error.message, *([f"hint: {error.hint}"] if error.hint else [])))


__all__ = ["Session", "SheetError", "Shown", "told"]
