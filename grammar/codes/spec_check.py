"""``kind = "check"`` of a book: a published method, or a weighted sum."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from grammar.codes import checks
from grammar.codes.base import CodeTable
from grammar.codes.check import Check
from grammar.codes.spec_base import AlphabetTrouble, Fields, Trouble, in_use
from grammar.fields.base import Strict
from grammar.symbols import Alphabet


class CheckSpec(Strict):
    """A check symbol over what stands before it."""

    kind: Literal["check"]
    method: Literal[
        "iso7064 mod 11-2",
        "iso7064 mod 37-2",
        "iso7064 mod 11,10",
        "iso7064 mod 27,26",
        "iso7064 mod 37,36",
        "damm",
        "verhoeff",
        "luhn",
        "weighted sum",
    ] = Field(description="A published method, or a weighted sum.")
    over: list[str] | None = Field(
        None,
        description=(
            "The tables it covers; the default is all that stands before it in the message."
        ),
    )
    weights: list[int] | None = Field(
        None,
        min_length=1,
        max_length=64,
        description="Weighted sum: the weights, taken in turn from the left.",
    )
    modulus: int | None = Field(
        None,
        ge=2,
        le=96,
        description="Weighted sum: the modulus; the default is the number of symbols.",
    )
    symbols: str | None = Field(
        None,
        min_length=2,
        max_length=96,
        description="Weighted sum: its alphabet, value 0 first; the default is the book's.",
    )

    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:  # noqa: ARG002 - a check says no field
        """Return the table; raises Trouble where the method's characters are not all in use."""
        method = (
            self._weighted(alphabet)
            if self.method == "weighted sum"
            else checks.published(self.method)
        )
        if self.method != "weighted sum":
            for key in ("weights", "modulus", "symbols"):
                if getattr(self, key) is not None:
                    raise Trouble(
                        f"{key} belongs to the weighted sum only",
                        f"remove it, or method = 'weighted sum' instead of {self.method!r}",
                        key,
                    )
        missing = [symbol for symbol in method.checks if symbol not in alphabet.index]
        if missing:
            raise AlphabetTrouble(
                f"{self.method} may give {', '.join(map(repr, missing[:6]))} as check symbol, not"
                " in use in this alphabet",
                "put the symbols in use, or choose a method over a smaller alphabet or a"
                " weighted sum",
                "method",
            )
        return Check(
            name, alphabet, method, self.method, None if self.over is None else frozenset(self.over)
        )

    def _weighted(self, alphabet: Alphabet) -> checks.Weighted:
        values = in_use(
            self.symbols if self.symbols is not None else alphabet.symbols, alphabet, "symbols"
        )
        if len(set(values)) != len(values):
            raise Trouble("a symbol stands twice", where="symbols")
        if self.weights is None:
            raise Trouble(
                "a weighted sum needs its weights", "weights = [1, 2, 3] or the like", "method"
            )
        modulus = self.modulus or len(values)
        if modulus > len(values):
            kind = Trouble if self.symbols else AlphabetTrouble
            raise kind(
                f"modulus {modulus} needs {modulus} check symbols, there are {len(values)}",
                f"modulus = {len(values)} at most",
                "modulus",
            )
        if all(weight % modulus == 0 for weight in self.weights):
            shown = ", ".join(str(weight) for weight in dict.fromkeys(self.weights))
            message = (
                f"weights of {shown} are 0 modulo {modulus}: the check symbol would always be the"
                " same"
            )
            raise Trouble(
                message,
                f"weights from 1 to {modulus - 1}; those that share no factor with {modulus} check"
                " best",
                "weights",
            )
        return checks.Weighted(self.weights, modulus, values)
