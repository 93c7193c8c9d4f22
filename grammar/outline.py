"""Where in a TOML document a key stands: path of keys → line."""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from grammar import data

if TYPE_CHECKING:
    from lark import Lark

Path = tuple[str | int, ...]
MOST_CHARACTERS = 250_000  # of a larger document problems are told by their paths alone; finding the lines would take seconds


def outline(text: str) -> dict[Path, int]:
    """Return the line (from 1) of every key and array element of a valid TOML document; empty if it can't be told."""
    if len(text) > MOST_CHARACTERS:
        return {}
    from lark.exceptions import LarkError

    try:
        tree: Any = _parser().parse(text)
    except (LarkError, RecursionError):
        return {}
    lines: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    here: Path = ()
    for statement in tree.children:
        if statement.data == "pair":
            _pair(statement, here, lines)
            continue
        here = _absolute(_key(statement.children[0]), counts)
        if statement.data == "tables":
            counts[here] = counts.get(here, -1) + 1
            here = (*here, counts[here])
        lines.setdefault(here, statement.meta.line)
    return lines


@functools.cache
def _parser() -> Lark:
    from lark import Lark

    return Lark(data.text("toml.lark"), parser="lalr", propagate_positions=True, maybe_placeholders=False)


def line_of(lines: Mapping[Path, int], path: Sequence[str | int]) -> int:
    """Return the line of a path, or of its nearest ancestor that is in the document; 0 if there is none."""
    for length in range(len(path), 0, -1):
        line = lines.get(tuple(path[:length]))
        if line is not None:
            return line
    return min((line for key, line in lines.items() if path and key[0] == path[0]), default=0)


def _absolute(key: Path, counts: Mapping[Path, int]) -> Path:
    """Return a table's path with the index of the last element of each array of tables on its way."""
    path: Path = ()
    for part in key[:-1]:
        path = (*path, part)
        if path in counts:
            path = (*path, counts[path])
    return (*path, key[-1])


def _pair(tree: Any, here: Path, lines: dict[Path, int]) -> None:
    path = here + _key(tree.children[0])
    lines.setdefault(path, tree.children[0].meta.line)
    _value(tree.children[1], path, lines)


def _value(value: Any, path: Path, lines: dict[Path, int]) -> None:
    kind = getattr(value, "data", None)
    if kind == "inline":
        for pair in value.children:
            _pair(pair, path, lines)
    elif kind == "array":
        for number, element in enumerate(value.children):
            lines.setdefault((*path, number), element.meta.line)
            _value(element.children[0], (*path, number), lines)


def _key(tree: Any) -> Path:
    return tuple(_part(str(part.children[0])) for part in tree.children)


def _part(text: str) -> str:
    """Return a key part as TOML reads it."""
    return next(iter(tomllib.loads(f"{text} = 0"))) if text[0] in "\"'" else text
