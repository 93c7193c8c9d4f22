"""The journal of drills: several people in one file; an answer that was returned is on the disk.

Opened, written and explained with the means of the lap sheet's file (write-ahead log, every commit
on the disk before it returns, short transactions of several writers). Unlike a sheet, a person can
be taken out: their rows are overwritten, not only unlinked.
"""

from __future__ import annotations

import contextlib
import dataclasses
import datetime
import sqlite3
import uuid
from collections.abc import Callable, Iterator
from importlib import resources
from pathlib import Path
from types import TracebackType
from typing import Self

from codec.drill.answer import Answer, DrillError, checked_name
from codec.sheet.entry import SheetError
from codec.sheet.journal import book_digest, now
from codec.store.store import WAIT, telling, transaction
from grammar.book import Book
from grammar.loading import parse_book

APPLICATION = 0x4E394452  # "N9DR", so that tools can tell the file's kind
VERSION = 1
_DATABASE = (  # how every database of SQLite begins (its file format, section 1.2)
    b"SQLite format 3\0"
)
_MADE_BY = "a journal is made by niner drill read and niner drill hear"
Clock = Callable[[], datetime.datetime]
_COLUMNS = tuple(
    field.name for field in dataclasses.fields(Answer) if field.name not in ("person", "seq")
)
_SELECT = f"SELECT seq, name, {', '.join(_COLUMNS)} FROM answers JOIN people ON person = number"  # noqa: S608 - columns of our own
_PLACES = ", ".join("?" * (len(_COLUMNS) + 1))
_INSERT = f"INSERT INTO answers (person, {', '.join(_COLUMNS)}) VALUES ({_PLACES})"  # noqa: S608
_TOLD = {
    "sheet-busy": (
        "not written: another program held the journal",
        "answer again; if it stays so, close the other program",
    ),
    "sheet-read-only": (
        "not written: the journal or its folder may only be read",
        "copy it to a folder of your own, or change its permissions",
    ),
    "sheet-damaged": ("the journal is damaged", "keep a copy of the file, and begin a new one"),
    "sheet-closed": ("the journal is closed", "open it again"),
}


class DrillJournal:
    """The answers of several people in a file.

    ``DrillJournal(path)`` opens it, with ``create`` made where there is none. Raises DrillError:
    ``drill-missing``, ``not-a-drill``, ``drill-later``, ``drill-damaged``, ``drill-file``,
    ``drill-full``, ``drill-busy``, ``drill-read-only``.
    """

    def __init__(self, path: str | Path, *, create: bool = False, clock: Clock = now) -> None:
        """Open or make the file."""
        self.path, self._clock, self.session = Path(path), clock, uuid.uuid4().hex[:12]
        if not create and not self.path.exists():
            raise DrillError(
                f"there is no journal {str(path)!r}", kind="drill-missing", hint=_MADE_BY
            )
        with _telling(self.path):
            _check_kind(self.path, create=create)
            self._connection = sqlite3.connect(self.path, timeout=WAIT, isolation_level=None)
            try:
                self._prepare()
            except BaseException:
                self._connection.close()
                raise

    def _prepare(self) -> None:
        connection = self._connection
        application, version = (
            connection.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("application_id", "user_version")
        )
        tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        if tables and application != APPLICATION:
            raise _no_journal(self.path)
        if version > VERSION:
            raise DrillError(
                f"{str(self.path)!r} was written by a later version",
                kind="drill-later",
                hint="update niner",
            )
        for pragma in ("foreign_keys = ON", "secure_delete = ON", "synchronous = FULL"):
            connection.execute(f"PRAGMA {pragma}")
        with contextlib.suppress(sqlite3.OperationalError) if tables else contextlib.nullcontext():
            connection.execute(
                "PRAGMA journal_mode = WAL"
            )  # a journal that may only be read stays as it is
        if not tables:
            with transaction(connection):
                self._make()

    def _make(self) -> None:
        if self._connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
            return  # another program made it while we waited
        statement = ""
        for line in (
            (resources.files("codec.drill") / "schema" / "1.sql")
            .read_text("utf-8")
            .splitlines(keepends=True)
        ):
            statement += line
            if sqlite3.complete_statement(statement):
                self._connection.execute(statement)
                statement = ""
        self._connection.execute(f"PRAGMA application_id = {APPLICATION}")
        self._connection.execute(f"PRAGMA user_version = {VERSION}")

    def keep_book(self, book: Book) -> str:
        """Keep a book's text, so that progress can be told without its file; return its digest."""
        digest = book_digest(book)
        with _telling(self.path), transaction(self._connection):
            self._connection.execute(
                "INSERT OR IGNORE INTO books VALUES (?, ?, ?)", (digest, book.name, book.source)
            )
        return digest

    def book(self, digest: str) -> Book:
        """Return a book that was kept; raises DrillError where there is none."""
        with _telling(self.path):
            row = self._connection.execute(
                "SELECT text, name FROM books WHERE digest = ?", (digest,)
            ).fetchone()
        if row is None:
            raise DrillError(f"no book {digest[:8]!r} is kept in the journal", kind="drill-book")
        return parse_book(row[0], row[1])

    def append(self, answer: Answer) -> Answer:
        """Write an answer and return it as written, when it is on the disk.

        Raises DrillError; nothing earlier is lost then.
        """
        at = answer.at or self._clock().isoformat(timespec="milliseconds").replace("+00:00", "Z")
        written = answer.replace(at=at)
        row = [getattr(written, name) for name in _COLUMNS]
        with _telling(self.path), transaction(self._connection):
            self._connection.execute(
                "INSERT OR IGNORE INTO people (name) VALUES (?)", (checked_name(answer.person),)
            )
            number = self._connection.execute(
                "SELECT number FROM people WHERE name = ?", (answer.person,)
            ).fetchone()[0]
            seq = self._connection.execute(_INSERT, (number, *row)).lastrowid
        return written.replace(seq=seq)

    def answers(self, person: str | None = None) -> Iterator[Answer]:
        """Yield answers in their order, of one person or of all; raises DrillError at a damaged
        one.
        """
        where, values = ("", ()) if person is None else (" WHERE name = ?", (person,))
        with _telling(self.path):
            for seq, name, *row in self._connection.execute(
                f"{_SELECT}{where} ORDER BY seq", values
            ):
                yield Answer(seq=seq, person=name, **dict(zip(_COLUMNS, row, strict=True)))

    def people(self) -> dict[str, int]:
        """Return every person with the number of their answers."""
        ask = (
            "SELECT name, count(seq) FROM people LEFT JOIN answers ON person = number GROUP BY"
            " number ORDER BY name"
        )
        with _telling(self.path):
            return dict(self._connection.execute(ask).fetchall())

    def known(self, person: str) -> str:
        """Return the name of a person who is in the journal; raises DrillError for anyone else."""
        if person not in self.people():
            raise DrillError(
                f"there is no {person!r} in the journal",
                kind="drill-person",
                expected=list(self.people()) or ["nobody yet"],
            )
        return person

    def delete(self, person: str) -> int:
        """Take a person out with every answer; the space is overwritten.

        Return how many answers that were.
        """
        count = self.people()[self.known(person)]
        with _telling(self.path):
            with transaction(self._connection):
                self._connection.execute("DELETE FROM people WHERE name = ?", (person,))
            self._connection.execute("VACUUM")
            busy = self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        if busy:
            raise DrillError(
                f"{person!r} is taken out, but another program keeps the old rows in"
                f" {self.path.name}-wal",
                kind="drill-busy",
                hint="close the other program; the rows go when the last one closes the journal",
            )
        return count

    def close(self) -> None:
        """Close the file."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def _check_kind(path: Path, *, create: bool) -> None:
    """Raise DrillError for a file that is no database at all, however short; SQLite would take one
    of few bytes for an empty one.
    """
    if not path.is_file():
        return
    with path.open("rb") as stream:
        begins = stream.read(len(_DATABASE))
    if begins and begins != _DATABASE:
        raise _no_journal(path)
    if not begins and not create:
        raise DrillError(f"{str(path)!r} is empty", kind="not-a-drill", hint=_MADE_BY)


def _no_journal(path: Path) -> DrillError:
    return DrillError(
        f"{str(path)!r} is no journal of drills",
        kind="not-a-drill",
        hint=f"name another file; {_MADE_BY}",
    )


@contextlib.contextmanager
def _telling(path: Path) -> Iterator[None]:
    """Turn the errors of the sheet's file into those of the journal of drills."""
    try:
        with telling(path):
            yield
    except DrillError:
        raise
    except SheetError as error:
        message, hint = _TOLD.get(error.kind, (error.message, error.hint))
        message = f"{str(path)!r}: {message}" if error.kind == "sheet-damaged" else message
        raise DrillError(
            message, kind=error.kind.replace("sheet", "drill"), source=str(path), hint=hint
        ) from None
