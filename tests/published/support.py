"""Books and vectors of the published cases."""

from __future__ import annotations

import functools
import tomllib
from pathlib import Path
from typing import Any

from codec import Book, parse_book

HERE = Path(__file__).parent


def book_text(name: str, *changes: tuple[str, str]) -> str:
    """Return the text of ``books/name.toml`` with stretches of it replaced; each must stand in it
    exactly once.
    """
    text = (HERE / "books" / f"{name}.toml").read_text("utf-8")
    for old, new in changes:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {name}.toml"
        text = text.replace(old, new)
    return text


@functools.cache
def book(name: str, *changes: tuple[str, str]) -> Book:
    """Return ``books/name.toml``, compiled, with stretches of it replaced."""
    return parse_book(book_text(name, *changes))


def vectors(name: str) -> dict[str, Any]:
    """Return the vectors in ``name.toml``."""
    return tomllib.loads((HERE / f"{name}.toml").read_text("utf-8"))
