"""Code tables: levels of one or several fields ↔ codewords, one to one."""

from __future__ import annotations

from grammar.codes.base import DONE, CodeTable, Edge, Entry, Fragment, Levels
from grammar.codes.check import Check
from grammar.codes.listed import Listed, Literal
from grammar.codes.numbered import Numbered

__all__ = [
    "DONE",
    "Check",
    "CodeTable",
    "Edge",
    "Entry",
    "Fragment",
    "Levels",
    "Listed",
    "Literal",
    "Numbered",
]
