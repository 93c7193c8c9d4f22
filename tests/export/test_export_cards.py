"""Cards: what stands on them, that nothing reaches beyond the page or over something else, and that
the same book gives the same bytes.
"""

from __future__ import annotations

import functools
import io
import itertools
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from html import escape
from html.parser import HTMLParser
from pathlib import Path
from typing import Literal, NamedTuple

import matplotlib
import numpy
import pytest
from desk.browser import chromium
from export.strings import BOOKS, example
from helpers import first_short
from PIL import Image, ImageFont
from playwright.sync_api import Browser

from codec import Book, CodeError
from grammar.dash import DashSpec
from grammar.difference import changes
from grammar.display import DISPLAYS, Display, patterns
from grammar.export.card import CAUTION, PAPERS, Paper, Reader, blocks, fitted, html, relearning
from grammar.export.card_picture import picture
from grammar.export.dash_picture import dash
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


@pytest.mark.slow
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


def told_by_rule(subject: Book, title: str) -> bool:
    return any(block.title == title and block.note for block in blocks(subject, "engineer"))


@pytest.mark.parametrize("name", first_short(BOOKS, 2))
def test_the_engineers_card_has_every_codeword_by_what_is_heard_and_by_value(name: str) -> None:
    subject = book(name)
    rows = list(itertools.pairwise(Cells(html(subject, "engineer")).cells))
    drawn = [line.text for line in lines(picture(subject, "engineer", "svg"))[0]]
    shown = {block.title: block for block in blocks(subject, "engineer")}
    for table in subject.tables.values():
        title = ", ".join(field.title for field in table.fields)
        if not table.fields or told_by_rule(subject, title):
            continue
        index = subject.alphabet.index
        heard = shown.get(f"{title}: what you hear", shown.get(title))
        assert heard is not None
        words = [row.symbols for row in heard.rows]
        assert words == sorted(words, key=lambda word: [index[symbol] for symbol in word])
        by_value = shown.get(f"{title}: by value", heard)
        assert [row.symbols for row in by_value.rows] == [word for _, word in table.words()]
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


RULES = """
[fields.energy]
label = "energy against plan"
kind = "quantity"
unit = "kWh"
low = -2.0
high = 2.0
step = 0.1
limits = [{ below = -1.0 }]
[fields.charge]
kind = "quantity"
unit = "%"
low = 0
high = 99
step = 1
[fields.pack]
kind = "quantity"
low = 0
high = 999999
step = 1
[tables.energy]
kind = "digits"
[tables.charge]
kind = "digits"
[tables.pack]
kind = "packed"
fields = ["pack"]
[messages.lap]
layout = "charge energy pack?"
"""


def test_numbers_in_figures_are_a_rule_and_a_grid_of_tens_by_units() -> None:
    """By hand: from -2.0 in steps of 0.1 the sixteenth is -0.4; below -1.0 it warns."""
    subject = parse_book(RULES, "rules")
    shown = {block.title: block for block in blocks(subject, "engineer")}
    energy, charge = shown["energy against plan"], shown["charge"]
    assert energy.note == "steps of 0.1 kWh from -2.0 kWh: 16 is -0.4 kWh"
    assert dict(energy.grid)["1"][6].text == "-0.4"
    assert [cell.warns for cell in dict(energy.grid)["0"]] == [True] * 10
    assert [cell.text for cell in dict(energy.grid)["4"]] == ["2.0", *[""] * 9]
    assert charge.note.startswith("the value as it is: ")
    assert (charge.rows, charge.grid) == ((), ())  # no hundred rows
    assert shown["pack"].note == "1,000,000 codewords: read by the tool"
    page = Cells(html(subject, "engineer"))
    assert page.cells.count("-0.4") == 1
    assert page.cells[page.cells.index("-0.4") - 7] == "1"  # the tens, before 0 … 6


def test_no_notation_of_a_books_file_stands_on_a_card() -> None:
    for name in (*BOOKS, "tyres"):
        for reader in READERS:
            for block in blocks(book(name), reader):
                for row in block.rows:
                    assert not re.search(r"\w\?|[{}|\"]|\( | \)", row.meaning), (name, row)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


def printed(browser: Browser, page: str) -> tuple[int, list[int], bytes]:
    """Return how many pages a card is in print, how far anything reaches beyond it, and the PDF."""
    tab = browser.new_page()
    tab.set_content(page)
    tab.emulate_media(media="print")
    pdf = tab.pdf(prefer_css_page_size=True)
    beyond = tab.evaluate(
        "(() => { const c = document.querySelector('.card');"
        " return [c.scrollHeight - c.clientHeight, c.scrollWidth - c.clientWidth] })()"
    )
    tab.close()
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf)), beyond, pdf


PAPER = [
    pytest.param(name, paper, marks=[] if (name, paper) == ("race", "A5") else [pytest.mark.slow])
    for name in (*BOOKS, "tyres")
    for paper in PAPERS
]


@pytest.mark.slow
@pytest.mark.parametrize(("name", "paper"), PAPER)
def test_a_card_is_one_page_with_nothing_beyond_it_and_marks_to_cut_along(
    name: str, paper: Paper, browser: Browser
) -> None:
    """A5 is 148 by 210 mm, A6 105 by 148 (ISO 216); a PDF counts 72 points to the inch."""
    for reader in READERS:
        for dark in (False, True):
            page = html(book(name), reader, "Book 01234567.", paper=paper, dark=dark)
            pages, beyond, pdf = printed(browser, page)
            assert (pages, beyond) == (1, [0, 0]), (reader, dark)
            box = re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
            assert box
            across, down = {"A5": (210, 148), "A6": (148, 105)}[paper]
            assert float(box[1]) == pytest.approx((across + 14) / 25.4 * 72, abs=1.5)
            assert float(box[2]) == pytest.approx((down + 14) / 25.4 * 72, abs=1.5)
            assert page.count("class=cut") == 8


@pytest.mark.slow
def test_what_one_page_cannot_hold_goes_on_and_nothing_is_cut_off(browser: Browser) -> None:
    old = example("tyres")
    other = old.source.replace("low = 40", "low = 30").replace("high = 139", "high = 129")
    found = changes(old, parse_book(other, "tyres"))
    assert sum(len(change.rows) for change in found) > 80
    page = relearning(old, found * 4, "engineer")
    pages, beyond, _ = printed(browser, page)
    assert pages > 1
    assert beyond == [0, 0]
    assert "class=cut" not in page


@pytest.mark.parametrize("paper", PAPERS)
def test_letters_are_as_large_as_the_rows_allow(paper: Paper) -> None:
    for name in BOOKS:
        for reader in READERS:
            fit = fitted(blocks(book(name), reader), paper)
            assert 4.5 <= fit.size <= 15
            assert fit.size <= fitted(blocks(book(name), reader), "A5").size
    assert fitted(blocks(book("starter"), "driver"), "A6").size >= 14


DISPLAYED = [one for one in DISPLAYS if one != "7 segments"]  # which has no K


@pytest.mark.parametrize("display", DISPLAYED)
def test_the_dash_shows_each_symbol_of_a_report_in_its_pattern(display: Display) -> None:
    drawing = dash(RACE, RACE.messages["lap"], DashSpec(display=display))
    root = ET.fromstring(drawing)  # noqa: S314 - our own
    words = next(
        element.text or ""
        for element in root.iter("{http://www.w3.org/2000/svg}text")
        if element.get("class") == "said"
    )
    string = "".join(RACE.alphabet.spoken[word] for word in words.split())
    lit = sum(len((patterns(display) or {}).get(symbol, "")) for symbol in string)
    drawn = [
        path.get("d", "").count("M")
        for path in root.iter("{http://www.w3.org/2000/svg}path")
        if path.get("stroke-opacity") == "1"
    ]
    assert sum(drawn) == lit
    assert len(drawn) == (len(string) if lit else 0)
    title = root.find("{http://www.w3.org/2000/svg}title")
    assert title is not None
    match = RACE.messages["lap"].quick(string)
    assert match is not None
    assert title.text == match.text()


def test_a_dash_shows_two_glances_and_blanks_between_groups() -> None:
    source = RULES.replace(
        'layout = "charge energy pack?"',
        'layout = "charge energy pack?"\npauses = ["charge"]\nglance = "energy"',
    )
    subject = parse_book(source, "rules")
    drawing = dash(subject, subject.messages["lap"], DashSpec(display="5x7 dots"))
    assert drawing.count("first glance") == drawing.count("second glance") == 1
    assert drawing.count('class="said"') == 2
    [order] = [block.rows[0].meaning for block in blocks(subject, "driver")][:1]
    assert (
        order == "charge – pause – at the second glance energy against plan, pack (if there is one)"
    )


def test_a_dash_that_cannot_draw_a_symbol_says_so() -> None:
    subject = parse_book(
        LONG.replace('"AA", "BBBB', '"KA", "KBBB').replace('"ABAB', '"KKAB'), "long"
    )
    with pytest.raises(CodeError, match="7 segments have no usual pattern for K"):
        dash(subject, subject.messages["m"], DashSpec(display="7 segments"))


@pytest.mark.parametrize("name", first_short(BOOKS, 2))
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
@pytest.mark.parametrize("name", first_short(["starter", "race"]))
def test_the_title_the_mark_of_the_book_and_the_caution_stand_on_top(
    name: str, reader: Reader
) -> None:
    subject = book(name)
    page = html(subject, reader, "Book 01234567.")
    assert (
        page.index(escape(subject.title))
        < page.index("Book 01234567.")
        < page.index(escape(CAUTION))
        < page.index("<main>")
    )
    drawn = [line.text for line in lines(svg(name, reader))[0]]
    begin = " ".join(drawn[: drawn.index("Reports, driver to pit")])
    assert begin == f"{subject.title}: {reader} {CAUTION} Book 01234567."


@pytest.mark.parametrize(("name", "reader"), CARDS)
def test_pictures_are_black_on_white(name: str, reader: Reader) -> None:
    image = Image.open(io.BytesIO(png(name, reader))).convert("RGB")
    red, green, blue = (numpy.asarray(band, int) for band in image.split())
    # greys only: nothing is told by colour
    assert max(abs(red - green).max(), abs(green - blue).max(), abs(blue - red).max()) <= 2
    shades = image.convert("L").histogram()
    assert shades[0] > 1000
    assert shades[255] > sum(shades) / 2


@pytest.mark.slow
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
    assert drawn[place + 1 : place + 3] == ["wheel", "L (lima), laps added, check"]


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
    tops = [line.top for line in drawn if line.text.endswith("(more)")]
    assert tops
    head = next(line.top for line in drawn if line.text == "Reports, driver to pit")
    assert all(abs(top - head) < 3 for top in tops)  # each at the top of a column


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
    assert target.note == "steps of 0.01 kWh from 1.00 kWh: 39 is 1.39 kWh"
    assert target.rows == ()


def test_a_card_has_no_table_that_no_message_uses() -> None:
    unused = '\n[tables.spare]\nkind = "scale"\nfield = "mode"\n[messages.lap]'
    book = parse_book(RACE.source.replace("\n[messages.lap]", unused, 1))
    assert [block.title for block in blocks(book, "engineer")] == [
        block.title for block in blocks(RACE, "engineer")
    ]
