"""A book's messages as networks of words, for grammars that recognisers read: exact, ranges
included.

Every node is a state of the automaton of symbols; check symbols are free, any that the method
gives. With checks enforced it is that together with the states of the checks, and a grammar made of
it accepts just what the book accepts. Nodes from which all goes on alike are one node.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from grammar.automaton import build
from grammar.codes import DONE, CodeTable
from grammar.errors import CodeError
from grammar.message import Message
from grammar.paths import begun, may_end, onward
from grammar.semirings import ends_first

MOST_NODES = 20_000
_FREE = (
    "Check symbols are free: hold what is heard against the book, with niner decode or niner hear."
)
_ENFORCED = (
    "DANGER: check symbols are enforced. A recogniser made to hear only what the check allows turns"
    " a misheard word into another report, and the check can't tell any more."
)


class WordArc(NamedTuple):
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

    arcs: list[list[WordArc]] = field(default_factory=list)
    final: list[bool] = field(default_factory=list)

    def ends_first(self) -> list[int]:
        """Return the nodes in an order in which each comes after all that it leads to."""
        return ends_first([[arc.target for arc in arcs] for arcs in self.arcs])

    def written_out(self) -> int:
        """Return how many words there are if all that follows a node is written out behind each
        word that leads to it, words that lead to the same node standing together.
        """
        words: dict[int, int] = {}
        for node in self.ends_first():
            words[node] = sum(
                len(symbols) + words[target] for target, _, symbols in grouped(self.arcs[node])
            )
        return words[0]


def caution(messages: Sequence[Message], *, enforced: bool) -> str:
    """Return what the head of a grammar of messages says of their checks."""
    if not any(message.check_leaves for message in messages):
        return "No check symbols: what is misheard may be another report."
    return _ENFORCED if enforced else _FREE


def of_message(message: Message, *, enforced: bool = False) -> Network:
    """Return the network of a message, with ``enforced`` of what its checks allow.

    Raises CodeError where it is too large.
    """
    automaton = build([message])
    enforced = enforced and bool(message.check_leaves)
    follow = message.follow if enforced else None
    start = begun(automaton, message, checked=enforced)
    number = {start: 0}
    waiting = [start]
    network = Network()
    for node in waiting:
        arcs: list[WordArc] = []
        begins = automaton.ended[node.state]
        for mask, after in onward(automaton, node, follow):
            leaf = automaton.owner[after.state][1] if begins else -1
            if after not in number:
                number[after] = len(waiting)
                waiting.append(after)
            arcs += [
                WordArc(symbol, number[after], leaf) for symbol in message.alphabet.unmask(mask)
            ]
        if len(waiting) > MOST_NODES:
            raise CodeError(
                f"message {message.name} has more than {MOST_NODES} states in a grammar",
                kind="too-large",
                hint="leave its checks free" if enforced else "export lark",
            )
        network.arcs.append(arcs)
        network.final.append(
            may_end(automaton, node) if enforced else automaton.accepting[node.state]
        )
    return _shared(network)


def of_table(table: CodeTable) -> Network:
    """Return the network of the codewords of a table."""
    fragment = table.fragment()
    end = len(fragment)
    arcs = [
        [
            WordArc(symbol, end if target == DONE else target, -1)
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
    kept: dict[tuple[bool, tuple[WordArc, ...]], int] = {}
    new: dict[int, int | None] = {}
    for node in network.ends_first():
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


def grouped(arcs: Sequence[WordArc]) -> list[tuple[int, int, list[str]]]:
    """Return arcs as (target, leaf begun, symbols): words that lead to the same node stand
    together.
    """
    groups: dict[tuple[int, int], list[str]] = {}
    for arc in arcs:
        groups.setdefault((arc.target, arc.begins), []).append(arc.symbol)
    return [(target, begins, symbols) for (target, begins), symbols in groups.items()]
