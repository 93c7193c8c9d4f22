"""The code in use: spoken reports to readings, readings to strings.

from codec import load_book, decode, readings, encode, decode_many

A name is imported when it is first asked for, so that a command builds only what it needs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

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

if TYPE_CHECKING:
    from codec.decoding import Transcript, decode, decode_all, decode_many, readings
    from codec.encoding import Encoded, encode
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
    from grammar.loading import load_book
    from grammar.parsing import parse_book
else:
    # Where the names are defined, each above what it stands on: none is loaded in vain.
    _MODULES = (
        "grammar.errors",
        "grammar.fields",
        "grammar.book",
        "grammar.loading",
        "grammar.parsing",
        "codec.reading",
        "codec.decoding",
        "codec.encoding",
    )

    def __getattr__(name: str) -> object:
        """Import a name of the library from where it is defined, and keep it."""
        from importlib import import_module

        if name in __all__:
            for module in _MODULES:
                if hasattr(import_module(module), name):
                    return globals().setdefault(name, getattr(import_module(module), name))
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")

    def __dir__() -> list[str]:
        """List the names of the library whether they are loaded yet or not."""
        return sorted({*globals(), *__all__})
