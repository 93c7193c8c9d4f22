"""Quantities of which only the remainder is said."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from typing import Any, ClassVar, Literal

from grammar.declared import takes
from grammar.errors import EncodeError, Problem
from grammar.exact import ExactDecimal, at, difference, plain, steps, whole_steps
from grammar.fields.base import MOST_LEVELS, Progression, Rounded, Value
from grammar.fields.discrete_normal import folded
from grammar.fields.measured import Moving


class Wrapped(Moving):
    """A quantity of which only the remainder is said, such as a lap number without its tens;
    context restores the rest.
    """

    kind: Literal["wrapped"]
    modulus: ExactDecimal = takes(
        description="What is taken off as often as possible, above 0: 10 leaves the last figure."
    )
    step: ExactDecimal = takes(
        default=Decimal(1),
        description="The resolution, above 0; the modulus is a whole number of steps.",
    )
    usual: ExactDecimal | None = takes(default=None, description="The usual remainder.")

    described: ClassVar[str] = "wrapped"
    wraps: ClassVar[bool] = True

    @property
    def span(self) -> Decimal:
        """Half the modulus: further apart on the circle no two remainders are."""
        return self.modulus / 2

    def problems(self) -> Iterator[Problem]:
        """Yield what is wrong with the modulus, the step, the usual remainder and the limits."""
        if self.modulus <= 0:
            yield Problem(
                ("modulus",),
                f"the modulus {plain(self.modulus)} must be above 0",
                "10 leaves the last digit of a whole number",
            )
        if self.step <= 0:
            yield Problem(
                ("step",),
                f"the step {plain(self.step)} must be above 0",
                "it is the resolution: 0.1, 1, 5 …",
            )
        if self.step > 0 and self.modulus > 0:
            count = whole_steps(Decimal(0), self.modulus, self.step)
            if count is None:
                message = (
                    f"the modulus {plain(self.modulus)} is not a whole number of steps of"
                    f" {plain(self.step)}"
                )
                yield Problem(
                    ("modulus",), message, f"a multiple of {plain(self.step)}, or another step"
                )
            elif count > MOST_LEVELS:
                message = f"{count} levels are more than the {MOST_LEVELS} a field may have"
                yield Problem(("modulus",), message, "a smaller modulus, or a coarser step")
            usual = self.usual
            if usual is not None and not (
                0 <= usual < self.modulus and whole_steps(Decimal(0), usual, self.step) is not None
            ):
                message = f"the usual remainder {plain(usual)} is none"
                yield Problem(
                    ("usual",),
                    message,
                    f"a multiple of {plain(self.step)}, from 0 to below {plain(self.modulus)}",
                )
        yield from super().problems()

    @functools.cached_property
    def size(self) -> int:
        """The number of remainders."""
        return steps(self.modulus, Decimal(0), self.step, "nearest")

    @property
    def domain(self) -> str:
        """What is said, in words."""
        return (
            f"any number in steps of {self.with_unit(plain(self.step))}, said as its remainder by"
            f" {plain(self.modulus)}"
        )

    @property
    def usual_level(self) -> int | None:
        """The level of the usual remainder."""
        return None if self.usual is None else self.level(self.usual).level

    @property
    def progression(self) -> Progression:
        """The remainders, from 0 in steps."""
        return Progression(Decimal(0), self.step, self.size)

    def level(self, value: Any) -> Rounded:
        """Return the level of the remainder of the step nearest to a number."""
        number = self.number(value)
        count = steps(number, Decimal(0), self.step, "nearest")
        return Rounded(count % self.size, difference(at(Decimal(0), self.step, count), number))

    def value(self, level: int) -> Decimal:
        """Return the remainder."""
        return at(Decimal(0), self.step, level)

    def restored(self, level: int, near: object) -> Decimal:
        """Return the number with this remainder that is closest to ``near``; raises EncodeError
        where two are equally close.
        """
        size, centre = self.size, self.number(near)
        base = steps(centre, Decimal(0), self.step, "down")
        first = base - ((base - level) % size)
        below, above = at(Decimal(0), self.step, first), at(Decimal(0), self.step, first + size)
        gap_below, gap_above = difference(centre, below), difference(above, centre)
        if gap_below == gap_above:
            raise EncodeError(
                f"{self.title}: {plain(below)} and {plain(above)} are equally close to"
                f" {plain(centre)}",
                kind="tie",
                expected=[self.domain],
            )
        return below if gap_below < gap_above else above

    def rounded(self, value: Any) -> Decimal:
        """Return the whole number of the step nearest to a number."""
        return self.restored(self.level(value).level, value)

    def text(self, level: int) -> str:
        """Write the remainder as such."""
        return f"…{self.with_unit(plain(self.value(level)))}"

    def warnings(self, level: int) -> Sequence[str]:  # noqa: ARG002 - a remainder passes no limit
        """Return nothing: what a remainder stands for is not known here."""
        return ()

    def restored_text(self, value: Value) -> str:
        """Write the whole number."""
        return self.with_unit(plain(self.number(value)))

    def restored_warnings(self, value: Value) -> Sequence[str]:
        """Return the limits that the whole number passes."""
        number = self.number(value)
        return [
            limit.text(self.title, self.unit)
            for limit in self.limits
            if limit.passed(number, number)
        ]

    def apart(self, one: int, other: int) -> int:
        """Return the steps around the circle."""
        return min(abs(one - other), self.size - abs(one - other))

    @property
    def numbers(self) -> Sequence[Decimal]:
        """Modulus and step."""
        return self.modulus, self.step

    @property
    def rounded_in_words(self) -> str:
        """What it is, and how a number between two levels is said."""
        return f"{self.title}: rounded to the nearest in steps of {plain(self.step)}"

    def number_in(self, level: int) -> Decimal:
        """Return the remainder."""
        return self.value(level)

    def c_level(self, constant: Callable[[Decimal], str]) -> list[str]:
        """Return the division by the step, and the remainder of what it gives."""
        size = f"INT64_C({self.size})"
        return [
            f"    int64_t count = steps_of(value, {constant(self.step)}, 0) % {size};",
            f"    return count < 0 ? count + {size} : count;",
        ]

    def shares_after(self, value: object, laps: int) -> list[float]:
        """Return a normal distribution about where it is expected, round and round, if it
        wanders.
        """
        if self.wander is None:
            return super().shares_after(value, laps)
        step = float(self.step)
        return folded(
            self.size,
            float(self.centre_after(value, laps) / self.step),
            self.width_after(laps) / step,
        )
