"""A book looked at: where the seconds of a message go, which tables waste words, which readings are
easily confused and what that costs.
"""

from __future__ import annotations

import functools
import heapq
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from grammar.book import Book
from grammar.codes import CodeTable
from grammar.design.capacity import capacity, entropy
from grammar.design.frontier import Bound, mean_of
from grammar.design.noise import Noise, confused_words, noise_of, rates
from grammar.errors import CodeError
from grammar.figures import drawn, longest
from grammar.layout import Leaf, Maybe, Node, Repetition
from grammar.message import Message

DRAWS = 1500
_MOST_ROWS = 20_000
_MOST_LEVELS = 1500  # of a field whose confusions are listed
_OFTEN = 0.05
_ROUNDED = 1e-9  # of a cost, more than rounding can change it
_MISHEARD = 0.003  # how often a word is taken for another, from which it is worth a remark


@dataclass(frozen=True, slots=True)
class Spent:
    """One table's part: mean ``seconds`` a report, the ``bits`` its fields carry, and the ``least``
    seconds these bits need.
    """

    table: str
    seconds: float
    symbols: float
    bits: float
    least: float

    @property
    def waste(self) -> float:
        """The seconds beyond the least."""
        return self.seconds - self.least


@dataclass(frozen=True, slots=True)
class Mixed:
    """Two readings of a table that one misheard word turns into each other: ``share`` of reports,
    ``harm``, and what it costs in seconds.
    """

    table: str
    said: str
    read: str
    words: tuple[str, str]
    share: float
    harm: float
    noticed: bool
    cost: float


@dataclass(frozen=True, slots=True)
class Analysis:
    """What is found about one message of a book."""

    message: str
    mean: float
    error: float
    worst: float
    worst_string: str
    wrong: float
    wrong_error: float
    ask: float
    harm: float
    bound: Bound
    spent: tuple[Spent, ...]
    mixed: tuple[Mixed, ...]


def analyse(
    book: Book, message: str, *, pairs: int = 10, draws: int = DRAWS, seed: int = 1
) -> Analysis:
    """Return the analysis of a message; raises CodeError for one the book does not have."""
    if message not in book.messages:
        raise CodeError(
            f"there is no message {message!r}", kind="unknown-message", expected=list(book.messages)
        )
    subject = book.messages[message]
    reports = drawn(book, subject, draws, seed)
    noise = noise_of(book.alphabet, book.hearing)
    met = rates(book, subject, noise, reports, seed=seed)
    mean, error = mean_of(reports)
    worst, string = longest(book, subject)
    rate = (
        capacity([entry.seconds for entry in book.alphabet.words.values()])
        if len(book.alphabet.symbols) > 1
        else math.inf
    )
    bits, of_tables = _bits(book, subject)
    spent = _spent(book, subject, [report.string for report in reports], rate, of_tables)
    mixed = _mixed(book, subject, noise, mean, pairs)
    return Analysis(
        message,
        mean,
        error,
        worst,
        string,
        met.wrong,
        met.error,
        met.ask,
        met.harm,
        Bound(bits, rate),
        tuple(spent),
        tuple(mixed),
    )


def _bits(book: Book, message: Message) -> tuple[float, dict[str, float]]:
    """Return the bits that the values of a message carry, and those of each table; of what is said
    again and again as often as it is expected to be.
    """
    spec = book.hearing
    known: dict[tuple[str, str], float] = {}  # by table and field
    times = 0.0  # the bits of how often something is said again

    def add(node: Node, chance: float) -> None:
        nonlocal times
        if isinstance(node, Leaf):
            table = message.tables[node.number]
            for field in table.fields:
                known[table.name, field.name] = chance * entropy(field.occurring(spec.surprise))
        elif isinstance(node, Maybe) and isinstance(node.part, Repetition):
            times += chance * entropy([spec.left_out, 1 - spec.left_out])
            add(node.part, chance * (1 - spec.left_out))
        else:
            for part in (node.part,) if isinstance(node, Maybe) else node.parts:
                add(part, chance)

    add(message.node, 1.0)
    of_tables: dict[str, float] = {}
    of_fields: dict[str, float] = {}  # that several tables may say, instead of each other
    for (table_name, name), bits in known.items():
        of_tables[table_name] = of_tables.get(table_name, 0.0) + bits
        of_fields[name] = max(of_fields.get(name, 0.0), bits)
    return math.fsum([times, *of_fields.values()]), of_tables


def _spent(
    book: Book,
    message: Message,
    strings: Sequence[str],
    rate: float,
    of_tables: Mapping[str, float],
) -> list[Spent]:
    cost = book.cost("seconds")
    seconds: dict[str, float] = {}
    symbols: dict[str, int] = {}
    for string in strings:
        match = message.quick(string)
        for table, text in (
            zip(match.plan.tables, match.texts, strict=True) if match is not None else ()
        ):
            seconds[table.name] = seconds.get(table.name, 0.0) + cost(table, text)
            symbols[table.name] = symbols.get(table.name, 0) + len(text)
    count = max(1, len(strings))
    found = [
        Spent(name, seconds[name] / count, symbols[name] / count, bits, bits / rate)
        for name, bits in ((name, of_tables.get(name, 0.0)) for name in seconds)
    ]
    return sorted(found, key=lambda one: -one.waste)


def _mixed(book: Book, message: Message, noise: Noise, mean: float, most: int) -> list[Mixed]:
    """Return the pairs of levels of each table that cost most, counting both ways."""
    if not most:
        return []
    checked = frozenset(leaf for check in message.check_leaves for leaf in message.covered(check))
    found = [
        mixed
        for leaf, table in enumerate(message.tables)
        if table.fields
        and table.size <= _MOST_ROWS
        and max(field.size for field in table.fields) <= _MOST_LEVELS
        for mixed in _mixed_in(book, table, noise, mean if leaf in checked else None, most)
    ]
    return sorted(found, key=lambda one: (-one.cost, one.table, one.said, one.read))[:most]


def _mixed_in(
    book: Book, table: CodeTable, noise: Noise, again: float | None, most: int
) -> list[Mixed]:
    """Return the pairs of levels of a table that cost most: the report said ``again``, which takes
    so many seconds, or by their harm where nothing notices.
    """
    spec, rows = book.hearing, list(table.words())
    words = [word for _, word in rows]
    shares = _row_shares(table, [levels for levels, _ in rows], spec.surprise)
    harms = [functools.cache(field.harm) for field in table.fields]
    price = spec.wrong if again is None else again + spec.turnaround
    highest = price * (len(harms) if again is None else 1) * (1 + _ROUNDED)
    dearest: list[tuple[float, int, int, float, float]] = []  # the least of them first

    def least(said: int) -> float:
        """Return how likely a mistake must be to be one of the dearest."""
        known = len(dearest) == most and shares[said] * highest > 0
        return dearest[0][0] / (shares[said] * highest) if known else 0.0

    for said, read, probability in confused_words(noise, words, least):
        share = shares[said] * probability
        levels = zip(harms, rows[said][0], rows[read][0], strict=True)
        bad = sum((harm(a, b) for harm, a, b in levels), 0.0)
        cost = share * (price * bad if again is None else price)
        heapq.heappush(dearest, (cost, -said, -read, share, bad))
        if len(dearest) > most:
            heapq.heappop(dearest)
    return [
        Mixed(
            table.name,
            _text(table, rows[-said][0]),
            _text(table, rows[-read][0]),
            _differing(book, words[-said], words[-read]),
            share,
            bad,
            again is not None,
            cost,
        )
        for cost, said, read, share, bad in dearest
    ]


def _row_shares(table: CodeTable, rows: Sequence[tuple[int, ...]], surprise: float) -> list[float]:
    each = [field.occurring(surprise) for field in table.fields]
    return [
        math.prod(shares[level] for shares, level in zip(each, levels, strict=True))
        for levels in rows
    ]


def _text(table: CodeTable, levels: Sequence[int]) -> str:
    return ", ".join(
        f"{field.title} {field.text(level)}"
        for field, level in zip(table.fields, levels, strict=True)
    )


def _differing(book: Book, said: str, read: str) -> tuple[str, str]:
    a, b = next((a, b) for a, b in zip(said, read, strict=True) if a != b)
    return book.alphabet.words[a].word, book.alphabet.words[b].word


def remarks(book: Book, analysis: Analysis) -> list[str]:
    """Return in words what the figures say of the book."""
    message = book.messages[analysis.message]
    told = [
        f"table {spent.table}: {spent.seconds:.2f} s for {spent.bits:.1f} bits that need"
        f" {spent.least:.2f} s; shorter codewords for likely values, or saying it together with"
        " other fields, would save time"
        for spent in analysis.spent
        if spent.waste > _OFTEN * analysis.mean and spent.bits
    ]
    if not message.check_leaves:
        told.append("no check symbol: every misheard word that makes another codeword is accepted")
    return [*told, *_misheard(book, message)]


def _misheard(book: Book, message: Message) -> list[str]:
    """Return which words that the message says are easily taken for others of them, each pair
    once.
    """
    said = sorted(book.alphabet.unmask(message.symbols))
    confusions, words = noise_of(book.alphabet, book.hearing).confusions, book.alphabet.words
    told: dict[frozenset[str], str] = {}
    for one in said:
        others = {other: confusions[one][other] for other in said if other != one}
        heard = max(others, key=lambda other: others[other], default=one)
        if others and others[heard] > _MISHEARD:
            pair = frozenset((one, heard))
            both = "" if pair not in told else ", and the other way round"
            digits = one.isdigit() and heard.isdigit()
            hint = (
                "a table that says them for levels far apart does less harm"
                if digits
                else "retire one of the two"
            )
            told[pair] = (
                f"{words[one].word} is taken for {words[heard].word} {others[heard]:.1%} of the"
                f" time{both}: {hint}"
            )
    return list(told.values())
