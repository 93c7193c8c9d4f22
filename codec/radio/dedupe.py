"""What an import brings that is in the sheet already, though another form of the transcript told
it.

Somebody who says the same words for the same car at the same moment says them once, whatever form
wrote them down. Forms round times in their own ways, so moments less than a second apart are one;
and one form may give more of the words around a report than another.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from codec.sheet.entry import Entry
from codec.sheet.journal import Journal
from codec.sheet.state import laps, rows

_APART = 1000  # milliseconds
_FAMILY = {
    "correction": "report",
    "readback": "report",
    "answer": "question",
}  # what a form with fewer words may have taken it for
_Place = tuple[str, str, str, int]


@dataclass(slots=True)
class There:
    """The entries a sheet had before an import; read when the first is asked for.

    ``uids`` maps entries of the import to those that are there instead of them.
    """

    journal: Journal
    last: int
    uids: dict[str, str] = field(default_factory=dict)
    _moments: dict[_Place, list[tuple[int, str, str]]] | None = None
    _laps: set[tuple[str, int]] = field(default_factory=set)

    @classmethod
    def before(cls, journal: Journal) -> There:
        """Take what a journal has now."""
        return cls(journal, journal.last)

    def new(self, pairs: Iterable[tuple[Entry, str]]) -> list[tuple[Entry, str]]:
        """Return the entries that are not there, each about the one that is there where that is
        known by another ``uid``.
        """
        found = []
        for entry, about in pairs:
            same = (
                ""
                if self.last == 0 or self.journal.find(entry.uid) is not None
                else self._same(entry)
            )
            if same:
                self.uids[entry.uid] = same
            else:
                found.append((entry, self.uids.get(about, about)))
        return found

    def reported(self, entry: Entry) -> bool:
        """Tell whether there was a report of an entry's lap before the import."""
        if self.last == 0 or entry.kind != "report" or entry.lap is None:
            return False
        self._read()
        return (entry.car, entry.lap) in self._laps

    def _same(self, entry: Entry) -> str:
        """Return the ``uid`` of the entry that tells the same, "" if there is none."""
        if entry.at is None or not entry.heard:
            return ""
        moments, at, words = self._read(), entry.at, _words(entry)
        for beside in (-1, 0, 1):
            for moment, said, uid in moments.get(_place(entry, at, beside), ()):
                if abs(moment - at) < _APART and (said in words or words in said):
                    return uid
        return ""

    def _read(self) -> dict[_Place, list[tuple[int, str, str]]]:
        if self._moments is None:
            self._moments = {}
            listed = [entry for entry in self.journal.entries() if entry.seq <= self.last]
            for entry in listed:
                if entry.at is not None and entry.heard:
                    self._moments.setdefault(_place(entry, entry.at), []).append(
                        (entry.at, _words(entry), entry.uid)
                    )
            standing = rows(listed)
            for car, message in {
                (row.entry.car, row.entry.message) for row in standing if row.first.kind == "report"
            }:
                self._laps |= {(car, lap) for lap in laps(standing, car, message)}
        return self._moments


def _place(entry: Entry, at: int, beside: int = 0) -> _Place:
    """Return what must be the same of two entries that tell the same, but for the very moment and
    the words.
    """
    return (
        entry.car,
        entry.speaker.casefold(),
        _FAMILY.get(entry.kind, entry.kind),
        at // _APART + beside,
    )


def _words(entry: Entry) -> str:
    """Return the words heard, as every form of a transcript has them, each with a space before and
    behind it.
    """
    words = "".join(
        character if character.isalnum() else " " for character in entry.heard.casefold()
    ).split()
    return f" {' '.join(words)} "
