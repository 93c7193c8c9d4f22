"""JSGF 1.0 (Java Speech Grammar Format, 1998): a book's reports as a grammar of words for a
recogniser.

A message is its layout over one rule for each state of a code table. One whose checks are enforced
is made of the states of its checks, a rule each: where that is too much for recognisers that write
every rule out wherever it is used, a comment in the file says so.
"""

from __future__ import annotations

import re

from grammar.book import Book
from grammar.export.network import Network, caution, grouped, of_message, of_table
from grammar.layout import Leaf, bottom_up
from grammar.message import Direction, Message

MOST_WORDS = 250_000  # written out; pocketsphinx 5 was seen to take some 5 kB of memory for each


def jsgf(book: Book, direction: Direction | None = None, *, enforced: bool = False) -> str:
    """Return the grammar of a book's messages of a direction (None: of both), with ``enforced`` of
    what their checks allow.

    Raises CodeError where checks make it too large.
    """
    messages = book.sent_by(direction)
    checked = [message for message in messages if enforced and message.check_leaves]
    plain = [message for message in messages if message not in checked]
    tables = {table.name: table for message in plain for table in message.tables}
    networks = {f"message-{one.name}": of_message(one, enforced=True) for one in checked} | {
        f"table-{name}": of_table(table) for name, table in tables.items() if table.literal is None
    }
    lines = [
        "#JSGF V1.0 UTF-8 en;",
        f"// {re.sub(r'[^ -~]', ' ', book.title)}: generated; do not edit.",
        f"// {caution(messages, enforced=enforced)}",
        f"grammar {re.sub(r'[^A-Za-z0-9_]', '_', book.name) or 'book'};",
        f"public <report> = {' | '.join(f'<message-{message.name}>' for message in messages)};",
        *(f"<message-{message.name}> = {_layout(book, message)};" for message in plain),
    ]
    for name, network in networks.items():
        lines += _rules(book, name, network)
    return "\n".join(lines) + "\n"


def _layout(book: Book, message: Message) -> str:
    """Return a layout as JSGF has it."""

    def of_leaf(leaf: Leaf) -> str:
        table = message.tables[leaf.number]
        return (
            f"<table-{table.name}>"
            if table.literal is None
            else " ".join(jsgf_word(book, symbol) for symbol in table.literal)
        )

    return bottom_up(
        message.node,
        of_leaf,
        " ".join,
        lambda part: f"[ {part} ]",
        lambda parts: f"( {' | '.join(parts)} )",
    )


def _rules(book: Book, name: str, network: Network) -> list[str]:
    """Return a rule for each state of a network where something can follow; the first has its
    name.
    """
    words = network.written_out()
    note = (
        f"// {name}: {words} words for a recogniser that writes every rule out wherever it is used:"
        " export fsg for such a one."
    )
    rules = [
        f"<{_numbered(name, state)}> = {_state(book, name, network, state)};"
        for state, arcs in enumerate(network.arcs)
        if arcs
    ]
    return [*([note] if words > MOST_WORDS else []), *rules]


def _numbered(name: str, number: int) -> str:
    return f"{name}-{number}" if number else name


def _state(book: Book, name: str, network: Network, state: int) -> str:
    ways: dict[int, list[str]] = {}
    for target, _, symbols in grouped(network.arcs[state]):
        ways.setdefault(target, []).extend(jsgf_word(book, symbol) for symbol in symbols)
    said = [
        f"( {' | '.join(dict.fromkeys(words))} )"
        + (f" <{_numbered(name, target)}>" if network.arcs[target] else "")
        for target, words in ways.items()
    ]
    return " | ".join([*said, *(["<NULL>"] if network.final[state] else [])])


def jsgf_word(book: Book, symbol: str) -> str:
    """Return the tokens for a symbol: its word, as it is where no character in it is special in
    JSGF, else quoted.
    """
    word = book.alphabet.words[symbol].word.lower()
    return (
        '"' + word.replace("\\", "\\\\").replace('"', '\\"') + '"'
        if re.search(r"[;=|*+<>()\[\]{}/\"\\]", word)
        else word
    )
