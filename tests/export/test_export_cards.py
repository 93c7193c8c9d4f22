"""Cards: what stands on them, and that the same book gives the same bytes."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
from html import escape
from html.parser import HTMLParser

import pytest
from PIL import Image

from codec import load_book
from grammar.export.card import CAUTION, Reader, blocks, html, picture
from grammar.loading import parse_book

RACE = load_book("examples/race/race.toml")


class Cells(HTMLParser):
    """Collects the cells and the tags of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.cells: list[str] = []
        self.tags: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: object) -> None:  # noqa: ARG002 - the parser's signature
        self.tags.append(tag)
        if tag == "td":
            self.cells.append("")

    def handle_data(self, data: str) -> None:
        if self.cells:
            self.cells[-1] += data


def test_the_engineers_card_has_every_codeword_people_can_look_up() -> None:
    cells = Cells(html(RACE, "engineer")).cells
    for table in RACE.tables.values():
        if table.fields and table.size <= 120:
            for levels, word in table.words():
                assert word in cells
                assert any(table.fields[0].text(levels[0]) in cell for cell in cells)
    assert any(block.note == "5,083 codewords: read by the tool" for block in blocks(RACE, "engineer"))


def test_the_drivers_card_says_each_symbol_in_use() -> None:
    cells = Cells(html(RACE, "driver")).cells
    assert [cells[cells.index(symbol) + 1] for symbol in "0J9"] == ["zero", "juliett", "niner"]
    assert "K" not in cells
    assert escape(CAUTION) in html(RACE, "driver")


@pytest.mark.parametrize("reader", ["driver", "engineer"])
def test_pictures_are_well_formed_black_on_white_and_repeatable(reader: Reader) -> None:
    svg = picture(RACE, reader, "svg")
    assert ET.fromstring(svg).tag.endswith("svg")  # noqa: S314 - our own
    assert svg == picture(RACE, reader, "svg")
    image = Image.open(io.BytesIO(picture(RACE, reader, "png"))).convert("RGB")
    assert all(max(colour) - min(colour) <= 2 for _, colour in image.getcolors(1 << 20) or [])  # greys only: nothing is told by colour
    shades = image.convert("L").histogram()
    assert shades[0] > 1000
    assert shades[255] > sum(shades) / 2


def test_a_books_text_cannot_become_markup() -> None:
    source = (
        '[fields.a]\nlabel = "<b>&x</b>"\nkind = "choice"\noptions = ["<script>", "$x^2$"]\n[tables.a]\nkind = "scale"\nsymbols = "AB"\n'
    )
    book = parse_book(source + '[messages.m]\nlayout = "a"\n')
    page = html(book, "engineer")
    assert "script" not in Cells(page).tags
    assert "<script>" in Cells(page).cells
    assert picture(book, "engineer", "svg")


def test_a_name_stands_above_what_it_means_however_long_it_is() -> None:
    page = html(RACE, "driver")
    for phrase in RACE.spec.phrases.values():
        assert f"<b>{escape(phrase.label or 'rain')}</b><br>{escape(', '.join(phrase.says))}" in page
    svg = picture(RACE, "driver", "svg").decode()
    assert "race made longer, entered on the" in svg  # wrapped: a column has no room for all of it
    assert "race made longer, entered on the wheel" not in svg


def test_every_printed_table_has_a_head_that_goes_with_it_to_the_next_column() -> None:
    tags = Cells(html(RACE, "engineer")).tags
    assert tags.count("table") == tags.count("thead") == tags.count("th") == len(blocks(RACE, "engineer"))
