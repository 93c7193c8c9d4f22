"""A book in other forms: grammars for recognisers, a lexicon, rows for spreadsheets, C for the dash, cards for people."""

from __future__ import annotations

from collections.abc import Callable

from grammar.book import Book
from grammar.errors import CodeError
from grammar.message import Direction

Files = dict[str, bytes]

FORMATS = {
    "lark": "the generated Lark grammar of the reports",
    "jsgf": "JSGF 1.0, for a speech recogniser",
    "srgs": "W3C SRGS 1.0 in XML, with tags that give the values",
    "pls": "W3C PLS 1.0, how the words are said",
    "csv": "every codeword with words and values (RFC 4180)",
    "c": "one C99 header and source for the dash",
    "card": "cards for driver and engineer: SVG, PNG, printable HTML",
}


def export(book: Book, form: str, *, direction: Direction | None = None) -> Files:
    """Return a book in a form, as files by name; raises CodeError for an unknown form and for a book the form can't hold."""
    if form not in FORMATS:
        raise CodeError(f"there is no format {form!r}", kind="unknown-format", expected=list(FORMATS))
    makers: dict[str, Callable[[], Files]] = {
        "lark": lambda: _lark(book),
        "jsgf": lambda: _jsgf(book, direction),
        "srgs": lambda: _srgs(book, direction),
        "pls": lambda: _pls(book),
        "csv": lambda: _csv(book),
        "c": lambda: _c(book),
        "card": lambda: _card(book),
    }
    return makers[form]()


def _lark(book: Book) -> Files:
    from grammar.reports import grammar_text

    return {f"{book.name}.lark": grammar_text(book).encode()}


def _jsgf(book: Book, direction: Direction | None) -> Files:
    from grammar.export.jsgf import jsgf

    return {f"{book.name}.jsgf": jsgf(book, direction).encode()}


def _srgs(book: Book, direction: Direction | None) -> Files:
    from grammar.export.srgs import srgs

    return {f"{book.name}.grxml": srgs(book, direction).encode()}


def _pls(book: Book) -> Files:
    from grammar.export.lexicon import pls

    return {f"{book.name}.pls": pls(book).encode()}


def _csv(book: Book) -> Files:
    from grammar.export.rows import rows

    return {f"{book.name}.csv": rows(book).encode()}


def _c(book: Book) -> Files:
    from grammar.export.c import c_files

    files = c_files(book)
    return {files.header_name: files.header.encode(), files.source_name: files.source.encode()}


def _card(book: Book) -> Files:
    from grammar.export.card import html, picture

    found: Files = {}
    for reader in ("driver", "engineer"):
        found[f"{book.name}-{reader}.html"] = html(book, reader).encode()
        for form in ("svg", "png"):
            found[f"{book.name}-{reader}.{form}"] = picture(book, reader, form)
    return found


__all__ = ["FORMATS", "Files", "export"]
