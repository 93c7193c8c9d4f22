"""``[tables.*]`` of a book: the models of the kinds of code table, and how each becomes a table bound to its fields."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Mapping
from decimal import Decimal
from typing import Annotated, Literal

from pydantic import Field

from grammar.codes import checks
from grammar.codes.base import MOST_WIDTH, CodeTable
from grammar.codes.check import Check
from grammar.codes.listed import Listed
from grammar.codes.numbered import Numbered, width_for
from grammar.errors import EncodeError
from grammar.exact import ExactDecimal, plain, steps, whole_steps
from grammar.fields import FieldBase, Quantity, Wrapped
from grammar.fields.base import Strict
from grammar.symbols import Alphabet

Fields = Mapping[str, FieldBase]
MOST_STRIDE = 1000  # counts a step; which numbers occur is followed digit by digit modulo the stride
MOST_LISTED = 100_000  # symbols in all the codewords of a listed table


class Trouble(ValueError):
    """A table that can't be built; ``where`` is the key of the table it is about, ``hint`` what to do."""

    def __init__(self, message: str, hint: str = "", where: str = "") -> None:
        """Keep message, hint and key."""
        super().__init__(message)
        self.message, self.hint, self.where = message, hint, where


class OneField(Strict):
    """What tables of one field share."""

    field: str | None = Field(None, description="The field it says; the default is the field of the same name.")

    def field_of(self, name: str, fields: Fields) -> FieldBase:
        """Return the field of the table ``name``; raises Trouble."""
        return found(self.field or name, fields, "field" if self.field else "")


def found(name: str, fields: Fields, where: str) -> FieldBase:
    """Return a field by name; raises Trouble that names the fields there are."""
    if name not in fields:
        known = ", ".join(itertools.islice(fields, 12)) or "none"
        raise Trouble(f"there is no field {name!r}", f"the book's fields are: {known}", where)
    return fields[name]


def members_of(names: list[str], fields: Fields, done: str) -> list[FieldBase]:
    """Return the fields of a table of several; raises Trouble."""
    members = [found(name, fields, "fields") for name in names]
    twice = [name for name, n in Counter(names).items() if n > 1]
    if twice:
        raise Trouble(f"{twice[0]!r} is {done} twice", "name each field once", "fields")
    return members


def in_use(text: str, alphabet: Alphabet, where: str) -> str:
    """Return ``text`` if all its symbols are in use; raises Trouble."""
    missing = sorted({symbol for symbol in text if symbol not in alphabet.index})
    if missing:
        raise Trouble(f"{', '.join(map(repr, missing))} not in use in this alphabet", f"in use: {alphabet.symbols}", where)
    return text


class DigitsSpec(OneField):
    """Decimal numbers in fixed width: the level's number, or the value itself."""

    kind: Literal["digits"]
    count: Literal["level", "value"] = Field(
        "level", description="What the number is: the level from `first` on, or the value in units of `per`."
    )
    first: int = Field(0, ge=0, le=10**15, description="With count = 'level': the number of the lowest level.")
    per: ExactDecimal | None = Field(
        None, gt=0, description="With count = 'value': what one count is worth; the default is the field's step."
    )
    width: int | None = Field(None, ge=1, le=MOST_WIDTH, description="How many digits; the default is as many as the largest number needs.")
    minus: str | None = Field(None, min_length=1, max_length=1, description="The symbol before numbers below zero.")
    lowest: ExactDecimal | None = Field(None, description="The first value it says, where another table says those before it.")
    highest: ExactDecimal | None = Field(None, description="The last value it says, where another table says those after it.")

    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table; raises Trouble."""
        field = self.field_of(name, fields)
        in_use("0123456789", alphabet, "kind")
        first, stride = self._counts(field)
        start, end = self._level(field, "lowest", 0), self._level(field, "highest", field.size - 1)
        if end < start:
            raise Trouble("the highest value lies before the lowest", f"values are {field.domain}", "highest")
        first, last = first + stride * start, first + stride * end
        if first < 0 and self.minus is None:
            raise Trouble(f"{field.name} goes below zero", "give a `minus` symbol, or count = 'level'", "count")
        minus = in_use(self.minus or "", alphabet, "minus")
        if minus.isdigit():
            raise Trouble("the minus can't be a digit", where="minus")
        needed = len(str(max(abs(first), abs(last))))
        if needed > MOST_WIDTH:
            raise Trouble(f"{needed} digits are needed, more than {MOST_WIDTH}", "a larger `per`, or a coarser step", "per")
        if self.width is not None and self.width < needed:
            raise Trouble(f"{self.width} digits can't hold {max(abs(first), abs(last))}", f"width = {needed}", "width")
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
            raise Trouble(f"{field.name} is {field.described}, its values are no even numbers", "use count = 'level'", "count")
        per, low = self.per or field.step, field.low if isinstance(field, Quantity) else Decimal(0)
        first, stride = _whole(low, per), _whole(field.step, per)
        if first is None or stride is None:
            raise Trouble(f"{plain(low)} and steps of {plain(field.step)} are not whole counts of {plain(per)}", where="per")
        if stride > MOST_STRIDE:
            raise Trouble(f"each step counts {stride}; at most {MOST_STRIDE} are allowed", f"per = {plain(field.step)} or the like", "per")
        return first, stride


def _whole(value: Decimal, per: Decimal) -> int | None:
    sign = -1 if value < 0 else 1
    return None if whole_steps(Decimal(0), abs(value), per) is None else sign * steps(abs(value), Decimal(0), per, "nearest")


class ScaleSpec(OneField):
    """One symbol per level, in order."""

    kind: Literal["scale"]
    symbols: str | None = Field(None, max_length=96, description="The symbols in level order; the default is the alphabet's.")

    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table; raises Trouble."""
        field = self.field_of(name, fields)
        figures = in_use(self.symbols if self.symbols is not None else alphabet.symbols, alphabet, "symbols")
        if len(set(figures)) != len(figures):
            raise Trouble("a symbol stands twice", "each level needs a symbol of its own", "symbols")
        if self.symbols is not None and len(figures) > field.size:
            raise Trouble(
                f"{len(figures)} symbols for the {field.size} levels of {field.name}",
                "leave out those not needed",
                "symbols",
            )
        if len(figures) < field.size:
            hint = "use kind = 'packed' or 'digits', or a coarser step"
            raise Trouble(
                f"{len(figures)} symbols can't say the {field.size} levels of {field.name}",
                hint,
                "symbols" if self.symbols else "kind",
            )
        return Numbered(name, [field], alphabet, kind="scale", figures=figures, width=1)


class ListedSpec(OneField):
    """Explicit codewords of any length, for one field or for several together."""

    kind: Literal["listed"]
    fields: list[str] | None = Field(
        None, min_length=2, max_length=16, description="Several fields said together, the first counting most; then list every codeword."
    )
    words: list[str] | dict[str, str] = Field(description="Codewords in level order, or value = codeword.")
    partial: bool = Field(False, description="Whether levels without a codeword are meant (another table says them).")

    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table; raises Trouble."""
        if self.fields is not None:
            return self._together(name, fields, alphabet)
        field = self.field_of(name, fields)
        words: dict[int, str] = {}
        owner: dict[str, str] = {}
        for level, shown, word in self._pairs(field):
            self._check_word(word, shown, alphabet)
            if level in words:
                raise Trouble(f"{shown} has two codewords, {words[level]!r} and {word!r}", "keep one", "words")
            if word in owner:
                raise Trouble(
                    f"codeword {word!r} means both {owner[word]} and {shown}",
                    "give one of them another codeword",
                    "words",
                )
            words[level], owner[word] = word, shown
        missing = [level for level in range(min(field.size, len(words) + 1)) if level not in words]
        if missing and not self.partial:
            shown = field.text(missing[0])
            raise Trouble(
                f"{len(words)} codewords for the {field.size} levels of {field.name}; {shown} has none",
                "add them, or set partial = true",
                "words",
            )
        if not words:
            raise Trouble("no codeword", "list at least one", "words")
        self._check_amount()
        return Listed(name, [field], alphabet, words)

    def _check_amount(self) -> None:
        amount = sum(map(len, self.words if isinstance(self.words, list) else self.words.values()))
        if amount > MOST_LISTED:
            raise Trouble(f"codewords of {amount} symbols in all; at most {MOST_LISTED} are allowed", "shorter codewords", "words")

    def _together(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table of several fields: a codeword for every combination of levels, the last field counting fastest."""
        members = members_of(self.fields or [], fields, "said")
        size = math.prod(member.size for member in members)
        if self.field is not None or self.partial or not isinstance(self.words, list):
            raise Trouble("codewords of several fields together are a whole list", "words = [...], without `field` and `partial`", "words")
        if len(self.words) != size:
            raise Trouble(f"{len(self.words)} codewords for {size} combinations of {', '.join(self.fields or [])}", where="words")
        owner: dict[str, int] = {}
        for number, word in enumerate(self.words):
            self._check_word(word, f"combination {number}", alphabet)
            if owner.setdefault(word, number) != number:
                raise Trouble(f"codeword {word!r} stands for combinations {owner[word]} and {number}", "change one of them", "words")
        self._check_amount()
        return Listed(name, members, alphabet, dict(enumerate(self.words)))

    def _pairs(self, field: FieldBase) -> list[tuple[int, str, str]]:
        if isinstance(self.words, list):
            if len(self.words) > field.size:
                raise Trouble(
                    f"{len(self.words)} codewords for the {field.size} levels of {field.name}",
                    "leave out the last",
                    "words",
                )
            return [(level, field.text(level), word) for level, word in enumerate(self.words)]
        pairs = []
        for key, word in self.words.items():
            try:
                rounded = field.level(key)
            except EncodeError as error:
                raise Trouble(f"{key!r} is no value of {field.name}: {error.message}", f"values are {field.domain}", "words") from None
            if rounded.error:
                raise Trouble(f"{key!r} lies between two levels of {field.name}", f"values are {field.domain}", "words")
            pairs.append((rounded.level, field.text(rounded.level), word))
        return pairs

    def _check_word(self, word: str, shown: str, alphabet: Alphabet) -> None:
        if not 1 <= len(word) <= MOST_WIDTH:
            raise Trouble(f"the codeword of {shown} has {len(word)} symbols", f"1 … {MOST_WIDTH} are allowed", "words")
        in_use(word, alphabet, "words")


class PackedSpec(Strict):
    """Several fields in one mixed-radix number, written in as many symbols as it needs."""

    kind: Literal["packed"]
    fields: list[str] = Field(min_length=1, max_length=64, description="The fields, the first counting most.")
    symbols: str | None = Field(None, min_length=2, max_length=96, description="The figures, value 0 first; the default is the alphabet.")
    width: int | None = Field(None, ge=1, le=MOST_WIDTH, description="How many symbols; the default is as many as are needed.")

    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:
        """Return the table; raises Trouble."""
        members = members_of(self.fields, fields, "packed")
        figures = in_use(self.symbols if self.symbols is not None else alphabet.symbols, alphabet, "symbols")
        if len(set(figures)) != len(figures) or len(figures) < 2:
            raise Trouble("a packed table needs two or more different symbols", where="symbols")
        size = math.prod(member.size for member in members)
        needed = width_for(size, len(figures))
        if needed > MOST_WIDTH or (self.width is not None and self.width < needed):
            shown = f"{size}" if size < 10**12 else f"about {size:.1e}"
            raise Trouble(f"{shown} combinations need {needed} symbols", "fewer or coarser fields, or more symbols", "width")
        return Numbered(name, members, alphabet, kind="packed", figures=figures, width=self.width or needed)


class CheckSpec(Strict):
    """A check symbol over what stands before it."""

    kind: Literal["check"]
    method: Literal[
        "iso7064 mod 11-2",
        "iso7064 mod 37-2",
        "iso7064 mod 11,10",
        "iso7064 mod 27,26",
        "iso7064 mod 37,36",
        "damm",
        "verhoeff",
        "luhn",
        "weighted sum",
    ] = Field(description="A published method, or a weighted sum.")
    over: list[str] | None = Field(None, description="The tables it covers; the default is all that stands before it in the message.")
    weights: list[int] | None = Field(
        None, min_length=1, max_length=64, description="Weighted sum: the weights, taken in turn from the left."
    )
    modulus: int | None = Field(None, ge=2, le=96, description="Weighted sum: the modulus; the default is the number of symbols.")
    symbols: str | None = Field(
        None,
        min_length=2,
        max_length=96,
        description="Weighted sum: its alphabet, value 0 first; the default is the book's.",
    )

    def build(self, name: str, fields: Fields, alphabet: Alphabet) -> CodeTable:  # noqa: ARG002 - a check says no field
        """Return the table; raises Trouble where the method's characters are not all in use."""
        method = self._weighted(alphabet) if self.method == "weighted sum" else checks.published(self.method)
        if self.method != "weighted sum":
            for key in ("weights", "modulus", "symbols"):
                if getattr(self, key) is not None:
                    raise Trouble(
                        f"{key} belongs to the weighted sum only",
                        f"remove it, or method = 'weighted sum' instead of {self.method!r}",
                        key,
                    )
        missing = [symbol for symbol in method.checks if symbol not in alphabet.index]
        if missing:
            raise Trouble(
                f"{self.method} may give {', '.join(map(repr, missing[:6]))} as check symbol, not in use in this alphabet",
                "put the symbols in use, or choose a method over a smaller alphabet or a weighted sum",
                "method",
            )
        return Check(name, alphabet, method, self.method, None if self.over is None else frozenset(self.over))

    def _weighted(self, alphabet: Alphabet) -> checks.Weighted:
        values = in_use(self.symbols if self.symbols is not None else alphabet.symbols, alphabet, "symbols")
        if len(set(values)) != len(values):
            raise Trouble("a symbol stands twice", where="symbols")
        if self.weights is None:
            raise Trouble("a weighted sum needs its weights", "weights = [1, 2, 3] or the like", "method")
        modulus = self.modulus or len(values)
        if modulus > len(values):
            raise Trouble(
                f"modulus {modulus} needs {modulus} check symbols, there are {len(values)}",
                f"modulus = {len(values)} at most",
                "modulus",
            )
        return checks.Weighted(self.weights, modulus, values)


TableSpec = Annotated[DigitsSpec | ScaleSpec | ListedSpec | PackedSpec | CheckSpec, Field(discriminator="kind")]
__all__ = ["CheckSpec", "DigitsSpec", "ListedSpec", "PackedSpec", "ScaleSpec", "TableSpec", "Trouble"]
