"""Cards: what stands on them, that nothing reaches beyond the page or over something else, and that
the same book gives the same bytes.
"""

from __future__ import annotations

import functools
import io
import itertools
import re
import xml.etree.ElementTree as ET
from html import escape
from html.parser import HTMLParser
from pathlib import Path
from typing import Literal, NamedTuple

import matplotlib
import numpy
import pytest
from export.strings import BOOKS, example
from PIL import Image, ImageFont

from codec import Book
from grammar.export.card import CAUTION, MOST_ROWS, Reader, blocks, html
from grammar.export.card_picture import picture
from grammar.parsing import parse_book

RACE = example("race")
READERS: tuple[Reader, ...] = ("driver", "engineer")
LARGE = ("race", "qualifying")  # take seconds to draw
CARDS = [
    pytest.param(name, reader, marks=[pytest.mark.slow] * (name in LARGE))
    for name in BOOKS
    for reader in READERS
]
LONG = """
title = "A book whose title goes on and on, for a team that likes to say all there is to say about it, and then some"
[fields.a]
label = "a quantity that is called by a name which no column is wide enough for, however it is parted"
kind = "choice"
options = ["WWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWW", "short", "words that are parted where a line has no room"]
[tables.a]
kind = "listed"
words = ["ABABABABABABABABABABABABABABABABABABABAB", "AA", "BBBBBBBBBBBBBBBB"]
[messages.m]
layout = "a"
[phrases.p]
label = "$x^2$ <b> & --> \\\\ { } %"
says = ["rain here", "wet here"]
"""


def book(name: str) -> Book:
    return parse_book(LONG, "long") if name == "long" else example(name)


@functools.cache
def png(name: str, reader: Reader) -> bytes:
    return picture(book(name), reader, "png")


@functools.cache
def svg(name: str, reader: Reader) -> bytes:
    return picture(book(name), reader, "svg", "Book 01234567.")


class Cells(HTMLParser):
    """Collects the cells, the tags and all text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.cells: list[str] = []
        self.tags: list[str] = []
        self.inside = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: object) -> None:  # noqa: ARG002 - the parser's signature
        self.tags.append(tag)
        if tag == "td":
            self.cells.append("")
            self.inside = True

    def handle_endtag(self, tag: str) -> None:
        if tag == "td":
            self.inside = False

    def handle_data(self, data: str) -> None:
        if self.inside:
            self.cells[-1] += data


class Line(NamedTuple):
    """A line of text on a picture, in points from the left and the top."""

    text: str
    left: float
    top: float
    right: float
    bottom: float


@functools.cache
def font(style: str) -> ImageFont.FreeTypeFont:
    """Return the font of a text's style, as Pillow has it: its measures are not those the picture
    was laid out by.
    """
    name = "DejaVuSansMono" if "Mono" in style else "DejaVuSans"
    size = re.search(r"([\d.]+)px", style)
    assert size
    path = (
        Path(matplotlib.get_data_path())
        / "fonts"
        / "ttf"
        / f"{name}{'-Bold' if re.search('bold|700', style) else ''}.ttf"
    )
    return ImageFont.truetype(str(path), float(size[1]))


def lines(drawing: bytes) -> tuple[list[Line], float, float]:
    """Return the lines of text of a picture, its width and its height."""
    root = ET.fromstring(drawing)  # noqa: S314 - our own
    width, height = (float(root.get(side, "").removesuffix("pt")) for side in ("width", "height"))
    found = []
    for element in root.iter("{http://www.w3.org/2000/svg}text"):
        x, y = float(element.get("x", "nan")), float(element.get("y", "nan"))
        letters, text = font(element.get("style", "")), element.text or ""
        left, top, right, bottom = letters.getbbox(text, anchor="ls")
        found.append(Line(text, x + left, y + top, x + right, y + bottom))
    return found, width, height


@pytest.mark.parametrize(("name", "reader"), [*CARDS, ("long", "driver"), ("long", "engineer")])
def test_nothing_on_a_picture_reaches_beyond_the_page_or_over_something_else(
    name: str, reader: Reader
) -> None:
    found, width, height = lines(svg(name, reader))
    assert found
    margin = 14  # points
    for line in found:
        assert margin < line.left < line.right < width - margin, line
        assert margin < line.top < line.bottom < height - margin, line
    for number, one in enumerate(found):
        for other in found[:number]:
            apart = (
                one.left >= other.right
                or other.left >= one.right
                or one.top >= other.bottom
                or other.top >= one.bottom
            )
            assert apart, (one, other)
    image = Image.open(io.BytesIO(png(name, reader))).convert("L")
    inner = Image.new("L", image.size, 255)
    inner.paste(image.crop((20, 20, image.width - 20, image.height - 20)), (20, 20))
    assert inner.tobytes() == image.tobytes()  # what lies outside is white


@pytest.mark.parametrize("name", BOOKS)
def test_the_engineers_card_has_every_codeword_people_can_look_up(name: str) -> None:
    subject = book(name)
    cells = Cells(html(subject, "engineer")).cells
    rows = list(itertools.pairwise(cells))
    drawn = [line.text for line in lines(picture(subject, "engineer", "svg"))[0]]
    for table in subject.tables.values():
        if table.fields and table.size <= MOST_ROWS:
            for levels, word in table.words():
                said = ", ".join(
                    field.text(level) for field, level in zip(table.fields, levels, strict=True)
                )
                assert (word, said) in rows
                assert any(
                    drawn[place + 1].removeprefix("! ") == said
                    for place, text in enumerate(drawn)
                    if text == word
                )
        elif table.fields:
            assert any(
                block.note == f"{table.size:,} codewords: read by the tool"
                for block in blocks(subject, "engineer")
            )


@pytest.mark.parametrize("name", BOOKS)
def test_the_drivers_card_says_each_symbol_in_use(name: str) -> None:
    cells = Cells(html(book(name), "driver")).cells
    used = {symbol for symbol in book(name).alphabet.symbols if symbol in cells}
    assert used >= set("0123456789")
    assert all(
        cells[cells.index(symbol) + 1] == book(name).alphabet.words[symbol].word for symbol in used
    )
    if name == "race":
        assert "K" not in cells


@pytest.mark.parametrize("reader", READERS)
def test_the_title_the_mark_of_the_book_and_the_caution_stand_on_top(reader: Reader) -> None:
    page = html(RACE, reader, "Book 01234567.")
    assert (
        page.index(escape(RACE.title))
        < page.index("Book 01234567.")
        < page.index(escape(CAUTION))
        < page.index("<main>")
    )
    drawn = [line.text for line in lines(svg("race", reader))[0]]
    begin = " ".join(drawn[: drawn.index("Reports, driver to pit")])
    assert begin == f"{RACE.title}: {reader} {CAUTION} Book 01234567."


@pytest.mark.parametrize(("name", "reader"), CARDS)
def test_pictures_are_black_on_white(name: str, reader: Reader) -> None:
    image = Image.open(io.BytesIO(png(name, reader))).convert("RGB")
    red, green, blue = (numpy.asarray(band, int) for band in image.split())
    # greys only: nothing is told by colour
    assert max(abs(red - green).max(), abs(green - blue).max(), abs(blue - red).max()) <= 2
    shades = image.convert("L").histogram()
    assert shades[0] > 1000
    assert shades[255] > sum(shades) / 2


@pytest.mark.parametrize("form", ["svg", "png"])
def test_the_same_book_gives_the_same_picture(form: Literal["svg", "png"]) -> None:
    assert picture(RACE, "driver", form) == picture(example("race"), "driver", form)


def test_a_books_text_cannot_become_markup() -> None:
    source = (
        '[fields.a]\nlabel = "<b>&x</b> --> ]]>"\nkind = "choice"\noptions = ["<script>",'
        ' "$x^2$"]\n[tables.a]\nkind = "scale"\n'
    )
    awkward = parse_book(source + 'symbols = "AB"\n[messages.m]\nlayout = "a"\n')
    page = Cells(html(awkward, "engineer", "<i>"))
    assert {"script", "b", "i"} & set(page.tags) <= {"b"}  # names of messages are bold
    assert "<script>" in page.cells
    drawn = [line.text for line in lines(picture(awkward, "engineer", "svg", "<i>"))[0]]
    assert {"<script>", "$x^2$", "<b>&x</b> --> ]]>"} <= set(drawn)


def test_a_name_stands_above_what_it_means_however_long_it_is() -> None:
    page = html(RACE, "driver")
    for phrase in RACE.spec.phrases.values():
        assert (
            f"<b>{escape(phrase.label or 'rain')}</b><br><span"
            f" class=meaning>{escape(', '.join(phrase.says))}<" in page
        )
    drawn = [line.text for line in lines(svg("race", "driver"))[0]]
    place = drawn.index("race made longer, entered on the")  # a column has no room for all of it
    assert drawn[place + 1 : place + 3] == ["wheel", '"L" added check']


def test_every_printed_table_has_a_head_that_goes_with_it_to_the_next_column() -> None:
    tags = Cells(html(RACE, "engineer")).tags
    assert (
        tags.count("table")
        == tags.count("thead")
        == tags.count("th")
        == len(blocks(RACE, "engineer"))
    )


def test_a_drawn_table_that_goes_on_has_its_title_again() -> None:
    drawn = lines(svg("race", "engineer"))[0]
    tops = {
        round(line.left): line
        for line in sorted(drawn, key=lambda line: -line.top)
        if line.text.endswith("(more)")
    }
    assert len(tops) >= 3
    heights = [line.top for line in tops.values()]
    assert max(heights) - min(heights) < 3  # each at the top of a column


def test_a_card_says_who_speaks_and_the_driver_can_look_up_what_calls_mean() -> None:
    driver, engineer = (blocks(RACE, reader) for reader in READERS)
    for card in (driver, engineer):
        assert [block.title for block in card[:2]] == [
            "Reports, driver to pit",
            "Calls, pit to driver",
        ]
    assert [row.symbols for row in driver[1].rows] == [
        "wheel setting change",
        "race made longer",
        "energy target",
    ]
    titles = {block.title for block in driver}
    assert {"dial", "way", "clicks", "laps added", "energy per lap"} <= titles
    assert "rear tyres" not in titles
    (target,) = (block for block in driver if block.title == "energy per lap")
    assert [row.symbols for row in target.rows] == ["00", "01", "02", "…", "99"]


def test_a_card_has_no_table_that_no_message_uses() -> None:
    unused = '\n[tables.spare]\nkind = "scale"\nfield = "mode"\n[messages.lap]'
    book = parse_book(RACE.source.replace("\n[messages.lap]", unused, 1))
    assert [block.title for block in blocks(book, "engineer")] == [
        block.title for block in blocks(RACE, "engineer")
    ]
