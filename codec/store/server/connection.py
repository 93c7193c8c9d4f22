"""The line to a server: a connection as journals need it, and what it says in words.

Settings that an address does not give are chosen so that a line that is gone is noticed within
seconds (PostgreSQL, "Parameter Key Words" of libpq).
"""

from __future__ import annotations

import functools
import logging
import re
from collections.abc import AsyncIterator, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import psycopg
from psycopg import errors
from psycopg.adapt import Loader
from psycopg.conninfo import conninfo_to_dict, make_conninfo
from psycopg.types.string import StrDumper, StrDumperUnknown

from codec.store.clock import ServerClock, steady
from codec.store.place import ServerPlace
from codec.store.store import WAIT, JournalFormat, StoreError
from codec.store.table import Found

# a line that breaks is told by its error; the library would tell it on the terminal as well
logging.getLogger("psycopg").setLevel(logging.CRITICAL)

LEAST = 150000  # the server's version: views that ask with the rights of who asks
CHANNEL = "niner"  # what is told when rows were added, with the number of their journal
_BEAT = 1.0  # seconds
_PATIENCE = {
    "application_name": "niner",
    "connect_timeout": "5",  # seconds
    "keepalives_idle": "5",
    "keepalives_interval": "2",
    "keepalives_count": "3",
    "tcp_user_timeout": "10000",  # milliseconds
}
# what a session sets: a commit waits for the server's disk at least, whatever the server's own
# setting is; a wait for another writer ends; nothing of another's is found by a short name
_SESSION = f"""
SELECT set_config('synchronous_commit', 'on', false)
WHERE current_setting('synchronous_commit') IN ('off', 'local', 'remote_write');
SET lock_timeout = {round(WAIT * 1000)};
SET idle_in_transaction_session_timeout = {round(WAIT * 6000)};
SET search_path = niner_open, pg_catalog, pg_temp;
"""
_OPEN = "SELECT set_config('niner.journal', ?, false)"
# a server's texts hold no NUL: it is kept as two characters, the first of which is kept as two too
_KEPT_AS = {"\x1a": "\x1aS", "\0": "\x1a0"}
_STANDS_FOR = {kept: text for text, kept in _KEPT_AS.items()}


def _keep(text: str) -> str:
    if "\0" in text or "\x1a" in text:
        return re.sub("[\x1a\0]", lambda found: _KEPT_AS[found[0]], text)
    return text


class _Dumper(StrDumper):
    def dump(self, obj: str) -> Any:
        return super().dump(_keep(obj))


class _DumperUnknown(StrDumperUnknown):
    def dump(self, obj: str) -> Any:
        return super().dump(_keep(obj))


class _Loader(Loader):
    def load(self, data: Any) -> str:
        text = bytes(data).decode()
        if "\x1a" in text:
            return re.sub("\x1a[S0]", lambda found: _STANDS_FOR[found[0]], text)
        return text


@functools.cache
def _translated(query: str) -> bytes:
    """Return a query as psycopg takes it; no text of a journal's queries holds either sign."""
    return query.replace("?", "%s").encode()


def told(line: psycopg.Error) -> str:
    """Return the first line of what a server, or libpq, says."""
    said = line.diag.message_primary or str(line).replace("FATAL:  ", "")
    first = re.sub(r"^connection (failed|is bad): ", "", said.strip().partition("\n")[0])
    return first or type(line).__name__


def _take_back(connection: psycopg.Connection[Any]) -> None:
    """Take back what was begun; where even that fails the connection goes, and with it all of
    it.
    """
    try:
        if not connection.closed:
            connection.execute("ROLLBACK")
    except psycopg.Error:
        connection.close()


class ServerConnection:
    """A connection to a server, made again where it was lost and nothing was begun."""

    def __init__(self, place: ServerPlace, form: JournalFormat) -> None:
        """Connect; raises ``form.error``."""
        self.place, self.form = place, form
        self.clock = ServerClock()
        self.journal = 0  # the number of the journal that the session has open
        self._now: psycopg.Connection[Any] | None = None
        self._inside: psycopg.Connection[Any] | None = None  # the one that has a transaction
        with self.telling():
            known = conninfo_to_dict(place.address)
            self._address = make_conninfo("", **{**_PATIENCE, **known})
            self.connected()

    def connected(self) -> psycopg.Connection[Any]:
        """Return the connection, a new one where the last is gone."""
        if self._now is None or self._now.closed:
            connection = psycopg.connect(self._address, autocommit=True)
            try:
                self._begin(connection)
            except BaseException:
                connection.close()
                raise
            self._now = connection
        return self._now

    def _begin(self, connection: psycopg.Connection[Any]) -> None:
        if connection.info.server_version < LEAST:
            raise self.form.failure(
                "server",
                f"{self.where} is PostgreSQL {connection.info.server_version // 10000}",
                f"niner needs PostgreSQL {LEAST // 10000} or later",
            )
        connection.adapters.register_dumper(str, _Dumper)
        connection.adapters.register_dumper(str, _DumperUnknown)
        for kind in ("text", "varchar", "name"):
            connection.adapters.register_loader(kind, _Loader)
        connection.execute(_SESSION.encode())
        connection.execute(_translated(_OPEN), (str(self.journal),))
        asked = steady()
        for (told,) in connection.execute(b"SELECT clock_timestamp()"):
            self.clock.heard(told, asked)

    def show(self, journal: int) -> None:
        """Let the session see the journal of a number, for as long as a transaction lasts."""
        self.execute("SELECT set_config('niner.journal', ?, true)", (str(journal),))

    def open(self, journal: int) -> None:
        """Let this and every later session see the journal of a number."""
        self.journal = journal
        self.execute(_OPEN, (str(journal),))

    @property
    def where(self) -> str:
        """The server in words; no password stands in a place."""
        return f"the server of {str(self.place)!r}"

    def execute(self, query: str, values: Sequence[Any] = (), /) -> Found:
        """Run a query; outside a transaction once more where the line had been lost."""
        if self._inside is not None:
            return self._inside.execute(_translated(query), values)
        connection = self.connected()
        try:
            return connection.execute(_translated(query), values)
        except psycopg.OperationalError:
            if not connection.closed:
                raise
        return self.connected().execute(_translated(query), values)

    def run(self, statements: str) -> None:
        """Run statements as they are, without values."""
        (self._inside or self.connected()).execute(statements.encode())

    def copy_in(self, table: str, columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> int:
        """Add rows to a table of the open journal, many at a time, within a transaction."""
        listed = ", ".join(f'"{name}"' for name in ("journal", *columns))
        cursor = (self._inside or self.connected()).cursor()
        with cursor.copy(f'COPY niner."{table}" ({listed}) FROM STDIN'.encode()) as copy:
            for row in rows:
                copy.write_row((self.journal, *row))
        return cursor.rowcount

    @contextmanager
    def trying(self) -> Iterator[None]:
        """Go on with a transaction where a part of it fails: nothing of that part is kept."""
        self.run("SAVEPOINT part")
        try:
            yield
        except psycopg.Error:
            self.run("ROLLBACK TO SAVEPOINT part")
            raise

    def begin(self, lock: tuple[int, int], check: str) -> Any:
        """Begin a transaction, alone among those with the same lock; return what ``check`` finds
        then. Done again on a new line where the last one was lost: nothing was written yet.
        """
        for again in (True, False):
            connection = self.connected()
            try:
                with connection.pipeline():
                    connection.execute("BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE")
                    connection.execute("SELECT pg_advisory_xact_lock(%s, %s)", lock)
                    found = connection.execute(check.encode())
                self._inside = connection
                return found.fetchone()
            except BaseException as error:
                lost = isinstance(error, psycopg.OperationalError) and connection.closed
                if not (lost and again):
                    _take_back(connection)
                    raise
        raise AssertionError("unreachable")  # pragma: no cover

    def commit(self) -> None:
        """End a transaction; raises where it is not on the server's disk, or where nobody knows."""
        connection, self._inside = self._inside, None
        if connection is None or connection.closed:  # lost before: the server has taken it back
            raise psycopg.OperationalError("the line broke before all was written")
        try:
            ended = connection.execute("COMMIT")
        except psycopg.OperationalError as error:
            if not connection.closed:
                raise
            raise self.form.failure(
                "unsure",
                f"the line to {self.where} broke while it was written ({told(error)}): nobody knows"
                " whether it is there",
                f"look when the line is back; {self.form.write_again} only if it is missing",
            ) from None
        if ended.statusmessage != "COMMIT":  # a query of it had failed, and that was passed over
            raise psycopg.InternalError("a part of it was refused, so nothing of it was written")

    def rollback(self) -> None:
        """Take a transaction back."""
        connection, self._inside = self._inside, None
        if connection is not None:
            _take_back(connection)

    async def told_of(self, journal: int) -> AsyncIterator[None]:
        """Yield on a line of its own, when rows were added to a journal, and at every beat at
        least; raises psycopg.Error where the line breaks.
        """
        line = await psycopg.AsyncConnection.connect(self._address, autocommit=True)
        async with line:
            await line.execute(f"LISTEN {CHANNEL}".encode())
            yield  # what was added before it listened
            while True:
                async for one in line.notifies(timeout=_BEAT):
                    if one.payload == str(journal):
                        yield
                yield

    def close(self) -> None:
        """Close the connection for good."""
        if self._now is not None:
            self._now.close()

    # errors

    @contextmanager
    def telling(self) -> Iterator[None]:
        """Turn what the server and the library say into errors of the journal."""
        try:
            yield
        except psycopg.Error as error:
            raise self._told(error) from None

    def _told(self, error: psycopg.Error) -> StoreError:
        form, said = self.form, told(error)
        for kinds, kind, message, hint in (
            (
                (errors.DiskFull, errors.IoError),
                "full",
                f"not written: {said}",
                f"make room there, then {form.write_again}; all earlier {form.rows} are kept",
            ),
            (
                (errors.LockNotAvailable, errors.QueryCanceled),
                "busy",
                f"not written: another writer held the {form.name} for {WAIT:g} s",
                f"{form.write_again}; if it stays so, close the other program that has it open",
            ),
            (
                (errors.InsufficientPrivilege, errors.ReadOnlySqlTransaction),
                "read-only",
                f"the server refuses it: {said}",
                "ask whoever set it up for the role that is needed",
            ),
            (
                (errors.ForeignKeyViolation,),
                "entry",
                f"not written: what it refers to is not in the {form.name}",
                "",
            ),
            ((psycopg.IntegrityError,), "refused", f"not written: {said}", ""),
            (
                (errors.InvalidSchemaName, errors.UndefinedTable, errors.UndefinedObject),
                "server",
                f"{self.where} is not set up for niner",
                self.place.set_up,
            ),
        ):
            if isinstance(error, kinds):
                return form.failure(kind, message, hint)
        if isinstance(error, psycopg.OperationalError) and "certificate" in said:
            return form.failure(
                "server",
                f"{self.where} does not prove who it is: {said}",
                "sslrootcert=FILE in the address names the certificate that the server's own is"
                " signed with, and sslmode=verify-full wants the host's name in that",
            )
        if isinstance(error, psycopg.OperationalError | psycopg.InterfaceError):
            return form.failure(
                "server",
                f"{self.where} can't be reached: {said}",
                "is it running, and may you use it? Passwords stand in ~/.pgpass, a service file or"
                " PGPASSWORD",
            )
        return form.failure("server", f"{self.where}: {said}")
