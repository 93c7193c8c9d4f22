"""The tables of a journal as a server has them, which follow from the scripts of its file.

A script of a file is the one place where a table's columns, references, indexes and refusals
stand. What each script adds to the file, read from SQLite's own catalogue, is what the same step
adds on a server; there, many journals share a table, so every row and every key begins with the
number of its journal.

PostgreSQL's types: INTEGER is bigint, REAL double precision, TEXT text in the order of its code
points, as SQLite compares it.
"""

from __future__ import annotations

import contextlib
import functools
import re
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from codec.store.store import JournalFormat
from codec.store.table import BEFORE

JOURNAL = "journal"  # the column that tells of which journal a row is
CURRENT = "current_setting('niner.journal')::integer"  # the one that a session has open
_TYPES = {"INTEGER": "bigint", "REAL": "double precision", "TEXT": 'text COLLATE "C"'}
_REFUSAL = re.compile(
    r"CREATE TRIGGER \w+ BEFORE (?P<act>UPDATE|DELETE|INSERT) ON \w+ (?:WHEN (?P<when>.+) )?"
    r"BEGIN SELECT RAISE\(ABORT, '(?P<why>[^']+)'\); END",
    re.DOTALL,
)


@dataclass(frozen=True, slots=True)
class _Declared:
    """What a file holds that some scripts have made: the statements that make each table anew, each
    of its columns alone, by (table, column), and everything else, by what it is and its name.
    """

    tables: dict[str, str]
    columns: dict[tuple[str, str], str]
    others: dict[tuple[str, str], str]


def steps(form: JournalFormat) -> list[list[str]]:
    """Return the statements that bring a server's tables from each version to the next; raises
    TypeError where a script does more than adding tables, columns, indexes and refusals.
    """
    found = []
    before = _declared((), form)
    for version in range(1, len(form.scripts) + 1):
        now = _declared(form.scripts[:version], form)
        found.append(list(_added(before, now)))
        before = now
    return found


def views(form: JournalFormat) -> dict[str, list[str]]:
    """Return the columns of each table, as a file has them."""
    found: dict[str, list[str]] = {}
    for table, column in _declared(form.scripts, form).columns:
        found.setdefault(table, []).append(column)
    return found


@functools.cache
def first_table(form: JournalFormat) -> str:
    """Return the name of one of the tables: who may add to it may add to all."""
    return next(iter(views(form)))


def _added(before: _Declared, now: _Declared) -> Iterator[str]:
    for kept, there in ((before.tables, now.tables), (before.columns, now.columns)):
        if gone := sorted(map(str, kept.keys() - there.keys())):
            raise TypeError(f"a script takes {', '.join(gone)} away, which a server can't follow")
    yield from (made for name, made in now.tables.items() if name not in before.tables)
    for (table, column), declared in now.columns.items():
        if table in before.tables and (table, column) not in before.columns:
            yield f'ALTER TABLE niner."{table}" ADD COLUMN {declared}'
    for what, declared in now.others.items():
        if what not in before.others:
            yield declared


def _declared(scripts: Sequence[str], form: JournalFormat) -> _Declared:
    with contextlib.closing(sqlite3.connect(":memory:")) as file:
        for script in scripts:
            file.executescript(script)
        made = file.execute("SELECT type, name, tbl_name, sql FROM sqlite_master").fetchall()
        declared = _Declared({}, {}, {})
        for kind, name, table, sql in made:
            if name.startswith("sqlite_") or table in form.alone:
                continue
            if kind == "table":
                _take_table(file, name, declared)
            elif kind == "index":
                on = _listed(_index(file, name))
                declared.others[kind, name] = f'CREATE INDEX "{name}" ON niner."{table}" ({on})'
            elif not any(alone in sql for alone in form.alone):
                declared.others[kind, name] = _refusal(name, table, sql)
        if form.table is not None and (form.table.name, BEFORE) in declared.columns:
            declared.others["follow", form.table.name] = _following(form.table.name)
        return declared


def _take_table(file: sqlite3.Connection, table: str, declared: _Declared) -> None:
    columns = file.execute(
        'SELECT name, type, "notnull", dflt_value, pk FROM pragma_table_info(?)', (table,)
    ).fetchall()
    for name, kind, filled, usual, key in columns:
        parts = [f'"{name}" {_TYPES[kind]}', *(["NOT NULL"] if filled or key else [])]
        parts += [] if usual is None else [f"DEFAULT {usual}"]
        declared.columns[table, name] = " ".join(parts)
    keys = [name for name, *_, key in sorted(columns, key=lambda one: one[-1]) if key]
    parts = [
        f"{JOURNAL} integer NOT NULL DEFAULT {CURRENT} REFERENCES niner.journals (number)",
        *(text for (of, _), text in declared.columns.items() if of == table),
        f"PRIMARY KEY ({_listed(keys)})",
        *(f"UNIQUE ({_listed(names)})" for names in _unique(file, table)),
    ]
    ask = 'SELECT "from", "table", "to", on_delete FROM pragma_foreign_key_list(?)'
    for mine, other, theirs, then in file.execute(ask, (table,)):
        follow = "" if then == "NO ACTION" else f" ON DELETE {then}"
        parts.append(
            f"FOREIGN KEY ({_listed([mine])})"
            f' REFERENCES niner."{other}" ({_listed([theirs])}){follow}'
        )
    declared.tables[table] = f'CREATE TABLE niner."{table}" ({", ".join(parts)})'


def _unique(file: sqlite3.Connection, table: str) -> list[list[str]]:
    ask = "SELECT name FROM pragma_index_list(?) WHERE origin = 'u' ORDER BY name"
    return [_index(file, name) for (name,) in file.execute(ask, (table,)).fetchall()]


def _index(file: sqlite3.Connection, name: str) -> list[str]:
    return [row[0] for row in file.execute("SELECT name FROM pragma_index_info(?)", (name,))]


def _listed(names: Sequence[str]) -> str:
    """Return the columns of a key: the journal, then these."""
    return ", ".join([JOURNAL, *(f'"{name}"' for name in names)])


def _refusal(name: str, table: str, sql: str) -> str:
    found = _REFUSAL.fullmatch(" ".join(sql.split()))
    if found is None:
        raise TypeError(f"the trigger {name} does more than refuse, which a server can't follow")
    when = "" if found["when"] is None else f" WHEN ({found['when']})"
    return (
        f'CREATE TRIGGER "{name}" BEFORE {found["act"]} ON niner."{table}"'
        f" FOR EACH ROW{when} EXECUTE FUNCTION niner.refuse('{found['why']}')"
    )


def _following(table: str) -> str:
    """Return the trigger that lets in only rows that follow the last one."""
    return (
        f'CREATE TRIGGER "{table}_chained" AFTER INSERT ON niner."{table}"'
        " REFERENCING NEW TABLE AS added FOR EACH STATEMENT EXECUTE FUNCTION niner.follow()"
    )
