"""Code tables: levels of one or several fields ↔ codewords, one to one.

A kind of table is a model, ``[tables.*]`` of a book, that builds a table bound to its fields; the
table answers all that is asked of it. To add a kind is to add a file, and its model to ``KINDS``.
"""

from __future__ import annotations

from typing import Annotated

from grammar.codes.base import DONE, CodeTable, Fragment, FragmentEdge, Levels, Numeral, TableSpec
from grammar.codes.check import Check, CheckSpec
from grammar.codes.checks import CheckRule
from grammar.codes.listed import Listed, ListedSpec, Literal
from grammar.codes.numbered import DigitsSpec, Numbered, PackedSpec, ScaleSpec
from grammar.declared import OneKindOf

KINDS: list[type[TableSpec]] = [DigitsSpec, ScaleSpec, ListedSpec, PackedSpec, CheckSpec]
AnyTable = Annotated[TableSpec, OneKindOf(KINDS)]

__all__ = [
    "DONE",
    "KINDS",
    "AnyTable",
    "Check",
    "CheckRule",
    "CodeTable",
    "Fragment",
    "FragmentEdge",
    "Levels",
    "Listed",
    "Literal",
    "Numbered",
    "Numeral",
    "TableSpec",
]
