"""The tables of a journal copied to another place, from a file to a server and back: row for row,
as they were written, with the numbers that they have.

What is copied goes on from what is there: a copy that was made before gets what came since.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from codec.store.store import Store, StoreError
from codec.store.table import PlainTable

AT_ONCE = 1000  # rows that are written together
_FEW = 20
Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Copied:
    """How many rows were copied, and how many were there before."""

    copied: int
    before: int


def batches(rows: Iterable[Row], at_once: int) -> Iterator[tuple[Row, ...]]:
    """Yield rows, so many together."""
    waiting = iter(rows)
    while batch := tuple(itertools.islice(waiting, at_once)):
        yield batch


def copy_rows(
    source: Store,
    target: Store,
    counted: Collection[str],
    large: Collection[str],
    told: Callable[[int, int], object],
) -> dict[str, Copied]:
    """Bring to a journal every row that another has more, all or none; return of each table how
    many. Rows of tables that are ``counted`` from 1 on are the same where their numbers are; a row
    of any other belongs to one of them, or tells by its key what it is. Rows of ``large`` ones are
    moved few at a time. ``told`` hears how many rows are copied so far, of how many.

    Raises the journal's error (``apart``) where one has a row that the other has not, or another
    of its number: neither is changed then.
    """
    from codec.store.server.declared import views

    tables = [
        PlainTable(name, columns, together=_FEW if name in large else AT_ONCE)
        for name, columns in views(source.form).items()
    ]  # in the order in which they are made: none refers to one behind it
    with target.transaction():
        # what refers to others is looked at first: all that it refers to is there when they are
        found = {table: _lacking(source, target, table, counted) for table in reversed(tables)}
        total, count = sum(len(one.keys) for one in found.values()), 0
        for table in tables:
            rows = _rows(source, table, found[table]) if found[table].keys else ()
            for batch in batches(rows, table.together):
                target.insert(table, batch)
                count += len(batch)
                told(count, total)
    return {table.name: Copied(len(found[table].keys), found[table].before) for table in tables}


@dataclass(slots=True)
class _Lacking:
    """The keys of the rows that the target lacks, the last one before them, and how many it has."""

    keys: set[Any]
    after: Any
    before: int


def _lacking(source: Store, target: Store, table: PlainTable, counted: Collection[str]) -> _Lacking:
    compared = table if table.name in counted else PlainTable(table.name, [table.key])
    theirs = _read(target, compared)
    found, there = _Lacking(set(), None, 0), next(theirs, None)
    for row in _read(source, compared):
        if there is None or row[0] < there[0]:
            found.keys.add(row[0])
            continue
        if row[0] > there[0]:
            break
        if tuple(row) != tuple(there):
            raise _apart(target, table, row[0], "not those of this")
        found.before, there = found.before + 1, next(theirs, None)
        if not found.keys:
            found.after = row[0]
    if there is not None:
        raise _apart(target, table, there[0], "not in this")
    return found


def _apart(target: Store, table: PlainTable, key: object, why: str) -> StoreError:
    name = target.form.name
    return target.form.failure(
        "apart",
        f"{str(target.place)!r} has {table.name}, from {key} on, that are {why} {name}: both went"
        " on by themselves, or somebody was taken out of one",
        f"copy the other way, or to another place; who is taken out is taken out of each {name}",
    )


def _read(store: Store, table: PlainTable, after: Any = None) -> Iterator[Sequence[Any]]:
    with store.reading():
        yield from store.behind(table, after)


def _rows(source: Store, table: PlainTable, lacking: _Lacking) -> Iterator[Sequence[Any]]:
    return (row for row in _read(source, table, lacking.after) if row[0] in lacking.keys)
