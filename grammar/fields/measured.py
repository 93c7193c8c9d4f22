"""What fields that measure have in common: units, limits, and how they move from lap to lap."""

from __future__ import annotations

import math
import re
from abc import abstractmethod
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from typing import Any, ClassVar

from grammar.declared import takes
from grammar.errors import Problem
from grammar.exact import ExactDecimal, exact, plain
from grammar.fields.base import Band, FieldBase, Limit, Value

_NUMBER = re.compile(r"\s*([-+\N{MINUS SIGN}]?[0-9]+)(?:[.,]([0-9]+))?\s*(.*)", re.DOTALL)


def _way_to_write(text: str, unit: str) -> str:
    """Return how to write a number that was given with a comma or a unit; "" for what is no such
    number.
    """
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

    unit: str = takes(default="", description="The unit as people write it: kWh, °C, %.")
    limits: list[Limit] = takes(
        default_factory=list, description="Values at which the reading carries a warning."
    )

    numeric: ClassVar[bool] = True

    def marked(self, mark: str) -> dict[str, Any]:
        """Return the limits, whose words of their own tell the mark too."""
        return {
            "limits": [
                Limit(**{**one.given_keys(), "say": f"{one.say}, {mark}"}) if one.say else one
                for one in self.limits
            ]
        }

    @property
    def unit_text(self) -> str:
        """The unit."""
        return self.unit

    @property
    def reach(self) -> Band:
        """All values it can have."""
        return Band(None, None)

    def problems(self) -> Iterator[Problem]:
        """Yield limits of no side or of two, and those that no value passes: a slip in a limit must
        not silence its warning.
        """
        for number, limit in enumerate(self.limits):
            if (limit.above is None) == (limit.below is None):
                yield Problem(
                    ("limits", number),
                    "a limit has either `above` or `below`",
                    "for one on each side, write two limits",
                )
            elif not limit.passed(*self.reach):
                side = "above" if limit.below is None else "below"
                yield Problem(
                    ("limits", number, side),
                    f"a limit {self.with_unit(limit.side)} never warns: no value passes it",
                    f"the values are {self.with_unit(str(self.reach))}",
                )

    @property
    def ends(self) -> Band:
        """The lowest and the highest number told apart: what lies beyond is said as an open end."""
        return Band(None, None)

    @property
    def thresholds(self) -> Sequence[Limit]:
        """The limits."""
        return self.limits

    def warns_when(self) -> list[str]:
        """Return the side of each limit."""
        return [f"warns {limit.side}" for limit in self.limits]

    def notes(self) -> list[str]:
        """Return limits beyond an open end: only that end warns, whatever lies between it and the
        limit; and limits that every value passes, which nobody heeds.
        """
        (low, high), (least, most) = self.ends, self.reach
        found = []
        for limit in self.limits:
            text = f"limit {self.with_unit(limit.side)}"
            far, near = (high, least) if limit.above is not None else (low, most)
            beyond = 1 if limit.above is not None else -1
            if far is not None and beyond * (limit.number - far) > 0:
                end = self.with_unit(plain(far))
                found.append(f"{text} lies beyond the open end, {end}: it warns at that end only")
            elif near is not None and beyond * (limit.number - near) < 0:
                found.append(f"{text} always warns: every value passes it")
        return found

    def number(self, value: object) -> Decimal:
        """Return a caller's number exactly; raises EncodeError."""
        try:
            return exact(value)
        except ValueError as error:
            raise self.refuse(value, str(error), _way_to_write(str(value), self.unit)) from None

    def from_text(self, text: str) -> Value:
        """Return the number."""
        return exact(text)

    def given(self, text: str) -> Decimal | str:
        """Return the number; its domain is not asked."""
        return self.number(text)

    @property
    def given_as(self) -> str:
        """A number, in the unit."""
        return f"a number{' in ' + self.unit if self.unit else ''}, without the unit"

    def harm(self, said: int, read: int) -> float:
        """Return the steps apart against ``harm_reach``, at most 1."""
        return min(1.0, self.apart(said, read) / max(1.0, self.harm_reach))

    def apart(self, one: int, other: int) -> int:
        """Return how many steps two levels are apart."""
        return abs(one - other)

    @property
    def harm_reach(self) -> float:
        """The steps apart that are as bad as it gets: a third of the range."""
        return self.size / 3

    @property
    @abstractmethod
    def numbers(self) -> Sequence[Decimal]:
        """The numbers that say where its levels lie."""

    @property
    def decimals(self) -> int | None:
        """The decimals of ``numbers``."""
        return max(0, *(-int(number.normalize().as_tuple().exponent) for number in self.numbers))

    @abstractmethod
    def number_in(self, level: int) -> Decimal:
        """Return a number that is said as ``level``."""

    @abstractmethod
    def c_level(self, constant: Callable[[Decimal], str]) -> list[str]:
        """Return the lines of C from a number to its level."""

    def with_unit(self, text: str) -> str:
        """Put the unit behind a number."""
        return f"{text} {self.unit}" if self.unit else text


class Moving(Measured):
    """A quantity that moves from lap to lap: near the last value moved by the drift, within wander
    · √laps.
    """

    drift: ExactDecimal = takes(
        default=Decimal(0),
        description=(
            "How much it changes from one lap to the next, on average, in the unit: 1 for a lap"
            " number."
        ),
    )
    wander: ExactDecimal | None = takes(
        default=None,
        ge=0,
        description=(
            "Standard deviation of that change, in the unit; without it the last lap tells nothing"
            " but the rest of a wrapped number. Where a spread is given and no drift, it falls back"
            " towards the usual value lap by lap, just so much that it keeps its spread in the long"
            " run."
        ),
    )

    @property
    def span(self) -> Decimal | None:
        """How far apart two values can be; None where there are none."""
        low, high = self.ends
        return None if low is None or high is None or high < low else high - low

    def notes(self) -> list[str]:
        """Return also a drift that leaves the range within a lap, and a wander after which a value
        may be anywhere: the last lap tells nothing then.
        """
        found, span = super().notes(), self.span
        if span is not None and not self.wraps and abs(self.drift) > span:
            drift = self.with_unit(plain(self.drift))
            found.append(f"drift {drift} a lap leaves the range within one")
        if span is not None and self.wander is not None and self.wander >= span:
            wander = self.with_unit(plain(self.wander))
            found.append(
                f"wander {wander} is as much as all its values: the last lap tells nothing of it"
            )
        return found

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
