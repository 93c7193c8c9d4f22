"""Cards for people: one for the driver (in what order a report is said, how each symbol is said,
what calls mean), one for the engineer (what each codeword means, by what is heard and by value).

A number that is counted stands as a rule and a grid of tens by units, a table in order once, any
other table twice: by what is heard and by value. ``html`` prints as one page of A5 or A6, in
letters as large as its rows allow, black on white or white on black, with marks to cut along;
``card_picture`` draws SVG or PNG. Tables of more rows than a person can look up are named, not
listed. A mark tells cards of one state of a book from another's.
"""

from __future__ import annotations

import functools
import math
import operator
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal, NamedTuple, get_args

from grammar.book import Book
from grammar.codes import CodeTable
from grammar.design.learning import TableLearning, learning_of
from grammar.difference import BookChange, Learner
from grammar.errors import visible
from grammar.exact import plain
from grammar.layout import Either, Leaf, Maybe, Node, Repetition
from grammar.message import Direction, Message

Reader = Literal["driver", "engineer"]
Paper = Literal["A5", "A6"]
PAPERS: tuple[Paper, ...] = get_args(Paper)
MOST_ROWS = 120  # of one table on a card
_SPOKEN: dict[Direction, str] = {"car": "Reports, driver to pit", "pit": "Calls, pit to driver"}
CAUTION = (
    "Read only where the car is straight. A temperature, voltage or insulation warning is handled"
    " by the event's and the team's own safety procedures and qualified people. Event regulations"
    " on radio use come first."
)


@dataclass(frozen=True, slots=True)
class CardLine:
    """One line: what is shown, what it means, whether it warns; ``named``: a name is shown, not
    symbols, and what it means stands below.
    """

    symbols: str
    meaning: str
    warns: bool = False
    named: bool = False


class Cell(NamedTuple):
    """A value of a grid, and whether it warns."""

    text: str
    warns: bool = False


@dataclass(frozen=True, slots=True)
class Block:
    """One table of a card; ``note`` stands under its title. A ``grid`` has a row for the figures of
    each ten, (those figures, ten values by the last figure), for what ``rows`` tell in short.
    """

    title: str
    note: str
    rows: tuple[CardLine, ...]
    grid: tuple[tuple[str, tuple[Cell, ...]], ...] = ()


def blocks(book: Book, reader: Reader) -> list[Block]:
    """Return what a card shows."""
    orders = [
        Block(told, "", _orders(book, way)) for way, told in _SPOKEN.items() if book.sent_by(way)
    ]
    order = {
        one.table: one for message in book.messages.values() for one in learning_of(message).tables
    }
    if reader == "engineer":
        tables = _tables(book, book.messages.values())
        return [*orders, *(one for table in tables for one in _both_ways(table, order[table.name]))]
    used = _used(book)
    words = tuple(
        CardLine(symbol, book.alphabet.words[symbol].word)
        for symbol in book.alphabet.symbols
        if symbol in used
    )
    phrases = tuple(
        CardLine(phrase.label or name, ", ".join(phrase.says), named=True)
        for name, phrase in book.spec.phrases.items()
    )
    calls = [
        Block(one.title, one.note, () if one.grid else one.rows)  # a driver has no time for a grid
        for one in map(_as_heard, _tables(book, book.sent_by("pit")))
    ]
    return [
        *orders,
        Block("Say", "", words),
        *calls,
        *([Block("Phrases", "", phrases)] if phrases else []),
    ]


def _both_ways(table: CodeTable, learning: TableLearning) -> list[Block]:
    """Return a table by what is heard, and by value where that is another order."""
    heard = _as_heard(table)
    if heard.note or learning.regular == 1:
        return [heard]
    by_value = tuple(CardLine(row.symbols, row.meaning, row.warns) for row in _rows(table))
    return [
        Block(f"{heard.title}: what you hear", "", heard.rows),
        Block(f"{heard.title}: by value", "", by_value),
    ]


def _as_heard(table: CodeTable) -> Block:
    """Return a table as a rule, where it is one, else by codeword, in the order of the symbols."""
    title = ", ".join(field.title for field in table.fields)
    rule = _rule(table)
    if rule is not None:
        return Block(title, rule, *_tens(table))
    if table.size > MOST_ROWS:
        return Block(title, f"{table.size:,} codewords: read by the tool", ())
    index = table.alphabet.index
    rows = sorted(_rows(table), key=lambda row: [index[symbol] for symbol in row.symbols])
    return Block(title, "", tuple(rows))


def _rows(table: CodeTable) -> list[CardLine]:
    """Return all rows of a table, by value."""
    rows = []
    for levels, word in table.words():
        pairs = [(one.family[0], level) for one, level in zip(table.fields, levels, strict=True)]
        rows.append(
            CardLine(
                word,
                ", ".join(field.text(level) for field, level in pairs),
                any(field.warnings(level) for field, level in pairs),
            )
        )
    return rows


def _rule(table: CodeTable) -> str | None:
    """Return the rule of numbers in figures that count in even steps; None for any other table."""
    numeral = table.numeral
    field = table.fields[0].family[0]
    steps = field.progression
    if numeral is None or not table.decimal or steps is None or len(table.fields) > 1:
        return None
    level = numeral.start + min(numeral.size - 1, max(1, (numeral.size - 1) * 2 // 5))
    word, value = table.word((level,)) or "", field.text(level)
    ends = [field.number_in(numeral.start), field.number_in(numeral.start + numeral.size - 1)]
    if [plain(one) for one in ends] == [str(numeral.first), str(numeral.last)]:
        what = "its last figures" if field.wraps else "the value as it is"
        return f"{what}: {word} is {value}"
    step = f"{plain(steps.step)} {field.unit_text}".rstrip()
    first = f"{plain(ends[0])} {field.unit_text}".rstrip()
    begin = "" if numeral.first == 0 else f", {table.word((numeral.start,))} being the first"
    stride = "" if numeral.stride == 1 else f" for every {numeral.stride}"
    return f"steps of {step}{stride} from {first}{begin}: {word} is {value}"


def _tens(
    table: CodeTable,
) -> tuple[tuple[CardLine, ...], tuple[tuple[str, tuple[Cell, ...]], ...]]:
    """Return numbers in figures in short, a row a ten, and as a grid of tens by units; nothing for
    those that are the value itself, for signs, and for more than people look up.
    """
    numeral, field = table.numeral, table.fields[0].family[0]
    if (
        numeral is None
        or table.size > MOST_ROWS
        or numeral.width != _TENS
        or numeral.minus
        or numeral.plus
        or numeral.stride != 1
        or plain(field.number_in(numeral.start)) == str(numeral.first)
    ):
        return (), ()
    rows, grid = [], []
    for ten in range(numeral.first // 10, numeral.last // 10 + 1):
        cells = []
        for unit in range(10):
            levels = table.levels(f"{10 * ten + unit:0{_TENS}d}")
            cells.append(
                Cell("")
                if levels is None
                else Cell(plain(field.number_in(levels[0])), bool(field.warnings(levels[0])))
            )
        told = [cell for cell in cells if cell.text]
        grid.append((str(ten), tuple(cells)))
        ends = f"{told[0].text} … {told[-1].text} {field.unit_text}".rstrip()
        units = [unit for unit, cell in enumerate(cells) if cell.text]
        rows.append(
            CardLine(f"{ten}{units[0]}–{ten}{units[-1]}", ends, any(cell.warns for cell in told))
        )
    return tuple(rows), tuple(grid)


def _orders(book: Book, way: Direction) -> tuple[CardLine, ...]:
    return tuple(
        CardLine(message.title, order_in_words(book, message), named=True)
        for message in book.sent_by(way)
    )


def _tables(book: Book, messages: Iterable[Message]) -> list[CodeTable]:
    """Return the tables that messages say, in the order of the book."""
    said = {table.name for message in messages for table in message.tables}
    return [table for name, table in book.tables.items() if table.fields and name in said]


def order_in_words(book: Book, message: Message) -> str:
    """Return what a message says, in its order, in words: no notation of a book's file."""
    return _in_words(book, message, message.node)


def _in_words(book: Book, message: Message, node: Node) -> str:
    if isinstance(node, Leaf):
        begin = "at the second glance " if node.name == message.glance else ""
        return begin + _named(book, message, node) + (" – " if node.name in message.pauses else "")
    if isinstance(node, Maybe):
        if isinstance(node.part, Repetition):
            times, part = _times(node)
            return f"up to {times} times: {_in_words(book, message, part)}"
        return f"{_in_words(book, message, node.part)} (if there is one)"
    if isinstance(node, Either):
        ways = list(dict.fromkeys(_in_words(book, message, part) for part in node.parts))
        return ways[0] if len(ways) == 1 else f"either {'; or '.join(ways)}"
    told: list[str] = []
    for part in node.parts:
        text = _in_words(book, message, part)
        if isinstance(part, Maybe) and isinstance(node, Repetition):
            continue  # the times that may follow
        if text != (told[-1] if told else ""):  # the members of a family, which one name tells
            told.append(text)
    return ", ".join(told).replace(" – , ", " – pause – ")


def _times(node: Maybe) -> tuple[int, Node]:
    """Return how often a part may be said again, and the part as it is said once."""
    times, here = 0, node
    while True:
        times += 1
        part = here.part
        more = [
            one
            for one in (part.parts if isinstance(part, Repetition) else ())
            if isinstance(one, Maybe) and isinstance(one.part, Repetition)
        ]
        if not more:
            return times, node.part
        here = more[0]


def _named(book: Book, message: Message, leaf: Leaf) -> str:
    """Return what a leaf says: the names of its fields, with the members of a family in order."""
    if leaf.literal:
        return f"{leaf.literal} ({book.alphabet.say(leaf.literal)})"
    table = message.tables[leaf.number]
    if table.check is not None:
        return "check"
    declared = book.tables[leaf.name]
    if declared.family:
        return declared.fields[0].title
    names = [book.declared[one.declared_as].title for one in table.fields if one.declared_as]
    return " and ".join(dict.fromkeys(names))


def _used(book: Book) -> set[str]:
    said = (message.symbols for message in book.messages.values())
    return set(book.alphabet.unmask(functools.reduce(operator.or_, said)))


# printable HTML

_SIZES: dict[Paper, tuple[float, float]] = {"A5": (210, 148), "A6": (148, 105)}  # mm (ISO 216)
_BLEED = 7.0  # mm around the card, for the marks to cut along
_MARGIN = 4.0  # mm from the cut to what is printed
_POINT = 25.4 / 72  # mm
_LETTER = 0.58  # of its size: the width of a letter, on average
_LINE = 1.3  # of the size of letters: the height of a row with its rule
_LARGEST, _SMALLEST = 15.0, 4.5  # points
LEGIBLE = 6.0  # points, below which letters are too small for a card: ours, no source
_MOST_COLUMNS = 6
_GAP = 3.0  # mm between columns
_TENS = 2  # figures of a grid
_WIDE = 8  # symbols; what a longer codeword means stands below it
# rows of a table that is kept whole; a longer one goes on in the next column under its title
_SHORT = 12

_STYLE = """
@page {{ size: {across}mm {down}mm; margin: 0 }}
* {{ box-sizing: border-box; print-color-adjust: exact; -webkit-print-color-adjust: exact }}
body {{ margin: 0; width: {across}mm; height: {down}mm; position: relative; background: #fff;
  font: {size}pt/1.15 "DejaVu Sans", Arial, sans-serif; color: {ink} }}
.card {{ position: absolute; inset: {bleed}mm; padding: {margin}mm; background: {paper}; overflow: hidden }}
.cut {{ position: absolute; background: #000 }}
h1 {{ font-size: 1.35em; margin: 0 0 .8mm; border-bottom: .5mm solid {ink}; white-space: nowrap; overflow: hidden }}
h1 small {{ font-size: .6em; font-weight: normal; float: right; margin-top: .5em }}
.caution {{ margin: 0 0 1mm; font-size: {small}pt; line-height: 1.1 }}
.lists {{ columns: {columns}; column-gap: {gap}mm }}
table {{ border-collapse: collapse; width: 100%; margin: 0 0 .5em }}
table.short {{ break-inside: avoid }}
tr {{ break-inside: avoid }}
th {{ background: {ink}; color: {paper}; text-align: left; padding: 0 .8mm; break-after: avoid }}
td {{ border-bottom: .15mm solid {ink}; padding: 0 .8mm; vertical-align: middle; overflow-wrap: anywhere }}
td.note {{ font-style: italic }}
td.symbols {{ overflow-wrap: normal; font: bold 1.1em/1.05 "DejaVu Sans Mono", monospace; white-space: nowrap; width: 1% }}
tr.warns td, td.warns {{ font-weight: bold }}
tr.warns .meaning::before, td.warns::before {{ content: "! " }}
table.grid {{ font-size: {grid}pt; line-height: 1.1; break-inside: avoid }}
table.grid td {{ text-align: right; white-space: nowrap }}
table.grid td.ten, table.grid tr.units td {{ font: bold 1em "DejaVu Sans Mono", monospace }}
table.grid td.ten {{ text-align: center }}
@media screen {{
  body {{ width: auto; height: auto; font-size: 12pt; background: {paper} }}
  .card {{ position: static; overflow: visible; padding: 4mm }}
  .cut {{ display: none }}
  h1 {{ white-space: normal }}
  .caution {{ font-size: 10pt }}
  .lists {{ columns: 17em }}
  .wide {{ overflow-x: auto }}
  table.grid {{ font-size: 11pt }}
}}
@media screen and (max-width: 640px) {{
  h1 small {{ float: none; display: block }}
  td.symbols {{ white-space: normal; overflow-wrap: anywhere; width: auto }}
}}
"""
# of what one page can't hold: nothing may be cut off
_SEVERAL = """
@page {{ size: {width}mm {height}mm; margin: {margin}mm }}
body {{ width: auto; height: auto }}
.card {{ position: static; overflow: visible; padding: 0; background: {paper} }}
"""


class Fit(NamedTuple):
    """How a card fits on its paper: letters in points, columns, letters of the grids; whether one
    page holds it.
    """

    size: float
    columns: int
    grid: float
    one_page: bool = True


def html(
    book: Book, reader: Reader, mark: str = "", *, paper: Paper = "A5", dark: bool = False
) -> str:
    """Return a printable page: one of A5 or A6 lying on its side, black on white, or white on black
    where ``dark``.
    """
    return page(title(book, reader), blocks(book, reader), mark, paper, dark=dark)


def relearning(book: Book, changes: Iterable[BookChange], learner: Learner, mark: str = "") -> str:
    """Return a printable page of what one who knew the book as it was has to learn anew."""
    shown = [
        Block(
            f"{change.about}: {change.text}",
            "",
            tuple(
                CardLine(
                    row.now or "–",
                    " ".join(filter(None, (row.meaning, f"(was {row.was})" if row.was else ""))),
                    named=not row.meaning,
                )
                for row in change.rows
            ),
        )
        for change in changes
        if learner in change.concerns
    ]
    return page(f"{visible(book.title)}: what is new, {learner}", shown, mark)


def page(
    heading: str,
    shown: Sequence[Block],
    mark: str = "",
    paper: Paper = "A5",
    *,
    dark: bool = False,
    caution: str = CAUTION,
) -> str:
    """Return a printable page of blocks below a heading and a caution."""
    width, height = _SIZES[paper]
    fit = fitted(shown, paper)
    ink, ground = ("#fff", "#000") if dark else ("#000", "#fff")
    small = round(max(3.6, 0.6 * fit.size), 1)
    style = _STYLE.format(
        across=width + 2 * _BLEED, down=height + 2 * _BLEED, bleed=_BLEED, margin=_MARGIN,
        size=fit.size, small=small, grid=fit.grid, columns=fit.columns, gap=_GAP, ink=ink,
        paper=ground,
    )  # fmt: skip
    if not fit.one_page:
        style += _SEVERAL.format(width=width, height=height, paper=ground, margin=_MARGIN)
    lists = [block for block in shown if not block.grid]
    grids = [block for block in shown if block.grid]
    parts = [
        "<!DOCTYPE html>",
        (
            '<html lang="en"><head><meta'
            f' charset="utf-8"><title>{escape(heading)}</title><style>{style}</style></head>'
        ),
        "<body>",
        *(_cuts(width, height) if fit.one_page else ()),
        (
            "<div class=card><header><h1>"
            f"{f'<small>{escape(mark)}</small>' if mark else ''}{escape(heading)}</h1>"
            f"<p class=caution>{escape(caution)}</p></header><main><div class=lists>"
        ),
        *map(_printed, lists),
        "</div>",
        *map(_printed_grid, grids),
        "</main></div></body></html>",
        "",
    ]
    return "\n".join(parts)


def _cuts(width: float, height: float) -> Iterator[str]:
    """Yield the marks to cut along: two at each corner, outside the card."""
    long, thin, off = _BLEED - 2, 0.2, 1.0
    for x, left in ((_BLEED, True), (_BLEED + width, False)):
        for y, top in ((_BLEED, True), (_BLEED + height, False)):
            across = x - off - long if left else x + off
            down = y - off - long if top else y + off
            yield _box(across, y - thin / 2, long, thin)
            yield _box(x - thin / 2, down, thin, long)


def _box(x: float, y: float, width: float, height: float) -> str:
    return (
        f'<div class=cut style="left:{x:.1f}mm;top:{y:.1f}mm;width:{width:.1f}mm;'
        f'height:{height:.1f}mm"></div>'
    )


def fitted(shown: Sequence[Block], paper: Paper) -> Fit:
    """Return the largest letters with which all fits on one page, and in how many columns; letters
    that can be read where nothing does, which takes more pages.
    """
    width, height = (side - 2 * _MARGIN for side in _SIZES[paper])
    size = _LARGEST
    while size > _SMALLEST:
        for columns in range(1, _MOST_COLUMNS + 1):
            if _fits(shown, width, height, size, columns):
                return Fit(size, columns, _grid_size(shown, width, size))
        size -= 0.25
    columns = max(1, min(3, math.floor(width / (_LETTER * LEGIBLE * _POINT * _narrowest(shown)))))
    return Fit(LEGIBLE, columns, _grid_size(shown, width, LEGIBLE), one_page=False)


def _fits(shown: Sequence[Block], width: float, height: float, size: float, columns: int) -> bool:
    column = (width - (columns - 1) * _GAP) / columns
    letters = column / (_LETTER * size * _POINT)
    if letters < _narrowest(shown):
        return False
    head = 2.3 * size * _POINT + 2 * max(3.6, 0.6 * size) * 1.1 * _POINT + 2
    grid = _grid_size(shown, width, size)
    below = sum(
        (len(block.grid) + 2.2) * grid * _LINE * _POINT + 0.5 * size * _POINT
        for block in shown
        if block.grid
    )
    room = math.floor((height - head - below) / (_LINE * size * _POINT))
    return room > 0 and _fill(shown, letters, columns, room)


def _fill(shown: Sequence[Block], letters: float, columns: int, room: float) -> bool:
    """Tell whether blocks fill at most so many columns of so many lines: short ones whole, others
    going on in the next column under their title.
    """
    used, column = 0.0, 1
    for block in shown:
        if block.grid:
            continue
        head, rows = _heights(block, letters)
        if max([*rows, 0.0]) + head > room:
            return False
        whole = _is_short(block)
        first = head + (sum(rows) if whole else sum(rows[:1]))
        if used + first > room:
            used, column = 0.0, column + 1
        if whole and first > room:
            return False
        used += head
        for height in rows:
            if used + height > room:
                used, column = head, column + 1
            used += height
    return column <= columns


def _is_short(block: Block) -> bool:
    return len(block.rows) <= _SHORT and not any(row.named for row in block.rows)


def _narrowest(shown: Sequence[Block]) -> float:
    """Return the letters that a column must hold: a codeword with something beside it."""
    widths = [
        len(row.symbols) * 1.2 + 9
        for block in shown
        for row in block.rows
        if not row.named and len(row.symbols) <= _WIDE
    ]
    return max([14.0, *widths])


def _heights(block: Block, letters: float) -> tuple[float, list[float]]:
    """Return how many lines the title of a block takes in a column of so many letters, with the
    space around it, and each of its rows.
    """
    head = math.ceil(len(block.title) * 1.15 / letters) + 0.5
    rows = [float(math.ceil(len(block.note) / letters))] if block.note else []
    for row in block.rows:
        meaning = len(row.meaning) * (1.15 if row.warns else 1.0) + 2 * row.warns
        if row.named or len(row.symbols) > _WIDE:
            name = math.ceil(len(row.symbols) * 1.15 / letters)
            rows.append(0.9 * (name + math.ceil(meaning / letters)))
        else:
            beside = letters - 1.3 * len(row.symbols) - 2.5
            rows.append(max(1.0, 0.9 * math.ceil(meaning / beside)))
    return head, rows


def _grid_size(shown: Sequence[Block], width: float, size: float) -> float:
    """Return the size of letters in which the widest grid is as wide as the card."""
    letters = [
        4 + sum(max(len(row[1][unit].text) + 3 for row in block.grid) for unit in range(10))
        for block in shown
        if block.grid
    ]
    return round(min([size, *(width / (0.62 * one * _POINT) for one in letters)]), 1)


def _printed_grid(block: Block) -> str:
    head = (
        f"<thead><tr><th colspan=11>{escape(visible(block.title))}: {escape(block.note)}</th></tr>"
    )
    units = "".join(f"<td>{unit}</td>" for unit in range(10))
    rows = "".join(
        f"<tr><td class=ten>{ten}</td>"
        + "".join(
            f"<td{' class=warns' if cell.warns else ''}>{escape(cell.text)}</td>" for cell in cells
        )
        + "</tr>"
        for ten, cells in block.grid
    )
    name = escape(visible(block.title), quote=True)
    return (
        f'<div class=wide tabindex=0 role=group aria-label="{name}">'
        f"<table class=grid>{head}</thead><tbody><tr class=units><td></td>{units}</tr>"
        f"{rows}</tbody></table></div>"
    )


def _printed(block: Block) -> str:
    kind = " class=short" if _is_short(block) else ""
    note = f"<tr><td colspan=2 class=note>{escape(block.note)}</td></tr>" if block.note else ""
    rows = "".join(map(_printed_row, block.rows))
    return (
        f"<table{kind}><thead><tr><th"
        f" colspan=2>{escape(visible(block.title))}</th></tr></thead><tbody>{note}{rows}</tbody></table>"
    )


def _printed_row(row: CardLine) -> str:
    left, right, warns = (
        escape(visible(row.symbols)),
        escape(visible(row.meaning)),
        " class=warns" if row.warns else "",
    )
    if row.named or len(row.symbols) > _WIDE:
        return (
            f"<tr{warns}><td colspan=2><b>{left}</b><br><span"
            f" class=meaning>{right}</span></td></tr>"
        )
    return f"<tr{warns}><td class=symbols>{left}</td><td class=meaning>{right}</td></tr>"


def title(book: Book, reader: Reader) -> str:
    """Return what stands on top of a card."""
    return f"{visible(book.title)}: {reader}"
