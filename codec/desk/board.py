"""What a desk shows of everything that was written, as data: the templates only lay it out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from codec.log.session import Session
from codec.sheet.entry import Entry

_PAGE = 100  # entries of the history at a time


@dataclass(frozen=True, slots=True)
class History:
    """A page of everything that was written, the newest first; ``before`` leads to the next."""

    entries: Sequence[Entry]
    search: str
    before: int


def history(session: Session, search: str, before: int) -> History:
    """Return the entries whose words have all that is searched for, those before a number."""
    wanted = search.casefold().split()
    found: list[Entry] = []
    for entry in reversed(session.entries):
        if before and entry.seq >= before:
            continue
        text = (
            f"{entry.heard} {entry.string} {entry.message} {entry.note} {entry.kind} {entry.writer}"
        )
        if all(word in text.casefold() for word in wanted):
            found.append(entry)
        if len(found) == _PAGE:
            return History(found, search, found[-1].seq)
    return History(found, search, 0)
