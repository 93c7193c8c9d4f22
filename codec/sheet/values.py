"""Values of fields as text and back, the same in the journal and in every export.

A number is written plainly and without trailing zeros, a band as ``low…high`` (an end that is open
is left out), flags in alphabetical order with commas between them, no flag as ``none``.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from codec.sheet.entry import SheetError
from grammar.exact import exact, plain
from grammar.fields import Band, Bands, Flags, Quantity, Value, Wrapped

Fields = Mapping[str, Any]
_TO = "…"


def number_text(number: Decimal) -> str:
    """Write a number plainly, without trailing zeros."""
    text = plain(number)
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def value_text(value: Value) -> str:
    """Write a value."""
    if isinstance(value, Decimal):
        return number_text(value)
    if isinstance(value, Band):
        low, high = ("" if end is None else number_text(end) for end in value)
        return f"{low}{_TO}{high}"
    return ", ".join(sorted(value)) or "none" if isinstance(value, frozenset) else value


def value_of(fields: Fields, name: str, text: str) -> Value:
    """Read a value of the field ``name``; raises SheetError where the text is none."""
    field = fields.get(name)
    try:
        if field is None:
            raise ValueError(f"the book has no field {name!r}")
        if isinstance(field, Quantity | Wrapped):
            return exact(text)
        if isinstance(field, Bands):
            low, to, high = text.partition(_TO)
            if not to:
                raise ValueError("a band is written low…high")
            return Band(exact(low) if low else None, exact(high) if high else None)
        if isinstance(field, Flags):
            return frozenset() if text == "none" else frozenset(text.split(", "))
    except ValueError as error:
        message = error.message if isinstance(error, SheetError) else str(error)
        raise SheetError(
            f"{name} = {text[:60]!r}: {message}",
            kind="sheet-value",
            hint="is this the book it was written with?",
        ) from None
    return text


def measured(field: object) -> bool:
    """Tell whether a field's values are plain numbers."""
    return isinstance(field, Quantity | Wrapped)
