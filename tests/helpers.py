"""What several tests share: books as TOML text, and messages built without the proof."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

import pytest
import tomli_w

from codec import Book, BookError, CodeError, parse_book
from grammar.binding import bind_messages, bind_tables
from grammar.codes import CodeTable
from grammar.message import Message
from grammar.parsing import BOOK
from grammar.symbols import Alphabet

Result = TypeVar("Result")


def attempt(ask: Callable[..., Result], *given: Any, **settings: Any) -> Result | CodeError:
    """Return what is answered, or the error that refuses; anything else is raised."""
    try:
        return ask(*given, **settings)
    except CodeError as error:
        return error


def first_short(cases: Iterable[Any], short: int = 1) -> list[Any]:
    """Return cases as parameters: after the first so many, they belong to the long form."""
    return [
        pytest.param(
            *(case if isinstance(case, tuple) else (case,)),
            marks=[pytest.mark.slow] * (place >= short),
        )
        for place, case in enumerate(cases)
    ]


def toml_text(spec: Mapping[str, Any]) -> str:
    """Write a book as TOML."""
    return tomli_w.dumps(spec)


def book_of(spec: Mapping[str, Any]) -> Book:
    """Compile a book from dictionaries, through TOML text; raises BookError."""
    return parse_book(toml_text(spec))


def unproven(spec: Mapping[str, Any]) -> dict[str, Message] | None:
    """Return the messages of a book that may be ambiguous; None where its parts do not fit
    together.
    """
    inspection = BOOK.inspect(toml_text(spec), "book")
    try:
        model = inspection.model()
        alphabet = Alphabet(model.alphabet)
        tables = bind_tables(model, alphabet, inspection)
        messages = bind_messages(model, alphabet, tables, inspection)
        inspection.settle()
    except BookError:
        return None
    return messages


def tables_of(spec: Mapping[str, Any]) -> dict[str, CodeTable]:
    """Return the tables of a book that may be ambiguous; raises BookError."""
    inspection = BOOK.inspect(toml_text(spec), "book")
    model = inspection.model()
    tables = bind_tables(model, Alphabet(model.alphabet), inspection)
    inspection.settle()
    return tables
