"""Figures of merit of a message: how many readings it tells apart, how many symbols and seconds it
takes, what its check notices.

Counting is exact at any size and lists nothing. The longest string is exact too. The mean is over
readings drawn as the book says values are distributed (usual values, spreads; flat where it says
nothing), with its standard error.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from grammar.automaton import bits, build
from grammar.codes import CodeTable
from grammar.codes.detection import missed
from grammar.fields import ENUMERABLE, FieldBase
from grammar.layout import InOrder, Leaf, Maybe, Node
from grammar.message import Message
from grammar.paths import Node as Place
from grammar.paths import advance

if TYPE_CHECKING:
    from grammar.book import Book

Part = Sequence[range] | None  # levels as runs in rising order, None for all of them
Box = Mapping[str, Part]  # by field
MOST_BOXES = 12
DRAWS = 1000


@dataclass(frozen=True, slots=True)
class Figures:
    """Figures of one message; seconds at the alphabet's rate, ``error`` the standard error of the
    mean seconds.
    """

    readings: int | None
    mean_symbols: float
    mean_seconds: float
    error: float
    worst_symbols: int
    worst_seconds: float
    worst_string: str


def figures(book: Book, message: Message, *, draws: int = DRAWS, seed: int = 1) -> Figures:
    """Return the figures of a message of a book."""
    said = drawn(book, message, draws, seed)
    symbols, seconds = (
        [len(one.string) for one in said] or [0],
        [one.seconds for one in said] or [0.0],
    )
    mean = sum(seconds) / len(seconds)
    spread = math.sqrt(sum((s - mean) ** 2 for s in seconds) / max(1, len(seconds) - 1))
    worst, string = longest(book, message)
    return Figures(
        readings(message),
        sum(symbols) / len(symbols),
        mean,
        spread / math.sqrt(len(seconds)),
        message.lengths[1],
        worst,
        string,
    )


# counting


def readings(message: Message) -> int | None:
    """Return the number of different readings; None where alternatives overlap in too many ways to
    count exactly.
    """
    return _count(message, message.node)


def _count(message: Message, node: Node) -> int | None:
    if isinstance(node, Leaf):
        return (
            1 if message.tables[node.number].check is not None else message.tables[node.number].size
        )
    if isinstance(node, InOrder):
        counts = [_count(message, part) for part in node.parts]
        return math.prod(c for c in counts if c is not None) if None not in counts else None
    if isinstance(node, Maybe):
        inner = _count(message, node.part)
        return None if inner is None else inner + 1 - _says_usual(message, node.part)
    return _union(message, _boxes(message, node))


def _says_usual(message: Message, node: Node) -> bool:
    """Tell whether some way through ``node`` says just what leaving it out implies."""
    if isinstance(node, Leaf):
        table = message.tables[node.number]
        levels = [field.usual_level for field in table.fields]
        known = tuple(level for level in levels if level is not None)
        return len(known) == len(levels) and (
            table.check is not None or table.word(known) is not None
        )
    if isinstance(node, Maybe):
        return True
    if isinstance(node, InOrder):
        return all(_says_usual(message, part) for part in node.parts)
    wanted = message.usual(node).keys()
    return any(
        _says_usual(message, part) and message.usual(part).keys() == wanted for part in node.parts
    )


def _boxes(message: Message, node: Node) -> list[Box] | None:
    """Return the readings of a node as boxes, one for each way through it; None if there are too
    many ways.
    """
    if isinstance(node, Leaf):
        table = message.tables[node.number]
        return [{field.name: table.part for field in table.fields}]
    if isinstance(node, Maybe):
        inner = _boxes(message, node.part)
        usual = message.usual(node.part)
        skipped = {name: [range(level, level + 1)] for name, level in usual.items()}
        return None if inner is None else [skipped, *inner]
    parts = [_boxes(message, part) for part in node.parts]
    known = [boxes for boxes in parts if boxes is not None]
    if len(known) < len(parts):
        return None
    if isinstance(node, InOrder):
        if math.prod(len(boxes) for boxes in known) > 4096:
            return None
        return [
            {name: levels for box in way for name, levels in box.items()}
            for way in itertools.product(*known)
        ]
    return [box for boxes in known for box in boxes]


def _union(message: Message, boxes: list[Box] | None) -> int | None:
    """Count the readings in any of the boxes, by inclusion and exclusion among boxes over the same
    fields.
    """
    if boxes is None:
        return None
    groups: dict[frozenset[str], list[Box]] = {}
    for box in boxes:
        groups.setdefault(frozenset(box), []).append(box)
    total = 0
    for names, group in groups.items():
        if len(group) > MOST_BOXES:
            return None
        for size in range(1, len(group) + 1):
            for chosen in itertools.combinations(group, size):
                total += (-1) ** (size + 1) * math.prod(
                    _common(message.fields[name], [box[name] for box in chosen]) for name in names
                )
    return total


def _common(field: FieldBase, parts: Sequence[Part]) -> int:
    """Count the levels of a field that are in every part."""
    common: Sequence[range] = [range(field.size)]
    for part in parts:
        if part is not None:
            common = _both(common, part)
    return sum(map(len, common))


def _both(one: Sequence[range], other: Sequence[range]) -> list[range]:
    found, a, b = [], 0, 0
    while a < len(one) and b < len(other):
        run = range(max(one[a].start, other[b].start), min(one[a].stop, other[b].stop))
        if run:
            found.append(run)
        if one[a].stop < other[b].stop:
            a += 1
        else:
            b += 1
    return found


# the longest string


def longest(book: Book, message: Message) -> tuple[float, str]:
    """Return the seconds and the symbols of the string that takes longest to say, symbol by
    symbol.
    """
    automaton = build([message])
    price = [book.alphabet.words[symbol].seconds for symbol in book.alphabet.symbols]
    layer = {Place(automaton.starts[0], (-1,) * len(message.check_leaves)): (0.0, "")}
    best = (0.0, "")
    while layer:
        after: dict[Place, tuple[float, str]] = {}
        for place, (seconds, string) in layer.items():
            if automaton.accepting[place.state]:
                best = max(best, (seconds, string))
            for step in automaton.steps[place.state]:
                choices = list(bits(step.mask))
                for bit in (
                    choices if message.check_leaves else [max(choices, key=price.__getitem__)]
                ):
                    symbol = book.alphabet.symbols[bit]
                    candidate = (seconds + price[bit], string + symbol)
                    for target in advance(automaton, place, symbol, 1 << bit):
                        if target not in after or candidate > after[target]:
                            after[target] = candidate
        layer = after
    return best


# the mean


class Drawn(NamedTuple):
    """A report as it may be sent: its levels, its cheapest string, and the seconds that takes."""

    levels: dict[str, int]
    string: str
    seconds: float


def drawn(
    book: Book,
    message: Message,
    draws: int,
    seed: int,
    shares: Mapping[str, Sequence[float]] | None = None,
) -> list[Drawn]:
    """Return reports drawn as the book says values occur, surprises included; ``shares`` says it
    for fields of which more is known.

    Fewer than ``draws``, where a partial table has no word for most of what is drawn.
    """
    generator = random.Random(seed)  # noqa: S311 - a repeatable sample, not a secret
    cost = book.cost("seconds")
    surprise, known = (
        book.spec.hearing.surprise,
        {name: field for name, field in message.fields.items() if field.size <= ENUMERABLE},
    )
    weights = {
        name: list(itertools.accumulate(field.occurring(surprise))) for name, field in known.items()
    }
    weights |= {
        name: list(itertools.accumulate(given))
        for name, given in (shares or {}).items()
        if name in message.fields
    }
    found: list[Drawn] = []
    for _ in range(draws * 20):
        levels: dict[str, int] = {}
        _draw(message, message.node, generator, weights, levels)
        string = message.cheapest(levels, cost)
        if string is not None:  # a partial table may have no word for what was drawn
            match = message.quick(string)
            said = zip(match.plan.tables, match.texts, strict=True) if match is not None else ()
            found.append(Drawn(levels, string, sum(cost(table, text) for table, text in said)))
        if len(found) == draws:
            break
    return found


def _draw(
    message: Message,
    node: Node,
    generator: random.Random,
    shares: Mapping[str, list[float]],
    levels: dict[str, int],
) -> None:
    if isinstance(node, Leaf):
        for field in message.tables[node.number].fields:
            weights = shares.get(field.name)
            level = (
                generator.choices(range(field.size), cum_weights=weights)[0]
                if weights
                else generator.randrange(field.size)
            )
            levels[field.name] = level
    elif isinstance(node, Maybe):
        if message.said_by(node.part) <= message.usual(node.part).keys():
            _draw(message, node.part, generator, shares, levels)
    elif isinstance(node, InOrder):
        for part in node.parts:
            _draw(message, part, generator, shares, levels)
    else:
        _draw(message, generator.choice(node.parts), generator, shares, levels)


def notices(table: CodeTable, length: int) -> dict[str, tuple[int, int]]:
    """Return, for a check over ``length`` symbols, (missed, all) of single substitutions and of
    swaps of neighbours.
    """
    if table.check is None:
        return {}
    method = table.check.method
    return {change: missed(method, length, change) for change in ("substitution", "swap")}
