"""A book's messages as networks of words, for grammars that recognisers read: exact, checks and
ranges included.

Every node is a state of the automaton of symbols together with the states of the checks, so what a
grammar made of it accepts is just what the book accepts. Nodes from which all goes on alike are one
node.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from grammar.automaton import bits, build
from grammar.codes import DONE, CodeTable
from grammar.errors import CodeError
from grammar.message import Message
from grammar.paths import Node, advance

MOST_NODES = 20_000


class Arc(NamedTuple):
    """A word said: the symbol, the node after it, and the leaf whose codeword it begins (-1: it
    goes on with one).
    """

    symbol: str
    target: int
    begins: int


@dataclass(slots=True)
class Network:
    """Nodes, node 0 first: ``arcs[node]`` go out of it, ``final[node]`` tells whether what is said
    may end there.

    No arc leads back, and every node lies on a way from node 0 to an end.
    """

    arcs: list[list[Arc]] = field(default_factory=list)
    final: list[bool] = field(default_factory=list)


def of_message(message: Message) -> Network:
    """Return the network of a message. Raises CodeError where its checks make it too large."""
    automaton = build([message])
    start = Node(automaton.starts[0], (-1,) * len(message.check_leaves))
    number = {start: 0}
    waiting = [start]
    network = Network()
    for node in waiting:
        arcs: list[Arc] = []
        begins = automaton.ended[node.state]
        for step in automaton.steps[node.state]:
            leaf = automaton.owner[step.target][1] if begins else -1
            for bit in bits(step.mask):
                symbol = message.alphabet.symbols[bit]
                for after in advance(automaton, node, symbol, 1 << bit):
                    if after.state != step.target:
                        continue
                    if after not in number:
                        number[after] = len(waiting)
                        waiting.append(after)
                    arcs.append(Arc(symbol, number[after], leaf))
        if len(waiting) > MOST_NODES:
            raise CodeError(
                f"message {message.name}: its checks make more than {MOST_NODES} states of a"
                " grammar",
                kind="too-large",
                hint=(
                    "let its checks cover different parts; or export lark, and hold what is heard"
                    " against the book"
                ),
            )
        network.arcs.append(arcs)
        network.final.append(automaton.accepting[node.state] and message.settled(node.checks))
    return _shared(network)


def of_table(table: CodeTable) -> Network:
    """Return the network of the codewords of a table."""
    fragment = table.fragment()
    end = len(fragment)
    arcs = [
        [
            Arc(symbol, end if target == DONE else target, -1)
            for mask, target in edges
            for symbol in table.alphabet.unmask(mask)
        ]
        for edges in fragment
    ]
    return _shared(Network([*arcs, []], [*[False] * end, True]))


def _shared(network: Network) -> Network:
    """Keep only nodes from which the message can be completed, one of those from which it goes on
    in the same ways.
    """
    kept: dict[tuple[bool, tuple[Arc, ...]], int] = {}
    new: dict[int, int | None] = {}
    for node in _ends_first(network.arcs):
        arcs = {
            arc._replace(target=place)
            for arc in network.arcs[node]
            if (place := new[arc.target]) is not None
        }
        ways = (network.final[node], tuple(sorted(arcs)))
        new[node] = kept.setdefault(ways, len(kept)) if any(ways) else None
    last = len(kept) - 1  # the start was numbered last
    shared = [
        (final, [arc._replace(target=last - arc.target) for arc in arcs])
        for final, arcs in reversed(kept)
    ]
    return Network([arcs for _, arcs in shared], [final for final, _ in shared])


def _ends_first(arcs: Sequence[Sequence[Arc]]) -> list[int]:
    """Return the nodes in an order in which each comes after all that it leads to."""
    found: list[int] = []
    seen = {0}
    waiting = [(0, iter(arcs[0]))]
    while waiting:
        node, rest = waiting[-1]
        arc = next(rest, None)
        if arc is None:
            found.append(node)
            waiting.pop()
        elif arc.target not in seen:
            seen.add(arc.target)
            waiting.append((arc.target, iter(arcs[arc.target])))
    return found


def grouped(arcs: Sequence[Arc]) -> list[tuple[int, int, list[str]]]:
    """Return arcs as (target, leaf begun, symbols): words that lead to the same node stand
    together.
    """
    groups: dict[tuple[int, int], list[str]] = {}
    for arc in arcs:
        groups.setdefault((arc.target, arc.begins), []).append(arc.symbol)
    return [(target, begins, symbols) for (target, begins), symbols in groups.items()]
