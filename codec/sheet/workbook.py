"""Writes Office Open XML workbooks row by row, in memory that does not grow with them.

ECMA-376, part 1: 18.3 (tables), 18.8 (styles); part 2 (the archive). Texts stand in their cells
(18.3.1.53), so nothing has to be known before the first row is written.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import IO, NamedTuple, Self
from xml.sax.saxutils import escape, quoteattr

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_RELATED = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_OF = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_UNWRITABLE = re.compile("[\x00-\x08\x0b-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
_CHANGED = re.compile("[&<>\x00-\x08\x0b-\x1f\ufffe\uffff]|_x")
_FIRST_FORMAT = 164  # numbers below are those of formats that every program has (18.8.30)
_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_WRITTEN_AT_ONCE = 500  # rows
_PACKED = 1  # of 9: how hard the archive is packed; more takes three times as long for a tenth less

Cell = str | int | float | None


class CellStyle(NamedTuple):
    """How a cell looks: its number's format ("" for any), bold, or a text marked as text."""

    form: str = ""
    bold: bool = False
    quoted: bool = False


PLAIN = CellStyle()


class WorkbookWriter:
    """A workbook on its way to a file: ``with`` it, one table is written after the other; it is
    whole behind that, if nothing was raised.
    """

    def __init__(self, stream: IO[bytes], tables: Sequence[str]) -> None:
        """Begin with no table written; ``tables`` are their names in the order in which they are
        shown.
        """
        self._archive = zipfile.ZipFile(
            stream, "w", zipfile.ZIP_DEFLATED, compresslevel=_PACKED, allowZip64=True
        )
        self._tables = tuple(tables)
        self._styles: dict[CellStyle, int] = {PLAIN: 0}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is None:
            self._finish()
        else:  # what the archive still has to write may fail as well: the first error is told
            with suppress(OSError, ValueError):
                self._archive.close()

    @contextmanager
    def table(self, name: str, *, frozen: str = "") -> Iterator[TableWriter]:
        """Write a table; what stands above and left of the cell ``frozen`` stays in view."""
        number = self._tables.index(name) + 1
        with self._archive.open(f"xl/worksheets/sheet{number}.xml", "w") as part:
            part.write(f'{_HEAD}<worksheet xmlns="{_MAIN}">'.encode())
            if frozen:
                part.write(f"<sheetViews>{_pane(frozen)}</sheetViews>".encode())
            part.write(b"<sheetData>")
            rows = TableWriter(part, self._styles)
            yield rows
            rows.flush()
            part.write(b"</sheetData></worksheet>")

    def _finish(self) -> None:
        """Write what tells of the tables."""
        numbers = range(1, len(self._tables) + 1)
        tables = "".join(
            f'<sheet name={quoteattr(name)} sheetId="{n}" r:id="rId{n}"/>'
            for n, name in zip(numbers, self._tables, strict=True)
        )
        related = "".join(_relation(n, "worksheet", f"worksheets/sheet{n}.xml") for n in numbers)
        related += _relation(len(self._tables) + 1, "styles", "styles.xml")
        parts = {"xl/workbook.xml": "sheet.main", "xl/styles.xml": "styles"} | {
            f"xl/worksheets/sheet{n}.xml": "worksheet" for n in numbers
        }
        types = "".join(
            f'<Override PartName="/{part}" ContentType="{_OF}.{kind}+xml"/>'
            for part, kind in parts.items()
        )
        relations = "application/vnd.openxmlformats-package.relationships+xml"
        written = {
            "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_RELATED}"><sheets>{tables}'
            "</sheets></workbook>",
            "xl/_rels/workbook.xml.rels": _relations(related),
            "xl/styles.xml": self._look(),
            "_rels/.rels": _relations(_relation(1, "officeDocument", "xl/workbook.xml")),
            "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types">'
            f'<Default Extension="rels" ContentType="{relations}"/>'
            f'<Default Extension="xml" ContentType="application/xml"/>{types}</Types>',
        }
        with self._archive:
            for name, text in written.items():
                self._archive.writestr(name, _HEAD + text)

    def _look(self) -> str:
        forms = {style.form: n for n, style in enumerate(self._styles) if style.form}
        numbers = {form: _FIRST_FORMAT + n for n, form in enumerate(forms)}
        listed = "".join(
            f'<numFmt numFmtId="{number}" formatCode={quoteattr(form)}/>'
            for form, number in numbers.items()
        )
        looks = "".join(
            f'<xf numFmtId="{numbers.get(style.form, 0)}" fontId="{style.bold:d}" fillId="0"'
            f' borderId="0" xfId="0" quotePrefix="{style.quoted:d}"'
            f' applyNumberFormat="{bool(style.form):d}" applyFont="{style.bold:d}"/>'
            for style in self._styles
        )
        font = '<sz val="11"/><name val="Calibri"/>'
        return (
            f'<styleSheet xmlns="{_MAIN}">'
            + (f'<numFmts count="{len(numbers)}">{listed}</numFmts>' if numbers else "")
            + f'<fonts count="2"><font>{font}</font><font><b/>{font}</font></fonts>'
            '<fills count="2"><fill><patternFill patternType="none"/></fill>'
            '<fill><patternFill patternType="gray125"/></fill></fills>'
            '<borders count="1"><border/></borders>'
            '<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/>'
            f'</cellStyleXfs><cellXfs count="{len(self._styles)}">{looks}</cellXfs>'
            '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles>'
            "</styleSheet>"
        )


class TableWriter:
    """The rows of a table."""

    def __init__(self, part: IO[bytes], styles: dict[CellStyle, int]) -> None:
        """Begin above the first row."""
        self._part, self._styles, self._number = part, styles, 0
        self._waiting: list[str] = []
        self._begins: list[str] = []  # of a cell, by its column

    def append(self, cells: Sequence[tuple[Cell, CellStyle]]) -> None:
        """Write a row of cells, each with its style: None leaves a cell empty."""
        self.extend([(self.cell(*cell),) for cell in cells])

    def cell(self, value: Cell, style: CellStyle = PLAIN) -> str:
        """Return a cell as it stands in the file behind its place, "" for an empty one."""
        if value is None:
            return ""
        shown = ""
        if style is not PLAIN:
            look = self._styles.setdefault(style, len(self._styles))
            shown = f' s="{look}"' if look else ""
        if not isinstance(value, str):
            return f'"{shown}><v>{value!r}</v></c>'
        text = value
        if not value.isalnum() and _CHANGED.search(value):
            text = _written(value)
        return f'"{shown} t="inlineStr"><is><t xml:space="preserve">{text}</t></is></c>'

    def extend(self, columns: Sequence[Sequence[str]]) -> None:
        """Write rows, given by column, of what ``cell`` returned."""
        while len(self._begins) < len(columns):
            self._begins.append(f'<c r="{_letters(len(self._begins))}')
        for cells in zip(*columns, strict=True):
            self._number += 1
            number = str(self._number)
            pairs = zip(self._begins, cells, strict=False)
            found = "".join([begin + number + cell for begin, cell in pairs if cell])
            self._waiting.append(f'<row r="{number}">{found}</row>')
            if len(self._waiting) >= _WRITTEN_AT_ONCE:
                self.flush()

    def flush(self) -> None:
        """Write the rows that wait."""
        self._part.write("".join(self._waiting).encode())
        self._waiting.clear()


def _written(text: str) -> str:
    """Return a text as it stands in XML; what can't stand there as its number (22.9.2.19)."""
    return escape(_UNWRITABLE.sub(lambda found: f"_x{ord(found.group()):04X}_", text))


def _letters(column: int) -> str:
    """Return the name of a column: A … Z, AA …"""
    name = ""
    column += 1
    while column:
        column, place = divmod(column - 1, 26)
        name = _LETTERS[place] + name
    return name


def _pane(cell: str) -> str:
    letters = cell.rstrip("0123456789")
    column, row = _LETTERS.index(letters), int(cell[len(letters) :]) - 1
    where = "bottomRight" if column and row else "topRight" if column else "bottomLeft"
    split = (f' xSplit="{column}"' if column else "") + (f' ySplit="{row}"' if row else "")
    return (
        f'<sheetView workbookViewId="0"><pane{split} topLeftCell="{cell}" activePane="{where}"'
        ' state="frozen"/></sheetView>'
    )


def _relation(number: int, kind: str, target: str) -> str:
    return f'<Relationship Id="rId{number}" Type="{_RELATED}/{kind}" Target="{target}"/>'


def _relations(listed: str) -> str:
    return f'<Relationships xmlns="{_PACKAGE}/relationships">{listed}</Relationships>'
