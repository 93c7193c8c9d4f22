"""Values of fields as text and back, the same in the journal and in every export."""

from __future__ import annotations

from collections.abc import Mapping

from codec.sheet.entry import SheetError
from grammar.fields import FieldBase, Value, number_text, value_text

__all__ = ["Fields", "number_text", "value_of", "value_text"]

Fields = Mapping[str, FieldBase]


def value_of(fields: Fields, name: str, text: str) -> Value:
    """Read a value of the field ``name``; raises SheetError where the text is none."""
    field = fields.get(name)
    try:
        if field is None:
            raise ValueError(f"the book has no field {name!r}")
        return field.from_text(text)
    except ValueError as error:
        message = error.message if isinstance(error, SheetError) else str(error)
        raise SheetError(
            f"{name} = {text[:60]!r}: {message}",
            kind="sheet-value",
            hint="is this the book it was written with?",
        ) from None
