"""Bulk decoding against stock Lark LALR on the generated report grammar, and against one
hand-written regular expression.

    python tests/bench/bench_decode.py [reports]

All three read the same spoken reports (6 or 8 words, the last two optional) into the same
dictionary of values; Lark on a tenth of them, scaled.
"""

from __future__ import annotations

import collections
import itertools
import random
import re
import resource
import sys
import tracemalloc
from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

from common import by_turns, table
from lark import Lark

from codec import Reading, decode_many, parse_book
from grammar.book import Book
from grammar.export.lark_grammar import grammar_text

BOOK = """
[fields.energy]
kind = "quantity"
unit = "kWh"
low = -3.0
high = 3.0
step = 0.1
[fields.motor]
kind = "quantity"
unit = "°C"
low = 0
high = 199
step = 1
[fields.alert]
kind = "choice"
options = ["none", "rain", "damage", "pit"]
usual = "none"
[tables.energy]
kind = "digits"
[tables.motor]
kind = "digits"
count = "value"
[tables.alert]
kind = "listed"
words = ["AA", "BC", "CB", "DE"]
[messages.report]
layout = '"V" energy motor alert?'
"""
FIGURES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "niner")
ALERTS = {
    "alfa alfa": "none",
    "bravo charlie": "rain",
    "charlie bravo": "damage",
    "delta echo": "pit",
    None: "none",
}


def spoken(count: int) -> Iterator[str]:
    """Yield reports as an engineer would type what was heard."""
    chance = random.Random(7)
    alerts = [*ALERTS]
    for _ in range(count):
        energy, motor, alert = chance.randrange(61), chance.randrange(200), chance.choice(alerts)
        figures = " ".join(FIGURES[int(figure)] for figure in f"{energy:02d}{motor:03d}")
        yield f"victor {figures} {alert}" if alert else f"victor {figures}"


def by_niner(book: Book, lines: Iterator[str]) -> Iterator[dict[str, Any]]:
    for reading in decode_many(book, lines):
        assert isinstance(reading, Reading), reading
        yield reading.values


def by_expression(lines: Iterator[str]) -> Iterator[dict[str, Any]]:
    """The peer to be near: one compiled expression and look-ups, as anyone would write it by hand
    for this one report.
    """
    figure = f"(?:{'|'.join(FIGURES)})"
    expression = re.compile(
        f"victor ({figure} {figure}) ({figure} {figure} {figure})(?: (alfa alfa|bravo"
        " charlie|charlie bravo|delta echo))?"
    )
    said = [" ".join(FIGURES[int(c)] for c in f"{n:02d}") for n in range(61)]
    energy = {words: Decimal(n - 30) / 10 for n, words in enumerate(said)}
    motor = {" ".join(FIGURES[int(c)] for c in f"{n:03d}"): Decimal(n) for n in range(200)}
    for line in lines:
        found = expression.fullmatch(line)
        assert found
        first, second, third = found.groups()
        yield {"energy": energy[first], "motor": motor[second], "alert": ALERTS[third]}


def by_lark(book: Book, lines: Iterator[str]) -> Iterator[dict[str, Any]]:
    """The peer to beat: stock Lark on the generated grammar, its tree turned into the same
    values.
    """
    lark = Lark(grammar_text(book), parser="lalr", start="car")
    symbol_of, tables = book.lexicon.plain, book.tables
    for line in lines:
        values: dict[str, Any] = {}
        for message in lark.parse(line).children:
            for leaf in message.children:
                for node in leaf.children:
                    name = getattr(node, "data", "").removeprefix("table_")
                    if name in tables:
                        word = "".join(
                            symbol_of[str(token)] for token in node.scan_values(lambda _: True)
                        )
                        entry = tables[name].entry(word)
                        assert entry
                        values.update(
                            zip(
                                (field.name for field in tables[name].fields),
                                entry.values,
                                strict=True,
                            )
                        )
        yield {**values, "alert": values.get("alert", "none")}


def last(rows: Iterator[dict[str, Any]]) -> dict[str, Any]:
    """Read all rows, keep one."""
    return collections.deque(rows, maxlen=1)[0]


def main(count: int) -> None:
    book = parse_book(BOOK)
    for ours, theirs, peer in zip(
        by_niner(book, spoken(2000)),
        by_expression(spoken(2000)),
        by_lark(book, spoken(2000)),
        strict=True,
    ):
        assert ours == theirs == peer
    lines, part = list(spoken(count)), count // 10
    works: dict[str, Callable[[], object]] = {
        "niner": lambda: last(by_niner(book, iter(lines))),
        "expression": lambda: last(by_expression(iter(lines))),
        "lark": lambda: last(by_lark(book, itertools.islice(lines, part))),
    }
    seconds = by_turns(works, 3)
    seconds["lark"] *= count / part
    rows = [("", "reports/s", "niner is")]
    rows.append(("niner decode_many", f"{count / seconds['niner']:,.0f}", ""))
    rows.append(
        (
            "stock Lark LALR",
            f"{count / seconds['lark']:,.0f}",
            f"{seconds['lark'] / seconds['niner']:.1f} times faster (aim: at least 8)",
        )
    )
    slower = seconds["niner"] / seconds["expression"]
    rows.append(
        (
            "hand-written expression",
            f"{count / seconds['expression']:,.0f}",
            f"{slower:.1f} times slower (aim: at most 6)",
        )
    )
    table(f"decoding {count:,} spoken reports of 6 or 8 words, values read of each", rows)
    memory(book, count)


def memory(book: Book, count: int) -> None:
    """Print what streaming allocates at most, for a tenth of the reports and for all of them."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    peaks = []
    for amount in (count // 10, count):
        tracemalloc.start()
        last(by_niner(book, spoken(amount)))
        peaks.append(
            (
                f"{amount:,} reports streamed",
                f"{tracemalloc.get_traced_memory()[1] / 1024:,.0f} KiB allocated at most",
            )
        )
        tracemalloc.stop()
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    table(
        "memory while streaming (constant is the aim)",
        [*peaks, ("peak of the process grew by", f"{grown / 1024:.1f} MiB")],
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200_000)
