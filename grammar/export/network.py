"""A book's messages as a network of words, for grammars that recognisers read: right-linear rules, exact, checks and ranges included.

Every node is a state of the automaton of symbols together with the states of the checks, so what a grammar made of it accepts is just what
the book accepts. Where a check makes too many nodes it is left out of the network, and ``exact`` is False: what is accepted must then be
held against the book.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from grammar.automaton import bits, build
from grammar.message import Direction, Message
from grammar.paths import Node, advance

MOST_NODES = 6000


class Arc(NamedTuple):
    """A word said: the symbol, the node after it, and the leaf whose codeword it begins (-1: it goes on with one)."""

    symbol: str
    target: int
    begins: int


@dataclass(slots=True)
class Network:
    """The nodes of one message, node 0 first: ``arcs[node]`` go out of it, ``final[node]`` tells whether the message may end there."""

    message: Message
    exact: bool
    arcs: list[list[Arc]] = field(default_factory=list)
    final: list[bool] = field(default_factory=list)


def networks(messages: Sequence[Message], direction: Direction | None = None) -> list[Network]:
    """Return the networks of the messages of a direction (None: of both)."""
    return [_network(message) for message in messages if direction in (None, message.direction)]


def _network(message: Message) -> Network:
    found = _walked(message)
    return found if found is not None else _loose(message)


def _loose(message: Message) -> Network:
    """Return the network without what checks demand."""
    automaton = build([message])
    network = Network(message, exact=False)
    for state, steps in enumerate(automaton.steps):
        begins = automaton.ended[state]
        arcs = [
            Arc(message.alphabet.symbols[bit], step.target, automaton.owner[step.target][1] if begins else -1)
            for step in steps
            for bit in bits(step.mask)
        ]
        network.arcs.append(arcs)
        network.final.append(automaton.accepting[state])
    return network


def _walked(message: Message) -> Network | None:
    automaton = build([message])
    start = Node(automaton.starts[0], (-1,) * len(message.check_leaves))
    number = {start: 0}
    waiting = [start]
    network = Network(message, exact=True)
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
                        if len(waiting) > MOST_NODES:
                            return None
                    arcs.append(Arc(symbol, number[after], leaf))
        network.arcs.append(arcs)
        network.final.append(automaton.accepting[node.state] and message.settled(node.checks))
    return _trimmed(network)


def _trimmed(network: Network) -> Network:
    """Drop nodes from which the message can't be completed, and number the rest anew."""
    alive = {number for number, final in enumerate(network.final) if final}
    sources: list[list[int]] = [[] for _ in network.arcs]
    for number, arcs in enumerate(network.arcs):
        for arc in arcs:
            sources[arc.target].append(number)
    waiting = list(alive)
    while waiting:
        for source in sources[waiting.pop()]:
            if source not in alive:
                alive.add(source)
                waiting.append(source)
    kept = [number for number in range(len(network.arcs)) if number in alive]
    place = {number: new for new, number in enumerate(kept)}
    trimmed: list[list[Arc]] = []
    for number in kept:
        moved = [arc._replace(target=place[arc.target]) for arc in network.arcs[number] if arc.target in place]
        trimmed.append(list(dict.fromkeys(moved)))
    return Network(network.message, network.exact, trimmed, [network.final[n] for n in kept])


def grouped(arcs: Sequence[Arc]) -> list[tuple[int, int, list[str]]]:
    """Return arcs as (target, leaf begun, symbols): words that lead to the same node stand together."""
    groups: dict[tuple[int, int], list[str]] = {}
    for arc in arcs:
        groups.setdefault((arc.target, arc.begins), []).append(arc.symbol)
    return [(target, begins, symbols) for (target, begins), symbols in groups.items()]
