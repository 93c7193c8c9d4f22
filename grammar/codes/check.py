"""The check symbol as a code table: no field, one symbol, computed from what stands before it;
``kind = "check"`` of a book: a published method, or a weighted sum.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from grammar.codes import checks
from grammar.codes.base import (
    DONE,
    SYMBOLS,
    CodeTable,
    Fields,
    Fragment,
    Levels,
    TableSpec,
    in_use,
)
from grammar.codes.checks import CheckRule
from grammar.declared import Checked, takes
from grammar.errors import Problem
from grammar.symbols import Alphabet

_WEIGHTED = "weighted sum"


class Check(CodeTable):
    """One check symbol over the tables named in ``over`` (None: over all that stands before it in
    the message).
    """

    kind = "check"

    def __init__(self, name: str, alphabet: Alphabet, rule: CheckRule) -> None:
        """Take a rule whose check characters are all in use."""
        super().__init__(name, (), alphabet)
        self.check: CheckRule = rule

    @property
    def size(self) -> int:
        """The number of check symbols."""
        return len(self.check.method.checks)

    @property
    def lengths(self) -> tuple[int, int]:
        """One symbol."""
        return 1, 1

    def word(self, levels: Levels) -> str | None:  # noqa: ARG002 - it follows from the string, not from levels
        """Return None: a check symbol follows from the string."""
        return None

    def levels(self, word: str) -> Levels | None:
        """Return no levels for any check symbol."""
        return () if len(word) == 1 and word in self.check.method.checks else None

    def words(self) -> Iterator[tuple[Levels, str]]:
        """Yield the check symbols."""
        return (((), symbol) for symbol in self.check.method.checks)

    def fragment(self) -> Fragment:
        """Return any one check symbol."""
        return [[(self.alphabet.mask(self.check.method.checks), DONE)]]

    @property
    def summary(self) -> str:
        """The method, what it covers, and what it does not."""
        over = self.check.over
        covers = "all that stands before it" if over is None else ", ".join(sorted(over))
        skipped = "".join(f"; weight {w} covers nothing" for w in self.check.method.idle())
        return f"check symbol, {self.check.title}, over {covers}{skipped}"


Method = Annotated[str, Checked(lambda: Literal[(*checks.PUBLISHED, _WEIGHTED)])]


class CheckSpec(TableSpec):
    """A check symbol over what stands before it."""

    kind: Literal["check"]
    method: Method = takes(description="A published method, or a weighted sum.")
    over: list[str] | None = takes(
        default=None,
        description=(
            "The tables it covers; the default is all that stands before it in the message."
        ),
    )
    weights: list[int] | None = takes(
        default=None,
        min_length=1,
        max_length=64,
        description="Weighted sum: the weights, taken in turn from the left.",
    )
    modulus: int | None = takes(
        default=None,
        ge=2,
        le=96,
        description="Weighted sum: the modulus; the default is the number of symbols.",
    )
    symbols: str | None = takes(
        default=None,
        min_length=2,
        max_length=96,
        description="Weighted sum: its alphabet, value 0 first; the default is the book's.",
    )

    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:  # noqa: ARG002 - a check says no field
        """Return the table; raises Problem where the method's characters are not all in use."""
        method = self._weighted(alphabet) if self.method == _WEIGHTED else self._published()
        missing = [symbol for symbol in method.checks if symbol not in alphabet.index]
        if missing:
            raise Problem(
                ("method",),
                f"{self.method} may give {', '.join(map(repr, missing[:6]))} as check symbol, not"
                " in use in this alphabet",
                "put the symbols in use, or choose a method over a smaller alphabet or a"
                " weighted sum",
                rests_on=SYMBOLS,
            )
        over = None if self.over is None else frozenset(self.over)
        return Check(name, alphabet, checks.CheckRule(method, self.method, over))

    def _published(self) -> checks.CheckMethod:
        settings = {"weights": self.weights, "modulus": self.modulus, "symbols": self.symbols}
        for key, setting in settings.items():
            if setting is not None:
                raise Problem(
                    (key,),
                    f"{key} belongs to the weighted sum only",
                    f"remove it, or method = {_WEIGHTED!r} instead of {self.method!r}",
                )
        return checks.published(self.method)

    def _weighted(self, alphabet: Alphabet) -> checks.Weighted:
        values = in_use(
            self.symbols if self.symbols is not None else alphabet.symbols, alphabet, "symbols"
        )
        if len(set(values)) != len(values):
            raise Problem(("symbols",), "a symbol stands twice")
        if self.weights is None:
            raise Problem(
                ("method",), "a weighted sum needs its weights", "weights = [1, 2, 3] or the like"
            )
        modulus = self.modulus or len(values)
        if modulus > len(values):
            raise Problem(
                ("modulus",),
                f"modulus {modulus} needs {modulus} check symbols, there are {len(values)}",
                f"modulus = {len(values)} at most",
                rests_on=() if self.symbols else SYMBOLS,
            )
        if all(weight % modulus == 0 for weight in self.weights):
            shown = ", ".join(str(weight) for weight in dict.fromkeys(self.weights))
            message = (
                f"weights of {shown} are 0 modulo {modulus}: the check symbol would always be the"
                " same"
            )
            raise Problem(
                ("weights",),
                message,
                f"weights from 1 to {modulus - 1}; those that share no factor with {modulus} check"
                " best",
            )
        return checks.Weighted(self.weights, modulus, values)
