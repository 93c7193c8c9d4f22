"""What a desk shows of everything that was written, as data: the templates only lay it out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from codec.log.session import Session
from codec.sheet.entry import Entry
from codec.sheet.words import event_text, values_text
from grammar.book import Book

_PAGE = 100  # entries of the history at a time


class Said(NamedTuple):
    """An entry, and what it says as people read it."""

    entry: Entry
    words: str


@dataclass(frozen=True, slots=True)
class History:
    """A page of everything that was written, the newest first; ``before`` leads to the next."""

    entries: Sequence[Said]
    search: str
    before: int


def history(session: Session, search: str, before: int) -> History:
    """Return the entries that say all that is searched for, those before a number (0: all)."""
    wanted = search.casefold().split()
    found: list[Said] = []
    for entry in reversed(session.entries):
        if before and entry.seq >= before:
            continue
        words = _words(session.book, entry)
        text = f"{words} {entry.kind} {entry.writer} {entry.speaker}".casefold()
        if all(word in text for word in wanted):
            found.append(Said(entry, words))
        if len(found) == _PAGE:
            return History(found, search, entry.seq)
    return History(found, search, 0)


def _words(book: Book, entry: Entry) -> str:
    """Return what an entry says: what was read of it, then the words as heard."""
    if entry.kind == "event":
        read = event_text(book, entry)
    elif entry.accepted:
        known = book.messages.get(entry.message)
        title = entry.message if known is None else known.title
        read = f"{entry.string} {title}: {values_text(book, entry)}"
    else:
        read = entry.message
    return "; ".join(filter(None, (read, entry.heard, entry.note)))
