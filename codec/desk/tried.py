"""What a desk tells of a book: a string or values both ways, what noise makes of a report, and what
is wrong with a book while it is written.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from codec.decoding import decode_all
from codec.encoding import encode
from codec.hear import Hearing, channel, hear
from codec.hear.draw import passed_on
from codec.reading import Reading
from grammar.book import Book
from grammar.errors import BookError, CodeError, visible_lines
from grammar.fields import value_text
from grammar.parsing import parse_book

_DRAWS = 8  # reports that pass through the noise
_LOUD, _QUIET = -15.0, 20.0  # decibels between which the slider moves


def _reading(book: Book, reading: Reading) -> dict[str, Any]:
    values = [
        {
            "field": name,
            "text": value_text(reading.values[name]),
            "name": reading.field(name).title,
            "value": reading.shown(name),
            "warnings": list(reading.field(name).warnings(reading.levels[name])),
        }
        for name in reading.values
    ]
    words = book.alphabet.say(reading.said)
    return {
        "message": reading.title,
        "name": reading.message,
        "string": reading.said,
        "words": words,
        "seconds": round(book.alphabet.seconds(reading.said), 2),
        "values": values,
    }


def read(book: Book, text: str) -> dict[str, Any]:
    """Return what a text says: the readings of the reports in it, and its phrases.

    Raises CodeError of the first direction of the book where no direction reads it.
    """
    first: CodeError | None = None
    for direction in book.directions:
        try:
            said = decode_all(book, text, direction=direction)
        except CodeError as error:
            first = first or error
            continue
        events = [book.rules.events.get(name) or name for name, _ in said.events]
        return {"readings": [_reading(book, one) for one in said.reports], "events": events}
    raise first or CodeError("the book has no messages", kind="usage")


def say(book: Book, message: str, values: Mapping[str, str]) -> dict[str, Any]:
    """Return the shortest string of values and how it is said; a field left empty is not given.

    Raises CodeError where they can't be said.
    """
    given = {name: value for name, value in values.items() if value.strip()}
    found = encode(book, given, message or None)
    rounded = {book.fields[name].title: str(error) for name, error in found.rounding.items()}
    return {**_reading(book, found.reading), "string": found.string, "words": found.words,
            "seconds": round(found.seconds, 2), "rounded": rounded}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Passed:
    """A report that passed through noise: the words heard, and what the ears make of them."""

    words: str
    verdict: str
    told: str
    tone: str


def through_noise(book: Book, string: str, decibels: float, seed: int) -> list[Passed]:
    """Return what is heard of a report, several times over, and what would be done each time.

    ``decibels`` is the signal over the noise; the same seed gives the same noise. Raises CodeError
    where the string is none of the book's.
    """
    said = decode_all(book, string).reports
    if len(said) != 1:
        raise CodeError("one report is expected", kind="usage")
    ears = channel(book, min(_QUIET, max(_LOUD, decibels)))
    chance = random.Random(seed)  # noqa: S311 - noise that can be heard again
    found = []
    for _ in range(_DRAWS):
        words = passed_on(ears, said[0].said, chance)
        if words:
            found.append(_judged(hear(book, words, noise=ears), words, said[0]))
        else:
            found.append(Passed("nothing", "ask", "SAY AGAIN", "warning"))
    return found


def _judged(hearing: Hearing, words: list[str], said: Reading) -> Passed:
    told, decision = " ".join(words), hearing.decision
    if decision.kind != "accept":
        return Passed(told, "ask", decision.question, "warning")
    best = hearing.candidates[0].reading
    right = best.values == said.values
    return Passed(
        told, "accept", "right" if right else f"WRONG: {best}", "good" if right else "bad"
    )


def problems(text: str) -> list[dict[str, Any]]:
    """Return everything that is wrong with a book as it is written, with its place; [] for one that
    is in order.
    """
    try:
        parse_book(text)
    except BookError as error:
        return [{**one.as_dict(), "text": visible_lines(str(one))} for one in error.problems]
    except CodeError as error:
        return [{"line": 0, "column": 0, "text": visible_lines(str(error))}]
    return []
