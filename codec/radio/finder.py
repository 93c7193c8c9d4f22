"""Finds what a book's people say in ordinary talk: reports and calls, phrases, questions, answers,
and what is plainly an attempt at a report but can't be read.

Words of the book that stand together make a run; what parses in a run, whole or without the weak
words at its ends, is a report if its words speak for one strongly enough. Two different readings
are a tie and refused.
"""

from __future__ import annotations

import difflib
import functools
import itertools
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from codec.decoding import decode, decode_all
from codec.lap_report import lap_field, lap_message
from codec.radio.chatter import settings
from codec.radio.edits import Edits, ReportBound
from codec.radio.ended import EndingWords
from codec.radio.evidence import Evidence, digits_of, symbols_of
from codec.radio.mending import Mending, MendingWords
from codec.radio.named import NamedReports
from codec.radio.wording import RadioWords
from codec.reading import Reading
from codec.sheet.entry import DOUBTFUL
from codec.sheet.state import NEUTRALISED, RESUMED, STOPPED
from grammar.book import Book
from grammar.errors import CodeError, Span
from grammar.message import Direction
from grammar.speech.kinds import CHANGING, SPOKEN, WordKind
from grammar.speech.lexicon import Meaning
from grammar.speech.words import Word, Wording

_ENDS, _STOPS = ".!?;", ".!?;,:"
_PAST = frozenset((WordKind.FILLER, WordKind.ANSWER, WordKind.SEPARATOR))
_EMPTY = frozenset((WordKind.FILLER, WordKind.AND))
_WITH_REST = frozenset((WordKind.HUNDRED, WordKind.THOUSAND))  # four hundred and two
_NUMBERS = frozenset((WordKind.TEEN, WordKind.TENS, WordKind.HUNDRED))
_LIKE_A_TIME = re.compile(r"\d[.:/]\d\d", re.ASCII)  # 321.28, 7:18:31, 4/19/37
_MOST_CUTS = 12
_NEAR = 4  # words before a code, or behind it, that tell of what it is
_ALIKE = 0.6  # of the letters: of words written much alike
# what is left of IS, HAS, ARE … behind a word: that's, it'll
_CONTRACTED = [f"{mark}{end}" for mark in "'’" for end in ("s", "re", "ve", "ll", "d", "m")]
_BESIDE = 4  # words of a short sentence beside a code
_MANY = 6  # figures: ordinary talk seldom has so many and nothing else
_LONG = 4  # symbols: a shorter call is soon met by chance
_STATES = frozenset((NEUTRALISED, STOPPED, "yellow", "rain"))  # that end
_DIFFERS = "two reports in one breath, and not the same"
Run = tuple[int, int]  # words in a row: the place of the first, and of the one behind the last


@dataclass(frozen=True, slots=True)
class Passage:
    """A part of an utterance that says something: its kind, its place in the text, what it says.

    "perhaps" is a reading that its words alone do not speak for strongly enough, by little.
    ``readings`` of a report or call (several if they were run together); ``error`` why a refused
    one can't be read; ``name`` of a phrase, or what was asked or answered; ``bits`` how strongly
    its words speak for it, above what is asked for; ``number`` beside a phrase; ``changing``
    whether it begins with CORRECTION, I SAY AGAIN or the like, ``mending`` the words of ordinary
    talk before it that put right what was said, "?" before those also said for other things;
    ``astray`` whether it could be read, and is not what somebody reports; ``weighed`` whether what
    can't be read may be taken for what it most likely was.
    """

    kind: Literal["reading", "perhaps", "refused", "phrase", "ask", "answer"]
    span: Span
    readings: tuple[Reading, ...] = ()
    error: CodeError | None = None
    name: str = ""
    bits: float = 0.0
    number: int | None = None
    changing: bool = False
    astray: bool = False
    mending: str = ""
    weighed: bool = True


@dataclass(slots=True)
class Passages:
    """Everything found in an utterance, in order; ``reason`` tells why nothing was where there is
    nothing.
    """

    listed: list[Passage] = field(default_factory=list)
    reason: str = ""


class Finder:
    """Finds what a book's people say in ordinary talk."""

    def __init__(self, book: Book) -> None:
        """Weigh the words of a book."""
        self.book, self.evidence, self.edits = book, Evidence(book), Edits(book, "car")
        self.bound = ReportBound(book)
        self.odds, cues = settings()["odds"], settings()["cues"]
        self.before, self.after, self.hedges = (
            frozenset(cues["before"]),
            frozenset(cues["after"]),
            frozenset(cues["hedges"]),
        )
        self.doing, self.selves = frozenset(cues["doing"]), frozenset(cues["selves"])
        self.denials, self.elsewhere = frozenset(cues["denials"]), frozenset(cues["elsewhere"])
        self.asking = frozenset(cues["asking"])
        self.shortest = min(message.lengths[0] for message in book.messages.values())
        self.figures = self.evidence.figures_alone()
        plain = frozenset(cues["plain"]) | self.before | self.after
        self.plain = plain | {f"{word}{end}" for word in plain for end in _CONTRACTED}
        self.talk = self.plain | self.hedges | self.denials | self.elsewhere | self.asking
        self._spoken = [
            form for form, meaning in book.lexicon.meanings.items() if meaning.kind in SPOKEN
        ]
        self.cut, self.named = RadioWords(book.lexicon).cut, NamedReports(book)
        self.mending, self.ending = MendingWords(), EndingWords()

    @functools.lru_cache(10_000)  # noqa: B019 - finders are few and kept as long as their book
    def like_code(self, form: str) -> bool:
        """Tell whether a word is written much like one of the code."""
        return bool(difflib.get_close_matches(form, self._spoken, n=1, cutoff=_ALIKE))

    def find(
        self,
        words: Wording,
        role: Direction | None = None,
    ) -> Passages:
        """Return what words hold; ``role`` is the direction of what their speaker sends."""
        return _Search(self, words, role).everything()

    def beside(self, words: Wording, covered: Sequence[Span]) -> Iterator[str]:
        """Yield what words hold of a code outside the places covered, as it stands there; a single
        word is no sign of one.
        """
        for start, end in _Search(self, words, None).runs_outside(covered):
            if self.evidence.of_words(words[start:end]) >= self.odds["told"]:
                yield words[start:end].said

    def spliced(
        self, text: str, before: Wording, behind: Wording, reading: Reading
    ) -> Reading | None:
        """Return what a report says once the words ``behind`` it put a part of it right; None where
        that is not plain: read as a correction, which repeats the last correct group and goes on
        from there, they must say the same as in place of the last symbols.
        """
        options = [word.meaning.options for word in behind if word.kind not in _EMPTY]
        if not options or any(len(one) != 1 for one in options):
            return None
        fragment = "".join(one[0] for one in options)
        wanted = reading.said[: len(reading.said) - len(fragment)] + fragment
        span = before.span[1], behind.span[0]
        correction = Word(Meaning(WordKind.CORRECTION), span, "correction")
        words = Wording(text, [*before, correction, *behind])
        try:
            found = decode(self.book, words, direction=reading.direction)
        except CodeError:
            return None
        return found if found.said == wanted else None

    def across(
        self, words: Wording, border: int, role: Direction | None = None, *, unread: bool
    ) -> list[Passage]:
        """Return the reports and calls among what ``find`` returns that stand across a border in
        the text, those that can't be read too where ``unread`` ones are asked for.
        """
        return _Search(self, words, role).across(border, unread=unread)


class _Search:
    """The search of one utterance."""

    def __init__(
        self,
        finder: Finder,
        words: Wording,
        role: Direction | None,
    ) -> None:
        """Begin with nothing found."""
        self.finder, self.words, self.role = finder, words, role
        self.kinds = [word.kind for word in words]
        self.forms = [word.text.casefold() for word in words]
        self.found, self.perhaps = Passages(), list[Passage]()
        self._known_bits: dict[Run, float] = {}
        self.mendings = list(finder.mending.find(words))
        self._mended = {n for one in self.mendings for n in range(one.start, one.end)}

    def everything(self) -> Passages:
        """Look for everything."""
        found = self.found
        if all(kind is WordKind.UNKNOWN for kind in self.kinds):
            found.reason = "ordinary talk"
            return found
        self._asides()
        runs = list(self._runs())
        for start, end in runs:
            self._reports(start, end)
            self._twice(start, end)
        self._one_after_the_other()
        self._put_right(runs)
        if not any(passage.kind in ("reading", "refused") for passage in found.listed):
            self._unread(runs)
        for one in self.perhaps:
            if not any(
                passage.kind != "refused" and overlap(one.span, passage.span)
                for passage in found.listed
            ):
                found.listed.append(one)
        found.listed.sort(key=lambda passage: (passage.span[0], passage.kind != "perhaps"))
        if not found.listed and not found.reason:
            found.reason = "words of the code, but no report"
        return found

    def across(self, border: int, *, unread: bool) -> list[Passage]:
        """Look for reports and calls across a border only."""
        runs = list(self._runs())
        for start, end in runs:
            if self.words[start].span[0] < border < self.words[end - 1].span[1]:
                self._reports(start, end)
        if unread and not self.found.listed and self._attempt(runs) is not None:
            for run in runs:
                self._reports(*run)
            if not self.found.listed:
                self._unread(runs)
        return [one for one in self.found.listed if one.span[0] < border < one.span[1]]

    # phrases, questions and answers, told from talk about them

    def _asides(self) -> None:
        phrases = set()
        for place, word in enumerate(self.words):
            if word.kind is WordKind.SEPARATOR and word.meaning.value:
                name = word.meaning.value
                if name in phrases or not self._meant(place):
                    continue
                if name := self._told_by(word):
                    phrases.add(name)
                    number = self._number(place + 1)
                    self.found.listed.append(Passage("phrase", word.span, name=name, number=number))
            elif word.kind is WordKind.ASK:
                self.found.listed.append(Passage("ask", word.span, name=self._asked(place)))
            elif word.kind is WordKind.ANSWER and len(self.words) <= 4:
                self.found.listed.append(Passage("answer", word.span, name=word.meaning.value))

    def _meant(self, place: int) -> bool:
        """Tell whether a phrase is said, and not only talked about."""
        start, end = self._sentence(place)
        behind = self.words[end].span[0] if end < len(self.words) else len(self.words.text)
        asked = "?" in self.words.text[self.words[place].span[1] : behind]
        said = self.forms[start:place]
        other = (
            said[-1:] and said[-1] in self.finder.doing and not self.finder.selves & {*said[-2:]}
        )
        if asked or other or any(form in self.finder.hedges for form in self.forms[start:end]):
            self.found.reason = f"{self.forms[place]!r} is talked about"
            return False
        if self.kinds[start:end].count(WordKind.UNKNOWN) > 3 * len(self.forms[place].split()):
            self.found.reason = f"{self.forms[place]!r} in the middle of other talk"
            return False
        if any(
            one.sure
            and place < one.start
            and all(k in _PAST for k in self.kinds[place + 1 : one.start])
            for one in self.mendings
        ):
            self.found.reason = f"{self.forms[place]!r} is taken back"
            return False
        return True

    def _told_by(self, word: Word) -> str:
        """Return the phrase that a phrase counts for: the one for a race resumed, where words
        beside it tell that the race is neutralised no more; "" where something else is said to end.
        """
        name, meanings = word.meaning.value, self.finder.book.rules.meanings
        ending = self.finder.ending.beside(self.words.text, word.span)
        if not ending or meanings[name] not in _STATES:
            return name
        self.found.reason = f"{word.text.casefold()!r} is said to end"
        resumed = (one for one, fact in meanings.items() if fact == RESUMED)
        over = ending == "ended" and meanings[name] == NEUTRALISED
        return next(resumed, "") if over else ""

    def _asked(self, place: int) -> str:
        asked = range(place, min(place + 6, len(self.words)))
        return " ".join(self.forms[n] for n in asked if self.kinds[n] is not WordKind.UNKNOWN)

    def _number(self, place: int) -> int | None:
        if place >= len(self.words):
            return None
        meaning = self.words[place].meaning
        if meaning.kind in (WordKind.TEEN, WordKind.TENS):
            return int(meaning.value)
        one = meaning.kind in (WordKind.UNIT, WordKind.TO, WordKind.TYPED) and meaning.options
        return int(meaning.options[0]) if one and meaning.options[0].isdigit() else None

    # runs

    def _runs(self) -> Iterator[Run]:
        """Yield the runs of words that may belong to a code, without fillers at their ends and
        numbers that belong to the talk.
        """
        start = None
        for place, kind in enumerate([*self.kinds, WordKind.UNKNOWN]):
            inside = kind in SPOKEN or kind in CHANGING or kind is WordKind.FILLER
            if inside and start is None:
                start = place
            elif not inside and start is not None:
                first, end = self._trimmed(start, place)
                if end > first:
                    yield first, end
                start = None

    def runs_outside(self, covered: Sequence[Span]) -> Iterator[Run]:
        """Yield the runs that are left outside the places covered."""
        for first, end in self._runs():
            start = None
            for place in range(first, end + 1):
                inside = place < end and not any(
                    overlap(self.words[place].span, span) for span in covered
                )
                if inside and start is None:
                    start = place
                elif not inside and start is not None:
                    yield start, place
                    start = None

    def _trimmed(self, start: int, end: int) -> Run:
        while start < end and self.kinds[start] in _EMPTY:
            start += 1
        while end > start and self.kinds[end - 1] in _EMPTY:
            end -= 1
        if start and self.forms[start - 1] in self.finder.before:
            spelled = self.kinds[start] is WordKind.LETTER and len(self.forms[start]) > 1
            if not spelled:
                start += 2 if start + 1 < end and self._tens_and_unit(start) else 1
        if start < end < len(self.words) and self.forms[end] in self.finder.after:
            end -= 2 if end - 2 > start and self._tens_and_unit(end - 2) else 1
        return start, end

    def _tens_and_unit(self, place: int) -> bool:
        return self.kinds[place : place + 2] == [WordKind.TENS, WordKind.UNIT]

    def _weak(self, place: int) -> bool:
        """Tell whether a word is hardly a sign of a code."""
        word = self.words[place]
        return word.kind is WordKind.FILLER or self.finder.evidence.of_word(word) < 1

    def _cuts(self, start: int, end: int) -> tuple[list[int], list[int]]:
        """Return where something may begin, and where it may end, in a run: at its ends, at
        punctuation and at "and", behind and before weak words.
        """
        begins, ends = [start], [end]
        place = start
        while place < end - 1 and self._weak(place):
            place += 1
            begins.append(place)
        place = end
        while place - 1 > start and self._weak(place - 1):
            place -= 1
            ends.append(place)
        for place in range(start + 1, end):
            parted = self.kinds[place] is WordKind.AND and self.kinds[place - 1] not in _WITH_REST
            if parted or (self._stopped(place - 1, _STOPS) and not self._written_on(place)):
                ends.append(place)
                while place < end and self.kinds[place] in _EMPTY:
                    place += 1  # noqa: PLW2901 - past words that carry nothing
                begins += [place] if place < end else []
        return sorted(set(begins))[:_MOST_CUTS], sorted(set(ends))[-_MOST_CUTS:]

    def _written_on(self, place: int) -> bool:
        """Tell whether figures go on with those before them: 12,026."""
        mark = self.words.text[self.words[place - 1].span[1] : self.words[place].span[0]]
        return len(mark) == 1 and self.forms[place - 1].isdigit() and self.forms[place].isdigit()

    # reports and calls

    def _reports(self, start: int, end: int) -> None:
        """Look for reports in a run: the whole of it, or what lies between places where it may be
        cut.
        """
        least = self.finder.evidence.least
        if self._nothing_else(start, end):  # it may be just the report expected
            least -= self.finder.odds["expected"]
        if self._bits(start, end) < least:
            return
        begins, ends = self._cuts(start, end)
        parses: dict[Run, tuple[Reading, ...]] = {}
        for begin in begins:
            for finish in ends:
                if self._long_enough(begin, finish) and self._bits(begin, finish) >= least:
                    readings = self._parsed(begin, finish)
                    if readings:
                        parses[begin, finish] = readings
        for run in sorted(parses, key=lambda run: (run[0] - run[1], run[0])):
            self._take(run, parses)

    def _twice(self, start: int, end: int) -> None:
        """Read a report said twice in one breath; refuse it where the halves differ."""
        span = self.words[start:end].span
        if any(passage.kind == "reading" for passage in self._within(span)):
            return
        spoken = [n for n in range(start, end) if self.kinds[n] not in _EMPTY]
        sizes = [symbols_of(self.words[n].meaning) for n in spoken]
        if sum(sizes) < 2 * max(self.finder.shortest, _LONG):
            return
        for middle in range(1, len(spoken)):
            if 2 * middle != len(spoken) and 2 * sum(sizes[:middle]) != sum(sizes):
                continue
            first = self._parsed(start, spoken[middle])
            second = self._parsed(spoken[middle], end) if len(first) == 1 else ()
            if len(second) != 1 or first[0].message != second[0].message:
                continue
            bits = self._above((start, end), first)
            if bits < 0:
                shown = self.words.text[slice(*span)]
                self.found.reason = f"{shown!r} could be a code, or ordinary talk"
            elif first[0].said == second[0].said:
                self._drop(self._within(span))
                reading = Passage("reading", span, first, bits=bits)
                self.found.listed.append(replace(reading, mending=self._mending_said(start)))
            else:
                self._drop(self._within(span))
                self._refuse(span, bits, "ambiguous", _DIFFERS)
            return

    def _one_after_the_other(self) -> None:
        """Refuse reports of one lap said one behind the other that differ, where nothing tells that
        the second puts the first right.
        """
        lap = lap_field(self.finder.book)
        listed = sorted(self.found.listed, key=lambda passage: passage.span)
        for one, other in itertools.pairwise(listed):
            if not (one.kind == other.kind == "reading") or other.changing or other.mending:
                continue
            (first, *more), (second, *rest) = one.readings, other.readings
            if more or rest or first.said == second.said or first.message != second.message:
                continue
            if lap not in first.levels or first.levels[lap] != second.levels.get(lap):
                continue
            if all(
                word.kind in _EMPTY
                for word in self.words
                if one.span[1] <= word.span[0] and word.span[1] <= other.span[0]
            ):
                self._drop([one, other])
                self._refuse((one.span[0], other.span[1]), one.bits, "ambiguous", _DIFFERS)

    def _within(self, span: Span) -> list[Passage]:
        return [
            passage
            for passage in self.found.listed
            if passage.kind in ("reading", "refused") and overlap(passage.span, span)
        ]

    def _drop(self, passages: Sequence[Passage]) -> None:
        self.found.listed = [one for one in self.found.listed if one not in passages]

    def _nothing_else(self, start: int, end: int) -> bool:
        """Tell whether a line is these words and no more."""
        beside = [*self.kinds[:start], *self.kinds[end:]]
        return all(kind in _PAST for kind in beside)

    def _long_enough(self, start: int, end: int) -> bool:
        """Tell whether words may stand for as many symbols as some message has."""
        words = self.words[start:end]
        if any(word.kind in CHANGING for word in words):
            return True
        if sum(digits_of(word.meaning) for word in words) < self.finder.evidence.shortest_figures:
            return False
        symbols = sum(symbols_of(word.meaning) for word in words)
        return end > start and symbols >= self.finder.shortest

    def _take(self, run: Run, parses: Mapping[Run, tuple[Reading, ...]]) -> None:
        """Take one parse: the longest first; another one across the same words that says something
        else makes a tie.
        """
        span = self.words[slice(*run)].span
        if any(
            passage.kind in ("reading", "refused") and overlap(passage.span, span)
            for passage in self.found.listed
        ):
            return
        bits, astray = self._above(run, parses[run]), self._astray(*run)
        if astray is not None and bits >= -self.finder.odds["expected"]:
            told = f"not sure that it is a report: {astray!r} stands beside it"
            refused = self._refused(span, bits, DOUBTFUL, told)
            self.found.listed.append(replace(refused, astray=True))
        elif bits < 0 or _LIKE_A_TIME.search(self.words.text, *span):
            bits = min(bits, 0.0) - self._like_a_time(run)
            if bits >= -self.finder.odds["expected"]:
                self.perhaps.append(Passage("perhaps", span, parses[run], bits=bits))
            shown = self.words.text[slice(*span)]
            self.found.reason = f"{shown!r} could be a code, or ordinary talk"
        elif self._rivalled(run, parses):
            self._refuse(span, bits, "ambiguous", "it can be read in more than one way")
        else:
            changing = self.kinds[run[0]] in CHANGING
            passage = Passage("reading", span, parses[run], bits=bits, changing=changing)
            self.found.listed.append(replace(passage, mending=self._mending_said(run[0])))

    def _like_a_time(self, run: Run) -> float:
        """Return the bits more that are asked for where a run is written or said as times are."""
        span = self.words[slice(*run)].span
        alike = _LIKE_A_TIME.search(self.words.text, *span) is not None
        alike = alike or not _NUMBERS.isdisjoint(self.kinds[slice(*run)])
        return float(self.finder.odds["numbers"]) if alike else 0.0

    def _refuse(self, span: Span, bits: float, kind: str, message: str) -> None:
        self.found.listed.append(self._refused(span, bits, kind, message))

    def _refused(self, span: Span, bits: float, kind: str, message: str) -> Passage:
        error = CodeError(message, kind=kind, source=self.words.text, span=span, hint="say again")
        return Passage("refused", span, error=error, bits=bits)

    def _astray(self, start: int, end: int) -> str | None:
        """Return the word by which a code is denied, asked about, or said of another car or another
        time; None where there is none.
        """
        first, behind = self._sentence(start)[0], self._sentence(end - 1)[1]
        near = (*range(max(first, start - _NEAR), start), *range(end, min(behind, end + _NEAR)))
        found = [
            place
            for place in near
            if self.forms[place] in self.finder.elsewhere and place not in self._mended
        ]
        if first < start:
            found += [first] if self.forms[first] in self.finder.asking else []
            denied = self.forms[start - 1] in self.finder.denials
            found += [start - 1] if denied and not self._stopped(start - 1, _STOPS) else []
        if end < behind and self.forms[end] == "or" and not self._stopped(end - 1, _STOPS):
            found.append(end)
        return self.forms[found[0]] if found else None

    def _rivalled(self, run: Run, parses: Mapping[Run, tuple[Reading, ...]]) -> bool:
        """Tell whether some other parse of the same words says something else.

        One that is only a part of a whole sentence, cut at punctuation, is no rival: the longer one
        stands.
        """
        start, end = run
        whole = start == 0 or self._stopped(start - 1, _STOPS)
        return any(
            first < end
            and start < last
            and readings != parses[run]
            and self._above((first, last), readings) >= 0
            and not (whole and self._part_of(run, first, last))
            for (first, last), readings in parses.items()
        )

    def _part_of(self, run: Run, first: int, last: int) -> bool:
        left = first == run[0] or self._stopped(first - 1, _STOPS)
        right = last == run[1] or self._stopped(last - 1, _STOPS)
        return left and right and run[0] <= first and last <= run[1]

    def _parsed(self, start: int, end: int) -> tuple[Reading, ...]:
        """Return the readings of a run of words: as its speaker's direction has it, else the other;
        none where it is no report.
        """
        first = self.kinds[start]
        if first in (WordKind.CORRECTION, WordKind.DISREGARD):
            return ()
        words = self.words[start + (first is WordKind.REPEAT) : end]
        directions: tuple[Direction | None, ...] = (None,)
        if self.role is not None:
            directions = ("car", "pit") if self.role == "car" else ("pit", "car")
        for direction in directions:
            if direction is not None and not self.finder.book.sent_by(direction):
                continue
            if not self.finder.bound.may_be(words, direction):
                continue
            try:
                readings = self._decoded(words, direction)
            except CodeError:
                continue
            if readings:
                return readings
        return ()

    def _decoded(self, words: Wording, direction: Direction | None) -> tuple[Reading, ...]:
        book = self.finder.book
        if not book.rules.run_together:
            return (decode(book, words, direction=direction),)
        return decode_all(book, words, direction=direction).reports

    # what is put right in the same breath

    def _mending_before(self, place: int) -> Mending | None:
        """Return the words that put something right and end before a word, None for none."""
        while place and self.kinds[place - 1] in _EMPTY and place - 1 not in self._mended:
            place -= 1
        return next((one for one in self.mendings if one.end == place), None)

    def _mending_said(self, place: int) -> str:
        """Return the same words as a passage keeps them."""
        one = self._mending_before(place)
        said = "" if one is None else self.words[one.start : one.end].said
        return said if one is None or one.sure else f"?{said}"

    def _put_right(self, runs: Sequence[Run]) -> None:
        """Read reports of which a part is put right in the same breath: what follows must say the
        same as a correction that repeats the last correct group, and in place of the last words;
        else nobody knows what was meant.
        """
        for one in self.mendings:
            before = next((p for p in self.found.listed if self._ends_before(p, one)), None)
            behind = next((run for run in runs if self._mending_before(run[0]) == one), None)
            if before is None or len(before.readings) != 1:
                continue
            last = len(self.words) if behind is None else behind[1]
            ended = all(kind in _PAST for kind in self.kinds[one.end if behind is None else last :])
            if behind is None:
                if not one.sure or not ended:
                    continue
                end = one.end
            else:
                span = self.words[slice(*behind)].span
                if any(p.kind == "reading" and overlap(p.span, span) for p in self.found.listed):
                    continue
                if not one.sure and (not ended or not self._strong(*behind)):
                    continue
                end = behind[1]
            start = next(n for n, word in enumerate(self.words) if word.span[0] == before.span[0])
            whole = self.words[start:end].span
            reading = None if behind is None else self._mended_by(before, start, behind)
            if reading is not None:
                mended = replace(before, span=whole, readings=(reading,))
            else:
                why = "put right, and not plain how"
                refused = self._refused(whole, before.bits, DOUBTFUL, why)
                mended = replace(refused, weighed=False)
            self.found.listed[self.found.listed.index(before)] = mended

    def _ends_before(self, passage: Passage, one: Mending) -> bool:
        if passage.kind != "reading":
            return False
        start = self.words[one.start].span[0]
        between = [w for w in self.words if passage.span[1] <= w.span[0] and w.span[1] <= start]
        return passage.span[1] <= start and all(word.kind in _EMPTY for word in between)

    def _mended_by(self, before: Passage, start: int, behind: Run) -> Reading | None:
        """Return what a report says with the words behind it put in place."""
        said = before.readings[0]
        first = next(n for n, w in enumerate(self.words) if w.span[1] == before.span[1]) + 1
        return self.finder.spliced(
            self.words.text, self.words[start:first], self.words[slice(*behind)], said
        )

    # weighing

    def _bits(self, start: int, end: int) -> float:
        """Return how strongly a run of words speaks for a code."""
        bits = self._known_bits.get((start, end))
        if bits is None:
            bits = self.finder.evidence.of_words(self.words.words[start:end])
            self._known_bits[start, end] = bits
        return bits

    def _above(self, run: Run, readings: Sequence[Reading]) -> float:
        """Return the bits above what is asked for."""
        odds, evidence = self.finder.odds, self.finder.evidence
        bits = self._bits(*run) - sum(
            evidence.chance(reading.match.message, len(reading.said)) for reading in readings
        )
        passed, mended = _PAST | CHANGING, self._mended
        if min(len(reading.said) for reading in readings) < _LONG:  # no Tango, two
            mended = {n for one in self.mendings if one.sure for n in range(one.start, one.end)}
        beside = [n for n in range(len(self.kinds)) if not run[0] <= n < run[1]]
        passed |= SPOKEN if mended else frozenset()
        if all(self.kinds[n] in passed or n in mended for n in beside):
            bits += odds["alone"]
        elif self._joined_to_another(run):
            bits += odds["apart"]
        elif self._bounded(run, _STOPS):
            bits += odds["sentence" if self._bounded(run, _ENDS) else "apart"]
        if self.role is not None and all(reading.direction == self.role for reading in readings):
            bits += odds["role"]
        return float(bits - odds["accept"])

    def _joined_to_another(self, run: Run) -> bool:
        """Tell whether a run stands behind a report or call that was taken, joined by "and"."""
        place = run[0]
        while place and self.kinds[place - 1] in _EMPTY:
            place -= 1
        ends = self.words[place - 1].span[1] if place else 0
        return WordKind.AND in self.kinds[place : run[0]] and any(
            passage.kind == "reading" and passage.span[1] == ends for passage in self.found.listed
        )

    def _bounded(self, run: Run, marks: str) -> bool:
        """Tell whether a run stands between ``marks`` or the ends of the utterance; fillers and
        words like OVER are looked past.
        """
        start, end = run
        while start > 0 and not self._stopped(start - 1, marks) and self.kinds[start - 1] in _PAST:
            start -= 1
        while (
            end < len(self.words) and not self._stopped(end - 1, marks) and self.kinds[end] in _PAST
        ):
            end += 1
        opens = start == 0 or self._stopped(start - 1, marks)
        return opens and (end == len(self.words) or self._stopped(end - 1, marks))

    def _stopped(self, place: int, marks: str) -> bool:
        """Tell whether one of ``marks`` stands behind a word."""
        text = self.words.text
        after = self.words[place + 1].span[0] if place + 1 < len(self.words) else len(text)
        return any(mark in text[self.words[place].span[1] : after] for mark in marks)

    def _sentence(self, place: int) -> Run:
        """Return the sentence that a word stands in."""
        start, end = place, place + 1
        while start > 0 and not self._stopped(start - 1, _ENDS):
            start -= 1
        while end < len(self.words) and not self._stopped(end - 1, _ENDS):
            end += 1
        return start, end

    # attempts at a report that can't be read

    def _unread(self, runs: Sequence[Run]) -> None:
        """Keep words that are plainly an attempt at a report, with the error that tells why they
        can't be read, so that it can be asked for.
        """
        attempt = self._attempt(runs) or self._figures_alone(runs)
        if attempt is None:
            return
        start, end = self._with_edges(*attempt)
        words = self.words[start:end]
        try:
            decode_all(self.finder.book, words, direction="car")
            error = CodeError(
                "not sure that it is a report",
                kind=DOUBTFUL,
                source=words.text,
                span=words.span,
                hint="say again",
            )
        except CodeError as raised:
            error = raised
        changing = self.kinds[start] in CHANGING
        bits = self._bits(start, end) - self.finder.odds["refused"]
        refused = Passage("refused", words.span, error=error, bits=bits, changing=changing)
        self.found.listed.append(replace(refused, mending=self._mending_said(start)))

    def _attempt(self, runs: Sequence[Run]) -> Run | None:
        """Return the words that are an attempt at a report: most of an utterance, or what puts a
        report right; None if there are none.
        """
        changing = bool(runs) and self.kinds[runs[0][0]] in CHANGING
        if self._symbols(0, len(self.words)) < (3 if changing else 4):
            return None
        odds = self.finder.odds
        best = max(self._candidates(runs), key=lambda run: self._bits(*run), default=None)
        alone = self._code_alone()
        best = alone or best
        bits = -math.inf if best is None else self._bits(*best)
        if changing and self._strong(*runs[0]) >= 3 and bits < odds["refused"]:
            return runs[0]
        if best is None or bits < odds["near"]:
            return None
        if bits < odds["refused"] and not (alone or self._one_word_off(*best)):
            return None
        return best if self._most_of_it(*best) else None

    def _figures_alone(self, runs: Sequence[Run]) -> Run | None:
        """Return all that a driver says where that is nothing but figures, about as many as the
        report of each lap has in a book of figures alone: one was dropped, or added.
        """
        low, high = self.finder.figures
        if self.role != "car" or len(runs) != 1 or not low or not self._nothing_else(*runs[0]):
            return None
        words = self.words[slice(*runs[0])]
        digits = [digits_of(word.meaning) for word in words if word.kind is not WordKind.FILLER]
        alone = all(digits) and sum(digits) == sum(symbols_of(word.meaning) for word in words)
        enough = max(low - 1, _MANY) <= sum(digits) <= high + 1
        return runs[0] if alone and enough and not _LIKE_A_TIME.search(self.words.text) else None

    def _candidates(self, runs: Sequence[Run]) -> Iterator[Run]:
        """Yield runs, and neighbours taken together, of many code words with few others among
        them.
        """
        for first, (start, behind) in enumerate(runs):
            end = behind
            for following in (*runs[first + 1 :], None):
                strong = self._strong(start, end)
                others = end - start - self._codes(start, end)
                if strong >= max(4, self._half()) and others * 3 <= strong:
                    yield start, end
                if following is None or not self._bridged(end, following[0]):
                    break
                end = following[1]

    def _most_of_it(self, start: int, end: int) -> bool:
        """Tell whether what was said is little more than these words, and none of their numbers
        belongs to the talk before them.
        """
        before = start - 1
        while before >= 0 and self.kinds[before] in SPOKEN and not self._stopped(before, _STOPS):
            before -= 1
        if before >= 0 and self.forms[before] in self.finder.before:
            return False
        beside = len(self.words) - end + start
        return self._strong(start, end) >= 0.5 * max(1, len(self.words) - beside // 2)

    def _code_alone(self) -> Run | None:
        """Return all that somebody said, but for a word or two that sentence marks set apart, where
        it is nothing but code words and what may be some, misheard: about as many as a report has,
        and most of them plain. None where it is anything else.
        """
        name = lap_message(self.finder.book)
        start, end = self._without_sentences_beside()
        if not name or start == end:
            return None
        odd = [place for place in range(start, end) if self.kinds[place] is WordKind.UNKNOWN]
        codes = self._symbols(start, end)
        least, most = self.finder.book.messages[name].lengths
        forms = [self.forms[place] for place in odd]
        sizes = [digits_of(word.meaning) for word in self.words[start:end]]
        if any(form in self.finder.before or form in self.finder.after for form in forms) or (
            max(sizes) > 1 and math.inf not in sizes
        ):
            return None
        talk = any(form in self.finder.talk for form in forms)
        alone = (
            least - 1 <= codes + len(odd) <= most + 2
            and 2 * len(odd) <= codes
            and (not talk or (len(odd) == 1 and codes >= least - 1))
        )
        return (start, end) if alone else None

    def _without_sentences_beside(self) -> Run:
        """Return what is said without short sentences before and behind that have no word of the
        code, and without words like OVER.
        """
        start, end = 0, len(self.words)
        for place in range(min(_BESIDE, end)):
            if self.kinds[place] in SPOKEN:
                break
            start = place + 1 if self._stopped(place, _ENDS) else start
        for place in range(end - 1, max(start, end - 1 - _BESIDE), -1):
            if self.kinds[place] in SPOKEN:
                break
            end = place if self._stopped(place - 1, _ENDS) else end
        while start < end and self.kinds[start] in _PAST:
            start += 1
        while start < end and self.kinds[end - 1] in _PAST:
            end -= 1
        return start, end

    def _one_word_off(self, start: int, end: int) -> bool:
        """Tell whether words would be a report with one word more or less, or with another word in
        place of one.
        """
        words = self.words[start:end]
        sizes = [digits_of(word.meaning) for word in words]
        if max(sizes) > 1 and math.inf not in sizes:
            return False  # talk is full of numbers like ten and twenty two, with no letter in them
        parted = any(self._stopped(place, _STOPS) for place in range(start, end - 1))
        return not parted and self.finder.edits.least(words) <= 1

    def _with_edges(self, start: int, end: int) -> Run:
        """Return a run with the word before or behind it, where that is none of the code and a
        report lacks just this one.
        """
        for place in (start - 1, end):
            if (
                0 <= place < len(self.words)
                and not self._stopped(min(place, end - 1), _STOPS)
                and self.kinds[place] is WordKind.UNKNOWN
                and self.forms[place] not in self.finder.plain
            ):
                wider = min(start, place), max(end, place + 1)
                if self.finder.edits.least(self.words[slice(*wider)]) <= 1:
                    return wider
        return start, end

    def _bridged(self, end: int, start: int) -> bool:
        """Tell whether what lies between two runs may be code words misheard: few words, none of
        them plain talk, no sentence end.
        """
        return (
            start - end <= 2
            and not any(form in self.finder.plain for form in self.forms[end:start])
            and not any(self._stopped(place, _ENDS) for place in range(end - 1, start))
        )

    def _strong(self, start: int, end: int) -> int:
        return sum(self._size(place) for place in range(start, end) if not self._weak(place))

    def _symbols(self, start: int, end: int) -> int:
        """Return how many symbols words of a code stand for: one each, but for figures written in a
        row beside letters.
        """
        return sum(map(self._size, range(start, end)))

    def _size(self, place: int) -> int:
        word = self.words[place]
        if word.text.isdigit() and self._lettered:
            return max(map(len, word.meaning.options), default=1)
        return int(word.kind in SPOKEN)

    @functools.cached_property
    def _lettered(self) -> bool:
        """Tell whether a word of the code is no figure: figures alone may be a time, or a gap."""
        return any(digits_of(word.meaning) == math.inf for word in self.words)

    def _codes(self, start: int, end: int) -> int:
        return sum(
            kind in SPOKEN or kind in CHANGING or kind is WordKind.FILLER
            for kind in self.kinds[start:end]
        )

    def _half(self) -> int:
        book = self.finder.book
        messages = book.sent_by(self.role) or list(book.messages.values())
        return max(message.lengths[0] for message in messages) // 2


def overlap(one: Span, other: Span) -> bool:
    """Tell whether two spans have a place in common."""
    return one[0] < other[1] and other[0] < one[1]
