"""What a journal declares of itself, and what it stands in: one interface, a file or a server.

A ``Store`` keeps the rows of one journal. Its queries are written once, for both: names and texts
in SQL that SQLite and PostgreSQL read alike, ``?`` where a value stands.
"""

from __future__ import annotations

import datetime
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, Protocol

from codec.store.place import Place
from codec.store.table import Execute, Found, PlainTable, Table
from grammar.errors import CodeError

_FROM_A_COPY = "tell whoever keeps the server: its backups have it as it was written"
WAIT = 5.0  # seconds to wait for another writer
LOOKS = 0.2  # seconds between two looks for what another program has written
READ, ADD = "SELECT", "SELECT, INSERT"  # rights
Clock = Callable[[], datetime.datetime]


def now() -> datetime.datetime:
    """Return the time of the computer's clock."""
    return datetime.datetime.now(datetime.UTC)


def stamp(clock: Clock) -> str:
    """Return a clock's time as journals keep it: 2026-05-01T12:00:00.000Z."""
    return clock().isoformat(timespec="milliseconds").replace("+00:00", "Z")


class StoreError(CodeError):
    """What a journal stands in is not in order; ``kind`` tells which, and begins with the journal's
    own word.
    """


@dataclass(frozen=True, slots=True)
class JournalFormat:
    """What a journal declares of what it stands in.

    ``word``         begins the kinds of its errors: ``sheet`` makes ``sheet-full``
    ``name``         what people call it, ``long_name`` what it is
    ``rows``         what it holds, in the plural; ``write_again`` what to do to write one again
    ``made_by``      what makes such a file, as a sentence
    ``way_out``      what to do when the file is damaged
    ``error``        the class of its errors
    ``application``  the number in the file that tells tools its kind
    ``scripts``      what makes its tables, one script a version; a new version adds one and never
                     changes an old one. A new journal begins with the first version's tables, is
                     written what it begins with, and is then brought up as an old one is
    ``alone``        the tables that only a file has, against its damage
    ``rights``       what each role of a server may do with its tables there
    ``sought``       tables, and columns of theirs by which a server is asked of all its journals at
                     once: it has an index of each, which no version tells
    ``taken_out``    the tables of which rows may be deleted
    ``settings``     settings of SQLite beside those that every journal has
    ``facts``        the query for what the file tells of itself, names and texts; "" for nothing
    ``table``        the table of rows that bear digests, if it has one
    """

    word: str
    name: str
    long_name: str
    rows: str
    write_again: str
    made_by: str
    way_out: str
    error: type[StoreError]
    application: int
    scripts: tuple[str, ...]
    alone: tuple[str, ...] = ()
    rights: tuple[tuple[str, str], ...] = ()
    sought: tuple[tuple[str, str], ...] = ()
    taken_out: tuple[str, ...] = ()
    settings: tuple[str, ...] = ()
    facts: str = ""
    table: Table | None = None

    def failure(self, kind: str, message: str, hint: str = "", source: str = "") -> StoreError:
        """Return an error of this journal."""
        return self.error(message, kind=f"{self.word}-{kind}", hint=hint, source=source)

    def damaged(self, place: Place, message: str) -> StoreError:
        """Return the error for one that is not as it was written."""
        message = f"{str(place)!r} is damaged: {message}"
        return self.failure("damaged", message, self.way_out_of(place))

    def way_out_of(self, place: Place) -> str:
        """Return what to do where a journal is damaged."""
        return self.way_out if isinstance(place, Path) else _FROM_A_COPY

    def foreign(self, path: Place) -> StoreError:
        """Return the error for a file of another kind."""
        return self.error(
            f"{str(path)!r} is no {self.long_name}",
            kind=f"not-a-{self.word}",
            hint=f"name another file; {self.made_by}",
        )


Make = Callable[[Execute], object]  # writes what a new journal begins with


class Store(Protocol):
    """What one journal stands in, open. All of it raises ``form.error``.

    ``facts`` is what it tells of itself. ``pending`` tells that it is made by the first
    transaction, and is nowhere before.
    """

    form: JournalFormat
    facts: dict[str, str]
    pending: bool

    @property
    def clock(self) -> Clock:
        """The clock by which is written: the server's; of a file this computer's."""

    @property
    def place(self) -> Place:
        """Where it is."""

    @property
    def writable(self) -> bool:
        """Tell whether rows can be added: what may only be read is opened all the same."""

    def make(self) -> None:
        """Make what is pending."""

    def execute(self, query: str, values: Sequence[Any] = ()) -> Found:
        """Run a query, within ``reading``, ``transaction`` or ``telling``."""

    def behind(self, table: PlainTable, key: int | str | None) -> Iterator[Sequence[Any]]:
        """Yield the rows behind a key in their order, all for None, few of them in memory at
        once.
        """

    def insert(self, table: PlainTable, rows: Sequence[Sequence[Any]]) -> int:
        """Add rows within a transaction; return how many there are more."""

    def ends(self, table: Table) -> tuple[int, int]:
        """Return the number of the last row, and the last number given, as of one moment; where all
        is as it was written they are the same.
        """

    def news(self) -> AsyncIterator[None]:
        """Yield whenever rows may have been added, by whomever: at once where that can be told,
        else every now and then.
        """

    def reading(self) -> AbstractContextManager[None]:
        """Read what was opened, and nothing that was put in its place."""

    def transaction(self) -> AbstractContextManager[None]:
        """Write all of it or none, on the disk when it is done; waits for another writer first."""

    def tidy_later(self) -> None:
        """From now on leave what is to be put in order after a transaction until ``tidy``."""

    def tidy(self) -> None:
        """Put in order what transactions left; what they wrote is on the disk before that too."""

    def telling(self) -> AbstractContextManager[None]:
        """Turn what libraries and the system say into errors of the journal."""

    def faults(self) -> list[str]:
        """Return what is wrong beneath the rows, [] if nothing is."""

    def overwrite(self) -> bool:
        """Overwrite what was deleted; return False where another program keeps that from being done
        now.
        """

    def close(self) -> None:
        """Close it; everything is on the disk already."""


def scripts_in(folder: Traversable) -> tuple[str, ...]:
    """Return the scripts of a folder: ``1.sql``, ``2.sql``, … as far as they go."""
    found: list[str] = []
    while (script := folder / f"{len(found) + 1}.sql").is_file():
        found.append(script.read_text("utf-8"))
    return tuple(found)
