"""Fields: one quantity or fact each, with a finite list of levels.

A kind of field is one object with ``level(value)`` and ``value(level)``, and with an answer to all
else that is asked of it; the model that reads it from a book is that object. To add a kind is to
add a file, and its name to ``KINDS``.
"""

from __future__ import annotations

from typing import Annotated

from grammar.declared import OneKindOf
from grammar.fields.bands import Bands
from grammar.fields.base import (
    ENUMERABLE,
    Band,
    Beyond,
    FieldBase,
    Limit,
    Progression,
    Rounded,
    Value,
    bound,
    labelled,
    member_problems,
    number_text,
    plain_value,
    value_text,
    with_members,
)
from grammar.fields.measured import Moving
from grammar.fields.named import Choice, Flags
from grammar.fields.quantity import Quantity
from grammar.fields.wrapped import Wrapped

KINDS: list[type[FieldBase]] = [Quantity, Bands, Choice, Flags, Wrapped]
AnyField = Annotated[FieldBase, OneKindOf(KINDS)]

__all__ = [
    "ENUMERABLE",
    "KINDS",
    "AnyField",
    "Band",
    "Bands",
    "Beyond",
    "Choice",
    "FieldBase",
    "Flags",
    "Limit",
    "Moving",
    "Progression",
    "Quantity",
    "Rounded",
    "Value",
    "Wrapped",
    "bound",
    "labelled",
    "member_problems",
    "number_text",
    "plain_value",
    "value_text",
    "with_members",
]
