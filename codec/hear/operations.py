"""The operations a message's graph is made of; see ``codec.hear.graph``."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from grammar.message import Message

if TYPE_CHECKING:
    import numpy as np

    from codec.hear.strings import Strings

Key = tuple[int, ...]
Decides = dict[str, "np.ndarray"]


@dataclass(slots=True)
class Say:
    """Edges that say one symbol each, from the nodes ``low`` … ``high`` - 1, in order of their
    source.

    Edges that leave one source and decide the same levels are a run: run r holds the edges
    ``starts[r]`` … ``starts[r + 1]`` - 1, leaves the node ``low + source[r]`` and decides
    ``decides[field][r]``. The runs of each source in ``sources`` begin at ``source_starts``.
    ``run`` is the run of each edge, ``place`` its target counted from ``reached``, the lowest of
    all; ``reach`` is how many nodes from there to the highest.
    """

    low: int
    high: int
    target: np.ndarray
    symbol: np.ndarray
    source: np.ndarray
    starts: np.ndarray
    decides: Decides
    sources: np.ndarray
    source_starts: np.ndarray
    run: np.ndarray
    place: np.ndarray
    reached: int
    reach: int

    def runs(self, node: int) -> range:
        """Return the runs that leave a node."""
        source = node - self.low
        return range(
            int(self.source.searchsorted(source)),
            int(self.source.searchsorted(source, side="right")),
        )


@dataclass(slots=True)
class Join:
    """Edges that say nothing: ``source`` to ``target``, one to one, with a factor and the levels
    they imply.
    """

    source: np.ndarray
    target: np.ndarray
    factor: float
    implies: dict[str, int]


@dataclass(slots=True)
class Mix:
    """Edges from states × keys at ``low`` to figures × keys at ``slot``, the same for every key,
    that decide levels and say nothing yet.
    """

    low: int
    slot: int
    states: int
    figures: int
    keys: int
    possible: np.ndarray
    decides: Decides


Operation = Say | Join | Mix


@dataclass(slots=True)
class Point:
    """A place between codewords: its nodes are ``low`` + position of the key."""

    low: int
    keys: list[Key]


@dataclass(slots=True)
class Graph:
    """A message's graph: its operations, how many nodes, where it starts and ends."""

    message: Message
    operations: list[Operation] = field(default_factory=list)
    nodes: int = 0
    edges: int = 0
    start: list[int] = field(default_factory=list)
    end: list[int] = field(default_factory=list)
    strings: Strings | None = None  # where a reading may have more than one string
    _wide: list[tuple[int, int, int]] = field(default_factory=list)
    _single: dict[int, list[int]] = field(default_factory=dict)

    def leaving(self, node: int) -> list[int]:
        """Return the numbers of the operations that leave a node."""
        if not self._wide:
            for number, operation in enumerate(self.operations):
                if isinstance(operation, Say):
                    self._wide.append((operation.low, operation.high, number))
                elif isinstance(operation, Mix):
                    self._wide.append(
                        (operation.low, operation.low + operation.states * operation.keys, number)
                    )
                else:
                    for source in operation.source.tolist():
                        self._single.setdefault(source, []).append(number)
        return [
            number for low, high, number in self._wide if low <= node < high
        ] + self._single.get(node, [])
