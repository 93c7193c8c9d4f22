"""A journal on a server.

Writers of one journal wait for each other's short transaction by a lock of its own; each row then
follows the last one, which the server holds too (server/base.sql). A commit returns when it is on
the server's disk.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Iterator, Sequence
from typing import Any

import psycopg

from codec.store.clock import ServerClock
from codec.store.place import ServerPlace
from codec.store.server.connection import ServerConnection
from codec.store.server.declared import first_table
from codec.store.store import LOOKS, JournalFormat, Make, StoreError
from codec.store.table import NUMBER, Found, PlainTable, Table

LOCK = 0x4E394E52  # "N9NR": the first half of every lock; the second is the journal's number
MAKING = 0  # the second half for who makes a journal or tables
_FIND = (
    "SELECT number, version, current_setting('fsync') = 'on',"
    " current_setting('transaction_read_only') = 'on',"
    " has_table_privilege('niner.' || ?, 'INSERT')"
    " FROM niner.versions LEFT JOIN niner.journals ON journals.word = versions.word AND name = ?"
    " WHERE versions.word = ?"
)
_CHECK = (
    "SELECT number, version, clock_timestamp() FROM niner.journals JOIN niner.versions USING (word)"
    " WHERE number = current_setting('niner.journal')::integer"
)


class _TakenBackError(Exception):
    """What was only tried out is taken back."""


class ServerStore:
    """A journal of a server, open: a ``Store``."""

    def __init__(
        self,
        place: ServerPlace,
        form: JournalFormat,
        make: Make | None = None,
        *,
        when_needed: bool = False,
    ) -> None:
        """Open it; where there is none, make it. Raises ``form.error``."""
        if not place.name:
            raise form.failure(
                "place",
                f"{str(place)!r} does not say which {form.name} of the server is meant",
                f"put # and its name behind it: {place}#NAME",
            )
        self.place, self.form, self._make_with = place, form, make
        self.facts: dict[str, str] = {}
        self.pending = False
        self._refusal: StoreError | None = None
        self._server = ServerConnection(place, form)
        try:
            with self.telling():
                self._find(when_needed=when_needed)
        except BaseException:
            self.close()
            raise

    # opening

    def _find(self, *, when_needed: bool) -> None:
        form = self.form
        found = self._server.execute(
            _FIND, (first_table(form), self.place.name, form.word)
        ).fetchone()
        if found is None:
            raise self._behind(0)
        number, version, lasting, read_only, may_write = found
        self._check_version(version)
        if not lasting:
            self._refusal = self._read_only(
                "the server's fsync is off: what it acknowledges does not outlive a loss of power"
            )
        elif read_only:
            self._refusal = self._read_only("the server is a copy that may only be read")
        elif not may_write:
            self._refusal = self._read_only("you may only read there")
        if number is not None:
            self._take(number)
        elif self._make_with is None:
            message = f"there is no {form.name} {str(self.place)!r}"
            raise form.failure("missing", message, form.made_by)
        elif self._refusal is not None:
            raise self._refusal
        elif when_needed:
            self._try_out()
            self.pending = True
        else:
            self._make()

    def _check_version(self, version: int) -> None:
        known = len(self.form.scripts)
        if version > known:
            raise self.form.failure(
                "later",
                f"the tables of {str(self.place)!r} are of a later version ({self.form.name}"
                f" version {version}, this one knows {known})",
                "update niner here",
            )
        if version < known:
            raise self._behind(version)

    def _behind(self, version: int) -> StoreError:
        return self.form.failure(
            "server",
            f"the server of {str(self.place)!r} has the tables of {self.form.name} version"
            f" {version}; this niner needs version {len(self.form.scripts)}",
            f"whoever set it up brings them up: {self.place.set_up}",
        )

    def _read_only(self, why: str) -> StoreError:
        return self.form.failure("read-only", f"not written to {str(self.place)!r}: {why}")

    def _take(self, number: int) -> None:
        self._server.open(number)
        self.facts = self._told_of_itself()

    def _told_of_itself(self) -> dict[str, str]:
        return dict(self.execute(self.form.facts).fetchall()) if self.form.facts else {}

    def make(self) -> None:
        """Make the journal that was to be made when it is needed; another program may have made it
        meanwhile.
        """
        if self.pending:
            with self.telling():
                self._make()
            self.pending = False

    def _make(self) -> None:
        with self._alone() as number:
            pass
        self._take(number)

    def _try_out(self) -> None:
        """Know what a journal that is not made yet will tell of itself."""
        with contextlib.suppress(_TakenBackError), self._alone():
            self.facts = self._told_of_itself()
            raise _TakenBackError

    @contextlib.contextmanager
    def _alone(self) -> Iterator[int]:
        """Make the journal, where it is not there, in a transaction; yield its number."""
        word, name = self.form.word, self.place.name
        self._server.begin((LOCK, MAKING), "SELECT")
        try:
            ask = "SELECT number FROM niner.journals WHERE word = ? AND name = ?"
            found = self.execute(ask, (word, name)).fetchone()
            if found is None:
                make = "INSERT INTO niner.journals (word, name) VALUES (?, ?) RETURNING number"
                found = self.execute(make, (word, name)).fetchone()
                self._server.show(found[0])
                if self._make_with is not None:
                    self._make_with(self)
            yield found[0]
        except BaseException:
            self._server.rollback()
            raise
        self._server.commit()

    # reading and writing

    @property
    def clock(self) -> ServerClock:
        """The server's clock."""
        return self._server.clock

    @property
    def writable(self) -> bool:
        """Tell whether rows can be added."""
        return self._refusal is None

    def execute(self, query: str, values: Sequence[Any] = (), /) -> Found:
        """Run a query."""
        return self._server.execute(query, values)

    def behind(self, table: PlainTable, key: int | str | None) -> Iterator[Sequence[Any]]:
        """Yield the rows behind a key in their order; some at a time are asked for, so that nothing
        is held at the server meanwhile.
        """
        while True:
            ask, values = table.behind(key)
            rows = self.execute(f"{ask} LIMIT {table.together}", values).fetchall()
            yield from rows
            if len(rows) < table.together:
                return
            key = rows[-1][0]

    def insert(self, table: PlainTable, rows: Sequence[Sequence[Any]]) -> int:
        """Add rows within a transaction; return how many there are more. Several go together, which
        is how the server looks at them.
        """
        if len(rows) == 1:
            return self.execute(table.insert, rows[0]).rowcount
        return self._server.copy_in(table.name, table.names, rows)

    def ends(self, table: Table) -> tuple[int, int]:
        """Return the number of the last row, and the last number given, as of one moment."""
        ask = (
            f'SELECT (SELECT max({NUMBER}) FROM "{table.name}"), last FROM niner.journals'  # noqa: S608 - names that the program declares
            " WHERE number = current_setting('niner.journal')::integer"
        )
        last, given = self.execute(ask).fetchone() or (0, 0)
        return int(last or 0), int(given or 0)

    @contextlib.contextmanager
    def reading(self) -> Iterator[None]:
        """Read from the server."""
        with self.telling():
            yield

    @contextlib.contextmanager
    def transaction(self) -> Iterator[None]:
        """Write all of it or none, on the server's disk when it is done; waits for another writer
        first.
        """
        with self.telling():
            if self._refusal is not None:
                raise self._refusal
            self.make()
            found = self._server.begin((LOCK, self._server.journal), _CHECK)
            try:
                if found is None:
                    raise self._gone()
                self._check_version(found[1])
                self._server.clock.heard(found[2])
                yield
            except BaseException:
                self._server.rollback()
                raise
            self._server.commit()

    def _gone(self) -> StoreError:
        name = self.form.name
        return self.form.failure(
            "replaced",
            f"not written: the {name} {str(self.place)!r} that was opened is no longer there",
            f"go on in a new {name}, and {self.form.write_again}",
        )

    async def news(self) -> AsyncIterator[None]:
        """Yield when the server tells that rows were added, and every second at least; while its
        line is broken, every now and then.
        """
        while True:
            try:
                async for _ in self._server.told_of(self._server.journal):
                    yield
            except psycopg.Error:
                await asyncio.sleep(LOOKS)
                yield

    def faults(self) -> list[str]:
        """Return nothing: a server checks its own pages."""
        return []

    def overwrite(self) -> bool:
        """Leave it to the server, which overwrites what was deleted when it cleans up."""
        return True

    def telling(self) -> contextlib.AbstractContextManager[None]:
        """Turn what the server and the library say into errors of the journal."""
        return self._server.telling()

    def tidy_later(self) -> None:
        """Do nothing: the server keeps itself in order."""

    tidy = tidy_later

    def close(self) -> None:
        """Close the line; everything is on the server's disk already."""
        self._server.close()
