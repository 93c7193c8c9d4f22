"""What can still be read of a damaged sheet: its entries, and the book that it was written with."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from codec.sheet.columns import Fields
from codec.sheet.entry import Entry
from codec.sheet.journal import Journal, sheet_format
from codec.sheet.table import ENTRIES, EntryTable
from codec.store.rescue import sound_rows, texts_in
from grammar.book import Book
from grammar.errors import CodeError
from grammar.parsing import parse_book


@dataclass(frozen=True, slots=True)
class Rescued:
    """The entries read, in order, and the numbers missing among them."""

    entries: tuple[Entry, ...]
    missing: tuple[int, ...]


def rescue(path: Path, fields: Fields, table: EntryTable = ENTRIES) -> Rescued:
    """Return what can be read of a sheet's file, however damaged, given the book's fields; raises
    SheetError where no file is.
    """
    rows, missing = sound_rows(path, sheet_format(table))
    return Rescued(tuple(table.of_row(facts, fields) for facts in rows), tuple(missing))


def rescue_book(path: Path) -> Book | None:
    """Return the book of a damaged sheet, None where no copy of its text fits a digest that the
    file holds.
    """
    found = texts_in(path, ("book", "digest", "name"))
    names = found.get("name", set())
    for text in sorted(found.get("book", set()), key=len, reverse=True):
        try:
            book = parse_book(text, min(names) if len(names) == 1 else "book")
        except CodeError:
            continue  # a copy that is damaged; another may not be
        if book.digest in found.get("digest", set()):
            return book
    return None


def save(journal: Journal, found: Rescued) -> None:
    """Write rescued entries to a new journal; what a lost entry was about is noted in words."""
    uids = {entry.seq: entry.uid for entry in found.entries}
    pairs = []
    for entry in found.entries:
        about = uids.get(entry.about or 0, "")
        lost = entry.about is not None and not about
        note = (
            f"about entry {entry.about}, which is lost; {entry.note}".rstrip("; ")
            if lost
            else entry.note
        )
        pairs.append((entry.replace(about=None if lost else entry.about, note=note), about))
    journal.append_linked(pairs)
