"""The kinds of columns that an entry has: what each may hold, and how it is written in the journal
and in every export, and read back.

An entry declares its columns once (codec.sheet.entry); everything else asks them.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import KW_ONLY, dataclass
from decimal import Decimal
from typing import Any, ClassVar, NamedTuple

from codec.files import clean
from grammar.errors import CodeError
from grammar.exact import exact, whole
from grammar.fields import Band, FieldBase, Value, number_text, plain_value, value_text

Fields = Mapping[str, FieldBase]  # those of the book, by name
MOST_CHARACTERS = 32_000  # of one text: what a cell of a spreadsheet holds
MOST_NUMBER = 2**63 - 1
_SHORT = 200
_LOGGED = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z")


@dataclass(frozen=True, slots=True)
class Column:
    """One column: ``about`` says for people what it holds, ``since`` is the version of the sheet's
    file that brought it.

    ``written`` marks what the journal gives an entry when it is written, ``required`` what no entry
    in a sheet is without, ``unique`` what no two have alike. ``real`` tells the store of real
    numbers, ``numeric`` spreadsheets of any; ``described`` is its type in a Table Schema.
    """

    about: str
    _: KW_ONLY
    since: int = 1
    written: bool = False
    required: bool = False
    unique: bool = False
    real: ClassVar[bool] = False
    numeric: ClassVar[bool] = False
    described: ClassVar[Mapping[str, str]] = {"type": "string"}

    def checked(self, value: Any) -> Any:
        """Return a value as it is kept; raises ValueError that says what is expected."""
        return value

    def cell(self, value: Any) -> Any:
        """Return a value as the journal keeps it."""
        return value

    def of_cell(self, cell: Any, fields: Fields) -> Any:
        """Return the value of a cell of the journal, given the fields of the book."""
        del fields
        return cell

    def plain(self, cell: Any) -> bool:
        """Tell quickly of most cells of the journal that they are a sound value as it is written
        everywhere; of others ``sound`` tells.
        """
        del cell
        return False

    def sound(self, cell: Any, fields: Fields) -> Any:
        """Return the value of a cell of the journal, checked as that of any entry; raises
        ValueError.
        """
        return self.checked(self.of_cell(cell, fields))

    def text(self, value: Any) -> str:
        """Return a value as text, "" for none."""
        return "" if value is None else str(value)

    def of_text(self, text: str) -> Any:
        """Return the value of a text that is not empty; raises ValueError."""
        return text

    def as_json(self, value: Any) -> Any:
        """Return a value in JSON's own kinds."""
        return value

    def schema(self) -> dict[str, Any]:
        """Return what a Table Schema says of it (Frictionless Standards)."""
        limits = {
            **({"required": True} if self.required else {}),
            **({"unique": True} if self.unique else {}),
            **self.limits(),
        }
        return {**self.described, **({"constraints": limits} if limits else {})}

    def limits(self) -> dict[str, Any]:
        """Return the limits of its values in a Table Schema."""
        return {}


@dataclass(frozen=True, slots=True)
class Text(Column):
    """Words; ``most`` characters of them."""

    _: KW_ONLY
    most: int = _SHORT

    def plain(self, cell: Any) -> bool:
        """Tell whether it is a text that no check would change."""
        return cell.__class__ is str and len(cell) <= self.most and cell.isascii()

    def checked(self, value: Any) -> str:
        """Refuse what is no text, or too long; what no file can hold is replaced."""
        if value.__class__ is str and len(value) <= self.most and value.isascii():
            return str(value)
        if not isinstance(value, str):
            raise ValueError("text")
        if len(value) > self.most:
            raise ValueError(f"at most {self.most} characters")
        return value if value.isascii() else clean(value)


@dataclass(frozen=True, slots=True)
class Time(Text):
    """A time of day of the computer's clock, UTC."""

    described: ClassVar[Mapping[str, str]] = {"type": "datetime", "format": "%Y-%m-%dT%H:%M:%S.%fZ"}

    def checked(self, value: Any) -> str:
        """Refuse what is no time; "" is none yet."""
        if value and not (isinstance(value, str) and _LOGGED.fullmatch(value)):
            raise ValueError("a time as 2026-05-01T12:00:00.000Z")
        # a class with slots is made twice: super() alone would mean the one that is thrown away
        return super(Time, self).checked(value)

    def plain(self, cell: Any) -> bool:
        """Tell whether it is a time."""
        return cell.__class__ is str and _LOGGED.fullmatch(cell) is not None


@dataclass(frozen=True, slots=True)
class Option(Column):
    """One of several words."""

    _: KW_ONLY
    options: tuple[str, ...]

    def plain(self, cell: Any) -> bool:
        """Tell whether it is one of the words."""
        return cell in self.options

    def checked(self, value: Any) -> str:
        """Refuse any other."""
        if value not in self.options:
            raise ValueError("one of " + ", ".join(filter(None, self.options)))
        return str(value)

    def limits(self) -> dict[str, Any]:
        """Return the words."""
        return {"enum": list(filter(None, self.options))}


@dataclass(frozen=True, slots=True)
class Whole(Column):
    """A whole number, or none; ``least`` is told in a Table Schema."""

    _: KW_ONLY
    least: int | None = None
    numeric: ClassVar[bool] = True
    described: ClassVar[Mapping[str, str]] = {"type": "integer"}

    def plain(self, cell: Any) -> bool:
        """Tell whether it is a whole number that a file can hold."""
        return cell.__class__ is int and -MOST_NUMBER <= cell <= MOST_NUMBER

    def checked(self, value: Any) -> int | None:
        """Refuse what is no whole number that a file can hold."""
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or abs(value) > MOST_NUMBER:
            raise ValueError("a whole number")
        return value

    def of_text(self, text: str) -> int:
        """Return the number."""
        return whole(text, -MOST_NUMBER, MOST_NUMBER)

    def limits(self) -> dict[str, Any]:
        """Return the least number."""
        return {} if self.least is None else {"minimum": self.least}


@dataclass(frozen=True, slots=True)
class Number(Column):
    """An exact number, or none."""

    numeric: ClassVar[bool] = True
    described: ClassVar[Mapping[str, str]] = {"type": "number"}

    def cell(self, value: Decimal | None) -> str | None:
        """Return the number as text, so that it stays exact."""
        return None if value is None else number_text(value)

    def of_cell(self, cell: Any, fields: Fields) -> Decimal | None:
        """Return the number."""
        del fields
        return None if cell is None else Decimal(cell)

    def text(self, value: Decimal | None) -> str:
        """Return the number without trailing zeros."""
        return "" if value is None else number_text(value)

    def of_text(self, text: str) -> Decimal:
        """Return the number."""
        return exact(text)

    def as_json(self, value: Decimal | None) -> Any:
        """Return a number where a double holds it exactly."""
        return None if value is None else json_number(value)


@dataclass(frozen=True, slots=True)
class Share(Column):
    """A number 0 … 1 to four places, or none."""

    real: ClassVar[bool] = True
    numeric: ClassVar[bool] = True
    described: ClassVar[Mapping[str, str]] = {"type": "number"}

    def checked(self, value: Any) -> float | None:
        """Refuse what is no share; round it."""
        if value is None:
            return None
        if not (math.isfinite(value) and 0 <= value <= 1):
            raise ValueError("a number 0 … 1")
        return round(float(value), 4)

    def text(self, value: float | None) -> str:
        """Return the shortest text of the number."""
        return "" if value is None else repr(value)

    def of_text(self, text: str) -> float:
        """Return the number."""
        return float(text)

    def limits(self) -> dict[str, Any]:
        """Return both ends."""
        return {"minimum": 0, "maximum": 1}


@dataclass(frozen=True, slots=True)
class Values(Column):
    """The decoded values of the book's fields; an export gives each field a column of its own."""

    def cell(self, value: Mapping[str, Any]) -> str:
        """Return the values as a JSON object of their texts, "" for none."""
        texts = {name: value_text(one) for name, one in value.items()}
        return json.dumps(texts, ensure_ascii=False, separators=(",", ":")) if texts else ""

    def as_json(self, value: Mapping[str, Any]) -> dict[str, Any]:
        """Return the values as an object."""
        return {name: json_value(one) for name, one in value.items()}


class Kept(NamedTuple):
    """A value of a field with its text, and as a member of a JSON object."""

    value: Value
    text: str
    member: str


class KeptTexts(dict[str, Kept]):
    """The values of a field by their texts, each read when it first comes; raises CodeError where a
    text is none. A sheet of many laps has few different ones.
    """

    def __init__(self, name: str, field: FieldBase | None) -> None:
        """Begin with none."""
        super().__init__()
        self._name, self._field = name, field

    def __missing__(self, text: str) -> Kept:
        """Read a text."""
        try:
            if self._field is None:
                raise ValueError(f"the book has no field {self._name!r}")
            if not isinstance(text, str):
                raise ValueError("a text is expected")
            value = self._field.from_text(text)
        except ValueError as error:
            raise _no_value(f"{self._name} = {str(text)[:60]!r}: {error}") from None
        if len(self) > _MOST_VALUES:
            self.clear()
        told = json.dumps({self._name: _with_name(self._field, value)}, ensure_ascii=False)
        kept = self[text] = Kept(value, value_text(value), told[1:-1])
        return kept


class KeptValues(dict[str, KeptTexts]):
    """The values of a book's fields, by the names of these."""

    def __init__(self, fields: Fields) -> None:
        """Begin with none."""
        super().__init__()
        self.fields = fields

    def __missing__(self, name: str) -> KeptTexts:
        """Begin with a field."""
        texts = self[name] = KeptTexts(name, self.fields.get(name))
        return texts

    def of_cell(self, cell: Any) -> dict[str, Kept]:
        """Return the values of a cell of the journal; raises CodeError."""
        if not cell:
            return {}
        try:
            texts, end = _DECODER.raw_decode(cell)
            if end == len(cell):
                return {name: self[name][text] for name, text in texts.items()}
        except CodeError:
            raise
        except (AttributeError, RecursionError, TypeError, ValueError):
            pass
        raise _no_value(f"values can't be {str(cell)[:60]!r}")


_DECODER = json.JSONDecoder()
_MOST_VALUES = 20_000


def _no_value(message: str) -> CodeError:
    return CodeError(message, kind="sheet-value", hint="is this the book it was written with?")


def _with_name(field: FieldBase, value: Value) -> Any:
    """Return a value in JSON's own kinds, a band with the name that its field gives it."""
    told, names = json_value(value), field.value_names
    if not isinstance(value, Band) or not names:
        return told
    try:
        return told | {"name": names[field.level(value).level]}
    except CodeError:  # it was written with other bands
        return told


def json_number(number: Decimal) -> int | float | str:
    """Return a number in JSON's own kinds where a double holds it exactly, else as text."""
    text = number_text(number)
    if "." not in text:
        return int(text) if abs(number) < 2**53 else text
    return float(text) if number_text(Decimal(repr(float(text)))) == text else text


def json_value(value: Value) -> Any:
    """Return a value in JSON's own kinds."""
    if isinstance(value, Band):
        return {
            "low": None if value.low is None else json_number(value.low),
            "high": None if value.high is None else json_number(value.high),
        }
    return json_number(value) if isinstance(value, Decimal) else plain_value(value)
