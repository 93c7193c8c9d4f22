"""Utterances to entries: who spoke, for which car, on which lap; repeats, read-backs, corrections
and questions put in their place.

It holds a few utterances of each speaker and nothing else, so a transcript may be of any length.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from codec.radio.answering import UNREAD
from codec.radio.choices import Interpretation, best
from codec.radio.crews import Crew, Roster
from codec.radio.doubt import (
    LIKELY,
    NOISY,
    REMEMBERED,
    Doubt,
    doubt,
    of_any_lap,
    perhaps,
    radio_after,
    restored,
    slots_of,
)
from codec.radio.edits import MOST
from codec.radio.evidence import Prefilter, least_symbols
from codec.radio.finder import Finder, Passage, overlap
from codec.radio.forms import LeftOut, Utterance
from codec.radio.laps import LapKeeper, LapTimes, lap_field
from codec.radio.leaps import Leap, Leaps
from codec.radio.named import PlainReport
from codec.radio.outlook import CarOutlook
from codec.radio.parts import asked_for, put_together
from codec.reading import Reading
from codec.sheet.entry import DOUBTFUL, Entry, Kind, LapBy
from codec.sheet.state import ADDED, lap_message
from grammar.book import Book
from grammar.errors import CodeError, ReportError, Span
from grammar.fields import Value
from grammar.message import Direction
from grammar.speech.kinds import CHANGING, SPOKEN, WordKind
from grammar.speech.spoken import Ask
from grammar.speech.words import Word, Wording

if TYPE_CHECKING:
    from codec.hear import Slots

_AROUND = frozenset((WordKind.FILLER, WordKind.ANSWER))
_MOST_CHARACTERS = 20_000  # of an utterance
_MOST_JOINED = 400  # characters
_HEARD = 60.0  # bits: that it is a report was weighed already
_NEAR = 6  # utterances: where there are no times, things this close belong together
_ALONE = "the driver was not heard"  # the note of a report that only its read-back tells
_READ_BACK = "read back"
_NAMED_RIGHT = 0.995  # how often the name before a line is that of somebody of the car that speaks
_AS_NAMED, _OTHERWISE = (
    0.9,
    0.999,
)  # how sure a car must be that the name tells, or that it does not
_OTHERS = {
    "known": 1e-9,
    "blank": 0.01,
    "numbered": 0.02,
    "stranger": 0.5,
}  # how often a report is of no car named
# how a program names those it tells apart only by their voices
_NUMBERED = re.compile(r"(?:speaker|spk|spkr|s|channel|ch)?[\s_-]*\d{1,3}", re.IGNORECASE)
_FITS = 0.03  # what a read-back alone may be: of a lap less likely than this it is an earlier one's
_WAIT = 150.0  # seconds, and lines: so long a report waits for what tells whose it is
_MOST_WAITING = 40
_REST = 4  # words that a report may still lack, cut in two by a pause
_LITTLE = ("a", "i", "o")  # words of their own: as likely noise as the letters
_SPOILT_WORDS = 0.02  # of the words of a report that has one not as said, those that are not
_CUT = 20  # times as often is a word lost where the comma behind it is, too
_NAMED_BITS = 20.0  # of a report in plain words: every field by its name


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
    part: Ask | None = None  # of it, that was asked for
    entry: Entry | None = None
    doubt: Doubt | None = None
    values: Mapping[str, Value] | None = None  # of the report before it
    sure: bool = True

    def about(self, message: str) -> bool:
        """Tell whether it may be of a message, as far as anybody knows."""
        known = self.reading.message if self.reading is not None else ""
        known = known or ("" if self.doubt is None else self.doubt.message)
        return known in ("", message)

    @property
    def lap_known(self) -> tuple[int | None, LapBy]:
        """The lap that something said about it stands against, and how it is known."""
        return self.lap, "" if self.lap is None else "order"


@dataclass(slots=True)
class _Car:
    name: str
    laps: LapKeeper
    leaps: Leaps
    outlook: CarOutlook
    last: dict[Direction, _Last] = field(default_factory=dict)
    events: dict[str, Utterance] = field(default_factory=dict)
    values: Mapping[str, Value] | None = None
    swapped: int = 0  # reports that the wall is said to have made, less those of the driver
    says_plus: bool = False  # in plain words, where a value is not below nought
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


@dataclass(frozen=True, slots=True)
class _Waiting:
    """A report or call that can be read, and of which nobody knows yet whose it is."""

    reading: Reading
    passage: Passage
    entry: Entry
    turn: _Turn


def _base(turn: _Turn, heard: str) -> Entry:
    """Return what every entry of an utterance begins with."""
    utterance = turn.utterance
    return Entry(
        kind="note",
        car=turn.car.name,
        at=utterance.at,
        speaker=utterance.speaker,
        heard=heard,
        sound=str(utterance.sound or ""),
    )


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
        self._prefilter = Prefilter(self.finder.evidence, self.finder.named.begun)
        self._times, self._after = times, after or {}
        self._cars: dict[str, _Car] = {}
        self._tails: deque[Utterance] = deque(maxlen=3)
        self._halves: deque[Utterance] = deque(maxlen=3)  # of reports in plain words
        self._named_spoilt = {True: 0, False: 0}  # reports in plain words, with words amiss or not
        self._waiting: list[_Waiting] = []
        self._learnt: dict[str, dict[str, float]] = {}  # by a stranger's name, reports of each car
        self._chain = hashlib.blake2b(
            repr(self.roster.crews).encode("utf-8", "replace"), digest_size=12
        )
        self._count = 0
        self._reported = lap_message(book)

    def hear(self, utterance: Utterance) -> list[Draft | LeftOut]:
        """Return what one utterance brings: drafts of entries, or the reason why there are none."""
        number, text = utterance.number, utterance.text
        self._chain.update(f"{utterance.speaker}\n{utterance.at}\n{text}\n".encode())
        self._count = 0
        if len(text) > _MOST_CHARACTERS:
            return [LeftOut(number, text[:200], "too long to be one utterance")]
        self.roster.take(utterance)
        role, name = self.roster.who(utterance)
        glance = self._prefilter.glance(text)
        said, whole = self._in_words(utterance) if glance.named else (None, utterance)
        if not (
            glance.code
            or said is not None
            or utterance.open_to_doubt
            or utterance.slots
            or self._may_go_on(utterance)
            or (role == "car" and self._prefilter.nothing_else(text, self.finder.like_code))
            or self._may_put_right(utterance, self._car(name), role)
            or self._asked_last(utterance, self._car(name), role)
        ):
            self._remember(utterance)
            return [LeftOut(number, text, "ordinary talk")]
        waited = list(self._waited(utterance)) if self._waiting else []
        car = self._car(name)
        if (taken := self._taken_back(utterance, role, car)) is not None:
            return [*waited, taken]
        choice = (
            self._of_doubts(utterance, role, car)
            if utterance.slots
            else self._of_text(utterance, role, car)
        )
        turn = _Turn(choice, role, car)
        if said is not None:
            turn = _Turn(_without(choice, said), role, car)
        drafts = list(self._all_drafts(turn))
        if not drafts and said is None:
            drafts = list(self._doubted_by(turn))
        if said is not None:
            drafts += self._named(said, replace(turn, choice=Interpretation(whole, ())))
        waits = any(one.turn is turn for one in self._waiting)
        if not drafts and not waits:
            drafts = [LeftOut(number, text, self._why_nothing(choice))]
        read = any(passage.kind == "reading" for passage in turn.choice.passages)
        if waits or read or any(isinstance(one, Draft) for one in drafts):
            drafts += self._beside(utterance, turn, said, drafts)
        return waited + drafts

    @staticmethod
    def _why_nothing(choice: Interpretation) -> str:
        kinds = {passage.kind for passage in choice.passages}
        if "reading" not in kinds and "refused" in kinds:
            return "words of the code that can't be read"
        return choice.reason or "said before"

    def _beside(
        self,
        utterance: Utterance,
        turn: _Turn,
        said: PlainReport | None,
        drafts: Sequence[Draft | LeftOut],
    ) -> Iterator[LeftOut]:
        """Yield the words of a code that stand beside what was found in an utterance, and are kept
        nowhere.
        """
        text = turn.utterance.text
        if turn.choice.instead_of or turn.choice.doubts or not text.endswith(utterance.text):
            return
        kept = [one.entry.heard for one in drafts if isinstance(one, Draft)]
        covered = [
            passage.span
            for passage in turn.choice.passages
            if passage.kind not in ("refused", "perhaps")
            or any(self._heard(passage, turn) in one for one in kept)
        ]
        covered += [(0, len(text) - len(utterance.text))] if text != utterance.text else []
        covered += [said.span] if said is not None else []
        for words in self.finder.beside(self.finder.cut(text), covered):
            if not any(words in one for one in kept):
                yield LeftOut(utterance.number, words, "not read, beside what was")

    def _of_text(self, utterance: Utterance, role: Direction | None, car: _Car) -> Interpretation:
        """Return what an utterance is taken for by its text."""
        words = self.finder.cut(utterance.text)
        if (answer := self._answer(utterance, words, role, car)) is not None:
            return answer
        choice = best(self.finder, utterance, words, role)
        read = any(passage.kind == "reading" for passage in choice.passages)
        alone = read or any(passage.kind == "perhaps" for passage in choice.passages)
        choice = self._joined(utterance, words, role, car, read=alone) or choice
        if not read:
            self._remember(utterance)
        if any(passage.readings for passage in choice.passages):
            context = self._context(car, utterance)
            choice.passages = [self._in_context(one, context) for one in choice.passages]
        return choice

    def _asked_last(self, utterance: Utterance, car: _Car, role: Direction | None) -> _Last | None:
        """Return the report of which a part was just asked for, where this may be the answer."""
        last = car.last.get("car")
        if last is None or last.part is None or last.reading is not None or role == "pit":
            return None
        speakers = {last.speaker, utterance.speaker} - {""}
        near = self._near(last, utterance, self.odds["again"])
        return last if len(speakers) <= 1 and near else None

    def _answer(
        self, utterance: Utterance, words: Wording, role: Direction | None, car: _Car
    ) -> Interpretation | None:
        """Return the report that an utterance is together with the one of which it says the part
        that was asked for.
        """
        last = self._asked_last(utterance, car, role)
        if last is None or last.part is None:
            return None
        first, context = self.finder.cut(last.text), self._context(car, utterance)
        reading = put_together(self.book, first, words, last.part, context)
        if reading is None:
            return None
        passage = Passage("reading", (0, len(utterance.text)), (reading,), bits=_HEARD)
        return Interpretation(utterance, [passage], changed=True)

    def _in_context(self, passage: Passage, context: Mapping[str, Any]) -> Passage:
        """Return a passage with the laps of its readings made whole."""
        readings = tuple(self._restored(reading, context) for reading in passage.readings)
        return replace(passage, readings=readings)

    def _of_doubts(self, utterance: Utterance, role: Direction | None, car: _Car) -> Interpretation:
        """Return what an utterance is taken for by a recogniser's doubts: whether it holds a
        report, and which, is weighed by what is expected; its text tells no more than phrases.
        """
        text, context = utterance.text, self._context(car, utterance)
        plain, slots = utterance.taken_for(text), slots_of(utterance)
        before, values = car.last.get("car"), car.values
        if before is not None and before.reading is None:
            values = of_any_lap(self.book, values)
        doubted = doubt(
            self.book, slots, None if role == "pit" else values, direction=role or "car"
        )
        if doubted is None or doubted.hearing.nothing >= LIKELY:
            found = best(self.finder, plain, self.finder.cut(text), role)
            phrases = [one for one in found.passages if one.kind not in ("reading", "refused")]
            return Interpretation(plain, phrases, "ordinary talk")
        span = (0, len(text))
        if doubted.accept:
            passage = Passage("reading", span, (restored(doubted, context),), bits=_HEARD)
            return Interpretation(plain, [passage], share=doubted.probability, doubts=slots)
        why = ReportError(f"not sure: ask {doubted.question}", kind=DOUBTFUL)
        return Interpretation(plain, [Passage("refused", span, error=why)], doubts=slots)

    def waits(self) -> int | None:
        """Return since when something waits to be told whose it is; None where nothing does."""
        moments = [one.entry.at for one in self._waiting if one.entry.at is not None]
        return min(moments, default=None)

    def finish(self) -> list[Draft | LeftOut]:
        """Return what waited for more than was said."""
        return list(self._decided(everything=True))

    def _car(self, name: str) -> _Car:
        if name not in self._cars:
            laps = LapKeeper(self.book, name, self._times, self._after.get(name, 0))
            outlook = CarOutlook(self.book, name, self._times)
            self._cars[name] = _Car(name, laps, Leaps(self.book), outlook)
        return self._cars[name]

    def _context(self, car: _Car, utterance: Utterance) -> dict[str, Any]:
        """Return what restores the lap that a report says."""
        laps = car.outlook.laps(utterance.at, utterance.number) if utterance.at is not None else {}
        likely = max(laps, key=laps.__getitem__, default=0)
        return car.laps.context(utterance.at, likely if laps and laps[likely] > 0.5 else None)

    # what is put right, or taken back, in a line of its own

    def _may_put_right(self, utterance: Utterance, car: _Car, role: Direction | None) -> bool:
        """Tell whether an utterance may put right, or take back, what its speaker just said."""
        return (
            self._put_right(utterance, role, car) is not None
            and len(utterance.text) < _MOST_JOINED
            and self.finder.mending.begin(utterance.text)
            and (
                self.finder.mending.sure(utterance.text)
                or sum(map(self._prefilter.codes, utterance.text.split())) > 1
            )
        )

    def _taken_back(self, utterance: Utterance, role: Direction | None, car: _Car) -> Draft | None:
        """Return what marks the report or call before as doubtful where its speaker says no more
        than that it does not count.
        """
        if not self._may_put_right(utterance, car, role):
            return None
        if not self.finder.mending.takes_back(self.finder.cut(utterance.text)):
            return None
        last = self._put_right(utterance, role, car)
        if last is None or last.entry is None or last.reading is None:
            return None
        return self._doubtful_now(last, _Turn(Interpretation(utterance, ()), role, car))

    def _doubted_by(self, turn: _Turn) -> Iterator[Draft]:
        """Mark the report or call before as doubtful where code words that can't be read alone put
        it right, and not plainly how.
        """
        utterance, words = turn.utterance, self.finder.cut(turn.utterance.text)
        last = self._put_right(utterance, turn.role, turn.car)
        one = next(iter(self.finder.mending.find(words)), None)
        if last is None or last.entry is None or last.reading is None or one is None:
            return
        before = [word for word in words[: one.start] if word.kind is not WordKind.FILLER]
        behind = [word for word in words[one.end :] if word.kind is not WordKind.FILLER]
        codes = [word for word in behind if word.kind in SPOKEN]
        enough = 1 if one.sure else 2
        if before or len(codes) < enough or least_symbols(codes) < enough:
            return
        if len(codes) < len(behind) - (1 if len(codes) > 2 else 0):
            return
        yield self._doubtful_now(last, turn)

    def _doubtful_now(self, last: _Last, turn: _Turn) -> Draft:
        """Return what marks the last report or call as doubtful: its speaker took it back, or put
        it right in a way that can't be read.
        """
        utterance, before = turn.utterance, last.entry or Entry(kind="report")
        entry = before.replace(
            heard=f"{last.text} … {utterance.text}",
            refusal=DOUBTFUL,
            string="",
            values={},
            certainty=None,
            note="taken back, or put right, by who said it",
            at=utterance.at,
            speaker=utterance.speaker,
            sound=str(utterance.sound or ""),
            uid=self._uid(),
        )
        direction: Direction = "pit" if before.kind == "call" else "car"
        newest = turn.car.last.get(direction)
        draft = self._kept(entry, turn, direction, None, mended=last)
        if newest is not None and newest.uid != last.uid:
            turn.car.last[direction] = newest
        return draft

    # one report in two utterances

    def _remember(self, utterance: Utterance) -> None:
        """Keep an utterance that stops in the middle of a code: the next one may go on with it."""
        text = utterance.text
        if len(text) < _MOST_JOINED and self._prefilter.codes((text.rsplit(None, 1) or [""])[-1]):
            self._tails.append(utterance)

    def _may_go_on(self, utterance: Utterance) -> bool:
        """Tell whether an utterance of few words may be the rest of a code that another one
        began.
        """
        if not self._tails:
            return False
        first = utterance.text.split(None, _REST)
        code = 0 < len(first) <= _REST and self._prefilter.codes(first[0])
        return code and next(self._gone_on_with(utterance), None) is not None

    def _joined(
        self,
        utterance: Utterance,
        words: Wording,
        role: Direction | None,
        car: _Car,
        *,
        read: bool,
    ) -> Interpretation | None:
        """Return what an utterance is taken for together with the one it goes on with; None where
        there is no report across both, or where it was ``read`` alone.
        """
        if not words or len(utterance.text) > _MOST_JOINED:
            return None
        if not read and (mended := self._mended(utterance, words, role, car)) is not None:
            return mended
        if words[0].kind in CHANGING:
            last = self._put_right(utterance, role, car)
            befores: list[Utterance | _Last] = [] if last is None else [last]
        elif words[0].kind in SPOKEN or words[0].kind is WordKind.UNKNOWN:
            befores = [
                tail
                for tail in self._gone_on_with(utterance)
                if self._prefilter.across(tail.text, utterance.text)
            ]
        else:
            return None
        found = (self._across(before, utterance, role, read=read) for before in befores)
        return next(filter(None, found), None)

    def _mended(
        self, utterance: Utterance, words: Wording, role: Direction | None, car: _Car
    ) -> Interpretation | None:
        """Return what an utterance is taken for together with the report that it puts a part of
        right in ordinary words; None where it does not, or not plainly.
        """
        one = next(iter(self.finder.mending.find(words)), None)
        if one is None or any(word.kind is not WordKind.FILLER for word in words[: one.start]):
            return None
        last = self._put_right(utterance, role, car)
        behind = words[one.end :]
        if last is None or last.reading is None or len(behind) < (1 if one.sure else 2):
            return None
        text = f"{last.text} {utterance.text}"
        both = self.finder.cut(text)
        count = len(both) - len(behind)
        reading = self.finder.spliced(text, both[: count - one.end], both[count:], last.reading)
        if reading is None:
            return None
        passage = Passage("reading", (0, len(text)), (reading,), bits=_HEARD, changing=True)
        return Interpretation(utterance.taken_for(text), [passage], changed=True)

    def _across(
        self,
        before: Utterance | _Last,
        utterance: Utterance,
        role: Direction | None,
        *,
        read: bool,
    ) -> Interpretation | None:
        """Return what an utterance is taken for together with another one before it."""
        text = f"{before.text} {utterance.text}"
        changing = isinstance(before, _Last)
        joined = (
            utterance.taken_for(text)
            if isinstance(before, _Last)
            else before.gone_on_with(utterance)
        )
        border = len(text) - len(utterance.text)
        unread = not changing and not read
        crossing = [
            passage
            for passage in self.finder.across(self.finder.cut(text), border, role, unread=unread)
            if passage.kind == "reading" or (unread and self._nearly(passage, text))
        ]
        return Interpretation(joined, crossing, changed=changing) if crossing else None

    def _nearly(self, passage: Passage, text: str) -> bool:
        """Tell whether what can't be read across two utterances may be one report."""
        if passage.kind != "refused":
            return False
        start, end = passage.span
        return self.finder.edits.least(self.finder.cut(text[start:end])) < MOST - 1

    def _put_right(self, utterance: Utterance, role: Direction | None, car: _Car) -> _Last | None:
        """Return the report or call that a correction said apart may be of."""
        last = car.last.get(role or "car")
        if last is None or last.speaker != utterance.speaker:
            return None
        return last if self._near(last, utterance, self.odds["again"]) else None

    def _gone_on_with(self, utterance: Utterance) -> Iterator[Utterance]:
        """Yield the utterances that stopped in the middle of a code and may go on in this one:
        the same speaker's, then those of somebody not named.
        """
        tails = [tail for tail in reversed(self._tails) if self._goes_on(tail, utterance)]
        yield from sorted(tails, key=lambda tail: tail.speaker != utterance.speaker)

    def _goes_on(self, tail: Utterance, utterance: Utterance) -> bool:
        same = tail.speaker == utterance.speaker
        near = self._near(tail, utterance, self.odds["pause"], within=2)
        return near and (same or self._of_one_crew(tail, utterance))

    def _of_one_crew(self, tail: Utterance, utterance: Utterance) -> bool:
        """Tell whether two utterances may be one person's though their names differ: one goes on at
        once where the other ends, and no other car's name stands before it.
        """
        if tail.number != utterance.number - 1 and tail.at is None:
            return False
        if tail.until is not None and utterance.at is not None and utterance.at - tail.until > 2500:
            return False
        cars = {self.roster.who(one)[1] for one in (tail, utterance)} - {""}
        return len(cars) <= 1

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

    # whose it is

    def _whose(self, reading: Reading, turn: _Turn) -> tuple[str, float]:
        """Return the car whose report it most likely is, and how likely; "" for one not named."""
        utterance, cars = turn.utterance, self.roster.cars
        stranger = self.roster.stranger(utterance)
        if utterance.car or not cars or (len(cars) == 1 and not self._of_nobody(turn)):
            return turn.car.name, 1.0
        if reading.message != self._reported:
            return turn.car.name, float(bool(turn.car.name))
        kind = "stranger" if stranger else "known" if turn.role and turn.car.name else "blank"
        if stranger and _NUMBERED.fullmatch(utterance.speaker.strip()):
            kind = "numbered"
        if kind == "stranger" and len(cars) == 1:
            return "", 0.0  # somebody else's name, where the car's people are known by theirs
        others = _OTHERS[kind]
        learnt = self._learnt.get(utterance.speaker, {}) if stranger else {}
        logs = {"": math.log(others) + self._of_another(reading, turn, kind)}
        for car in cars:
            share = 1 / len(cars)
            if kind == "known" and len(cars) > 1:
                named = car == turn.car.name
                share = _NAMED_RIGHT if named else (1 - _NAMED_RIGHT) / (len(cars) - 1)
            elif kind == "known":
                share = 1.0
            elif learnt:
                share = (learnt.get(car, 0.0) + 0.2) / (sum(learnt.values()) + 0.2 * len(cars))
            outlook = self._car(car).outlook
            fit = outlook.fit(reading, utterance.at, utterance.number)
            logs[car] = math.log((1 - others) * share) + fit
        most = max(logs.values())
        weights = {car: math.exp(log - most) for car, log in logs.items()}
        car = max(weights, key=weights.__getitem__)
        return car, weights[car] / sum(weights.values())

    def _of_another(self, reading: Reading, turn: _Turn, kind: str) -> float:
        """Return log P(report | it is of no car named): of a person with a name most likely another
        driver, whose car is on the same lap and much like these.
        """
        other = CarOutlook(self.book, "")
        if kind != "stranger":
            return other.flat(reading)
        utterance = turn.utterance
        laps = [
            self._car(car).outlook.lap_share(reading, utterance.at, utterance.number)
            for car in self.roster.cars
        ]
        return math.log(max([*laps, 1e-4])) + other.usual(reading)

    def _known_whose(self, car: str, sure: float, turn: _Turn) -> bool:
        """Tell whether a report is surely enough of a car."""
        if not self.roster.crews:
            return True
        least = self.book.spec.hearing.threshold
        if turn.role is not None and turn.car.name:
            least = _AS_NAMED if car == turn.car.name else _OTHERWISE
        return bool(car) and sure >= least

    def _waited(self, utterance: Utterance) -> Iterator[Draft | LeftOut]:
        """Yield what waited long enough."""
        oldest = self._waiting[0].turn.utterance
        late = not self._near(oldest, utterance, _WAIT, within=int(_WAIT))
        if late or len(self._waiting) > _MOST_WAITING:
            yield from self._decided(oldest=1)

    def _decided(self, *, oldest: int = 0, everything: bool = False) -> Iterator[Draft | LeftOut]:
        """Yield the drafts of what waited and is known now, of the ``oldest`` or of ``everything``
        whatever is known.
        """
        again = True
        while again:
            again = False
            for place, one in enumerate(self._waiting):
                car, sure = self._whose(one.reading, one.turn)
                if self._known_whose(car, sure, one.turn):
                    del self._waiting[place]
                    yield from self._given(one, car, sure)
                    again = True
                    break
        for _ in range(len(self._waiting) if everything else min(oldest, len(self._waiting))):
            one = self._waiting.pop(0)
            car, sure = self._whose(one.reading, one.turn)
            yield Draft(self._of_no_car(one, car, sure))

    def _of_no_car(self, one: _Waiting, car: str, sure: float) -> Entry:
        """Return the entry of what nobody knows whose it is."""
        kind: Kind = "report" if one.reading.direction == "car" else "call"
        note = f"most likely of car {car} ({sure:.0%})" if car and sure >= 0.5 else ""
        lap, lap_by = self._car("").laps.of(one.reading, one.entry.at, one.turn.utterance.lap)
        return one.entry.replace(
            kind=kind, car="", lap=lap, lap_by=lap_by, note=note, refusal=DOUBTFUL
        )

    def _given(self, one: _Waiting, car: str, sure: float) -> Iterator[Draft]:
        """Yield the drafts of a report that waited, now that its car is known."""
        turn = replace(one.turn, car=self._car(car))
        entry = one.entry.replace(car=car, certainty=round((one.entry.certainty or 1.0) * sure, 4))
        reading = self._restored(one.reading, self._context(turn.car, turn.utterance))
        if self._known_already(reading, turn):
            return
        yield from self._reported_by(reading, one.passage, self._valued(entry, reading), turn)

    def _known_already(self, reading: Reading, turn: _Turn) -> bool:
        """Tell whether the same report of the car was taken about then."""
        utterance, outlook = turn.utterance, turn.car.outlook
        beside = (
            outlook.before(utterance.at, utterance.number),
            outlook.behind(utterance.at, utterance.number),
        )
        for known in beside:
            if known is not None and known.levels == reading.levels:
                if known.at is None or utterance.at is None:
                    return abs(known.number - utterance.number) <= _NEAR
                if abs(known.at - utterance.at) <= self.odds["again"] * 1000:
                    return True
        return False

    def _restored(self, reading: Reading, context: Mapping[str, Any]) -> Reading:
        """Return a reading with its lap made whole."""
        return Reading(self.book, reading.match, reading.text, reading.spans, context)

    @staticmethod
    def _valued(entry: Entry, reading: Reading) -> Entry:
        return entry.replace(values=dict(reading.values))

    # drafts

    def _all_drafts(self, turn: _Turn) -> Iterator[Draft | LeftOut]:
        """Yield the drafts of every passage; what is refused is dropped where the report expected
        was found in its place.
        """
        expected: Span | None = None
        for passage in turn.choice.passages:
            if passage.kind == "refused" and expected and overlap(expected, passage.span):
                continue
            waiting, drafts = len(self._waiting), list(self._drafts(passage, turn))
            if passage.kind == "perhaps" and (drafts or len(self._waiting) > waiting):
                expected = passage.span
            yield from drafts

    def _drafts(self, passage: Passage, turn: _Turn) -> Iterator[Draft | LeftOut]:
        utterance, choice = turn.utterance, turn.choice
        heard = self._as_heard(passage, turn)
        base = _base(turn, heard)
        if choice.instead_of:
            base = base.replace(heard=choice.instead_of, note=f"taken for: {heard}")
        if passage.kind == "phrase":
            yield from self._event(passage, base, turn)
        elif passage.kind == "ask":
            yield self._question(passage, base, turn)
        elif passage.kind == "refused":
            if self._of_nobody(turn):
                base, turn = base.replace(car=""), replace(turn, car=self._car(""))
            yield from (self._astray if passage.astray else self._refused)(passage, base, turn)
        elif passage.kind == "perhaps":
            yield from self._perhaps(passage, base, turn)
        elif passage.kind == "reading":
            start = passage.span[0]
            for reading in passage.readings:
                entry = base
                if len(passage.readings) > 1 and not choice.instead_of:
                    end = max(span[1] for span in reading.spans)
                    entry, start = base.replace(heard=utterance.text[start:end].strip()), end
                yield from self._reading(reading, passage, entry, turn)

    def _perhaps(self, passage: Passage, base: Entry, turn: _Turn) -> Iterator[Draft]:
        """Keep a report that its words alone do not speak for strongly enough, where it is so much
        like the one expected of its car that this makes up for it.
        """
        reading, utterance, outlook = passage.readings[0], turn.utterance, turn.car.outlook
        if (
            len(passage.readings) > 1
            or reading.message != self._reported
            or self._of_nobody(turn)
            or outlook.before(utterance.at, utterance.number) is None
        ):
            yield from self._for_a_look(passage, base, turn)
            return
        fit = outlook.fit(reading, utterance.at, utterance.number) - outlook.flat(reading)
        bits = passage.bits + fit / math.log(2)
        if bits >= 0:
            found = replace(passage, kind="reading", bits=bits)
            yield from self._reading(reading, found, base, turn)
        else:
            yield from self._for_a_look(passage, base, turn)

    def _for_a_look(self, passage: Passage, base: Entry, turn: _Turn) -> Iterator[Draft]:
        """Keep as doubtful what a driver said with no word beside it, and is a report word for
        word, though its words alone do not speak for one: of a lap that has none so far.
        """
        (reading, *more), last = passage.readings, turn.car.last.get("car")
        if more or reading.message != self._reported or turn.role != "car" or self._of_nobody(turn):
            return
        words = self.finder.cut(turn.utterance.text)
        if _like_times(words) or any(
            word.kind not in SPOKEN
            and word.kind is not WordKind.FILLER
            and (word.kind is not WordKind.SEPARATOR or word.meaning.value)
            for word in words
        ):
            return
        if last is not None and last.lap == turn.car.laps.said(reading):
            return  # it has one
        entry = self._valued(base, reading).replace(
            message=reading.message,
            string=reading.said,
            certainty=0.5,
            refusal=DOUBTFUL,
            note="a report word for word, or ordinary talk",
            uid=self._uid(),
        )
        yield from self._report(reading, passage, entry, turn)

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
        if asked is None and turn.role == "car":
            asked = self._recent(turn, "car", "again")  # the names before the lines are swapped
        if asked is not None:
            asked.asked, asked.part = True, asked_for(self.book, passage.name)
        lap, lap_by = turn.lap_now() if asked is None else asked.lap_known
        question = base.replace(
            kind="question", heard=passage.name, lap=lap, lap_by=lap_by, uid=self._uid()
        )
        return Draft(question, "" if asked is None else asked.uid)

    # what is said by the names of the fields

    def _in_words(self, utterance: Utterance) -> tuple[PlainReport | None, Utterance]:
        """Return the report in plain words in an utterance, or in it and the one it goes on with,
        with what it stands in.
        """
        named, text = self.finder.named, utterance.text
        if len(text) > _MOST_JOINED:
            return None, utterance
        said = named.find(text)
        if said is not None and not said.missing:
            return said, utterance
        for before in reversed(self._halves):
            if self._goes_on(before, utterance):
                both = named.find(f"{before.text} {text}")
                if both is not None and not both.missing:
                    return both, before.gone_on_with(utterance)
        self._halves.append(utterance)
        return said, utterance

    def _named(self, said: PlainReport, turn: _Turn) -> Iterator[Draft]:
        """Keep a report said in plain words: as any other that can be read, where nothing is
        missing and its values are near those before.
        """
        utterance = turn.utterance
        base = _base(turn, utterance.text[said.span[0] : said.span[1]])
        passage = Passage("reading", said.span, bits=_NAMED_BITS)
        reading = None
        if not said.missing:
            reading = max(
                self._ways(said, turn),
                key=lambda pair: pair[0],
                default=(0.0, None),
            )[1]
        if reading is None:
            last = self._recent(turn, "car", "again")
            if turn.role == "pit" or (last is not None and last.reading is not None):
                return
            error = CodeError(
                f"not clear: {', '.join(said.missing)}"
                if said.missing
                else "the book has no string for it",
                kind="incomplete",
            )
            refused = Passage("refused", said.span, error=error)
            yield self._unread(refused, base, turn, None, last)
            return
        certainty = self._as_said(said, reading, turn)
        entry = base.replace(
            message=reading.message,
            string=reading.said,
            values=dict(reading.values),
            certainty=certainty,
            refusal=DOUBTFUL if certainty < self.book.spec.hearing.threshold else "",
            uid=self._uid(),
        )
        yield from self._of_a_car(reading, replace(passage, readings=(reading,)), entry, turn)

    def _as_said(self, said: PlainReport, reading: Reading, turn: _Turn) -> float:
        """Return how likely a report in plain words was said as it was written down: a word of a
        number may have been lost, or be another, and nothing checks it but the report before.
        """
        named, utterance, outlook = self.finder.named, turn.utterance, turn.car.outlook
        before = outlook.before(utterance.at, utterance.number)
        laps = 1 if before is None else max(1, (turn.car.laps.said(reading) or 0) - before.lap)
        plus, turn.car.says_plus = turn.car.says_plus, turn.car.says_plus or said.plus
        self._named_spoilt[said.spoilt] += 1
        if said.astray or named.far(said, None if before is None else before.values, laps):
            return 0.5
        if outlook.lap_share(reading, utterance.at, utterance.number) < _FITS:
            return 0.5
        spoilt, clean = self._named_spoilt[True], self._named_spoilt[False]
        rate = (0.5 + spoilt) / (20 + spoilt + clean) * _SPOILT_WORDS
        rate *= 4 if said.spoilt else 1
        likely = 0.9999
        for name, others in said.others.items():
            level = reading.levels[name]
            wrong = 0.0
            for value in (*others, *said.unheard[name]):
                other = named.level(name, value)
                if other is not None and other != level:
                    share = outlook.share(name, other, utterance.at, utterance.number)
                    signed = plus and value == -said.values[name]
                    amiss = rate * (_CUT if name in said.cut else 1)
                    wrong += share * (1.0 if signed or value in said.unheard[name] else amiss)
            right = outlook.share(name, level, utterance.at, utterance.number)
            likely *= right / (right + wrong)
        return likely

    def _ways(self, said: PlainReport, turn: _Turn) -> Iterator[tuple[float, Reading]]:
        """Yield what was said as the report of each car whose it may be, with how well it fits."""
        utterance, named = turn.utterance, self.finder.named
        cars = [turn.car.name] if turn.car.name or not self.roster.cars else self.roster.cars
        for name in cars:
            car = self._car(name)
            laps = car.outlook.laps(utterance.at, utterance.number)
            lap = max(laps, key=laps.__getitem__, default=car.laps.expected(utterance.at))
            context = self._context(car, utterance)
            reading = named.reading(said, utterance.lap or lap, utterance.text, context)
            if reading is not None:
                yield car.outlook.fit(reading, utterance.at, utterance.number), reading

    # what can't be read

    def _refused(self, passage: Passage, base: Entry, turn: _Turn) -> Iterator[Draft]:
        """Weigh a report that can't be read: with what the car reported before, and with what was
        heard of this report already. It is taken where the book's threshold allows, else kept with
        what it most likely was.
        """
        utterance = turn.utterance
        words = turn.choice.doubts or self._words(passage, turn)
        call = self._answered(base.heard, turn)
        if call is not None and passage.error is not None:
            lap, lap_by = call.lap_known
            unread = base.replace(
                kind="readback",
                lap=lap,
                lap_by=lap_by,
                refusal=passage.error.kind,
                note=UNREAD,
                uid=self._uid(),
            )
            yield Draft(unread, call.uid)
            return
        last = self._recent(turn, "car", "again")
        if last is not None and not self._one_exchange(last, passage, turn):
            last = None
        told = bool(turn.car.name) or (last is not None and last.speaker == utterance.speaker)
        if last is not None and last.reading is not None and last.sure and told:
            if passage.mending and self._put_right(utterance, turn.role, turn.car) is last:
                yield self._doubtful_now(last, turn)
                return
            first = self.finder.cut(base.heard)[:1]
            if not passage.changing or any(word.kind is WordKind.REPEAT for word in first):
                return  # said again, or read back, and not heard as well as before
        open_before = last if last is not None and last.reading is None else None
        weighed = None  # hearing takes its time: only where it may come to something
        if passage.weighed and (turn.choice.doubts or self._of_a_known_car(turn)):
            weighed = self._weighed(words, turn, open_before)
        if weighed is not None and self._taken(weighed, turn):
            reading = restored(weighed, self._context(turn.car, utterance))
            entry = self._valued(base, reading).replace(
                message=reading.message,
                string=reading.said,
                certainty=round(min(weighed.probability, 0.9999), 4),
                note=NOISY,
                uid=self._uid(),
            )
            yield from self._report(reading, passage, entry, turn, weighed)
        elif open_before is not None and turn.utterance.speaker != open_before.speaker:
            open_before.doubt = weighed or open_before.doubt
        elif self._worth_keeping(passage, turn):
            yield self._unread(passage, base, turn, weighed, open_before)

    def _answered(self, heard: str, turn: _Turn) -> _Last | None:
        """Return the call just made that a driver who can't be read seems to read back: as much as
        half of it begins what was heard. None where there is none.
        """
        call, report = self._recent(turn, "pit", "readback"), turn.car.last.get("car")
        if call is None or call.reading is None or not call.sure or turn.role == "pit":
            return None
        if turn.utterance.speaker == call.speaker or (report and report.number > call.number):
            return None
        called, alike = call.reading.said, 0
        for word, symbol in zip(self.finder.cut(heard), called, strict=False):
            if symbol not in word.meaning.options:
                break
            alike += 1
        return call if alike >= 2 and 2 * alike >= len(called) else None

    def _astray(self, passage: Passage, base: Entry, turn: _Turn) -> Iterator[Draft | LeftOut]:
        """Keep a code that is likely not what its car reports, for somebody to look at; nothing
        that was read before changes by it.
        """
        if self._worth_keeping(passage, turn):
            yield self._unread(passage, base, turn, None, None)
        else:
            assert passage.error is not None  # noqa: S101 - it was refused
            text = turn.utterance.text
            yield LeftOut(turn.utterance.number, text, passage.error.message)

    def _one_exchange(self, last: _Last, passage: Passage, turn: _Turn) -> bool:
        """Tell whether what can't be read is likely of the report just said."""
        if last.at is not None and turn.utterance.at is not None:
            return True
        return passage.changing or last.asked

    def _worth_keeping(self, passage: Passage, turn: _Turn) -> bool:
        """Tell whether what can't be read was an attempt at a report that somebody should see."""
        if turn.role == "pit" or (turn.role is None and self.roster.stranger(turn.utterance)):
            return passage.bits >= 0 and turn.role is None
        return True

    def _words(self, passage: Passage, turn: _Turn) -> str:
        """Return the words of a passage, each apart."""
        words = self.finder.cut(turn.utterance.text)
        inside = [
            "?" if word.text in _LITTLE else word.text
            for word in words
            if passage.span[0] <= word.span[0] and word.span[1] <= passage.span[1]
        ]
        return " ".join(inside)

    def _weighed(self, words: str | Slots, turn: _Turn, before: _Last | None) -> Doubt | None:
        """Return what words most likely were; None where that can't be told, or is not worth the
        time: what is far from every report is none.
        """
        alone = self._weighed_alone(words, turn, before)
        if before is None or before.doubt is None or alone is None or alone.accept:
            return alone
        if alone.hearing.nothing >= LIKELY:  # hearing both takes its time
            return alone
        both = doubt(self.book, words, before.values, before.doubt, again=True, ask=False)
        return both if both is not None and both.accept else alone

    def _weighed_alone(self, words: str | Slots, turn: _Turn, before: _Last | None) -> Doubt | None:
        """Return the same of words without what was heard of their report before."""
        car, utterance = turn.car, turn.utterance
        if isinstance(words, str) and self.finder.edits.least(self.finder.cut(words)) >= MOST:
            return None
        known = car.outlook.before(utterance.at, utterance.number)
        values, laps = None if known is None else known.values, 1
        if known is not None:
            shares = car.outlook.laps(utterance.at, utterance.number)
            likely = max(shares, key=shares.__getitem__)
            laps = max(1, likely - known.lap)
            one = car.last.get("car")
            unread = one is not None and one.reading is None and one is not before
            if shares[likely] < 0.7 or (unread and utterance.at is None):
                values = of_any_lap(self.book, values)
        radio = radio_after(self.book, car.reports)
        return doubt(self.book, words, values, radio=radio, laps=laps, ask=False)

    def _of_a_known_car(self, turn: _Turn) -> bool:
        """Tell whether the car of what was said is known, or all counts for one."""
        return bool(turn.car.name) or not self.roster.crews

    def _taken(self, weighed: Doubt, turn: _Turn) -> bool:
        """Tell whether what was weighed may be taken: the book's threshold allows it, its car is
        known, and its lap is the one expected.
        """
        if not weighed.accept or not self._of_a_known_car(turn):
            return False
        if weighed.guess.message != self._reported:
            return turn.role != "pit"
        utterance = turn.utterance
        reading = restored(weighed, self._context(turn.car, utterance))
        return turn.car.outlook.lap_share(reading, utterance.at, utterance.number) >= _FITS

    def _unread(
        self,
        passage: Passage,
        base: Entry,
        turn: _Turn,
        weighed: Doubt | None,
        last: _Last | None,
    ) -> Draft:
        """Keep a report that can't be read, with what it most likely was."""
        utterance, laps, error = turn.utterance, turn.car.laps, passage.error
        guess = perhaps(self.book, weighed, self._context(turn.car, utterance))
        if guess is not None and len(guess.string) < least_symbols(self.finder.cut(base.heard)):
            guess = replace(guess, string="")  # it would pass over words of the code that were said
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
        if last is not None and not self._of_one(last, entry, passage, turn):
            last = None
        return self._kept(entry, turn, "car", None, mended=last, weighed=weighed)

    # what can be read

    def _reading(
        self, reading: Reading, passage: Passage, base: Entry, turn: _Turn
    ) -> Iterator[Draft]:
        """Keep a report or call that can be read: as a read-back, or as one of its own; it waits
        where nobody knows whose it is.
        """
        certainty = round(turn.choice.certainty(self.odds, passage), 4)
        entry = base.replace(
            message=reading.message,
            string=reading.said,
            values=dict(reading.values),
            certainty=certainty,
            refusal=DOUBTFUL if certainty < self.odds["sure"] else "",
            uid=self._uid(),
        )
        doubted: _Last | None = None
        if passage.mending:
            passage, doubted = self._with_mending(reading, passage, turn)
            entry = entry if doubted is None else entry.replace(refusal=DOUBTFUL)
        if turn.car.name:
            yield from self._told_whose(reading, turn)
        if not entry.refusal and (wider := self._cut_short(reading, passage, turn)):
            yield from self._refused(wider, base.replace(heard=self._heard(wider, turn)), turn)
            return
        if reading.direction == "pit":
            yield from self._called(reading, passage, entry, turn)
        else:
            yield from self._of_a_car(reading, passage, entry, turn)
        if doubted is not None and doubted.sure:
            yield self._doubtful_now(doubted, turn)

    def _with_mending(
        self, reading: Reading, passage: Passage, turn: _Turn
    ) -> tuple[Passage, _Last | None]:
        """Return a report said behind words that put something right, as what it changes: the last
        one of its lap, the wall's guess too; and the last one where it is of another lap: each is
        as doubtful as the other then.
        """
        last = turn.car.last.get(reading.direction)
        if last is None or last.reading is None or not last.about(reading.message):
            return passage, None
        own = last.speaker == turn.utterance.speaker
        if not self._near(last, turn.utterance, self.odds["again"]) or not (
            own or turn.role == "car" == reading.direction
        ):
            return passage, None
        lap, sure = turn.car.laps.said(reading), not passage.mending.startswith("?")
        if lap is None or lap == last.lap:
            return replace(passage, changing=True), None
        if not own or (not sure and turn.utterance.at is None):
            return passage, None
        return passage, last

    def _cut_short(self, reading: Reading, passage: Passage, turn: _Turn) -> Passage | None:
        """Return a report with the words beside it that may be more of it, misheard; None where
        there are none.
        """
        if len(passage.readings) > 1 or reading.direction == "pit":
            return None
        words = self.finder.cut(turn.utterance.text)
        inside = [
            n
            for n, word in enumerate(words)
            if passage.span[0] <= word.span[0] and word.span[1] <= passage.span[1]
        ]
        if not inside:
            return None
        start, end = inside[0], inside[-1] + 1
        first = start - self._goes_beyond(words, start, end, before=True)
        last = end + self._goes_beyond(words, start, end, before=False)
        if (first, last) == (start, end):
            return None
        wider = words[first:last]
        heard = self._weighed(" ".join(word.text for word in wider), turn, None)
        beside = [*words[first:start], *words[end:last]]
        like = any(self.finder.like_code(word.text.casefold()) for word in beside)
        if not like and heard is not None and heard.accept and heard.guess == reading:
            return None
        error = CodeError(
            "a word beside it may belong to it",
            kind=DOUBTFUL,
            source=turn.utterance.text,
            span=wider.span,
            hint="say again",
        )
        return Passage("refused", wider.span, error=error, bits=passage.bits)

    def _goes_beyond(self, words: Wording, start: int, end: int, *, before: bool) -> int:
        """Return how many words before or behind a report may belong to it: one that is none of the
        code, where the report could be longer, and those of the code beyond.
        """
        step, place, count = (-1, start - 1, 0) if before else (1, end, 0)
        while 0 <= place < len(words) and count < _REST:
            word, beside = words[place], words[place - step]
            between = sorted((word.span, beside.span))
            if words.text[between[0][1] : between[1][0]].strip():
                break
            form = word.text.casefold()
            unread = word.kind is WordKind.UNKNOWN and form not in self.finder.plain
            if count == 0:
                inside = words[start:end]
                if not unread or not self.finder.edits.longer(inside, before=before):
                    break
            elif not (word.kind in SPOKEN or (unread and self.finder.like_code(form))):
                break
            place, count = place + step, count + 1
        return count

    def _as_heard(self, passage: Passage, turn: _Turn) -> str:
        """Return the words of a passage as they were heard: with those of procedure and hesitation
        beside a report, and the brackets about a word that nobody made out.
        """
        text, (start, end) = turn.utterance.text, passage.span
        if passage.kind == "refused":
            start -= text[:start].endswith(("[", "("))
            return text[start : end + text[end:].startswith(("]", ")"))]
        if passage.kind in ("reading", "perhaps") and not turn.choice.doubts:
            words = self.finder.cut(text)
            for word in reversed(words.words):
                if word.span[1] <= start and text[word.span[1] : start].strip(" ,:") == "":
                    start = word.span[0] if word.kind in _AROUND else start
            for word in words:
                if word.span[0] >= end and text[end : word.span[0]].strip(" ,:") == "":
                    ends = word.kind in _AROUND or _ends(word)
                    end = word.span[1] if ends else end
        return text[start:end]

    @staticmethod
    def _heard(passage: Passage, turn: _Turn) -> str:
        return turn.utterance.text[passage.span[0] : passage.span[1]]

    def _of_a_car(
        self, reading: Reading, passage: Passage, entry: Entry, turn: _Turn
    ) -> Iterator[Draft]:
        """Keep a report where its car is known; it waits where it is not."""
        last = self._recent(turn, "car", "readback") if turn.car.name else None
        if last is not None and (last.reading == reading or passage.changing):
            yield from self._reported_by(reading, passage, entry, turn)
            return
        car, sure = self._whose(reading, turn)
        if not turn.car.name and (just := self._just_said(reading, turn)):
            car, sure = just, 1.0  # two cars seldom say all the same
        if not self._known_whose(car, sure, turn):
            if self._of_nobody(turn) or (
                self.roster.stranger(turn.utterance) and not car and len(self.roster.crews) == 1
            ):
                turn = replace(turn, car=self._car(""))
                yield from self._report(reading, passage, entry.replace(car=""), turn)
            else:
                self._waiting.append(_Waiting(reading, passage, entry, turn))
                yield from self._of_the_talk(reading, turn)
            return
        if car != turn.car.name:
            waiting = _Waiting(reading, passage, entry, turn)
            yield from self._given(waiting, car, sure)
        else:
            yield from self._reported_by(reading, passage, entry, turn)
        yield from self._settled()

    def _just_said(self, reading: Reading, turn: _Turn) -> str:
        """Return the car of which the same was reported just now, "" for none or several."""
        same = [
            name
            for name in self.roster.cars
            if (last := self._car(name).last.get("car")) is not None
            and last.reading == reading
            and self._near(last, turn.utterance, self.odds["readback"])
        ]
        return same[0] if len(same) == 1 else ""

    def _settled(self) -> Iterator[Draft]:
        """Yield what waited and is known since something was reported."""
        if self._waiting:
            for draft in self._decided():
                if isinstance(draft, Draft):
                    yield draft

    def _of_the_talk(self, reading: Reading, turn: _Turn) -> Iterator[Draft]:
        """Yield the draft of a read-back whose call tells its car."""
        for car in self.roster.cars:
            last = self._car(car).last.get("pit")
            if (
                last is not None
                and last.reading is not None
                and reading.message != self._reported
                and reading.said.startswith(last.reading.said)
                and self._near(last, turn.utterance, self.odds["readback"])
            ):
                yield from self._given(self._waiting.pop(), car, 1.0)
                return

    def _told_whose(self, reading: Reading, turn: _Turn) -> Iterator[Draft]:
        """Yield the drafts of what waited and was said again now by somebody of a known car."""
        for one in self._waiting:
            again = reading.said.startswith(one.reading.said)
            if one.reading.direction == "pit":  # the walls of two cars may call the same
                called = self._recent(turn, "pit", "readback")
                again = again and turn.role == "car" and called is None
            if again and self._near(one.turn.utterance, turn.utterance, self.odds["readback"]):
                self._waiting.remove(one)
                yield from self._given(one, turn.car.name, 0.99)
                return

    def _reported_by(
        self, reading: Reading, passage: Passage, entry: Entry, turn: _Turn
    ) -> Iterator[Draft]:
        """Keep a report of a known car: one of its own, one said again, one read back, or one of
        which only the read-back was heard.
        """
        last = self._recent(turn, "car", "readback")
        by_another = last is not None and last.speaker != turn.utterance.speaker
        if last is not None and last.reading == reading and (by_another or turn.role == "pit"):
            if last.sure:
                yield self._readback(entry, turn, last, agrees=True)
            else:  # heard twice
                yield from self._report(reading, passage, entry, turn)
            return
        if turn.role != "pit":
            yield from self._report(reading, passage, entry, turn)
            return
        one = self._recent(turn, "car", "again")
        if one is not None and one.sure and self._same_lap(one, reading, turn):
            yield self._readback(entry, turn, one, agrees=one.reading == reading)
        elif one is not None and not one.sure and self._of_one_report(one, reading, turn):
            yield from self._second(reading, passage, entry, turn, one)
        else:
            yield from self._alone(reading, passage, entry, turn)

    def _of_one_report(self, last: _Last, reading: Reading, turn: _Turn) -> bool:
        """Tell whether what could not be read may be what is read now."""
        soon = last.asked or self._near(last, turn.utterance, self.odds["readback"])
        return soon and last.about(reading.message)

    def _same_lap(self, last: _Last, reading: Reading, turn: _Turn) -> bool:
        if last.reading is not None and last.reading.message != reading.message:
            return False
        if reading.message != self._reported or turn.utterance.at is not None:
            return True
        return last.lap == turn.car.laps.said(reading)

    def _second(
        self, reading: Reading, passage: Passage, entry: Entry, turn: _Turn, last: _Last
    ) -> Iterator[Draft]:
        """Keep what the wall read back of a report that could not be read: two hearings of one
        report.
        """
        words = self._words(passage, turn)
        weighed = self._weighed(words, turn, last) if last.doubt is not None else None
        if weighed is not None and (not weighed.accept or weighed.guess != reading):
            entry = entry.replace(refusal=DOUBTFUL)
        yield from self._report(reading, passage, entry.replace(note=_READ_BACK), turn, mends=last)

    def _alone(
        self, reading: Reading, passage: Passage, entry: Entry, turn: _Turn
    ) -> Iterator[Draft]:
        """Keep what somebody read back whose driver was not heard, if it is of the lap expected."""
        utterance = turn.utterance
        share = turn.car.outlook.lap_share(reading, utterance.at, utterance.number)
        if share < _FITS or (turn.role == "pit" and reading.message != self._reported):
            yield self._readback(entry, turn, self._recent(turn, "car", "readback"), agrees=False)
        else:
            yield from self._report(reading, passage, entry.replace(note=_ALONE), turn)

    def _called(
        self, reading: Reading, passage: Passage, entry: Entry, turn: _Turn
    ) -> Iterator[Draft]:
        """Keep a call: one of its own, one read back, or one of which only the read-back was
        heard.
        """
        last = self._recent(turn, "pit", "readback")
        agrees = last is not None and last.reading == reading
        by_another = last is not None and last.speaker != turn.utterance.speaker
        if agrees and (by_another or turn.role == "car"):
            yield self._readback(entry, turn, last, agrees=True)
        elif turn.role == "car" and self._no_call(reading, passage, turn):
            yield self._readback(entry, turn, last, agrees=False)
        elif (
            not turn.car.name
            and len(self.roster.crews) > 1
            and turn.role is None
            and (not self.roster.stranger(turn.utterance))
        ):
            self._waiting.append(_Waiting(reading, passage, entry, turn))
        else:
            yield from self._report(reading, passage, entry, turn)

    def _no_call(self, reading: Reading, passage: Passage, turn: _Turn) -> bool:
        """Tell whether a call that only a driver is said to have said may be none: too few words,
        or the beginning of a report.
        """
        if turn.car.swapped > 1:
            return False
        words = self.finder.cut(self.book.alphabet.say(reading.said))
        begun = self.finder.edits.longer(words, before=False)
        return begun or passage.bits < self.odds["wrong_role"]

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
        self,
        reading: Reading,
        passage: Passage,
        entry: Entry,
        turn: _Turn,
        weighed: Doubt | None = None,
        mends: _Last | None = None,
    ) -> Iterator[Draft]:
        """Keep a report or call, as the correction of the last one where it is the same one again;
        one that only repeats it brings nothing.
        """
        direction, utterance = reading.direction, turn.utterance
        last = mends or self._recent(turn, direction, "again")
        if last is not None and last.speaker != utterance.speaker and last.reading is not None:
            mended = passage.mending and passage.changing
            last = last if mended or (last.reading == reading and not last.sure) else None
        if last is not None and last.reading == reading and not turn.choice.changed and last.sure:
            return
        reading, leap = self._leapt(reading, entry, turn)
        confirmed = last is not None and last.asked and last.reading == reading
        if leap is not None and leap.doubted and not confirmed:
            lap, lap_by = turn.lap_now()
            sure = round(min(entry.certainty or 1.0, leap.likely), 4)
            entry = entry.replace(refusal=DOUBTFUL, certainty=sure, note=leap.told)
        else:
            lap, lap_by = turn.car.laps.of(reading, utterance.at, utterance.lap)
        kind: Kind = "report" if direction == "car" else "call"
        entry = self._valued(entry, reading).replace(kind=kind, lap=lap, lap_by=lap_by)
        if last is not None and mends is None and not self._mends(last, entry, passage, turn):
            last = None
        if last is not None and last.reading == reading and not last.sure:
            before = last.entry.certainty if last.entry is not None else None
            sure = 1 - (1 - (before or 0.0)) * (1 - (entry.certainty or 0.0))
            doubtful = DOUBTFUL if sure < self.odds["sure"] else ""
            entry = entry.replace(certainty=sure, refusal=doubtful)
        known = not entry.refusal
        if known and direction == "car" and last is None and turn.role is not None:
            turn.car.swapped = max(-9, turn.car.swapped + (1 if turn.role == "pit" else -1))
        if known and direction == "car" and reading.message == self._reported:
            turn.car.values = entry.values
            if lap is not None:
                turn.car.outlook.learn(reading, lap, utterance.at, utterance.number)
                if self.roster.stranger(utterance):
                    learnt = self._learnt.setdefault(utterance.speaker, {})
                    learnt[turn.car.name] = learnt.get(turn.car.name, 0.0) + 1
        yield self._kept(entry, turn, direction, reading, mended=last, weighed=weighed)

    def _leapt(self, reading: Reading, entry: Entry, turn: _Turn) -> tuple[Reading, Leap | None]:
        """Return a report with the lap that it most likely says, and how far that is from those
        before; None for anything but a report of a known car that says its lap.
        """
        car, utterance = turn.car, turn.utterance
        said = car.laps.said(reading)
        if (
            said is None
            or reading.message != self._reported
            or utterance.lap is not None
            or entry.refusal
            or not self._of_a_known_car(turn)
        ):
            return reading, None
        leap = car.leaps.take(said, utterance.at, car.outlook.lap_length())
        if leap.lap != said and not leap.doubted:
            reading = self._restored(reading, {lap_field(self.book): leap.lap})
        return reading, leap

    def _kept(
        self,
        entry: Entry,
        turn: _Turn,
        direction: Direction,
        reading: Reading | None,
        *,
        mended: _Last | None,
        weighed: Doubt | None = None,
    ) -> Draft:
        """Remember a report or call as the last one, and return its draft: a correction of the one
        that it mends.
        """
        uid, utterance = entry.uid if mended is None else mended.uid, turn.utterance
        text = reading.text[slice(*_from_to(reading))] if reading and reading.spans else ""
        last = _Last(
            uid,
            text if text and text in entry.heard else entry.heard,
            utterance.speaker,
            utterance.number,
            utterance.at,
            reading,
            entry.lap,
            entry=entry,
            doubt=weighed,
            values=turn.car.values if reading is None else None,
            sure=reading is not None and not entry.refusal,
        )
        before = turn.car.last.get(direction)
        if before is None or before.number <= last.number:
            turn.car.last[direction] = last
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
            if last.reading is not None and entry.lap_by == "said":
                before = turn.car.laps.said(last.reading)
                if before is not None and entry.lap != before:
                    return False  # it puts nothing right that was said of another lap
            return turn.choice.changed or last.about(entry.message)
        if last.reading is None or not last.sure:
            return last.about(entry.message) and self._of_one(last, entry, passage, turn)
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
        if passage.changing:
            return True
        if last.at is not None and turn.utterance.at is not None:
            return last.asked or self._near(last, turn.utterance, self.odds["readback"])
        return entry.lap == last.lap if entry.lap_by == "said" else last.asked


def _ends(word: Word) -> bool:
    return word.kind is WordKind.SEPARATOR and not word.meaning.value


def _from_to(reading: Reading) -> Span:
    """Return where the words of a reading stand in its text."""
    starts, ends = zip(*reading.spans, strict=True)
    return min(starts), max(ends)


def _like_times(words: Wording) -> bool:
    """Tell whether words are figures written as times are."""
    return re.search(r"\d[.:/]\d\d", words.text, re.ASCII) is not None


def _without(choice: Interpretation, said: PlainReport) -> Interpretation:
    """Return what was found beside a report said in plain words, whose numbers are no code."""
    kept = [
        passage
        for passage in choice.passages
        if passage.kind not in ("refused", "reading")
        or passage.span[1] <= said.span[0]
        or said.span[1] <= passage.span[0]
    ]
    return replace(choice, passages=kept)
