"""Draws: strings as a prior expects them, and words as a channel passes them on.

For simulation; the same seed gives the same draws.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from codec.hear.alignment import silence
from codec.hear.forward_backward import Sums, WeightedLattice, sums
from codec.hear.heard import AskedPart
from codec.hear.lattice import Join, Mix, Operation
from codec.hear.model import Expectation

if TYPE_CHECKING:
    import numpy as np

    from codec.hear.channel import Channel, Condition, Slips


@dataclass(slots=True)
class Source:
    """Draws (message number, string) exactly as the weights of an expectation have it."""

    expectation: Expectation
    found: list[Sums] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Sum up what lies behind every node."""
        self.found = [sums(model, silence()) for model in self.expectation.lattices]

    def draw(self, chance: random.Random) -> tuple[int, str]:
        """Return a message's number and one of its strings."""
        lattices, scale = self.expectation.lattices, self.expectation.scale
        number = chance.choices(
            range(len(lattices)),
            [one.total * share for one, share in zip(self.found, scale, strict=True)],
        )[0]
        model, behind = lattices[number], self.found[number].after[0]
        lattice = model.lattice
        node = chance.choices(lattice.start, [float(behind[start]) for start in lattice.start])[0]
        ends, said = set(lattice.end), ""
        while node not in ends:
            ways = [way for place in lattice.leaving(node) for way in _ways(model, place, node)]
            symbol, node = chance.choices(
                [way[:2] for way in ways], [way[2] * float(behind[way[1]]) for way in ways]
            )[0]
            said += lattice.message.alphabet.symbols[symbol] if symbol >= 0 else ""
        return number, said


def _ways(model: WeightedLattice, place: int, node: int) -> list[tuple[int, int, float]]:
    """Return (symbol or -1, node reached, weight) of the edges of one operation from a node."""
    operation: Operation = model.lattice.operations[place]
    weight = model.weights[place]
    if isinstance(operation, Join):
        return [
            (-1, int(operation.target[at]), float(weight or 0.0))
            for at in (operation.source == node).nonzero()[0]
        ]
    if isinstance(operation, Mix):
        row = _weights(weight)[(node - operation.low) // operation.keys]
        key = (node - operation.low) % operation.keys
        return [
            (-1, operation.slot + at * operation.keys + key, float(row[at]))
            for at in row.nonzero()[0].tolist()
        ]
    found = []
    for run in operation.runs(node):
        worth = 1.0 if weight is None else float(_weights(weight)[run])
        edges = range(int(operation.starts[run]), int(operation.starts[run + 1]))
        found += [
            (int(operation.symbol[edge]), int(operation.target[edge]), worth) for edge in edges
        ]
    return found


def _weights(weight: np.ndarray | float | None) -> np.ndarray:
    import numpy as np

    return np.asarray(weight)


def condition(channel: Channel, chance: random.Random) -> Condition:
    """Return a condition of the radio, drawn by its share."""
    return chance.choices(channel.conditions, [one.share for one in channel.conditions])[0]


def passed_on(
    channel: Channel,
    shown: Sequence[str],
    chance: random.Random,
    radio: Condition | None = None,
    *,
    again: bool = False,
) -> list[str]:
    """Return the words heard for the symbols shown: some misread or swapped, some added, some lost,
    some taken for others, in a condition of the radio (drawn if not given).

    ``again``: in answer to a question, where no symbols are swapped.
    """
    words, index = channel.words, channel.alphabet.index
    radio = condition(channel, chance) if radio is None else radio
    slips = channel.slips(radio)
    if again:
        slips = slips._replace(swapped=0.0)
    heard: list[str] = []
    bad = chance.random() < radio.bad
    for symbol in [*_read(channel, shown, chance, slips), None]:
        bad = chance.random() >= radio.ends if bad else chance.random() < radio.begins
        while chance.random() < (channel.bad_insertion if bad else slips.insertion):
            heard.append(chance.choice(words))
        lost = channel.bad_deletion if bad else slips.deletion
        if symbol is not None and chance.random() >= lost:
            row = None if bad else channel.summed[index[symbol]]
            heard.append(chance.choices(words, cum_weights=row)[0])
    return heard


def _read(channel: Channel, shown: Sequence[str], chance: random.Random, slips: Slips) -> list[str]:
    """Return the symbols that the driver says for those shown."""
    said = list(shown)
    place = 0
    while place < len(said) - 1:
        if slips.swapped and chance.random() < slips.swapped:
            said[place : place + 2] = said[place + 1], said[place]
            place += 1
        place += 1
    symbols = channel.alphabet.symbols
    return [
        chance.choice(symbols.replace(symbol, "")) if chance.random() < slips.misread else symbol
        for symbol in said
    ]


def answer(said: str, part: AskedPart) -> str:
    """Return what is said again in answer to a question for a part: all of it where its first
    border is not in the string.
    """
    if part.after and part.after not in said:
        return said
    rest = said[said.index(part.after) + 1 :] if part.after else said
    return rest[: rest.index(part.before)] if part.before and part.before in rest else rest


def mistaken(true: Channel, share: float, chance: random.Random) -> Channel:
    """Return a channel that misses as often as another, but takes words for other words: its
    confusions are shuffled, by a share.
    """
    import dataclasses

    import numpy as np

    table = true.table.copy()
    for said, row in enumerate(true.table):
        others = [heard for heard in range(len(row)) if heard != said]
        shuffled = others[:]
        chance.shuffle(shuffled)
        table[said, others] = (1 - share) * row[others] + share * row[shuffled]
    return dataclasses.replace(true, table=np.ascontiguousarray(table))
