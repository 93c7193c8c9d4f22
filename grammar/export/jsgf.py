"""JSGF 1.0 (Java Speech Grammar Format, 1998): a book's reports as a grammar of words for a recogniser.

One rule for each message and each code table, ranges included. Check symbols are any symbol here: recognisers write a rule out wherever
it is used, so what a check demands would make the grammar too large; what is heard must still be held against the book (SRGS has the
checks).
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from grammar.book import Book
from grammar.codes import DONE, CodeTable, Literal
from grammar.layout import Either, InOrder, Leaf, Maybe, Node
from grammar.message import Direction, Message


def jsgf(book: Book, direction: Direction | None = None) -> str:
    """Return the grammar of a book's messages of a direction (None: of both)."""
    messages = book.sent_by(direction)
    lines = ["#JSGF V1.0 UTF-8 en;", f"// {re.sub(r'[^ -~]', ' ', book.title)}: generated; do not edit."]
    checked = [message.name for message in messages if message.check_leaves]
    if checked:
        lines.append(f"// Any check symbol is accepted in {', '.join(checked)}: hold what is heard against the book.")
    lines.append(f"grammar {re.sub(r'[^A-Za-z0-9_]', '_', book.name) or 'book'};")
    lines.append(f"public <report> = {' | '.join(f'<message-{message.name}>' for message in messages)};")
    lines += [f"<message-{message.name}> = {_node(book, message, message.node)};" for message in messages]
    tables = {table.name: table for message in messages for table in message.tables if not isinstance(table, Literal)}
    for table in tables.values():
        lines += _table(book, table)
    return "\n".join(lines) + "\n"


def _node(book: Book, message: Message, node: Node) -> str:
    if isinstance(node, Leaf):
        table = message.tables[node.number]
        return " ".join(jsgf_word(book, symbol) for symbol in table.literal) if isinstance(table, Literal) else f"<table-{table.name}>"
    if isinstance(node, Maybe):
        return f"[ {_node(book, message, node.part)} ]"
    parts = [_node(book, message, part) for part in node.parts]
    if isinstance(node, Either):
        return f"( {' | '.join(parts)} )"
    assert isinstance(node, InOrder)  # noqa: S101 - the last kind of node
    return " ".join(parts)


def _table(book: Book, table: CodeTable) -> list[str]:
    """Return the rules of a table: one for each state of its automaton."""
    lines = []
    for state, edges in enumerate(table.fragment()):
        ways = []
        for mask, target in edges:
            words = [jsgf_word(book, symbol) for symbol in book.alphabet.unmask(mask)]
            said = words[0] if len(words) == 1 else f"( {' | '.join(words)} )"
            ways.append(said if target == DONE else f"{said} <table-{table.name}-{target}>")
        lines.append(f"<table-{table.name}{f'-{state}' if state else ''}> = {' | '.join(ways)};")
    return lines


def jsgf_word(book: Book, symbol: str) -> str:
    """Return the tokens for a symbol: its word, as it is where no character in it is special in JSGF, else quoted."""
    word = book.alphabet.words[symbol].word.lower()
    return '"' + word.replace("\\", "\\\\").replace('"', '\\"') + '"' if re.search(r"[;=|*+<>()\[\]{}/\"\\]", word) else word


def tokens(book: Book, string: str) -> Sequence[str]:
    """Return the words of a string as the grammar has them."""
    return [word for symbol in string for word in book.alphabet.words[symbol].word.lower().split()]
