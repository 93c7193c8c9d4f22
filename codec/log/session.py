"""Logging live: one line in, one entry or more on the disk, and what is to be shown."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

from codec.log.addressed import addressed
from codec.log.begun import begun
from codec.log.commands import command, commands, would_be
from codec.log.expected import Expected
from codec.log.fields import ByField, called, nearly
from codec.log.lines import (
    part_of,
    said_of_lap,
    to_be_heard,
    told_by_field,
    with_gaps,
    write_down,
)
from codec.log.readbacks import NEGATIVE
from codec.log.shown import Shown, Tone
from codec.log.watch import Notice, Watch
from codec.radio.doubt import LIKELY, Doubt
from codec.reading import Reading
from codec.sheet.entry import Entry
from grammar.errors import CodeError

_CAR = re.compile(r"car\s+(\S+)", re.IGNORECASE)


class Session(Watch):
    """One engineer at one sheet, line by line."""

    def enter(self, line: str) -> Shown:
        """Take a line: a report, a call, a phrase, or a command that begins with ``/``; what it
        tells is on the disk when this returns.
        """
        self.refresh()
        text = line.strip()
        if not text:
            return Shown("plain", ())
        named = _CAR.fullmatch(text)
        text = f"/car {named[1]}" if named is not None and named[1] in self.cars else text
        whose = None if text.startswith("/") else addressed(self, text)
        return self._entered(text) if whose is None else self._said_of(*whose)

    def _said_of(self, car: str, text: str) -> Shown:
        """Take a line of the car that was named before it, whichever is spoken to."""
        spoken_to, self.car = self.car, car
        try:
            shown = self._entered(text)
        finally:
            self.car = spoken_to
        if car == spoken_to:
            return shown
        numbers = [entry.seq for entry in shown.written if entry.kind == "report"]
        back = [f"/withdraw {number} takes it back" for number in numbers[:1]]
        driver = f"car {car} {self.cars.get(car, '')}".rstrip()
        return replace(shown, lines=(driver, *shown.lines, *back))

    def _entered(self, text: str) -> Shown:
        """Take a line of the car spoken to."""
        car, seen, known, epoch = self.car, self.notices, len(self.entries), self.journal.epoch
        try:
            shown = command(self, text) if text.startswith("/") else write_down(self, text)
        finally:
            self.refresh()
        if car == self.car:
            shown = self._noticed(shown, seen, self._since(known, epoch))
        new = self._since(known, epoch)
        own = [entry for entry in new if entry.writer == self.journal.writer]
        return replace(shown, written=tuple(own))

    def _since(self, known: int, epoch: int) -> Sequence[Entry]:
        """Return the entries that have come since so many were known."""
        if self.journal.epoch == epoch:
            return self.entries[known:]
        return self.journal.since(known)  # some have come in before others

    def look(self, line: str) -> Shown:
        """Return what a line would be taken for, and write nothing."""
        text = line.strip()
        if text.startswith("/fix "):
            try:
                return would_be(self, text.removeprefix("/fix "))
            except CodeError as error:
                return Shown("warning", (error.message,))
        if not text or text.startswith("/"):
            return Shown("plain", ())
        whose = addressed(self, text)
        if whose is None:
            return self._looked(text)
        (car, text), spoken_to = whose, self.car
        self.car = car
        try:
            shown = self._looked(text)
        finally:
            self.car = spoken_to
        return shown if car == spoken_to else replace(shown, lines=(f"car {car}", *shown.lines))

    def _looked(self, text: str) -> Shown:
        """Return what a line of the car spoken to would be taken for."""
        text = with_gaps(text)
        try:
            transcript = self.decoded(self.cut(text))
        except CodeError as error:
            return self._looked_otherwise(text, error)
        shown = [
            (str(reading), self.readbacks.differs(reading) or self._leapt(reading))
            for reading in map(self.restored, transcript.reports)
        ]
        return Shown(
            "warning" if any(differs for _, differs in shown) else "good",
            tuple(f"{read}  ! {differs}" if differs else read for read, differs in shown),
        )

    def _leapt(self, reading: Reading) -> str:
        """Return in words how far a report is from the laps so far, or from their values; "" where
        it may be of its lap.
        """
        leap = self.leap(reading)
        return leap.told if leap is not None and leap.doubted else self.strayed(reading)

    def _looked_otherwise(self, text: str, error: CodeError) -> Shown:
        """Return what a line that is no report or call would be taken for: the fields it names, or
        as much of a report as it has.
        """
        try:
            of_lap = said_of_lap(self, text)
            told = told_by_field(self, text) if of_lap is None else None
            read = of_lap is not None or told is not None
            call = None if read else called(self.finder.named, text)
            but_one = None if read or call is not None else nearly(self.finder.named, text)
        except CodeError as wrong:
            return Shown("warning", (wrong.message,))
        if of_lap is not None:
            return Shown("good", (f"lap {of_lap.lap}: {of_lap.reading}",))
        if told is not None:
            lap = part_of(self, told)[0]
            values = ByField(told.values, None).told(self.book)
            return Shown("good", (f"part of the report of lap {lap}: {values}",))
        if call is not None:
            return Shown("good", (str(call),))
        if but_one is not None:
            return Shown("bad", (but_one.asked, f"else: {but_one.told.told(self.book)}"))
        weighed = self.known(text, self.expected)
        if weighed is not None and weighed.best is not None:
            return self._looked_weighed(weighed.best)
        fields = begun(self.book, self.cut(text))
        return Shown("warning", (*([", ".join(fields)] if fields else []), error.message))

    def _looked_weighed(self, guess: Doubt) -> Shown:
        """Return what a report that can't be read would be taken for, or what is to be asked."""
        likely = guess.probability >= LIKELY
        reading = self.restored(guess.guess) if likely else None
        differs = "" if reading is None else self.readbacks.differs(reading)
        read = [f"{reading}  ({guess.sure} sure)"] if likely else []
        if guess.accept and reading is not None and not differs:
            return Shown("warning", tuple(read))
        asked = "SAY AGAIN" if differs else guess.question or "SAY AGAIN"
        return Shown("bad", (f"ask: {asked}", *read, *([f"! {differs}"] if differs else [])))

    def to_be_heard(self, line: str) -> Expected | None:
        """Return what a line that can't be read is heard with, None for any other line and for one
        that was weighed already. What it was weighed as is kept with ``remember``.
        """
        text = with_gaps(line.strip())
        if not text or text.startswith("/") or addressed(self, text) is not None:
            return None
        if not to_be_heard(self, text):
            return None
        expected = self.expected
        return expected if self.known(text, expected) is None else None

    @property
    def commands(self) -> dict[str, str]:
        """What may stand behind ``/``, and what it does."""
        return commands(self)

    def _noticed(self, shown: Shown, seen: Sequence[Notice], written: Sequence[Entry]) -> Shown:
        """Put before what is shown what there is to look at since."""
        new = list(self._new_notices(seen, written))
        if not new:
            return shown
        lines: list[str] = []
        for notice in new:
            lines += [notice.text, *(self._asked(notice) if notice.ask else [])]
        self.refresh()
        bad = shown.tone == "bad" or any(notice.ask for notice in new)
        tone: Tone = "bad" if bad else "warning"
        return Shown(tone, (*lines, *shown.lines))

    def _new_notices(self, seen: Sequence[Notice], written: Sequence[Entry]) -> Iterator[Notice]:
        """Yield the notices that were not there before, or are of what was written."""
        touched = {
            entry.about or entry.seq
            for entry in written
            if entry.car == self.car and entry.kind in ("report", "call", "correction")
        }
        for notice in self.notices:
            if notice not in seen or notice.seq in touched:
                yield notice

    def _asked(self, notice: Notice) -> list[str]:
        """Return what to say to a wrong read-back, which is kept as a question."""
        question = self.readbacks.reply(notice.seq)
        self.write(
            Entry(
                kind="question",
                car=self.car,
                lap=notice.lap or None,
                heard=question,
                about=notice.seq,
            )
        )
        return [f"{'say' if question.startswith(NEGATIVE) else 'ask'}: {question}"]
