"""Lines that are written as they stand are, character for character, those of rich (the library
that writes all others), in pipes and on terminals.
"""

from __future__ import annotations

import functools
import io
import os
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from codec import decode, encode, load_book
from codec.hear import Hearing, hear
from codec.screen import console, lines
from codec.screen.book import show as show_book
from codec.screen.hear import show
from codec.screen.lines import Styled
from codec.screen.reading import encoded_lines, event_lines, reading_lines

RACE = Path(__file__).parents[2] / "examples/race/race.toml"
STYLES = ("", "bold", "dim", "cyan", "bold cyan", "bold red", "magenta", "yellow")
PLAIN = st.text(st.sampled_from("ab 0.-\u00b0\u2026\u2265\u00e9\u03a9"), max_size=30)
WIDE = st.text(st.sampled_from("ab \u00b0\u4e2d\u0301\u200b"), max_size=30)
TEXTS = PLAIN | PLAIN | PLAIN | PLAIN | WIDE
STYLED = st.tuples(TEXTS, st.sampled_from(STYLES))


class _Output(io.StringIO):
    def __init__(self, terminal: bool) -> None:
        super().__init__()
        self.terminal = terminal

    def isatty(self) -> bool:
        return self.terminal


def written(write: Callable[[], None], *, terminal: bool, width: int, by_rich: bool) -> str:
    """Return what is written on an output of a width, also where rich is to write everything."""
    output = _Output(terminal)
    with pytest.MonkeyPatch.context() as patch:
        for name in lines.ASKED:
            patch.delenv(name, raising=False)
        patch.setenv("TERM", "xterm-256color")
        patch.delenv("COLUMNS", raising=False)
        if width % 2:  # told by one or the other
            patch.setenv("COLUMNS", str(width))
        patch.setattr(sys, "stdout", output)
        patch.setattr(os, "get_terminal_size", lambda *_: os.terminal_size((width - width % 2, 24)))
        if by_rich:
            patch.setattr(lines, "_room", lambda *_: 0)
        console.console.cache_clear()
        write()
    console.console.cache_clear()
    return output.getvalue()


def both_ways(write: Callable[[], None], *, terminal: bool, width: int) -> tuple[str, str]:
    one, other = (
        written(write, terminal=terminal, width=width, by_rich=by_rich) for by_rich in (False, True)
    )
    return one, other


@given(st.lists(STYLED, min_size=1, max_size=4), st.booleans(), st.integers(20, 90))
def test_a_line_is_that_of_rich(parts: list[Styled], terminal: bool, width: int) -> None:
    one, other = both_ways(lambda: lines.line(*parts), terminal=terminal, width=width)
    assert one == other


@given(
    st.lists(st.tuples(STYLED, STYLED, STYLED), min_size=1, max_size=4),
    st.booleans(),
    st.integers(30, 90),
)
def test_rows_are_those_of_rich(
    cells: list[tuple[Styled, ...]], terminal: bool, width: int
) -> None:
    safe = [tuple(lines.safe(*cell) for cell in row) for row in cells]
    one, other = both_ways(
        lambda: lines.rows(safe, (False, True, True)), terminal=terminal, width=width
    )
    assert one == other


@given(
    st.lists(
        st.tuples(st.sampled_from(["", "a b", "probability"]), st.booleans(), st.booleans()),
        min_size=3,
        max_size=3,
    ),
    st.lists(st.tuples(STYLED, STYLED, STYLED), min_size=1, max_size=4),
    st.booleans(),
    st.integers(30, 90),
)
def test_a_table_is_that_of_rich(
    columns: list[tuple[str, bool, bool]],
    cells: list[tuple[Styled, ...]],
    terminal: bool,
    width: int,
) -> None:
    safe = [tuple(lines.safe(*cell) for cell in row) for row in cells]
    heads = [lines.Heading(f"{n} {head}", *how) for n, (head, *how) in enumerate(columns)]
    one, other = both_ways(lambda: lines.table(heads, safe), terminal=terminal, width=width)
    assert one == other


@pytest.mark.parametrize("terminal", [False, True])
@pytest.mark.parametrize("width", [40, 61, 80, 120, 200])
def test_readings_are_written_as_rich_writes_them(terminal: bool, width: int) -> None:
    book = load_book(RACE)
    reading = decode(book, "five one six three juliett romeo bravo tango")
    encoded = encode(book, reading)

    def write() -> None:
        reading_lines(book, reading)
        encoded_lines(book, encoded)
        event_lines({"event": "rain", "label": "rain", "span": [0, 4]})

    one, other = both_ways(write, terminal=terminal, width=width)
    assert one == other


@functools.cache
def heard(text: str) -> Hearing:
    return hear(load_book(RACE), text)


@pytest.mark.parametrize("terminal", [False, True])
@pytest.mark.parametrize("width", [40, 61, 120])
@pytest.mark.parametrize("text", ["five one six three juliett romeo bravo tango", "five ? six"])
def test_hearings_are_written_as_rich_writes_them(text: str, terminal: bool, width: int) -> None:
    hearing = heard(text)
    one, other = both_ways(lambda: show(hearing), terminal=terminal, width=width)
    assert one == other


@pytest.mark.parametrize("width", [40, 121])
def test_a_book_is_written_as_rich_writes_it(width: int) -> None:
    book = load_book(RACE)
    one, other = both_ways(lambda: show_book(book, rows=4), terminal=width > 80, width=width)
    assert one == other


def test_what_is_written_as_it_stands_is_one_column_wide() -> None:
    assert {cell_len(character) for character in lines.NARROW} == {1}
