"""Lines and rows of styled text. Where they fit as they are they are written as they stand, which
needs no library; where something is to be folded, or nobody can tell how wide it is, rich does it.

Both ways write the same.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterator, Sequence

from grammar.errors import visible

Styled = tuple[str, str]  # text, and its style as rich names it

# what rich asks about an output: where one is set, it is left to decide
ASKED = ("FORCE_COLOR", "NO_COLOR", "TTY_COMPATIBLE", "JPY_PARENT_PID")
_TERMS = ("xterm", "screen", "tmux", "linux", "vt100", "rxvt", "alacritty", "foot", "konsole")
_CODES = {
    "bold": "1",
    "dim": "2",
    "cyan": "36",
    "magenta": "35",
    "yellow": "33",
    "red": "31",
}  # Select Graphic Rendition, ECMA-48 8.3.117
# characters beyond ASCII that are one column wide wherever they stand: Latin-1 letters and signs,
# and those that values and errors are written with
NARROW = frozenset(map(chr, (*range(0xA1, 0xAD), *range(0xAE, 0x100)))) | frozenset("…≤≥–−Ω")
_GAP = "  "  # on both sides of a cell
_WORD = re.compile(r"\s*\S+\s*")  # with the blanks about it


def line(*given: Styled) -> None:
    """Print a line of styled texts, with invisible characters made visible."""
    parts = [safe(*part) for part in given]
    width = _room(parts)
    if width and sum(len(text) for text, _ in parts) <= width:
        _write([parts])
        return
    from rich.text import Text

    from codec.screen.console import console

    console().print(Text.assemble(*parts))


def rows(cells: Sequence[Sequence[Styled]], folds: Sequence[bool]) -> None:
    """Print rows of cells in columns, of which some may be folded where they are too wide."""
    room = _room([cell for row in cells for cell in row])
    widths = _widths(cells, folds, room)
    if widths:
        _write([line for row in cells for line in _laid_out(row, widths)])
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


def safe(text: str, style: str = "") -> Styled:
    """Return text to be shown as it stands, with invisible characters made visible."""
    return visible(text), style


def _widths(
    cells: Sequence[Sequence[Styled]], folds: Sequence[bool], room: int
) -> list[int] | None:
    """Return the widths of columns with their gaps, the widest of those that fold made narrower
    until all fit, as rich does; None where they don't, or where a word would have to be broken.
    """
    gaps = 2 * len(_GAP)
    columns = [[text for text, _ in column] for column in zip(*cells, strict=True)]
    widths = [max(map(len, column)) + gaps for column in columns]
    excess = sum(widths) - room
    while excess > 0:
        foldable = [width for width, fold in zip(widths, folds, strict=True) if fold]
        widest = max(foldable, default=0)
        step = min(excess, widest - max((w for w in foldable if w < widest), default=0))
        parts = foldable.count(widest)
        if widest <= gaps:
            return None
        for number, fold in enumerate(folds):
            if fold and widths[number] == widest:
                taken = min(step, round(excess / parts))
                widths[number] -= taken
                excess -= taken
                parts -= 1
        excess = sum(widths) - room
    whole = all(
        len(word) <= width - gaps
        for column, width in zip(columns, widths, strict=True)
        for text in column
        for word in text.split(" ")
    )
    return widths if whole and room else None


def _laid_out(row: Sequence[Styled], widths: Sequence[int]) -> Iterator[list[Styled]]:
    """Yield the lines of a row."""
    inner = [width - 2 * len(_GAP) for width in widths]
    folded = [_folded(text, width) for (text, _), width in zip(row, inner, strict=True)]
    for number in range(max(map(len, folded))):
        parts: list[Styled] = []
        for texts, (_, style), width in zip(folded, row, inner, strict=True):
            if number < len(texts):
                parts += [(_GAP, ""), (texts[number].ljust(width), style), (_GAP, "")]
            else:
                parts.append((" " * width + 2 * _GAP, ""))
        yield parts


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


def _room(parts: Sequence[Styled]) -> int:
    """Return the columns there are for texts that can be written as they stand, 0 where rich is to
    decide.
    """
    term = os.environ.get("TERM", "")
    plain = all(
        character in NARROW or " " <= character <= "~" for text, _ in parts for character in text
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


def _write(lines: Sequence[Sequence[Styled]]) -> None:
    if sys.stdout.isatty():
        shown = ["".join(_in_style(text, style) for text, style in parts) for parts in lines]
    else:
        shown = ["".join(text for text, _ in parts).rstrip() for parts in lines]
    sys.stdout.write("".join(f"{one}\n" for one in shown))


def _in_style(text: str, style: str) -> str:
    codes = ";".join(_CODES[word] for word in style.split())
    return f"\x1b[{codes}m{text}\x1b[0m" if codes and text else text
