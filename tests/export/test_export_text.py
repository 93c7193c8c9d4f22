"""Whatever text a book holds, it stays text in every export: it neither breaks a format nor adds
anything to it.
"""

from __future__ import annotations

import csv
import io
import json
import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser

import pytest
from helpers import book_of
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from lark import Lark

from codec import Book, BookError
from grammar.errors import visible
from grammar.export import export
from grammar.export.c import c_files
from grammar.export.card import html
from grammar.export.card_picture import picture

SIGNS = [
    *[
        "*",
        "/",
        "*/",
        "/*",
        "//",
        "??/",
        "\\",
        '"',
        "'",
        "<",
        ">",
        "&",
        "]]>",
        "-->",
        "--",
        "%s",
        "$x$",
        "#",
        ";",
        "é",
        "漢",
        "=",
        "@",
        "a",
    ],
    "\n",
    "\r",
    "\x07",
    "\u2028",
]
texts = st.lists(st.sampled_from(SIGNS), min_size=1, max_size=8).map("".join) | st.text(
    min_size=1, max_size=12
)


def book(title: str, label: str, options: list[str]) -> Book:
    spec = {
        "title": title,
        "fields": {"f": {"kind": "choice", "label": label, "options": options}},
        "tables": {
            "t": {"kind": "listed", "field": "f", "words": ["A", "BB"]},
            "k": {"kind": "check", "method": "iso7064 mod 37,36"},
        },
        "messages": {"m": {"layout": "t k", "label": label}},
        "phrases": {"p": {"says": ["rain here"], "label": label}},
    }
    try:
        return book_of(spec)
    except BookError:
        assume(False)
        raise


class Page(HTMLParser):
    """Collects the tags and the text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.texts: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(f"{tag} {attrs}")

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


PLAIN = book("title", "label", ["one option", "other option"])


def bare(source: str) -> str:
    """Return C without its comments."""
    return re.sub(r"/\*.*?\*/", "", source, flags=re.DOTALL)


@pytest.mark.slow
@settings(max_examples=40)
@given(texts, texts, st.lists(texts, min_size=2, max_size=2, unique=True))
def test_what_recognisers_and_compilers_read_has_no_text_of_the_book(
    title: str, label: str, options: list[str]
) -> None:
    made = book(title, label, options)
    for form in ("jsgf", "fsg", "dict", "pls"):
        (text,), (plain,) = export(made, form).values(), export(PLAIN, form).values()
        lines, plain_lines = (
            [line for line in data.decode().split("\n") if line[:2] not in ("//", "# ")]
            for data in (text, plain)
        )
        assert lines == plain_lines
    files, plain_files = c_files(made), c_files(PLAIN)
    assert bare(files.source) == bare(plain_files.source)
    assert bare(files.header) == bare(plain_files.header)
    assert files.header.isascii()
    assert "\\\n" not in files.header + files.source
    assert not re.search(r"/\*[^*]*/\*", files.header + files.source)  # which compilers warn of


@pytest.mark.slow
@given(texts, texts, st.lists(texts, min_size=2, max_size=2, unique=True))
def test_markup_rows_and_grammars_give_the_text_back(
    title: str, label: str, options: list[str]
) -> None:
    made = book(title, label, options)
    (data,) = export(made, "srgs").values()
    root = ET.fromstring(data)  # noqa: S314 - our own
    assert root[0].get("content") == visible(title)
    listed = json.loads(re.findall(r"var w0=(\{.*?\});function", root[1].text or "")[0])
    assert listed == {"A": [options[0]], "BB": [options[1]]}
    (data,) = export(made, "csv").values()
    rows = list(csv.reader(io.StringIO(data.decode(), newline="")))
    assert [row[5].removeprefix("'") for row in rows[1:]] == [
        option.removeprefix("'") for option in options
    ]
    assert {row[6] for row in rows[1:]} == {""}  # a choice has no unit
    (data,) = export(made, "lark").values()
    Lark(data.decode(), start="car")
    page, plain = Page(html(made, "engineer")), Page(html(PLAIN, "engineer"))
    assert page.tags == plain.tags
    assert {visible(option) for option in options} <= set(page.texts)


@pytest.mark.slow
@settings(max_examples=12)
@given(texts, texts, st.lists(texts, min_size=2, max_size=2, unique=True))
def test_pictures_of_any_text_are_well_formed(title: str, label: str, options: list[str]) -> None:
    svg = picture(book(title, label, options), "engineer", "svg")
    drawn = "".join(
        element.text or ""
        for element in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")  # noqa: S314 - ours
    )
    assert drawn.replace(" ", "").endswith(
        "".join(
            f"{word}{visible(option)}" for word, option in zip(("A", "BB"), options, strict=True)
        ).replace(" ", "")
    )
