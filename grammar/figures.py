"""Figures of merit of a message: how many readings it tells apart, how many symbols and seconds it
takes, what its check notices.

Counting is exact at any size and lists nothing. The longest string is exact too. The mean is over
readings drawn as the book says values are distributed (usual values, spreads; flat where it says
nothing), with its standard error.
"""

from __future__ import annotations

import bisect
import functools
import heapq
import itertools
import math
import random
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from grammar.automaton import bits, build, edges
from grammar.codes import CodeTable
from grammar.codes.detection import missed
from grammar.errors import CodeError
from grammar.fields import ENUMERABLE
from grammar.layout import Repetition
from grammar.message import Message
from grammar.paths import begun, may_end, onward
from grammar.reading_sets import ReadingSets
from grammar.semirings import MOST, sums_to_end

if TYPE_CHECKING:
    from grammar.book import Book

DRAWS = 1000
MOST_DRAWS = 40_000  # of all messages of a book
# steps along layouts to draw reports: of a message of very many parts fewer are drawn
MOST_STEPS = 100_000
_LONG = 8_000  # steps of a message of which few reports are drawn: each takes a while
_DIGITS = 9  # of seconds, in which strings that take as long as each other are told from others
_ALIKE = 2 * 10**-_DIGITS
MOST_COVERED = 100  # symbols before a check up to which it is counted what it notices
MOST_BITS = 14_000  # of a count: Python writes no number of more than 4,300 digits


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
    count exactly, or where it has thousands of digits.
    """
    sets = ReadingSets(message)
    try:
        count = sets.count(sets.all)
    except CodeError:
        return None
    return count if count.bit_length() <= MOST_BITS else None


class Unsaid(NamedTuple):
    """Combinations of levels that a message can't say: how many, the one of lowest levels, and the
    fewest levels of it that no reading gives together; ``alone`` where readings give all of them,
    but each says more.
    """

    combinations: int
    smallest: dict[str, int]
    together: dict[str, int]
    alone: bool

    def text(self, message: Message) -> str:
        """Return it in words."""
        levels = ", ".join(
            f"{message.fields[name].title} {message.fields[name].text(level)}"
            for name, level in self.together.items()
        )
        levels += " alone" if self.alone else ""
        lacking = f"{self.combinations} combination{'s' if self.combinations > 1 else ''} of levels"
        return f"message {message.name} can't say {levels}; in all it lacks words for {lacking}"


def unsaid(message: Message, declared: Iterable[str] = ()) -> Unsaid | None:
    """Return the combinations of levels that can't be said of fields that are said together; None
    if there are none.

    Levels of ``declared`` fields that no reading gives are left out on purpose. Raises CodeError
    (kind "too-large") where this can't be settled within bounds.
    """
    names = frozenset(declared)
    meant = {name for name, one in message.fields.items() if names & {name, one.declared_as}}
    sets = ReadingSets(message)
    wanted = sets.covering(sets.all, frozenset(meant))
    smallest = sets.smallest_missing(sets.all, wanted)
    if smallest is None:
        return None
    fewest = next(
        (
            dict(some)
            for size in range(1, len(smallest) + 1)
            for some in itertools.combinations(smallest.items(), size)
            if size in (1, 2, len(smallest)) and not sets.gives(sets.all, dict(some))
        ),
        None,
    )
    lacking = sets.count(wanted) - sets.count(sets.all)
    return Unsaid(lacking, smallest, fewest or smallest, fewest is None)


# the longest string


def longest(book: Book, message: Message) -> tuple[float, str]:
    """Return the seconds and the symbols of the string that takes longest to say, symbol by
    symbol.
    """
    symbols = book.alphabet.symbols
    price = [book.alphabet.words[symbol].seconds for symbol in symbols]

    @functools.cache
    def dearest(mask: int) -> tuple[float, str]:
        return max((price[bit], symbols[bit]) for bit in bits(mask))

    automaton = build([message])
    # the most seconds from each state on, whatever the checks say: no way takes more
    ends = [state for state, done in enumerate(automaton.accepting) if done]
    rest = sums_to_end(
        edges(automaton), ends, len(automaton.steps), MOST, lambda edge: dearest(edge.mask)[0]
    )
    follow = functools.cache(message.follow) if message.check_leaves else None
    begin = begun(automaton, message, checked=follow is not None)
    reached = {begin: (0.0, "")}
    # the most promising first, of those alike the shortest: all ways to a node come before it
    waiting = [(-rest[begin.state], 0, "", begin)]
    found = (-math.inf, "")
    while waiting and -waiting[0][0] > found[0] - _ALIKE:
        *_, string, node = heapq.heappop(waiting)
        seconds, best = reached[node]
        if string != best:
            continue
        if may_end(automaton, node):
            found = max(found, (seconds, string))
        for mask, after in onward(automaton, node, follow):
            more, symbol = dearest(mask)
            one = (seconds + more, string + symbol)
            if after not in reached or one > reached[after]:
                reached[after] = one
                promised = round(one[0] + rest[after.state], _DIGITS)
                heapq.heappush(waiting, (-promised, len(one[1]), one[1], after))
    return found


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
    surprise, left_out, known = (
        book.hearing.surprise,
        book.hearing.left_out,
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
    states = math.prod(  # of the checks, about as many as are followed at once
        len(rule.method.starts()) * min(message.ways, len(rule.method.values))
        for rule in message.rules
    )
    steps = len(message.course.steps)
    most = MOST_STEPS // (steps * states)
    most = most + 5 if steps < _LONG else most // 2
    for _ in range(min(draws * 20, most)):
        levels = _draw(message, generator, weights, left_out)
        seconds, string = message.priced(levels, cost)
        if string is not None:  # a partial table may have no word for what was drawn
            found.append(Drawn(levels, string, seconds))
        if len(found) == draws:
            break
    return found


def _draw(
    message: Message,
    generator: random.Random,
    shares: Mapping[str, list[float]],
    left_out: float,
) -> dict[str, int]:
    """Return the levels of one report: parts left out only where they may be something else than
    usual, those said again with the chance ``left_out`` each time, alternatives as likely as each
    other.
    """
    levels: dict[str, int] = {}
    onward, point = message.onward, 0
    while point != message.course.end:
        step, *others = onward[point]
        part = others[0].left_out if others else None
        if isinstance(part, Repetition):
            step = others[0] if generator.random() < left_out else step
        elif part is not None:
            step = step if message.said_by(part) <= message.usual(part).keys() else others[0]
        elif others:
            step = generator.choice(onward[point])
        for field in message.tables[step.leaf].fields if step.leaf >= 0 else ():
            weights = shares.get(field.name)
            levels[field.name] = (
                bisect.bisect(weights, generator.random() * weights[-1], 0, len(weights) - 1)
                if weights
                else generator.randrange(field.size)
            )
        point = step.target
    return levels


def notices(table: CodeTable, length: int) -> dict[str, tuple[int, int]]:
    """Return, for a check over ``length`` symbols, (missed, all) of single substitutions and of
    swaps of neighbours; nothing for more than ``MOST_COVERED`` symbols.
    """
    if table.check is None or length > MOST_COVERED:
        return {}
    method = table.check.method
    return {change: missed(method, length, change) for change in ("substitution", "swap")}
