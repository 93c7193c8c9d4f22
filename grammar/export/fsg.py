"""FSG, the finite-state grammar text of the Sphinx recognisers: a book's reports as states and
words.

The format: ``FSG_BEGIN name``, ``NUM_STATES``, ``START_STATE``, ``FINAL_STATE``, one ``TRANSITION
from to probability [word]`` a line (without a word it is taken in silence), ``FSG_END``; lines that
begin with # are comments. Source: the manual of the Sphinx base library, module fsg_model (from
memory), and what pocketsphinx 5 reads and writes.

The states are those of the code tables, and of the checks where these are enforced, each once, so
the file stays small where a grammar of rules does not.
"""

from __future__ import annotations

import re

from grammar.book import Book
from grammar.export.network import Network, caution, of_message
from grammar.message import Direction


def fsg(book: Book, direction: Direction | None = None, *, enforced: bool = False) -> str:
    """Return the states of a book's messages of a direction (None: of both), with ``enforced`` of
    what their checks allow.

    Raises CodeError where they are too many.
    """
    states, messages = _States(), book.sent_by(direction)
    for message in messages:
        states.add(book, of_message(message, enforced=enforced))
    return "\n".join(
        [
            f"# {re.sub(r'[^ -~]', ' ', book.title)}: generated; do not edit.",
            f"# {caution(messages, enforced=enforced)}",
            f"FSG_BEGIN {re.sub(r'[^A-Za-z0-9_]', '_', book.name) or 'book'}",
            f"NUM_STATES {states.count}",
            "START_STATE 0",
            "FINAL_STATE 1",
            *(" ".join(map(str, line)).rstrip() for line in states.lines),
            "FSG_END",
            "",
        ]
    )


class _States:
    """States of all messages: 0 where they begin, 1 where they end."""

    def __init__(self) -> None:
        self.count = 2
        self.lines: list[tuple[str, int, int, str, str]] = []

    def say(self, before: int, after: int, words: list[str]) -> None:
        """Add words one after another; none for silence."""
        while len(words) > 1:
            self.lines.append(("TRANSITION", before, self.count, "1.0", words[0]))
            before, words, self.count = self.count, words[1:], self.count + 1
        self.lines.append(("TRANSITION", before, after, "1.0", "".join(words)))

    def add(self, book: Book, network: Network) -> None:
        """Add a message: nodes where nothing can follow are the end."""
        place = {node: 1 for node, arcs in enumerate(network.arcs) if not arcs}
        for node, arcs in enumerate(network.arcs):
            if arcs:
                place[node], self.count = self.count, self.count + 1
        self.say(0, place[0], [])
        for node, arcs in enumerate(network.arcs):
            for symbol, target in dict.fromkeys((arc.symbol, arc.target) for arc in arcs):
                self.say(
                    place[node], place[target], book.alphabet.words[symbol].word.lower().split()
                )
            if arcs and network.final[node]:
                self.say(place[node], 1, [])
