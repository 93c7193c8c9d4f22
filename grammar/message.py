"""A message: a layout bound to its code tables. Strings to matches, and levels to the cheapest
string.

Everything here is derived from the layout's course; a message never lists its strings. Strings of
one length are read by one function, made when the first of them comes: for each way to cut it into
codewords it slices, looks up, and follows the checks.
"""

from __future__ import annotations

import functools
import itertools
import operator
import types
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple
from typing import Literal as OneOf

from grammar.codes import DONE, CheckRule, CodeTable, Fragment
from grammar.codes.checks import start_for
from grammar.fields import FieldBase, Value
from grammar.layout import Course, CourseStep, Node, bottom_up, course, leaves
from grammar.semirings import COUNTING, LEAST, MOST, POSSIBLE, sums_to_end
from grammar.symbols import Alphabet

Direction = OneOf["car", "pit"]
Cost = Callable[[CodeTable, str], float]
# what a function that reads strings of one length tries; what has more ways is traced
MOST_CUTS = 128
MOST_TRIED = 4_000  # steps to find those cuts
MOST_TRIED_IN_ALL = 40_000  # of all messages
MOST_PLANS = 5000
MOST_KEPT = 50_000  # words and symbols in codewords whose meaning is kept, of all tables
MOST_READERS = 1000  # lengths of strings for which what reads them is kept


class Implied(NamedTuple):
    """A field left unsaid because it has its usual value."""

    name: str
    level: int
    value: Value
    warnings: tuple[str, ...]


class PlannedCheck(NamedTuple):
    """A check to verify: its place among the parts said, its rule, and the places it covers."""

    place: int
    rule: CheckRule
    covers: tuple[int, ...]


class Plan:
    """What one way through a layout says: which leaves, which fields they give, which are implied,
    which checks must hold.

    ``names`` are the fields said, ``order`` all fields in the order of the message.
    """

    def __init__(
        self,
        message: Message,
        numbers: tuple[int, ...],
        implied: Sequence[Implied],
        checks: Sequence[PlannedCheck],
    ) -> None:
        """Take a way as the leaves it says."""
        self.message, self.leaves = message, numbers
        self.tables = tuple(message.tables[leaf] for leaf in numbers)
        self.names = tuple(field.name for table in self.tables for field in table.fields)
        self.implied, self.checks = tuple(implied), tuple(checks)
        given = {*self.names, *(one.name for one in implied)}
        self.order = tuple(name for name in message.fields if name in given)

    @functools.cached_property
    def arranged(self) -> Callable[[Sequence[Value]], tuple[Value, ...]] | None:
        """What puts the values of the fields said, and behind them of those implied, in order; None
        where they are.
        """
        names = [*self.names, *(one.name for one in self.implied)]
        known = {name: place for place, name in reversed(list(enumerate(names)))}
        places = [known[name] for name in self.order]
        straight = places == sorted(places) or len(places) < 2
        return None if straight else operator.itemgetter(*places)

    @functools.cached_property
    def implied_values(self) -> tuple[Value, ...]:
        """The values of the fields left unsaid."""
        return tuple(one.value for one in self.implied)


class Match(NamedTuple):
    """One reading of a string: the way through a message's layout, the symbols of each part, and
    the value of every field, said or implied, in the order of the message.

    What a wrapped field's value leaves open stays open.
    """

    plan: Plan
    texts: tuple[str, ...]
    values: dict[str, Value]

    @property
    def message(self) -> Message:
        """The message it is read as."""
        return self.plan.message

    def levels(self) -> dict[str, int]:
        """Return the level of every field, said or implied."""
        plan = self.plan
        said = (t.levels(text) or () for t, text in zip(plan.tables, self.texts, strict=True))
        found = dict(zip(plan.names, itertools.chain.from_iterable(said), strict=True))
        found.update((implied.name, implied.level) for implied in plan.implied)
        return {name: found[name] for name in plan.order}

    def warnings(self) -> list[str]:
        """Return the limits passed and the flags to warn of, in words."""
        levels, fields = self.levels(), self.message.fields
        said = [text for name in self.plan.names for text in fields[name].warnings(levels[name])]
        return [*said, *(text for implied in self.plan.implied for text in implied.warnings)]

    @property
    def string(self) -> str:
        """The symbols, as said."""
        return "".join(self.texts)

    def groups(self) -> list[list[int]]:
        """Return the places of its parts in groups, as the message has pauses between them."""
        pauses, found = self.message.pauses, list[list[int]]()
        for place in range(len(self.plan.tables)):
            if not place or self.plan.tables[place - 1].name in pauses:
                found.append([])
            found[-1].append(place)
        return found

    def text(self) -> str:
        """Return the reading in words: the message, and each field with its value and unit."""
        said = ", ".join(
            f"{self.message.fields[name].title} {self.message.fields[name].text(level)}"
            for name, level in self.levels().items()
        )
        return f"{self.message.title}: {said}" if said else self.message.title


_Before = tuple["_Before", CourseStep] | None  # decisions so far, the last one outermost
# leaves said so far with the places of their codewords, the last one outermost
_Leaves = tuple["_Leaves", int, int, int] | None
# what reads strings gives: the way it was read, what was said, the values as in Match; a bare
# tuple, for one is made of every report read in bulk
Found = tuple["Cut | _Traced", Sequence[str], dict[str, Value]]


class Leg(NamedTuple):
    """Steps of a course that are taken together: the first, the point behind the last, and the
    tables whose codewords they say.
    """

    step: CourseStep
    target: int
    tables: list[CodeTable]


class Message:
    """A named layout with a direction: ``car`` (report, driver to pit) or ``pit`` (call, engineer
    to driver).

    ``tables`` holds the table of each leaf by the leaf's number; ``fields`` the fields in the order
    they are said. ``pauses`` are the tables after which people pause, ``glance`` is the one with
    which the second glance at the dash begins, "" for none.
    """

    def __init__(
        self,
        name: str,
        direction: Direction,
        node: Node,
        tables: Sequence[CodeTable],
        alphabet: Alphabet,
        label: str = "",
        pauses: Sequence[str] = (),
        glance: str = "",
    ) -> None:
        """Bind a checked layout to the tables of its leaves."""
        self.pauses, self.glance = tuple(pauses), glance
        self.name, self.direction, self.node, self.alphabet = name, direction, node, alphabet
        self.title = label or name.replace("_", " ")
        self.tables = tuple(tables)
        self.fields: dict[str, FieldBase] = {
            field.name: field for table in tables for field in table.fields
        }
        self.check_leaves = tuple(
            i for i, table in enumerate(self.tables) if table.check is not None
        )
        self._again = {leaf.number: leaf for leaf in leaves(node) if leaf.repetition}
        self.known_plans: dict[tuple[int, ...], Plan] = {}
        self._readers = Readers([self], Spelling(str))
        self._said_by: dict[int, frozenset[str]] = {}
        self._usual: dict[int, dict[str, int]] = {}
        self._next: dict[int, list[int]] = {}
        self._roles: dict[int, list[tuple[int, CheckRule, str]]] = {}  # of a leaf to each check

    @functools.cached_property
    def course(self) -> Course:
        """All ways through the layout."""
        return course(self.node)

    @functools.cached_property
    def onward(self) -> list[list[CourseStep]]:
        """The steps of the course out of each point."""
        return self.course.onward()

    @functools.cached_property
    def behind(self) -> list[int]:
        """By leaf the point of the course behind it."""
        points = {step.leaf: step.target for step in self.course.steps}
        return [points[leaf] for leaf in range(len(self.tables))]

    @functools.cached_property
    def may_end(self) -> list[bool]:
        """By point of the course whether the message may end there."""
        steps, end, points = self.course
        return sums_to_end(steps, [end], points, POSSIBLE, lambda step: step.leaf < 0)

    def next_leaves(self, point: int) -> list[int]:
        """Return the leaves that may be said next at a point of the course, in order."""
        if point not in self._next:
            found = self._next[point] = []
            waiting = self.onward[point][::-1]
            while waiting:
                step = waiting.pop()
                if step.leaf >= 0:
                    found.append(step.leaf)
                else:
                    waiting += self.onward[step.target][::-1]
        return self._next[point]

    @functools.cached_property
    def lists(self) -> dict[str, list[str]]:
        """The fields of parts said again: by the field's own name its names at each time."""
        found: dict[str, list[str]] = {}
        for number, leaf in sorted(self._again.items(), key=lambda one: one[1].repetition):
            for field in self.tables[number].fields:
                times = found.setdefault(field.name.removesuffix(f"_{leaf.repetition}"), [])
                if field.name not in times:
                    times.append(field.name)
        return found

    def times(self, said: Iterable[int]) -> dict[str, int]:
        """Return how often the part was said that each field of ``lists`` is in, on the way that
        says these leaves.
        """
        most: dict[int, int] = {}  # by part
        for leaf in said:
            if leaf in self._again:
                again = self._again[leaf]
                most[again.again] = max(most.get(again.again, 0), again.repetition)
        found = dict.fromkeys(self.lists, 0)
        for leaf, again in self._again.items():
            for field in self.tables[leaf].fields if again.repetition == 1 else ():
                name = field.name.removesuffix("_1")
                found[name] = max(found[name], most.get(again.again, 0))
        return found

    def covered(self, check_leaf: int) -> frozenset[int]:
        """Return the leaves that the check at a leaf covers, said or not."""
        rule = self.tables[check_leaf].check
        over = rule.over if rule is not None else None
        return frozenset(
            n for n in range(check_leaf) if over is None or self.tables[n].name in over
        )

    @functools.cached_property
    def reach(self) -> tuple[list[float], list[float]]:
        """The fewest and the most symbols from each point of the course to its end."""
        steps, end, points = self.course
        widths = [table.lengths for table in self.tables]
        return (
            sums_to_end(steps, [end], points, LEAST, lambda s: widths[s.leaf][0] * (s.leaf >= 0)),
            sums_to_end(steps, [end], points, MOST, lambda s: widths[s.leaf][1] * (s.leaf >= 0)),
        )

    @functools.cached_property
    def lengths(self) -> tuple[int, int]:
        """The shortest and the longest string, in symbols."""
        return int(self.reach[0][0]), int(self.reach[1][0])

    @functools.cached_property
    def symbols(self) -> int:
        """The symbols that may stand in its strings, as a mask."""
        return functools.reduce(operator.or_, (table.symbols for table in self.tables))

    @functools.cached_property
    def ways(self) -> int:
        """How many ways there are through the layout."""
        steps, end, points = self.course
        return sums_to_end(steps, [end], points, COUNTING, lambda _: 1)[0]

    @functools.cached_property
    def legs(self) -> list[Leg]:
        """The steps of the course, with those together that say codewords one after the other,
        nothing to be decided between them, that are alike to each check and none themselves.
        """
        steps = self.course.steps
        into, out = Counter(one.target for one in steps), Counter(one.source for one in steps)
        legs: list[Leg] = []
        open_at: dict[int, int] = {}  # by the point where it may go on the number of a leg
        for step in steps:
            tables = [self.tables[step.leaf]] if step.leaf >= 0 else []
            says = bool(tables) and tables[0].check is None
            number = open_at.pop(step.source, None) if says else None
            if number is not None and self._met(legs[number].step.leaf) == self._met(step.leaf):
                legs[number].tables.extend(tables)
                legs[number] = legs[number]._replace(target=step.target)
            else:
                number = len(legs)
                legs.append(Leg(step, step.target, tables))
            if says and into[step.target] == out[step.target] == 1:
                open_at[step.target] = number
        return legs

    # strings to matches

    def quick(self, string: str) -> Match | None:
        """Return the match of a string, None where it has none; None also where more ways were met
        than are kept side by side (see ``settles``).
        """
        found = self._readers[len(string)](string)
        return None if found is None else found[0].match(found)

    @property
    def settles(self) -> bool:
        """Whether None from ``quick`` has been final so far."""
        return self._readers.settle

    def match(self, leaves: Iterable[int], texts: Sequence[str]) -> Match | None:
        """Return the match of a given way through the layout, None if a codeword or a check
        fails.
        """
        plan = self.plan(leaves)
        said: list[Value] = []
        for table, text in zip(plan.tables, texts, strict=True):
            part = table.values(text)
            if part is None:
                return None
            said.extend(part)
        for place, rule, covers in plan.checks:
            if rule.wanted("".join([texts[n] for n in covers])) != texts[place]:
                return None
        values: dict[str, Value] = dict(zip(plan.names, said, strict=True))
        values.update((implied.name, implied.value) for implied in plan.implied)
        return Match(plan, tuple(texts), {name: values[name] for name in plan.order})

    def plan(self, said: Iterable[int]) -> Plan:
        """Return the plan of the way through the layout that says these leaves."""
        numbers = tuple(said)
        if numbers not in self.known_plans:
            if (
                len(self.known_plans) >= MOST_PLANS
            ):  # what is kept stays small, whatever a book allows
                self.known_plans.clear()
            self.known_plans[numbers] = self._plan(numbers)
        return self.known_plans[numbers]

    def _plan(self, numbers: tuple[int, ...]) -> Plan:
        place = {leaf: n for n, leaf in enumerate(numbers)}
        checks = []
        for n, leaf in enumerate(numbers):
            table = self.tables[leaf]
            if table.check is not None:
                covered = self.covered(leaf)
                covers = tuple(place[other] for other in numbers if other in covered)
                checks.append(PlannedCheck(n, table.check, covers))
        implied = []
        for step in self.decisions(numbers):
            usual = {} if step.left_out is None else self.usual(step.left_out)
            for name, level in usual.items():
                field = self.fields[name]
                warnings = tuple(field.warnings(level))
                implied.append(Implied(name, level, field.value(level), warnings))
        return Plan(self, numbers, implied, checks)

    def decisions(self, numbers: Sequence[int]) -> list[CourseStep]:
        """Return what is decided on the way through the layout that says these leaves; raises
        ValueError where there is no such way.
        """
        steps, end, _ = self.course
        # how many of the leaves are said on the way to each point, and what was decided on it
        said: dict[int, tuple[int, _Before]] = {0: (0, None)}
        for step in steps:
            if step.source not in said:
                continue
            count, before = said[step.source]
            if step.leaf >= 0:
                if count == len(numbers) or numbers[count] != step.leaf:
                    continue
                count += 1
            else:
                before = (before, step)
            if step.target not in said or said[step.target][0] < count:
                said[step.target] = (count, before)
        count, before = said.get(end, (-1, None))
        if count != len(numbers):
            raise ValueError(f"message {self.name} has no way that says the leaves {numbers}")
        decided: list[CourseStep] = []
        while before is not None:
            before, step = before
            decided.append(step)
        return decided[::-1]

    def usual(self, node: Node) -> dict[str, int]:
        """Return the fields, with their usual levels, that leaving out ``node`` implies: those
        every way through it would give.
        """
        found = self._usual.get(id(node))
        if found is None:
            found = self._usual[id(node)] = bottom_up(
                node,
                lambda leaf: self._usual_of(self.tables[leaf.number]),
                lambda parts: {name: level for part in parts for name, level in part.items()},
                lambda part: part,
                lambda parts: {
                    name: level
                    for name, level in parts[0].items()
                    if all(name in part for part in parts)
                },
                repetition=lambda _: {},
            )
        return found

    @staticmethod
    def _usual_of(table: CodeTable) -> dict[str, int]:
        return {
            field.name: field.usual_level for field in table.fields if field.usual_level is not None
        }

    def said_by(self, node: Node) -> frozenset[str]:
        """Return the names of all fields below a node."""
        found = self._said_by.get(id(node))
        if found is None:
            found = self._said_by[id(node)] = frozenset(
                field.name for leaf in leaves(node) for field in self.tables[leaf.number].fields
            )
        return found

    # levels to the cheapest string

    def cheapest(self, levels: Mapping[str, int], cost: Cost, *, exact: bool = False) -> str | None:
        """Return the cheapest string that says these levels, None if there is none.

        Fields without a level are left unsaid, which may give them their usual one; ``exact``
        refuses ways that give any level not asked for. ``cost`` prices one codeword of one table.
        Equal prices go to the shorter string, then to the first in alphabet order.
        """
        return self.priced(levels, cost, exact=exact)[1]

    def priced(
        self, levels: Mapping[str, int], cost: Cost, *, exact: bool = False
    ) -> tuple[float, str | None]:
        """Return the cheapest string, as ``cheapest`` does, with its price before it."""
        return _cheapest(self, levels, cost, exact=exact)

    # the states of the checks

    @functools.cached_property
    def coverage(self) -> tuple[frozenset[int], ...]:
        """For each check of the message the leaves it covers."""
        return tuple(self.covered(leaf) for leaf in self.check_leaves)

    @functools.cached_property
    def rules(self) -> tuple[CheckRule, ...]:
        """The rules of its checks."""
        return tuple(rule for table in self.tables if (rule := table.check) is not None)

    def settled(self, key: tuple[int, ...]) -> bool:
        """Tell whether a report may end with these states of the checks: of the guesses left open,
        only one counts.
        """
        return all(_settled(rule, state) for rule, state in zip(self.rules, key, strict=True))

    def follow(self, leaf: int, key: tuple[int, ...], word: str) -> list[tuple[int, ...]]:
        """Return the states of the checks after ``word`` at ``leaf``; -1 is a check that has
        covered nothing yet.

        Methods that count from the right branch here, at their first symbol; a check symbol that
        does not fit ends the branch. Where a way passes a check by, the branch that guessed the
        length so far goes on alone: each way has one branch.
        """
        keys = [key]
        for number, rule, role in self._met(leaf):
            if role == _COVERED:
                keys = [
                    (*k[:number], state, *k[number + 1 :])
                    for k in keys
                    for state in _walk(rule, k[number], word)
                ]
            else:
                # what it covered no longer matters from here on: forgotten, so that ways that
                # differ only in it meet
                keys = [
                    (*k[:number], -1, *k[number + 1 :])
                    for k in keys
                    if (
                        word in _closing(rule, k[number])
                        if role == _SAID
                        else _settled(rule, k[number])
                    )
                ]
        return keys

    def _met(self, leaf: int) -> list[tuple[int, CheckRule, str]]:
        """Return the checks that saying a leaf means something to: number, rule, and what."""
        if leaf not in self._roles:
            self._roles[leaf] = [
                (number, rule, _COVERED if leaf < said else _SAID if leaf == said else _PASSED)
                for number, (said, rule) in enumerate(
                    zip(self.check_leaves, self.rules, strict=True)
                )
                if leaf >= said or leaf in self.coverage[number]
            ]
        return self._roles[leaf]


_COVERED, _SAID, _PASSED = "covered", "said", "passed"  # what a leaf is to a check


def _settled(rule: CheckRule, state: int) -> bool:
    return state < 0 or rule.method.wanted(state) is not None


def _closing(rule: CheckRule, state: int) -> list[str]:
    """Return the check symbols that close a state: one for each guess left open."""
    states = rule.method.starts() if state < 0 else (state,)
    wanted = [rule.method.wanted(one) for one in states]
    return list(dict.fromkeys([rule.method.checks[v] for v in wanted if v is not None]))


def _walk(rule: CheckRule, state: int, word: str) -> list[int]:
    try:
        values = [rule.value_of[symbol] for symbol in word]
    except KeyError:
        return []
    found = []
    for one in rule.method.starts() if state < 0 else (state,):
        for value in values:
            one = rule.method.step(one, value)  # noqa: PLW2901 - walked on
        found.append(one)
    return found if len(found) == 1 else list(dict.fromkeys(found))


# reading strings of one length


class Spelling:
    """How what is said stands for symbols (``symbol_of``, None for what is no symbol), with what
    tables and checks make of it, as dictionaries of words within words.
    """

    def __init__(self, symbol_of: Callable[[str], str | None]) -> None:
        self.symbol_of = symbol_of
        self._codewords: dict[tuple[CodeTable, int], _Codewords] = {}
        self._kept = 0
        self._states: dict[CheckRule, dict[int, _CheckState]] = {}

    def codewords(self, table: CodeTable, width: int) -> _Codewords:
        """Return the codewords of one width."""
        key = (table, width)
        if key not in self._codewords:
            self._codewords[key] = _Codewords(self, table, width)
        return self._codewords[key]

    def keep(self) -> None:
        """Count one more entry; where they are too many, forget them all."""
        if self._kept >= MOST_KEPT:
            for codewords in self._codewords.values():
                codewords.clear()
            self._kept = 0
        self._kept += 1

    def state(self, rule: CheckRule, number: int) -> _CheckState:
        """Return a state of a check."""
        states = self._states.setdefault(rule, {})
        if number not in states:
            states[number] = _CheckState(self, rule, number)
        return states[number]

    def start(self, rule: CheckRule, length: int) -> _CheckState:
        """Return the state in which a check starts that covers so many symbols."""
        return self.state(rule, start_for(rule.method, [0] * length))


class _Nothing(dict[str, Any]):
    """What follows no codeword begins with: nothing, for ever."""

    def __missing__(self, word: str) -> Any:
        return self


_NOTHING = _Nothing()


class _Codewords(dict[str, Any]):
    """Codewords of a table that begin alike: by the next word what follows, at last the values of
    the fields (True where it has none); worked out when first asked for, kept up to a bound.
    """

    def __init__(self, spelling: Spelling, table: CodeTable, width: int, begun: str = "") -> None:
        self.spelling, self.table, self.width, self.begun = spelling, table, width, begun

    def __missing__(self, word: str) -> Any:
        symbol = self.spelling.symbol_of(word)
        if symbol is None or symbol not in self.table.alphabet.index:
            return _NOTHING
        text = self.begun + symbol
        found: Any
        if len(text) < self.width:
            found = _Codewords(self.spelling, self.table, self.width, text)
        else:
            found = self.table.values(text)
            found = _NOTHING if found is None else found or True
        self.spelling.keep()
        self[word] = found
        return found


class _CheckState(dict[str, Any]):
    """A state of a check: the state after each word it covers, and under "" the symbol wanted;
    worked out when first asked for.
    """

    def __init__(self, spelling: Spelling, rule: CheckRule, number: int) -> None:
        self.spelling, self.rule, self.number = spelling, rule, number

    def __missing__(self, word: str) -> Any:
        method = self.rule.method
        if word:
            value = self.rule.value_of[self.spelling.symbol_of(word) or ""]
            self[word] = self.spelling.state(self.rule, method.step(self.number, value))
        else:
            wanted = method.wanted(self.number)
            self[word] = None if wanted is None else method.checks[wanted]
        return self[word]


class Cut(NamedTuple):
    """A way to cut strings of one length into codewords: the plan of its way through the layout,
    where each codeword begins and ends.
    """

    plan: Plan
    slices: tuple[tuple[int, int], ...]
    spelling: Spelling

    @property
    def first(self) -> int:
        """The symbols it may begin with, as a mask."""
        return functools.reduce(
            operator.or_, (mask for mask, _ in self.plan.tables[0].fragment()[0])
        )

    def match(self, found: Found) -> Match:
        """Return what was found by this cut."""
        _, said, values = found
        string = "".join([self.spelling.symbol_of(word) or "" for word in said])
        return Match(self.plan, tuple([string[begin:end] for begin, end in self.slices]), values)


Reader = Callable[[Sequence[str]], Found | None]


class Readers(dict[int, Reader]):
    """By the number of symbols what reads strings of so many as one of ``messages``: the first
    match, or None. Each is made when the first such string comes.

    Messages that have more ways to be cut than the limits above allow are followed symbol by symbol
    instead; None tells nothing where a string met more ways than can be tried.
    """

    def __init__(self, messages: Sequence[Message], spelling: Spelling) -> None:
        """Take the messages, and what stands for symbols."""
        self.messages, self.spelling = messages, spelling
        self._tracers: dict[str, _Tracer] = {}  # of messages that have too many ways

    @property
    def settle(self) -> bool:
        """Whether all ways of every string so far were tried."""
        return not (self._tracers and any(one.unsettled for one in self._tracers.values()))

    def __missing__(self, length: int) -> Reader:
        if len(self) >= MOST_READERS:
            self.clear()
        self[length] = reader = self._made(length)
        return reader

    def _made(self, length: int) -> Reader:
        cuts: list[Cut] = []
        tracers: list[_Tracer] = []
        tried = 0
        for message in self.messages:
            if message.lengths[0] <= length <= message.lengths[1]:
                room = min(MOST_TRIED, MOST_TRIED_IN_ALL - tried)
                found, steps = _cuts(message, length, self.spelling, room)
                tried += steps
                if found is None:
                    tracers.append(self._tracer(message))
                cuts.extend(found or ())
        if not tracers:
            return self._of_cuts(cuts)
        readers = [*([self._of_cuts(cuts)] if cuts else []), *(one.read for one in tracers)]
        return readers[0] if len(readers) == 1 else functools.partial(_first, readers)

    def _tracer(self, message: Message) -> _Tracer:
        if message.name not in self._tracers:
            self._tracers[message.name] = _Tracer(message, self.spelling)
        return self._tracers[message.name]

    def _of_cuts(self, cuts: Sequence[Cut]) -> Reader:
        if len(cuts) <= _FEW:
            return _reader(cuts)
        by_first: dict[str | None, tuple[int, ...]] = {}  # numbers of cuts
        for number, cut in enumerate(cuts):
            for symbol in cut.plan.message.alphabet.unmask(cut.first):
                by_first[symbol] = (*by_first.get(symbol, ()), number)
        made: dict[tuple[int, ...], Reader] = {}
        readers: dict[str | None, Reader] = {}
        symbol_of = self.spelling.symbol_of

        def read(said: Sequence[str]) -> Found | None:
            first = symbol_of(said[0])
            reader = readers.get(first)
            if reader is None:
                numbers = by_first.get(first)
                if numbers is None:
                    return None
                if numbers not in made:
                    made[numbers] = _reader([cuts[number] for number in numbers])
                reader = readers[first] = made[numbers]
            return reader(said)

        return read


def _first(readers: Iterable[Reader], said: Sequence[str]) -> Found | None:
    return next((found for read in readers if (found := read(said)) is not None), None)


_DEEPEST = 80  # places at which cuts are held against each other: Python nests no deeper than 100
_FEW = 4  # cuts that are tried one after the other whatever the first symbol is
_MOST_TRACED = 64  # ways to read what is said so far, of those that are not settled yet


class _Told(NamedTuple):
    """A codeword read: its leaf, its symbols, the values of the fields of its table."""

    leaf: int
    text: str
    values: tuple[Value, ...]


class _Way(NamedTuple):
    """A way to read what is said since all ways last agreed: the codewords that are complete, then
    the leaf whose codeword was said as far as a state of its table's automaton (DONE: to its end).
    """

    told: tuple[_Told, ...]
    leaf: int
    state: int
    text: str = ""


class _Place(dict[str, Any]):
    """Where what was said has led: by the next word the place after it, and what it settled; worked
    out when first asked for. Without ways nothing begins so.
    """

    def __init__(self, tracer: _Tracer, ways: tuple[_Way, ...]) -> None:
        self.tracer, self.ways = tracer, ways

    def __missing__(self, word: str) -> tuple[_Place, tuple[_Told, ...]]:
        if not self.ways:
            return self, ()
        found = self.tracer.after(self, word)
        if found[0].ways:  # there is no end of words that lead nowhere
            self[word] = found
        return found

    @functools.cached_property
    def ends(self) -> list[tuple[_Told, ...]]:
        """What is settled if nothing more is said, for each way that may end here."""
        may_end = self.tracer.may_end
        return [way.told for way in self.ways if way.state == DONE and may_end(way.leaf)]


class _Tracer:
    """Reads strings of a message word by word, keeping the ways to read them side by side until one
    is left: so its work grows with the string, and what it knows with what was said, not with the
    ways through the layout.
    """

    def __init__(self, message: Message, spelling: Spelling) -> None:
        self.message, self.spelling = message, spelling
        self.unsettled = False  # whether something had more ways than were kept
        self._plans = message.known_plans
        self._fragments: dict[int, Fragment] = {}
        self._kept = 0
        self._nothing = _Place(self, ())
        self._begin()

    def _begin(self) -> None:
        """Forget all places but the one behind each leaf, which are made anew."""
        self._after_leaf: dict[int, _Place] = {}
        self._start = _Place(self, (_Way((), -1, DONE),))

    def may_end(self, leaf: int) -> bool:
        """Tell whether the message may end behind a leaf."""
        return leaf >= 0 and self.message.may_end[self.message.behind[leaf]]

    def read(self, said: Sequence[str]) -> Found | None:
        """Return what a string says, None for nothing."""
        if self._kept > MOST_KEPT:  # what is kept stays small, whatever is said
            self._kept = 0
            self._begin()
        here = self._start
        told: list[_Told] = []
        for word in said:
            here, settled = here[word]
            if settled:
                told += settled
        for rest in here.ends:
            found = self._found([*told, *rest] if rest else told, said)
            if found is not None:
                return found
        return None

    def after(self, place: _Place, word: str) -> tuple[_Place, tuple[_Told, ...]]:
        """Return the place after a word, and the codewords that all ways to it agree in."""
        symbol = self.spelling.symbol_of(word)
        if symbol is None or symbol not in self.message.alphabet.index:
            return self._nothing, ()
        bit = 1 << self.message.alphabet.index[symbol]
        ways = [one for way in place.ways for one in self._onward(way, symbol, bit)]
        if len(ways) > _MOST_TRACED:
            self.unsettled = True
            ways = []
        if not ways:
            return self._nothing, ()
        self._kept += 1
        first = ways[0].told
        same = min(map(_agree(first), [way.told for way in ways]))
        left = tuple([way._replace(told=way.told[same:]) for way in ways])
        one = left[0]
        if len(left) == 1 and one.state == DONE:  # the same whatever came before
            if one.leaf not in self._after_leaf:
                self._after_leaf[one.leaf] = _Place(self, left)
            return self._after_leaf[one.leaf], first[:same]
        return _Place(self, left), first[:same]

    def _onward(self, way: _Way, symbol: str, bit: int) -> Iterator[_Way]:
        """Yield a way with one symbol more."""
        if way.state == DONE:
            begun = self.message.next_leaves(self.message.behind[way.leaf] if way.leaf >= 0 else 0)
            edges = [(leaf, edge) for leaf in begun for edge in self._fragment(leaf)[0]]
        else:
            edges = [(way.leaf, edge) for edge in self._fragment(way.leaf)[way.state]]
        text = way.text + symbol
        for leaf, (mask, target) in edges:
            if not mask & bit:
                continue
            if target != DONE:
                yield _Way(way.told, leaf, target, text)
                continue
            told = _Told(leaf, text, self.message.tables[leaf].values(text) or ())
            yield _Way((*way.told, told), leaf, DONE)

    def _fragment(self, leaf: int) -> Fragment:
        if leaf not in self._fragments:
            self._fragments[leaf] = self.message.tables[leaf].fragment()
        return self._fragments[leaf]

    def _found(self, told: Sequence[_Told], said: Sequence[str]) -> Found | None:
        """Return what codewords say, None where a check does not hold."""
        leaves, texts, given = zip(*told, strict=True)
        plan = self._plans.get(leaves) or self.message.plan(leaves)
        for place, rule, covers in plan.checks:
            if rule.wanted("".join([texts[n] for n in covers])) != texts[place]:
                return None
        values: Sequence[Value] = [*itertools.chain.from_iterable(given), *plan.implied_values]
        if plan.arranged is not None:
            values = plan.arranged(values)
        return _Traced(plan, texts), said, dict(zip(plan.order, values, strict=True))


def _agree(one: Sequence[_Told]) -> Callable[[Sequence[_Told]], int]:
    """Return what counts the codewords in which ways agree with one."""

    def count(other: Sequence[_Told]) -> int:
        pairs = enumerate(zip(one, other, strict=False))
        least = min(len(one), len(other))
        return next((n for n, (a, b) in pairs if (a.leaf, a.text) != (b.leaf, b.text)), least)

    return count


class _Traced(NamedTuple):
    """The way on which a string was read, in place of a cut."""

    plan: Plan
    texts: tuple[str, ...]

    def match(self, found: Found) -> Match:
        """Return what was found."""
        return Match(self.plan, self.texts, found[2])


def _cuts(
    message: Message, length: int, spelling: Spelling, most_tried: int
) -> tuple[list[Cut] | None, int]:
    """Return the ways to cut strings of one length, None where there are too many, and how many
    steps that took.
    """
    least, most = message.reach
    onward = message.onward
    found: list[Cut] = []
    waiting: list[tuple[int, int, _Leaves]] = [(0, 0, None)]
    tried = 0
    while waiting:
        point, place, said = waiting.pop()
        if not least[point] <= length - place <= most[point]:
            continue
        tried += 1
        if point == message.course.end:
            numbers, slices = [], []
            while said is not None:
                said, number, begin, end = said
                numbers.append(number)
                slices.append((begin, end))
            plan = message.plan(reversed(numbers))
            found.append(Cut(plan, tuple(reversed(slices)), spelling))
        if len(found) > MOST_CUTS or tried > most_tried:
            return None, tried
        for step in onward[point]:
            if step.leaf < 0:
                waiting.append((step.target, place, said))
            else:
                low, high = message.tables[step.leaf].lengths
                waiting.extend(
                    (step.target, end, (said, step.leaf, place, end))
                    for end in range(place + low, place + high + 1)
                )
    return found, tried


def _reader(cuts: Sequence[Cut]) -> Reader:
    """Return the function that tries the cuts; its source is numbers and variables only, whatever
    is in the book.
    """
    source = _Source()
    if len(cuts) <= _FEW:
        for cut in cuts:
            source.one(cut, 0, " ")
    else:
        source.several(cuts, 0, " ")
    lines = ["def read(said):", *source.lines, " return None"]
    code = compile("\n".join(lines), "<made>", "exec").co_consts[0]
    return types.FunctionType(code, source.given)


class _Source:
    """The source of a reader, and what its variables stand for."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.given: dict[str, Any] = {}
        self._names: dict[int, str] = {}

    def named(self, value: Any) -> str:
        """Return the variable that stands for something that stays."""
        if id(value) not in self._names:
            self._names[id(value)] = f"k{len(self._names)}"
            self.given[self._names[id(value)]] = value
        return self._names[id(value)]

    def test(self, cut: Cut, place: int) -> str:
        """Return what looks up the codeword at a place of a cut."""
        table, (begin, end) = cut.plan.tables[place], cut.slices[place]
        words = "".join(f"[said[{n}]]" for n in range(begin, end))
        found = self.named(cut.spelling.codewords(table, end - begin)) + words
        return f"(v{place} := {found})" if table.fields else found

    def one(self, cut: Cut, place: int, indent: str) -> None:
        """Try one cut from a place on: what other ways seldom meet by chance, for the look-ups it
        takes, comes first.
        """
        tests = [
            (table.size ** (1 / (end - begin)), self.test(cut, n))
            for n, (table, (begin, end)) in enumerate(zip(cut.plan.tables, cut.slices, strict=True))
            if n >= place
        ]
        if tests:
            self.lines.append(f"{indent}if {' and '.join(test for _, test in sorted(tests))}:")
            indent += " "
        for n, rule, covers in cut.plan.checks:
            runs = _joined([cut.slices[other] for other in covers])
            start = self.named(cut.spelling.start(rule, sum(end - begin for begin, end in runs)))
            self.lines.append(f"{indent}state = {start}")
            for begin, end in runs:
                self.lines.append(f"{indent}for word in said[{begin}:{end}]: state = state[word]")
            symbol = f"{self.named(cut.spelling.symbol_of)}(said[{cut.slices[n][0]}])"
            self.lines.append(f'{indent}if state[""] == {symbol}:')
            indent += " "
        self.lines.append(f"{indent}return {self.named(cut)}, said, {self.values(cut.plan)}")

    def several(self, cuts: Sequence[Cut], place: int, indent: str) -> None:
        """Try cuts that are alike up to a place: those that are alike there too together."""
        if len(cuts) == 1 or place == _DEEPEST:
            for cut in cuts:
                self.one(cut, place, indent)
            return
        alike: dict[tuple[CodeTable, tuple[int, int]], list[Cut]] = {}
        for cut in cuts:
            alike.setdefault((cut.plan.tables[place], cut.slices[place]), []).append(cut)
        for several in alike.values():
            self.lines.append(f"{indent}if {self.test(several[0], place)}:")
            self.several(several, place + 1, indent + " ")

    def values(self, plan: Plan) -> str:
        """Return the source of the values of a plan."""
        source = {
            field.name: f"v{place}[{index}]"
            for place, table in enumerate(plan.tables)
            for index, field in enumerate(table.fields)
        }
        source.update((one.name, self.named(one.value)) for one in plan.implied)
        return f"{{{', '.join(f'{self.named(name)}: {source[name]}' for name in plan.order)}}}"


def _joined(slices: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return slices with those that follow each other joined."""
    runs: list[tuple[int, int]] = []
    for begin, end in slices:
        if runs and runs[-1][1] == begin:
            runs.append((runs.pop()[0], end))
        else:
            runs.append((begin, end))
    return runs


# the cheapest string

# a string so far: its price, its length, its symbols
_Priced = tuple[float, int, str]
_ALIKE = 1e-8  # prices nearer than this may be one when rounded


def _cheapest(
    message: Message, levels: Mapping[str, int], cost: Cost, *, exact: bool
) -> tuple[float, str | None]:
    """Return the cheapest string over all ways along the course.

    Without check symbols the cheapest way to each point is all that matters; with them, the
    cheapest for each state the checks can be in, because which check symbol follows, and what it
    costs, depends on it.
    """
    index = message.alphabet.index

    def order(one: _Priced) -> tuple[float, int, list[int]]:
        return round(one[0], 9), one[1], [index[symbol] for symbol in one[2]]

    keep = functools.partial(_keep, order)
    reached: dict[int, dict[tuple[int, ...], _Priced]] = {
        0: {(-1,) * len(message.check_leaves): (0.0, 0, "")}
    }
    for step, target, tables in message.legs:
        before = reached.get(step.source)
        if not before:
            continue
        if step.leaf < 0 and not _says_no_more(message, step, levels, exact=exact):
            continue
        after = reached.setdefault(target, {})
        if step.leaf < 0:
            for key, one in before.items():
                keep(after, key, one)
            continue
        check = tables[0].check
        words = _said(tables, levels, cost) if check is None else []
        for key, (price, length, string) in before.items():
            if check is not None:
                closing = _closing(check, key[message.check_leaves.index(step.leaf)])
                words = [(word, cost(tables[0], word)) for word in closing]
            for word, more in words:
                said = (price + more, length + len(word), string + word)
                for state in message.follow(step.leaf, key, word) if key else (key,):
                    keep(after, state, said)
    found = reached.get(message.course.end)
    if not found:
        return 0.0, None
    several = list(found.values())
    price, _, string = several[0] if len(several) == 1 else min(several, key=order)
    return price, string


def _keep(
    order: Callable[[_Priced], Any],
    kept: dict[tuple[int, ...], _Priced],
    key: tuple[int, ...],
    one: _Priced,
) -> None:
    """Keep the first in ``order`` of the strings that lead to the same states of the checks."""
    other = kept.get(key)
    if (
        other is None
        or one[0] < other[0] - _ALIKE
        or (one[0] < other[0] + _ALIKE and order(one) < order(other))
    ):
        kept[key] = one


def _said(
    tables: Sequence[CodeTable], levels: Mapping[str, int], cost: Cost
) -> list[tuple[str, float]]:
    """Return the codewords of tables for the levels, as one, and their price; nothing where one has
    none.
    """
    words = []
    for table in tables:
        try:
            word = table.word(tuple([levels[field.name] for field in table.fields]))
        except KeyError:
            return []
        if word is None:
            return []
        words.append(word)
    return [("".join(words), sum(map(cost, tables, words)))]


def _says_no_more(
    message: Message, step: CourseStep, levels: Mapping[str, int], *, exact: bool
) -> bool:
    """Tell whether a decision says nothing else than what is asked for, and leaves nothing of it
    out.
    """
    if step.left_out is not None:
        usual = message.usual(step.left_out)
        return all(
            usual.get(name) == levels[name] if name in levels else not (exact and name in usual)
            for name in message.said_by(step.left_out)
        )
    if step.node is None or step.taken is None:
        return True
    return message.said_by(step.node) & levels.keys() <= message.said_by(step.taken)
