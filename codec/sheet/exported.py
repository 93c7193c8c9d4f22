"""What every form of an exported sheet holds: the facts of its book, and entries that fit it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from codec.sheet.check_entry import fitting
from codec.sheet.entry import Entry, SheetError
from codec.sheet.journal import Journal
from codec.sheet.table import EntryTable
from grammar.book import Book
from grammar.parsing import parse_book


@dataclass(frozen=True, slots=True)
class Facts:
    """What a sheet tells of its book: its name, its digest, and its text; and the sheet's own name.

    ``sheet`` is "" in an export of an earlier version: it can't be told then whether a CSV and its
    schema belong together.
    """

    name: str
    digest: str
    text: str
    sheet: str = ""

    @classmethod
    def of(cls, journal: Journal) -> Facts:
        """Return the facts of a journal."""
        facts = journal.facts
        return cls(facts["name"], facts["digest"], facts["book"], journal.sheet)

    @classmethod
    def read(cls, told: Any, where: str) -> Facts:
        """Return the facts an export holds; raises SheetError."""
        if isinstance(told, Mapping) and all(
            isinstance(told.get(key), str) for key in ("name", "digest", "text")
        ):
            sheet = told.get("sheet")
            name, digest, text = told["name"], told["digest"], told["text"]
            return cls(name, digest, text, sheet if isinstance(sheet, str) else "")
        raise SheetError(
            f"{where}: what it tells of its book is not complete",
            kind="sheet-export",
            hint="export the sheet once more",
        )

    def as_dict(self) -> dict[str, str]:
        """Return the facts as an export holds them."""
        return dataclasses.asdict(self)


Read = tuple[Facts, Iterator[Entry]]  # what an export tells of its book, and its entries


def book_of(facts: Facts, where: str) -> Book:
    """Return the book an export holds; raises SheetError where it is none, or another than the
    export says.
    """
    try:
        book = parse_book(facts.text, facts.name)
    except ValueError as error:
        raise SheetError(f"{where}: its book can't be read: {error}", kind="sheet-export") from None
    if book.digest != facts.digest:
        raise SheetError(
            f"{where}: the book in it is not as it was written",
            kind="sheet-export",
            hint="export the sheet once more",
        )
    return book


def entries_of(
    rows: Iterable[tuple[str, Mapping[str, str]]], book: Book, table: EntryTable
) -> Iterator[Entry]:
    """Yield the entries of rows of texts, each with the place it stands in; raises SheetError where
    one is not what its own string says.
    """
    for where, row in rows:
        yield fitting(table.of_texts(row, book.fields, where), book, where)


def restore(journal: Journal, read: Read) -> Iterator[tuple[Entry, str]]:
    """Yield the entries of an export for ``append_linked``; raises SheetError where they were
    written with another book.
    """
    facts, entries = read
    if facts.digest != journal.facts["digest"]:
        raise SheetError(
            f"the export was written with another book: {facts.name!r} ({facts.digest[:8]}), the"
            f" sheet with {journal.facts['name']!r} ({journal.facts['digest'][:8]})",
            kind="other-book",
            hint="import it into a new sheet",
        )
    uids: dict[int, str] = {}
    for entry in entries:
        uids[entry.seq] = entry.uid
        yield entry, uids.get(entry.about, "") if entry.about is not None else ""
