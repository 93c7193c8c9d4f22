"""Quantities in bands with irregular edges."""

from __future__ import annotations

import bisect
import functools
import itertools
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any, ClassVar, Literal

from grammar.declared import takes
from grammar.errors import Problem
from grammar.exact import ExactDecimal, exact, plain
from grammar.fields.base import TO, Band, Interval, Rounded, looked_up, numbered
from grammar.fields.measured import Measured

_ENDLESS = "leave it out where the values go on without end"


class Bands(Measured):
    """A quantity known only to lie between two of several edges."""

    kind: Literal["bands"]
    edges: list[ExactDecimal] = takes(
        min_length=1,
        max_length=10_000,
        description="Where one band ends and the next begins, rising.",
    )
    low: ExactDecimal | None = takes(
        default=None,
        description="The lowest value of all; without it the first band has no low end.",
    )
    high: ExactDecimal | None = takes(
        default=None,
        description="The highest value of all; without it the last band has no high end.",
    )
    edge_in: Literal["lower", "upper"] = takes(
        default="upper", description="Which band a value exactly on an edge belongs to."
    )
    names: list[str] | None = takes(
        default=None, description="What each band is called, from the lowest."
    )
    usual: int | str | None = takes(
        default=None, description="The usual band: its number from 0, or its name."
    )

    described: ClassVar[str] = "bands"
    numeric: ClassVar[bool] = False

    def problems(self) -> Iterator[Problem]:
        """Yield what is wrong with the edges, the names, the usual band and the limits."""
        for number, (one, next_one) in enumerate(itertools.pairwise(self.edges), start=1):
            if next_one <= one:
                yield Problem(
                    ("edges", number),
                    f"the edges must rise: {plain(next_one)} follows {plain(one)}",
                    "list them from the lowest",
                )
        if self.low is not None and (
            self.low > self.edges[0] or (self.low == self.edges[0] and self.edge_in == "upper")
        ):
            yield Problem(
                ("low",),
                f"low {plain(self.low)} must lie below the first edge {plain(self.edges[0])}",
                _ENDLESS,
            )
        if self.high is not None and (
            self.high < self.edges[-1] or (self.high == self.edges[-1] and self.edge_in == "lower")
        ):
            yield Problem(
                ("high",),
                f"high {plain(self.high)} must lie above the last edge {plain(self.edges[-1])}",
                _ENDLESS,
            )
        if self.names is not None and len(self.names) != self.size:
            yield Problem(
                ("names",),
                f"{len(self.names)} names for {self.size} bands",
                "one for each band, one more than edges",
            )
        if isinstance(self.usual, int) and not 0 <= self.usual < self.size:
            yield Problem(
                ("usual",),
                f"there is no band {self.usual}",
                f"the usual band is a number from 0 to {self.size - 1}, or a name",
            )
        if isinstance(self.usual, str) and looked_up(self._numbers, self.usual) is None:
            yield Problem(
                ("usual",),
                f"no band is named {self.usual!r}",
                f"bands are named in `names`, or numbered 0 to {self.size - 1}",
            )
        yield from super().problems()

    @property
    def value_names(self) -> Sequence[str]:
        """The names of the bands, if they have any."""
        return self.names or ()

    @property
    def reach(self) -> Band:
        """From low to high, without end where none is given."""
        return Band(self.low, self.high)

    @property
    def ends(self) -> Band:
        """Low and high, or the first and the last edge where they are not given."""
        return Band(
            self.edges[0] if self.low is None else self.low,
            self.edges[-1] if self.high is None else self.high,
        )

    @property
    def size(self) -> int:
        """The number of bands: one more than edges."""
        return len(self.edges) + 1

    @property
    def domain(self) -> str:
        """The whole range, with the unit, and the names of the bands."""
        names = f": {', '.join(self.names)}" if self.names else ""
        return f"{self.with_unit(str(Band(self.low, self.high)))} in {self.size} bands{names}"

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
        if (self.low is not None and number < self.low) or (
            self.high is not None and number > self.high
        ):
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

    def from_text(self, text: str) -> Band:
        """Return the band written low…high."""
        low, to, high = text.partition(TO)
        if not to:
            raise ValueError(f"a band is written low{TO}high")
        return Band(exact(low) if low else None, exact(high) if high else None)

    def interval(self, level: int) -> Interval:
        """Return the band."""
        low, high = self.value(level)
        return None if low is None else Fraction(low), None if high is None else Fraction(high)

    @property
    def typical(self) -> Fraction:
        """The mean of the edges."""
        return Fraction(sum(self.edges)) / len(self.edges)

    def text(self, level: int) -> str:
        """Write the band with its unit, and its name where it has one."""
        band = self.with_unit(str(self.value(level)))
        return f"{self.names[level]} ({band})" if self.names else band

    def warnings(self, level: int) -> Sequence[str]:
        """Return the limits that some value of the band passes."""
        band = self.value(level)
        return [
            limit.text(self.title, self.unit)
            for limit in self.limits
            if limit.passed(band.low, band.high)
        ]

    @property
    def numbers(self) -> Sequence[Decimal]:
        """The edges, low and high."""
        return [*self.edges, *(end for end in (self.low, self.high) if end is not None)]

    @property
    def rounded_in_words(self) -> str:
        """What it is, and how a number between two levels is said."""
        return f"{self.title}: the band that holds it"

    def number_in(self, level: int) -> Decimal:
        """Return the edge that belongs to the band, or a number beside the first or last edge."""
        unit = Decimal(1).scaleb(-(self.decimals or 0))
        if self.edge_in == "upper":
            return self.edges[level - 1] if level else self.edges[0] - unit
        return self.edges[level] if level < len(self.edges) else self.edges[-1] + unit

    def c_level(self, constant: Callable[[Decimal], str]) -> list[str]:
        """Return the search for the first edge above the number."""
        lines = [
            f"    const int64_t edges[] = {{{', '.join(map(constant, self.edges))}}};",
            "    int64_t level = 0;",
        ]
        if self.low is not None:
            lines.append(f"    if (value < {constant(self.low)}) return -1;")
        if self.high is not None:
            lines.append(f"    if (value > {constant(self.high)}) return -1;")
        compare = ">=" if self.edge_in == "upper" else ">"
        return [
            *lines,
            f"    while (level < {len(self.edges)} && value {compare} edges[level]) level++;",
            "    return level;",
        ]
