"""Utterances to entries: who spoke, for which car, on which lap; repeats, read-backs, corrections
and questions put in their place.

It holds a few utterances of each speaker and nothing else, so a transcript may be of any length.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from codec.radio.choices import Choice, best
from codec.radio.crews import Crew, Roster
from codec.radio.doubt import perhaps
from codec.radio.evidence import Prefilter
from codec.radio.finder import Finder, Found
from codec.radio.forms import LeftOut, Utterance
from codec.radio.laps import LapKeeper, LapTimes
from codec.reading import Reading
from codec.sheet.entry import DOUBTFUL, Entry, LapBy
from codec.sheet.state import ADDED, lap_message
from grammar.book import Book
from grammar.fields import Value
from grammar.message import Direction
from grammar.speech.kinds import CHANGING, SPOKEN
from grammar.speech.words import cut

_MOST_JOINED = 400  # characters
_NEAR = 6  # utterances: where there are no times, things this close belong together


@dataclass(frozen=True, slots=True)
class Draft:
    """An entry to be written, and the ``uid`` of the one it is about."""

    entry: Entry
    about: str = ""


@dataclass(slots=True)
class _Said:
    """The last report or call of a car: what came of it, and when."""

    uid: str
    text: str
    speaker: str
    number: int
    at: int | None
    reading: Reading | None
    lap: int | None
    asked: bool = False


@dataclass(slots=True)
class _Car:
    laps: LapKeeper
    last: dict[Direction, _Said] = field(default_factory=dict)
    events: dict[str, Utterance] = field(default_factory=dict)
    values: Mapping[str, Value] | None = None


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
        self._prefilter, self._times, self._after = (
            Prefilter(self.finder.evidence),
            times,
            after or {},
        )
        self._cars: dict[str, _Car] = {}
        self._tails: dict[str, Utterance] = {}
        self._chain = hashlib.blake2b(
            repr(self.roster.crews).encode("utf-8", "replace"), digest_size=12
        )
        self._count = 0

    def hear(self, said: Utterance) -> list[Draft | LeftOut]:
        """Return what one utterance brings: drafts of entries, or the reason why there are none."""
        self._chain.update(f"{said.speaker}\n{said.at}\n{said.text}\n".encode())
        self._count = 0
        if len(said.text) > 20_000:
            return [LeftOut(said.number, said.text[:200], "too long to be one utterance")]
        role, name = self.roster.who(said)
        open_to_doubt = bool(said.alternatives) or any(word.alternatives for word in said.words)
        if not open_to_doubt and not self._prefilter.worth(said.text):
            self._remember(said)
            return [LeftOut(said.number, said.text, "ordinary talk")]
        car = self._car(name)
        choice = self._joined(said, role, car) or best(
            self.finder, said, role, car.laps.context(said.at)
        )
        self._remember(said)
        drafts: list[Draft | LeftOut] = [
            d for found in choice.found for d in self._drafts(found, choice, role, name, car)
        ]
        return drafts or [LeftOut(said.number, said.text, choice.reason or "said before")]

    def _car(self, name: str) -> _Car:
        if name not in self._cars:
            self._cars[name] = _Car(
                LapKeeper(self.book, name, self._times, self._after.get(name, 0))
            )
        return self._cars[name]

    # one report in two utterances

    def _remember(self, said: Utterance) -> None:
        """Keep an utterance that stops in the middle of a code: the next one of this speaker may go
        on with it.
        """
        if len(said.text) < _MOST_JOINED and self._prefilter.codes((said.text.split() or [""])[-1]):
            self._tails[said.speaker] = said
        else:
            self._tails.pop(said.speaker, None)
        if len(self._tails) > 1000:
            self._tails.clear()

    def _joined(self, said: Utterance, role: Direction | None, car: _Car) -> Choice | None:
        before = self._tails.get(said.speaker)
        last = car.last.get(role or "car")
        if (before is None and last is None) or len(said.text) > _MOST_JOINED:
            return None
        first = next(
            (word.kind for word in cut(self.book.lexicon, said.text[:80])),
            "",
        )
        if (
            first in CHANGING
            and last is not None
            and last.speaker == said.speaker
            and self._near(last, said, self.odds["again"])
        ):
            joined = Utterance(said.number, f"{last.text} {said.text}", said.speaker, said.at)
        elif (
            before is not None
            and first in SPOKEN
            and self._near(before, said, self.odds["pause"], within=2)
        ):
            joined = Utterance(said.number, f"{before.text} {said.text}", said.speaker, before.at)
        else:
            return None
        border = len(joined.text) - len(said.text)
        found = self.finder.find(joined.text, role, car.laps.context(said.at)).found
        crossing = [f for f in found if f.kind == "reading" and f.span[0] < border < f.span[1]]
        return Choice(joined, crossing, changed=first in CHANGING) if crossing else None

    def _near(
        self, before: Utterance | _Said, said: Utterance, seconds: float, within: int = _NEAR
    ) -> bool:
        start = (
            before.until
            if isinstance(before, Utterance) and before.until is not None
            else before.at
        )
        if start is not None and said.at is not None:
            return -1000 <= said.at - start <= seconds * 1000
        return said.number - before.number <= within

    # drafts

    def _drafts(
        self, found: Found, choice: Choice, role: Direction | None, name: str, car: _Car
    ) -> Iterator[Draft]:
        said = choice.said
        heard = said.text[found.span[0] : found.span[1]]
        base = Entry(kind="note", car=name, at=said.at, speaker=said.speaker, heard=heard)
        if choice.instead_of:
            base = base.replace(heard=choice.instead_of, note=f"taken for: {heard}")
        if found.kind == "phrase":
            yield from self._event(found, base, said, car)
        elif found.kind == "ask":
            yield from self._question(found, base, said, role, car)
        elif found.kind == "refused" and role != "pit":
            foreign = bool(base.car) and self.roster.foreign(said, role)
            yield from self._refused(
                found,
                base.replace(car="") if foreign else base,
                said,
                self._car("") if foreign else car,
            )
        elif found.kind == "reading":
            place = found.span[0]
            for reading in found.readings:
                one = base
                if len(found.readings) > 1 and not choice.instead_of:
                    end = max(span[1] for span in reading.spans)
                    one, place = base.replace(heard=said.text[place:end].strip()), end
                yield from self._reading(reading, one, choice, found, role, car)

    def _uid(self) -> str:
        self._count += 1
        return f"{self._chain.hexdigest()}{self._count:04x}"

    def _event(self, found: Found, base: Entry, said: Utterance, car: _Car) -> Iterator[Draft]:
        before = car.events.get(found.name)
        if before is not None and self._near(before, said, self.odds["readback"]):
            return
        car.events[found.name] = said
        lap, lap_by = car.laps.now(said.at, said.lap)
        amount = Decimal(found.number) if found.name == ADDED and found.number is not None else None
        yield Draft(
            base.replace(
                kind="event",
                message=found.name,
                lap=lap,
                lap_by=lap_by,
                amount=amount,
                uid=self._uid(),
            )
        )

    def _question(
        self, found: Found, base: Entry, said: Utterance, role: Direction | None, car: _Car
    ) -> Iterator[Draft]:
        asked = car.last.get("pit" if role == "car" else "car")
        about = (
            asked.uid if asked is not None and self._near(asked, said, self.odds["again"]) else ""
        )
        if asked is not None and about:
            asked.asked = True
        lap, lap_by = (
            _lap_of(asked) if asked is not None and about else car.laps.now(said.at, said.lap)
        )
        yield Draft(
            base.replace(
                kind="question", heard=found.name, lap=lap, lap_by=lap_by, uid=self._uid()
            ),
            about,
        )

    def _refused(self, found: Found, base: Entry, said: Utterance, car: _Car) -> Iterator[Draft]:
        error = found.error
        guess = perhaps(self.book, base.heard, car.values, car.laps.context(said.at))
        told = [
            error.message[:400] if error is not None else "",
            "" if guess is None else str(guess),
        ]
        entry = base.replace(
            kind="report",
            refusal=error.kind if error is not None else DOUBTFUL,
            note="; ".join(filter(None, told)),
            uid=self._uid(),
        )
        lap, lap_by = car.laps.of_unread(
            guess.lap if guess is not None else None, said.at, said.lap
        )
        entry = entry.replace(lap=lap, lap_by=lap_by)
        last = car.last.get("car")
        again = (
            last is not None and last.reading is None and self._near(last, said, self.odds["again"])
        )
        again = again and last is not None and self._of_one(last, said, lap, lap_by, found)
        car.last["car"] = _Said(
            last.uid if again and last else entry.uid,
            base.heard,
            said.speaker,
            said.number,
            said.at,
            None,
            entry.lap,
        )
        yield Draft(entry.replace(kind="correction"), last.uid) if again and last else Draft(entry)

    def _reading(
        self,
        reading: Reading,
        base: Entry,
        choice: Choice,
        found: Found,
        role: Direction | None,
        car: _Car,
    ) -> Iterator[Draft]:
        said, direction = choice.said, reading.direction
        last = car.last.get(direction)
        soon = last is not None and self._near(last, said, self.odds["readback"])
        entry = base.replace(
            message=reading.message,
            string=reading.said,
            values=dict(reading.values),
            certainty=round(choice.certainty(self.odds, found), 4),
            uid=self._uid(),
        )
        entry = (
            entry.replace(refusal=DOUBTFUL) if (entry.certainty or 0) < self.odds["sure"] else entry
        )
        same = last is not None and last.reading == reading
        if (role is not None and role != direction) or (
            same and soon and last is not None and last.speaker != said.speaker
        ):
            lap, lap_by = (
                _lap_of(last) if last is not None and soon else car.laps.now(said.at, said.lap)
            )
            note = (
                "agrees" if same and soon else "differs" if soon else "nothing to compare it with"
            )
            about = last.uid if last is not None and soon else ""
            entry = entry if about else entry.replace(refusal=DOUBTFUL)
            yield Draft(entry.replace(kind="readback", lap=lap, lap_by=lap_by, note=note), about)
            return
        if direction == "car" and base.car and self.roster.foreign(said, role):
            yield from self._reading(
                reading, base.replace(car=""), choice, found, role, self._car("")
            )
            return
        recent = (
            last is not None
            and last.speaker == said.speaker
            and self._near(last, said, self.odds["again"])
        )
        if recent and same and not choice.changed:
            return
        lap, lap_by = car.laps.of(reading, said.at, said.lap)
        entry = entry.replace(
            kind="report" if direction == "car" else "call", lap=lap, lap_by=lap_by
        )
        mends = recent and last is not None and self._mends(last, entry, found, choice)
        uid = last.uid if mends and last is not None else entry.uid
        sure = None if entry.refusal else reading
        if sure is not None and direction == "car" and reading.message == lap_message(self.book):
            car.values = entry.values
        car.last[direction] = _Said(uid, base.heard, said.speaker, said.number, said.at, sure, lap)
        yield (
            Draft(entry.replace(kind="correction"), last.uid)
            if mends and last is not None
            else Draft(entry)
        )

    def _mends(self, last: _Said, entry: Entry, found: Found, choice: Choice) -> bool:
        """Tell whether a report is the same one again: after I SAY AGAIN or CORRECTION, of the same
        lap, or after one that was refused.
        """
        if found.changing or choice.changed:
            return True
        if last.reading is None:
            return self._of_one(last, choice.said, entry.lap, entry.lap_by, found)
        return (
            last.reading.message == entry.message
            and entry.kind == "report"
            and entry.lap is not None
            and entry.lap == last.lap
        )

    def _of_one(
        self, last: _Said, said: Utterance, lap: int | None, lap_by: LapBy, found: Found
    ) -> bool:
        """Tell whether something said soon after a report that was refused is that report again,
        and not the next one.

        Times tell: a lap lasts longer. Without them the lap said does; where none is said it is so
        if the report was asked for.
        """
        if found.changing or (last.at is not None and said.at is not None):
            return True
        return lap == last.lap if lap_by == "said" else last.asked


def _lap_of(last: _Said) -> tuple[int | None, LapBy]:
    return last.lap, "" if last.lap is None else "order"
