"""Transcripts to readings.

Plain reports (spelling words or a typed string, nothing else) take a short path: one dictionary
look-up a word and what was compiled for strings of that length. It is only ever right because a
book compiles only if no string has two readings; whatever it does not settle goes the whole way:
the speech grammar, every candidate for every word, and the automaton of the book. Ties are refused,
never broken.
"""

from __future__ import annotations

import bisect
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from codec.reading import WORD, Mark, Reading
from codec.ways import typed_ways, ways_of
from grammar.book import Book
from grammar.errors import Ambiguous, CodeError, Incomplete, Span, UnexpectedWord
from grammar.message import Direction, Match
from grammar.speech import Ask, Stretch, listen
from grammar.speech.kinds import SPOKEN, WordKind
from grammar.speech.words import Word, Wording, cut

Context = Mapping[str, Any]
_MOST_CANDIDATES = 8  # readings, and reports in each, that a tie lists


@dataclass(frozen=True, slots=True)
class Transcript:
    """All that was said in a transcript: reports in order, events (phrases), questions, answers;
    ``marks`` gives every word its place.
    """

    text: str
    reports: tuple[Reading, ...]
    events: tuple[tuple[str, Span], ...] = ()
    asks: tuple[Ask, ...] = ()
    answers: tuple[tuple[str, Span], ...] = ()
    marks: tuple[Mark, ...] = field(default=())

    def as_dicts(self, book: Book) -> list[dict[str, Any]]:
        """Return everything said, in the order of the text, for ``--json``."""
        facts = [
            (min(reading.spans, default=(0, 0))[0], reading.as_dict()) for reading in self.reports
        ]
        facts += [
            (
                span[0],
                {"event": name, "label": book.rules.events[name], "span": list(span)},
            )
            for name, span in self.events
        ]
        facts += [
            (
                a.span[0],
                {"ask": "say again", "after": a.after, "before": a.before, "span": list(a.span)},
            )
            for a in self.asks
        ]
        facts += [
            (span[0], {"answer": answer, "span": list(span)}) for answer, span in self.answers
        ]
        return [fact for _, fact in sorted(facts, key=lambda pair: pair[0])]


def decode(
    book: Book,
    text: str | Wording,
    *,
    direction: Direction | None = None,
    context: Context | None = None,
    typed: bool = False,
) -> Reading:
    """Return the reading of the one report in ``text``, or in words that are cut already.

    ``direction`` narrows it to reports ("car") or calls ("pit"); ``context`` holds the value
    expected of each wrapped field (the last lap's number, say), which restores the rest of it;
    ``typed`` takes the text as symbols from the dash only. Raises ReportError: Ambiguous where more
    than one reading is possible, UnknownWord, UnexpectedWord, Incomplete otherwise.
    """
    quick = None if typed else _quick(book, text, direction, context)
    if quick is not None:
        return quick
    found = readings(book, text, direction=direction, context=context, typed=typed)
    return _only(found, _source(text))


def readings(
    book: Book,
    text: str | Wording,
    *,
    direction: Direction | None = None,
    context: Context | None = None,
    typed: bool = False,
) -> list[Reading]:
    """Return every reading of the one report in ``text``; raises ReportError where there is
    none.
    """
    source = _source(text)
    if typed:
        ways = typed_ways(book, source, direction)
    else:
        ways = []
        for stretch in listen(book.lexicon, _cut(book, text)):
            if not stretch.empty:
                if ways:
                    raise _several(source, stretch.span)
                ways = ways_of(book, source, stretch, direction)
    if any(len(matches) > 1 for matches, _ in ways):
        raise _several(source, (0, len(source)))
    if not ways:
        raise Incomplete(
            "no report in this transcript",
            kind="no-report",
            source=source,
            span=(len(source), len(source)),
        )
    return [Reading(book, matches[0], source, spans, context) for matches, spans in ways]


def decode_all(
    book: Book,
    text: str | Wording,
    *,
    direction: Direction | None = None,
    context: Context | None = None,
) -> Transcript:
    """Return all that is said in a transcript that may hold several reports, events, questions and
    answers, or in words that are cut already; raises ReportError.
    """
    source = _source(text)
    quick = _quick(book, text, direction, context)
    if quick is not None:
        places = (
            [found.span() for found in WORD.finditer(text)]
            if isinstance(text, str)
            else [word.span for word in text]
        )
        marks = tuple(Mark("symbol", (start, end), source[start:end]) for start, end in places)
        return Transcript(source, (quick,), marks=marks)
    words = _cut(book, text)
    stretches = listen(book.lexicon, words)
    reports = [
        report
        for stretch in stretches
        for report in _reports(book, source, stretch, direction, context)
    ]
    asks = tuple(ask for stretch in stretches for ask in stretch.asks)
    return Transcript(
        source,
        tuple(reports),
        tuple(stretch.event for stretch in stretches if stretch.event),
        asks,
        tuple(answer for stretch in stretches for answer in stretch.answers),
        _marks(words, reports, asks),
    )


def _reports(
    book: Book, source: str, stretch: Stretch, direction: Direction | None, context: Context | None
) -> Iterator[Reading]:
    """Yield the reports of a stretch; raises Ambiguous where it can be read in several ways."""
    if stretch.empty:
        return
    ways = ways_of(book, source, stretch, direction)
    if len(ways) > 1:
        candidates = [_then(matches) for matches, _ in ways[:_MOST_CANDIDATES]]
        raise _tie(candidates, len(ways), source, stretch.span)
    matches, spans = ways[0]
    begin = 0
    for match in matches:
        end = begin + len(match.string)
        yield Reading(book, match, source, spans[begin:end], context)
        begin = end


def decode_many(
    book: Book,
    lines: Iterable[str],
    *,
    direction: Direction | None = None,
    context: Context | None = None,
) -> Iterator[Reading | CodeError]:
    """Yield for each line its reading, or the error that refuses it; holds one line at a time."""
    plain = book.plain(direction)
    for line in lines:
        found = plain(line)
        if found is not None:
            yield Reading(book, found, line, None, context)
            continue
        try:
            yield decode(book, line.rstrip("\r\n"), direction=direction, context=context)
        except CodeError as error:
            yield error


def _source(text: str | Wording) -> str:
    return text if isinstance(text, str) else text.text


def _cut(book: Book, text: str | Wording) -> Wording:
    return cut(book.lexicon, text) if isinstance(text, str) else text


def _quick(
    book: Book, text: str | Wording, direction: Direction | None, context: Context | None
) -> Reading | None:
    """Return the reading of a report that the short path settles, None for any other."""
    found = book.plain(direction)(text if isinstance(text, str) else text.said)
    if found is None:
        return None
    if isinstance(text, str):
        return Reading(book, found, text, None, context)
    start = text.span[0]
    typed = len(text) == 1
    spans = (
        [(start + n, start + n + 1) for n in range(len(found[1]))]
        if typed
        else [word.span for word in text]
    )
    return Reading(book, found, text.text, spans, context)


def _only(found: Sequence[Reading], text: str) -> Reading:
    if len(found) > 1:
        raise _tie(
            [str(reading) for reading in found[:_MOST_CANDIDATES]], len(found), text, (0, len(text))
        )
    return found[0]


def _then(matches: Sequence[Match]) -> str:
    shown = [match.text() for match in matches[:_MOST_CANDIDATES]]
    return " then ".join(
        [*shown, f"{len(matches) - len(shown)} more"] if len(matches) > len(shown) else shown
    )


def _tie(candidates: Sequence[str], count: int, text: str, span: Span) -> Ambiguous:
    return Ambiguous(
        f"{count} readings are possible",
        kind="ambiguous",
        candidates=candidates,
        source=text,
        span=span,
        hint=(
            "ask for the report once more, word by word; or say whether it is a report (car) or a"
            " call (pit)"
        ),
    )


def _several(text: str, span: Span) -> UnexpectedWord:
    return UnexpectedWord(
        "more than one report",
        kind="several-reports",
        source=text,
        span=span,
        hint="decode_all reads transcripts of several reports",
    )


def _marks(words: Wording, reports: Sequence[Reading], asks: Sequence[Ask]) -> tuple[Mark, ...]:
    """Return what each word of the text was taken for."""
    used = sorted({span for reading in reports for span in reading.spans})
    questions = sorted(ask.span for ask in asks)
    return tuple(Mark(_taken_for(word, used, questions), word.span, word.text) for word in words)


def _taken_for(word: Word, used: Sequence[Span], questions: Sequence[Span]) -> str:
    start, end = word.span
    question = _last_from(questions, start)
    if question is not None and start < question[1]:
        return "procedure"  # the symbols of SAY AGAIN ALL AFTER … are part of the question
    if word.kind is WordKind.FILLER:
        return "filler"
    if word.kind is WordKind.SEPARATOR and word.meaning.value:
        return "event"
    if word.kind not in SPOKEN:
        return "procedure"
    symbol = _last_from(used, start)
    if symbol is not None and (symbol[0] == start or end <= symbol[1]):
        return "symbol"
    return "filler" if "" in word.meaning.options else "dropped"


def _last_from(spans: Sequence[Span], place: int) -> Span | None:
    """Return the last of spans in order, none over another, that does not begin behind a place."""
    behind = bisect.bisect_right(spans, place, key=lambda span: span[0])
    return spans[behind - 1] if behind else None
