"""What an utterance is taken for: alone, or with those before it that it goes on with, answers or
puts right.
"""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from codec.radio.choices import Interpretation, best
from codec.radio.doubt import LIKELY, doubt, restored, slots_of
from codec.radio.edits import MOST
from codec.radio.evidence import Prefilter, least_symbols
from codec.radio.exchange import HEARD, MOST_JOINED, REST, Exchange, Last, RadioCar, RadioTurn
from codec.radio.finder import Passage
from codec.radio.forms import Utterance
from codec.radio.leaps import unchecked_report
from codec.radio.mending import Mending
from codec.radio.named import PlainReport
from codec.radio.parts import put_together
from codec.radio.weighing import ENDS
from codec.reading import Reading
from codec.sheet.entry import DOUBTFUL
from grammar.errors import ReportError
from grammar.message import Direction
from grammar.speech.kinds import CHANGING, SPOKEN, WordKind
from grammar.speech.words import Wording

_MOST_ON = 12  # words of a line that may go on with a report
_SEVERAL = 2  # of them in a row: it may go on with a report, though a sentence follows
_PAUSED = 0.5  # how sure what goes on behind words like WAIT is, where nothing checks it


class Taking:
    """Tells what utterances are taken for, in order; a few that may go on are held."""

    def __init__(self, exchange: Exchange) -> None:
        """Take what is known of the exchange so far."""
        self.exchange = exchange
        self.book, self.finder, self.roster = exchange.book, exchange.finder, exchange.roster
        self.odds = exchange.odds
        self.prefilter = Prefilter(self.finder.evidence, self.finder.named.begun)
        self._tails: deque[Utterance] = deque(maxlen=4)
        self._halves: deque[Utterance] = deque(maxlen=3)  # of reports in plain words

    def may_say_something(
        self, utterance: Utterance, role: Direction | None, car: RadioCar
    ) -> bool:
        """Tell whether an utterance whose words alone are no code is worth a look: by what was said
        before, or because nothing but doubtful words stand in it.
        """
        text = utterance.text
        return (
            utterance.open_to_doubt
            or bool(utterance.slots)
            or self._may_go_on(utterance)
            or (
                role != "pit"
                and self.prefilter.nothing_else(text, self.finder.like_code, self.finder.talk)
            )
            or self._may_put_right(utterance, car, role)
            or self._open_before(utterance, role)
            or self._asked_last(utterance, car, role) is not None
        )

    def taken_for(
        self, utterance: Utterance, role: Direction | None, car: RadioCar
    ) -> Interpretation:
        """Return what an utterance is taken for."""
        return (self._of_doubts if utterance.slots else self._of_text)(utterance, role, car)

    def _of_text(
        self, utterance: Utterance, role: Direction | None, car: RadioCar
    ) -> Interpretation:
        """Return what an utterance is taken for by its text."""
        words = self.finder.cut(utterance.text)
        if (answer := self._answer(utterance, words, role, car)) is not None:
            return answer
        choice = best(self.finder, utterance, words, role)
        read = any(passage.kind == "reading" for passage in choice.passages)
        alone = read or any(passage.kind == "perhaps" for passage in choice.passages)
        choice = self._joined(utterance, words, role, car, read=alone) or choice
        readings = [one.readings[-1] for one in choice.passages if one.kind == "reading"]
        if readings:
            self.exchange.just_read = utterance, readings[-1]
        else:
            self.remember(utterance)
        if readings and not read:
            others = [tail for tail in self._tails if tail.speaker != utterance.speaker]
            self._tails = deque(others, self._tails.maxlen)
        if any(passage.readings for passage in choice.passages):
            context = self.exchange.context(car, utterance)
            choice.passages = [self._in_context(one, context) for one in choice.passages]
        return choice

    def _asked_last(
        self, utterance: Utterance, car: RadioCar, role: Direction | None
    ) -> Last | None:
        """Return the report of which a part was just asked for, where this may be the answer."""
        last = car.last.get("car")
        if last is None or last.part is None or last.reading is not None or role == "pit":
            return None
        speakers = {last.speaker, utterance.speaker} - {""}
        near = self.exchange.near(last, utterance, self.odds["again"])
        return last if len(speakers) <= 1 and near else None

    def _answer(
        self, utterance: Utterance, words: Wording, role: Direction | None, car: RadioCar
    ) -> Interpretation | None:
        """Return the report that an utterance is together with the one of which it says the part
        that was asked for.
        """
        last = self._asked_last(utterance, car, role)
        if last is None or last.part is None:
            return None
        first, context = self.finder.cut(last.text), self.exchange.context(car, utterance)
        reading = put_together(self.book, first, words, last.part, context)
        if reading is None:
            return None
        passage = Passage("reading", (0, len(utterance.text)), (reading,), bits=HEARD)
        return Interpretation(utterance, [passage], changed=True)

    def _in_context(self, passage: Passage, context: Mapping[str, Any]) -> Passage:
        """Return a passage with the laps of its readings made whole."""
        readings = tuple(self.exchange.restored(reading, context) for reading in passage.readings)
        return replace(passage, readings=readings)

    def _of_doubts(
        self, utterance: Utterance, role: Direction | None, car: RadioCar
    ) -> Interpretation:
        """Return what an utterance is taken for by a recogniser's doubts: whether it holds a
        report, and which, is weighed by what is expected; its text tells no more than phrases.
        """
        text, context = utterance.text, self.exchange.context(car, utterance)
        plain, slots = utterance.taken_for(text), slots_of(utterance)
        expected = self.exchange.expected(car, utterance)
        doubted = doubt(
            self.book,
            slots,
            None if role == "pit" else expected.values,
            direction=role or "car",
            laps=expected.laps,
            of_laps=expected.of_laps,
            surprise=expected.surprise,
        )
        if doubted is None or doubted.hearing.nothing >= LIKELY:
            found = best(self.finder, plain, self.finder.cut(text), role)
            phrases = [one for one in found.passages if one.kind not in ("reading", "refused")]
            return Interpretation(plain, phrases, "ordinary talk")
        span = (0, len(text))
        if doubted.accept:
            passage = Passage("reading", span, (restored(doubted, context),), bits=HEARD)
            return Interpretation(plain, [passage], share=doubted.probability, doubts=slots)
        why = ReportError(f"not sure: ask {doubted.question}", kind=DOUBTFUL)
        return Interpretation(plain, [Passage("refused", span, error=why)], doubts=slots)

    # what is put right, or taken back, in a line of its own

    def _may_put_right(self, utterance: Utterance, car: RadioCar, role: Direction | None) -> bool:
        """Tell whether an utterance may put right, or take back, what its speaker just said."""
        return (
            self.exchange.put_right(utterance, role, car) is not None
            and len(utterance.text) < MOST_JOINED
            and self.finder.mending.begin(utterance.text)
            and (
                self.finder.mending.sure(utterance.text)
                or sum(map(self.prefilter.codes, utterance.text.split())) > 1
            )
        )

    def taken_back(
        self, utterance: Utterance, role: Direction | None, car: RadioCar
    ) -> Last | None:
        """Return the report or call before of which its speaker says no more than that it does not
        count.
        """
        if not self._may_put_right(utterance, car, role):
            return None
        if not self.finder.mending.takes_back(self.finder.cut(utterance.text)):
            return None
        return self._read(self.exchange.put_right(utterance, role, car))

    def doubted(self, turn: RadioTurn) -> Last | None:
        """Return the report or call before which code words that can't be read alone put right, and
        not plainly how.
        """
        words = self.finder.cut(turn.utterance.text)
        last = self._read(self.exchange.put_right(turn.utterance, turn.role, turn.car))
        if last is None:
            return None
        if words and words[0].kind is WordKind.CORRECTION:
            said = sum(word.kind in SPOKEN for word in words)
            others = sum(word.kind is WordKind.UNKNOWN for word in words)
            return last if said >= max(1, others) else None
        one = next(iter(self.finder.mending.find(words)), None)
        if one is None:
            return None
        before = [word for word in words[: one.start] if word.kind is not WordKind.FILLER]
        behind = [word for word in words[one.end :] if word.kind is not WordKind.FILLER]
        codes = [word for word in behind if word.kind in SPOKEN]
        enough = 1 if one.sure else 2
        if before or len(codes) < enough or least_symbols(codes) < enough:
            return None
        few = len(codes) < len(behind) - (1 if len(codes) > 2 else 0)
        return None if few else last

    @staticmethod
    def _read(last: Last | None) -> Last | None:
        return None if last is None or last.entry is None or last.reading is None else last

    # one report in two utterances

    def remember(self, utterance: Utterance) -> None:
        """Keep an utterance that stops in the middle of a code: the next one may go on with it, and
        with what it goes on with itself.
        """
        text = self.finder.mending.unpaused(utterance.text)
        if len(text) < MOST_JOINED and self.prefilter.codes((text.rsplit(None, 1) or [""])[-1]):
            befores = [*self._gone_on_with(utterance)] if self._begins_in_code(text) else []
            for one in befores:
                self._tails.remove(one)
            until = utterance.at if utterance.until is None else utterance.until
            spoken = self.finder.mending.unpaused
            wholes = [
                one.gone_on_with(utterance) for one in befores if spoken(one.text) == one.text
            ]
            kept = [one._replace(until=until) for one in wholes if len(one.text) < MOST_JOINED]
            self._tails.extend([utterance, *reversed(kept)])

    def waiting(self) -> set[int]:
        """Return the numbers of the utterances with which one that follows may go on."""
        held = (*self._tails, *self._halves)
        return {number for one in held for number in (one.number, *one.earlier)}

    def _begins_in_code(self, text: str) -> bool:
        return self.prefilter.codes(text.split(None, 1)[0])

    def _may_go_on(self, utterance: Utterance) -> bool:
        """Tell whether an utterance of few words, or one that begins with several of a code and
        ends a sentence there, may be the rest of a code that another one began.
        """
        if not self._tails:
            return False
        raws = self.finder.mending.unpaused(utterance.text).split(None, _MOST_ON)
        codes = sum(1 for _ in itertools.takewhile(self.prefilter.codes, raws[:_MOST_ON]))
        code = codes > 0 and (len(raws) <= REST or codes == len(raws))
        if not code and codes >= _SEVERAL:  # what is said behind it is talk
            code = raws[codes - 1].endswith(ENDS) or raws[codes].startswith(ENDS)
        return code and next(self._gone_on_with(utterance), None) is not None

    def _joined(
        self,
        utterance: Utterance,
        words: Wording,
        role: Direction | None,
        car: RadioCar,
        *,
        read: bool,
    ) -> Interpretation | None:
        """Return what an utterance is taken for together with the one it goes on with; None where
        there is no report across both, or where it was ``read`` alone.
        """
        if not words or len(utterance.text) > MOST_JOINED:
            return None
        if not read and (mended := self._mended(utterance, words, role, car)) is not None:
            return mended
        if not read and (rest := self._rest_of(utterance, words, role, car)) is not None:
            return rest
        first = next((word.kind for word in words if word.kind is not WordKind.FILLER), None)
        if first in CHANGING:
            last = self.exchange.put_right(utterance, role, car)
            befores: list[Utterance | Last] = [] if last is None else [last]
        elif first in SPOKEN or first is WordKind.UNKNOWN:
            befores = [
                tail
                for tail in self._gone_on_with(utterance)
                if self.prefilter.across(tail.text, utterance.text)
            ]
        else:
            return None
        unread: Interpretation | None = None
        for before in befores:
            found = self._across(before, utterance, role, read=read)
            if found is not None and any(one.kind == "reading" for one in found.passages):
                rivals = befores[befores.index(before) + 1 :]
                return self._rivalled(found, before, rivals, utterance, role, read=read)
            unread = unread or found
        return unread

    def _rivalled(
        self,
        found: Interpretation,
        before: Utterance | Last,
        rivals: Sequence[Utterance | Last],
        utterance: Utterance,
        role: Direction | None,
        *,
        read: bool,
    ) -> Interpretation:
        """Return what was read across two utterances, half as sure where the second may as well go
        on with another one of the same name, none of which goes on in the first.
        """
        if not isinstance(before, Utterance):
            return found
        numbers = {before.number, *before.earlier}
        for other in rivals:
            if isinstance(other, Last) or other.speaker != before.speaker:
                continue
            if numbers & {other.number, *other.earlier}:
                continue
            rival = self._across(other, utterance, role, read=read)
            if rival is not None and any(one.kind == "reading" for one in rival.passages):
                return replace(found, share=found.share / 2)
        return found

    def _open_before(self, utterance: Utterance, role: Direction | None) -> bool:
        """Tell whether the line before was, a moment ago and by the same speaker, a report that may
        go on with what is said now, which is short.
        """
        if self.exchange.just_read is None or role == "pit":
            return False
        before, reading = self.exchange.just_read
        at_once = before.number == self.exchange.previous and before.speaker == utterance.speaker
        if not at_once or not 0 < len(utterance.text.split()) <= REST + 2:
            return False
        near = self.exchange.near(before, utterance, self.odds["pause"])
        words = self.finder.cut(utterance.text)
        return near and self.finder.edits.goes_on(reading.said, words, REST)

    def _rest_of(
        self, utterance: Utterance, words: Wording, role: Direction | None, car: RadioCar
    ) -> Interpretation | None:
        """Return what an utterance of code words alone is taken for together with the report that
        it is the rest of, which could be read without it: a part of that is often left out.
        """
        last = car.last.get("car")
        if last is None or last.number != self.exchange.previous or not last.sure:
            return None
        if not self._open_before(utterance, role) or any(
            word.kind not in SPOKEN and word.kind is not WordKind.FILLER for word in words
        ):
            return None
        plainly = self.finder.evidence.of_word
        if all(word.kind is WordKind.FILLER or plainly(word) < 1 for word in words):
            return None  # to, for: they may as well be of ordinary talk
        found = self._across(last, utterance, role, read=False)
        read = found is not None and any(one.kind == "reading" for one in found.passages)
        return found if read else None

    def perhaps_more(self, turn: RadioTurn) -> bool:
        """Tell whether this may be the rest of the report before it, which could be read without:
        nothing but code words and what is written like them.
        """
        if not self._open_before(turn.utterance, turn.role):
            return False
        words = [
            word
            for word in self.finder.cut(turn.utterance.text)
            if word.kind is not WordKind.FILLER
        ]
        plainly = self.finder.evidence.of_word
        codes = [word for word in words if word.kind in SPOKEN and plainly(word) >= 1]
        like = all(
            word.kind in SPOKEN
            or (
                word.kind is WordKind.UNKNOWN
                and word.text.casefold() not in self.finder.talk
                and self.finder.like_code(word.text.casefold())
            )
            for word in words
        )
        few = len(words) < self.finder.shortest
        return few and like and 2 * len(codes) >= len(words) > 0

    def _mended(
        self, utterance: Utterance, words: Wording, role: Direction | None, car: RadioCar
    ) -> Interpretation | None:
        """Return what an utterance is taken for together with the report that it puts a part of
        right in ordinary words; None where it does not, or not plainly.
        """
        one = next(iter(self.finder.mending.find(words)), None)
        if words[0].kind is WordKind.CORRECTION:
            one = Mending(0, 1, sure=True)
        if one is None or any(word.kind is not WordKind.FILLER for word in words[: one.start]):
            return None
        last = self.exchange.put_right(utterance, role, car)
        behind = words[one.end :]
        if last is None or last.reading is None or len(behind) < (1 if one.sure else 2):
            return None
        text = f"{last.text} {utterance.text}"
        reading = self._named_anew(last.reading, utterance.text[behind.span[0] :], text)
        if reading is None and words[0].kind is not WordKind.CORRECTION:
            both = self.finder.cut(text)
            count = len(both) - len(behind)
            reading = self.finder.spliced(text, both[: count - one.end], both[count:], last.reading)
        if reading is None:
            return None
        passage = Passage("reading", (0, len(text)), (reading,), bits=HEARD, changing=True)
        return Interpretation(utterance.put_behind(last.text), [passage], changed=True)

    def _named_anew(self, last: Reading, told: str, text: str) -> Reading | None:
        """Return a report with the values that are told by the names of fields instead of its own;
        None where none are, or the book has no string for it.
        """
        named = self.finder.named
        values = named.parts(told) if last.message == self.exchange.reported else {}
        if not values:
            return None
        said = PlainReport((0, len(text)), {**last.values, **values}, named_lap=True)
        return named.reading(said, None, text, last.values)

    def _across(
        self,
        before: Utterance | Last,
        utterance: Utterance,
        role: Direction | None,
        *,
        read: bool,
    ) -> Interpretation | None:
        """Return what an utterance is taken for together with another one before it."""
        first, rest = before.text, utterance.text
        changing = isinstance(before, Last)
        if isinstance(before, Last):
            joined = utterance.put_behind(first)
        else:
            first, rest = map(self.finder.mending.unpaused, (first, rest))
            joined = before.gone_on_with(utterance)._replace(text=f"{first} {rest}")
        paused = len(first) < len(before.text) or len(rest) < len(utterance.text)
        text, border = joined.text, len(first) + 1
        unread = not changing and not read
        crossing = [
            passage
            for passage in self.finder.across(self.finder.cut(text), border, role, unread=unread)
            if passage.kind == "reading" or (unread and self._nearly(passage, text))
        ]
        if not crossing:
            return None
        unchecked = any(
            unchecked_report(self.book, one) for passage in crossing for one in passage.readings
        )
        # what follows a pause like "sorry" may be meant to stand in place of what was before it
        share = _PAUSED if paused and unchecked else 1.0
        return Interpretation(joined, crossing, changed=changing, share=share)

    def _nearly(self, passage: Passage, text: str) -> bool:
        """Tell whether what can't be read across two utterances may be one report."""
        if passage.kind != "refused":
            return False
        start, end = passage.span
        return self.finder.edits.least(self.finder.cut(text[start:end])) < MOST - 1

    def _gone_on_with(self, utterance: Utterance) -> Iterator[Utterance]:
        """Yield the utterances that stopped in the middle of a code and may go on in this one:
        the same speaker's, then those of somebody not named.
        """
        tails = [tail for tail in reversed(self._tails) if self._goes_on(tail, utterance)]
        yield from sorted(tails, key=lambda tail: tail.speaker != utterance.speaker)

    def _goes_on(self, tail: Utterance, utterance: Utterance) -> bool:
        same = tail.speaker == utterance.speaker
        near = self.exchange.near(tail, utterance, self.odds["pause"], within=2)
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

    def in_words(self, utterance: Utterance) -> tuple[PlainReport | None, Utterance]:
        """Return the report in plain words in an utterance, or in it and the ones that it goes on
        with, with what it stands in.
        """
        named, text = self.finder.named, utterance.text
        if len(text) > MOST_JOINED:
            return None, utterance
        said = named.find(text)
        if said is not None and not said.missing:
            return said, utterance
        whole = utterance
        for before in reversed(self._halves):
            if not self._goes_on(before, whole):
                continue
            alone = before.gone_on_with(utterance), before.gone_on_with(whole)
            for joined in alone if whole is not utterance else alone[:1]:
                both = named.find(joined.text)
                if both is not None and not both.missing:
                    self._halves.clear()
                    return both, joined
            whole = alone[1]
        self._halves.append(utterance)
        return said, utterance
