"""The race book's lap report alone, as it was written by hand, to compare designs with."""

from __future__ import annotations

from codec import Book
from grammar.design.write import book_text
from grammar.document import document
from grammar.parsing import parse_book


def lap_alone(book: Book, noise: float | None = None) -> Book:
    """Return a book with its lap report and no other message, in its own noise or another, in
    decibels.
    """
    raw = document(book.source, book.name)
    raw["messages"] = {"lap": raw["messages"]["lap"]}
    raw["hearing"].pop("messages")
    if noise is not None:
        raw["hearing"]["noise"] = noise
    return parse_book(book_text(raw, [], {}), "race by hand")
