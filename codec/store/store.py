"""The journal's file: opening it, bringing it up to this version, and saying plainly what is wrong
with it.

SQLite with a write-ahead log; a commit returns when the log is on the disk (synchronous = FULL), so
what was acknowledged outlives the process and the power. Two processes may write: each waits for
the other's short transaction.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from importlib import resources
from pathlib import Path

from codec.sheet.entry import SheetError
from codec.sheet.rows import damaged

APPLICATION = 0x4E394E52  # "N9NR", so that tools can tell the file's kind
MIGRATIONS = (
    "1.sql",
)  # one script a version, in order; a new version adds a script and never changes an old one
WAIT = 5.0  # seconds to wait for another writer
_MADE_BY = "it is made by niner log, or by niner sheet import with --book"


def connect(
    path: Path, *, create: Mapping[str, str] | None = None
) -> tuple[sqlite3.Connection, bool]:
    """Open the file, made with the facts of ``create`` if it is not there, and bring it up to this
    version.

    Returns the connection, and whether it may be written. Raises SheetError.
    """
    if create is None and not path.exists():
        raise SheetError(f"there is no sheet {str(path)!r}", kind="sheet-missing", hint=_MADE_BY)
    with telling(path):
        if path.exists() and path.stat().st_size and not _writable(path):
            return _read_only(path), False
        connection = sqlite3.connect(path, timeout=WAIT, isolation_level=None)
        try:
            _prepare(connection, path, create)
        except BaseException:
            connection.close()
            raise
    return connection, True


def _writable(path: Path) -> bool:
    return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)


def _read_only(path: Path) -> sqlite3.Connection:
    """Open a file that can't be written: a private copy is read, for the write-ahead log has to be
    replayed somewhere.
    """
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "sheet"
        shutil.copyfile(path, copy)
        log = path.with_name(path.name + "-wal")
        if log.exists():
            shutil.copyfile(log, copy.with_name("sheet-wal"))
        source = sqlite3.connect(copy, isolation_level=None)
        with contextlib.closing(source):
            _prepare(source, path, None)
            connection = sqlite3.connect(":memory:", isolation_level=None)
            source.backup(connection)
    return connection


def _prepare(connection: sqlite3.Connection, path: Path, create: Mapping[str, str] | None) -> None:
    connection.execute("PRAGMA foreign_keys = ON")
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if tables and application != APPLICATION:
        raise _no_sheet(path)
    if not tables and create is None:
        raise SheetError(f"{str(path)!r} is empty", kind="sheet-missing", hint=_MADE_BY)
    _patiently(lambda: connection.execute("PRAGMA journal_mode = WAL"))
    connection.execute("PRAGMA synchronous = FULL")
    _migrate(connection, path, create)


def _migrate(connection: sqlite3.Connection, path: Path, create: Mapping[str, str] | None) -> None:
    """Run the scripts that the file has not seen, all or none, and note the facts of a new file."""
    if _version(connection, path) == len(MIGRATIONS):
        return
    with transaction(connection):
        version = _version(connection, path)
        for script in MIGRATIONS[version:]:
            for statement in _statements(
                (resources.files("codec.sheet") / "schema" / script).read_text("utf-8")
            ):
                connection.execute(statement)
        if version == 0:
            connection.executemany("INSERT INTO facts VALUES (?, ?)", list((create or {}).items()))
            connection.execute(f"PRAGMA application_id = {APPLICATION}")
        connection.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")


def _version(connection: sqlite3.Connection, path: Path) -> int:
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if version > len(MIGRATIONS):
        raise SheetError(
            f"{str(path)!r} was written by a later version (sheet version {version}, this one knows"
            f" {len(MIGRATIONS)})",
            kind="sheet-later",
            hint="update niner, or export the sheet where it was written",
        )
    return version


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
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """Do all of it or none; waits for another writer first."""
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


@contextlib.contextmanager
def telling(path: Path) -> Iterator[None]:
    """Turn what SQLite and the system say into errors of ours."""
    try:
        yield
    except sqlite3.Error as error:
        raise _told(error, path) from None
    except UnicodeDecodeError:  # a message of SQLite's that quotes what is damaged
        raise damaged("what it holds is no text", path) from None
    except OSError as error:
        full = error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
        kind = "sheet-full" if full else "sheet-file"
        raise SheetError(
            f"{str(path)!r}: {error.strerror or error}",
            kind=kind,
            hint="free some space" if full else "",
        ) from None


def _told(error: sqlite3.Error, path: Path) -> SheetError:
    name = getattr(error, "sqlite_errorname", "")
    if name == "SQLITE_FULL" or name.startswith("SQLITE_IOERR"):
        what = "the disk is full" if name == "SQLITE_FULL" else f"the disk refused it ({error})"
        hint = "free some space, then enter it again; all earlier entries are kept"
        return SheetError(f"not written: {what}", kind="sheet-full", source=str(path), hint=hint)
    if name in ("SQLITE_BUSY", "SQLITE_LOCKED") or name.startswith("SQLITE_BUSY"):
        hint = "enter it again; if it stays so, close the other program that has the sheet open"
        return SheetError(
            f"not written: another writer held the sheet for {WAIT:g} s",
            kind="sheet-busy",
            hint=hint,
        )
    if name.startswith("SQLITE_READONLY"):
        return read_only(path)
    if name.startswith("SQLITE_CANTOPEN"):
        return SheetError(
            f"{str(path)!r} can't be opened",
            kind="sheet-file",
            hint="does its folder exist, and may it be written?",
        )
    if name == "SQLITE_CONSTRAINT_FOREIGNKEY":
        return SheetError("the entry it is about is not in the sheet", kind="sheet-entry")
    if name == "SQLITE_NOTADB" and not _holds_entries(path):
        return _no_sheet(path)
    return (
        damaged(str(error), path)
        if not isinstance(error, sqlite3.ProgrammingError)
        else SheetError(str(error), kind="sheet-closed")
    )


def _no_sheet(path: Path) -> SheetError:
    return SheetError(
        f"{str(path)!r} is no lap sheet", kind="not-a-sheet", hint=f"name another file; {_MADE_BY}"
    )


def _holds_entries(path: Path) -> bool:
    """Tell whether a file that SQLite does not know holds entries all the same: then it is a sheet
    whose beginning is damaged.
    """
    from codec.sheet.rows import COLUMNS, sound
    from codec.store.rescue import rows_in

    return any(len(row) == len(COLUMNS) and sound(row) for row in rows_in(path))


def read_only(path: Path) -> SheetError:
    """Return the error for writing to a file that may only be read."""
    return SheetError(
        f"not written: {str(path)!r} or its folder may only be read",
        kind="sheet-read-only",
        hint="copy the sheet to a folder of your own, or change its permissions",
    )
