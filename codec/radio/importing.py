"""Transcripts and exported sheets into the journal, in batches, however long the file."""

from __future__ import annotations

import codecs
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, BinaryIO

from codec.radio.crews import Crew, check_cars, crews_in, role_of
from codec.radio.dedupe import EarlierEntries
from codec.radio.exchange import Draft
from codec.radio.forms import FORMS, MOST_LINE, LeftOut, Utterance
from codec.radio.lap_model import LapModel
from codec.radio.laps import LapTimes
from codec.radio.listener import Listener
from codec.sheet.entry import Entry
from codec.sheet.exported import Read, restore
from codec.sheet.journal import Journal
from codec.sheet.state import cars
from grammar.book import Book
from grammar.errors import CodeError
from grammar.speech.kinds import WordKind
from grammar.speech.words import cut

_BATCH = 500
# entries held back while somebody named has not spoken, and nobody knows whose car others report of
_MOST_HELD = 20_000
_EXAMPLES = 2


@dataclass(slots=True)
class Summary:
    """What an import brought: entries by kind, those that were there already, and what was left out
    by reason with a few examples.

    ``reports`` counts those found so far, also those that were there, ``once_more`` the reports of
    laps that had one before, ``of_no_car`` by speaker the reports and calls that belong to no car,
    ``supposed`` the calls of people nobody named, taken for the only car's; ``silent`` names those
    who were named and never spoke.
    """

    written: dict[str, int] = field(default_factory=dict)
    refused: int = 0
    reports: int = 0
    there: int = 0
    once_more: int = 0
    of_no_car: dict[str, int] = field(default_factory=dict)
    supposed: dict[str, int] = field(default_factory=dict)
    silent: list[str] = field(default_factory=list)
    reporters: dict[str, int] = field(
        default_factory=dict
    )  # who reports, where no car is named and all count for one
    unproven: bool = False  # an export that does not tell which sheet it is of
    left_out: dict[str, int] = field(default_factory=dict)
    examples: dict[str, list[LeftOut]] = field(default_factory=dict)

    def as_dict(self) -> dict[str, Any]:
        """Return the counts for ``--json``."""
        facts = {
            "written": self.written,
            "refused": self.refused,
            "there_already": self.there,
            "left_out": self.left_out,
        }
        return facts | {
            "laps_reported_before": self.once_more,
            "of_no_car": self.of_no_car,
            "supposed": self.supposed,
            "never_spoke": self.silent,
            "reporters": self.reporters,
            "unproven": self.unproven,
        }

    def found(self) -> int:
        """Return how many reports were found so far."""
        return self.reports

    def leave(self, left: LeftOut) -> None:
        """Count what was left out."""
        reason = (
            left.reason
            if len(self.left_out) < 50 or left.reason in self.left_out
            else "other reasons"
        )
        self.left_out[reason] = self.left_out.get(reason, 0) + 1
        shown = self.examples.setdefault(reason, [])
        if len(shown) < _EXAMPLES:
            shown.append(left)

    def count_speaker(self, entry: Entry, crews: Sequence[Crew]) -> None:
        """Count a report or call by its speaker where nobody knows whose car it belongs to."""
        speaker, counts = entry.speaker, None
        if not crews:
            counts = self.reporters if entry.kind == "report" and speaker else None
        elif entry.kind in ("report", "call") and not entry.car:
            counts = self.of_no_car
        elif entry.kind == "call" and speaker and role_of(speaker, crews)[0] is None:
            counts = self.supposed
        if counts is not None:
            counts[speaker] = counts.get(speaker, 0) + 1

    def write(self, entry: Entry) -> None:
        """Count an entry."""
        self.written[entry.kind] = self.written.get(entry.kind, 0) + 1
        self.refused += bool(entry.refusal)


def bounded(stream: BinaryIO, read: Callable[[int], None] | None = None) -> Iterator[str]:
    """Yield the lines of a stream, each cut at a bound so that no line can fill the memory;
    ``read`` is told the bytes taken.
    """
    for raw in iter(lambda: stream.readline(MOST_LINE * 4), b""):
        size = len(raw)
        if not raw.endswith(b"\n"):
            for more in iter(lambda: stream.readline(MOST_LINE * 4), b""):
                size += len(more)
                if more.endswith(b"\n"):
                    break
        if read is not None:
            read(size)
        yield raw.decode("utf-8", "replace")


def pieces(stream: BinaryIO, read: Callable[[int], None] | None = None) -> Iterator[str]:
    """Yield a stream in pieces, however long its lines; ``read`` is told the bytes taken."""
    decoder = codecs.getincrementaldecoder("utf-8")("replace")
    for raw in iter(lambda: stream.read(1 << 16), b""):
        if read is not None:
            read(len(raw))
        yield decoder.decode(raw)


def said(book: Book, lines: Iterable[str], form: str) -> Iterator[Utterance | LeftOut]:
    """Yield the utterances of a transcript; ``form`` is the name of one of ``FORMS``."""

    def is_code(text: str) -> bool:
        return all(word.kind is not WordKind.UNKNOWN for word in cut(book.lexicon, text))

    return FORMS[form].utterances(lines, is_code)


def drafts(listener: Listener, lines: Iterable[str], form: str) -> Iterator[Draft | LeftOut]:
    """Yield what a transcript brings, in order."""
    return _brought(listener, said(listener.book, lines, form))


def _brought(
    listener: Listener, utterances: Iterable[Utterance | LeftOut]
) -> Iterator[Draft | LeftOut]:
    """Yield what utterances bring; one that brings nothing is told as left out once none that
    follows goes on with it.
    """
    left: list[LeftOut] = []
    for utterance in utterances:
        if isinstance(utterance, LeftOut):
            yield utterance
            continue
        brought = listener.hear(utterance)
        left = [one for one in left if one.number not in listener.gone_on]
        left += [one for one in brought if isinstance(one, LeftOut)]
        yield from (one for one in brought if isinstance(one, Draft))
        waiting = listener.may_go_on()
        yield from (one for one in left if one.number not in waiting)
        left = [one for one in left if one.number in waiting]
    yield from left
    yield from listener.finish()


def import_transcript(
    journal: Journal,
    lines: Iterable[str],
    form: str,
    crews: Sequence[Crew],
    *,
    times: LapTimes | None = None,
    after: Mapping[str, int] | None = None,
    left_out: Callable[[LeftOut], None] | None = None,
    summary: Summary | None = None,
) -> Summary:
    """Write what a transcript brings to the journal: ``form`` is the name of one of ``FORMS``, the
    rest is as for ``import_utterances``.
    """
    utterances = said(journal.book, lines, form)
    return import_utterances(
        journal, utterances, crews, times=times, after=after, left_out=left_out, summary=summary
    )


def import_utterances(
    journal: Journal,
    utterances: Iterable[Utterance | LeftOut],
    crews: Sequence[Crew],
    *,
    times: LapTimes | None = None,
    after: Mapping[str, int] | None = None,
    left_out: Callable[[LeftOut], None] | None = None,
    summary: Summary | None = None,
) -> Summary:
    """Write what was said to the journal; the same again, more of it, or another form of it adds
    only what is new. Where ``times`` are given, what is there already and stands on another lap is
    filed on the one they tell, by corrections.

    ``crews`` tells who drives which car and who speaks to
    it, those that the sheet names where none is given; ``times`` when laps began, ``after`` the lap
    of a car before its first report (0). ``left_out`` is told of every line left out; a ``summary``
    given is filled as it goes on. Raises SheetError, and CodeError where ``after`` names another
    car, or the names of ``crews`` are not those of the transcript: nothing is written then.
    """
    given, crews = bool(crews), crews or crews_in(journal.entries())
    check_cars(after or {}, crews)
    listener = Listener(journal.book, crews, times=times, after=after)
    batch = _Batch(
        journal, listener, crews, summary or Summary(), given=given, timed=times is not None
    )
    laps = LapModel(journal.book, dict(after or {}), times)
    for draft in laps.placed(_brought(listener, utterances), listener.waits):
        if isinstance(draft, LeftOut):
            batch.summary.leave(draft)
            if left_out is not None:
                left_out(draft)
        else:
            batch.add(draft)
    batch.write()
    return batch.summary


class _Batch:
    """Drafts on their way to the journal: held back while the names given may not be those of the
    transcript.
    """

    def __init__(
        self,
        journal: Journal,
        listener: Listener,
        crews: Sequence[Crew],
        summary: Summary,
        *,
        given: bool,
        timed: bool,
    ) -> None:
        """Begin with the cars that the sheet does not have yet; crews not ``given`` are those of
        the sheet, and may be silent; what is there already is filed anew where laps are
        ``timed``.
        """
        self.summary, self._given = summary, given
        self._journal, self._listener, self._crews = journal, listener, crews
        self._earlier = EarlierEntries(journal, lap_times=timed)
        named = cars(journal.entries())
        self._new_cars = [
            Entry(kind="car", car=crew.car, message=crew.driver, note=", ".join(crew.wall))
            for crew in crews
            if crew.car not in named
        ]
        self._pairs: list[tuple[Entry, str]] = []

    def add(self, draft: Draft) -> None:
        """Take a draft; what has gathered is written from time to time."""
        self.summary.reports += draft.entry.kind == "report"
        self.summary.count_speaker(draft.entry, self._crews)
        self._pairs.append((draft.entry, draft.about))
        if len(self._pairs) >= _BATCH:
            astray = self.summary.of_no_car and self._silent()
            if not astray or len(self._pairs) >= _MOST_HELD:
                self.write()

    def _silent(self) -> list[str]:
        return self._listener.roster.silent() if self._given else []

    def write(self) -> None:
        """Write what has gathered; raises CodeError where somebody named never spoke and others, of
        no car, report: most likely the name is another in the transcript.
        """
        summary = self.summary
        summary.silent = self._silent()
        if summary.silent and summary.of_no_car:
            silent, others = ", ".join(summary.silent[:6]), by_speaker(summary.of_no_car)
            raise CodeError(
                f"{silent} never spoke, and there are reports or calls of nobody's car, said by"
                f" {others}",
                kind="unknown-speaker",
                hint=(
                    "name people as the transcript does, and leave out those who are silent in it;"
                    " nothing was written"
                ),
            )
        if self._pairs:
            self._journal.append_all(self._new_cars)
            _write(self._journal, self._pairs, summary, self._earlier)
            self._new_cars, self._pairs = [], []


def by_speaker(counts: Mapping[str, int]) -> str:
    """Return in words who said how many."""
    shown = [
        f"{name or 'somebody without a name'} ({count})" for name, count in list(counts.items())[:6]
    ]
    return ", ".join(shown) + (f" … and {len(counts) - 6} more" if len(counts) > 6 else "")


def _write(
    journal: Journal,
    pairs: Sequence[tuple[Entry, str]],
    summary: Summary,
    earlier: EarlierEntries | None = None,
) -> None:
    """Write entries in one go and count them; those that were there already are counted apart, and
    reports of laps that had one too.
    """
    last = journal.last
    if earlier is not None:
        pairs = earlier.new(pairs)
        summary.there += earlier.left
    for entry in journal.append_linked(pairs):
        if entry.seq > last:
            summary.write(entry)
            summary.once_more += earlier is not None and earlier.reported(entry)
        else:
            summary.there += 1


def import_export(journal: Journal, read: Read) -> Summary:
    """Write the entries of an exported sheet to the journal, those that are not there yet.

    Raises SheetError.
    """
    summary = Summary(unproven=not read[0].sheet)
    batch: list[tuple[Entry, str]] = []
    for pair in restore(journal, read):
        batch.append(pair)
        if len(batch) >= _BATCH:
            _write(journal, batch, summary)
            batch = []
    _write(journal, batch, summary)
    return summary
