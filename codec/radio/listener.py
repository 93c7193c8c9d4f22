"""Utterances to entries: who spoke, for which car, on which lap; repeats, read-backs, corrections
and questions put in their place.

It holds a few utterances of each speaker and nothing else, so a transcript may be of any length.
"""

from __future__ import annotations

import hashlib
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from codec.radio.choices import Interpretation, best
from codec.radio.crews import Crew, Roster
from codec.radio.doubt import (
    LIKELY,
    REMEMBERED,
    doubt,
    of_any_lap,
    perhaps,
    radio_after,
    slots_of,
)
from codec.radio.evidence import Prefilter
from codec.radio.finder import Finder, Passage
from codec.radio.forms import LeftOut, Utterance
from codec.radio.laps import LapKeeper, LapTimes
from codec.reading import Reading
from codec.sheet.entry import DOUBTFUL, Entry, Kind, LapBy
from codec.sheet.state import ADDED, lap_message
from grammar.book import Book
from grammar.errors import ReportError
from grammar.fields import Value
from grammar.message import Direction
from grammar.speech.kinds import CHANGING, SPOKEN
from grammar.speech.words import Wording, cut

_MOST_CHARACTERS = 20_000  # of an utterance
_MOST_JOINED = 400  # characters
_HEARD = 60.0  # bits: that it is a report was weighed already
_NEAR = 6  # utterances: where there are no times, things this close belong together


@dataclass(frozen=True, slots=True)
class Draft:
    """An entry to be written, and the ``uid`` of the one it is about."""

    entry: Entry
    about: str = ""


@dataclass(slots=True)
class _Last:
    """The last report or call of a car: what came of it, and when."""

    uid: str
    text: str
    speaker: str
    number: int
    at: int | None
    reading: Reading | None
    lap: int | None
    asked: bool = False

    @property
    def lap_known(self) -> tuple[int | None, LapBy]:
        """The lap that something said about it stands against, and how it is known."""
        return self.lap, "" if self.lap is None else "order"


@dataclass(slots=True)
class _Car:
    name: str
    laps: LapKeeper
    last: dict[Direction, _Last] = field(default_factory=dict)
    events: dict[str, Utterance] = field(default_factory=dict)
    values: Mapping[str, Value] | None = None
    reports: deque[Entry] = field(default_factory=lambda: deque(maxlen=REMEMBERED))


@dataclass(frozen=True, slots=True)
class _Turn:
    """One utterance: what it is taken for, the direction of what its speaker sends, and the car."""

    choice: Interpretation
    role: Direction | None
    car: _Car

    @property
    def utterance(self) -> Utterance:
        """The utterance with the text it is taken for."""
        return self.choice.utterance

    def lap_now(self) -> tuple[int | None, LapBy]:
        """Return the lap of anything said in it that is no lap report."""
        return self.car.laps.now(self.utterance.at, self.utterance.lap)


class Listener:
    """Turns utterances into drafts of entries, in order."""

    def __init__(
        self,
        book: Book,
        crews: Sequence[Crew],
        *,
        times: LapTimes | None = None,
        after: Mapping[str, int] | None = None,
    ) -> None:
        """Take who drives what, when laps began, and behind which lap each car's reports begin."""
        self.book, self.finder, self.roster = book, Finder(book), Roster(crews)
        self.odds = self.finder.odds
        self._prefilter = Prefilter(self.finder.evidence)
        self._times, self._after = times, after or {}
        self._cars: dict[str, _Car] = {}
        self._tails: dict[str, Utterance] = {}
        self._chain = hashlib.blake2b(
            repr(self.roster.crews).encode("utf-8", "replace"), digest_size=12
        )
        self._count = 0

    def hear(self, utterance: Utterance) -> list[Draft | LeftOut]:
        """Return what one utterance brings: drafts of entries, or the reason why there are none."""
        number, text = utterance.number, utterance.text
        self._chain.update(f"{utterance.speaker}\n{utterance.at}\n{text}\n".encode())
        self._count = 0
        if len(text) > _MOST_CHARACTERS:
            return [LeftOut(number, text[:200], "too long to be one utterance")]
        role, name = self.roster.who(utterance)
        weighed = utterance.open_to_doubt or bool(utterance.slots)
        if not weighed and not self._prefilter.worth(text):
            self._remember(utterance)
            return [LeftOut(number, text, "ordinary talk")]
        car = self._car(name)
        choice = (
            self._of_doubts(utterance, role, car)
            if utterance.slots
            else self._of_text(utterance, role, car)
        )
        self._remember(utterance)
        turn = _Turn(choice, role, car)
        drafts: list[Draft | LeftOut] = [
            draft for passage in choice.passages for draft in self._drafts(passage, turn)
        ]
        return drafts or [LeftOut(number, text, choice.reason or "said before")]

    def _of_text(self, utterance: Utterance, role: Direction | None, car: _Car) -> Interpretation:
        """Return what an utterance is taken for by its text."""
        words = cut(self.book.lexicon, utterance.text)
        return self._joined(utterance, words, role, car) or best(
            self.finder, utterance, words, role, car.laps.context(utterance.at)
        )

    def _of_doubts(self, utterance: Utterance, role: Direction | None, car: _Car) -> Interpretation:
        """Return what an utterance is taken for by a recogniser's doubts: whether it holds a
        report, and which, is weighed by what is expected; its text tells no more than phrases.
        """
        text, context = utterance.text, car.laps.context(utterance.at)
        plain, slots = utterance.taken_for(text), slots_of(utterance)
        before, values = car.last.get("car"), car.values
        if before is not None and before.reading is None:
            values = of_any_lap(self.book, values)
        doubted = doubt(
            self.book, slots, None if role == "pit" else values, direction=role or "car"
        )
        if doubted is None or doubted.hearing.nothing >= LIKELY:
            found = best(self.finder, plain, cut(self.book.lexicon, text), role, context)
            phrases = [one for one in found.passages if one.kind not in ("reading", "refused")]
            return Interpretation(plain, phrases, "ordinary talk")
        span, guess = (0, len(text)), doubted.guess
        if doubted.accept:
            reading = Reading(self.book, guess.match, guess.text, guess.spans, dict(context))
            passage = Passage("reading", span, (reading,), bits=_HEARD)
            return Interpretation(plain, [passage], share=doubted.probability, doubts=slots)
        why = ReportError(f"not sure: ask {doubted.question}", kind=DOUBTFUL)
        return Interpretation(plain, [Passage("refused", span, error=why)], doubts=slots)

    def _car(self, name: str) -> _Car:
        if name not in self._cars:
            laps = LapKeeper(self.book, name, self._times, self._after.get(name, 0))
            self._cars[name] = _Car(name, laps)
        return self._cars[name]

    # one report in two utterances

    def _remember(self, utterance: Utterance) -> None:
        """Keep an utterance that stops in the middle of a code: the next one of this speaker may go
        on with it.
        """
        text = utterance.text
        if len(text) < _MOST_JOINED and self._prefilter.codes((text.split() or [""])[-1]):
            self._tails[utterance.speaker] = utterance
        else:
            self._tails.pop(utterance.speaker, None)
        if len(self._tails) > 1000:
            self._tails.clear()

    def _joined(
        self, utterance: Utterance, words: Wording, role: Direction | None, car: _Car
    ) -> Interpretation | None:
        """Return what an utterance is taken for together with the one it goes on with; None where
        there is no report across both.
        """
        if not words or len(utterance.text) > _MOST_JOINED:
            return None
        changing = words[0].kind in CHANGING
        before = (
            self._put_right(utterance, role, car)
            if changing
            else self._gone_on_with(utterance)
            if words[0].kind in SPOKEN
            else None
        )
        if before is None:
            return None
        text, at = f"{before.text} {utterance.text}", utterance.at if changing else before.at
        joined = Utterance(utterance.number, text, utterance.speaker, at)
        border = len(text) - len(utterance.text)
        found = self.finder.find(cut(self.book.lexicon, text), role, car.laps.context(utterance.at))
        crossing = [
            passage
            for passage in found.listed
            if passage.kind == "reading" and passage.span[0] < border < passage.span[1]
        ]
        return Interpretation(joined, crossing, changed=changing) if crossing else None

    def _put_right(self, utterance: Utterance, role: Direction | None, car: _Car) -> _Last | None:
        """Return the report or call that a correction said apart may be of."""
        last = car.last.get(role or "car")
        if last is None or last.speaker != utterance.speaker:
            return None
        return last if self._near(last, utterance, self.odds["again"]) else None

    def _gone_on_with(self, utterance: Utterance) -> Utterance | None:
        """Return the utterance of the same speaker that stopped in the middle of a code."""
        tail = self._tails.get(utterance.speaker)
        if tail is None or not self._near(tail, utterance, self.odds["pause"], within=2):
            return None
        return tail

    def _near(
        self, before: Utterance | _Last, utterance: Utterance, seconds: float, within: int = _NEAR
    ) -> bool:
        """Tell whether something was said shortly before an utterance: at most so many seconds, or
        where there are no times so many utterances.
        """
        start = before.at
        if isinstance(before, Utterance) and before.until is not None:
            start = before.until
        if start is not None and utterance.at is not None:
            return -1000 <= utterance.at - start <= seconds * 1000
        return utterance.number - before.number <= within

    def _recent(self, turn: _Turn, direction: Direction, odds: str) -> _Last | None:
        """Return the last report or call of the turn's car if it was just said."""
        last = turn.car.last.get(direction)
        near = last is not None and self._near(last, turn.utterance, self.odds[odds])
        return last if near else None

    # drafts

    def _drafts(self, passage: Passage, turn: _Turn) -> Iterator[Draft]:
        utterance, choice = turn.utterance, turn.choice
        heard = utterance.text[passage.span[0] : passage.span[1]]
        base = Entry(
            kind="note",
            car=turn.car.name,
            at=utterance.at,
            speaker=utterance.speaker,
            heard=heard,
        )
        if choice.instead_of:
            base = base.replace(heard=choice.instead_of, note=f"taken for: {heard}")
        if passage.kind == "phrase":
            yield from self._event(passage, base, turn)
        elif passage.kind == "ask":
            yield self._question(passage, base, turn)
        elif passage.kind == "refused" and turn.role != "pit":
            if self._of_nobody(turn):
                base, turn = base.replace(car=""), replace(turn, car=self._car(""))
            yield self._refused(passage, base, turn)
        elif passage.kind == "reading":
            start = passage.span[0]
            for reading in passage.readings:
                entry = base
                if len(passage.readings) > 1 and not choice.instead_of:
                    end = max(span[1] for span in reading.spans)
                    entry, start = base.replace(heard=utterance.text[start:end].strip()), end
                yield from self._reading(reading, passage, entry, turn)

    def _of_nobody(self, turn: _Turn) -> bool:
        """Tell whether a report said by this speaker is of no car known."""
        return bool(turn.car.name) and self.roster.foreign(turn.utterance, turn.role)

    def _uid(self) -> str:
        self._count += 1
        return f"{self._chain.hexdigest()}{self._count:04x}"

    def _event(self, passage: Passage, base: Entry, turn: _Turn) -> Iterator[Draft]:
        fact = self.book.rules.meanings[passage.name]
        before = turn.car.events.get(fact)
        if before is not None and self._near(before, turn.utterance, self.odds["readback"]):
            return
        turn.car.events[fact] = turn.utterance
        lap, lap_by = turn.lap_now()
        number = passage.number if fact == ADDED else None
        yield Draft(
            base.replace(
                kind="event",
                message=fact,
                lap=lap,
                lap_by=lap_by,
                amount=None if number is None else Decimal(number),
                uid=self._uid(),
            )
        )

    def _question(self, passage: Passage, base: Entry, turn: _Turn) -> Draft:
        asked = self._recent(turn, "pit" if turn.role == "car" else "car", "again")
        if asked is not None:
            asked.asked = True
        lap, lap_by = turn.lap_now() if asked is None else asked.lap_known
        question = base.replace(
            kind="question", heard=passage.name, lap=lap, lap_by=lap_by, uid=self._uid()
        )
        return Draft(question, "" if asked is None else asked.uid)

    def _refused(self, passage: Passage, base: Entry, turn: _Turn) -> Draft:
        """Keep a report that can't be read, with what it most likely was."""
        utterance, laps, error = turn.utterance, turn.car.laps, passage.error
        before, values = turn.car.last.get("car"), turn.car.values
        if before is not None and before.reading is None:
            values = of_any_lap(self.book, values)
        guess = perhaps(
            self.book,
            turn.choice.doubts or base.heard,
            values,
            laps.context(utterance.at),
            radio_after(self.book, turn.car.reports),
        )
        why = error.message[:400] if error is not None else ""
        lap, lap_by = laps.of_unread(
            guess.lap if guess is not None else None, utterance.at, utterance.lap
        )
        entry = base.replace(
            kind="report",
            refusal=error.kind if error is not None else DOUBTFUL,
            note="; ".join(filter(None, (why, "" if guess is None else str(guess)))),
            uid=self._uid(),
            lap=lap,
            lap_by=lap_by,
        )
        last = self._recent(turn, "car", "again")
        if last is not None and (last.reading or not self._of_one(last, entry, passage, turn)):
            last = None
        return self._kept(entry, turn, "car", None, mended=last)

    def _reading(
        self, reading: Reading, passage: Passage, base: Entry, turn: _Turn
    ) -> Iterator[Draft]:
        """Keep a report or call that can be read: as a read-back, or as one of its own."""
        direction, role = reading.direction, turn.role
        certainty = round(turn.choice.certainty(self.odds, passage), 4)
        entry = base.replace(
            message=reading.message,
            string=reading.said,
            values=dict(reading.values),
            certainty=certainty,
            refusal=DOUBTFUL if certainty < self.odds["sure"] else "",
            uid=self._uid(),
        )
        last = self._recent(turn, direction, "readback")
        agrees = last is not None and last.reading == reading
        by_another = last is not None and last.speaker != turn.utterance.speaker
        if (agrees and by_another) or role not in (None, direction):
            yield self._readback(entry, turn, last, agrees=agrees)
        elif direction == "car" and self._of_nobody(turn):
            turn = replace(turn, car=self._car(""))
            yield from self._reading(reading, passage, base.replace(car=""), turn)
        else:
            yield from self._report(reading, passage, entry, turn)

    def _readback(self, entry: Entry, turn: _Turn, last: _Last | None, *, agrees: bool) -> Draft:
        """Keep what was said before by somebody else, or is not for its speaker to say."""
        if last is None:
            lap, lap_by = turn.lap_now()
            note = "nothing to compare it with"
            entry = entry.replace(refusal=DOUBTFUL)
        else:
            lap, lap_by = last.lap_known
            note = "agrees" if agrees else "differs"
        readback = entry.replace(kind="readback", lap=lap, lap_by=lap_by, note=note)
        return Draft(readback, "" if last is None else last.uid)

    def _report(
        self, reading: Reading, passage: Passage, entry: Entry, turn: _Turn
    ) -> Iterator[Draft]:
        """Keep a report or call, as the correction of the last one where it is the same one again;
        one that only repeats it brings nothing.
        """
        direction, utterance = reading.direction, turn.utterance
        last = self._recent(turn, direction, "again")
        if last is not None and last.speaker != utterance.speaker:
            last = None
        if last is not None and last.reading == reading and not turn.choice.changed:
            return
        lap, lap_by = turn.car.laps.of(reading, utterance.at, utterance.lap)
        kind: Kind = "report" if direction == "car" else "call"
        entry = entry.replace(kind=kind, lap=lap, lap_by=lap_by)
        if last is not None and not self._mends(last, entry, passage, turn):
            last = None
        sure = None if entry.refusal else reading
        if sure is not None and direction == "car" and reading.message == lap_message(self.book):
            turn.car.values = entry.values
        yield self._kept(entry, turn, direction, sure, mended=last)

    def _kept(
        self,
        entry: Entry,
        turn: _Turn,
        direction: Direction,
        sure: Reading | None,
        *,
        mended: _Last | None,
    ) -> Draft:
        """Remember a report or call as the last one, and return its draft: a correction of the one
        that it mends.
        """
        uid, utterance = entry.uid if mended is None else mended.uid, turn.utterance
        turn.car.last[direction] = _Last(
            uid,
            entry.heard,
            utterance.speaker,
            utterance.number,
            utterance.at,
            sure,
            entry.lap,
        )
        if mended is not None:
            return Draft(entry.replace(kind="correction"), uid)
        if direction == "car":
            turn.car.reports.append(entry)
        return Draft(entry)

    def _mends(self, last: _Last, entry: Entry, passage: Passage, turn: _Turn) -> bool:
        """Tell whether a report is the same one again: after I SAY AGAIN or CORRECTION, of the same
        lap, or after one that was refused.
        """
        if passage.changing or turn.choice.changed:
            return True
        if last.reading is None:
            return self._of_one(last, entry, passage, turn)
        return (
            last.reading.message == entry.message
            and entry.kind == "report"
            and entry.lap is not None
            and entry.lap == last.lap
        )

    def _of_one(self, last: _Last, entry: Entry, passage: Passage, turn: _Turn) -> bool:
        """Tell whether something said soon after a report that was refused is that report again,
        and not the next one.

        Times tell: a lap lasts longer. Without them the lap said does; where none is said it is so
        if the report was asked for.
        """
        if passage.changing or (last.at is not None and turn.utterance.at is not None):
            return True
        return entry.lap == last.lap if entry.lap_by == "said" else last.asked
