"""The console, and text that is safe to show.

Text that is not the program's own goes through ``safe`` or ``assembled`` before it is laid out;
what came past them is made visible by the console, so that nothing in it can steer a terminal.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, NamedTuple

from rich import box
from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment
from rich.table import Table
from rich.text import Span, Text

from grammar.errors import visible, visible_lines


class SafeConsole(Console):
    """A console that prints no control, escape or bidirectional characters but its own.

    It leaves a reader who went away to the command line, and prints no blanks at line ends into
    files and pipes.
    """

    def render_str(self, text: str, **options: Any) -> Text:
        """Take a text as it stands, made visible before it is laid out."""
        return super().render_str(visible_lines(text), **options)

    def render(
        self, renderable: RenderableType, options: ConsoleOptions | None = None
    ) -> Iterator[Segment]:
        """Render; whatever text is left that is not visible becomes so."""
        for segment in super().render(renderable, options):
            if segment.control or segment.text == "\n":
                yield segment
            else:
                yield Segment(visible_lines(segment.text), segment.style)

    def on_broken_pipe(self) -> None:
        """Raise as any print would."""
        raise BrokenPipeError

    def print(self, *objects: Any, **options: Any) -> None:
        """Print; where the output is not a terminal, without blanks at line ends."""
        if self.is_terminal or self.record:
            super().print(*objects, **options)
            return
        with self.capture() as captured:
            super().print(*objects, **options)
        self.file.write("\n".join(line.rstrip() for line in captured.get().split("\n")))

    def lines(self, rows: Iterable[Row]) -> None:
        """Print rows a line each, as long as they are; where nobody sees styles, as they stand."""
        if self.is_terminal or self.record:
            left = iter(rows)
            while page := [row_text(one) for one in itertools.islice(left, _PAGE)]:
                super().print(Text("\n").join(page), no_wrap=True, crop=False)
        else:
            self.file.writelines(f"{visible_lines(one.plain).rstrip()}\n" for one in rows)


_PAGE = 500  # lines that are laid out at a time


@functools.cache
def console() -> SafeConsole:
    """Return the console: plain where the output is not a terminal."""
    return SafeConsole(highlight=False, emoji=False, markup=False)


def safe(text: str, style: str = "") -> Text:
    """Return text to be shown as it stands, with invisible characters made visible."""
    return Text(visible(text), style=style)


def assembled(*parts: str | Text | tuple[str, str]) -> Text:
    """Return parts in a row, texts with their styles or without, each safe to show."""
    return Text.assemble(
        *(
            part if isinstance(part, Text) else safe(part) if isinstance(part, str) else safe(*part)
            for part in parts
        )
    )


class StyledRow(NamedTuple):
    """Safe texts with their styles in a row, drawn ``over`` in one more: a Text in the making."""

    parts: Sequence[tuple[str, str]]
    over: str = ""

    @property
    def plain(self) -> str:
        """The texts alone."""
        return "".join([text for text, _ in self.parts])

    def text(self) -> Text:
        """Return them with their styles."""
        spans, end = list[Span](), 0
        for text, style in self.parts:
            begin, end = end, end + len(text)
            if style and text:
                spans.append(Span(begin, end, style))
        made = Text(self.plain, spans=spans)
        if self.over:
            made.stylize(self.over)
        return made


Row = Text | StyledRow


def row_text(row: Row) -> Text:
    """Return a row as a text with its styles."""
    return row.text() if isinstance(row, StyledRow) else row


def heading(text: str) -> None:
    """Print a line that parts one thing from the next."""
    console().print()
    console().print(safe(text, "bold underline"))


def boxed(*columns: str, right: tuple[str, ...] = ()) -> Table:
    """Return an empty table with these column heads."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1))
    for column in columns:
        table.add_column(column, justify="right" if column in right else "left", overflow="fold")
    return table
