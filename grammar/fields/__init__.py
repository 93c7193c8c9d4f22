"""Fields: one quantity or fact each, with a finite list of levels.

A kind of field is one object with ``level(value)`` and ``value(level)``; the model that reads it
from a book is that object.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from grammar.fields.bands import Bands
from grammar.fields.base import ENUMERABLE, Band, Beyond, FieldBase, Limit, Rounded, Value
from grammar.fields.measured import Moving
from grammar.fields.named import Choice, Flags
from grammar.fields.quantity import Quantity
from grammar.fields.wrapped import Wrapped

AnyField = Annotated[Quantity | Bands | Choice | Flags | Wrapped, Field(discriminator="kind")]

__all__ = [
    "ENUMERABLE",
    "AnyField",
    "Band",
    "Bands",
    "Beyond",
    "Choice",
    "FieldBase",
    "Flags",
    "Limit",
    "Moving",
    "Quantity",
    "Rounded",
    "Value",
    "Wrapped",
]
