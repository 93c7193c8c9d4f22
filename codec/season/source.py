"""Where a season is: on a server, which is asked itself, or in a folder, whose sheets and exported
Parquet files DuckDB reads.

Both have the same tables under the same names, so each query is written once. It stands in SQL that
PostgreSQL and DuckDB read alike, ``?`` where a value stands, without ``%``.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import sqlite3
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from codec.season.events import SeasonError, SeasonEvent, day_of
from codec.season.parquet import (
    COLUMNS,
    SHEET,
    event_of,
    facts_in,
    listed,
    literal,
    reading,
    write_sheet,
)
from codec.sheet.journal import Journal, sheet_format
from codec.sheet.listing import SUFFIX
from codec.store.opening import asking
from codec.store.place import Place, ServerPlace, whole
from codec.store.table import DIGEST, NUMBER, Execute
from grammar import kept
from grammar.book import Book
from grammar.errors import CodeError
from grammar.libraries import needed
from grammar.loading import book_of

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

EXTRA = "season"  # what must be installed for a folder
PARTS = "event=*/*.parquet"  # what an export makes in its folder
_KEEP = 1_000  # sheets in the cache folder
_MEMORY = "64MB"  # of a server, for each sort of a query
_LINES = "SELECT 1 + CAST(current_setting('max_parallel_workers_per_gather') AS integer)"
Told = Callable[[int, int], object]  # how many sheets are read so far, and of how many

_ON_A_SERVER = f"""
SELECT number, journals.name, last,
    (SELECT logged FROM niner.entries WHERE journal = number AND {NUMBER} = 1),
    (SELECT at FROM niner.entries WHERE journal = number AND at IS NOT NULL
     ORDER BY {NUMBER} LIMIT 1),
    (SELECT text FROM niner.facts WHERE journal = number AND facts.name = 'name'),
    (SELECT text FROM niner.facts WHERE journal = number AND facts.name = 'digest'),
    (SELECT text FROM niner.facts WHERE journal = number AND facts.name = 'sheet')
FROM niner.journals WHERE word = ? ORDER BY number
"""  # noqa: S608 - names that the program declares
_BOOK_ON_A_SERVER = """
SELECT book.text FROM niner.facts AS book JOIN niner.facts AS covered
ON covered.journal = book.journal AND covered.name = 'digest'
WHERE book.name = 'book' AND covered.text = ? LIMIT 1
"""


class Season(Protocol):
    """The events of a season, and whom to ask about them; ``left_out`` tells in lines what could
    not be read.
    """

    events: list[SeasonEvent]
    left_out: list[str]
    apart: str  # behind a query within another that is worked out by itself, as it stands
    number: str  # what makes a number of a text, and nothing of what is none
    lines: int  # how many queries it answers at once, each about other events

    def ask(self, query: str, values: Sequence[Any] = ()) -> list[Any]:
        """Return the rows that a query finds; raises CodeError."""

    def ask_at_once(self, queries: Sequence[tuple[str, Sequence[Any]]]) -> list[Any]:
        """Return the rows that several queries find, each with its values; raises CodeError."""

    def book_text(self, digest: str) -> str:
        """Return the text of a book of the season."""

    def part(self, event: SeasonEvent, folder: Path) -> Path:
        """Return the Parquet file of an event's entries as they were written, made in a folder
        where there is none.
        """

    def close(self) -> None:
        """Let go of it."""


def book_in(season: Season, digest: str) -> Book:
    """Return a book of the season; raises BookError."""
    name = next(one.book for one in season.events if one.digest == digest)
    return book_of(season.book_text(digest), name)


@contextlib.contextmanager
def opened_season(place: Place, told: Told = lambda *_: None) -> Iterator[Season]:
    """Open a season; ``told`` hears how many sheets of a folder are read. Raises CodeError where it
    can't be read, or nothing is there.
    """
    with contextlib.ExitStack() as stack:
        season: Season
        where = whole(place)
        if isinstance(where, ServerPlace):
            season = _ServerSeason(stack.enter_context(asking(where, sheet_format())), where)
        else:
            season = _in_folder(where, told, stack)
        stack.callback(season.close)
        if not season.events:
            why = f"; left out: {season.left_out[0]}" if season.left_out else ""
            raise SeasonError(
                f"there is no event in {str(place)!r}{why}",
                kind="season-empty",
                hint=f"a season has sheets (NAME{SUFFIX}), or what niner season export made",
            )
        yield season


def _once(found: Sequence[tuple[SeasonEvent, str]], left_out: list[str]) -> list[SeasonEvent]:
    """Return the events without those that are a copy of another with no fewer entries."""
    best: dict[str, SeasonEvent] = {}
    for event, _ in found:
        there = best.get(event.sheet)
        if there is None or event.entries > there.entries:
            best[event.sheet] = event
    for event, where in found:
        counted = best[event.sheet]
        if event is not counted:
            left_out.append(f"{where}: the same sheet as {counted.event!r}, which is counted")
    return sorted(
        (event for event, _ in found if best[event.sheet] is event),
        key=lambda one: (one.date, one.event, one.number),
    )


class _ServerSeason:
    apart = "OFFSET 0"  # or it would be put together with the other, and all rows gone through
    number = (
        "CASE WHEN length({0}) < 12 AND {0} >= '0'"
        " AND translate({0}, '0123456789', '') IN ('', '.') THEN CAST({0} AS double precision) END"
    )

    def __init__(self, server: Execute, place: ServerPlace) -> None:
        self._server, self._place = server, place
        self.left_out: list[str] = []
        _settle(server)
        # the server says itself how many processes one query may have; it gives none to such ones
        self.lines = int(server.execute(_LINES).fetchone()[0])
        found = []
        for row in server.execute(_ON_A_SERVER, (sheet_format().word,)).fetchall():
            number, name, last, logged, at, book, digest, sheet = row
            if not book or not digest or not sheet:
                self.left_out.append(f"{name}: it does not tell of its book")
                continue
            event = SeasonEvent(number, name, day_of(at, logged), book, digest, sheet, int(last))
            found.append((event, name))
        self.events = _once(found, self.left_out)

    def ask(self, query: str, values: Sequence[Any] = ()) -> list[Any]:
        return self._server.execute(query, values).fetchall()

    def ask_at_once(self, queries: Sequence[tuple[str, Sequence[Any]]]) -> list[Any]:
        (mine, values), *others = queries
        with ThreadPoolExecutor(len(queries)) as pool:
            asked = [pool.submit(self._on_another_line, *other) for other in others]
            rows = self.ask(mine, values)
            for other, answer in zip(others, asked, strict=True):
                try:
                    rows += answer.result()
                except CodeError:  # it may not let in more of us
                    rows += self.ask(*other)
        return rows

    def _on_another_line(self, query: str, values: Sequence[Any]) -> list[Any]:
        with asking(self._place, sheet_format()) as server:
            _settle(server)
            return server.execute(query, values).fetchall()

    def book_text(self, digest: str) -> str:
        [text] = self._server.execute(_BOOK_ON_A_SERVER, (digest,)).fetchone()
        return str(text)

    @functools.cached_property
    def _duck(self) -> DuckDBPyConnection:
        return duckdb_connection()

    def part(self, event: SeasonEvent, folder: Path) -> Path:
        path = folder / "part.parquet"
        with Journal(self._place.with_name(event.event)) as journal:
            write_sheet(self._duck, journal, event.event, path)
        return path

    def close(self) -> None:
        if "_duck" in self.__dict__:
            self._duck.close()


def _settle(server: Execute) -> None:
    """Set how a server goes about queries: how many rows a part of one finds can't be foreseen, and
    is taken for few, which are looked up one by one, or sorted, where there are many.
    """
    server.execute("SET enable_nestloop = off")
    server.execute("SET enable_sort = off")
    server.execute("SET jit = off")  # it takes longer than the query
    server.execute(f"SET work_mem = '{_MEMORY}'")


def duckdb_connection() -> DuckDBPyConnection:
    """Return a database in memory, which reaches for nothing on a network."""
    duckdb = needed("duckdb", EXTRA)
    duck: DuckDBPyConnection = duckdb.connect(
        ":memory:",
        config={"autoinstall_known_extensions": "false", "preserve_insertion_order": "true"},
    )
    return duck


class FilesSeason:
    """Parquet files, each of an event: ``paths`` by the names of their sheets."""

    apart = ""
    number = "TRY_CAST({0} AS double precision)"
    lines = 1  # DuckDB goes through all of them at once itself

    def __init__(
        self, duck: DuckDBPyConnection, events: list[SeasonEvent], paths: Mapping[str, Path]
    ) -> None:
        """Make the tables that a server has, of what is asked there."""
        self.events, self.left_out = events, list[str]()
        self._duck, self._paths = duck, paths
        if events:
            numbers = ", ".join(f"({one.number}, {literal(one.sheet)})" for one in events)
            files = reading([paths[one.sheet] for one in events])
            duck.execute(
                "CREATE SCHEMA IF NOT EXISTS niner;"  # noqa: S608 - names that the program declares, and paths, quoted
                "CREATE OR REPLACE TABLE niner.numbers AS"
                f" FROM (VALUES {numbers}) AS _ (journal, sheet);"
                f"CREATE OR REPLACE VIEW niner.entries AS SELECT journal, {listed(COLUMNS)}"
                f" FROM {files} JOIN niner.numbers USING (sheet)"
            )

    def ask(self, query: str, values: Sequence[Any] = ()) -> list[Any]:
        """Return the rows that a query finds."""
        import duckdb

        try:
            return self._duck.execute(query, values).fetchall()
        except duckdb.Error as error:
            message = str(error).partition("\n")[0]
            raise SeasonError(f"can't be read: {message}", kind="season-file") from None

    def ask_at_once(self, queries: Sequence[tuple[str, Sequence[Any]]]) -> list[Any]:
        """Return the rows that several queries find."""
        return [row for query in queries for row in self.ask(*query)]

    def book_text(self, digest: str) -> str:
        """Return the text of a book."""
        path = next(self._paths[one.sheet] for one in self.events if one.digest == digest)
        return facts_in(self._duck, [path])[str(path)]["book"]

    def part(self, event: SeasonEvent, folder: Path) -> Path:  # noqa: ARG002 - it is there
        """Return the file of an event."""
        return self._paths[event.sheet]

    def close(self) -> None:
        """Let go of the files."""
        self._duck.close()


def _in_folder(folder: Path, told: Told, stack: contextlib.ExitStack) -> FilesSeason:
    """Return the season of a folder: its sheets, kept as Parquet, and what was exported to it."""
    duck, cache, left_out = duckdb_connection(), _cache(stack), list[str]()
    stack.callback(duck.close)
    names, paths = list[str](), list[Path]()
    sheets = sorted(folder.glob(f"*{SUFFIX}"))
    for number, path in enumerate(sheets):
        told(number, len(sheets))
        try:
            paths.append(_sheet_part(duck, path, cache))
        except CodeError as error:
            left_out.append(f"{path.name}: {error.message}")
            continue
        names.append(path.name)
    told(len(sheets), len(sheets))
    for path in sorted(folder.glob(PARTS)):
        paths.append(path)
        names.append(str(path.relative_to(folder)))
    facts, found = facts_in(duck, paths), list[tuple[SeasonEvent, str]]()
    for number, (path, name) in enumerate(zip(paths, names, strict=True), 1):
        event = event_of(facts.get(str(path), {}), number)
        if event is None:
            left_out.append(f"{name}: no file of niner season export")
            continue
        if path.parent == cache:  # its name is that of its file, which may be another now
            event = replace(event, event=name.removesuffix(SUFFIX))
        found.append((event, name))
    events = _once(found, left_out)
    season = FilesSeason(duck, events, {one.sheet: paths[one.number - 1] for one in events})
    season.left_out = left_out
    return season


def _sheet_part(duck: DuckDBPyConnection, path: Path, cache: Path) -> Path:
    """Return the Parquet file of a sheet, made anew where the sheet has changed."""
    there = _kept_as(path, cache)
    if there is not None and there.exists():
        with contextlib.suppress(OSError):
            there.touch()  # of many the ones used longest ago go
        return there
    with Journal(path) as journal:
        last = journal.row(journal.last) if journal.last else None
        made = cache / _named(journal.sheet, "" if last is None else last[DIGEST])
        with tempfile.TemporaryDirectory(dir=cache, prefix=".") as alone:
            part = Path(alone) / made.name
            write_sheet(duck, journal, path.stem, part)
            part.replace(made)
    return made


def _cache(stack: contextlib.ExitStack) -> Path:
    """Return the folder in which sheets are kept as Parquet, one that goes with the command where
    nothing is to be kept.
    """
    if kept.wanted():
        with contextlib.suppress(OSError, RuntimeError):
            folder = kept.folder() / "season"
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            old = sorted(folder.glob("*.parquet"), key=lambda path: path.stat().st_mtime_ns)
            for path in old[:-_KEEP]:
                path.unlink(missing_ok=True)
            return folder
    return Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="niner-season-")))


def _named(sheet: str, digest: str) -> str:
    told = f"{sheet} {digest} {len(COLUMNS)}"
    return f"{hashlib.sha256(told.encode()).hexdigest()[:40]}.parquet"


def _kept_as(path: Path, cache: Path) -> Path | None:
    """Return where a sheet as it is now is kept, None where it does not tell: its last entry covers
    all before it.
    """
    ask = f"SELECT text, (SELECT {DIGEST} FROM entries ORDER BY {NUMBER} DESC LIMIT 1) FROM facts"  # noqa: S608 - names that the program declares
    with contextlib.suppress(sqlite3.Error, OSError):
        where = f"{path.resolve().as_uri()}?mode=ro"
        with contextlib.closing(sqlite3.connect(where, uri=True)) as file:
            row = file.execute(f"{ask} WHERE name = ?", (SHEET,)).fetchone()
        return None if row is None else cache / _named(row[0], row[1] or "")
    return None
