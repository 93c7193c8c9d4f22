"""Loading and compiling books: the example book, and a packed table of 36^6 words.

python tests/bench/bench_book.py
"""

from __future__ import annotations

import math
import time
import tracemalloc
from pathlib import Path

from common import ROOT, by_turns, table

from codec import Book, decode, encode, parse_book
from grammar.message import Message
from grammar.proof import ambiguity

PACKED = (
    "".join(f"[fields.f{n}]\nkind = 'quantity'\nlow = 0\nhigh = 35\nstep = 1\n" for n in range(6))
    + "[tables.all]\nkind = 'packed'\nfields = ['f0', 'f1', 'f2', 'f3', 'f4',"
    " 'f5']\n[messages.m]\nlayout = 'all'\n"
)


def many(count: int) -> list[Message]:
    """Return so many messages that begin with three figures each."""
    field = "[fields.f]\nkind = 'quantity'\nlow = 0\nhigh = 99\nstep = 1\n"
    messages = "".join(f"[messages.m{n}]\nlayout = '\"{n:03d}\" f'\n" for n in range(count))
    book = parse_book(f"{field}[tables.f]\nkind = 'digits'\n{messages}")
    return list(book.messages.values())


def compiled(text: str) -> Book:
    """Return a book with all that decoding builds on first use."""
    book = parse_book(text)
    for direction in (None, *book.directions):
        book.automaton(direction)
    for message in book.messages.values():
        message.quick("0" * message.lengths[1])
    return book


def main() -> None:
    race = Path(ROOT / "examples" / "race" / "race.toml").read_text("utf-8")
    began = time.process_time()
    compiled(race)
    first = time.process_time() - began
    seconds = by_turns({"race": lambda: compiled(race), "packed": lambda: compiled(PACKED)}, 15)
    tracemalloc.start()
    book = compiled(PACKED)
    values = {f"f{n}": 35 - n for n in range(6)}
    assert decode(book, encode(book, values).string, typed=True).values == values
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    rows = [
        ("", "milliseconds", "aim"),
        ("examples/race, the first time after imports", f"{first * 1000:.1f}", "100"),
        ("examples/race, again", f"{seconds['race'] * 1000:.1f}", "100"),
        (f"packed table of 36^6 = {36**6:,} words", f"{seconds['packed'] * 1000:.1f}", "100"),
    ]
    table("loading, checking, proving and compiling a book", rows)
    growth()
    table(
        "memory of the packed book, with one report encoded and decoded",
        [(f"{peak / 2**20:.2f} MiB at most", "aim: 50")],
    )


def growth() -> None:
    """Print what the proof takes as messages grow in number: the least of several times, as what
    others do on the machine only adds.
    """
    books = {count: many(count) for count in (160, 640)}
    seconds = by_turns(
        {str(count): lambda sent=sent: ambiguity(sent) for count, sent in books.items()}, 7, min
    )
    exponent = math.log(seconds["640"] / seconds["160"]) / math.log(4)
    rows = [("", "milliseconds", "aim")]
    rows += [
        (f"{count} messages", f"{seconds[str(count)] * 1000:.0f}", "200" if count == 640 else "")
        for count in books
    ]
    table(
        "proving that no string has two readings", [*rows, ("exponent", f"{exponent:.2f}", "1.2")]
    )


if __name__ == "__main__":
    main()
