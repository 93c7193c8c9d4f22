"""Check characters: ISO/IEC 7064, Damm, Verhoeff, Luhn and a weighted sum.

Each method is one object over its own alphabet ``values`` (the character of value 0 first), and an
automaton: ``starts`` lists its start states, ``step`` consumes one character, ``wanted`` tells
which check character closes the string. Methods that count from the right have one start state for
each possible length modulo their period; the one that guessed the length right is the one that
closes it, so a string has at most one check character.

Sources: ISO/IEC 7064:2003 (pure and hybrid systems); H. M. Damm, Total anti-symmetrische
Quasigruppen (2004), the published table of order 10; J. Verhoeff, Error Detecting Decimal Codes
(1969); ISO/IEC 7812-1 annex B (Luhn). The tables are in ``tables/checks.toml``.
"""

from __future__ import annotations

import functools
import math
from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from grammar.data import table

State = int


class CheckMethod(ABC):
    """What a check method offers; states are whole numbers, characters are values (positions in
    ``values``).
    """

    values: str  # characters that may be covered
    checks: str  # characters that may be the check

    @abstractmethod
    def starts(self) -> Sequence[State]:
        """Return the start states."""

    @abstractmethod
    def step(self, state: State, value: int) -> State:
        """Return the state after one covered character."""

    @abstractmethod
    def wanted(self, state: State) -> int | None:
        """Return the value of the check character that closes the string in this state, None if
        none does.
        """

    def idle(self) -> Sequence[int]:
        """Return the weights that cover nothing: symbols in their places may be anything."""
        return ()

    def warned(self, length: int) -> Sequence[str]:  # noqa: ARG002 - only weights depend on places
        """Return what to tell about what it does not notice in so many symbols."""
        return ()


@dataclass(frozen=True)
class CheckRule:
    """A check method as a table of a book uses it: its name there, and the tables it covers (None:
    all that stands before it in the message).
    """

    method: CheckMethod
    title: str
    over: frozenset[str] | None

    @functools.cached_property
    def value_of(self) -> dict[str, int]:
        """The values of the symbols it covers."""
        return {symbol: value for value, symbol in enumerate(self.method.values)}

    def wanted(self, covered: str) -> str | None:
        """Return the check symbol that closes ``covered``; None if it holds a symbol the method
        does not cover.
        """
        try:
            values = [self.value_of[symbol] for symbol in covered]
        except KeyError:
            return None
        return closing(self.method, values)


class Pure(CheckMethod):
    """ISO/IEC 7064 pure system with one check character: Σ value · radix^position ≡ 1 (mod
    modulus).
    """

    def __init__(self, modulus: int, radix: int, values: str, checks: str) -> None:
        """Take modulus, radix and the two alphabets as the standard names them."""
        self.modulus, self.radix, self.values, self.checks = modulus, radix, values, checks

    def starts(self) -> Sequence[State]:
        """Return the empty sum."""
        return (0,)

    def step(self, state: State, value: int) -> State:
        """Add the character and move on by one place."""
        return (state + value) * self.radix % self.modulus

    def wanted(self, state: State) -> int | None:
        """Return what completes the sum to 1."""
        return (1 - state) % self.modulus


class Hybrid(CheckMethod):
    """ISO/IEC 7064 hybrid system MOD M+1,M."""

    def __init__(self, values: str) -> None:
        """Take the alphabet of M characters."""
        self.values = self.checks = values
        self.size = len(values)

    def starts(self) -> Sequence[State]:
        """Return P = M, the standard's start."""
        return (self.size,)

    def step(self, state: State, value: int) -> State:
        """Return P after a character: ((P + value) mod M, 0 read as M) · 2 mod (M + 1)."""
        return ((state + value) % self.size or self.size) * 2 % (self.size + 1)

    def wanted(self, state: State) -> int | None:
        """Return what makes P + check ≡ 1 (mod M)."""
        return (1 - state) % self.size


class Damm(CheckMethod):
    """Damm's check digit: a quasigroup walked from 0; the check brings it back to 0."""

    values = checks = "0123456789"

    def __init__(self) -> None:
        """Read the quasigroup."""
        self.rows: list[str] = table("checks")["damm"]["rows"]

    def starts(self) -> Sequence[State]:
        """Return 0."""
        return (0,)

    def step(self, state: State, value: int) -> State:
        """Return the quasigroup's product."""
        return int(self.rows[state][value])

    def wanted(self, state: State) -> int | None:
        """Return the state itself: the diagonal of the table is 0."""
        return state


class FromRight(CheckMethod):
    """What methods that count places from the right share: the guess of the length, as ``place``
    counting down to 1.

    A state is ``place * 10 + sum``; place is the place of the next covered character from the
    right, modulo the period; the check character stands in place 0.
    """

    values = checks = "0123456789"
    period = 2

    def starts(self) -> Sequence[State]:
        """Return one state for each place the first character may have."""
        return tuple(place * 10 for place in range(self.period))

    def step(self, state: State, value: int) -> State:
        """Add the character at its place and count down."""
        place, total = divmod(state, 10)
        return (place - 1) % self.period * 10 + self.add(total, place, value)

    def wanted(self, state: State) -> int | None:
        """Return the check digit if the guess of the length was right."""
        place, total = divmod(state, 10)
        return None if place else self.close(total)

    @abstractmethod
    def add(self, total: int, place: int, value: int) -> int:
        """Return the running total after ``value`` in ``place``."""

    @abstractmethod
    def close(self, total: int) -> int:
        """Return the check digit for a total."""


class Luhn(FromRight):
    """Luhn's check digit: every second digit from the right, beginning beside the check, is
    doubled.
    """

    def add(self, total: int, place: int, value: int) -> int:
        """Add the digit sum of the doubled or single digit."""
        return (total + (sum(divmod(2 * value, 10)) if place % 2 else value)) % 10

    def close(self, total: int) -> int:
        """Return what completes the sum to a multiple of 10."""
        return -total % 10


class Verhoeff(FromRight):
    """Verhoeff's check digit: permuted digits multiplied in the dihedral group of order 10."""

    period = 8

    def __init__(self) -> None:
        """Read the group table and the permutation, and raise the permutation to its eight
        powers.
        """
        data = table("checks")["verhoeff"]
        self.product: list[str] = data["product"]
        powers = ["0123456789"]
        for _ in range(7):
            powers.append("".join(data["permutation"][int(c)] for c in powers[-1]))
        self.powers = powers

    def add(self, total: int, place: int, value: int) -> int:
        """Multiply from the left, since the places are walked from the far end: the new digit
        stands on the right.
        """
        return int(self.product[int(self.powers[place][value])][total])

    def close(self, total: int) -> int:
        """Return the digit c with c · total = 0."""
        return next(digit for digit in range(10) if self.product[digit][total] == "0")


class Weighted(CheckMethod):
    """A weighted sum over any alphabet: Σ weight · value over the covered characters and the check
    is 0 modulo the modulus.

    Weights are taken in turn from the left, again from the first when they run out; the check
    character has weight 1. A change of a character by d goes unnoticed where weight · d is 0 modulo
    m: for every d where the weight is 0, for multiples of m / g where it has the greatest common
    divisor g > 1 with m, for none of the m values where g is 1.
    """

    def __init__(self, weights: Sequence[int], modulus: int, values: str) -> None:
        """Take the weights in turn from the left, the modulus and the alphabet."""
        self.weights, self.modulus, self.values, self.checks = (
            tuple(weights),
            modulus,
            values,
            values[:modulus],
        )

    def starts(self) -> Sequence[State]:
        """Return place 0 and the empty sum."""
        return (0,)

    def step(self, state: State, value: int) -> State:
        """Add the character with the weight of its place."""
        place, total = divmod(state, self.modulus)
        return (place + 1) % len(self.weights) * self.modulus + (
            total + self.weights[place] * value
        ) % self.modulus

    def wanted(self, state: State) -> int | None:
        """Return what completes the sum to 0."""
        return -(state % self.modulus) % self.modulus

    def idle(self) -> Sequence[int]:
        """Return the weights that are 0 modulo the modulus."""
        return [w for w in dict.fromkeys(self.weights) if w % self.modulus == 0]

    def warned(self, length: int) -> Sequence[str]:
        """Return what to tell about the weights used in so many places."""
        modulus = self.modulus
        used = list(dict.fromkeys(self.weights[:length]))
        nothing = [weight for weight in used if weight % modulus == 0]
        partly = [w for w in used if math.gcd(w, modulus) > 1 and w not in nothing]
        found = []
        if nothing:
            found.append(
                f"{_named(nothing, 'is', 'are')} 0 modulo {modulus}, which covers nothing: any"
                " symbol in such a place passes"
            )
        if partly:
            found.append(
                f"{_named(partly, 'shares', 'share')} a factor with the modulus {modulus}: some"
                " wrong symbols in such a place pass"
            )
        if found:
            best = [str(weight) for weight in range(1, modulus) if math.gcd(weight, modulus) == 1]
            found[-1] += (
                "; weights that let none pass:"
                f" {', '.join(best[:_SHOWN])}{' …' if len(best) > _SHOWN else ''}"
            )
        return found


def _named(weights: Sequence[int], one: str, several: str) -> str:
    return (
        f"weight{'s' if len(weights) > 1 else ''} {', '.join(map(str, weights))}"
        f" {several if len(weights) > 1 else one}"
    )


_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_FIGURES = "0123456789"
_SHOWN = 8  # of the weights that would do
_PUBLISHED: dict[str, Callable[[], CheckMethod]] = {
    "iso7064 mod 11-2": lambda: Pure(11, 2, _FIGURES, _FIGURES + "X"),
    "iso7064 mod 37-2": lambda: Pure(37, 2, _FIGURES + _LETTERS, _FIGURES + _LETTERS + "*"),
    "iso7064 mod 11,10": lambda: Hybrid(_FIGURES),
    "iso7064 mod 27,26": lambda: Hybrid(_LETTERS),
    "iso7064 mod 37,36": lambda: Hybrid(_FIGURES + _LETTERS),
    "damm": Damm,
    "verhoeff": Verhoeff,
    "luhn": Luhn,
}
PUBLISHED = tuple(_PUBLISHED)


@functools.cache
def published(name: str) -> CheckMethod:
    """Return a published method by its name in ``PUBLISHED``."""
    return _PUBLISHED[name]()


def closing(method: CheckMethod, values: Sequence[int]) -> str:
    """Return the check character that closes the covered characters of these values."""
    state = start_for(method, values)
    for value in values:
        state = method.step(state, value)
    return method.checks[method.wanted(state) or 0]


def start_for(method: CheckMethod, values: Sequence[int]) -> State:
    """Return the start state that closes so many characters: one does, whatever they are."""
    for start in method.starts():
        state = start
        for value in values:
            state = method.step(state, value)
        if method.wanted(state) is not None:
            return start
    raise AssertionError(f"no start fits {len(values)} characters")  # pragma: no cover
