"""Strings of reports, and of what is nearly one: a symbol changed, lost or added, two neighbours
swapped, the check symbol changed.
"""

from __future__ import annotations

import random

from codec import Book, CodeError, load_book, readings
from grammar.figures import drawn
from grammar.message import Direction

BOOKS = ("starter", "qualifying", "race", "drill")
SEVERAL = (*BOOKS, "tyres")  # with a book of families and of parts said again
CHANGES = ("substitution", "deletion", "insertion", "swap", "check")


def example(name: str) -> Book:
    return load_book(f"examples/{name}/{name}.toml")


def strings(subject: Book, direction: Direction, count: int) -> list[str]:
    """Return ``count`` strings, half of them right, the rest by turns with one change of each
    kind.
    """
    generator = random.Random(9)
    sent = subject.sent_by(direction)
    right = [
        report.string
        for message in sent
        for report in drawn(subject, message, count // (2 * len(sent)) + 1, 5)
    ]
    found = right[: count // 2]
    return found + [
        changed(generator.choice(right), CHANGES[n % len(CHANGES)], subject, generator)
        for n in range(count - len(found))
    ]


def changed(string: str, change: str, subject: Book, generator: random.Random) -> str:
    """Return a string with one change; a check symbol, where a book has them, is the last."""
    symbols, place = list(string), generator.randrange(len(string))
    if change == "deletion" and len(symbols) > 1:
        del symbols[place]
    elif change == "insertion":
        symbols.insert(place, generator.choice(subject.alphabet.symbols))
    elif change == "swap":
        symbols[place - 1], symbols[place] = symbols[place], symbols[place - 1]
    else:
        symbols[-1 if change == "check" else place] = generator.choice(subject.alphabet.symbols)
    return "".join(symbols)


def accepted(subject: Book, string: str, direction: Direction) -> bool:
    """Tell whether niner reads a string as a report."""
    try:
        return bool(readings(subject, string, direction=direction, typed=True))
    except CodeError:
        return False


def accepted_but_for_the_check(subject: Book, string: str, direction: Direction) -> bool:
    """Tell whether niner reads a string as a report, or would if its check symbol, where it ends
    with one, were another.
    """
    if accepted(subject, string, direction):
        return True
    rules = {
        message.name: rule.method.checks
        for message in subject.sent_by(direction)
        if (rule := message.tables[-1].check) is not None
    }
    for other in {symbol for checks in rules.values() for symbol in checks}:
        try:
            read = readings(subject, string[:-1] + other, direction=direction, typed=True)
        except CodeError:
            continue
        if any(string[-1] in rules.get(reading.message, "") for reading in read):
            return True
    return False


def words(subject: Book, string: str) -> list[str]:
    """Return what is said for a string, word by word."""
    return subject.alphabet.say(string).lower().split()
