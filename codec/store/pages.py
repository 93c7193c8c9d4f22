"""The pages of a database file, read without SQLite: what stands on them, however damaged the rest
is, and the file with its write-ahead log put in.

Format: "Database File Format", sqlite.org/fileformat2.html, sections 1.3 (header), 1.6 (pages), 1.5
and 2.1 (cells, records), 4 (write-ahead log).
"""

from __future__ import annotations

import itertools
import struct
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Self

MAGIC = b"SQLite format 3\0"
SMALLEST = 512  # bytes: no database is smaller than its first page
_TABLE_LEAF, _INDEX_LEAF = 0x0D, 0x0A
_LOG_HEADER, _FRAME_HEADER = 32, 24
_LOG_MAGIC = 0x377F0682  # one more: the words of its checksums are big-endian
_SIZES = {0: 0, 1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8, 7: 8, 8: 0, 9: 0}
_MOST = 10_000_000  # bytes of one record that is looked for
Record = tuple[int | None, list[Any]]  # the number of the row (None: not of a table), its values


def log_of(path: Path) -> Path:
    """Return the path of a file's write-ahead log."""
    return path.with_name(path.name + "-wal")


class StoredPages:
    """The pages of a file, then those of its log, read one at a time. Raises OSError."""

    def __init__(self, path: Path) -> None:
        """Open both."""
        self._file = path.open("rb")
        log = log_of(path)
        self._log = log.read_bytes() if log.exists() else b""
        self.size = _page_size(self._file.read(100))
        self._frames: dict[int, list[int]] = {}
        for place in range(_LOG_HEADER, len(self._log) - _FRAME_HEADER, _FRAME_HEADER + self.size):
            number = int.from_bytes(self._log[place : place + 4], "big")
            self._frames.setdefault(number, []).append(place + _FRAME_HEADER)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def __iter__(self) -> Iterator[bytes]:
        place = 0
        while page := self._at(place):
            yield page
            place += self.size
        for places in self._frames.values():
            for place in places:
                yield self._log[place : place + self.size]

    def _at(self, place: int) -> bytes:
        self._file.seek(place)
        return self._file.read(self.size)

    def version(self, number: int, *, last: bool) -> bytes:
        """Return a page by its number: as the file has it, or the last of the log."""
        places = self._frames.get(number) if last else None
        if places:
            return self._log[places[-1] : places[-1] + self.size]
        return self._at((number - 1) * self.size)


def records_in(path: Path, first: int | None = None) -> Iterator[Record]:
    """Yield what stands on every page of rows of the file and of its log, or on the ``first`` pages
    of them; raises OSError.

    A record longer than a page is yielded with the first and with the last known version of the
    pages it goes on to.
    """
    with StoredPages(path) as pages:
        for page in itertools.islice(pages, first):
            start = 100 if page.startswith(MAGIC) else 0
            if len(page) > start + 8 and page[start] in (_TABLE_LEAF, _INDEX_LEAF):
                yield from _cells(page, start, pages)


def _cells(page: bytes, start: int, pages: StoredPages) -> Iterator[Record]:
    count = int.from_bytes(page[start + 3 : start + 5], "big")
    is_table = page[start] == _TABLE_LEAF
    for number in range(min(count, len(page) // 2)):
        at = start + 8 + 2 * number
        place = int.from_bytes(page[at : at + 2], "big")
        try:
            length, place = _varint(page, place)
            rowid, place = _varint(page, place) if is_table else (None, place)
            if 0 < length < _MOST:
                for payload in _payloads(page, place, length, pages, is_table=is_table):
                    yield rowid, _record(payload)
        except (IndexError, struct.error, UnicodeDecodeError, KeyError, ValueError):
            continue  # this cell is damaged; the others may not be


def _payloads(
    page: bytes, place: int, length: int, pages: StoredPages, *, is_table: bool
) -> list[bytes]:
    """Return the bytes of a record; of one longer than a page, with the first and with the last
    overflow pages known.
    """
    usable = len(page)
    most = usable - 35 if is_table else (usable - 12) * 64 // 255 - 23
    if length <= most:
        return [page[place : place + length]]
    least = (usable - 12) * 32 // 255 - 23
    local = least + (length - least) % (usable - 4)
    local = local if local <= most else least
    follow = int.from_bytes(page[place + local : place + local + 4], "big")
    found: list[bytes] = []
    for last in (False, True):
        parts, number, missing = [page[place : place + local]], follow, length - local
        seen: set[int] = set()  # pages that lead back to themselves end here
        while number and missing > 0 and number not in seen:
            seen.add(number)
            more = pages.version(number, last=last)
            parts.append(more[4 : 4 + missing])
            number, missing = int.from_bytes(more[:4], "big"), missing - len(parts[-1])
        if missing <= 0:
            found.append(b"".join(parts))
    return found if len(found) < 2 or found[0] != found[1] else found[:1]


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


def _page_size(header: bytes) -> int:
    size = int.from_bytes(header[16:18], "big")
    size = 65536 if size == 1 else size
    # where the header is damaged, SQLite's own default is tried
    return 4096 if size < SMALLEST or size & (size - 1) else size


def images(path: Path) -> tuple[bytes, bytes]:
    """Return the file alone, and with what the log beside it has committed put in, both as files
    that need no log.

    Nothing is written anywhere, so it can be done on a full disk and on one that may only be read.
    Raises OSError.
    """
    log = log_of(path)
    while True:
        before = _stamps(path, log)
        data, logged = path.read_bytes(), log.read_bytes() if log.exists() else b""
        if _stamps(path, log) == before:  # nobody wrote while it was read
            break
    size = _page_size(data)
    pages = bytearray(data)
    for number, place, total in _committed(logged, size):
        end = number * size
        if len(pages) < end:
            pages.extend(bytes(end - len(pages)))
        pages[end - size : end] = logged[place : place + size]
        if total:
            del pages[total * size :]
    return _without_log(data), _without_log(pages)


def _without_log(data: bytes | bytearray) -> bytes:
    """Return a file as one of the format's version that has no log beside it (1.3.3)."""
    return bytes(data[:18]) + b"\1\1" + bytes(data[20:]) if len(data) > 20 else bytes(data)


def _stamps(*paths: Path) -> list[tuple[int, int]]:
    found = [path.stat() for path in paths if path.exists()]
    return [(stat.st_mtime_ns, stat.st_size) for stat in found]


def _committed(log: bytes, size: int) -> list[tuple[int, int, int]]:
    """Return (page, place in the log, pages in all where it ends a transaction) of every frame up
    to the last commit: frames count as long as salts and checksums fit (4.2, 4.3).
    """
    frames: list[tuple[int, int, int]] = []
    committed = 0
    if len(log) < _LOG_HEADER:
        return []
    magic, _, page, _, *salts = struct.unpack(">6I", log[:24])
    order = ">" if magic & 1 else "<"
    sums = _checksum(order, log[:24], (0, 0))
    if magic & ~1 != _LOG_MAGIC or page != size or sums != struct.unpack(">2I", log[24:32]):
        return []
    for place in range(_LOG_HEADER, len(log) - _FRAME_HEADER - size + 1, _FRAME_HEADER + size):
        number, total, *rest = struct.unpack(">6I", log[place : place + _FRAME_HEADER])
        start = place + _FRAME_HEADER
        sums = _checksum(order, log[place : place + 8] + log[start : start + size], sums)
        if rest[:2] != salts or tuple(rest[2:]) != sums or not number:
            break
        frames.append((number, start, total))
        committed = len(frames) if total else committed
    return frames[:committed]


def _checksum(order: str, data: bytes, sums: tuple[int, int]) -> tuple[int, int]:
    one, two = sums
    words = struct.unpack(f"{order}{len(data) // 4}I", data)
    for place in range(0, len(words), 2):
        one = (one + words[place] + two) & 0xFFFFFFFF
        two = (two + words[place + 1] + one) & 0xFFFFFFFF
    return one, two
