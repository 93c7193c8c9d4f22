"""A book's messages of one direction, ready to be summed over: their lattices, and the weights a
prior gives them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from codec.hear.forward_backward import WeightedLattice, total, weighted
from codec.hear.kept_lattices import lattices
from codec.hear.lattice import MessageLattice
from codec.hear.priors import Prior, shares
from grammar.errors import CodeError
from grammar.message import Direction

if TYPE_CHECKING:
    from grammar.book import Book


# expectations, the last ones used: what the last laps tell, and nothing expected, are often asked
# for in turn
_KEPT = 4


class Expectation(NamedTuple):
    """The lattices of a book's messages under one prior; ``scale`` makes the strings of all of them
    sum to 1.
    """

    lattices: list[WeightedLattice]
    scale: list[float]


class Model:
    """The lattices of a direction's messages, built once, and the weights of the last priors."""

    def __init__(self, book: Book, direction: Direction | None) -> None:
        """Build the lattices; raises CodeError where a message is too large."""
        self.book = book
        messages = book.sent_by(direction or ("car" if book.sent_by("car") else "pit"))
        self.lattices: list[MessageLattice] = lattices(book, messages)
        self.longest = max(message.lengths[1] for message in messages)
        self._kept: list[tuple[Prior, Expectation]] = []

    def tells(self, prior: Prior) -> bool:
        """Tell whether the last laps change what is expected, or only restore the rest of wrapped
        fields.
        """
        fields = [self.book.fields[name] for name in prior.last]
        return any(one.wraps or one.told_by_last for one in fields)

    def weighted(self, prior: Prior) -> Expectation:
        """Return the lattices with the weights of a prior."""
        for kept, expectation in self._kept:
            if kept == prior:
                return expectation
        names = list(
            dict.fromkeys(name for lattice in self.lattices for name in lattice.message.fields)
        )
        expected = shares(self.book, prior, names)
        models = [weighted(lattice, expected) for lattice in self.lattices]
        sent = [
            self.book.hearing.messages.get(lattice.message.name, 1.0) for lattice in self.lattices
        ]
        masses = [total(model) for model in models]
        whole = sum(share for share, mass in zip(sent, masses, strict=True) if mass > 0)
        found = Expectation(
            models,
            [
                share / whole / mass if mass > 0 else 0.0
                for share, mass in zip(sent, masses, strict=True)
            ],
        )
        self._kept = [(prior, found), *self._kept[: _KEPT - 1]]
        return found


def model_of(book: Book, direction: Direction | None) -> Model:
    """Return the model of a direction (reports where there are any, for None), built once; raises
    CodeError where it can't be.
    """
    if direction is not None and not book.sent_by(direction):
        raise CodeError(
            f"the book has no message with direction {direction!r}",
            kind="usage",
            expected=list(book.directions),
        )
    kept: dict[Direction | None, Model] = book.__dict__.setdefault("_models", {})
    if direction not in kept:
        kept[direction] = Model(book, direction)
    return kept[direction]
