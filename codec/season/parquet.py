"""A sheet as a Parquet file (Apache Parquet format), by DuckDB: its entries as they were written,
and, in the file's key-value metadata, the event, its day and its book.

A few thousand entries are in memory at once, however long the sheet is.
"""

from __future__ import annotations

import itertools
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from codec.season.events import SeasonError, SeasonEvent, day_of
from codec.sheet.columns import Whole
from codec.sheet.journal import Journal
from codec.sheet.table import ENTRIES

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

_AT_ONCE = 5_000  # entries
FORMAT = "niner season 1"  # of the files, in their metadata
SHEET = "sheet"  # the column with the sheet's own name
COLUMNS = tuple(ENTRIES.columns)
_TYPES = {
    name: "BIGINT" if isinstance(column, Whole) else "DOUBLE" if column.real else "VARCHAR"
    for name, column in ENTRIES.columns.items()
}


def literal(text: str) -> str:
    """Return a text as SQL has it."""
    return "'" + text.replace("'", "''") + "'"


def listed(names: Sequence[str]) -> str:
    """Return columns as SQL lists them."""
    return ", ".join(f'"{name}"' for name in names)


def copy_out(
    duck: DuckDBPyConnection,
    query: str,
    path: Path,
    facts: Mapping[str, str] | None = None,
    values: Sequence[str] = (),
) -> None:
    """Write what a query finds as a Parquet file with these facts in its metadata; raises
    SeasonError where it can't be written.
    """
    import duckdb

    told = ", ".join(f"{name}: {literal(text)}" for name, text in (facts or {}).items())
    more = f", KV_METADATA {{{told}}}" if told else ""
    options = f"FORMAT parquet, COMPRESSION zstd{more}"
    try:
        duck.execute(f"COPY ({query}) TO {literal(str(path))} ({options})", values)
    except duckdb.IOException as error:
        message = str(error).partition("\n")[0]
        raise SeasonError(f"can't be written: {message}", kind="season-file") from None


def write_sheet(duck: DuckDBPyConnection, journal: Journal, event: str, path: Path) -> None:
    """Write the entries of a sheet, each checked against its digest; raises SheetError where one is
    not as it was written.
    """
    origin, count, first, at = journal.origin, 0, None, None
    with tempfile.TemporaryDirectory(dir=path.parent, prefix=".") as folder:
        parts = list[Path]()
        for rows in _batches(journal.stored()):
            if not parts:
                first = rows[0]["logged"]
            if at is None:
                at = next((row["at"] for row in rows if row["at"] is not None), None)
            count += len(rows)
            parts.append(Path(folder) / f"{len(parts)}.parquet")
            _write_rows(duck, rows, origin[SHEET], parts[-1])
        facts = {
            "format": FORMAT,
            "event": event,
            "date": day_of(at, first),
            "book": origin["book"],
            "digest": origin["digest"],
            "name": origin["name"],
            "sheet": origin[SHEET],
            "entries": str(count),
        }
        if not parts:
            parts.append(Path(folder) / "0.parquet")
            _write_rows(duck, [], origin[SHEET], parts[0])
        copy_out(duck, f"SELECT * FROM {reading(parts)}", path, facts)  # noqa: S608 - our own files


def _batches(rows: Iterator[Mapping[str, Any]]) -> Iterator[tuple[Mapping[str, Any], ...]]:
    while batch := tuple(itertools.islice(rows, _AT_ONCE)):
        yield batch


def _write_rows(
    duck: DuckDBPyConnection, rows: Sequence[Mapping[str, Any]], sheet: str, path: Path
) -> None:
    import numpy as np

    # as texts, for which nothing is guessed; the types are told
    batch = {
        name: np.array(
            [None if (cell := row[name]) is None else str(cell) for row in rows] or [None],
            dtype=object,
        )
        for name in COLUMNS
    }
    duck.register("batch", batch)
    try:
        cells = ", ".join(f'CAST("{name}" AS {_TYPES[name]}) AS "{name}"' for name in COLUMNS)
        empty = "" if rows else " LIMIT 0"
        copy_out(duck, f"SELECT {literal(sheet)} AS sheet, {cells} FROM batch{empty}", path)  # noqa: S608 - names that the program declares
    finally:
        duck.unregister("batch")


def reading(paths: Sequence[Path]) -> str:
    """Return what stands behind FROM to read files."""
    import glob

    names = ", ".join(literal(glob.escape(str(path))) for path in paths)
    return f"read_parquet([{names}], hive_partitioning = false)"


def facts_in(duck: DuckDBPyConnection, paths: Sequence[Path]) -> dict[str, dict[str, str]]:
    """Return what files tell of themselves, by their paths; one that can't be read is left out."""
    import glob

    import duckdb

    if not paths:
        return {}
    names = ", ".join(literal(glob.escape(str(path))) for path in paths)
    ask = f"SELECT file_name, key, value FROM parquet_kv_metadata([{names}])"  # noqa: S608 - paths, quoted
    found: dict[str, dict[str, str]] = {str(path): {} for path in paths}
    try:
        for path, key, value in duck.execute(ask).fetchall():
            found[path][key.decode() if isinstance(key, bytes) else key] = value.decode()
    except (duckdb.Error, UnicodeDecodeError):
        if len(paths) == 1:
            return {}
        return {path: facts for one in paths for path, facts in facts_in(duck, [one]).items()}
    return found


def event_of(facts: Mapping[str, str], number: int) -> SeasonEvent | None:
    """Return the event that a file's facts are of, None where they are of none."""
    if facts.get("format") != FORMAT:
        return None
    return SeasonEvent(
        number,
        facts["event"],
        facts["date"],
        facts["name"],
        facts["digest"],
        facts["sheet"],
        int(facts["entries"]),
    )
