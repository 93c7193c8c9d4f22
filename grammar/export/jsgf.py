"""JSGF 1.0 (Java Speech Grammar Format, 1998): a book's reports as a grammar of words for a recogniser.

One public rule for each message; ranges and check symbols are in the grammar where it stays small enough (see ``network``).
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from grammar.book import Book
from grammar.export.network import Network, grouped, networks
from grammar.message import Direction


def jsgf(book: Book, direction: Direction | None = None) -> str:
    """Return the grammar of a book's messages of a direction (None: of both)."""
    made = networks(list(book.messages.values()), direction)
    loose = [network.message.name for network in made if not network.exact]
    lines = ["#JSGF V1.0 UTF-8 en;", f"// {re.sub(r'[^ -~]', ' ', book.title)}: generated; do not edit."]
    if loose:
        lines.append(f"// Without check symbols in {', '.join(loose)}: hold what is heard against the book.")
    lines.append(f"grammar {re.sub(r'[^A-Za-z0-9_]', '_', book.name) or 'book'};")
    public = [f"<{network.message.name}>" for network in made]
    lines.append(f"public <report> = {' | '.join(public)};")
    for network in made:
        lines += _rules(book, network)
    return "\n".join(lines) + "\n"


def _rules(book: Book, network: Network) -> list[str]:
    name = network.message.name
    lines = [f"<{name}> = <{name}.0>;"]
    for node, arcs in enumerate(network.arcs):
        ways = []
        for target, _, symbols in grouped(arcs):
            words = [jsgf_word(book, symbol) for symbol in symbols]
            said = words[0] if len(words) == 1 else f"({' | '.join(words)})"
            ends = not network.arcs[target]
            ways.append(said if ends else f"{said} <{name}.{target}>")
        if network.final[node]:
            ways.append("<NULL>")
        if arcs:
            lines.append(f"<{name}.{node}> = {' | '.join(ways)};")
    return lines


def jsgf_word(book: Book, symbol: str) -> str:
    """Return the token for a symbol: its word, quoted where it is not plain letters."""
    word = book.alphabet.words[symbol].word.lower()
    return word if re.fullmatch(r"[a-z]+", word) else '"' + word.replace("\\", "\\\\").replace('"', '\\"') + '"'


def tokens(book: Book, string: str) -> Sequence[str]:
    """Return the words of a string as the grammar has them."""
    return [book.alphabet.words[symbol].word.lower() for symbol in string]
