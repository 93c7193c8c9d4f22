"""Lines and rows of styled text. Where they fit as they are they are written as they stand, which
needs no library; where something is to be folded, or nobody can tell how wide it is, rich does it.

Both ways write the same.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from grammar.errors import visible

Styled = tuple[str, str]  # text, and its style as rich names it

# what rich asks about an output: where one is set, it is left to decide
ASKED = ("FORCE_COLOR", "NO_COLOR", "TTY_COMPATIBLE", "JPY_PARENT_PID")
_TERMS = ("xterm", "screen", "tmux", "linux", "vt100", "rxvt", "alacritty", "foot", "konsole")
_CODES = {
    "bold": "1",
    "dim": "2",
    "italic": "3",
    "underline": "4",
    "cyan": "36",
    "magenta": "35",
    "yellow": "33",
    "red": "31",
    "green": "32",
}  # Select Graphic Rendition, ECMA-48 8.3.117
# characters beyond ASCII that are one column wide wherever they stand: Latin-1 letters and signs,
# and those that values and errors are written with
NARROW = frozenset(map(chr, (*range(0xA1, 0xAD), *range(0xAE, 0x100)))) | frozenset("…≤≥–−Ω✓█─")
_WORD = re.compile(r"\s*\S+\s*")  # with the blanks about it


def line(*given: Styled) -> None:
    """Print a line of styled texts, with invisible characters made visible."""
    parts = [safe(*part) for part in given]
    width = _room(parts)
    if width and _whole("".join(text for text, _ in parts), width):
        _write(_divided(parts, width))
        return
    from rich.text import Text

    from codec.screen.console import console

    console().print(Text.assemble(*parts))


def rows(cells: Sequence[Sequence[Styled]], folds: Sequence[bool]) -> None:
    """Print rows of cells in columns, of which some may be folded where they are too wide."""
    pads = [(2, 2)] * len(folds)
    widths = _widths(cells, folds, pads, _room([cell for row in cells for cell in row]))
    if widths:
        _write([line for row in cells for line in _laid_out(row, widths, pads)])
        return
    from rich.table import Table
    from rich.text import Text

    from codec.screen.console import console

    table = Table(box=None, show_header=False, padding=(0, 2, 0, 2))
    for fold in folds:
        table.add_column(no_wrap=not fold, overflow="fold")
    for row in cells:
        table.add_row(*(Text(text, style=style) for text, style in row))
    console().print(table)


class Heading(NamedTuple):
    """A column of a table: its head, whether it may be folded, whether it stands on the right."""

    head: str
    folds: bool = True
    right: bool = False


def table(columns: Sequence[Heading], cells: Sequence[Sequence[Styled]]) -> None:
    """Print rows of cells under the heads of their columns."""
    heads, folds = [(one.head, "") for one in columns], [one.folds for one in columns]
    pads = [(int(n > 0), int(n < len(columns) - 1)) for n in range(len(columns))]
    there = _room([cell for row in [heads, *cells] for cell in row]) - len(columns) - 1
    widths = _widths([heads, *cells], folds, pads, there)
    if widths and all(len(one.head) <= width for one, width in zip(columns, widths, strict=True)):
        edge, right = " ", [one.right for one in columns]
        across = sum(widths) + sum(map(sum, pads)) + len(columns) - 1
        laid = [line for row in cells for line in _laid_out(row, widths, pads, right, edge)]
        head = next(_laid_out(heads, widths, pads, right, edge, "bold"))
        blank = [(" " * (across + 2), "")]
        _write([blank, head, [(f" {'─' * across} ", "")], *laid, blank])
        return
    from rich.text import Text

    from codec.screen.console import boxed, console

    made = boxed(
        *(one.head for one in columns), right=tuple(one.head for one in columns if one.right)
    )
    for one, column in zip(columns, made.columns, strict=True):
        column.no_wrap = not one.folds
    for row in cells:
        made.add_row(*(Text(text, style=style) for text, style in row))
    console().print(made)


def safe(text: str, style: str = "") -> Styled:
    """Return text to be shown as it stands, with invisible characters made visible."""
    return visible(text), style


def columns() -> int:
    """Return how many columns wide the output is."""
    there = _room()
    if there:
        return there
    from codec.screen.console import console

    return console().width


def _widths(
    cells: Sequence[Sequence[Styled]],
    folds: Sequence[bool],
    pads: Sequence[tuple[int, int]],
    there: int,
) -> list[int] | None:
    """Return the widths of columns without their pads, the widest of those that fold made narrower
    until all fit, as rich does; None where they don't, or where a word would have to be broken.
    """
    gaps = [sum(pad) for pad in pads]
    columns = [[text for text, _ in column] for column in zip(*cells, strict=True)]
    widths = [max(map(len, column)) + gap for column, gap in zip(columns, gaps, strict=True)]
    excess = sum(widths) - there
    while excess > 0:
        foldable = [width for width, fold in zip(widths, folds, strict=True) if fold]
        widest = max(foldable, default=0)
        step = min(excess, widest - max((w for w in foldable if w < widest), default=0))
        parts = foldable.count(widest)
        if widest <= max(gaps):
            return None
        for number, fold in enumerate(folds):
            if fold and widths[number] == widest:
                taken = min(step, round(excess / parts))
                widths[number] -= taken
                excess -= taken
                parts -= 1
        excess = sum(widths) - there
    inner = [width - gap for width, gap in zip(widths, gaps, strict=True)]
    whole = all(
        _whole(text, width) for column, width in zip(columns, inner, strict=True) for text in column
    )
    return inner if whole and there > 0 else None


def _laid_out(
    row: Sequence[Styled],
    widths: Sequence[int],
    pads: Sequence[tuple[int, int]],
    right: Sequence[bool] = (),
    edge: str = "",
    around: str = "",
) -> Iterator[list[Styled]]:
    """Yield the lines of a row: cells with pads in the style ``around``, between edges."""
    folded = [_folded(text, width) for (text, _), width in zip(row, widths, strict=True)]
    for number in range(max(map(len, folded))):
        parts: list[Styled] = []
        for n, (texts, (_, style), width) in enumerate(zip(folded, row, widths, strict=True)):
            before, behind = pads[n]
            parts.append((edge, ""))
            if number < len(texts):
                text = texts[number]
                text = text.rstrip().rjust(width) if any(right[n : n + 1]) else text.ljust(width)
                parts += [(" " * before, around), (text, style or around), (" " * behind, around)]
            else:
                parts.append((" " * (before + width + behind), ""))
        yield [*parts, (edge, "")]


def _whole(text: str, width: int) -> bool:
    """Tell whether a text can be folded without breaking a word."""
    return len(text) <= width or all(len(word) <= width for word in text.split(" "))


def _folded(text: str, width: int) -> list[str]:
    """Return the lines of a text, each with as many whole words as fit."""
    if len(text) <= width:
        return [text]
    lines = [""]
    for word in _WORD.findall(text):
        if lines[-1] and len(lines[-1]) + len(word.rstrip()) > width:
            lines.append("")
        lines[-1] += word
    return [line if len(line) <= width else line[:width] for line in lines]


def _divided(parts: Sequence[Styled], width: int) -> Iterator[list[Styled]]:
    """Yield the lines of styled texts, each with as many whole words as fit."""
    whole = "".join(text for text, _ in parts)
    place = 0
    for line in _folded(whole, width):
        place = whole.index(line, place)
        begin, end, found = place, place + len(line), list[Styled]()
        place = end
        at = 0
        for text, style in parts:
            found.append((text[max(0, begin - at) : max(0, end - at)], style))
            at += len(text)
        yield found


def _room(parts: Sequence[Styled] = ()) -> int:
    """Return the columns there are for texts that can be written as they stand, 0 where rich is to
    decide.
    """
    term = os.environ.get("TERM", "")
    plain = all(
        (text.isascii() and text.isprintable())
        or all(character in NARROW or " " <= character <= "~" for character in text)
        for text, _ in parts
    )
    if (
        not plain
        or os.name != "posix"
        or any(name in os.environ for name in ASKED)
        or (sys.stdout.isatty() and not term.startswith(_TERMS))
    ):
        return 0
    columns = os.environ.get("COLUMNS", "")
    if columns.isdigit():
        return int(columns)
    for stream in (0, 1, 2):
        try:
            return os.get_terminal_size(stream).columns or 80
        except OSError:  # no terminal
            continue
    return 80


def _write(lines: Iterable[Sequence[Styled]]) -> None:
    if sys.stdout.isatty():
        shown = ["".join(_in_style(text, style) for text, style in parts) for parts in lines]
    else:
        shown = ["".join(text for text, _ in parts).rstrip() for parts in lines]
    sys.stdout.write("".join(f"{one}\n" for one in shown))


def _in_style(text: str, style: str) -> str:
    codes = ";".join(_CODES[word] for word in style.split())
    return f"\x1b[{codes}m{text}\x1b[0m" if codes and text else text
