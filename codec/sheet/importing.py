"""Transcripts and exported sheets into the journal, in batches, however long the file."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, BinaryIO

from codec.sheet.crews import Crew
from codec.sheet.entry import Entry
from codec.sheet.exports import Read, restore
from codec.sheet.journal import Journal
from codec.sheet.laps import LapTimes
from codec.sheet.listener import Draft, Listener
from codec.sheet.state import cars
from codec.sheet.transcript import MOST_LINE, Form, LeftOut, utterances
from grammar.speech.words import cut

_BATCH = 500
_EXAMPLES = 2


@dataclass(slots=True)
class Summary:
    """What an import brought: entries by kind, those that were there already, and what was left out by reason with a few examples."""

    written: dict[str, int] = field(default_factory=dict)
    refused: int = 0
    there: int = 0
    left_out: dict[str, int] = field(default_factory=dict)
    examples: dict[str, list[LeftOut]] = field(default_factory=dict)

    def as_dict(self) -> dict[str, Any]:
        """Return the counts for ``--json``."""
        return {"written": self.written, "refused": self.refused, "there_already": self.there, "left_out": self.left_out}

    def leave(self, left: LeftOut) -> None:
        """Count what was left out."""
        reason = left.reason if len(self.left_out) < 50 or left.reason in self.left_out else "other reasons"
        self.left_out[reason] = self.left_out.get(reason, 0) + 1
        shown = self.examples.setdefault(reason, [])
        if len(shown) < _EXAMPLES:
            shown.append(left)

    def write(self, entry: Entry) -> None:
        """Count an entry."""
        self.written[entry.kind] = self.written.get(entry.kind, 0) + 1
        self.refused += bool(entry.refusal)


def bounded(stream: BinaryIO, read: Callable[[int], None] | None = None) -> Iterator[str]:
    """Yield the lines of a stream, each cut at a bound so that no line can fill the memory; ``read`` is told the bytes taken."""
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


def drafts(listener: Listener, lines: Iterable[str], form: Form) -> Iterator[Draft | LeftOut]:
    """Yield what a transcript brings, in order."""
    lexicon = listener.book.lexicon

    def is_code(text: str) -> bool:
        return all(word.meaning.terminal != "UNKNOWN" for word in cut(lexicon, text, tolerant=True))

    for said in utterances(lines, form, is_code=is_code):
        if isinstance(said, LeftOut):
            yield said
        else:
            yield from listener.hear(said)


def import_transcript(
    journal: Journal,
    lines: Iterable[str],
    form: Form,
    crews: Sequence[Crew],
    *,
    times: LapTimes | None = None,
    after: Mapping[str, int] | None = None,
    left_out: Callable[[LeftOut], None] | None = None,
) -> Summary:
    """Write what a transcript brings to the journal; the same transcript again, or a longer one that begins with it, adds only what is new.

    ``crews`` tells who drives which car and who speaks to it, ``times`` when laps began, ``after`` the lap of a car before its first report
    (0). ``left_out`` is told of every line left out. Raises SheetError.
    """
    summary = Summary()
    named = cars(journal.entries())
    journal.append_all(Entry(kind="car", car=c.car, message=c.driver, note=", ".join(c.wall)) for c in crews if c.car not in named)
    batch: list[Draft] = []
    for draft in drafts(Listener(journal.book, crews, times=times, after=after), lines, form):
        if isinstance(draft, LeftOut):
            summary.leave(draft)
            if left_out is not None:
                left_out(draft)
            continue
        batch.append(draft)
        if len(batch) >= _BATCH:
            write(journal, [(draft.entry, draft.about) for draft in batch], summary)
            batch = []
    write(journal, [(draft.entry, draft.about) for draft in batch], summary)
    return summary


def write(journal: Journal, pairs: Sequence[tuple[Entry, str]], summary: Summary) -> None:
    """Write entries in one go and count them; those that were there already are counted apart."""
    last = journal.last
    for entry in journal.append_linked(pairs):
        if entry.seq > last:
            summary.write(entry)
        else:
            summary.there += 1


def import_export(journal: Journal, read: Read) -> Summary:
    """Write the entries of an exported sheet to the journal, those that are not there yet. Raises SheetError."""
    summary = Summary()
    batch: list[tuple[Entry, str]] = []
    for pair in restore(journal, read):
        batch.append(pair)
        if len(batch) >= _BATCH:
            write(journal, batch, summary)
            batch = []
    write(journal, batch, summary)
    return summary
