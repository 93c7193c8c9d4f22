"""Finds what a book's people say in ordinary talk: reports and calls, phrases, questions,
answers.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from codec.radio.evidence import Evidence, settings
from codec.radio.found import Found, Heard
from codec.radio.one_edit import Nearly
from codec.radio.search import Search
from grammar.book import Book
from grammar.message import Direction

__all__ = ["Finder", "Found", "Heard"]


class Finder:
    """Finds what a book's people say in ordinary talk."""

    def __init__(self, book: Book) -> None:
        """Weigh the words of a book."""
        self.book, self.evidence, self.reports = book, Evidence(book), Nearly(book, "car")
        self.odds, cues = settings()["odds"], settings()["cues"]
        self._before, self._after, self._hedges = (
            frozenset(cues["before"]),
            frozenset(cues["after"]),
            frozenset(cues["hedges"]),
        )
        self.shortest = min(message.lengths[0] for message in book.messages.values())
        self._plain = frozenset(cues["plain"]) | self._before | self._after

    def find(self, text: str, role: Direction | None = None, context: Any = None) -> Heard:
        """Return what ``text`` holds; ``role`` is the direction of what its speaker sends;
        ``context`` as for ``decode``.
        """
        return Search(self, text, role, context).run()

    def claimed(self, form: str, *, before: bool) -> bool:
        """Tell whether a number next to this word belongs to the talk."""
        return form in (self._before if before else self._after)

    def plain(self, form: str) -> bool:
        """Tell whether a word is one of ordinary talk that no code word is taken for."""
        return form in self._plain

    def hedged(self, words: Sequence[str]) -> bool:
        """Tell whether some word makes a phrase a mere topic."""
        return any(word in self._hedges for word in words)
