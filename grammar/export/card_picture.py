"""Cards as pictures, SVG or PNG, drawn by matplotlib: tables in balanced columns, every line
measured and wrapped to the room it has.

Lengths are in inches, sizes of letters in points.
"""

from __future__ import annotations

import functools
import io
import warnings
from collections.abc import Iterator, Sequence
from typing import Any, Literal, NamedTuple

from grammar.book import Book
from grammar.errors import visible
from grammar.export.card import CAUTION, Block, CardLine, Reader, blocks, title
from grammar.libraries import needed

_COLUMN = 3.9  # width of a column
_GAP = 0.3  # between columns, and around all
_LINE = 0.30
_PAD = 0.08  # from the edge of a column to its text
_TALLEST = 13.0  # of a column
_LEAST = 1.5  # of a column: below it balancing ends


class _Style(NamedTuple):
    size: float
    bold: bool = False
    mono: bool = False
    white: bool = False


_TITLE, _SMALL = _Style(22, bold=True), _Style(10)
_HEAD, _NOTE = _Style(15, bold=True, white=True), _Style(11)
_SYMBOLS, _MEANING, _BOLD = _Style(17, bold=True, mono=True), _Style(13), _Style(13, bold=True)


class _Text(NamedTuple):
    """A line of text: where its left end stands, from the left and the top of its piece."""

    x: float
    y: float
    text: str
    style: _Style


class _Piece(NamedTuple):
    """What stays together in a column: its height, its lines of text; ``dark`` a box behind them,
    ``ruled`` a line below.
    """

    height: float
    texts: tuple[_Text, ...] = ()
    dark: bool = False
    ruled: bool = False


def picture(book: Book, reader: Reader, form: Literal["svg", "png"], mark: str = "") -> bytes:
    """Return the card drawn as SVG or PNG; the same book gives the same bytes.

    Raises CodeError where matplotlib is missing.
    """
    with warnings.catch_warnings():
        warnings.filterwarnings(
            "ignore", message="Glyph .* missing", category=UserWarning
        )  # PNG shows a box; SVG takes the reader's font
        return _saved(_figure(book, reader, mark), form)


def _figure(book: Book, reader: Reader, mark: str) -> Any:
    columns = _balanced([_pieces(block) for block in blocks(book, reader)])
    width = len(columns) * (_COLUMN + _GAP) + _GAP
    top = _stacked(title(book, reader), _TITLE, width - 2 * _GAP, 0.42)
    below = _stacked(f"{CAUTION} {mark}".strip(), _SMALL, width - 2 * _GAP, 0.2)
    head = top.height + below.height + 2 * _GAP
    height = head + max(map(_height, columns)) + _GAP
    figure = needed("matplotlib.figure", "figures").Figure(
        figsize=(width, height), facecolor="white"
    )
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set(xlim=(0, width), ylim=(height, 0))
    axes.axis("off")
    _draw(axes, _GAP, _GAP, [top, below])
    for number, column in enumerate(columns):
        _draw(axes, _GAP + number * (_COLUMN + _GAP), head, column)
    return figure


def _saved(figure: Any, form: Literal["svg", "png"]) -> bytes:
    out = io.BytesIO()
    metadata: dict[str, Any] = {"Date": None} if form == "svg" else {"Software": None}
    with needed("matplotlib", "figures").rc_context(
        {"svg.hashsalt": "niner", "svg.fonttype": "none"}
    ):
        figure.savefig(out, format=form, dpi=110, metadata=metadata)
    return out.getvalue()


# what stands together


class _Table(NamedTuple):
    """A block as pieces; ``more`` is its head where it goes on in another column."""

    head: _Piece
    more: _Piece
    rows: tuple[_Piece, ...]


def _pieces(block: Block) -> _Table:
    room = _COLUMN - 2 * _PAD
    symbols = [
        width
        for row in block.rows
        if not row.named and (width := _width(row.symbols, _SYMBOLS)) < room / 2
    ]
    indent = max([0.55, *(width + 0.2 for width in symbols)])
    notes = [_stacked(block.note, _NOTE, room, 0.26, _PAD)] if block.note else []
    rows = (*notes, *(_row(row, indent, room) for row in block.rows))
    return _Table(_headed(block.title, room), _headed(f"{block.title} (more)", room), rows)


def _headed(text: str, room: float) -> _Piece:
    piece = _stacked(text, _HEAD, room, _LINE, _PAD)
    lowered = tuple(line._replace(y=line.y + 0.03) for line in piece.texts)
    return _Piece(piece.height + 0.06, lowered, dark=True)


def _row(row: CardLine, indent: float, room: float) -> _Piece:
    """Return a row: symbols with what they mean beside them, or below them where they are a name or
    too long.
    """
    meaning, plain = ("! " if row.warns else "") + row.meaning, _BOLD if row.warns else _MEANING
    if row.named or _width(row.symbols, _SYMBOLS) + 0.2 > indent:
        names = _fitted(row.symbols, _BOLD if row.named else _SYMBOLS, room)
        lines = [(line, _BOLD if row.named else _SYMBOLS) for line in names] + [
            (line, plain) for line in _fitted(meaning, plain, room)
        ]
        texts = [
            _Text(_PAD, _LINE * (0.74 + number), line, style)
            for number, (line, style) in enumerate(lines)
        ]
        return _Piece(_LINE * len(lines), tuple(texts), ruled=True)
    lines_beside = _fitted(meaning, plain, room - indent)
    beside = [
        _Text(_PAD + indent, _LINE * (0.74 + number), line, plain)
        for number, line in enumerate(lines_beside)
    ]
    return _Piece(
        _LINE * len(lines_beside),
        (_Text(_PAD, _LINE * 0.76, row.symbols, _SYMBOLS), *beside),
        ruled=True,
    )


def _stacked(text: str, style: _Style, room: float, line: float, left: float = 0.0) -> _Piece:
    lines = _fitted(text, style, room)
    return _Piece(
        line * len(lines),
        tuple(_Text(left, line * (number + 0.74), one, style) for number, one in enumerate(lines)),
    )


# columns


def _balanced(tables: Sequence[_Table]) -> list[list[_Piece]]:
    """Return columns as even as they can be, as many as there must be."""
    columns = _columns(tables, _TALLEST)
    most = max(_TALLEST, *(_height(column) for column in columns))
    while most > _LEAST:
        closer = _columns(tables, most - _LINE)
        if len(closer) > len(columns):
            break
        columns, most = closer, most - _LINE
    return columns


def _columns(tables: Sequence[_Table], most: float) -> list[list[_Piece]]:
    """Return columns of at most a height; a table too long for one goes on in the next under its
    title.
    """
    columns: list[list[_Piece]] = [[]]
    for table in tables:
        begin = [table.head, *table.rows[:3]]
        if columns[-1] and _height([*columns[-1], *begin]) > most:
            columns.append([])
        columns[-1].append(table.head)
        for number, row in enumerate(table.rows):
            if number and _height([*columns[-1], row]) > most:
                columns.append([table.more])
            columns[-1].append(row)
        columns[-1].append(_Piece(0.6 * _LINE))
    return columns


def _height(pieces: Sequence[_Piece]) -> float:
    return sum(piece.height for piece in pieces)


# measuring and drawing


@functools.lru_cache(maxsize=64)
def _font(style: _Style) -> Any:
    manager = needed("matplotlib.font_manager", "figures")
    family = "DejaVu Sans Mono" if style.mono else "DejaVu Sans"
    return manager.FontProperties(
        family=family, size=style.size, weight="bold" if style.bold else "normal"
    )


@functools.lru_cache(maxsize=8192)
def _width(text: str, style: _Style) -> float:
    path = needed("matplotlib.textpath", "figures").text_to_path
    return (
        float(path.get_text_width_height_descent(visible(text), _font(style), ismath=False)[0]) / 72
    )


def _fitted(text: str, style: _Style, room: float) -> list[str]:
    """Return text in lines no wider than the room, parted between words, or within one that is
    wider than the room.
    """
    lines = [""]
    for word in _parts(visible(text), style, room):
        joined = f"{lines[-1]} {word}".lstrip()
        if _width(joined, style) <= room:
            lines[-1] = joined
        else:
            lines.append(word)
    return [line for line in lines if line] or [""]


def _parts(text: str, style: _Style, room: float) -> Iterator[str]:
    for word in text.split(" "):
        rest = word
        while len(rest) > 1 and _width(rest, style) > room:
            count = next(
                count
                for count in range(len(rest) - 1, 0, -1)
                if count == 1 or _width(rest[:count], style) <= room
            )
            yield rest[:count]
            rest = rest[count:]
        yield rest


def _draw(axes: Any, x: float, y: float, column: Sequence[_Piece]) -> None:
    from matplotlib.patches import Rectangle

    for piece in column:
        if piece.dark:
            axes.add_patch(Rectangle((x, y), _COLUMN, piece.height, color="black", linewidth=0))
        for text in piece.texts:
            axes.text(
                x + text.x,
                y + text.y,
                visible(text.text).replace("$", r"\$"),
                fontproperties=_font(text.style),
                color="white" if text.style.white else "black",
                va="baseline",
            )
        y += piece.height
        if piece.ruled:
            axes.plot([x, x + _COLUMN], [y, y], color="black", linewidth=0.6)
