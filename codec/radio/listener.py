"""Utterances to entries: who spoke, for which car, on which lap; repeats, read-backs, corrections
and questions put in their place.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from codec.radio.choices import Interpretation
from codec.radio.crews import Crew
from codec.radio.exchange import Draft, Exchange, RadioTurn
from codec.radio.forms import LeftOut, Utterance
from codec.radio.laps import LapTimes
from codec.radio.named import PlainReport
from codec.radio.taking import Taking
from codec.radio.writing import Writing
from grammar.book import Book

_MOST_CHARACTERS = 20_000  # of an utterance


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
        self.exchange = Exchange(book, crews, times, after or {})
        self.book, self.finder, self.roster = book, self.exchange.finder, self.exchange.roster
        self.taking, self.writing = Taking(self.exchange), Writing(self.exchange)
        # the numbers of the utterances with which the last one was read together
        self.gone_on: tuple[int, ...] = ()

    def hear(self, utterance: Utterance) -> list[Draft | LeftOut]:
        """Return what one utterance brings: drafts of entries, or the reason why there are none."""
        number, text, self.gone_on = utterance.number, utterance.text, ()
        self.exchange.begin(utterance)
        if len(text) > _MOST_CHARACTERS:
            return [LeftOut(number, text[:200], "too long to be one utterance")]
        self.roster.take(utterance)
        role, name = self.roster.who(utterance)
        car = self.exchange.car(name)
        glance = self.taking.prefilter.glance(text)
        said, whole = self.taking.in_words(utterance) if glance.named else (None, utterance)
        perhaps = None
        if said is None and glance.named and role == "car":
            perhaps = self.finder.named.nearly(text)
        if (
            not glance.code
            and said is None
            and perhaps is None
            and not self.taking.may_say_something(utterance, role, car)
        ):
            self.taking.remember(utterance)
            return [LeftOut(number, text, "ordinary talk")]
        waited = list(self.writing.waited(utterance))
        if (last := self.taking.taken_back(utterance, role, car)) is not None:
            turn = RadioTurn(Interpretation(utterance, ()), role, car)
            return [*waited, self.writing.doubtful_now(last, turn)]
        choice = self.taking.taken_for(utterance, role, car)
        turn = RadioTurn(choice if said is None else _without(choice, said), role, car)
        drafts = list(self.writing.drafts(turn))
        if said is not None:
            drafts += self.writing.named(said, replace(turn, choice=Interpretation(whole, ())))
        elif not drafts and perhaps is not None:
            drafts += self.writing.named(perhaps, turn)
        elif not drafts and (last := self.taking.doubted(turn)) is not None:
            drafts.append(self.writing.doubtful_now(last, turn))
        waits = self.writing.whose.waits(turn)
        if not drafts and not waits and self.taking.perhaps_more(turn):
            drafts += self.writing.perhaps_more(turn)
        if not drafts and not waits:
            drafts.append(LeftOut(number, text, self._why_nothing(choice)))
        read = any(passage.kind == "reading" for passage in turn.choice.passages)
        if waits or read or any(isinstance(one, Draft) for one in drafts):
            drafts += self._beside(utterance, turn, said, drafts)
            self.gone_on = (*turn.utterance.earlier, *whole.earlier)
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
        turn: RadioTurn,
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
            or any(turn.words_of(passage) in one for one in kept)
        ]
        covered += [(0, len(text) - len(utterance.text))] if text != utterance.text else []
        covered += [said.span] if said is not None else []
        for words in self.finder.beside(self.finder.cut(text), covered):
            if not any(words in one for one in kept):
                yield LeftOut(utterance.number, words, "not read, beside what was")

    def may_go_on(self) -> set[int]:
        """Return the numbers of the utterances with which one that follows may go on."""
        return self.taking.waiting()

    def waits(self) -> int | None:
        """Return since when something waits to be told whose it is; None where nothing does."""
        return self.writing.whose.since()

    def finish(self) -> list[Draft | LeftOut]:
        """Return what waited for more than was said."""
        return list(self.writing.finish())


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
