"""What a report that can't be read most likely was, and which words beside one may belong to it."""

from __future__ import annotations

import functools
from itertools import pairwise
from typing import TYPE_CHECKING

from codec.radio.choices import places
from codec.radio.doubt import LIKELY, Doubt, doubt, perhaps, radio_after, restored
from codec.radio.edits import MOST
from codec.radio.exchange import FITS, REST, Exchange, ExpectedReport, Last, RadioTurn
from codec.radio.finder import Passage
from codec.reading import Reading
from codec.sheet.entry import DOUBTFUL
from grammar.errors import CodeError
from grammar.message import Direction
from grammar.speech.kinds import ONE_SYMBOL, SPOKEN, WordKind
from grammar.speech.words import Wording

if TYPE_CHECKING:
    from codec.hear import Slots

ENDS = (".", "!", "?", ";", "...", "…")
_LITTLE = ("a", "i", "o")  # words of their own: as likely noise as the letters


class Weighing:
    """Weighs what can't be read, with what its car reported before."""

    def __init__(self, exchange: Exchange) -> None:
        """Take what is known of the exchange so far."""
        self.exchange = exchange
        self.book, self.finder, self.roster = exchange.book, exchange.finder, exchange.roster
        self.odds = exchange.odds

    def words(self, passage: Passage, turn: RadioTurn) -> str:
        """Return the words of a passage, each apart."""
        words = self.finder.cut(turn.utterance.text)
        inside = [
            "?" if word.text in _LITTLE else word.text
            for word in words
            if passage.span[0] <= word.span[0] and word.span[1] <= passage.span[1]
        ]
        return " ".join(inside)

    def weighed(self, words: str | Slots, turn: RadioTurn, before: Last | None) -> Doubt | None:
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

    def _weighed_alone(
        self, words: str | Slots, turn: RadioTurn, before: Last | None
    ) -> Doubt | None:
        """Return the same of words without what was heard of their report before."""
        if isinstance(words, str) and self.finder.edits.least(self.finder.cut(words)) >= MOST:
            return None
        return self._heard(words, turn, before)

    def _heard(
        self, words: str | Slots, turn: RadioTurn, before: Last | None, said: Reading | None = None
    ) -> Doubt | None:
        """Return what words most likely were by what their car reported before: where they can be
        read, of the lap they say.
        """
        car, utterance = turn.car, turn.utterance
        sent: Direction = "car" if said is None else said.direction
        expected = self.exchange.expected(car, utterance, again=before, read=said is not None)
        if sent == "pit":
            expected = ExpectedReport(None, None)
        radio = radio_after(self.book, car.reports)
        hear = functools.partial(
            doubt,
            self.book,
            words,
            expected.values,
            radio=radio,
            direction=sent,
            of_laps=expected.of_laps,
            surprise=expected.surprise,
            ask=False,
        )
        found = hear(laps=expected.laps)
        told = perhaps(self.book, found, self.exchange.context(car, utterance))
        if expected.last is not None and told is not None and told.lap in expected.of_laps:
            ago = (told.lap or 0) - expected.last.lap
            if ago > 0 and ago != expected.laps:  # so long its values went on
                return hear(laps=ago)
        return found

    def by_confidences(
        self, reading: Reading, passage: Passage, turn: RadioTurn
    ) -> tuple[float, Doubt] | None:
        """Return how sure a reading is by what the recogniser told of each of its words, heard as
        what is expected of its car, with what they most likely were; None where it told nothing.
        """
        utterance = turn.utterance
        told = {start: word for word, start, _ in places(utterance) if word.confidence is not None}
        if len(passage.readings) > 1 or {"/", "="} & {*self.book.alphabet.symbols}:
            return None
        words = [
            word
            for word in self.finder.cut(utterance.text)
            if passage.span[0] <= word.span[0] and word.span[1] <= passage.span[1]
        ]
        if not words or (not told and utterance.confidence is None):
            return None
        each = 1.0 if told else (utterance.confidence or 0.0) ** (1 / len(words))
        parts, left = list[str](), 1.0
        for word in words:
            one = told.get(word.span[0])
            sure = each if one is None or one.confidence is None else one.confidence
            if word.kind in ONE_SYMBOL and sure < 1:
                others = [] if one is None else [pair for pair in one.alternatives if pair[1] > 0]
                ways = [(word.text, sure), *((text, n) for text, n in others if text.isalpha())]
                parts.append("/".join(f"{text}={share:.6f}" for text, share in ways))
            else:
                parts.append(word.text)
                left *= sure
        heard = self._heard(" ".join(parts), turn, None, reading)
        if heard is None:
            return None
        right = heard.guess.said == reading.said
        unlike = min(heard.probability, 1 - heard.probability)  # at most: it is less likely
        return (heard.probability * left if right else unlike), heard

    def may_be_taken(self, weighed: Doubt, turn: RadioTurn) -> bool:
        """Tell whether what was weighed may be taken: the book's threshold allows it, its car is
        known, and its lap is the one expected.
        """
        if not weighed.accept or not self.exchange.of_a_known_car(turn):
            return False
        if weighed.guess.message != self.exchange.reported:
            return turn.role != "pit"
        utterance = turn.utterance
        reading = restored(weighed, self.exchange.context(turn.car, utterance))
        return turn.car.outlook.lap_share(reading, utterance.at, utterance.number) >= FITS

    def cut_short(self, reading: Reading, passage: Passage, turn: RadioTurn) -> Passage | None:
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
        heard = self.weighed(" ".join(word.text for word in wider), turn, None)
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
        code, or was left over, where the report could be longer, and those of the code beyond.
        """
        step, place, count = (-1, start - 1, 0) if before else (1, end, 0)
        parted = {words.text[a.span[1] : b.span[0]].strip() for a, b in pairwise(words[start:end])}
        while 0 <= place < len(words) and count < REST:
            word, beside = words[place], words[place - step]
            between = sorted((word.span, beside.span))
            mark = words.text[between[0][1] : between[1][0]].strip()
            if mark and (mark not in parted or mark in ENDS):
                break
            form = word.text.casefold()
            unread = word.kind is WordKind.UNKNOWN and form not in self.finder.plain
            left = unread or (not before and self._left_over(words, place))
            if count == 0:
                inside = words[start:end]
                if not left or not self.finder.edits.longer(inside, before=before):
                    break
            elif not (word.kind in SPOKEN or (unread and self.finder.like_code(form))):
                break
            place, count = place + step, count + 1
        return count

    def _left_over(self, words: Wording, place: int) -> bool:
        """Tell whether a word of the code is none of the talk behind it: two laps, five of them."""
        word, behind = words[place], words[place + 1 : place + 2]
        talk = any(one.text.casefold() in self.finder.after for one in behind)
        return word.kind in SPOKEN and self.finder.evidence.of_word(word) >= 1 and not talk
