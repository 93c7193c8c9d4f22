"""Loading a book from its file, or from what is kept of it in the user's cache folder where the
file was found right before.
"""

from __future__ import annotations

import contextlib
import functools
from pathlib import Path
from typing import TYPE_CHECKING

from grammar import kept
from grammar.book import Book
from grammar.compiled import compiled, rebuilt
from grammar.document import read

if TYPE_CHECKING:
    from grammar.models import BookSpec


def load_book(path: str | Path) -> Book:
    """Return the code book in a TOML file.

    Raises BookError with every problem at once (file, line, what to do), also where the file can't
    be read; never anything else.
    """
    return book_of(read(Path(path), "a book"), str(path))


def book_of(text: str, name: str) -> Book:
    """Return the code book in a TOML text, that of a file or one of the name; raises BookError."""
    found = kept.found(text)
    if found is not None:
        with contextlib.suppress(KeyError):  # a kind that this program does not have
            return rebuilt(found, Path(name).stem, text, functools.partial(_spec, text, name))
    from grammar.parsing import parse_book

    book = parse_book(text, name)
    if kept.wanted():
        kept.keep(text, compiled(book))
    return book


def _spec(text: str, name: str) -> BookSpec:
    from grammar.parsing import spec_of

    return spec_of(text, name)
