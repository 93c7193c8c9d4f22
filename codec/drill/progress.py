"""How a person is doing: accuracy and seconds by symbol and by field, confusions, days, and what
comes next.
"""

from __future__ import annotations

import csv
import datetime
import functools
import io
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from codec.drill.answer import OUTCOMES, Answer, Drill, Kind
from codec.drill.choosing import Chooser, Question
from codec.drill.marking import Marked, align
from codec.drill.measuring import counted, possible, startup_of, times_of
from codec.drill.memory import Memory
from codec.drill.pool import Pool
from codec.drill.staircase import Exposure, exposures
from codec.drill.timing import Timing, share, timing

if TYPE_CHECKING:
    from grammar.book import Book


@dataclass(frozen=True, slots=True)
class Score:
    """One symbol, field or day: how often asked, how often right, the 95 % interval of that share,
    and seconds.

    ``seconds`` is the time to say a word (read) or to write one down (hear), with its standard
    error; None where nothing was measured.
    """

    name: str
    label: str
    asked: int
    right: int
    seconds: float | None = None
    error: float | None = None

    @property
    def share(self) -> float:
        """The share of right answers."""
        return self.right / self.asked if self.asked else 0.0

    @property
    def interval(self) -> tuple[float, float]:
        """The 95 % interval of the share."""
        return share(self.right, self.asked)

    def as_dict(self) -> dict[str, Any]:
        """Return the facts for JSON and CSV."""
        low, high = self.interval
        facts: dict[str, Any] = {
            "name": self.name,
            "label": self.label,
            "asked": self.asked,
            "right": self.right,
        }
        facts |= {"share": round(self.share, 4), "low": round(low, 4), "high": round(high, 4)}
        return facts | {
            name: None if value is None else round(value, 4)
            for name, value in (("seconds", self.seconds), ("error", self.error))
        }


class Progress:
    """The progress of one person with one book in one drill."""

    def __init__(
        self,
        book: Book,
        answers: Sequence[Answer],
        drill: Drill,
        at: datetime.datetime,
        *,
        pool: Pool | None = None,
    ) -> None:
        """Take the person's answers in this drill and with this book, and the time at which the
        next questions would be asked.
        """
        self.book, self.drill, self.at = book, drill, at
        self.answers = [
            answer
            for answer in answers
            if answer.drill == drill and set(answer.shown) <= book.alphabet.index.keys()
        ]
        self.person = self.answers[0].person if self.answers else ""
        self._pool = pool
        self.times = times_of(book, self.answers) if drill == "read" else None
        self._default = {symbol: entry.seconds for symbol, entry in book.alphabet.words.items()}

    @functools.cached_property
    def outcomes(self) -> dict[str, int]:
        """How many answers had each outcome."""
        found = Counter(answer.outcome for answer in self.answers)
        return {outcome: found[outcome] for outcome in OUTCOMES}

    @property
    def right(self) -> Score:
        """All answers as one row."""
        return Score(
            "all", "all answers", len(self.answers), sum(answer.right for answer in self.answers)
        )

    @property
    def reports(self) -> Score:
        """The whole reports as one row."""
        reports = [answer for answer in self.answers if answer.kind == "report"]
        return Score(
            "reports", "whole reports", len(reports), sum(answer.right for answer in reports)
        )

    @functools.cached_property
    def startup(self) -> Timing | None:
        """The time to the first word."""
        if self.drill == "read":
            return startup_of(self.answers)
        return timing([answer.first for answer in self.answers if answer.first is not None])

    @property
    def set_aside(self) -> int:
        """How many measured times were set aside as outliers."""
        return (self.times.set_aside if self.times else 0) + (
            self.startup.set_aside if self.startup else 0
        )

    @functools.cached_property
    def impossible(self) -> int:
        """How many answers were timed by presses at which nobody can have spoken; their times are
        set aside too, their marks count.
        """
        read = self.answers if self.drill == "read" else []
        return sum(not possible(self.book, answer) for answer in read)

    @functools.cached_property
    def exposures(self) -> dict[Kind, Exposure]:
        """How long each kind of item must be flashed, where that was measured."""
        return exposures(self.answers)

    @functools.cached_property
    def symbols(self) -> list[Score]:
        """A row for each symbol asked, in the order of the alphabet."""
        asked, right = Counter[str](), Counter[str]()
        for answer in self.answers:
            for shown, said in _pairs(answer):
                if shown:
                    asked[shown] += 1
                    right[shown] += shown == said
        written = {} if self.drill == "read" else _writing(self.answers)
        rows = []
        for symbol in filter(asked.__contains__, self.book.alphabet.symbols):
            known = self.times.words.get(symbol) if self.times else None
            seconds, error = (
                (known.seconds, known.error) if known else (written.get(symbol, (None, None)))
            )
            rows.append(
                Score(
                    symbol,
                    self.book.alphabet.words[symbol].word,
                    asked[symbol],
                    right[symbol],
                    seconds,
                    error,
                )
            )
        return rows

    @functools.cached_property
    def fields(self) -> list[Score]:
        """A row for each field of the reports and entries asked: right where no symbol of its
        codeword went wrong.
        """
        asked, right = Counter[str](), Counter[str]()
        seconds: dict[str, list[float]] = {}
        for answer in self.answers:
            for name, wrong, time in self._parts(answer):
                asked[name] += 1
                right[name] += not wrong
                if time is not None:
                    seconds.setdefault(name, []).append(time)
        rows = []
        titles = {name: one.title for name, one in (self.book.declared | self.book.fields).items()}
        for name in asked:
            found = timing(seconds.get(name, []))
            mean, error = (
                (found.mean, found.error if found.count > 1 else None) if found else (None, None)
            )
            rows.append(Score(name, titles[name], asked[name], right[name], mean, error))
        return rows

    def _parts(self, answer: Answer) -> list[tuple[str, bool, float | None]]:
        """Return (field, whether it went wrong, its seconds) for each field of an answer; time is
        shared out by the words' usual times.
        """
        if answer.kind == "entry" and answer.part_of in self.book.tables:
            tables = [(self.book.tables[answer.part_of], answer.shown)]
        else:
            message = self.book.messages.get(answer.part_of) if answer.kind == "report" else None
            match = None if message is None else message.quick(answer.shown)
            tables = [] if match is None else list(zip(match.plan.tables, match.texts, strict=True))
        wrong = () if answer.right else Marked("accepted", answer.said, _pairs(answer)).wrong_places
        whole = self._usual(answer.shown)
        spent = (
            (answer.speaking if self.drill == "read" else answer.last)
            if answer.outcome == "right"
            else None
        )
        found, place = [], 0
        for table, text in tables:
            touched = any(place <= one < place + len(text) for one in wrong)
            time = None if spent is None or not whole else spent * self._usual(text) / whole
            found += [(field.name, touched, time) for field in table.fields]
            place += len(text)
        return found

    def _usual(self, text: str) -> float:
        return (
            self.times.of(text, self._default)
            if self.times
            else sum(self._default[symbol] for symbol in text)
        )

    @functools.cached_property
    def confusions(self) -> dict[tuple[str, str], int]:
        """How often each symbol shown was taken for each other, "" for one left out or added; right
        ones are not in it.
        """
        pairs = (
            counted(self.answers, self.drill)
            if self.drill == "hear"
            else [pair for one in self.answers for pair in _pairs(one)]
        )
        return dict(Counter((shown, said) for shown, said in pairs if shown != said).most_common())

    @functools.cached_property
    def days(self) -> list[Score]:
        """A row for each day (UTC); its seconds are those to the end of the last word of whole
        reports, for each symbol.
        """
        found: dict[str, list[Answer]] = {}
        for answer in self.answers:
            found.setdefault(answer.at[:10], []).append(answer)
        rows = []
        for day, answers in sorted(found.items()):
            times = timing(
                [
                    answer.last / len(answer.shown)
                    for answer in answers
                    if answer.last and answer.right and answer.kind == "report"
                ]
            )
            mean, error = (
                (times.mean, times.error if times.count > 1 else None) if times else (None, None)
            )
            rows.append(
                Score(day, "", len(answers), sum(answer.right for answer in answers), mean, error)
            )
        return rows

    def ahead(self, count: int = 8) -> list[Question]:
        """Return what comes next, and why."""
        names = [
            name
            for name in dict.fromkeys(
                answer.part_of for answer in self.answers if answer.kind == "report"
            )
            if name in self.book.messages
        ]
        pool = self._pool or Pool(self.book, names)
        return Chooser(pool, Memory.of(self.answers)).ahead(self.at, count)

    def as_dict(self) -> dict[str, Any]:
        """Return everything for JSON."""
        return {
            "person": self.person,
            "drill": self.drill,
            "book": self.book.title,
            "answers": len(self.answers),
            "outcomes": self.outcomes,
            "right": self.right.as_dict(),
            "reports": self.reports.as_dict(),
            "first_word": None if self.startup is None else self.startup.as_dict(),
            "set_aside": self.set_aside,
            "impossible": self.impossible,
            "exposures": {kind: one.as_dict() for kind, one in self.exposures.items()},
            "symbols": [row.as_dict() for row in self.symbols],
            "fields": [row.as_dict() for row in self.fields],
            "confusions": [
                {"shown": shown, "said": said, "count": count}
                for (shown, said), count in self.confusions.items()
            ],
            "days": [row.as_dict() for row in self.days],
            "next": [
                {"kind": one.item.kind, "text": one.item.text, "why": one.why}
                for one in self.ahead()
            ],
        }

    def as_csv(self) -> str:
        """Return the rows of symbols, fields and days as CSV (RFC 4180)."""
        stream = io.StringIO()
        columns = ["person", "drill", "what", *Score("", "", 0, 0).as_dict()]
        writer = csv.DictWriter(stream, columns)
        writer.writeheader()
        for what, rows in (("symbol", self.symbols), ("field", self.fields), ("day", self.days)):
            writer.writerows(
                {"person": self.person, "drill": self.drill, "what": what, **row.as_dict()}
                for row in rows
            )
        return stream.getvalue()


def _pairs(answer: Answer) -> tuple[tuple[str, str], ...]:
    return align(answer.shown, answer.shown if answer.right else answer.said)


def _writing(answers: Sequence[Answer]) -> dict[str, tuple[float, float | None]]:
    """Return for each symbol the mean seconds a symbol of the right answers that hold it, with the
    standard error: of whole reports.
    """
    times: dict[str, list[float]] = {}
    for answer in [answer for answer in answers if answer.kind == "report"] or answers:
        if answer.right and answer.last is not None:
            for symbol in set(answer.shown):
                times.setdefault(symbol, []).append(answer.last / len(answer.shown))
    found = {symbol: timing(rows) for symbol, rows in times.items()}
    return {
        symbol: (one.mean, one.error if one.count > 1 else None)
        for symbol, one in found.items()
        if one
    }
