"""What was said, written down: reports and calls, repeats, read-backs, corrections and questions,
each put in its place.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal

from codec.lap_report import lap_field
from codec.radio.answering import UNREAD
from codec.radio.as_said import AsSaid
from codec.radio.doubt import LIKELY, NOISY, Doubt, perhaps, restored
from codec.radio.evidence import least_symbols
from codec.radio.exchange import FITS, NEAR, Draft, Exchange, Last, RadioTurn, base_entry
from codec.radio.finder import Passage, overlap
from codec.radio.forms import LeftOut, Utterance
from codec.radio.leaps import STRAY_SURE, Leap, Valued, unchecked_report
from codec.radio.named import PlainReport
from codec.radio.parts import asked_for
from codec.radio.weighing import Weighing
from codec.radio.whose import Waiting, Whose
from codec.reading import Reading
from codec.sheet.entry import DOUBTFUL, Entry, Kind
from codec.sheet.state import ADDED
from grammar.errors import CodeError, Span
from grammar.message import Direction
from grammar.speech.kinds import SPOKEN, WordKind
from grammar.speech.words import Word, Wording

_PASSED = frozenset((WordKind.FILLER, WordKind.SEPARATOR))
_AROUND = frozenset((WordKind.FILLER, WordKind.ANSWER))
_ALONE = "the driver was not heard"  # the note of a report that only its read-back tells
_READ_BACK = "read back"
_OF_TWO_CARS = "two reports of one lap under one name: one may be another car's"
_MORE = "what is said behind it may belong to it"
_PUTS_RIGHT = "of another lap than what it seems to put right"
_LACKED = 2  # laps that another car may lack, and still be one that reports
_NEARLY = 0.95  # as sure as what it may put right
_NAMED_BITS = 20.0  # of a report in plain words: every field by its name


class Writing:
    """Drafts entries; what nobody knows whose it is waits for what tells."""

    def __init__(self, exchange: Exchange) -> None:
        """Take what is known of the exchange so far."""
        self.exchange = exchange
        self.book, self.finder, self.roster = exchange.book, exchange.finder, exchange.roster
        self.odds, self.threshold = exchange.odds, exchange.book.spec.hearing.threshold
        self.whose, self.weighing = Whose(exchange), Weighing(exchange)
        self.as_said = AsSaid(exchange)

    def drafts(self, turn: RadioTurn) -> Iterator[Draft | LeftOut]:
        """Yield the drafts of every passage; what is refused is dropped where the report expected
        was found in its place.
        """
        expected: Span | None = None
        for passage in turn.choice.passages:
            if passage.kind == "refused" and expected and overlap(expected, passage.span):
                continue
            waits, drafts = self.whose.waits(turn), list(self._of_passage(passage, turn))
            if passage.kind == "perhaps" and (drafts or self.whose.waits(turn) > waits):
                expected = passage.span
            yield from drafts

    def _of_passage(self, passage: Passage, turn: RadioTurn) -> Iterator[Draft | LeftOut]:
        utterance, choice = turn.utterance, turn.choice
        heard = self._as_heard(passage, turn)
        base = base_entry(turn, heard)
        if choice.instead_of:
            base = base.replace(heard=choice.instead_of, note=f"taken for: {heard}")
        if passage.kind == "phrase":
            yield from self._event(passage, base, turn)
        elif passage.kind == "ask":
            yield self._question(passage, base, turn)
        elif passage.kind == "refused":
            if self.exchange.of_nobody(turn):
                base, turn = base.replace(car=""), replace(turn, car=self.exchange.car(""))
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

    def _event(self, passage: Passage, base: Entry, turn: RadioTurn) -> Iterator[Draft]:
        fact = self.book.rules.meanings[passage.name]
        before = turn.car.events.get(fact)
        if before is not None and self.exchange.near(before, turn.utterance, self.odds["readback"]):
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
                uid=self.exchange.uid(),
            )
        )

    def _question(self, passage: Passage, base: Entry, turn: RadioTurn) -> Draft:
        asked = self.exchange.recent(turn, "pit" if turn.role == "car" else "car", "again")
        if asked is None and turn.role == "car":
            asked = self.exchange.recent(
                turn, "car", "again"
            )  # the names before the lines are swapped
        if asked is not None:
            asked.asked, asked.part = True, asked_for(self.book, passage.name)
        lap, lap_by = turn.lap_now() if asked is None else asked.lap_known
        question = base.replace(
            kind="question", heard=passage.name, lap=lap, lap_by=lap_by, uid=self.exchange.uid()
        )
        return Draft(question, "" if asked is None else asked.uid)

    def _as_heard(self, passage: Passage, turn: RadioTurn) -> str:
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

    def named(self, said: PlainReport, turn: RadioTurn) -> Iterator[Draft]:
        """Keep a report said in plain words: as any other that can be read, where nothing is
        missing and its values are near those before.
        """
        utterance = turn.utterance
        base = base_entry(turn, utterance.text[said.span[0] : said.span[1]])
        passage = Passage("reading", said.span, bits=_NAMED_BITS)
        reading = None
        if not said.missing:
            reading = max(
                self.as_said.ways(said, turn),
                key=lambda pair: pair[0],
                default=(0.0, None),
            )[1]
        if reading is None:
            last = self.exchange.recent(turn, "car", "again")
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
        certainty, why = self.as_said.likely(said, reading, turn)
        certainty = round(certainty * self.as_said.recognised(said, reading, turn), 4)
        entry = base.replace(
            message=reading.message,
            string=reading.said,
            values=dict(reading.values),
            certainty=certainty,
            note=why,
            uid=self.exchange.uid(),
        ).decided(self.threshold)
        if odd := self.finder.named.unclear_beside(utterance.text, said.span):
            entry = entry.replace(refusal=DOUBTFUL, note=f"not clear: {odd!r}")
        yield from self._of_a_car(reading, replace(passage, readings=(reading,)), entry, turn)

    # what waits for what tells whose it is

    def waited(self, utterance: Utterance) -> Iterator[Draft]:
        """Yield what waited long enough before an utterance."""
        if self.whose.late(utterance):
            yield from self._settled()
            for one in itertools.islice(self.whose.oldest(), 1):
                yield Draft(self._of_no_car(one))

    def finish(self) -> Iterator[Draft]:
        """Yield what waited for more than was said."""
        yield from self._settled()
        for one in self.whose.oldest():
            yield Draft(self._of_no_car(one))

    def _of_no_car(self, one: Waiting) -> Entry:
        """Return the entry of what nobody knows whose it is."""
        car, sure = self.whose.of(one.reading, one.turn)
        kind: Kind = "report" if one.reading.direction == "car" else "call"
        note = f"most likely of car {car} ({sure:.0%})" if car and sure >= 0.5 else ""
        lap, lap_by = self.exchange.car("").laps.of(
            one.reading, one.entry.at, one.turn.utterance.lap
        )
        return one.entry.replace(
            kind=kind, car="", lap=lap, lap_by=lap_by, note=note, refusal=DOUBTFUL
        )

    def _given(self, one: Waiting, car: str, sure: float) -> Iterator[Draft]:
        """Yield the drafts of a report that waited, now that its car is known."""
        turn = replace(one.turn, car=self.exchange.car(car))
        entry = one.entry.replace(car=car)
        if entry.refusal and not entry.note and one.turn.choice.passages:  # more is expected now
            entry = entry.replace(refusal="")
            entry = self._recognised(entry, one.reading, one.passage, turn)
        if car != one.turn.car.name:  # of which its speaker's name tells
            entry = entry.replace(certainty=round((entry.certainty or 1.0) * sure, 4))
        reading = self.exchange.restored(
            one.reading, self.exchange.context(turn.car, turn.utterance)
        )
        if self._known_already(reading, turn):
            return
        yield from self._reported_by(reading, one.passage, self._valued(entry, reading), turn)

    def _known_already(self, reading: Reading, turn: RadioTurn) -> bool:
        """Tell whether the same report of the car was taken about then."""
        utterance, outlook = turn.utterance, turn.car.outlook
        beside = (
            outlook.before(utterance.at, utterance.number),
            outlook.behind(utterance.at, utterance.number),
        )
        for known in beside:
            if known is not None and known.levels == reading.levels:
                if known.at is None or utterance.at is None:
                    return abs(known.number - utterance.number) <= NEAR
                if abs(known.at - utterance.at) <= self.odds["again"] * 1000:
                    return True
        return False

    def _settled(self) -> Iterator[Draft]:
        """Yield what waited and is known since something was reported."""
        for one, car, sure in self.whose.told():
            yield from self._given(one, car, sure)

    # what is no plain report

    def _perhaps(self, passage: Passage, base: Entry, turn: RadioTurn) -> Iterator[Draft | LeftOut]:
        """Keep a report that its words alone do not speak for strongly enough, where it is so much
        like the one expected of its car that this makes up for it.
        """
        reading, utterance, outlook = passage.readings[0], turn.utterance, turn.car.outlook
        if (
            len(passage.readings) > 1
            or reading.message != self.exchange.reported
            or self.exchange.of_nobody(turn)
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

    def _for_a_look(self, passage: Passage, base: Entry, turn: RadioTurn) -> Iterator[Draft]:
        """Keep as doubtful what a driver said with no word beside it, and is a report word for
        word, though its words alone do not speak for one: of a lap that has none so far.
        """
        (reading, *more), last = passage.readings, turn.car.last.get("car")
        if (
            more
            or reading.message != self.exchange.reported
            or turn.role != "car"
            or self.exchange.of_nobody(turn)
        ):
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
            uid=self.exchange.uid(),
        )
        yield from self._report(reading, passage, entry, turn)

    def _refused(self, passage: Passage, base: Entry, turn: RadioTurn) -> Iterator[Draft | LeftOut]:
        """Weigh a report that can't be read: with what the car reported before, and with what was
        heard of this report already. It is taken where the book's threshold allows, else kept with
        what it most likely was.
        """
        utterance = turn.utterance
        words = turn.choice.doubts or self.weighing.words(passage, turn)
        call = self._answered(base.heard, turn)
        if call is not None and passage.error is not None:
            lap, lap_by = call.lap_known
            unread = base.replace(
                kind="readback",
                lap=lap,
                lap_by=lap_by,
                refusal=passage.error.kind,
                note=UNREAD,
                uid=self.exchange.uid(),
            )
            yield Draft(unread, call.uid)
            return
        last = self.exchange.recent(turn, "car", "again")
        if last is not None and not self._one_exchange(last, passage, turn):
            last = None
        told = bool(turn.car.name) or (last is not None and last.speaker == utterance.speaker)
        if last is not None and last.reading is not None and last.sure and told:
            first = self.finder.cut(base.heard)[:1]
            corrected = any(word.kind is WordKind.CORRECTION for word in first)
            own = self.exchange.put_right(utterance, turn.role, turn.car) is last
            if own and (passage.mending or corrected):
                yield self.doubtful_now(last, turn)
                return
            if not passage.changing or any(word.kind is WordKind.REPEAT for word in first):
                return  # said again, or read back, and not heard as well as before
        open_before = last if last is not None and last.reading is None else None
        weighed = None  # hearing takes its time: only where it may come to something
        if passage.weighed and (turn.choice.doubts or self.exchange.of_a_known_car(turn)):
            weighed = self.weighing.weighed(words, turn, open_before)
        if weighed is not None and self.weighing.may_be_taken(weighed, turn):
            reading = restored(weighed, self.exchange.context(turn.car, utterance))
            entry = self._valued(base, reading).replace(
                message=reading.message,
                string=reading.said,
                certainty=round(min(weighed.probability, 0.9999), 4),
                note=NOISY,
                uid=self.exchange.uid(),
            )
            yield from self._report(reading, passage, entry, turn, weighed)
        elif open_before is not None and turn.utterance.speaker != open_before.speaker:
            open_before.doubt = weighed or open_before.doubt
        elif open_before is not None and _clearer(open_before.doubt, weighed):
            heard = turn.words_of(passage)
            yield LeftOut(utterance.number, heard, "less clear than what was said before")
        elif self._worth_keeping(passage, turn):
            yield self._unread(passage, base, turn, weighed, open_before)

    def _answered(self, heard: str, turn: RadioTurn) -> Last | None:
        """Return the call just made that a driver who can't be read seems to read back: as much as
        half of it begins what was heard. None where there is none.
        """
        call, report = self.exchange.recent(turn, "pit", "readback"), turn.car.last.get("car")
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

    def _astray(self, passage: Passage, base: Entry, turn: RadioTurn) -> Iterator[Draft | LeftOut]:
        """Keep a code that is likely not what its car reports, for somebody to look at; nothing
        that was read before changes by it.
        """
        if self._worth_keeping(passage, turn):
            yield self._unread(passage, base, turn, None, None)
        else:
            assert passage.error is not None  # noqa: S101 - it was refused
            text = turn.utterance.text
            yield LeftOut(turn.utterance.number, text, passage.error.message)

    def _one_exchange(self, last: Last, passage: Passage, turn: RadioTurn) -> bool:
        """Tell whether what can't be read is likely of the report just said."""
        if last.at is not None and turn.utterance.at is not None:
            return True
        return passage.changing or last.asked

    def _worth_keeping(self, passage: Passage, turn: RadioTurn) -> bool:
        """Tell whether what can't be read was an attempt at a report that somebody should see."""
        if turn.role == "pit" or (turn.role is None and self.roster.stranger(turn.utterance)):
            return passage.bits >= 0 and turn.role is None
        return True

    def _unread(
        self,
        passage: Passage,
        base: Entry,
        turn: RadioTurn,
        weighed: Doubt | None,
        last: Last | None,
    ) -> Draft:
        """Keep a report that can't be read, with what it most likely was."""
        utterance, laps, error = turn.utterance, turn.car.laps, passage.error
        guess = perhaps(self.book, weighed, self.exchange.context(turn.car, utterance))
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
            uid=self.exchange.uid(),
            lap=lap,
            lap_by=lap_by,
        )
        if last is not None and not self._of_one(last, entry, passage, turn):
            last = None
        if weighed is not None and guess is not None and guess.string:
            self._suppose(weighed.guess, guess.lap, weighed.probability, turn)
        return self._kept(entry, turn, "car", None, mended=last, weighed=weighed)

    # what can be read

    def _reading(
        self, reading: Reading, passage: Passage, base: Entry, turn: RadioTurn
    ) -> Iterator[Draft | LeftOut]:
        """Keep a report or call that can be read: as a read-back, or as one of its own; it waits
        where nobody knows whose it is.
        """
        entry = base.replace(
            message=reading.message,
            string=reading.said,
            values=dict(reading.values),
            uid=self.exchange.uid(),
        )
        entry = self._recognised(entry, reading, passage, turn)
        if not entry.refusal and self._changed_behind(passage, turn):
            entry = entry.replace(refusal=DOUBTFUL, note="put right, or taken back, at once")
        doubted: Last | None = None
        if passage.mending:
            passage, doubted = self._with_mending(reading, passage, turn)
        else:
            doubted = self._corrected(reading, turn)
        if doubted is not None:
            entry = entry.replace(refusal=DOUBTFUL, note=_PUTS_RIGHT)
        if turn.car.name:
            waited = self.whose.said_again(reading, turn)
            if waited is not None:
                yield from self._given(waited, turn.car.name, 0.99)
        if not entry.refusal and (wider := self.weighing.cut_short(reading, passage, turn)):
            yield from self._refused(wider, base.replace(heard=turn.words_of(wider)), turn)
            return
        if reading.direction == "pit":
            yield from self._called(reading, passage, entry, turn)
        else:
            yield from self._of_a_car(reading, passage, entry, turn)
        if doubted is not None and doubted.sure:
            yield self.doubtful_now(doubted, turn)

    def _recognised(
        self, entry: Entry, reading: Reading, passage: Passage, turn: RadioTurn
    ) -> Entry:
        """Return an entry as sure as its words were recognised rightly; where the recogniser was
        not sure of them what is expected of the car weighs, too.
        """
        certainty, likely = turn.choice.certainty(self.odds, passage), ""
        if certainty < self.threshold and (
            heard := self.weighing.by_confidences(reading, passage, turn)
        ):
            weighed = any(word.alternatives for word in turn.utterance.words)
            others = 1.0 if weighed else turn.choice.share
            certainty = heard[0] * others * turn.choice.is_report(self.odds, passage)
            if heard[1].guess.said != reading.said:
                context = self.exchange.context(turn.car, turn.utterance)
                likely = str(perhaps(self.book, heard[1], context) or "")
        note = "; ".join(filter(None, (entry.note, likely)))
        return entry.replace(certainty=round(certainty, 4), note=note).decided(self.threshold)

    def _changed_behind(self, passage: Passage, turn: RadioTurn) -> bool:
        """Tell whether words that put something right, or take it back, stand right behind what was
        read, and are not a part of it.
        """
        words = self.finder.cut(turn.utterance.text)
        behind = [
            number
            for number, word in enumerate(words)
            if word.span[0] >= passage.span[1] and word.kind not in _PASSED
        ]
        if not behind or turn.choice.doubts:
            return False
        first = words[behind[0]]
        if first.kind in (WordKind.CORRECTION, WordKind.DISREGARD):
            return not any(
                other.kind == "reading" and other.span[0] <= first.span[0] < other.span[1]
                for other in turn.choice.passages
            )
        back = self.finder.mending.takes_back(words[behind[0] :])
        return back and any(one.start == behind[0] for one in self.finder.mending.find(words))

    def _corrected(self, reading: Reading, turn: RadioTurn) -> Last | None:
        """Return the speaker's last report where one behind CORRECTION is of a lap after it, which
        it can't be so soon: each is as doubtful as the other then.
        """
        last = self.exchange.put_right(turn.utterance, turn.role, turn.car)
        lap = turn.car.laps.said(reading)
        words = self.finder.cut(turn.utterance.text)
        if last is None or last.lap is None or lap is None or lap <= last.lap:
            return None
        if turn.utterance.at is None and last.number < turn.utterance.number - 1:
            return None  # it may be of what was said between
        said = any(
            word.kind is WordKind.CORRECTION
            for word in words
            if word.span[0] <= reading.spans[0][0]
        )
        return last if said and last.reading is not None else None

    def _with_mending(
        self, reading: Reading, passage: Passage, turn: RadioTurn
    ) -> tuple[Passage, Last | None]:
        """Return a report said behind words that put something right, as what it changes: the last
        one of its lap, the wall's guess too; and the last one where it is of another lap: each is
        as doubtful as the other then.
        """
        last = turn.car.last.get(reading.direction)
        if last is None or last.reading is None or not last.about(reading.message):
            return passage, None
        own = last.speaker == turn.utterance.speaker
        if not self.exchange.near(last, turn.utterance, self.odds["again"]) or not (
            own or turn.role == "car" == reading.direction
        ):
            return passage, None
        lap, sure = turn.car.laps.said(reading), not passage.mending.startswith("?")
        if lap is None or lap == last.lap:
            return replace(passage, changing=True), None
        if not own or (not sure and turn.utterance.at is None):
            return passage, None
        return passage, last

    def _of_a_car(
        self, reading: Reading, passage: Passage, entry: Entry, turn: RadioTurn
    ) -> Iterator[Draft]:
        """Keep a report where its car is known; it waits where it is not."""
        last = self.exchange.recent(turn, "car", "readback") if turn.car.name else None
        changing = passage.changing or turn.choice.changed
        if last is not None and (last.reading == reading or changing):
            if last.reading is None and turn.role == "car" and not turn.choice.changed:
                likely = self.whose.of(reading, turn)
                if likely[0] != turn.car.name and likely[1] >= _NEARLY:
                    entry = entry.replace(refusal=DOUBTFUL, note=f"most likely of car {likely[0]}")
            yield from self._reported_by(reading, passage, entry, turn)
            return
        if (other := self._read_back_elsewhere(reading, turn)) is not None:
            yield other
        car, sure = self.whose.of(reading, turn)
        if not turn.car.name and (just := self.whose.just_said(reading, turn)):
            car, sure = just, 1.0  # two cars seldom say all the same
        if not self.whose.known(car, sure, turn):
            if self.exchange.of_nobody(turn) or (
                self.roster.stranger(turn.utterance) and not car and len(self.roster.crews) == 1
            ):
                turn = replace(turn, car=self.exchange.car(""))
                yield from self._report(reading, passage, entry.replace(car=""), turn)
            else:
                waiting = Waiting(reading, passage, entry, turn)
                if called := self.whose.called(reading, turn):  # it is read back
                    yield from self._given(waiting, called, 1.0)
                else:
                    self.whose.wait(waiting)
            return
        if car != turn.car.name:
            waiting = Waiting(reading, passage, entry, turn)
            yield from self._given(waiting, car, sure)
        else:
            yield from self._reported_by(reading, passage, entry, turn)
        yield from self._settled()

    def _reported_by(
        self, reading: Reading, passage: Passage, entry: Entry, turn: RadioTurn
    ) -> Iterator[Draft]:
        """Keep a report of a known car: one of its own, one said again, one read back, or one of
        which only the read-back was heard.
        """
        last = self.exchange.recent(turn, "car", "readback")
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
        one = self.exchange.recent(turn, "car", "again")
        if one is not None and one.sure and self._same_lap(one, reading, turn):
            yield self._readback(entry, turn, one, agrees=one.reading == reading)
        elif one is not None and not one.sure and self._of_one_report(one, reading, turn):
            yield from self._second(reading, passage, entry, turn, one)
        else:
            yield from self._alone(reading, passage, entry, turn)

    def _of_one_report(self, last: Last, reading: Reading, turn: RadioTurn) -> bool:
        """Tell whether what could not be read may be what is read now."""
        soon = last.asked or self.exchange.near(last, turn.utterance, self.odds["readback"])
        return soon and last.about(reading.message)

    def _same_lap(self, last: Last, reading: Reading, turn: RadioTurn) -> bool:
        if last.reading is not None and last.reading.message != reading.message:
            return False
        if reading.message != self.exchange.reported or turn.utterance.at is not None:
            return True
        return last.lap == turn.car.laps.said(reading)

    def _second(
        self, reading: Reading, passage: Passage, entry: Entry, turn: RadioTurn, last: Last
    ) -> Iterator[Draft]:
        """Keep what the wall read back of a report that could not be read: two hearings of one
        report.
        """
        words = self.weighing.words(passage, turn)
        weighed = self.weighing.weighed(words, turn, last) if last.doubt is not None else None
        if weighed is not None and (not weighed.accept or weighed.guess != reading):
            entry = entry.replace(refusal=DOUBTFUL)
        yield from self._report(reading, passage, entry.replace(note=_READ_BACK), turn, mends=last)

    def _alone(
        self, reading: Reading, passage: Passage, entry: Entry, turn: RadioTurn
    ) -> Iterator[Draft]:
        """Keep what somebody read back whose driver was not heard, if it is of the lap expected."""
        utterance = turn.utterance
        share = turn.car.outlook.lap_share(reading, utterance.at, utterance.number)
        if share < FITS or (turn.role == "pit" and reading.message != self.exchange.reported):
            yield self._readback(
                entry, turn, self.exchange.recent(turn, "car", "readback"), agrees=False
            )
        else:
            yield from self._report(reading, passage, entry.replace(note=_ALONE), turn)

    def _called(
        self, reading: Reading, passage: Passage, entry: Entry, turn: RadioTurn
    ) -> Iterator[Draft]:
        """Keep a call: one of its own, one read back, or one of which only the read-back was
        heard.
        """
        last = self.exchange.recent(turn, "pit", "readback")
        agrees = last is not None and last.reading == reading
        by_another = last is not None and last.speaker != turn.utterance.speaker
        if agrees and (by_another or turn.role == "car"):
            yield self._readback(entry, turn, last, agrees=True)
        elif turn.role == "car" and (
            self._other_than_called(reading, last, turn) or self._no_call(reading, passage, turn)
        ):
            yield self._readback(entry, turn, last, agrees=False)
        elif (
            not turn.car.name
            and len(self.roster.crews) > 1
            and turn.role is None
            and (not self.roster.stranger(turn.utterance))
        ):
            self.whose.wait(Waiting(reading, passage, entry, turn))
        else:
            yield from self._report(reading, passage, entry, turn)

    def _other_than_called(self, reading: Reading, last: Last | None, turn: RadioTurn) -> bool:
        """Tell whether a driver says another call than was just made: a driver never calls, so the
        call was read back wrong.
        """
        if last is None or last.reading is None or not last.sure or turn.car.swapped > 1:
            return False
        by_another = last.speaker != turn.utterance.speaker
        return by_another and last.reading.message == reading.message

    def _no_call(self, reading: Reading, passage: Passage, turn: RadioTurn) -> bool:
        """Tell whether a call that only a driver is said to have said may be none: too few words,
        or the beginning of a report.
        """
        if turn.car.swapped > 1:
            return False
        words = self.finder.cut(self.book.alphabet.say(reading.said))
        begun = self.finder.edits.longer(words, before=False)
        return begun or passage.bits < self.odds["wrong_role"]

    def _readback(self, entry: Entry, turn: RadioTurn, last: Last | None, *, agrees: bool) -> Draft:
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

    # one more, or the last one put right

    def _report(
        self,
        reading: Reading,
        passage: Passage,
        entry: Entry,
        turn: RadioTurn,
        weighed: Doubt | None = None,
        mends: Last | None = None,
    ) -> Iterator[Draft]:
        """Keep a report or call, as the correction of the last one where it is the same one again;
        one that only repeats it brings nothing.
        """
        direction, utterance = reading.direction, turn.utterance
        last = mends or self.exchange.recent(turn, direction, "again")
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
        elif (
            last is not None
            and (turn.choice.changed or passage.changing)
            and turn.car.laps.said(reading) is None
            and last.about(reading.message)
        ):
            lap, lap_by = last.lap_known  # put right, it is of the same lap
        else:
            lap, lap_by = turn.car.laps.of(reading, utterance.at, utterance.lap)
        kind: Kind = "report" if direction == "car" else "call"
        entry = self._valued(entry, reading).replace(kind=kind, lap=lap, lap_by=lap_by)
        if last is None or last.reading != reading:
            entry = self._near(reading, entry, turn)
        rival = None
        if last is not None and mends is None and self._of_two_cars(last, reading, passage, turn):
            entry = entry.replace(refusal=DOUBTFUL, certainty=STRAY_SURE, note=_OF_TWO_CARS)
            rival, last = last, None
        if last is not None and mends is None and not self._mends(last, entry, passage, turn):
            last = None
        if last is not None and last.reading == reading and not last.sure:
            entry = self._twice_heard(last, entry)
        entry = entry.decided(self.threshold)
        if not entry.refusal and direction == "car":
            self._learn(reading, entry, turn, again=last is not None)
        elif entry.lap_by == "said":
            self._suppose(reading, entry.lap, entry.certainty, turn)
        yield self._kept(entry, turn, direction, reading, mended=last, weighed=weighed)
        if rival is not None and rival.entry is not None:
            yield self._unsure(rival, rival.entry, turn, _OF_TWO_CARS)

    @staticmethod
    def _twice_heard(last: Last, entry: Entry) -> Entry:
        """Return the entry of a report that was heard before and not surely: surer than either,
        but no surer of its car.
        """
        before = 0.0 if last.entry is None else last.entry.certainty or 0.0
        if last.entry is not None and last.entry.note == _OF_TWO_CARS:
            return entry.replace(refusal=DOUBTFUL, certainty=before, note=_OF_TWO_CARS)
        sure = 1 - (1 - before) * (1 - (entry.certainty or 0.0))
        return entry.replace(certainty=sure, refusal="")

    def _suppose(
        self, reading: Reading, lap: int | None, sure: float | None, turn: RadioTurn
    ) -> None:
        """Take what a report most likely was that does not count."""
        likely = lap is not None and (sure or 0.0) > LIKELY
        if likely and reading.message == self.exchange.reported and turn.car.name:
            utterance = turn.utterance
            turn.car.outlook.suppose(reading, lap or 0, utterance.at, utterance.number, sure or 0.0)

    def _learn(self, reading: Reading, entry: Entry, turn: RadioTurn, *, again: bool) -> None:
        """Take what a report tells of its car, and of who speaks for it."""
        car, utterance = turn.car, turn.utterance
        if not again and turn.role is not None:
            car.swapped = max(-9, car.swapped + (1 if turn.role == "pit" else -1))
        if reading.message == self.exchange.reported:
            car.values = entry.values
            if entry.lap is not None:
                car.outlook.learn(reading, entry.lap, utterance.at, utterance.number)
                self.whose.learn(turn)

    def _of_two_cars(self, last: Last, reading: Reading, passage: Passage, turn: RadioTurn) -> bool:
        """Tell whether a report that says a lap just reported otherwise may be another car's, or
        the one before it: a name stands before one of them that is not its speaker's. It was not
        said to put that right, nor is it the same with one symbol misheard, and some other car that
        reports has not reported that lap.
        """
        before, car = last.reading, turn.car
        if before is None or not last.sure or last.asked or last.speaker != turn.utterance.speaker:
            return False
        if last.number in turn.utterance.earlier:
            return False  # it goes on with that
        lap = car.laps.said(reading)
        if passage.changing or turn.choice.changed or lap is None or lap != last.lap:
            return False
        if not before.message == reading.message == self.exchange.reported:
            return False
        if before == reading or (
            unchecked_report(self.book, reading) and _one_symbol_apart(before.said, reading.said)
        ):
            return False
        others = (self.exchange.car(name) for name in self.roster.cars if name != car.name)
        reported = [{one.lap for one in other.outlook.reports} for other in others]
        return any(lap not in laps and lap - max(laps, default=0) <= _LACKED for laps in reported)

    def perhaps_more(self, turn: RadioTurn) -> Iterator[Draft]:
        """Yield what marks the report before as doubtful, of which more may have been said than was
        read; one that waits is marked where it waits.
        """
        before, note = self.exchange.previous, f"{_MORE}: {turn.utterance.text[:100]}"
        self.whose.doubt(before, note)
        for name in ("", *self.roster.cars):
            car = self.exchange.car(name)
            last = car.last.get("car")
            if last is not None and last.number == before and last.sure and last.entry is not None:
                yield self._unsure(last, last.entry, replace(turn, car=car), note)

    def _read_back_elsewhere(self, reading: Reading, turn: RadioTurn) -> Draft | None:
        """Return what marks a report of one car as doubtful that another car's wall reads back
        right behind it: the name before one of the two lines is likely wrong. None for no such one.
        """
        if turn.role != "pit" or not turn.car.name or turn.car.swapped > 1:
            return None
        name = self.whose.just_said(reading, turn)
        if name in ("", turn.car.name):
            return None
        other = self.exchange.car(name)
        last = other.last["car"]
        if last.number != self.exchange.previous or not last.sure or last.entry is None:
            return None
        note = f"read back by the wall of car {turn.car.name}"
        return self._unsure(last, last.entry, replace(turn, car=other), note)

    def _unsure(self, last: Last, before: Entry, turn: RadioTurn, note: str) -> Draft:
        """Return what marks a report as doubtful that could be read."""
        last.sure = False
        turn.car.outlook.forget(last.number)
        entry = before.replace(
            kind="correction",
            refusal=DOUBTFUL,
            certainty=STRAY_SURE,
            note=note,
            uid=self.exchange.uid(),
        )
        return Draft(entry, last.uid)

    def _near(self, reading: Reading, entry: Entry, turn: RadioTurn) -> Entry:
        """Return the entry of a report: a doubtful one where a value is too far from those before,
        and nothing checks it.
        """
        car, utterance = turn.car, turn.utterance
        if not unchecked_report(self.book, reading) or not self.exchange.of_a_known_car(turn):
            return entry
        report = Valued(utterance.at, car.laps.said(reading), reading.values)
        if entry.refusal:
            car.leaps.doubt(report)
            return entry
        known, name = car.outlook.before(utterance.at, utterance.number), lap_field(self.book)
        before = None
        if known is not None:
            before = Valued(known.at, known.lap if name else None, known.values)
        odd = car.leaps.stray(report, before, car.outlook.lap_length())
        if not odd:
            return entry
        sure = round(min(entry.certainty or 1.0, STRAY_SURE), 4)
        return entry.replace(refusal=DOUBTFUL, certainty=sure, note=odd)

    def _leapt(
        self, reading: Reading, entry: Entry, turn: RadioTurn
    ) -> tuple[Reading, Leap | None]:
        """Return a report with the lap that it most likely says, and how far that is from those
        before; None for anything but a report of a known car that says its lap.
        """
        car, utterance = turn.car, turn.utterance
        said = car.laps.said(reading)
        if (
            said is None
            or reading.message != self.exchange.reported
            or utterance.lap is not None
            or entry.refusal
            or not self.exchange.of_a_known_car(turn)
        ):
            return reading, None
        leap = car.leaps.take(said, utterance.at, car.outlook.lap_length())
        if leap.lap != said and not leap.doubted:
            reading = self.exchange.restored(reading, {lap_field(self.book): leap.lap})
        return reading, leap

    def _kept(
        self,
        entry: Entry,
        turn: RadioTurn,
        direction: Direction,
        reading: Reading | None,
        *,
        mended: Last | None,
        weighed: Doubt | None = None,
    ) -> Draft:
        """Remember a report or call as the last one, and return its draft: a correction of the one
        that it mends.
        """
        uid, utterance = entry.uid if mended is None else mended.uid, turn.utterance
        text = reading.text[slice(*_from_to(reading))] if reading and reading.spans else ""
        last = Last(
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

    def doubtful_now(self, last: Last, turn: RadioTurn) -> Draft:
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
            uid=self.exchange.uid(),
        )
        direction: Direction = "pit" if before.kind == "call" else "car"
        newest = turn.car.last.get(direction)
        draft = self._kept(entry, turn, direction, None, mended=last)
        if newest is not None and newest.uid != last.uid:
            turn.car.last[direction] = newest
        return draft

    def _mends(self, last: Last, entry: Entry, passage: Passage, turn: RadioTurn) -> bool:
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
        sure = last.entry.certainty if last.entry is not None else None
        if (entry.certainty or 0.0) < _NEARLY * (sure or 0.0):
            return False  # what is less sure puts nothing right that nobody took back
        return (
            last.reading.message == entry.message
            and entry.kind == "report"
            and entry.lap is not None
            and entry.lap == last.lap
        )

    def _of_one(self, last: Last, entry: Entry, passage: Passage, turn: RadioTurn) -> bool:
        """Tell whether something said soon after a report that was refused is that report again,
        and not the next one.

        It is not where each says another lap, or most words are others. Else times tell: a lap
        lasts longer. Without them the lap said does; where none is said it is so if the report was
        asked for.
        """
        if passage.changing:
            return True
        told = last.entry is not None and last.entry.lap_by == entry.lap_by == "said"
        if told and entry.lap != last.lap:
            return False
        if last.reading is None and not last.asked and entry.string:
            said = [word for word in self.finder.cut(last.text) if word.kind in SPOKEN]
            if 2 * _shared(said, entry.string) < len(said):
                return False
        if last.at is not None and turn.utterance.at is not None:
            return last.asked or self.exchange.near(last, turn.utterance, self.odds["readback"])
        return entry.lap == last.lap if entry.lap_by == "said" else last.asked

    @staticmethod
    def _valued(entry: Entry, reading: Reading) -> Entry:
        return entry.replace(values=dict(reading.values))


def _shared(words: Sequence[Word], string: str) -> int:
    """Return how many of some words may stand for symbols of a string, in its order."""
    most = [0] * (len(string) + 1)  # among its first so many symbols
    for word in words:
        before = most
        most = [0]
        forms = word.meaning.options or (word.meaning.value,)
        for place, symbol in enumerate(string):
            alike = any(symbol in form for form in forms)
            most.append(max(most[place], before[place + 1], before[place] + alike))
    return most[-1]


def _one_symbol_apart(one: str, other: str) -> bool:
    """Tell whether two strings differ in no more than one symbol."""
    return len(one) == len(other) and sum(a != b for a, b in zip(one, other, strict=True)) <= 1


def _clearer(before: Doubt | None, now: Doubt | None) -> bool:
    """Tell whether what was heard before says likely what it was, and what is heard now does not,
    or less so.
    """
    if before is None or before.probability < LIKELY:
        return False
    return now is None or now.probability < before.probability


def _ends(word: Word) -> bool:
    return word.kind is WordKind.SEPARATOR and not word.meaning.value


def _from_to(reading: Reading) -> Span:
    """Return where the words of a reading stand in its text."""
    starts, ends = zip(*reading.spans, strict=True)
    return min(starts), max(ends)


def _like_times(words: Wording) -> bool:
    """Tell whether words are figures written as times are."""
    return re.search(r"\d[.:/]\d\d", words.text, re.ASCII) is not None
