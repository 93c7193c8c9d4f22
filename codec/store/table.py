"""A table of rows that are only ever added: each row has a digest of its own, and covers the digest
of the row before.

So a row that fits its digest is one that was written, wherever it is found, and a row that is
missing, doubled or from elsewhere shows.
"""

from __future__ import annotations

import hashlib
import json
import operator
import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import NoneType
from typing import Any, Protocol, TypeVar

NUMBER, DIGEST, BEFORE = "seq", "digest", "before"
_NOTHING, _TEXTS = frozenset({None, ""}), frozenset({str, NoneType})
_FEW = 8  # cells that are looked at one by one
T = TypeVar("T")


class Found(Protocol):
    """The rows that a query has found."""

    @property
    def rowcount(self) -> int:
        """The number of rows that were written."""

    def fetchone(self) -> Any:
        """Return the next row, None for none."""

    def fetchall(self) -> list[Any]:
        """Return the rows."""

    def __iter__(self) -> Iterator[Any]:
        """Yield the rows."""


class Execute(Protocol):
    """Whatever runs a query."""

    def execute(self, query: str, values: Sequence[Any] = ..., /) -> Found:
        """Run a query with its values."""


@dataclass(frozen=True, slots=True)
class Stored:
    """A column as the file has it: its name, the version of the file that brought it, and whether
    it holds real numbers.
    """

    name: str
    since: int = 1
    real: bool = False


class PlainTable:
    """A table by its name and those of its columns that are meant, the first of which is its key;
    a server is asked for so many rows together.
    """

    def __init__(self, name: str, names: Sequence[str], *, together: int = 2000) -> None:
        """Put the queries together."""
        self.name, self.names, self.key, self.together = name, tuple(names), names[0], together
        listed = ", ".join(f'"{column}"' for column in names)
        places = ", ".join("?" * len(names))
        self.select = f'SELECT {listed} FROM "{name}"'  # noqa: S608 - names that the program declares
        self.insert = f'INSERT INTO "{name}" ({listed}) VALUES ({places})'  # noqa: S608

    def behind(self, key: int | str | None) -> tuple[str, tuple[Any, ...]]:
        """Return the query for the rows behind a key in their order, all for None; its values."""
        where, values = ("", ()) if key is None else (f' WHERE "{self.key}" > ?', (key,))
        return f'{self.select}{where} ORDER BY "{self.key}"', values


class Table(PlainTable):
    """The declaration of a table: its name, what one row is called, and its columns.

    The first column is the row's number ``seq``. The store adds ``digest``, and from version
    ``chained`` on ``before``, the digest of the row before. As every column that comes later is
    added behind the others, their order in the file is that of their versions.
    """

    def __init__(
        self, name: str, columns: Sequence[Stored], *, row: str, rows: str, chained: int = 1
    ) -> None:
        """Put the columns in the order of the file."""
        own = [Stored(DIGEST), Stored(BEFORE, since=chained)]
        self.row, self.rows = row, rows
        self.columns = tuple(sorted([*columns, *own], key=lambda column: column.since))
        super().__init__(name, [column.name for column in self.columns])
        covered = sorted(name for name in self.names if name != DIGEST)
        self._covered = [_name(name) for name in covered]
        self._of_covered = operator.itemgetter(*map(self.names.index, covered))
        self._digest_at = self.names.index(DIGEST)

    def sound(self, rows: Sequence[Sequence[Any]]) -> list[bool]:
        """Tell of each row, its cells in the order of ``names``, whether it is as it was written;
        of many together in a third of the time that it takes one by one.
        """
        if not rows:
            return []
        try:
            found = _digests(self._covered, [self._of_covered(row) for row in rows])
        except (TypeError, ValueError):  # of a cell that no row was written with
            return [self.sound([row])[0] for row in rows] if len(rows) > 1 else [False]
        return [told == row[self._digest_at] for told, row in zip(found, rows, strict=True)]

    def facts(self, number: int | None, record: Sequence[Any]) -> dict[str, Any] | None:
        """Return the row that a record of the file is, None if it is none of this table's or not as
        it was written.

        A row of an earlier version has fewer columns, and a real number that is whole is kept as a
        whole one ("Database File Format", 2.1).
        """
        first = sum(column.since == 1 for column in self.columns)
        if number is None or not first <= len(record) <= len(self.names):
            return None
        values = [number, *record[1:], *[None] * (len(self.names) - len(record))]
        facts = {
            column.name: float(value) if column.real and isinstance(value, int) else value
            for column, value in zip(self.columns, values, strict=True)
        }
        return facts if is_sound(facts) else None

    def last(self, journal: Execute) -> tuple[int, str] | None:
        """Return the number and the digest of the last row of a journal, None for none."""
        order = f"ORDER BY {NUMBER} DESC LIMIT 1"
        ask = f'SELECT {NUMBER}, {DIGEST} FROM "{self.name}" {order}'  # noqa: S608 - names that the program declares
        found: tuple[int, str] | None = journal.execute(ask).fetchone()
        return found

    def ends(self, connection: sqlite3.Connection) -> tuple[int, int]:
        """Return the number of the last row, and the last number given, as of one moment; in a file
        that is as it was written they are the same.
        """
        ask = (
            f'SELECT (SELECT max({NUMBER}) FROM "{self.name}"),'  # noqa: S608 - names that the program declares
            " (SELECT seq FROM sqlite_sequence WHERE name = ?)"
        )
        last, given = connection.execute(ask, (self.name,)).fetchone()
        return int(last or 0), int(given or 0)

    def follows(self, connection: sqlite3.Connection, number: int, end: str) -> bool:
        """Tell whether a file has the row of this number and digest (0: none yet), the next one, if
        there is any, covers it, and no row is missing at the end.
        """
        ask = f'SELECT * FROM "{self.name}" WHERE {NUMBER} IN (?, ?) ORDER BY {NUMBER}'  # noqa: S608
        rows = connection.execute(ask, (number, number + 1))
        names = [column[0] for column in rows.description]
        found = {row[0]: dict(zip(names, row, strict=True)) for row in rows}
        there, following = found.get(number, {DIGEST: None}), found.get(number + 1, {})
        last, given = self.ends(connection)
        return (
            (not number or there[DIGEST] == end)
            and following.get(BEFORE) in (None, end)
            and last == given
        )


_text = json.encoder.encode_basestring_ascii


def of_each(cells: Sequence[Any], told: Callable[[Any], T]) -> list[T]:
    """Return what is told of each cell of a column; of many that are alike it is asked once."""
    # of others than texts equal ones may differ, as 1 and 1.0
    if len(cells) > _FEW and _TEXTS.issuperset(map(type, cells)):
        different = set(cells)
        if 2 * len(different) <= len(cells):
            known = {cell: told(cell) for cell in different}
            return [known[cell] for cell in cells]
    return [told(cell) for cell in cells]


def _name(name: str) -> str:
    return f", {_text(name)}: "


def _told(name: str, cells: Sequence[Any]) -> list[str]:
    """Return what a digest covers of the cells of a column: of each its name and itself, as JSON
    has them, "" for one that is empty.
    """
    kinds = set(map(type, cells))
    if kinds == {int}:
        return [f"{name}{cell}" for cell in cells]
    if kinds == {str}:
        return of_each(cells, lambda cell: name + _text(cell) if cell else "")

    def told(cell: Any) -> str:
        if cell is None or cell == "":
            return ""
        return name + json.dumps(cell, sort_keys=True)

    return of_each(cells, told)


def _digests(names: Sequence[str], rows: Sequence[Sequence[Any]]) -> list[str]:
    """Return the digests of rows, their cells in the order of their names: of each that of the JSON
    object of its cells that are not empty.
    """
    columns = zip(names, zip(*rows, strict=True), strict=True)
    told = [_told(name, cells) for name, cells in columns if not _NOTHING.issuperset(cells)]
    return [
        hashlib.blake2b(f"{{{''.join(parts)[2:]}}}".encode(), digest_size=8).hexdigest()
        for parts in (zip(*told, strict=True) if told else [()] * len(rows))
    ]


def digest(facts: Mapping[str, Any]) -> str:
    """Return the digest of a row; empty columns don't count, so that a later version may add
    some.
    """
    names = sorted(name for name in facts if name != DIGEST)
    return _digests([_name(name) for name in names], [[facts[name] for name in names]])[0]


def is_sound(facts: Mapping[str, Any]) -> bool:
    """Tell whether a row is as it was written."""
    try:
        return bool(digest(facts) == facts[DIGEST])
    except (TypeError, ValueError):
        return False
