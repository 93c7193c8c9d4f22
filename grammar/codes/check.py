"""The check symbol as a code table: no field, one symbol, computed from what stands before it."""

from __future__ import annotations

from collections.abc import Iterator

from grammar.codes.base import DONE, CodeTable, Fragment, Levels, symbol_class
from grammar.codes.checks import CheckMethod, closing
from grammar.symbols import Alphabet


class Check(CodeTable):
    """One check symbol over the tables named in ``over`` (None: over all that stands before it in
    the message).
    """

    kind = "check"

    def __init__(
        self,
        name: str,
        alphabet: Alphabet,
        method: CheckMethod,
        title: str,
        over: frozenset[str] | None,
    ) -> None:
        """Take a method whose check characters are all in use."""
        super().__init__(name, (), alphabet)
        self.method, self.title, self.over = method, title, over
        self.value_of = {symbol: value for value, symbol in enumerate(method.values)}

    @property
    def size(self) -> int:
        """The number of check symbols."""
        return len(self.method.checks)

    @property
    def lengths(self) -> tuple[int, int]:
        """One symbol."""
        return 1, 1

    def word(self, levels: Levels) -> str | None:  # noqa: ARG002 - it follows from the string, not from levels
        """Return None: a check symbol follows from the string."""
        return None

    def levels(self, word: str) -> Levels | None:
        """Return no levels for any check symbol."""
        return () if len(word) == 1 and word in self.method.checks else None

    def words(self) -> Iterator[tuple[Levels, str]]:
        """Yield the check symbols."""
        return (((), symbol) for symbol in self.method.checks)

    def fragment(self) -> Fragment:
        """Return any one check symbol."""
        return [[(self.alphabet.mask(self.method.checks), DONE)]]

    def pattern(self) -> str:
        """Return any one check symbol."""
        return symbol_class(self.method.checks)

    def wanted(self, covered: str) -> str | None:
        """Return the check symbol that closes ``covered``; None if it holds a symbol the method
        does not cover.
        """
        try:
            values = [self.value_of[symbol] for symbol in covered]
        except KeyError:
            return None
        return closing(self.method, values)
