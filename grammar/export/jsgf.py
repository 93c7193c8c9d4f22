"""JSGF 1.0 (Java Speech Grammar Format, 1998): a book's reports as a grammar of words for a
recogniser.

The grammar accepts just what the book accepts. A message without a check is its layout over one
rule for each code table; one with checks is made of the states of its checks. Both are folded into
few words, for recognisers that write every rule out wherever it is used. Where that is still too
much for them, each state has a rule of its own: the same strings, and a comment in the file says
so.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from grammar.book import Book
from grammar.export.fold import Alternative, Folded, fold
from grammar.export.network import Network, grouped, of_message, of_table
from grammar.layout import Leaf, bottom_up
from grammar.message import Direction, Message

MOST_WORDS = 250_000  # written out; pocketsphinx 5 was seen to take some 5 kB of memory for each
_WORTH_SAYING = 1000


def jsgf(book: Book, direction: Direction | None = None) -> str:
    """Return the grammar of a book's messages of a direction (None: of both).

    Raises CodeError where checks make it too large.
    """
    messages = book.sent_by(direction)
    plain = [message for message in messages if not message.check_leaves]
    lines = [
        "#JSGF V1.0 UTF-8 en;",
        f"// {re.sub(r'[^ -~]', ' ', book.title)}: generated; do not edit.",
    ]
    lines.append("// Accepts what the book accepts, ranges and check symbols included.")
    lines.append(f"grammar {re.sub(r'[^A-Za-z0-9_]', '_', book.name) or 'book'};")
    lines.append(
        f"public <report> = {' | '.join(f'<message-{message.name}>' for message in messages)};"
    )
    lines += [f"<message-{message.name}> = {_layout(book, message)};" for message in plain]
    tables = {
        table.name: table for message in plain for table in message.tables if table.literal is None
    }
    for name, table in tables.items():
        lines += _rules(book, f"table-{name}", of_table(table))
    for message in messages:
        lines += (
            _rules(book, f"message-{message.name}", of_message(message))
            if message.check_leaves
            else []
        )
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
    """Return the rules that say what a network says; the first has its name."""
    folded = fold(network, MOST_WORDS)
    if folded is not None:
        long = folded.words >= _WORTH_SAYING
        said = (
            [
                (
                    f"// {name}: {folded.words} words for a recogniser that writes every rule out;"
                    " fsg is smaller and quicker"
                )
            ]
            if long
            else []
        )
        return [*said, *_folded(book, name, folded)]
    return [
        (
            f"// {name}: one rule for each of its {len(network.arcs)} states. A recogniser that"
            " writes every rule out wherever it is used"
        ),
        f"// can't hold it (more than {MOST_WORDS} words): export fsg for such a one.",
        *(
            f"<{_numbered(name, state)}> = {_state(book, name, network, state)};"
            for state in range(len(network.arcs))
        ),
    ]


def _numbered(name: str, number: int) -> str:
    return f"{name}-{number}" if number else name


def _folded(book: Book, name: str, folded: Folded) -> list[str]:
    """Return one rule for each of the folded; those that are words alone and used once stand where
    they are used.
    """
    used = Counter(
        item
        for rule in (folded.whole, *folded.rules)
        for alternative in rule
        for item in alternative
        if isinstance(item, int)
    )
    inside = {
        number
        for number, rule in enumerate(folded.rules)
        if used[number] == 1 and all(_is_word(one) for one in rule)
    }

    def item(one: str | int) -> str:
        if isinstance(one, str):
            return jsgf_word(book, one)
        return (
            f"( {body(folded.rules[one])} )" if one in inside else f"<{_numbered(name, one + 1)}>"
        )

    def body(alternatives: Sequence[Alternative]) -> str:
        return " | ".join(
            " ".join(map(item, alternative)) or "<NULL>" for alternative in alternatives
        )

    rules = [
        f"<{_numbered(name, number + 1)}> = {body(rule)};"
        for number, rule in enumerate(folded.rules)
        if number not in inside
    ]
    return [f"<{name}> = {body(folded.whole)};", *rules]


def _is_word(alternative: Alternative) -> bool:
    return len(alternative) == 1 and isinstance(alternative[0], str)


def _state(book: Book, name: str, network: Network, state: int) -> str:
    ways: dict[int, list[str]] = {}
    for target, _, symbols in grouped(network.arcs[state]):
        ways.setdefault(target, []).extend(jsgf_word(book, symbol) for symbol in symbols)
    said = [
        f"( {' | '.join(dict.fromkeys(words))} ) <{_numbered(name, target)}>"
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
