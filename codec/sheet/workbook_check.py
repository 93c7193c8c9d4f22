"""What a workbook from elsewhere is held to before it is opened: bounds that its parts keep while
they are unpacked piece by piece, so that a small file can't fill the memory or keep a reader busy.

A workbook is a zip archive of XML parts (ECMA-376, Office Open XML, part 2). Its parts have no
document type declaration (part 2, 8.1.4: "shall not"), so no part can define an entity.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from pathlib import Path
from typing import Any, NoReturn
from xml.parsers import expat

from codec.sheet.entry import SheetError

MOST_GROWTH = 100  # times the file's size; text in XML as exports have it grows 10 to 30 times
_SMALL = 16_000_000  # bytes unpacked that are no matter, however small the file
_MOST_PARTS = 1000
_MOST_BYTES = {True: 1_500_000_000, False: 300_000_000}  # of all tables, of all else
_MOST_ELEMENTS = 100_000  # of styles and the like, each of which is kept in memory
MOST_ROWS, _MOST_COLUMNS = 1_048_576, 16_384  # of a table
_MOST_TOKEN = 1_000_000  # bytes of a text or a tag: a cell holds 32,767 characters
_MOST_DEPTH = 64
_PIECE = 1 << 16
_TABLE = re.compile(r"/?xl/worksheets/", re.IGNORECASE)
_STRINGS = re.compile(r"/?xl/sharedstrings\.xml", re.IGNORECASE)
_XML = (".xml", ".rels")
BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError)


def check(path: Path) -> None:
    """Raise SheetError for a file that is no sound zip archive, or whose parts are broken, grow
    beyond bounds or declare entities.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            parts = archive.infolist()
            _check_sizes(path, parts)
            for part in parts:
                _check_part(path, archive, part)
    except BROKEN as error:
        refuse(path, f"no workbook that can be read: {error or type(error).__name__}")
    except (ValueError, LookupError) as error:  # SheetError too
        if isinstance(error, SheetError):
            raise
        refuse(path, f"no workbook that can be read: {error}")


def refuse(path: Path, why: str) -> NoReturn:
    """Raise the error for a workbook."""
    raise SheetError(
        f"{path.name}: {why}",
        kind="sheet-export",
        hint="export the sheet once more, or use its .csv or .jsonl",
    ) from None


def _check_sizes(path: Path, parts: list[zipfile.ZipInfo]) -> None:
    if len(parts) > _MOST_PARTS:
        refuse(path, f"{len(parts)} parts; a workbook of a sheet has fewer than {_MOST_PARTS}")
    total = sum(part.file_size for part in parts)
    if total > max(_SMALL, MOST_GROWTH * path.stat().st_size):
        refuse(path, f"it would grow to {total:,} bytes, more than {MOST_GROWTH} times its size")
    for tables, most in _MOST_BYTES.items():
        size = sum(p.file_size for p in parts if bool(_TABLE.match(p.filename)) is tables)
        if size > most:
            refuse(path, f"it would grow to {size:,} bytes")
    for part in parts:
        if part.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            refuse(path, f"the part {part.filename[:60]!r} is packed in a way that workbooks don't")


def _check_part(path: Path, archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    """Read a part through; what is no XML and has no name of such (a picture) is let be."""
    checker, fed = _Part(path, part.filename), 0
    with archive.open(part) as stream:
        try:
            while piece := stream.read(_PIECE):
                fed += len(piece)
                checker.feed(piece, fed)
            checker.close()
        except expat.ExpatError as error:
            if part.filename.casefold().endswith(_XML):
                refuse(path, f"the part {part.filename[:60]!r} is broken: {error}")


class _Part:
    """One part, parsed piece by piece, and nothing of it kept."""

    def __init__(self, path: Path, name: str) -> None:
        self._path, self._name = path, name[:60]
        self._elements = self._depth = self._cells = self._last = 0
        self._few = not (_TABLE.match(name) or _STRINGS.fullmatch(name))
        self._parser = expat.ParserCreate(namespace_separator=" ")
        self._parser.StartDoctypeDeclHandler = self._doctype
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end

    def feed(self, piece: bytes, fed: int) -> None:
        self._parser.Parse(piece, False)
        if fed - self._last > _MOST_TOKEN + _PIECE:
            self._refuse("a text or a tag too long for any cell")

    def close(self) -> None:
        self._parser.Parse(b"", True)

    def _refuse(self, why: str) -> NoReturn:
        refuse(self._path, f"the part {self._name!r} holds {why}")

    def _doctype(self, *_: Any) -> None:
        self._refuse("a document type declaration, which could define entities")

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._last = self._parser.CurrentByteIndex
        self._elements += 1
        self._depth += 1
        if self._depth > _MOST_DEPTH:
            self._refuse("elements nested too deeply")
        if self._few and self._elements > _MOST_ELEMENTS:
            self._refuse(f"more than {_MOST_ELEMENTS} elements")
        local = name.rpartition(" ")[2]
        if local == "row":
            self._cells = 0
            number = attributes.get("r", "1")
            if not (number.isascii() and number.isdigit() and _within(number, MOST_ROWS)):
                self._refuse(f"a row numbered {number[:20]!r}")
        elif local == "c":
            self._cells += 1
            if self._cells > _MOST_COLUMNS:
                self._refuse(f"a row of more than {_MOST_COLUMNS} cells")

    def _end(self, _: str) -> None:
        self._last = self._parser.CurrentByteIndex
        self._depth -= 1


def _within(number: str, most: int) -> bool:
    return len(number) <= len(str(most)) and 0 < int(number) <= most
