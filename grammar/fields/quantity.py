"""Fields that measure: evenly stepped, banded, and wrapped quantities."""

from __future__ import annotations

import bisect
import functools
import math
from collections.abc import Sequence
from decimal import Decimal
from typing import Any, ClassVar, Literal

from pydantic import Field, model_validator

from grammar.errors import EncodeError
from grammar.exact import ExactDecimal, Rounding, at, difference, exact, plain, steps, whole_steps
from grammar.fields.base import MOST_LEVELS, Band, Beyond, FieldBase, Limit, Rounded, Value, looked_up, numbered


class Measured(FieldBase):
    """What quantities of all kinds share: a unit and limits."""

    unit: str = Field("", description="The unit as people write it: kWh, °C, %.")
    limits: list[Limit] = Field(default_factory=list, description="Values at which the reading carries a warning.")

    @model_validator(mode="after")
    def _limits_have_one_side(self) -> Measured:
        for limit in self.limits:
            if (limit.above is None) == (limit.below is None):
                raise ValueError("a limit has either `above` or `below`")
        return self

    def number(self, value: object) -> Decimal:
        """Return a caller's number exactly; raises EncodeError."""
        try:
            return exact(value)
        except ValueError as error:
            raise self.refuse(value, str(error)) from None

    def with_unit(self, text: str) -> str:
        """Put the unit behind a number."""
        return f"{text} {self.unit}" if self.unit else text


class Quantity(Measured):
    """A quantity in even steps; the value of level n is ``low + n * step``, exactly.

    An open end means "or beyond": values past it are said as the end.
    """

    kind: Literal["quantity"]
    low: ExactDecimal = Field(description="The lowest value.")
    high: ExactDecimal = Field(description="The highest value.")
    step: ExactDecimal = Field(description="The resolution.")
    open: Literal["neither", "low", "high", "both"] = Field("neither", description="Which ends mean 'or beyond'.")
    rounding: Rounding = Field("nearest", description="How a value between two levels is rounded; ties of `nearest` go to the even level.")
    usual: ExactDecimal | None = Field(None, description="The usual value; optional parts that carry it may be left unsaid.")
    spread: ExactDecimal | None = Field(None, description="Standard deviation about the usual value, in the unit.")
    drift: ExactDecimal = Field(Decimal(0), description="How much it changes from one lap to the next, on average, in the unit.")
    wander: ExactDecimal | None = Field(
        None,
        ge=0,
        description="Standard deviation of that change, in the unit; without it the last lap tells nothing. Where a spread is given and no "
        "drift, it falls back towards the usual value lap by lap, just so much that it keeps its spread in the long run.",
    )

    described: ClassVar[str] = "quantity"

    @model_validator(mode="after")
    def _range_is_whole(self) -> Quantity:
        if self.step <= 0:
            raise ValueError("the step must be above 0")
        if self.high < self.low:
            raise ValueError(f"high {plain(self.high)} lies below low {plain(self.low)}")
        count = whole_steps(self.low, self.high, self.step)
        if count is None:
            raise ValueError(f"{plain(self.low)} … {plain(self.high)} is not a whole number of steps of {plain(self.step)}")
        if count >= MOST_LEVELS:
            raise ValueError(f"{count + 1} levels are more than the {MOST_LEVELS} a field may have")
        if self.usual is not None and not self.low <= self.usual <= self.high:
            raise ValueError(f"the usual value {plain(self.usual)} lies outside {plain(self.low)} … {plain(self.high)}")
        if self.usual is not None and whole_steps(self.low, self.usual, self.step) is None:
            raise ValueError(f"the usual value {plain(self.usual)} is between two levels")
        if self.spread is not None and (self.usual is None or self.spread <= 0):
            raise ValueError("a spread needs a usual value and must be above 0")
        return self

    @property
    def size(self) -> int:
        """The number of levels, both ends included."""
        return steps(self.high, self.low, self.step, "nearest") + 1

    @property
    def domain(self) -> str:
        """Low … high in steps, with the unit and the open ends."""
        low = " or below" if self.open in ("low", "both") else ""
        high = " or above" if self.open in ("high", "both") else ""
        return f"{plain(self.low)}{low} … {self.with_unit(plain(self.high))}{high} in steps of {plain(self.step)}"

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
        return [limit.text(self.title, self.unit) for limit in self.limits if limit.passed(low, high)]

    @property
    def persistence(self) -> float:
        """How much of its distance from the usual value is left a lap later, on average; 1 for what does not fall back.

        The lag-one correlation of the autoregression of first order that has ``wander`` for its innovation and ``spread`` for its limit
        (G. Box and G. Jenkins 1970, section 3.2.3: variance of the limit = variance of the innovation / (1 - correlation squared)).
        """
        if self.spread is None or self.wander is None or self.drift:
            return 1.0
        return math.sqrt(max(0.0, 1 - float(self.wander / self.spread) ** 2))

    def shares(self) -> list[float]:
        """Return a normal distribution cut to the range where a spread is given."""
        if self.usual is None or self.spread is None:
            return super().shares()
        centre, width = float(self.usual), float(self.spread)
        weights = [math.exp(-((float(self.value(level)) - centre) ** 2) / (2 * width**2)) for level in range(self.size)]
        total = sum(weights)
        return [weight / total for weight in weights]


class Bands(Measured):
    """A quantity known only to lie between two of several edges."""

    kind: Literal["bands"]
    edges: list[ExactDecimal] = Field(min_length=1, max_length=10_000, description="Where one band ends and the next begins, rising.")
    low: ExactDecimal | None = Field(None, description="The lowest value of all; without it the first band has no low end.")
    high: ExactDecimal | None = Field(None, description="The highest value of all; without it the last band has no high end.")
    edge_in: Literal["lower", "upper"] = Field("upper", description="Which band a value exactly on an edge belongs to.")
    names: list[str] | None = Field(None, description="What each band is called, from the lowest.")
    usual: int | str | None = Field(None, description="The usual band: its number from 0, or its name.")

    described: ClassVar[str] = "bands"

    @model_validator(mode="after")
    def _edges_rise(self) -> Bands:
        if any(b <= a for a, b in zip(self.edges, self.edges[1:], strict=False)):
            raise ValueError("the edges must rise")
        if self.low is not None and (self.low > self.edges[0] or (self.low == self.edges[0] and self.edge_in == "upper")):
            raise ValueError("low must lie below the first edge")
        if self.high is not None and (self.high < self.edges[-1] or (self.high == self.edges[-1] and self.edge_in == "lower")):
            raise ValueError("high must lie above the last edge")
        if self.names is not None and len(self.names) != self.size:
            raise ValueError(f"{len(self.names)} names for {self.size} bands")
        if isinstance(self.usual, int) and not 0 <= self.usual < self.size:
            raise ValueError(f"the usual band must be 0 … {self.size - 1}")
        if isinstance(self.usual, str) and looked_up(self._numbers, self.usual) is None:
            raise ValueError(f"no band is named {self.usual!r}")
        return self

    @property
    def size(self) -> int:
        """The number of bands: one more than edges."""
        return len(self.edges) + 1

    @property
    def domain(self) -> str:
        """The whole range, with the unit."""
        return f"{self.with_unit(str(Band(self.low, self.high)))} in {self.size} bands"

    @property
    def usual_level(self) -> int | None:
        """The number of the usual band."""
        return self.usual if isinstance(self.usual, int) else looked_up(self._numbers, self.usual)

    @functools.cached_property
    def _numbers(self) -> dict[str, int]:
        return numbered(self.names or [])

    def level(self, value: Any) -> Rounded:
        """Return the band that holds a number; a Band or a band's name stands for itself."""
        if isinstance(value, Band | tuple):
            return Rounded(self._own(value))
        named = looked_up(self._numbers, value)
        if named is not None:
            return Rounded(named)
        number = self.number(value)
        if (self.low is not None and number < self.low) or (self.high is not None and number > self.high):
            raise self.refuse(value, f"{self.with_unit(plain(number))} is outside")
        find = bisect.bisect_right if self.edge_in == "upper" else bisect.bisect_left
        return Rounded(find(self.edges, number))

    def _own(self, value: tuple[Any, ...]) -> int:
        for level in range(self.size):
            if self.value(level) == value:
                return level
        raise self.refuse(value, "not a band of this field")

    def value(self, level: int) -> Band:
        """Return the band between its two edges."""
        low = self.edges[level - 1] if level else self.low
        return Band(low, self.edges[level] if level < len(self.edges) else self.high)

    def text(self, level: int) -> str:
        """Write the band with its unit, and its name where it has one."""
        band = self.with_unit(str(self.value(level)))
        return f"{self.names[level]} ({band})" if self.names else band

    def warnings(self, level: int) -> Sequence[str]:
        """Return the limits that some value of the band passes."""
        band = self.value(level)
        return [limit.text(self.title, self.unit) for limit in self.limits if limit.passed(band.low, band.high)]


class Wrapped(Measured):
    """A quantity of which only the remainder is said, such as a lap number without its tens; context restores the rest."""

    kind: Literal["wrapped"]
    modulus: ExactDecimal = Field(description="What is taken off as often as possible; a whole number of steps.")
    step: ExactDecimal = Field(Decimal(1), description="The resolution.")
    usual: ExactDecimal | None = Field(None, description="The usual remainder.")
    drift: ExactDecimal = Field(Decimal(0), description="How much it changes from one lap to the next: 1 for a lap number.")
    wander: ExactDecimal | None = Field(
        None, ge=0, description="Standard deviation of that change; without it the last lap tells nothing but the rest of the number."
    )

    described: ClassVar[str] = "wrapped"

    @model_validator(mode="after")
    def _modulus_is_whole(self) -> Wrapped:
        if self.step <= 0 or self.modulus <= 0:
            raise ValueError("the step and the modulus must be above 0")
        count = whole_steps(Decimal(0), self.modulus, self.step)
        if count is None:
            raise ValueError(f"the modulus {plain(self.modulus)} is not a whole number of steps of {plain(self.step)}")
        if count > MOST_LEVELS:
            raise ValueError(f"{count} levels are more than the {MOST_LEVELS} a field may have")
        if self.usual is not None and not (0 <= self.usual < self.modulus and whole_steps(Decimal(0), self.usual, self.step) is not None):
            raise ValueError(f"the usual remainder must be a multiple of the step in 0 … below {plain(self.modulus)}")
        return self

    @property
    def size(self) -> int:
        """The number of remainders."""
        return steps(self.modulus, Decimal(0), self.step, "nearest")

    @property
    def domain(self) -> str:
        """What is said, in words."""
        return f"any number in steps of {self.with_unit(plain(self.step))}, said as its remainder by {plain(self.modulus)}"

    def level(self, value: Any) -> Rounded:
        """Return the level of the remainder of the step nearest to a number."""
        number = self.number(value)
        count = steps(number, Decimal(0), self.step, "nearest")
        return Rounded(count % self.size, difference(at(Decimal(0), self.step, count), number))

    def value(self, level: int) -> Decimal:
        """Return the remainder."""
        return at(Decimal(0), self.step, level)

    def restored(self, level: int, near: object) -> Decimal:
        """Return the number with this remainder that is closest to ``near``; raises EncodeError where two are equally close."""
        size, centre = self.size, self.number(near)
        base = steps(centre, Decimal(0), self.step, "down")
        first = base - ((base - level) % size)
        below, above = at(Decimal(0), self.step, first), at(Decimal(0), self.step, first + size)
        gap_below, gap_above = difference(centre, below), difference(above, centre)
        if gap_below == gap_above:
            raise EncodeError(
                f"{self.title}: {plain(below)} and {plain(above)} are equally close to {plain(centre)}",
                kind="tie",
                expected=[self.domain],
            )
        return below if gap_below < gap_above else above

    def text(self, level: int) -> str:
        """Write the remainder as such."""
        return f"…{self.with_unit(plain(self.value(level)))}"

    def warnings(self, level: int) -> Sequence[str]:  # noqa: ARG002 - a remainder passes no limit
        """Return nothing: what a remainder stands for is not known here."""
        return ()


AnyMeasured = Quantity | Bands | Wrapped
__all__ = ["AnyMeasured", "Bands", "Measured", "Quantity", "Value", "Wrapped"]
