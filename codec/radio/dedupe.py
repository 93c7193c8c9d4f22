"""What an import brings that is in the sheet already, though another form of the transcript told
it.

Somebody who says the same words for the same car at the same moment says them once, whatever form
wrote them down. Forms round times in their own ways, so moments less than a second apart are one;
and one form may give more of the words around a report than another.
"""

from __future__ import annotations

import functools
from collections import defaultdict
from collections.abc import Iterable

from codec.sheet.entry import Entry
from codec.sheet.journal import Journal
from codec.sheet.state import rows

_APART = 1000  # milliseconds
_FAMILY = {
    "correction": "report",
    "readback": "report",
    "answer": "question",
}  # what a form with fewer words may have taken it for
_Second = tuple[str, str, str, int]  # car, speaker and family of an entry, and its second


class EarlierEntries:
    """The entries a sheet had before an import; read when the first is asked for.

    ``uids`` maps entries of the import to those that are there instead of them.
    """

    def __init__(self, journal: Journal) -> None:
        """Take what a journal has now."""
        self.journal, self.last = journal, journal.last
        self.uids: dict[str, str] = {}

    def new(self, pairs: Iterable[tuple[Entry, str]]) -> list[tuple[Entry, str]]:
        """Return the entries that are not there, each about the one that is there where that is
        known by another ``uid``.
        """
        brought = []
        for entry, about in pairs:
            known = self.last == 0 or self.journal.find(entry.uid) is not None
            uid = "" if known else self._same(entry)
            if uid:
                self.uids[entry.uid] = uid
            else:
                brought.append((entry, self.uids.get(about, about)))
        return brought

    def reported(self, entry: Entry) -> bool:
        """Tell whether there was a report of an entry's lap before the import."""
        if self.last == 0 or entry.kind != "report" or entry.lap is None:
            return False
        return (entry.car, entry.lap) in self._known[1]

    def _same(self, entry: Entry) -> str:
        """Return the ``uid`` of the entry that tells the same, "" if there is none."""
        if entry.at is None or not entry.heard:
            return ""
        by_second, words = self._known[0], _words(entry)
        for beside in (-1, 0, 1):
            for at, others, uid in by_second.get(_second(entry, entry.at, beside), ()):
                if abs(at - entry.at) < _APART and (others in words or words in others):
                    return uid
        return ""

    @functools.cached_property
    def _known(self) -> tuple[dict[_Second, list[tuple[int, str, str]]], set[tuple[str, int]]]:
        """The moment, words and uid of each entry, by second; and every (car, lap) reported."""
        earlier = [entry for entry in self.journal.entries() if entry.seq <= self.last]
        by_second: dict[_Second, list[tuple[int, str, str]]] = defaultdict(list)
        for entry in earlier:
            if entry.at is not None and entry.heard:
                moment = entry.at, _words(entry), entry.uid
                by_second[_second(entry, entry.at)].append(moment)
        reports = [row for row in rows(earlier) if row.first.kind == "report"]
        return by_second, {
            (row.entry.car, row.entry.lap)
            for row in reports
            if row.entry.lap is not None and not row.withdrawn
        }


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
