"""What can still be read of a damaged sheet: every sound row on any page of the file or of its
write-ahead log.

Rows are never changed or deleted and each carries a digest of its own, so a row that fits its
digest is one that was written, wherever it is found, whatever has become of the pages around it.
Format: "Database File Format", sqlite.org/fileformat2.html, sections 1.6 (pages), 1.5 and 2.1
(cells, records), 4.1 (write-ahead log).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from codec.sheet.entry import Entry, SheetError
from codec.sheet.journal import Journal
from codec.sheet.rows import COLUMNS, entry_of, sound
from grammar.fields import FieldBase

_LEAF = 0x0D  # a page of rows
_LOG_HEADER, _FRAME_HEADER = 32, 24
_REAL = COLUMNS.index("certainty") - 1
_SIZES = {0: 0, 1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8, 7: 8, 8: 0, 9: 0}


@dataclass(frozen=True, slots=True)
class Rescued:
    """The entries read, in order, and the numbers missing among them."""

    entries: tuple[Entry, ...]
    missing: tuple[int, ...]


def rescue(path: Path, fields: dict[str, FieldBase]) -> Rescued:
    """Return what can be read of a sheet's file, however damaged, given the book's fields; raises
    SheetError where no file is.

    Entries that two engineers' programs wrote at the moment of a crash and that were never
    acknowledged may be among them.
    """
    found: dict[int, Entry] = {}
    for row in rows_in(path):
        if len(row) == len(COLUMNS) and sound(row):
            found.setdefault(row[0], entry_of(row, fields))
    last = max(found, default=0)
    return Rescued(
        tuple(found[seq] for seq in sorted(found)),
        tuple(n for n in range(1, last + 1) if n not in found),
    )


def save(journal: Journal, found: Rescued) -> None:
    """Write rescued entries to a new journal; what a lost entry was about is noted in words."""
    uids = {entry.seq: entry.uid for entry in found.entries}
    pairs = []
    for entry in found.entries:
        about = uids.get(entry.about or 0, "")
        lost = entry.about is not None and not about
        note = (
            f"about entry {entry.about}, which is lost; {entry.note}".rstrip("; ")
            if lost
            else entry.note
        )
        pairs.append((entry.replace(about=None if lost else entry.about, note=note), about))
    journal.append_linked(pairs)


def facts_in(path: Path) -> dict[str, str]:
    """Return what the file tells of its book, read with SQLite; {} where it can't."""
    import sqlite3

    try:
        connection = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
        try:
            return dict(connection.execute("SELECT name, text FROM facts").fetchall())
        finally:
            connection.close()
    except (sqlite3.Error, UnicodeDecodeError):
        return {}


def rows_in(path: Path) -> Iterator[tuple[Any, ...]]:
    """Yield every row of the entries table's shape that stands on some page."""
    pages = _pages(path)
    for page in pages:
        start = 100 if page[:16] == b"SQLite format 3\0" else 0
        if len(page) > start + 8 and page[start] == _LEAF:
            yield from _rows(page, start, pages)


class _Pages(list[bytes]):
    """The pages of the file, then those of the log; ``by_number`` finds the latest of a number, for
    rows longer than a page.
    """

    by_number: dict[int, list[bytes]]


def _pages(path: Path) -> _Pages:
    try:
        data = path.read_bytes()
        log = path.with_name(path.name + "-wal")
        logged = log.read_bytes() if log.exists() else b""
    except OSError as error:
        raise SheetError(f"{str(path)!r}: {error.strerror}", kind="sheet-file") from None
    size = int.from_bytes(data[16:18], "big")
    size = 65536 if size == 1 else size
    if size < 512 or size & (size - 1):
        size = 4096  # the header is damaged; SQLite's own default is tried
    pages = _Pages(data[place : place + size] for place in range(0, len(data), size))
    pages.by_number = {number: [page] for number, page in enumerate(pages, start=1)}
    for place in range(_LOG_HEADER, len(logged) - _FRAME_HEADER, _FRAME_HEADER + size):
        number = int.from_bytes(logged[place : place + 4], "big")
        page = logged[place + _FRAME_HEADER : place + _FRAME_HEADER + size]
        pages.append(page)
        pages.by_number.setdefault(number, []).append(page)
    return pages


def _rows(page: bytes, start: int, pages: _Pages) -> Iterator[tuple[Any, ...]]:
    count = int.from_bytes(page[start + 3 : start + 5], "big")
    for number in range(min(count, len(page) // 2)):
        at = start + 8 + 2 * number
        place = int.from_bytes(page[at : at + 2], "big")
        try:
            length, place = _varint(page, place)
            rowid, place = _varint(page, place)
            if 0 < length < 10**7:
                for payload in _payloads(page, place, length, pages):
                    yield (rowid, *_as_real(_record(payload)[1:]))
        except (IndexError, struct.error, UnicodeDecodeError, KeyError, ValueError):
            continue  # this cell is damaged; the others may not be


def _as_real(row: list[Any]) -> list[Any]:
    """Return a row with its real number real: SQLite keeps one that is whole as a whole number
    (fileformat2, 2.1).
    """
    if len(row) == len(COLUMNS) - 1 and isinstance(row[_REAL], int):
        row[_REAL] = float(row[_REAL])
    return row


def _payloads(page: bytes, place: int, length: int, pages: _Pages) -> list[bytes]:
    """Return the bytes of a row; of one longer than a page, with the first and with the last
    overflow pages known.
    """
    usable = len(page)
    if length <= usable - 35:
        return [page[place : place + length]]
    least = (usable - 12) * 32 // 255 - 23
    local = least + (length - least) % (usable - 4)
    local = local if local <= usable - 35 else least
    follow = int.from_bytes(page[place + local : place + local + 4], "big")
    found = []
    for version in (0, -1):
        payload, number = page[place : place + local], follow
        while number and len(payload) < length:
            more = pages.by_number[number][version]
            payload, number = payload + more[4:], int.from_bytes(more[:4], "big")
        found.append(payload[:length])
    return found


def _record(payload: bytes) -> list[Any]:
    header, place = _varint(payload, 0)
    kinds = []
    while place < header:
        kind, place = _varint(payload, place)
        kinds.append(kind)
    values: list[Any] = []
    for kind in kinds:
        size = _SIZES[kind] if kind < 12 else (kind - 12) // 2
        values.append(_value(kind, payload[place : place + size]))
        place += size
    return values


def _value(kind: int, raw: bytes) -> Any:
    if kind in (0, 8, 9):
        return {0: None, 8: 0, 9: 1}[kind]
    if kind == 7:
        return struct.unpack(">d", raw)[0]
    if kind < 7:
        return int.from_bytes(raw, "big", signed=True)
    return raw.decode("utf-8") if kind % 2 else raw


def _varint(data: Sequence[int], place: int) -> tuple[int, int]:
    value = 0
    for count in range(9):
        byte = data[place + count]
        if count == 8:
            return value << 8 | byte, place + 9
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, place + count + 1
    raise IndexError(place)  # pragma: no cover - nine bytes always end a number
