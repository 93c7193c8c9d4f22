"""The search of one utterance for reports and calls, phrases and questions.

Words of the book that stand together make a run; what parses in a run, whole or without the weak
words at its ends, is a report if its words speak for one strongly enough. Two different readings
are a tie and refused.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from codec.decoding import decode, decode_all
from codec.radio.asides import asides
from codec.radio.evidence import digits_of
from codec.radio.found import Found, Heard
from codec.radio.unread_reports import refused
from codec.reading import Reading
from grammar.errors import CodeError
from grammar.message import Direction
from grammar.speech.kinds import CHANGING, SPOKEN, WordKind
from grammar.speech.words import cut

if TYPE_CHECKING:
    from codec.radio.finder import Finder

_ENDS, _STOPS = ".!?;", ".!?;,:"
_PAST = (WordKind.FILLER, WordKind.ANSWER, WordKind.SEPARATOR)
_MOST_CUTS = 12
_SYMBOLS = {
    WordKind.TEEN: 2,
    WordKind.TENS: 2,
    WordKind.HUNDRED: 3,
    WordKind.THOUSAND: 4,
    WordKind.MULTIPLE: 3,
}  # at most
Item = tuple[int, int]  # a stretch of words, from … to


class Search:
    """The search of one utterance; ``run`` returns what it holds."""

    def __init__(self, finder: Finder, text: str, role: Direction | None, context: Any) -> None:
        """Cut the text into words."""
        self.finder, self.text, self.role, self.context = finder, text, role, context
        self.words = cut(finder.book.lexicon, text)
        self.forms = [text[word.span[0] : word.span[1]].casefold() for word in self.words]
        self.heard = Heard()

    def run(self) -> Heard:
        """Look for everything."""
        if all(word.kind is WordKind.UNKNOWN for word in self.words):
            self.heard.reason = "ordinary talk"
            return self.heard
        asides(self)
        runs = list(self._runs())
        for start, end in runs:
            self._run(start, end)
        if not any(found.kind in ("reading", "refused") for found in self.heard.found):
            refused(self, runs)
        self.heard.found.sort(key=lambda found: found.span)
        if not self.heard.found and not self.heard.reason:
            self.heard.reason = "words of the code, but no report"
        return self.heard

    # runs

    def _runs(self) -> Iterator[Item]:
        """Yield the runs of words that may belong to a code, without fillers at their ends and
        numbers that belong to the talk.
        """
        start = None
        for place in range(len(self.words) + 1):
            inside = place < len(self.words) and self.words[place].kind in (
                *SPOKEN,
                *CHANGING,
                WordKind.FILLER,
            )
            if inside and start is None:
                start = place
            elif not inside and start is not None:
                run = self._trimmed(start, place)
                if run[1] > run[0]:
                    yield run
                start = None

    def _trimmed(self, start: int, end: int) -> Item:
        while start < end and self.words[start].kind in (WordKind.FILLER, WordKind.AND):
            start += 1
        while end > start and self.words[end - 1].kind in (WordKind.FILLER, WordKind.AND):
            end -= 1
        if start and self.finder.claimed(self.forms[start - 1], before=True):
            taken = 1
            if (
                self.words[start].kind is WordKind.TENS
                and start + 1 < end
                and self.words[start + 1].kind is WordKind.UNIT
            ):
                taken = 2
            if self.words[start].kind is not WordKind.LETTER or len(self.forms[start]) == 1:
                start += taken
        if (
            end < len(self.words)
            and self.finder.claimed(self.forms[end], before=False)
            and end > start
        ):
            end -= 1
            if (
                end - 1 > start
                and self.words[end - 1].kind is WordKind.TENS
                and self.words[end].kind is WordKind.UNIT
            ):
                end -= 1
        return start, end

    def weak(self, place: int) -> bool:
        """Tell whether a word is hardly a sign of a code."""
        word = self.words[place]
        return (
            word.kind is WordKind.FILLER
            or self.finder.evidence.of_word(self._raw(place), word.meaning) < 1
        )

    def _raw(self, place: int) -> str:
        start, end = self.words[place].span
        return self.text[start:end]

    def _cuts(self, start: int, end: int) -> tuple[list[int], list[int]]:
        """Return where something may begin, and where it may end, in a run: at its ends, at
        punctuation, behind and before weak words.
        """
        begins, ends = [start], [end]
        place = start
        while place < end - 1 and self.weak(place):
            place += 1
            begins.append(place)
        place = end
        while place - 1 > start and self.weak(place - 1):
            place -= 1
            ends.append(place)
        for place in range(start + 1, end):
            if self.stopped(place - 1, _STOPS):
                begins.append(place)
                ends.append(place)
        return sorted(set(begins))[:_MOST_CUTS], sorted(set(ends))[-_MOST_CUTS:]

    def _run(self, start: int, end: int) -> None:
        """Look for reports in a run: the whole of it, or what lies between places where it may be
        cut.
        """
        if self.bits(start, end) < self.finder.evidence.least:
            return
        begins, ends = self._cuts(start, end)
        parses: dict[Item, tuple[Reading, ...]] = {}
        for begin in begins:
            for finish in ends:
                if (
                    self._long_enough(begin, finish)
                    and self.bits(begin, finish) >= self.finder.evidence.least
                ):
                    readings = self._parsed(begin, finish)
                    if readings:
                        parses[begin, finish] = readings
        for item in sorted(parses, key=lambda item: (item[0] - item[1], item[0])):
            self._taken(item, parses)

    def _long_enough(self, start: int, end: int) -> bool:
        """Tell whether words may stand for as many symbols as some message has."""
        if any(self.words[n].kind in CHANGING for n in range(start, end)):
            return True
        figures = sum(digits_of(word.meaning) for word in self.words[start:end])
        if figures < self.finder.evidence.shortest_figures:
            return False
        symbols = 0
        for word in self.words[start:end]:
            options = word.meaning.options
            symbols += max(map(len, options)) if options else _SYMBOLS.get(word.kind, 0)
        return end > start and symbols >= self.finder.shortest

    def _taken(self, item: Item, parses: dict[Item, tuple[Reading, ...]]) -> None:
        """Take one parse: the longest first; another one across the same words that says something
        else makes a tie.
        """
        start, end = item
        span = (self.words[start].span[0], self.words[end - 1].span[1])
        if any(
            found.kind in ("reading", "refused")
            and found.span[0] < span[1]
            and span[0] < found.span[1]
            for found in self.heard.found
        ):
            return
        bits = self._over(item, parses[item])
        if bits < 0:
            self.heard.reason = (
                f"{self.text[span[0] : span[1]]!r} could be a code, or ordinary talk"
            )
            return
        rivals = [
            other for other in parses if other != item and other[0] < end and start < other[1]
        ]
        rivals = [
            other
            for other in rivals
            if parses[other] != parses[item] and self._over(other, parses[other]) >= 0
        ]
        whole = start == 0 or self.stopped(start - 1, _STOPS)
        if any(not (whole and self._within(other, item)) for other in rivals):
            error = CodeError(
                "it can be read in more than one way",
                kind="ambiguous",
                source=self.text,
                span=span,
                hint="say again",
            )
            self.heard.found.append(Found("refused", span, error=error, bits=bits))
            return
        self.heard.found.append(
            Found(
                "reading",
                span,
                parses[item],
                bits=bits,
                changing=self.words[start].kind in CHANGING,
            )
        )

    def _within(self, other: Item, item: Item) -> bool:
        """Tell whether a rival is only a part of the item, cut at punctuation: then the longer one
        stands.
        """
        left = other[0] == item[0] or self.stopped(other[0] - 1, _STOPS)
        right = other[1] == item[1] or self.stopped(other[1] - 1, _STOPS)
        return left and right and item[0] <= other[0] and other[1] <= item[1]

    def _parsed(self, start: int, end: int) -> tuple[Reading, ...]:
        """Return the readings of a stretch of words: as its speaker's direction has it, else the
        other; none where it is no report.
        """
        first = self.words[start].kind
        if first in (WordKind.CORRECTION, WordKind.DISREGARD):
            return ()
        begin, finish = (
            self.words[start].span[1 if first is WordKind.REPEAT else 0],
            self.words[end - 1].span[1],
        )
        order: tuple[Direction | None, ...] = (None,)
        if self.role is not None:
            order = ("car", "pit") if self.role == "car" else ("pit", "car")
        for direction in order:
            if direction is not None and not self.finder.book.sent_by(direction):
                continue
            try:
                readings = self._decoded(begin, finish, direction)
            except CodeError:
                continue
            if readings:
                return readings
        return ()

    def _decoded(self, begin: int, finish: int, direction: Direction | None) -> tuple[Reading, ...]:
        """Return the reports of a stretch of text; where they run together, with the places they
        have in the utterance.
        """
        book, said = self.finder.book, self.text[begin:finish]
        if not book.spec.speech.run_together:
            return (decode(book, said, direction=direction, context=self.context),)
        return decode_all(
            book, " " * begin + said, direction=direction, context=self.context
        ).reports

    # weighing

    def bits(self, start: int, end: int) -> float:
        """Return how strongly a stretch of words speaks for a code."""
        return self.finder.evidence.of_words(self.text, self.words[start:end])

    def _over(self, item: Item, readings: Sequence[Reading]) -> float:
        """Return the bits above what is asked for."""
        start, end = item
        odds, evidence = self.finder.odds, self.finder.evidence
        bits = self.bits(start, end) - sum(
            evidence.chance(r.match.message, len(r.said)) for r in readings
        )
        alone = all(
            self.words[n].kind in (WordKind.FILLER, WordKind.ANSWER, WordKind.SEPARATOR, *CHANGING)
            for n in self._outside(item)
        )
        if alone:
            bits += odds["alone"]
        elif self._bounded(item, _STOPS):
            bits += odds["sentence" if self._bounded(item, _ENDS) else "apart"]
        if self.role is not None and all(reading.direction == self.role for reading in readings):
            bits += odds["role"]
        return float(bits - odds["accept"])

    def _bounded(self, item: Item, marks: str) -> bool:
        """Tell whether a stretch stands between ``marks`` or the ends of the utterance; fillers and
        words like OVER are looked past.
        """
        start, end = item
        while (
            start > 0 and not self.stopped(start - 1, marks) and self.words[start - 1].kind in _PAST
        ):
            start -= 1
        while (
            end < len(self.words)
            and not self.stopped(end - 1, marks)
            and self.words[end].kind in _PAST
        ):
            end += 1
        opens = start == 0 or self.stopped(start - 1, marks)
        return opens and (end == len(self.words) or self.stopped(end - 1, marks))

    def _outside(self, item: Item) -> list[int]:
        return [*range(item[0]), *range(item[1], len(self.words))]

    def stopped(self, place: int, marks: str) -> bool:
        """Tell whether one of ``marks`` stands behind a word."""
        after = self.words[place + 1].span[0] if place + 1 < len(self.words) else len(self.text)
        return any(mark in self.text[self.words[place].span[1] : after] for mark in marks)

    def sentence(self, place: int) -> Item:
        """Return the sentence that a word stands in."""
        start, end = place, place + 1
        while start > 0 and not self.stopped(start - 1, _ENDS):
            start -= 1
        while end < len(self.words) and not self.stopped(end - 1, _ENDS):
            end += 1
        return start, end

    def until(self, end: int) -> int:
        """Return where the text before a word ends."""
        return self.words[end].span[0] if end < len(self.words) else len(self.text)
