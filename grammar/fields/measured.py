"""What fields that measure have in common: units, limits, and how they move from lap to lap."""

from __future__ import annotations

import math
import re
from decimal import Decimal

from pydantic import Field, model_validator

from grammar.exact import ExactDecimal, exact
from grammar.fields.base import FieldBase, Limit

_NUMBER = re.compile(r"\s*([-+\N{MINUS SIGN}]?[0-9]+)(?:[.,]([0-9]+))?\s*(.*)", re.DOTALL)


def _way_to_write(text: str, unit: str) -> str:
    """Return how to write a number that was given with a comma or a unit; "" for what is no such number."""
    found = _NUMBER.fullmatch(text)
    if found is None:
        return ""
    whole, part, more = found.groups()
    alone = f"{whole}.{part}" if part else whole
    if more and more != unit:
        return f"write the number alone, in {unit}" if unit else "write the number alone"
    return f"write {alone}" if alone != text else ""


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
            raise self.refuse(value, str(error), _way_to_write(str(value), self.unit)) from None

    def with_unit(self, text: str) -> str:
        """Put the unit behind a number."""
        return f"{text} {self.unit}" if self.unit else text


class Moving(Measured):
    """A quantity that moves from lap to lap: near the last value moved by the drift, within wander · √laps."""

    drift: ExactDecimal = Field(
        Decimal(0), description="How much it changes from one lap to the next, on average, in the unit: 1 for a lap number."
    )
    wander: ExactDecimal | None = Field(
        None,
        ge=0,
        description="Standard deviation of that change, in the unit; without it the last lap tells nothing but the rest of a wrapped "
        "number. Where a spread is given and no drift, it falls back towards the usual value lap by lap, just so much that it keeps its "
        "spread in the long run.",
    )

    @property
    def told_by_last(self) -> bool:
        """Tell whether the last laps change what is expected."""
        return self.wander is not None or super().told_by_last

    def centre_after(self, value: object, laps: int) -> Decimal:
        """Return where it is expected some laps after it had a value; raises EncodeError."""
        return self.number(value) + self.drift * laps

    def width_after(self, laps: int) -> float:
        """Return the standard deviation about that centre, in the unit."""
        return float(self.wander or 0) * math.sqrt(laps)
