"""What an import brings that is in the sheet already, though another form of the transcript told
it.

Somebody who says the same words for the same car at the same moment says them once, whatever form
wrote them down. Forms round times in their own ways, so moments less than a second apart are one;
and one form may give more of the words around a report than another.
"""

from __future__ import annotations

import functools
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from codec.sheet.entry import Entry
from codec.sheet.journal import Journal
from codec.sheet.state import BY_HAND, Row, correction_of, rows

_APART = 1000  # milliseconds
_ONE_REPORT = 60_000  # milliseconds within which a lap is reported, said again and read back
BY_LAP_TIMES = "on this lap by the lap times"
NOT_USED = "not used: put right by hand"
_FAMILY = {
    "correction": "report",
    "readback": "report",
    "answer": "question",
}  # what a form with fewer words may have taken it for
_Second = tuple[str, str, str, int]  # car, speaker and family of an entry, and its second


@dataclass(slots=True)
class _Known:
    """What a sheet has: the moment, words and uid of each entry, by second; every (car, lap)
    reported; by those the moment, string and uid of what counts; and what was put right by hand.
    """

    by_second: dict[_Second, list[tuple[int, str, str]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    laps: set[tuple[str, int]] = field(default_factory=set)
    accepted: dict[tuple[str, int | None], list[tuple[int, str, str]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    by_hand: set[str] = field(default_factory=set)


class EarlierEntries:
    """The entries a sheet had before an import; read when the first is asked for.

    ``uids`` maps entries of the import to those that are there instead of them, ``left`` is how
    many of the last ones were.
    """

    def __init__(self, journal: Journal, *, lap_times: bool = False) -> None:
        """Take what a journal has now; with ``lap_times``, what is there is filed anew by them."""
        self.journal, self.last, self._lap_times = journal, journal.last, lap_times
        self.uids: dict[str, str] = {}
        self.left = 0
        self._laps_now: dict[int, int] = {}  # of rows, by their numbers, that are filed anew

    def new(self, pairs: Iterable[tuple[Entry, str]]) -> list[tuple[Entry, str]]:
        """Return the entries that are not there, each about the one that is there where that is
        known by another ``uid``.
        """
        brought, self.left = list[tuple[Entry, str]](), 0
        for entry, root in pairs:
            known = self.last == 0 or self.journal.find(entry.uid) is not None
            uid = "" if known else self._same(entry) or self._said_before(entry)
            about = self.uids.get(root, root)
            if self._lap_times and self.last and (known or uid):
                brought += self._filed_anew(entry, uid or entry.uid)
            if uid:
                self.left += 1
                self.uids[entry.uid] = uid
            elif not known and entry.kind == "correction" and about in self._known.by_hand:
                note = "; ".join(filter(None, (NOT_USED, entry.note)))
                brought.append((entry.replace(kind="answer", note=note), about))
            else:
                brought.append((entry, about))
        return brought

    def _filed_anew(self, entry: Entry, uid: str) -> Iterator[tuple[Entry, str]]:
        """Yield what puts an entry that is there on the lap that lap times tell, where it stands on
        another, and nobody put it right by hand.
        """
        row = self._standing.get(uid)
        if row is None or row.first.uid in self._known.by_hand or row.withdrawn:
            return
        if entry.lap is None or entry.lap_by == "said" or row.entry.lap_by in ("said", "given"):
            return
        if self._laps_now.get(row.first.seq, row.entry.lap) == entry.lap:
            return
        self._laps_now[row.first.seq] = entry.lap
        stands = row.entry
        moved = correction_of(
            stands,
            lap=entry.lap,
            lap_by=entry.lap_by,
            lap_certainty=entry.lap_certainty,
            refusal=stands.refusal,
            certainty=stands.certainty,
            note="; ".join(filter(None, (stands.note, BY_LAP_TIMES))),
        )
        yield moved, row.first.uid

    @functools.cached_property
    def _standing(self) -> dict[str, Row]:
        """What stood before the import, by the names of its entries."""
        found = rows(entry for entry in self.journal.entries() if entry.seq <= self.last)
        return {one.uid: row for row in found for one in (row.first, *row.corrections)}

    def reported(self, entry: Entry) -> bool:
        """Tell whether there was a report of an entry's lap before the import."""
        if self.last == 0 or entry.kind != "report" or entry.lap is None:
            return False
        return (entry.car, entry.lap) in self._known.laps

    def _same(self, entry: Entry) -> str:
        """Return the ``uid`` of the entry that tells the same, "" if there is none."""
        if entry.at is None or not entry.heard:
            return ""
        by_second, words = self._known.by_second, _words(entry)
        for beside in (-1, 0, 1):
            for at, others, uid in by_second.get(_second(entry, entry.at, beside), ()):
                if abs(at - entry.at) < _APART and (others in words or words in others):
                    return uid
        return ""

    def _said_before(self, entry: Entry) -> str:
        """Return the ``uid`` of the report that stands for a car and a lap already, where another
        hearing of it about then tells no more; "" if there is none.
        """
        if entry.kind not in ("report", "correction") or entry.at is None:
            return ""
        for at, string, uid in self._known.accepted.get((entry.car, entry.lap), ()):
            if abs(at - entry.at) < _ONE_REPORT and (entry.refusal or entry.string == string):
                return uid
        return ""

    @functools.cached_property
    def _known(self) -> _Known:
        earlier = [entry for entry in self.journal.entries() if entry.seq <= self.last]
        known = _Known()
        for entry in earlier:
            if entry.at is not None and entry.heard:
                moment = entry.at, _words(entry), entry.uid
                known.by_second[_second(entry, entry.at)].append(moment)
        for row in rows(earlier):
            entry, first = row.entry, row.first
            if first.kind not in ("report", "call") or row.withdrawn:
                continue
            if any(BY_HAND in one.note for one in row.corrections):
                known.by_hand.add(first.uid)
            if first.kind == "report" and entry.lap is not None:
                known.laps.add((entry.car, entry.lap))
                if row.counts and first.at is not None:
                    told = first.at, entry.string, first.uid
                    known.accepted[entry.car, entry.lap].append(told)
        return known


def _second(entry: Entry, at: int, beside: int = 0) -> _Second:
    """Return what must be the same of two entries that tell the same, but for the very moment and
    the words.
    """
    family = _FAMILY.get(entry.kind, entry.kind)
    return entry.car, entry.speaker.casefold(), family, at // _APART + beside


def _words(entry: Entry) -> str:
    """Return the words heard, as every form of a transcript has them, each with a space before and
    behind it.
    """
    heard = entry.heard.casefold()
    words = "".join(letter if letter.isalnum() else " " for letter in heard).split()
    return f" {' '.join(words)} "
