"""Code tables whose codeword is a number written in symbols: digits, scale, packed.

The number of a codeword is arithmetic on the levels, so a table may have any size: nothing is
listed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Literal

from grammar.codes.base import (
    DONE,
    MOST_WIDTH,
    SYMBOLS,
    CodeTable,
    Fields,
    Fragment,
    Levels,
    Numeral,
    OneField,
    TableSpec,
    in_use,
    members_of,
)
from grammar.declared import takes
from grammar.errors import EncodeError, Problem
from grammar.exact import ExactDecimal, plain, steps, whole_steps
from grammar.fields import FieldBase
from grammar.symbols import Alphabet

MOST_STRIDE = (
    1000  # counts a step; which numbers occur is followed digit by digit modulo the stride
)


class Numbered(CodeTable):
    """Numbers in fixed width; see Numeral.

    A table of part of the levels (``start``, ``size`` of its numeral) begins with the level
    ``start``, written as ``first``.
    """

    numeral: Numeral

    def __init__(
        self,
        name: str,
        fields: Sequence[FieldBase],
        alphabet: Alphabet,
        numeral: Numeral,
        *,
        kind: str,
    ) -> None:
        """Take the checked settings of a table."""
        super().__init__(name, fields, alphabet)
        self.kind, self.numeral, self.decimal = kind, numeral, kind == "digits"
        self._value = {figure: number for number, figure in enumerate(numeral.figures)}
        self._decimal = numeral.figures == "0123456789"

    @property
    def size(self) -> int:
        """The number of level combinations."""
        return self.numeral.size

    @property
    def lengths(self) -> tuple[int, int]:
        """The width, one more with a sign."""
        lengths = [len(sign) + self.numeral.width for sign, _, _ in self.numeral.runs()]
        return min(lengths), max(lengths)

    @property
    def part(self) -> Sequence[range] | None:
        """The levels from ``start`` on."""
        start, size = self.numeral.start, self.numeral.size
        return [range(start, start + size)] if self.partial else None

    @property
    def summary(self) -> str:
        """How many combinations are packed in how many symbols."""
        several, most = super().summary, self.lengths[1]
        symbols = "1 symbol" if most == 1 else f"{most} symbols"
        packed = f" packed in {symbols}, of {len(self.numeral.figures)} figures"
        return several and several + packed

    def word(self, levels: Levels) -> str | None:
        """Return the codeword of ``levels``, None if they are not among the table's part."""
        number = self._counted(levels) - self.numeral.start
        return self._word(number) if 0 <= number < self.numeral.size else None

    def _word(self, index: int) -> str:
        number = self.numeral.first + self.numeral.stride * index
        sign = self.numeral.minus if number < 0 else self.numeral.plus
        return sign + self._written(abs(number))

    def _written(self, number: int) -> str:
        width, figures = self.numeral.width, self.numeral.figures
        if self._decimal:
            return str(number).zfill(width)
        word, base = [], len(figures)
        for _ in range(width):
            number, figure = divmod(number, base)
            word.append(figures[figure])
        return "".join(reversed(word))

    def levels(self, word: str) -> Levels | None:
        """Return the levels of a codeword, None if the number is none of this table's."""
        numeral = self.numeral
        negative = bool(numeral.minus) and word.startswith(numeral.minus)
        sign = numeral.minus if negative else numeral.plus
        amount = self._read(word.removeprefix(sign)) if word.startswith(sign) else None
        if amount is None or (negative and amount == 0):
            return None
        number, rest = divmod((-amount if negative else amount) - numeral.first, numeral.stride)
        if rest or not 0 <= number < numeral.size:
            return None
        return self._levels(numeral.start + number)

    def _read(self, word: str) -> int | None:
        if len(word) != self.numeral.width:
            return None
        number, base = 0, len(self.numeral.figures)
        for symbol in word:
            figure = self._value.get(symbol)
            if figure is None:
                return None
            number = number * base + figure
        return number

    def words(self) -> Iterator[tuple[Levels, str]]:
        """Yield every codeword, in level order."""
        return (
            (self._levels(self.numeral.start + index), self._word(index))
            for index in range(self.numeral.size)
        )

    def fragment(self) -> Fragment:
        """Return the automaton of the codewords: a comparison with both ends, place by place."""
        states: Fragment = [[]]
        for sign, low, high in self.numeral.runs():
            start = 0
            if sign:
                start = len(states)
                states.append([])
                states[0].append((self.alphabet.mask(sign), start))
            self._compare(states, start, low, high)
        return states

    def _compare(self, states: Fragment, start: int, low: int, high: int) -> None:
        """Add the states that accept the amounts low, low + stride … high in fixed width, beginning
        in ``start``.
        """
        base, lows, highs = len(self.numeral.figures), self._written(low), self._written(high)
        begin = (True, True, 0)
        layer = {begin: start}
        for place in range(self.numeral.width):
            bottom, top = self._value[lows[place]], self._value[highs[place]]
            after: dict[tuple[bool, bool, int], int] = {}
            for (at_low, at_high, rest), state in layer.items():
                masks: dict[int, int] = {}
                for figure in range(bottom if at_low else 0, (top if at_high else base - 1) + 1):
                    key = (
                        at_low and figure == bottom,
                        at_high and figure == top,
                        (rest * base + figure) % self.numeral.stride,
                    )
                    if place + 1 == self.numeral.width:
                        if key[2] != low % self.numeral.stride:
                            continue
                        target = DONE
                    elif key in after:
                        target = after[key]
                    else:
                        target = after[key] = len(states)
                        states.append([])
                    masks[target] = (
                        masks.get(target, 0)
                        | 1 << self.alphabet.index[self.numeral.figures[figure]]
                    )
                states[state].extend((mask, target) for target, mask in masks.items())
            layer = after


def width_for(size: int, base: int) -> int:
    """Return how many places of ``base`` figures hold ``size`` numbers."""
    width, room = 1, base
    while room < size:
        width, room = width + 1, room * base
    return width


class DigitsSpec(OneField):
    """Decimal numbers in fixed width: the level's number, or the value itself."""

    kind: Literal["digits"]
    count: Literal["level", "value"] = takes(
        default="level",
        description=(
            "What the number is: the level from `first` on, or the value in units of `per`."
        ),
    )
    first: int = takes(
        default=0,
        ge=0,
        le=10**15,
        description="With count = 'level': the number of the lowest level.",
    )
    per: ExactDecimal | None = takes(
        default=None,
        gt=0,
        description=(
            "With count = 'value': what one count is worth; the default is the field's step."
        ),
    )
    width: int | None = takes(
        default=None,
        ge=1,
        le=MOST_WIDTH,
        description="How many digits; the default is as many as the largest number needs.",
    )
    minus: str | None = takes(
        default=None,
        min_length=1,
        max_length=1,
        description="The symbol before numbers below zero; with `plus` it may be a figure.",
    )
    plus: str | None = takes(
        default=None,
        min_length=1,
        max_length=1,
        description="The symbol before all other numbers; the default is none.",
    )
    lowest: ExactDecimal | None = takes(
        default=None,
        description="The first value it says, where another table says those before it.",
    )
    highest: ExactDecimal | None = takes(
        default=None, description="The last value it says, where another table says those after it."
    )

    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table; raises Problem."""
        field = self.field_of(name, fields)
        in_use("0123456789", alphabet, "kind")
        first, stride = self._counts(field)
        start, end = self._level(field, "lowest", 0), self._level(field, "highest", field.size - 1)
        if end < start:
            raise Problem(
                ("highest",),
                "the highest value lies before the lowest",
                f"values are {field.domain}",
            )
        first, last = first + stride * start, first + stride * end
        if first < 0 and self.minus is None:
            raise Problem(
                ("count",),
                f"{field.name} goes below zero",
                "give a `minus` symbol, or count = 'level'",
            )
        minus, plus = self._signs(alphabet)
        needed = len(str(max(abs(first), abs(last))))
        if needed > MOST_WIDTH:
            raise Problem(
                ("per",),
                f"{needed} digits are needed, more than {MOST_WIDTH}",
                "a larger `per`, or a coarser step",
            )
        if self.width is not None and self.width < needed:
            raise Problem(
                ("width",),
                f"{self.width} digits can't hold {max(abs(first), abs(last))}",
                f"width = {needed}",
            )
        numeral = Numeral(
            "0123456789", self.width or needed, end - start + 1, first, stride, minus, start, plus
        )
        return Numbered(name, [field], alphabet, numeral, kind="digits")

    def _signs(self, alphabet: Alphabet) -> tuple[str, str]:
        minus = in_use(self.minus or "", alphabet, "minus")
        plus = in_use(self.plus or "", alphabet, "plus")
        if minus.isdigit() and not plus:
            message = "a minus that is a digit would be taken for one of the number"
            hint = (
                "give a `plus` too, which stands before all other numbers: minus = '1', plus = '0'"
            )
            raise Problem(("minus",), message, hint)
        if plus and plus == minus:
            raise Problem(("plus",), "the plus and the minus are alike", "give them two symbols")
        return minus, plus

    def _level(self, field: FieldBase, key: Literal["lowest", "highest"], default: int) -> int:
        value = self.lowest if key == "lowest" else self.highest
        if value is None:
            return default
        try:
            rounded = field.level(value)
        except EncodeError as error:
            raise Problem((key,), error.message, f"values are {field.domain}") from None
        if rounded.error:
            raise Problem(
                (key,), f"{value} is no level of {field.name}", f"values are {field.domain}"
            )
        return rounded.level

    def _counts(self, field: FieldBase) -> tuple[int, int]:
        if self.count == "level":
            return self.first, 1
        if field.progression is None:
            raise Problem(
                ("count",),
                f"{field.name} is {field.described}, its values are no even numbers",
                "use count = 'level'",
            )
        low, step, _ = field.progression
        per = self.per or step
        first, stride = _whole(low, per), _whole(step, per)
        if first is None or stride is None:
            raise Problem(
                ("per",),
                f"{plain(low)} and steps of {plain(step)} are not whole counts of {plain(per)}",
            )
        if stride > MOST_STRIDE:
            raise Problem(
                ("per",),
                f"each step counts {stride}; at most {MOST_STRIDE} are allowed",
                f"per = {plain(step)} or the like",
            )
        return first, stride


def _whole(value: Decimal, per: Decimal) -> int | None:
    sign = -1 if value < 0 else 1
    return (
        None
        if whole_steps(Decimal(0), abs(value), per) is None
        else sign * steps(abs(value), Decimal(0), per, "nearest")
    )


class ScaleSpec(OneField):
    """One symbol per level, in order."""

    kind: Literal["scale"]
    symbols: str | None = takes(
        default=None,
        max_length=96,
        description="The symbols in level order; the default is the alphabet's.",
    )

    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table; raises Problem."""
        field = self.field_of(name, fields)
        figures = in_use(
            self.symbols if self.symbols is not None else alphabet.symbols, alphabet, "symbols"
        )
        if len(set(figures)) != len(figures):
            raise Problem(
                ("symbols",), "a symbol stands twice", "each level needs a symbol of its own"
            )
        if self.symbols is not None and len(figures) > field.size:
            raise Problem(
                ("symbols",),
                f"{len(figures)} symbols for the {field.size} levels of {field.name}",
                "leave out those not needed",
            )
        if len(figures) < field.size:
            hint = "use kind = 'packed' or 'digits', or a coarser step"
            raise Problem(
                ("symbols",) if self.symbols else ("kind",),
                f"{len(figures)} symbols can't say the {field.size} levels of {field.name}",
                hint,
                rests_on=() if self.symbols else SYMBOLS,
            )
        return Numbered(name, [field], alphabet, Numeral(figures, 1, field.size), kind="scale")


class PackedSpec(TableSpec):
    """Several fields in one mixed-radix number, written in as many symbols as it needs."""

    kind: Literal["packed"]
    fields: list[str] = takes(
        min_length=1, max_length=64, description="The fields, the first counting most."
    )
    symbols: str | None = takes(
        default=None,
        min_length=2,
        max_length=96,
        description="The figures, value 0 first; the default is the alphabet.",
    )
    width: int | None = takes(
        default=None,
        ge=1,
        le=MOST_WIDTH,
        description="How many symbols; the default is as many as are needed.",
    )

    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table; raises Problem."""
        members = members_of(self.fields, fields, "packed")
        figures = in_use(
            self.symbols if self.symbols is not None else alphabet.symbols, alphabet, "symbols"
        )
        if len(set(figures)) != len(figures) or len(figures) < 2:
            raise Problem(("symbols",), "a packed table needs two or more different symbols")
        size = math.prod(member.size for member in members)
        needed = width_for(size, len(figures))
        if needed > MOST_WIDTH or (self.width is not None and self.width < needed):
            shown = f"{size}" if size < 10**12 else f"about {Decimal(size):.1e}"
            raise Problem(
                ("width",),
                f"{shown} combinations need {needed} symbols",
                "fewer or coarser fields, or more symbols",
                rests_on=() if self.symbols else SYMBOLS,
            )
        numeral = Numeral(figures, self.width or needed, size)
        return Numbered(name, members, alphabet, numeral, kind="packed")
