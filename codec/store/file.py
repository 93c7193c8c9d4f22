"""A journal in a file: opening it, bringing it up to this version, writing to it, and saying
plainly what is wrong with it.

SQLite with a write-ahead log; a commit returns when the log is on the disk (synchronous = FULL), so
what was acknowledged outlives the process and the power. Two processes may write: each waits for
the other's short transaction. After each transaction (or soon after, where somebody waits for its
answer: ``tidy_later``) the log is put into the file and emptied, as soon as no reader is in the
way: so the file alone holds what was acknowledged, and no log is left that could be taken for that
of another file of the same name.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import functools
import os
import sqlite3
import time
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from codec.files import PRIVATE
from codec.store.pages import SMALLEST, images, log_of, records_in
from codec.store.store import LOOKS, WAIT, Clock, JournalFormat, Make, StoreError, now
from codec.store.table import Found, PlainTable, Table, digest

_LONGEST = 16_000_000  # bytes of one row: what is damaged may say that it is longer
_SEARCHED = 4096  # pages of a file of any size that are searched for rows
_SETTINGS = (
    "foreign_keys = ON",
    "trusted_schema = OFF",  # nothing that the file brings along is run
    "cell_size_check = ON",
    "mmap_size = 0",  # a page that can't be read is an error then, and no crash
)
_NO_ROOM = (  # or no right, for the files that SQLite needs beside it
    "SQLITE_FULL",
    "SQLITE_IOERR",
    "SQLITE_CANTOPEN",
    "SQLITE_READONLY",
)


class FileStore:
    """The file of a journal, open: a ``Store``.

    ``writable`` tells whether it may be written: a file that may only be read, or that stands on a
    full disk, is read all the same.
    """

    def __init__(
        self,
        path: Path,
        form: JournalFormat,
        make: Make | None = None,
        *,
        when_needed: bool = False,
    ) -> None:
        """Open the file and bring it up to this version; where there is none, make it, and let
        ``make`` write what a new one begins with.

        With ``when_needed`` a file that is not there is made by the first transaction: until then
        nothing is on the disk. Raises ``form.error``.
        """
        self.path, self.form, self._make = path, form, make
        self._place = path.absolute()  # the same file wherever the process moves to
        self._file: tuple[int, int] | None = None
        self.facts: dict[str, str] = {}
        self._refusal: StoreError | None = None
        self._examined, self._tidies = False, True
        self.pending = when_needed and make is not None and not path.exists()
        if self.pending and not os.access(path.parent, os.W_OK):
            raise self._not_opened()
        with self.telling():
            self.connection = self._connected(":memory:") if self.pending else self._open()

    @property
    def place(self) -> Path:
        """The path of the file."""
        return self.path

    @property
    def clock(self) -> Clock:
        """This computer's clock."""
        return now

    @property
    def writable(self) -> bool:
        """Tell whether rows can be added."""
        return self._refusal is None

    # opening

    def _open(self) -> sqlite3.Connection:
        path, form = self.path, self.form
        if self._make is None and not path.exists():
            message = f"there is no {form.name} {str(path)!r}"
            raise form.failure("missing", message, form.made_by)
        size = path.stat().st_size if path.is_file() else 0
        if 0 < size < SMALLEST:  # SQLite would take it for an empty one
            raise form.foreign(path)
        if size and not (os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)):
            return self._image(self._read_only())
        if size:
            self._check_log()
        else:
            _make_private(path)
        try:
            return self._connected(path)
        except sqlite3.OperationalError as error:
            if not size or not _name(error).startswith(_NO_ROOM):
                raise
            return self._image(self._told(error))

    def _check_log(self) -> None:
        """Raise where the log beside the file was left by another file of its name: SQLite would
        write it over this one.

        A file that is not sound alone may have been left so by a kill while its log was put in.
        """
        log = log_of(self.path)
        if not log.exists() or not log.stat().st_size:
            return
        alone, whole = images(self.path)
        if alone != whole and not self._goes_on(alone, whole):
            name = self.form.name
            raise self.form.failure(
                "log",
                f"{str(self.path)!r}: the log beside it, {log.name!r}, was left by another"
                f" {name} of this name",
                f"keep {log.name!r} elsewhere, with the {name} it belongs to; then open this one",
            )

    def _goes_on(self, alone: bytes, whole: bytes) -> bool:
        """Tell whether a file with its log put in goes on from what it is alone: it tells the same
        facts, and its rows follow the last one.
        """
        table = self.form.table
        with _in_memory(alone) as before, _in_memory(whole) as after:
            try:
                if _quick_check(before) != "ok":
                    return True
                facts = self._facts_of(before)
                last = None if table is None else table.last(before)
            except sqlite3.Error:  # nothing is in it yet, or it is damaged: SQLite tells
                return True
            try:
                then = self._facts_of(after)
                return (
                    _quick_check(after) == "ok"
                    and facts.items() <= then.items()
                    and (table is None or table.follows(after, *(last or (0, digest(then)))))
                )
            except sqlite3.Error:
                return False

    def _connected(self, database: Path | str) -> sqlite3.Connection:
        before = self._stat()
        connection = sqlite3.connect(database, timeout=WAIT, isolation_level=None)
        try:
            self._prepare(connection)
            self.facts = self._facts_of(connection)
            if isinstance(database, Path):
                self._file = self._stat()
                if before is not None and before != self._file:
                    raise self._replaced()
        except BaseException:
            connection.close()
            raise
        return connection

    def _image(self, refusal: StoreError) -> sqlite3.Connection:
        """Open what the file holds in memory, to be read only."""
        self._refusal = refusal
        connection = sqlite3.connect(":memory:", isolation_level=None)
        try:
            connection.deserialize(images(self.path)[1])
            self._prepare(connection)
            self.facts = self._facts_of(connection)
        except BaseException:
            connection.close()
            raise
        return connection

    def _prepare(self, connection: sqlite3.Connection) -> None:
        connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LONGEST)
        for setting in (*_SETTINGS, *self.form.settings):
            connection.execute(f"PRAGMA {setting}")
        version = self._examine(connection)
        _patiently(lambda: connection.execute("PRAGMA journal_mode = WAL"))
        connection.execute("PRAGMA synchronous = FULL")
        scripts = self.form.scripts
        if version == len(scripts):
            return
        with _all_or_nothing(connection):
            version = self._version(connection)  # another program may have been quicker
            for number, script in enumerate(scripts[version:], version):
                for statement in _statements(script):
                    connection.execute(statement)
                if number == 0 and self._make is not None:  # as the first version's, brought up
                    self._make(connection)
            if version == 0:
                connection.execute(f"PRAGMA application_id = {self.form.application}")
            connection.execute(f"PRAGMA user_version = {len(scripts)}")
        _empty_log(connection)

    def _examine(self, connection: sqlite3.Connection) -> int:
        """Return the file's version, 0 for a new one; raises where it is another's file, or holds
        what no journal has: a trigger or a view of others could change what is read and written.
        """
        connection.execute("BEGIN")  # all of it as of one moment
        try:
            found = _schema(connection)
            application = connection.execute("PRAGMA application_id").fetchone()[0]
            if found and application != self.form.application:
                raise self.form.foreign(self.path)
            if not found and self._make is None:
                raise self.form.failure(
                    "missing", f"{str(self.path)!r} is empty", self.form.made_by
                )
            version = self._version(connection)
        finally:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
        for what in sorted(found ^ _declared(self.form.scripts[:version])):
            said = "is not ours" if what in found else "is gone or changed"
            raise self.form.damaged(self.path, f"its {what[0]} {what[1]!r} {said}")
        return version

    def _version(self, connection: sqlite3.Connection) -> int:
        version = int(connection.execute("PRAGMA user_version").fetchone()[0])
        known = len(self.form.scripts)
        if version > known:
            raise self.form.failure(
                "later",
                f"{str(self.path)!r} was written by a later version ({self.form.name} version"
                f" {version}, this one knows {known})",
                f"update niner, or export the {self.form.name} where it was written",
            )
        return version

    # the file that was opened

    def _stat(self) -> tuple[int, int] | None:
        try:
            stat = self._place.stat()
        except FileNotFoundError:
            return None
        return stat.st_dev, stat.st_ino

    def _facts_of(self, connection: sqlite3.Connection) -> dict[str, str]:
        return dict(connection.execute(self.form.facts).fetchall()) if self.form.facts else {}

    def _same_file(self) -> None:
        """Raise where the path no longer leads to the file that was opened."""
        if self._file is not None and self._stat() != self._file:
            raise self._replaced()

    def _same_facts(self) -> None:
        """Raise where other contents were copied over the file."""
        if self.form.facts:
            # what is kept of its pages is let go, so that the file itself is asked
            self.connection.execute("PRAGMA shrink_memory")
            if self._facts_of(self.connection) != self.facts:
                raise self._replaced()

    def _replaced(self) -> StoreError:
        name = self.form.name
        return self.form.failure(
            "replaced",
            f"not written: {str(self.path)!r} is no longer the {name} that was opened; it was"
            " deleted, moved, or another was put in its place",
            f"put the {name} back, or go on in a new file, and {self.form.write_again}",
        )

    # reading and writing

    def execute(self, query: str, values: Sequence[Any] = ()) -> Found:
        """Run a query."""
        return self.connection.execute(query, values)

    def behind(self, table: PlainTable, key: int | str | None) -> Iterator[Sequence[Any]]:
        """Yield the rows behind a key in their order, one at a time."""
        return self.connection.execute(*table.behind(key))

    def insert(self, table: PlainTable, rows: Sequence[Sequence[Any]]) -> int:
        """Add rows within a transaction; return how many there are more."""
        return self.connection.executemany(table.insert, rows).rowcount

    def ends(self, table: Table) -> tuple[int, int]:
        """Return the number of the last row, and the last number given, as of one moment."""
        return table.ends(self.connection)

    @contextlib.contextmanager
    def reading(self) -> Iterator[None]:
        """Read from the file that was opened; raises where another is in its place, or where it is
        damaged.
        """
        with self.telling():
            self._same_file()
            self._sound()
            yield

    @contextlib.contextmanager
    def transaction(self) -> Iterator[None]:
        """Write all of it or none, on the disk when it is done; waits for another writer first."""
        with self.telling():
            if self._refusal is not None:
                raise self._refusal
            self.make()
            self._same_file()
            self._sound()
            with _all_or_nothing(self.connection):
                self._same_facts()
                yield
            self._same_file()
            if self._tidies:
                _empty_log(self.connection)

    def tidy_later(self) -> None:
        """Leave the log as it is after a transaction, until ``tidy``."""
        self._tidies = False

    def tidy(self) -> None:
        """Put the log into the file, as soon as no reader is in the way."""
        if not self.pending:
            with self.telling():
                _empty_log(self.connection)

    def make(self) -> None:
        """Make the file that was to be made when it is needed; another program may have made it
        meanwhile.
        """
        if self.pending:
            with self.telling():
                connection = self._open()
            self.connection.close()
            self.connection, self.pending = connection, False

    def _sound(self) -> None:
        if not self._examined:
            said = _quick_check(self.connection)
            if said != "ok":
                raise self.form.damaged(self.path, said)
            self._examined = True

    def faults(self) -> list[str]:
        """Return what SQLite finds wrong with the file, [] if nothing is."""
        found = [row[0] for row in self.connection.execute("PRAGMA integrity_check(20)")]
        return [] if found == ["ok"] else found

    async def news(self) -> AsyncIterator[None]:
        """Yield every now and then."""
        while True:
            await asyncio.sleep(LOOKS)
            yield

    def overwrite(self) -> bool:
        """Overwrite what was deleted; return False where another program keeps the old rows in the
        log.
        """
        self.connection.execute("VACUUM")
        return not self.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]

    def close(self) -> None:
        """Close the file; everything is on the disk already."""
        self.connection.close()

    # errors

    @contextlib.contextmanager
    def telling(self) -> Iterator[None]:
        """Turn what SQLite and the system say into errors of the journal."""
        try:
            yield
        except sqlite3.Error as error:
            raise self._told(error) from None
        except UnicodeDecodeError:  # a message of SQLite's that quotes what is damaged
            raise self.form.damaged(self.path, "what it holds is no text") from None
        except OSError as error:
            full = error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
            raise self.form.failure(
                "full" if full else "file",
                f"{str(self.path)!r}: {error.strerror or error}",
                "free some space" if full else "",
            ) from None

    def _told(self, error: sqlite3.Error) -> StoreError:
        form, path, name = self.form, self.path, _name(error)
        if name == "SQLITE_FULL" or name.startswith("SQLITE_IOERR"):
            full = name == "SQLITE_FULL"
            what = "the disk is full" if full else f"the disk refused it ({error})"
            hint = f"free some space, then {form.write_again}; all earlier {form.rows} are kept"
            return form.failure("full", f"not written: {what}", hint, str(path))
        if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
            return form.failure(
                "busy",
                f"not written: another writer held the {form.name} for {WAIT:g} s",
                f"{form.write_again}; if it stays so, close the other program that has the"
                f" {form.name} open",
            )
        if name.startswith("SQLITE_READONLY"):
            return self._read_only()
        if name.startswith("SQLITE_CANTOPEN"):
            return self._not_opened()
        if name == "SQLITE_CONSTRAINT_FOREIGNKEY":
            return form.failure(
                "entry", f"not written: what it refers to is not in the {form.name}"
            )
        if isinstance(error, sqlite3.ProgrammingError):
            return form.failure("closed", f"the {form.name} is closed", "open it again")
        if name == "SQLITE_NOTADB" and not self._holds_rows():
            return form.foreign(path)
        return form.damaged(path, str(error))

    def _not_opened(self) -> StoreError:
        hint = "does its folder exist, and may it be written?"
        return self.form.failure("file", f"{str(self.path)!r} can't be opened", hint)

    def _read_only(self) -> StoreError:
        name = self.form.name
        return self.form.failure(
            "read-only",
            f"not written: {str(self.path)!r} or its folder may only be read",
            f"copy the {name} to a folder of your own, or change its permissions",
        )

    def _holds_rows(self) -> bool:
        """Tell whether a file that SQLite does not know holds rows all the same: then it is one
        whose beginning is damaged.
        """
        table = self.form.table
        return table is not None and any(
            table.facts(*record) is not None for record in records_in(self.path, _SEARCHED)
        )


def _make_private(path: Path) -> None:
    """Make the file, for its owner alone, before SQLite would make it for everybody; where that
    can't be, SQLite tells. Its log has the same rights as the file.
    """
    with contextlib.suppress(OSError):
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, PRIVATE))


def _empty_log(connection: sqlite3.Connection) -> None:
    """Put the log into the file, unless a reader is in the way: the next writer does it then."""
    connection.execute("PRAGMA busy_timeout = 0")
    with contextlib.suppress(sqlite3.OperationalError):  # what it holds is on the disk
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    connection.execute(f"PRAGMA busy_timeout = {round(WAIT * 1000)}")


def _quick_check(connection: sqlite3.Connection) -> str:
    return str(connection.execute("PRAGMA quick_check(1)").fetchone()[0])


@contextlib.contextmanager
def _in_memory(image: bytes) -> Iterator[sqlite3.Connection]:
    with contextlib.closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        connection.deserialize(image)
        yield connection


def _name(error: sqlite3.Error) -> str:
    return str(getattr(error, "sqlite_errorname", ""))


def _schema(connection: sqlite3.Connection) -> frozenset[tuple[str, str, str, str]]:
    """Return what a database holds beside SQLite's own: type, name, table, and how it was made."""
    rows = connection.execute("SELECT type, name, tbl_name, sql FROM sqlite_master")
    return frozenset(
        (kind, name, table, " ".join(str(made).split()))
        for kind, name, table, made in rows
        if kind not in ("table", "index") or not name.startswith("sqlite_")
    )


@functools.cache
def _declared(scripts: tuple[str, ...]) -> frozenset[tuple[str, str, str, str]]:
    """Return what a file holds that these scripts have made."""
    with contextlib.closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        for script in scripts:
            for statement in _statements(script):
                connection.execute(statement)
        return _schema(connection)


def _statements(script: str) -> Iterator[str]:
    """Yield the statements of a script; one call for all of them would end the transaction they
    belong to.
    """
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""


@contextlib.contextmanager
def _all_or_nothing(connection: sqlite3.Connection) -> Iterator[None]:
    _patiently(lambda: connection.execute("BEGIN IMMEDIATE"))
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _patiently(act: Callable[[], object]) -> None:
    """Do it as soon as other writers let it be done; SQLite itself does not wait in every such
    case.
    """
    until = time.monotonic() + WAIT
    while True:
        try:
            act()
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > until:
                raise
            time.sleep(0.01)
