"""A fresh key for an event: the same codewords for other levels, drawn from a secret, so that who
listens can't simply follow.

**Event regulations on coded radio come first.** Some events forbid coded messages, or want the code
disclosed.

Every table keeps its set of codewords, so lengths, times and the proof that no string has two
readings stay; only which level has which codeword changes, among codewords that take about as long.
Each event has a key of its own, derived from the secret and a salt by HKDF (RFC 5869) with the
event's name: the key of one event tells nothing of the next one's. The order is a Fisher-Yates
shuffle driven by HMAC-SHA-256 (RFC 2104) of the event's key over table and attempt; neither key nor
secret is in the book. This keeps a code from being read along on the
spot. It is no cipher: the same value has the same codeword all event long, so who records many laps
and knows what is likely can work it out.
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from grammar.book import Book
from grammar.codes import CodeTable
from grammar.design.frontier import mean_of
from grammar.design.noise import noise_of, rates
from grammar.design.write import book_text
from grammar.document import document
from grammar.errors import CodeError
from grammar.figures import drawn
from grammar.parsing import parse_book

MARGIN = 0.05
LEAST_SECRET = 16  # bytes
_MOST_ROWS = 20_000
_ATTEMPTS = 24
_DRAWS = 600
_REACH = 0.25  # codewords within this many seconds of each other may change places, at first
_CAUTION = (
    "Event regulations on coded radio come first: make sure a code like this is allowed before it"
    " is used."
)

Item = TypeVar("Item")


@dataclass(frozen=True, slots=True)
class Keyed:
    """A book under a fresh key, with figures (mean seconds, wrong, ask) of each message ``before``
    and ``after``; ``kept`` names tables left alone.
    """

    book: Book
    text: str
    before: dict[str, tuple[float, float, float]]
    after: dict[str, tuple[float, float, float]]
    kept: tuple[str, ...]


def keyed(
    book: Book, secret: bytes, event: str, *, salt: bytes = b"", margin: float = MARGIN
) -> Keyed:
    """Return the book under the key of a secret and an event; the same for the same secret, salt,
    event and book. The secret is random, or a passphrase that was stretched (codec.key_file).

    ``margin`` is how much the mean seconds and the share of reports refused or read wrongly may
    change, as a share of what they were (rates below one in a thousand may change by that much).
    Raises CodeError for a short secret, and where no key keeps the margin.
    """
    if len(secret) < LEAST_SECRET:
        raise CodeError(
            f"a secret of {len(secret)} bytes",
            kind="secret",
            expected=[f"{LEAST_SECRET} or more; a random one is best"],
        )
    key = event_key(secret, event, salt)
    before = _figures(book)
    for attempt in range(_ATTEMPTS):
        reach = _REACH / (1 + attempt // 3)
        text, kept = _text(book, key, event, attempt, reach)
        made = parse_book(text, book.name)
        after = _figures(made)
        if all(_near(before[name], after[name], margin) for name in before):
            return Keyed(made, text, before, after, kept)
    raise CodeError(
        f"no key keeps times and rates within {margin:.0%}", kind="key", hint="allow a wider margin"
    )


def event_key(secret: bytes, event: str, salt: bytes = b"") -> bytes:
    """Return the key of one event, 32 bytes."""
    return hkdf(secret, salt, f"niner event key 2|{event}".encode(), 32)


def hkdf(secret: bytes, salt: bytes, info: bytes, size: int) -> bytes:
    """Return ``size`` bytes derived from a secret: HKDF (RFC 5869) with SHA-256."""
    drawn = hmac.new(salt or bytes(32), secret, hashlib.sha256).digest()
    block, key = b"", b""
    for number in range(1, -(-size // 32) + 1):
        block = hmac.new(drawn, block + info + bytes([number]), hashlib.sha256).digest()
        key += block
    return key[:size]


def _near(
    before: tuple[float, float, float], after: tuple[float, float, float], margin: float
) -> bool:
    seconds, *shares = zip(before, after, strict=True)
    return abs(seconds[1] - seconds[0]) <= margin * seconds[0] and all(
        abs(b - a) <= max(margin * a, 0.001) for a, b in shares
    )


def _figures(book: Book) -> dict[str, tuple[float, float, float]]:
    noise = noise_of(book.alphabet, book.hearing)
    found = {}
    for name, message in book.messages.items():
        reports = drawn(book, message, _DRAWS, 1)
        met = rates(book, message, noise, reports)
        found[name] = (mean_of(reports)[0], met.wrong, met.ask)
    return found


def _text(
    book: Book, key: bytes, event: str, attempt: int, reach: float
) -> tuple[str, tuple[str, ...]]:
    raw = document(book.source, book.name)
    kept = []
    tables: dict[str, Any] = {}
    for name, table in book.tables.items():
        entry = dict(raw["tables"][name])
        source = _numbers(key, f"{name}|{attempt}")
        tables[name] = _shuffled(book, table, entry, source, reach)
        if tables[name] is None:
            tables[name] = entry
            kept.append(name)
    head = [
        (
            f"{book.title}, keyed for {event}. The tables are shuffled by a secret that is not in"
            " this file."
        ),
        _CAUTION,
    ]
    notes = " ".join([str(raw.get("notes", "")).strip(), _CAUTION]).strip()
    return book_text({**raw, "notes": notes, "tables": tables}, head, {}), tuple(kept)


def _shuffled(
    book: Book, table: CodeTable, entry: dict[str, Any], source: Iterator[int], reach: float
) -> dict[str, Any] | None:
    """Return a table's entry with its codewords in another order, None for a table that has no
    order to change.
    """
    if table.check is not None or table.size < 2:
        return None
    if table.size > _MOST_ROWS:
        numeral = table.numeral
        if numeral is None or table.decimal:  # decimal digits are in order
            return None
        figures = _blocks(
            list(numeral.figures),
            [book.alphabet.seconds(f) for f in numeral.figures],
            reach / numeral.width,
            source,
        )
        return {**entry, "symbols": "".join(figures)}
    pairs = list(table.words())
    cost = book.cost("seconds")
    words = _blocks(
        [word for _, word in pairs], [cost(table, word) for _, word in pairs], reach, source
    )
    names = [field.name for field in table.fields]
    if len(pairs) == _combinations(table):
        ordered: Any = words
    else:  # part of the levels: said by value
        ordered = {
            _value(table, levels): word for (levels, _), word in zip(pairs, words, strict=True)
        }
    said = {"fields": names} if len(names) > 1 else {"field": names[0]}
    return {
        "kind": "listed",
        **said,
        **({} if isinstance(ordered, list) else {"partial": True}),
        "words": ordered,
    }


def _combinations(table: CodeTable) -> int:
    size = 1
    for field in table.fields:
        size *= field.size
    return size


def _value(table: CodeTable, levels: Sequence[int]) -> str:
    value: Any = table.fields[0].value(levels[0])
    return ", ".join(sorted(value)) or "none" if isinstance(value, frozenset) else str(value)


def _blocks(
    items: list[Item], seconds: Sequence[float], reach: float, source: Iterator[int]
) -> list[Item]:
    """Shuffle items among those that take about as long: runs, sorted by time, no longer than
    ``reach`` seconds.
    """
    order = sorted(range(len(items)), key=lambda place: (seconds[place], place))
    shuffled = list(items)
    start = 0
    for end in range(1, len(order) + 1):
        if end == len(order) or seconds[order[end]] - seconds[order[start]] > reach:
            places = order[start:end]
            drawn_places = list(places)
            for last in range(len(places) - 1, 0, -1):
                other = _below(last + 1, source)
                drawn_places[last], drawn_places[other] = drawn_places[other], drawn_places[last]
            for place, taken in zip(places, drawn_places, strict=True):
                shuffled[place] = items[taken]
            start = end
    return shuffled


def _numbers(key: bytes, label: str) -> Iterator[int]:
    """Yield whole numbers of 64 bits from HMAC-SHA-256 in counter mode."""
    counter = 0
    while True:
        block = hmac.new(key, f"{label}|{counter}".encode(), hashlib.sha256).digest()
        yield from (int.from_bytes(block[place : place + 8], "big") for place in range(0, 32, 8))
        counter += 1


def _below(limit: int, source: Iterator[int]) -> int:
    """Return the next number below ``limit``, each alike: numbers that would favour some are passed
    over.
    """
    room = (1 << 64) // limit * limit
    return next(number for number in source if number < room) % limit
