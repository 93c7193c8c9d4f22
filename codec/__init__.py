"""The code in use: spoken reports to readings, readings to strings.

from codec import load_book, decode, readings, encode, decode_many
"""

from __future__ import annotations

from codec.decode import Transcript, decode, decode_all, decode_many, readings
from codec.encode import Encoded, encode
from codec.reading import Mark, Part, Reading
from grammar.book import Book
from grammar.errors import (
    Ambiguous,
    BookError,
    CodeError,
    EncodeError,
    Incomplete,
    ReportError,
    UnexpectedWord,
    UnknownWord,
)
from grammar.fields import Band
from grammar.loading import load_book, parse_book

__all__ = [
    "Ambiguous",
    "Band",
    "Book",
    "BookError",
    "CodeError",
    "EncodeError",
    "Encoded",
    "Incomplete",
    "Mark",
    "Part",
    "Reading",
    "ReportError",
    "Transcript",
    "UnexpectedWord",
    "UnknownWord",
    "decode",
    "decode_all",
    "decode_many",
    "encode",
    "load_book",
    "parse_book",
    "readings",
]
