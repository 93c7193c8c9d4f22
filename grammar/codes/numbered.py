"""Code tables whose codeword is a number written in symbols: digits, scale, packed.

The number of a codeword is arithmetic on the levels, so a table may have any size: nothing is
listed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from grammar.codes.base import DONE, CodeTable, Fragment, Levels, symbol_class
from grammar.fields import FieldBase
from grammar.symbols import Alphabet


class Numbered(CodeTable):
    """Numbers ``first + stride * n`` (n = 0 … size - 1) in fixed width, written with ``figures``
    (its value 0 first).

    n counts the levels of all fields as one mixed-radix number, the first field most significant.
    Numbers below zero are written as ``minus`` and their amount. A table of part of the levels
    (``start``, ``size``) begins with the level ``start``, written as ``first``.
    """

    def __init__(
        self,
        name: str,
        fields: Sequence[FieldBase],
        alphabet: Alphabet,
        *,
        kind: str,
        figures: str,
        width: int,
        first: int = 0,
        stride: int = 1,
        minus: str = "",
        start: int = 0,
        size: int | None = None,
    ) -> None:
        """Take the checked settings of a table."""
        super().__init__(name, fields, alphabet)
        self.kind, self.figures, self.width, self.first, self.stride, self.minus = (
            kind,
            figures,
            width,
            first,
            stride,
            minus,
        )
        self.start = start
        self._size = math.prod(field.size for field in fields) if size is None else size
        self._value = {figure: number for number, figure in enumerate(figures)}
        self._decimal = figures == "0123456789"

    @property
    def size(self) -> int:
        """The number of level combinations."""
        return self._size

    @property
    def last(self) -> int:
        """The number of the last codeword."""
        return self.first + self.stride * (self._size - 1)

    @property
    def lengths(self) -> tuple[int, int]:
        """The width, one more with a minus."""
        return (
            self.width + len(self.minus) * (self.first < 0 and self.last < 0),
            self.width + len(self.minus) * (self.first < 0),
        )

    def word(self, levels: Levels) -> str | None:
        """Return the codeword of ``levels``, None if they are not among the table's part."""
        number = 0
        for field, level in zip(self.fields, levels, strict=True):
            number = number * field.size + level
        number -= self.start
        return self._word(number) if 0 <= number < self._size else None

    def _word(self, index: int) -> str:
        number = self.first + self.stride * index
        return (self.minus if number < 0 else "") + self._written(abs(number))

    def _written(self, number: int) -> str:
        if self._decimal:
            return str(number).zfill(self.width)
        word, base = [], len(self.figures)
        for _ in range(self.width):
            number, figure = divmod(number, base)
            word.append(self.figures[figure])
        return "".join(reversed(word))

    def levels(self, word: str) -> Levels | None:
        """Return the levels of a codeword, None if the number is none of this table's."""
        negative = bool(self.minus) and word.startswith(self.minus)
        amount = self._read(word[len(self.minus) :] if negative else word)
        if amount is None or (negative and amount == 0):
            return None
        number, rest = divmod((-amount if negative else amount) - self.first, self.stride)
        if rest or not 0 <= number < self._size:
            return None
        return self._levels(number)

    def _levels(self, index: int) -> Levels:
        number, levels = self.start + index, []
        for field in reversed(self.fields):
            number, level = divmod(number, field.size)
            levels.append(level)
        return tuple(reversed(levels))

    def _read(self, word: str) -> int | None:
        if len(word) != self.width:
            return None
        number, base = 0, len(self.figures)
        for symbol in word:
            figure = self._value.get(symbol)
            if figure is None:
                return None
            number = number * base + figure
        return number

    def words(self) -> Iterator[tuple[Levels, str]]:
        """Yield every codeword, in level order."""
        return ((self._levels(index), self._word(index)) for index in range(self._size))

    def runs(self) -> list[tuple[str, int, int]]:
        """Return (sign, lowest amount, highest amount) of the numbers below zero and of the
        others.
        """
        if self.first >= 0:
            return [("", self.first, self.last)]
        below = min(self._size, -(self.first // self.stride))  # how many numbers lie below zero
        runs = [(self.minus, -(self.first + self.stride * (below - 1)), -self.first)]
        return (
            [*runs, ("", self.first + self.stride * below, self.last)]
            if below < self._size
            else runs
        )

    def fragment(self) -> Fragment:
        """Return the automaton of the codewords: a comparison with both ends, place by place."""
        states: Fragment = [[]]
        for sign, low, high in self.runs():
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
        base, lows, highs = len(self.figures), self._written(low), self._written(high)
        begin = (True, True, 0)
        layer = {begin: start}
        for place in range(self.width):
            bottom, top = self._value[lows[place]], self._value[highs[place]]
            after: dict[tuple[bool, bool, int], int] = {}
            for (at_low, at_high, rest), state in layer.items():
                masks: dict[int, int] = {}
                for figure in range(bottom if at_low else 0, (top if at_high else base - 1) + 1):
                    key = (
                        at_low and figure == bottom,
                        at_high and figure == top,
                        (rest * base + figure) % self.stride,
                    )
                    if place + 1 == self.width:
                        if key[2] != low % self.stride:
                            continue
                        target = DONE
                    elif key in after:
                        target = after[key]
                    else:
                        target = after[key] = len(states)
                        states.append([])
                    masks[target] = (
                        masks.get(target, 0) | 1 << self.alphabet.index[self.figures[figure]]
                    )
                states[state].extend((mask, target) for target, mask in masks.items())
            layer = after

    def pattern(self) -> str:
        """Return width figures, the first place narrowed to those that occur there."""
        runs = []
        for sign, low, high in self.runs():
            first, last = self._value[self._written(low)[0]], self._value[self._written(high)[0]]
            rest = symbol_class(self.figures) + f"{{{self.width - 1}}}" if self.width > 1 else ""
            runs.append((re_escape(sign)) + symbol_class(self.figures[first : last + 1]) + rest)
        return runs[0] if len(runs) == 1 else f"(?:{'|'.join(runs)})"


def re_escape(text: str) -> str:
    """Escape literal text for a regular expression."""
    return "".join(symbol_class(symbol) for symbol in text)


def width_for(size: int, base: int) -> int:
    """Return how many places of ``base`` figures hold ``size`` numbers."""
    width, room = 1, base
    while room < size:
        width, room = width + 1, room * base
    return width
