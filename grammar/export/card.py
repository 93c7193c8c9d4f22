"""Cards for people: one for the driver (how each symbol is said, in what order), one for the engineer (what each codeword means).

Big, black on white, readable without colour: what warns is in bold with a mark. ``html`` prints on A4, Letter or A5; ``picture`` draws SVG
or PNG (matplotlib). Tables of more rows than a person can look up are named, not listed.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, Literal

from grammar.book import Book
from grammar.codes import Check, CodeTable
from grammar.errors import visible
from grammar.libraries import needed

Reader = Literal["driver", "engineer"]
MOST_ROWS = 120  # of one table on a card
CAUTION = (
    "Read only where the car is straight. A temperature, voltage or insulation warning is handled by the event's and the team's own safety "
    "procedures and qualified people. Event regulations on radio use come first."
)


@dataclass(frozen=True, slots=True)
class Row:
    """One line: what is shown, what it means, whether it warns; ``named``: a name is shown, not symbols, and what it means stands below."""

    symbols: str
    meaning: str
    warns: bool = False
    named: bool = False


@dataclass(frozen=True, slots=True)
class Block:
    """One table of a card; ``note`` stands under its title."""

    title: str
    note: str
    rows: tuple[Row, ...]


def blocks(book: Book, reader: Reader) -> list[Block]:
    """Return what a card shows."""
    messages = Block("Order", "", tuple(Row(message.title, _order(book, message.name), named=True) for message in book.messages.values()))
    if reader == "driver":
        used = _used(book)
        words = tuple(Row(symbol, book.alphabet.words[symbol].word) for symbol in book.alphabet.symbols if symbol in used)
        phrases = tuple(Row(phrase.label or name, ", ".join(phrase.says), named=True) for name, phrase in book.spec.phrases.items())
        return [messages, Block("Say", "", words), *([Block("Phrases", "", phrases)] if phrases else [])]
    return [messages, *(_table(table) for table in book.tables.values() if table.fields)]


def _order(book: Book, name: str) -> str:
    return " ".join(book.spec.messages[name].layout.split())


def _used(book: Book) -> set[str]:
    mask = 0
    for message in book.messages.values():
        for table in message.tables:
            for edges in table.fragment():
                for symbols, _ in edges:
                    mask |= symbols
    return set(book.alphabet.unmask(mask))


def _table(table: CodeTable) -> Block:
    title = ", ".join(field.title for field in table.fields)
    if isinstance(table, Check) or table.size > MOST_ROWS:
        return Block(title, f"{table.size:,} codewords: read by the tool", ())
    rows = []
    for levels, word in table.words():
        pairs = list(zip(table.fields, levels, strict=True))
        rows.append(Row(word, ", ".join(field.text(level) for field, level in pairs), any(field.warnings(level) for field, level in pairs)))
    return Block(title, "", tuple(rows))


# printable HTML

_STYLE = """
@page { margin: 9mm }
body { font: 12.5pt/1.2 "DejaVu Sans", Arial, sans-serif; color: #000; background: #fff; margin: 0 auto; max-width: 220mm }
h1 { font-size: 20pt; margin: 0 0 2mm; border-bottom: 1mm solid #000 }
p { margin: 0 0 3mm; font-size: 9pt }
main { columns: 55mm 3; column-gap: 5mm }
table { border-collapse: collapse; width: 100%; margin: 0 0 4mm }
table.short { break-inside: avoid }
tr { break-inside: avoid }
th { background: #000; color: #fff; font-size: 14pt; text-align: left; padding: 0 2mm; break-after: avoid }
td { border-bottom: .3mm solid #000; padding: .2mm 1mm; vertical-align: top }
td.note { font-size: 10pt }
td.symbols { font: bold 15pt/1.1 "DejaVu Sans Mono", monospace; white-space: nowrap; width: 1% }
tr.warns td { font-weight: bold }
tr.warns td.meaning::before { content: "! " }
@media print { * { print-color-adjust: exact; -webkit-print-color-adjust: exact } }
"""
_SHORT = 12  # rows of a table that is kept whole; a longer one goes on in the next column under its title


def html(book: Book, reader: Reader) -> str:
    """Return a printable page: three columns on A4 or Letter, fewer on smaller paper."""
    parts = [
        "<!DOCTYPE html>",
        f'<html lang="en"><head><meta charset="utf-8"><title>{escape(_title(book, reader))}</title><style>{_STYLE}</style></head><body>',
        f"<h1>{escape(_title(book, reader))}</h1><p>{escape(CAUTION)}</p><main>",
        *(_printed(block) for block in blocks(book, reader)),
        "</main></body></html>",
        "",
    ]
    return "\n".join(parts)


def _printed(block: Block) -> str:
    kind = " class=short" if len(block.rows) <= _SHORT else ""
    note = f"<tr><td colspan=2 class=note>{escape(block.note)}</td></tr>" if block.note else ""
    rows = "".join(map(_printed_row, block.rows))
    return f"<table{kind}><thead><tr><th colspan=2>{escape(visible(block.title))}</th></tr></thead><tbody>{note}{rows}</tbody></table>"


def _printed_row(row: Row) -> str:
    left, right, warns = escape(visible(row.symbols)), escape(visible(row.meaning)), " class=warns" if row.warns else ""
    if row.named:
        return f"<tr{warns}><td colspan=2><b>{left}</b><br>{right}</td></tr>"
    return f"<tr{warns}><td class=symbols>{left}</td><td class=meaning>{right}</td></tr>"


def _title(book: Book, reader: Reader) -> str:
    return f"{visible(book.title)}: {reader}"


# pictures

_LINE = 0.30  # inches a row
_WIDTH = 4.2  # inches a column
_MOST_LINES = 44  # rows a column
_WRAP = 26  # characters of meaning a line
_WRAP_BELOW = 34  # the same, and those of a name, where it stands below a name


def picture(book: Book, reader: Reader, form: Literal["svg", "png"]) -> bytes:
    """Return the card drawn as SVG or PNG; the same book gives the same bytes. Raises CodeError where matplotlib is missing."""
    columns = _columns(blocks(book, reader))
    lines = max(sum(size for size, *_ in column) for column in columns)
    width, height = _WIDTH * len(columns) + 0.4, _LINE * (lines + 5)
    matplotlib = needed("matplotlib", "figures")
    figure = needed("matplotlib.figure", "figures").Figure(figsize=(width, height), facecolor="white")
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set(xlim=(0, width), ylim=(height, 0))
    axes.axis("off")
    _text(axes, 0.2, _LINE * 1.2, _title(book, reader), size=22, weight="bold")
    for number, column in enumerate(columns):
        _draw(axes, 0.2 + number * _WIDTH, _LINE * 2.6, column)
    for number, line in enumerate(_wrapped(CAUTION, int(width * 9))):
        _text(axes, 0.2, height - _LINE * (1.6 - 0.75 * number), line, size=10)
    out = io.BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "niner", "svg.fonttype": "none"}):
        metadata: dict[str, Any] = {"Date": None} if form == "svg" else {"Software": None}
        figure.savefig(out, format=form, dpi=110, metadata=metadata)
    return out.getvalue()


_Line = tuple[float, str, str, str, bool]  # (lines it takes, kind: title, note, row, named or gap, left, right, warns)


def _columns(found: Sequence[Block]) -> list[list[_Line]]:
    """Return lines in columns; a table too long for one goes on in the next under its title."""
    columns: list[list[_Line]] = [[]]

    def room() -> float:
        return _MOST_LINES - sum(size for size, *_ in columns[-1])

    for block in found:
        lines = [_row(row) for row in block.rows]
        note: list[_Line] = [(0.9 * len(_wrapped(block.note, 34)), "note", "", block.note, False)] if block.note else []
        start = 2 + sum(size for size, *_ in [*note, *lines[:3]])
        if columns[-1] and room() < start:
            columns.append([])
        columns[-1] += [(1.5, "title", block.title, "", False), *note]
        for line in lines:
            if room() < line[0]:
                columns.append([(1.5, "title", f"{block.title} (more)", "", False)])
            columns[-1].append(line)
        columns[-1].append((0.6, "gap", "", "", False))
    return columns


def _row(row: Row) -> _Line:
    if row.named:
        lines = len(_wrapped(row.symbols, _WRAP_BELOW)) + len(_wrapped(row.meaning, _WRAP_BELOW))
        return (float(lines), "named", row.symbols, row.meaning, row.warns)
    return (float(len(_wrapped(row.meaning, _WRAP))), "row", row.symbols, row.meaning, row.warns)


def _wrapped(text: str, width: int) -> list[str]:
    import textwrap

    return textwrap.wrap(visible(text), width) or [""]


def _text(
    axes: Any, x: float, y: float, text: str, *, size: float, weight: str = "normal", family: str = "DejaVu Sans", color: str = "black"
) -> None:
    axes.text(x, y, text.replace("$", r"\$"), fontsize=size, fontweight=weight, family=family, color=color, va="baseline")


def _draw(axes: Any, x: float, y: float, column: Sequence[_Line]) -> None:
    from matplotlib.patches import Rectangle

    for size, kind, left, right, warns in column:
        top = y
        y += size * _LINE
        if kind == "title":
            axes.add_patch(Rectangle((x, top), _WIDTH - 0.3, _LINE * 1.2, color="black", linewidth=0))
            _text(axes, x + 0.08, top + _LINE * 0.87, _wrapped(left, 30)[0], size=15, weight="bold", color="white")
        elif kind == "note":
            for number, line in enumerate(_wrapped(right, 34)):
                _text(axes, x + 0.08, top + _LINE * (0.7 + 0.9 * number), line, size=11)
        elif kind in ("row", "named"):
            (_draw_row if kind == "row" else _draw_named)(axes, x, top, left, right, warns=warns)
            axes.plot([x, x + _WIDTH - 0.3], [y, y], color="black", linewidth=0.6)


def _draw_row(axes: Any, x: float, top: float, left: str, right: str, *, warns: bool) -> None:
    _text(axes, x + 0.08, top + _LINE * 0.76, visible(left), size=17, weight="bold", family="DejaVu Sans Mono")
    indent = 0.16 + 0.2 * max(3, math.ceil(len(left)))
    for number, line in enumerate(_wrapped(right, _WRAP)):
        mark = "! " if warns and number == 0 else ""
        _text(axes, x + indent, top + _LINE * (0.74 + number), mark + line, size=13, weight="bold" if warns else "normal")


def _draw_named(axes: Any, x: float, top: float, left: str, right: str, *, warns: bool) -> None:
    names = _wrapped(left, _WRAP_BELOW)
    for number, line in enumerate([*names, *_wrapped(right, _WRAP_BELOW)]):
        weight = "bold" if number < len(names) or warns else "normal"
        _text(axes, x + 0.08, top + _LINE * (0.74 + number), line, size=13, weight=weight)
