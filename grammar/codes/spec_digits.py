"""``kind = "digits"`` of a book: decimal numbers in fixed width."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from pydantic import Field

from grammar.codes.base import MOST_WIDTH, CodeTable
from grammar.codes.numbered import Numbered
from grammar.codes.spec_base import MOST_STRIDE, Fields, OneField, Trouble, in_use
from grammar.errors import EncodeError
from grammar.exact import ExactDecimal, plain, steps, whole_steps
from grammar.fields import FieldBase, Quantity, Wrapped
from grammar.symbols import Alphabet


class DigitsSpec(OneField):
    """Decimal numbers in fixed width: the level's number, or the value itself."""

    kind: Literal["digits"]
    count: Literal["level", "value"] = Field(
        "level",
        description=(
            "What the number is: the level from `first` on, or the value in units of `per`."
        ),
    )
    first: int = Field(
        0, ge=0, le=10**15, description="With count = 'level': the number of the lowest level."
    )
    per: ExactDecimal | None = Field(
        None,
        gt=0,
        description=(
            "With count = 'value': what one count is worth; the default is the field's step."
        ),
    )
    width: int | None = Field(
        None,
        ge=1,
        le=MOST_WIDTH,
        description="How many digits; the default is as many as the largest number needs.",
    )
    minus: str | None = Field(
        None, min_length=1, max_length=1, description="The symbol before numbers below zero."
    )
    lowest: ExactDecimal | None = Field(
        None, description="The first value it says, where another table says those before it."
    )
    highest: ExactDecimal | None = Field(
        None, description="The last value it says, where another table says those after it."
    )

    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table; raises Trouble."""
        field = self.field_of(name, fields)
        in_use("0123456789", alphabet, "kind")
        first, stride = self._counts(field)
        start, end = self._level(field, "lowest", 0), self._level(field, "highest", field.size - 1)
        if end < start:
            raise Trouble(
                "the highest value lies before the lowest", f"values are {field.domain}", "highest"
            )
        first, last = first + stride * start, first + stride * end
        if first < 0 and self.minus is None:
            raise Trouble(
                f"{field.name} goes below zero",
                "give a `minus` symbol, or count = 'level'",
                "count",
            )
        minus = in_use(self.minus or "", alphabet, "minus")
        if minus.isdigit():
            raise Trouble("the minus can't be a digit", where="minus")
        needed = len(str(max(abs(first), abs(last))))
        if needed > MOST_WIDTH:
            raise Trouble(
                f"{needed} digits are needed, more than {MOST_WIDTH}",
                "a larger `per`, or a coarser step",
                "per",
            )
        if self.width is not None and self.width < needed:
            raise Trouble(
                f"{self.width} digits can't hold {max(abs(first), abs(last))}",
                f"width = {needed}",
                "width",
            )
        return Numbered(
            name,
            [field],
            alphabet,
            kind="digits",
            figures="0123456789",
            width=self.width or needed,
            first=first,
            stride=stride,
            minus=minus,
            start=start,
            size=end - start + 1,
        )

    def _level(self, field: FieldBase, key: Literal["lowest", "highest"], default: int) -> int:
        value = self.lowest if key == "lowest" else self.highest
        if value is None:
            return default
        try:
            rounded = field.level(value)
        except EncodeError as error:
            raise Trouble(error.message, f"values are {field.domain}", key) from None
        if rounded.error:
            raise Trouble(f"{value} is no level of {field.name}", f"values are {field.domain}", key)
        return rounded.level

    def _counts(self, field: FieldBase) -> tuple[int, int]:
        if self.count == "level":
            return self.first, 1
        if not isinstance(field, Quantity | Wrapped):
            raise Trouble(
                f"{field.name} is {field.described}, its values are no even numbers",
                "use count = 'level'",
                "count",
            )
        per, low = self.per or field.step, field.low if isinstance(field, Quantity) else Decimal(0)
        first, stride = _whole(low, per), _whole(field.step, per)
        if first is None or stride is None:
            raise Trouble(
                f"{plain(low)} and steps of {plain(field.step)} are not whole counts of"
                f" {plain(per)}",
                where="per",
            )
        if stride > MOST_STRIDE:
            raise Trouble(
                f"each step counts {stride}; at most {MOST_STRIDE} are allowed",
                f"per = {plain(field.step)} or the like",
                "per",
            )
        return first, stride


def _whole(value: Decimal, per: Decimal) -> int | None:
    sign = -1 if value < 0 else 1
    return (
        None
        if whole_steps(Decimal(0), abs(value), per) is None
        else sign * steps(abs(value), Decimal(0), per, "nearest")
    )
