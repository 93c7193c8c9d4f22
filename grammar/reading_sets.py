"""Sets of readings, exactly and without listing them: which there are, how many, which are missing.

A reading gives some fields a level each. A set of readings is a decision diagram: nodes ask for one
field after the other, in one order, and share what goes on alike (R. E. Bryant, Graph-based
algorithms for Boolean function manipulation, 1986; here with stretches of levels, and a field that
is not given for an answer of its own). Under union, and the product of sets over different fields,
such sets are a semiring, so the readings of a message are one sum over all ways through its layout;
readings said in several ways are in it once.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from grammar.codes import CodeTable
from grammar.errors import CodeError
from grammar.layout import CourseStep
from grammar.message import Message
from grammar.semirings import Semiring, sums_to_end

MOST_NODES = 100_000
MOST_BOXES = 2_000  # of a partial table of several fields

Set = int  # a node's number; NONE holds no reading, EMPTY the one that gives no field
NONE, EMPTY = 0, 1
Run = tuple[int, int]  # a stretch of levels, both ends in it


class _Arc(NamedTuple):
    """From a stretch of levels to the rest of the readings."""

    low: int
    high: int
    rest: Set


class _Node(NamedTuple):
    """The readings that do not give a field, and by its level those that do."""

    field: int
    absent: Set
    arcs: tuple[_Arc, ...]


class ReadingSets:
    """The sets of readings of one message; fields count in the order of the message."""

    def __init__(self, message: Message) -> None:
        """Take a message; nothing is worked out yet."""
        self.message = message
        self.fields = list(message.fields.values())
        self._number = {field.name: number for number, field in enumerate(self.fields)}
        # EMPTY and NONE come after every field
        end = _Node(len(self.fields), NONE, ())
        self._nodes = [end, end]
        self._known: dict[_Node, Set] = {}
        self._unions: dict[tuple[Set, Set], Set] = {}
        self._products: dict[tuple[Set, Set], Set] = {}

    @functools.cached_property
    def all(self) -> Set:
        """All readings of the message; raises CodeError (kind "too-large") where they can't be
        held.
        """
        steps, end, points = self.message.course
        semiring = Semiring(NONE, EMPTY, self.union, self.product)
        try:
            return sums_to_end(steps, [end], points, semiring, self._given)[0]
        except RecursionError:
            raise self._too_large() from None

    def _given(self, step: CourseStep) -> Set:
        """Return what a step gives: any codeword of a table, or the usual levels of a part left
        out.
        """
        if step.leaf >= 0:
            return self._of_table(self.message.tables[step.leaf])
        usual = {} if step.left_out is None else self.message.usual(step.left_out)
        return self.box({name: [(level, level)] for name, level in usual.items()})

    def _of_table(self, table: CodeTable) -> Set:
        boxes = list(itertools.islice(_boxes(table), MOST_BOXES + 1))
        if len(boxes) > MOST_BOXES:
            raise self._too_large()
        return functools.reduce(self.union, map(self.box, boxes), NONE)

    def box(self, levels: Mapping[str, Sequence[Run]]) -> Set:
        """Return all readings that give each field a level of its stretches."""
        found = EMPTY
        for number, runs in sorted(((self._number[n], r) for n, r in levels.items()), reverse=True):
            found = self._node(number, NONE, [_Arc(low, high, found) for low, high in runs])
        return found

    def _node(self, field: int, absent: Set, arcs: Iterable[_Arc]) -> Set:
        joined: list[_Arc] = []
        for arc in arcs:
            if joined and joined[-1].rest == arc.rest and joined[-1].high + 1 == arc.low:
                joined.append(joined.pop()._replace(high=arc.high))
            elif arc.rest != NONE:
                joined.append(arc)
        if not joined:
            return absent
        node = _Node(field, absent, tuple(joined))
        if node not in self._known:
            if len(self._nodes) >= MOST_NODES:
                raise self._too_large()
            self._known[node] = len(self._nodes)
            self._nodes.append(node)
        return self._known[node]

    def _too_large(self) -> CodeError:
        return CodeError(
            f"message {self.message.name}: its alternatives overlap in too many ways to tell its"
            " readings apart",
            kind="too-large",
        )

    def union(self, one: Set, other: Set) -> Set:
        """Return the readings in either."""
        if one == other or other == NONE:
            return one
        if one == NONE:
            return other
        key = (min(one, other), max(one, other))
        if key not in self._unions:
            a, b = self._nodes[one], self._nodes[other]
            field = min(a.field, b.field)
            if field == len(self.fields):
                return EMPTY
            absent_a, arcs_a = (a.absent, a.arcs) if a.field == field else (one, ())
            absent_b, arcs_b = (b.absent, b.arcs) if b.field == field else (other, ())
            both = (
                _Arc(low, high, self.union(left, right))
                for low, high, left, right in _together(arcs_a, arcs_b)
            )
            self._unions[key] = self._node(field, self.union(absent_a, absent_b), both)
        return self._unions[key]

    def product(self, one: Set, other: Set) -> Set:
        """Return the readings that join one of each; the two give different fields."""
        if NONE in (one, other):
            return NONE
        if one == EMPTY:
            return other
        if other == EMPTY:
            return one
        key = (one, other)
        if key not in self._products:
            if self._nodes[other].field < self._nodes[one].field:
                one, other = other, one
            node = self._nodes[one]
            arcs = [arc._replace(rest=self.product(arc.rest, other)) for arc in node.arcs]
            self._products[key] = self._node(node.field, self.product(node.absent, other), arcs)
        return self._products[key]

    # what is asked of them

    def count(self, readings: Set) -> int:
        """Return how many readings there are."""
        counts = [0, 1]  # by node: what a node leads to has a lower number
        for node in self._nodes[2 : readings + 1]:
            here = sum((arc.high - arc.low + 1) * counts[arc.rest] for arc in node.arcs)
            counts.append(counts[node.absent] + here)
        return counts[readings]

    def covering(self, readings: Set, unsaid: frozenset[str] = frozenset()) -> Set:
        """Return all combinations of levels of fields that some reading gives together; of a field
        of ``unsaid`` only the levels that some reading gives there.
        """

        known = {NONE: NONE, EMPTY: EMPTY}
        waiting = [readings]
        while waiting:
            found = waiting[-1]
            node = self._nodes[found]
            below = functools.reduce(self.union, (arc.rest for arc in node.arcs), NONE)
            first = [one for one in (node.absent, below) if one not in known]
            waiting.extend(first)
            if first:
                continue
            waiting.pop()
            if found not in known:
                field = self.fields[node.field]
                given = [(arc.low, arc.high) for arc in node.arcs]
                runs = given if field.name in unsaid else [(0, field.size - 1)]
                arcs = [_Arc(low, high, known[below]) for low, high in runs]
                known[found] = self._node(node.field, known[node.absent], arcs)
        return known[readings]

    def smallest_missing(self, readings: Set, wanted: Set) -> dict[str, int] | None:
        """Return the reading of ``wanted`` that is not in ``readings`` and has the lowest levels,
        the first field counting most; None if there is none. All readings are in ``wanted``.
        """
        found: dict[str, int] = {}
        if readings == wanted:
            return None
        while wanted != EMPTY:
            node, other = self._nodes[wanted], self._nodes[readings]
            same = other.field == node.field
            absent, arcs = (other.absent, other.arcs) if same else (readings, ())
            for low, _, left, right in _together(node.arcs, arcs):
                if left != right:
                    found[self.fields[node.field].name] = low
                    wanted, readings = left, right
                    break
            else:
                wanted, readings = node.absent, absent
        return found

    def gives(self, readings: Set, levels: Mapping[str, int]) -> bool:
        """Tell whether some reading gives these levels, whatever else it gives."""
        asked = sorted((self._number[name], level) for name, level in levels.items())

        waiting, seen = [(readings, 0)], set[tuple[Set, int]]()
        while waiting:
            found, done = place = waiting.pop()
            if found == NONE or place in seen:
                continue
            seen.add(place)
            if done == len(asked):
                return True
            node, (field, level) = self._nodes[found], asked[done]
            if node.field < field:
                rests = {node.absent, *(arc.rest for arc in node.arcs)}
                waiting.extend((rest, done) for rest in rests)
            elif node.field == field:
                held = (arc.rest for arc in node.arcs if arc.low <= level <= arc.high)
                waiting.extend((rest, done + 1) for rest in held)
        return False

    def nearest(self, readings: Set, levels: Mapping[str, int]) -> dict[str, int] | None:
        """Return the levels nearest to those asked for that some reading gives: least in the sum of
        the distances, each as a share of its field's range (any other level of a field that is no
        quantity is as far). Fields not asked for have their usual level or are not given.
        """

        asked = sorted(self._number[name] for name in levels)

        @functools.cache
        def best(found: Set, done: int) -> tuple[float, tuple[tuple[str, int], ...]]:
            node = self._nodes[found]
            if done < len(asked) and asked[done] < node.field:
                return math.inf, ()  # a field asked for is not given
            if not node.arcs:
                return (0.0 if found == EMPTY else math.inf), ()
            field = self.fields[node.field]
            if done == len(asked) or asked[done] > node.field:
                choices = [best(node.absent, done)]
                usual = field.usual_level
                for arc in node.arcs:
                    if usual is not None and arc.low <= usual <= arc.high:
                        price, rest = best(arc.rest, done)
                        choices.append((price, ((field.name, usual), *rest)))
                return min(choices)
            choices, wanted = [], levels[field.name]
            for arc in node.arcs:
                level = min(max(wanted, arc.low), arc.high)
                away = abs(level - wanted) / field.size
                price, rest = best(arc.rest, done + 1)
                price += 1.0 if away and not field.numeric else away
                choices.append((price, ((field.name, level), *rest)))
            return min(choices)

        try:
            price, given = best(readings, 0)
        except RecursionError:
            raise self._too_large() from None
        return dict(given) if price < math.inf else None


def _together(one: Sequence[_Arc], other: Sequence[_Arc]) -> Iterator[tuple[int, int, Set, Set]]:
    """Yield (low, high, rest in one, rest in the other) of the stretches that two rows of arcs make
    together, in order.
    """
    ends = sorted({end for arc in (*one, *other) for end in (arc.low, arc.high + 1)})
    i = j = 0
    for low, after in itertools.pairwise(ends):
        while i < len(one) and one[i].high < low:
            i += 1
        while j < len(other) and other[j].high < low:
            j += 1
        left = one[i].rest if i < len(one) and one[i].low <= low else NONE
        right = other[j].rest if j < len(other) and other[j].low <= low else NONE
        if left != NONE or right != NONE:
            yield low, after - 1, left, right


def _boxes(table: CodeTable) -> Iterator[dict[str, list[Run]]]:
    """Yield boxes, field → stretches of levels, that together are the levels a table has codewords
    for.
    """
    runs = [(run.start, run.stop - 1) for run in table.part or ()]
    names, sizes = [field.name for field in table.fields], [field.size for field in table.fields]
    if not names:
        yield {}
    elif table.part is None:
        yield {name: [(0, size - 1)] for name, size in zip(names, sizes, strict=True)}
    elif len(names) == 1:
        yield {names[0]: runs}
    else:
        for run in runs:
            yield from (dict(zip(names, box, strict=True)) for box in _cut(run, sizes))


def _cut(run: Run, sizes: Sequence[int]) -> Iterator[list[list[Run]]]:
    """Yield boxes, stretches of levels for each place, that together are a stretch of mixed-radix
    numbers.
    """
    low, high = run
    room = math.prod(sizes[1:])
    if len(sizes) == 1:
        yield [[(low, high)]]
        return
    first, last = low // room, high // room
    if first == last:
        yield from (
            [[(first, first)], *rest] for rest in _cut((low % room, high % room), sizes[1:])
        )
        return
    if low % room:
        rests = _cut((low % room, room - 1), sizes[1:])
        yield from ([[(first, first)], *rest] for rest in rests)
        first += 1
    after = []
    if (high + 1) % room:
        rests = _cut((0, high % room), sizes[1:])
        after = [[[(last, last)], *rest] for rest in rests]
        last -= 1
    if first <= last:
        yield [[(first, last)], *([(0, size - 1)] for size in sizes[1:])]
    yield from after
