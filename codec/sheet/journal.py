"""The journal of one event: entries are added, never changed, and an entry that was returned is on
the disk.
"""

from __future__ import annotations

import datetime
import getpass
import hashlib
import json
import os
import uuid
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from codec.sheet.entry import Entry, SheetError
from codec.sheet.rows import INSERT, SELECT, damaged, entry_of, row_of
from codec.store.store import connect, read_only, telling, transaction
from grammar.book import Book
from grammar.errors import BookError
from grammar.loading import parse_book

Clock = Callable[[], datetime.datetime]


def book_digest(book: Book) -> str:
    """Return the digest of what a book says: its file's comments and spacing don't count."""
    told = book.spec.model_dump(mode="json", exclude_unset=True)
    return hashlib.sha256(
        json.dumps(told, ensure_ascii=False, separators=(",", ":")).encode("utf-8", "replace")
    ).hexdigest()


def now() -> datetime.datetime:
    """Return the time of the computer's clock."""
    return datetime.datetime.now(datetime.UTC)


class Journal:
    """The journal in a file.

    ``Journal(path, book)`` opens it, or makes it where there is none; ``Journal(path)`` opens one
    that is there, with the book kept in it. ``writer`` tells later who wrote an entry. A file that
    may only be read is opened all the same (``writable`` is False).

    Raises SheetError: ``sheet-missing``, ``not-a-sheet``, ``other-book``, ``sheet-later``,
    ``sheet-damaged``, ``sheet-file``.
    """

    def __init__(
        self, path: str | Path, book: Book | None = None, *, writer: str = "", clock: Clock = now
    ) -> None:
        """Open or make the file."""
        self.path, self._clock = Path(path), clock
        self.writer = writer or f"{_user()}.{os.getpid()}"
        facts = (
            None
            if book is None
            else {"book": book.source, "digest": book_digest(book), "name": book.name}
        )
        self._connection, self.writable = connect(self.path, create=facts)
        try:
            self.facts = self._facts()
            self.book = self._same(book) if book is not None else self._kept()
        except BaseException:
            self.close()
            raise

    def _facts(self) -> dict[str, str]:
        with telling(self.path):
            facts = dict(self._connection.execute("SELECT name, text FROM facts").fetchall())
        if not {"book", "digest", "name"} <= facts.keys():
            raise damaged("what it tells of its book is gone", self.path)
        return facts

    def _kept(self) -> Book:
        """Return the book kept in the file."""
        try:
            book = parse_book(self.facts["book"], self.facts["name"])
        except BookError:
            raise damaged("the book kept in it can't be read", self.path) from None
        if book_digest(book) != self.facts["digest"]:
            raise damaged("the book kept in it is not as it was written", self.path)
        return book

    def _same(self, book: Book) -> Book:
        digest = book_digest(book)
        if digest != self.facts["digest"]:
            raise SheetError(
                f"{str(self.path)!r} was written with another book than {book.title!r}: with"
                f" {self.facts['name']!r} ({self.facts['digest'][:8]}), not this one"
                f" ({digest[:8]})",
                kind="other-book",
                hint="open it without naming a book, or begin a new sheet for this book",
            )
        return book

    def append(self, entry: Entry) -> Entry:
        """Write an entry and return it as written, when it is on the disk; one whose ``uid`` is
        there already is returned as it stands.
        """
        return self.append_all([entry])[0]

    def append_all(self, entries: Iterable[Entry]) -> list[Entry]:
        """Write several entries, all or none of them, and return them as written.

        Raises SheetError; nothing earlier is lost then.
        """
        return self.append_linked((entry, "") for entry in entries)

    def append_linked(self, pairs: Iterable[tuple[Entry, str]]) -> list[Entry]:
        """Write several entries, each with the ``uid`` of the one it is about ("" leaves ``about``
        as it is), all or none of them.
        """
        if not self.writable:
            raise read_only(self.path)
        with telling(self.path), transaction(self._connection):
            return [self._insert(entry, uid) for entry, uid in pairs]

    def _insert(self, entry: Entry, about: str) -> Entry:
        if entry.uid:
            there = self.find(entry.uid)
            if there is not None:
                return there
        last = self._connection.execute("SELECT coalesce(max(seq), 0) FROM entries").fetchone()[0]
        if about:
            meant = self.find(about)
            entry = entry.replace(about=last + 1 if meant is None else meant.seq)
        if entry.about is not None and not 0 < entry.about <= last:
            raise SheetError(
                f"entry {about or entry.about}, which this is about, is not in the sheet",
                kind="sheet-entry",
            )
        written = entry.replace(
            seq=last + 1,
            uid=entry.uid or uuid.uuid4().hex,
            logged=entry.logged
            or self._clock().isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            writer=entry.writer or self.writer,
        )
        self._connection.execute(INSERT, row_of(written))
        return written

    def entries(self, after: int = 0) -> Iterator[Entry]:
        """Yield the entries behind number ``after`` in their order, one at a time; raises
        SheetError at a damaged one.
        """
        with telling(self.path):
            for row in self._connection.execute(SELECT + " WHERE seq > ? ORDER BY seq", (after,)):
                yield self._entry(row)

    def find(self, uid: str) -> Entry | None:
        """Return the entry with this ``uid``."""
        with telling(self.path):
            row = self._connection.execute(SELECT + " WHERE uid = ?", (uid,)).fetchone()
        return None if row is None else self._entry(row)

    def __getitem__(self, seq: int) -> Entry:
        """Return the entry of a number; raises SheetError where there is none."""
        with telling(self.path):
            row = self._connection.execute(SELECT + " WHERE seq = ?", (seq,)).fetchone()
        if row is None:
            raise SheetError(f"there is no entry {seq}", kind="sheet-entry")
        return self._entry(row)

    @property
    def last(self) -> int:
        """The number of the last entry, 0 if there is none."""
        with telling(self.path):
            return int(
                self._connection.execute("SELECT coalesce(max(seq), 0) FROM entries").fetchone()[0]
            )

    def __len__(self) -> int:
        with telling(self.path):
            return int(self._connection.execute("SELECT count(*) FROM entries").fetchone()[0])

    def _entry(self, row: Sequence[Any]) -> Entry:
        return entry_of(row, self.book.fields)

    def faults(self) -> list[str]:
        """Return what is wrong with the file, [] if nothing is: SQLite's own check, rows that are
        not as written, numbers missing.
        """
        with telling(self.path):
            said = [row[0] for row in self._connection.execute("PRAGMA quick_check(20)")]
            faults = [] if said == ["ok"] else said
            place = 0
            for row in self._connection.execute(SELECT + " ORDER BY seq"):
                faults.extend(
                    [f"entries {place + 1} to {row[0] - 1} are missing"]
                    if row[0] > place + 1
                    else []
                )
                place = row[0]
                try:
                    self._entry(row)
                except SheetError as error:
                    faults.append(error.message)
        return faults

    def close(self) -> None:
        """Close the file; everything is on the disk already."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "writer"
