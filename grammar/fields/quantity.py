"""Quantities in even steps."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any, ClassVar, Literal

from grammar.declared import takes
from grammar.errors import Problem
from grammar.exact import ExactDecimal, Rounding, at, difference, plain, steps, whole_steps
from grammar.fields.base import MOST_LEVELS, Band, Beyond, Interval, Progression, Rounded
from grammar.fields.discrete_normal import over_levels
from grammar.fields.measured import Moving

# of a step: how far below a value those begin that are rounded to it
_BELOW = {"nearest": Fraction(1, 2), "up": Fraction(1), "down": Fraction(0)}
_ROUNDING_IN_C = {"nearest": 0, "up": 1, "down": 2}


class Quantity(Moving):
    """A quantity in even steps; the value of level n is ``low + n * step``, exactly.

    An open end means "or beyond": values past it are said as the end.
    """

    kind: Literal["quantity"]
    low: ExactDecimal = takes(description="The lowest value.")
    high: ExactDecimal = takes(
        description="The highest value, a whole number of steps from the lowest."
    )
    step: ExactDecimal = takes(description="The resolution, above 0: 0.1, 1, 5 …")
    open: Literal["neither", "low", "high", "both"] = takes(
        default="neither", description="Which ends mean 'or beyond'."
    )
    rounding: Rounding = takes(
        default="nearest",
        description=(
            "How a value between two levels is rounded; ties of `nearest` go to the even level."
        ),
    )
    usual: ExactDecimal | None = takes(
        default=None,
        description="The usual value; optional parts that carry it may be left unsaid.",
    )
    spread: ExactDecimal | None = takes(
        default=None, description="Standard deviation about the usual value, in the unit, above 0."
    )

    described: ClassVar[str] = "quantity"

    def problems(self) -> Iterator[Problem]:
        """Yield what is wrong with the range, the usual value, the spread and the limits."""
        scale = f"{plain(self.low)} … {plain(self.high)}"
        if self.step <= 0:
            yield Problem(
                ("step",),
                f"the step {plain(self.step)} must be above 0",
                "it is the resolution: 0.1, 1, 5 …",
            )
        if self.high < self.low:
            yield Problem(
                ("high",),
                f"high {plain(self.high)} lies below low {plain(self.low)}",
                "exchange them",
            )
        elif self.step > 0:
            count = whole_steps(self.low, self.high, self.step)
            if count is None:
                yield Problem(
                    ("step",),
                    f"{scale} is not a whole number of steps of {plain(self.step)}",
                    self._near(),
                )
            elif count >= MOST_LEVELS:
                yield Problem(
                    ("step",),
                    f"{count + 1} levels are more than the {MOST_LEVELS} a field may have",
                    "a coarser step",
                )
            if self.usual is not None and not self.low <= self.usual <= self.high:
                yield Problem(
                    ("usual",),
                    f"the usual value {plain(self.usual)} lies outside {scale}",
                    f"the values are {self.domain}",
                )
            elif (
                self.usual is not None
                and count is not None
                and whole_steps(self.low, self.usual, self.step) is None
            ):
                yield Problem(
                    ("usual",),
                    f"the usual value {plain(self.usual)} is between two levels",
                    f"the values are {self.domain}",
                )
        if self.spread is not None and self.usual is None:
            yield Problem(
                ("spread",),
                "a spread needs a usual value to spread about",
                "give `usual`, or remove `spread`",
            )
        if self.spread is not None and self.spread <= 0:
            yield Problem(
                ("spread",),
                f"the spread {plain(self.spread)} must be above 0",
                "it is a standard deviation, in the unit",
            )
        yield from super().problems()

    def _near(self) -> str:
        """Say which ends beside `high` the steps reach."""
        below = at(self.low, self.step, steps(self.high, self.low, self.step, "down"))
        return f"high = {plain(below)} or {plain(at(below, self.step, 1))}, or another step"

    @property
    def reach(self) -> Band:
        """Low … high, without end where an end is open."""
        if self.high < self.low:
            return Band(None, None)
        return Band(
            None if self.open in ("low", "both") else self.low,
            None if self.open in ("high", "both") else self.high,
        )

    @property
    def ends(self) -> Band:
        """Low and high."""
        return Band(self.low, self.high)

    @functools.cached_property
    def size(self) -> int:
        """The number of levels, both ends included."""
        return steps(self.high, self.low, self.step, "nearest") + 1

    @property
    def domain(self) -> str:
        """Low … high in steps, with the unit and the open ends."""
        low = " or below" if self.open in ("low", "both") else ""
        high = " or above" if self.open in ("high", "both") else ""
        return (
            f"{plain(self.low)}{low} … {self.with_unit(plain(self.high))}{high} in steps of"
            f" {plain(self.step)}"
        )

    @property
    def usual_level(self) -> int | None:
        """The level of the usual value."""
        return None if self.usual is None else self.level(self.usual).level

    @property
    def progression(self) -> Progression:
        """From low, in steps."""
        return Progression(self.low, self.step, self.size)

    def interval(self, level: int) -> Interval:
        """Return the numbers that are rounded to the value."""
        value, step, beyond = Fraction(self.value(level)), Fraction(self.step), self.beyond(level)
        low = value - step * _BELOW[self.rounding]
        return None if beyond == "low" else low, None if beyond == "high" else low + step

    @property
    def typical(self) -> Fraction:
        """The usual value, else the middle of low and high."""
        return Fraction(self.low + self.high) / 2 if self.usual is None else Fraction(self.usual)

    def level(self, value: Any) -> Rounded:
        """Return the level a number is rounded to; past an open end, the end."""
        number = self.number(value)
        if number < self.low:
            if self.open not in ("low", "both"):
                raise self.refuse(value, f"{self.with_unit(plain(number))} is too low")
            return Rounded(0, difference(self.low, number), "low")
        if number > self.high:
            if self.open not in ("high", "both"):
                raise self.refuse(value, f"{self.with_unit(plain(number))} is too high")
            return Rounded(self.size - 1, difference(self.high, number), "high")
        level = steps(number, self.low, self.step, self.rounding)
        return Rounded(level, difference(at(self.low, self.step, level), number))

    def value(self, level: int) -> Decimal:
        """Return ``low + level * step``."""
        return at(self.low, self.step, level)

    def text(self, level: int) -> str:
        """Write the value with its unit; ``≤`` or ``≥`` at an open end."""
        sign = {"": "", "low": "≤ ", "high": "≥ "}[self.beyond(level)]
        return sign + self.with_unit(plain(self.value(level)))

    def beyond(self, level: int) -> Beyond:
        """Tell whether the level is an open end."""
        if level == 0 and self.open in ("low", "both"):
            return "low"
        return "high" if self.open in ("high", "both") and level == self.size - 1 else ""

    def warnings(self, level: int) -> Sequence[str]:
        """Return the limits passed; an open end passes any limit beyond it."""
        if not self.limits:
            return ()
        value, beyond = self.value(level), self.beyond(level)
        low, high = (None if beyond == "low" else value), (None if beyond == "high" else value)
        return [
            limit.text(self.title, self.unit) for limit in self.limits if limit.passed(low, high)
        ]

    @functools.cached_property
    def harm_reach(self) -> float:
        """Three spreads, where the book gives one."""
        return super().harm_reach if self.spread is None else 3 * float(self.spread / self.step)

    @property
    def numbers(self) -> Sequence[Decimal]:
        """Low, high and step."""
        return self.low, self.high, self.step

    @property
    def rounded_in_words(self) -> str:
        """What it is, and how a number between two levels is said."""
        way = "to the nearest" if self.rounding == "nearest" else self.rounding
        return f"{self.title}: rounded {way} in steps of {plain(self.step)}"

    def number_in(self, level: int) -> Decimal:
        """Return the value."""
        return self.value(level)

    def c_level(self, constant: Callable[[Decimal], str]) -> list[str]:
        """Return the comparison with both ends, and the division by the step."""
        below = "0" if self.open in ("low", "both") else "-1"
        above = str(self.size - 1) if self.open in ("high", "both") else "-1"
        low, step = constant(self.low), constant(self.step)
        return [
            f"    if (value < {low}) return {below};",
            f"    if (value > {constant(self.high)}) return {above};",
            f"    return steps_of(value - {low}, {step}, {_ROUNDING_IN_C[self.rounding]});",
        ]

    @property
    def persistence(self) -> float:
        """How much of its distance from the usual value is left a lap later, on average; 1 for what
        does not fall back.

        The lag-one correlation of the autoregression of first order that has ``wander`` for its
        innovation and ``spread`` for its limit (G. Box and G. Jenkins 1970, section 3.2.3: variance
        of the limit = variance of the innovation / (1 - correlation squared)).
        """
        if self.spread is None or self.wander is None or self.drift:
            return 1.0
        return math.sqrt(max(0.0, 1 - float(self.wander / self.spread) ** 2))

    def centre_after(self, value: object, laps: int) -> Decimal:
        """Return where it is expected some laps after it had a value; raises EncodeError."""
        if self.usual is None or self.persistence == 1:
            return super().centre_after(value, laps)
        return self.usual + (self.number(value) - self.usual) * Decimal(self.persistence**laps)

    def width_after(self, laps: int) -> float:
        """Return the standard deviation about that centre, in the unit."""
        if self.spread is None or self.persistence == 1:
            return super().width_after(laps)
        return float(self.spread) * math.sqrt(1 - self.persistence ** (2 * laps))

    def expected(self) -> list[float]:
        """Return a normal distribution about the usual value where a spread is given."""
        if self.usual is None or self.spread is None:
            return super().expected()
        return self._normal(self.usual, float(self.spread))

    def shares_after(self, value: object, laps: int) -> list[float]:
        """Return a normal distribution about where it is expected, if it wanders."""
        return (
            super().shares_after(value, laps)
            if self.wander is None
            else self._normal(self.centre_after(value, laps), self.width_after(laps))
        )

    def _normal(self, centre: Decimal, width: float) -> list[float]:
        place, step = float((centre - self.low) / self.step), float(self.step)
        return over_levels(
            self.size,
            place,
            width / step,
            self.open in ("low", "both"),
            self.open in ("high", "both"),
        )
