"""The C of messages: every way through a layout is tried, and the cheapest that says the values
wins; see ``c``.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from grammar.book import Book
from grammar.codes import CodeTable
from grammar.errors import CodeError
from grammar.layout import Node, bottom_up
from grammar.message import Message

MOST_WAYS = 256


def ways(node: Node) -> list[tuple[int, ...]]:
    """Return the ways through a layout as the leaves they say."""
    return bottom_up(
        node,
        lambda leaf: [(leaf.number,)],
        lambda parts: [tuple(itertools.chain(*several)) for several in itertools.product(*parts)],
        lambda part: [(), *part],
        lambda parts: list(itertools.chain(*parts)),
    )


def message_lines(book: Book, message: Message, prefix: str) -> list[str]:
    """Return the function ``PREFIX_MESSAGE``: values to the string."""
    if message.ways > MOST_WAYS:
        raise CodeError(
            f"message {message.name} has more than {MOST_WAYS} ways through its layout",
            kind="too-large",
        )
    names, name = list(message.fields), f"{prefix}_{message.name}"
    lines = [
        "",
        f"int {name}(const {name}_values *values, char string[{name.upper()}_MOST + 1])",
        "{",
        f"    int64_t level[{max(1, len(names))}];",
        "    way_t best = {0}, way = {0};",
        "    int n, ok;",
        "    best.length = -1;",
        "    (void)values; (void)level; (void)n; (void)ok;",
    ]
    for place, one in enumerate(names):
        lines.append(
            f"    level[{place}] = values->v_{one} == {prefix.upper()}_UNSAID ? -1 :"
            f" level_{one}(values->v_{one}, 1);"
        )
        lines.append(
            f"    if (level[{place}] < 0 && values->v_{one} != {prefix.upper()}_UNSAID) return -1 -"
            f" {place};"
        )
    for way in ways(message.node):
        lines += _way(book, message, names, way)
    lines += [
        "    if (best.length < 0) return -1000;",
        "    for (n = 0; n < best.length; n++) string[n] = symbols[best.text[n]];",
        "    string[best.length] = 0;",
        "    return best.length;",
        "}",
    ]
    return lines


def _way(book: Book, message: Message, names: Sequence[str], way: tuple[int, ...]) -> list[str]:
    """Return the lines that say one way, if it says all that is given but what it leaves unsaid as
    usual.
    """
    plan = message.plan(way)
    usual = {implied.name: implied.level for implied in plan.implied}
    lines = ["    way.length = 0; ok = 1;"]
    for place, name in enumerate(names):
        if name in plan.names:
            lines.append(f"    if (level[{place}] < 0) ok = 0;")
        else:
            lines.append(
                f"    if (level[{place}] >="
                f" 0{f' && level[{place}] != {usual[name]}' if name in usual else ''}) ok = 0;"
            )
    for leaf in way:
        table = message.tables[leaf]
        if table.check is not None:
            lines += _check(leaf, [n for n in way if n in message.covered(leaf)], table)
        elif table.fields:
            arguments = ", ".join(f"level[{names.index(field.name)}]" for field in table.fields)
            lines.append(
                f"    if (ok) {{ n = word_{table.name}(way.text + way.length, {arguments}); if (n <"
                " 0) ok = 0; else {"
            )
            lines.append(f"        at_{leaf} = way.length; way.length += n; size_{leaf} = n; }} }}")
        elif table.literal is not None:
            lines.append(
                f"    if (ok) {{ at_{leaf} = way.length; size_{leaf} = {len(table.literal)};"
            )
            lines += [
                f"        way.text[way.length++] = {book.alphabet.index[symbol]};"
                for symbol in table.literal
            ]
            lines.append("    }")
    lines.append("    if (ok) { way.cost = price(way.text, way.length); consider(&best, &way); }")
    places = "".join(
        f" int at_{leaf} = 0, size_{leaf} = 0; (void)at_{leaf}; (void)size_{leaf};" for leaf in way
    )
    return [f"    {{{places}", *(f"    {line}" for line in lines), "    }"]


def _check(leaf: int, covered: Sequence[int], table: CodeTable) -> list[str]:
    pieces = [
        f"        memcpy(covered + length, way.text + at_{n}, (size_t)size_{n}); length +="
        f" size_{n};"
        for n in covered
        if n != leaf
    ]
    return [
        (
            f"    if (ok) {{ unsigned char covered[MOST_TEXT]; int length = 0, wanted; at_{leaf} ="
            f" way.length; size_{leaf} = 1;"
        ),
        *pieces,
        f"        wanted = check_{table.name}(covered, length);",
        "        if (wanted < 0) ok = 0; else way.text[way.length++] = (unsigned char)wanted; }",
    ]
