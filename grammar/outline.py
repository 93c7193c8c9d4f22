"""Where in a TOML document a key stands: path of keys → place in the text."""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from grammar import data
from grammar.errors import Span

if TYPE_CHECKING:
    from lark import Lark

Path = tuple[str | int, ...]
# of a larger document problems are told by their paths alone; finding the places would take seconds
MOST_CHARACTERS = 250_000


def outline(text: str) -> dict[Path, Span]:
    """Return where each table's heading, each key with its value, and each array element of a valid
    TOML document stands.

    Empty if it can't be told.
    """
    if len(text) > MOST_CHARACTERS:
        return {}
    from lark.exceptions import LarkError

    try:
        tree: Any = _parser().parse(text)
    except (LarkError, RecursionError):
        return {}
    places: dict[Path, Span] = {}
    counts: dict[Path, int] = {}
    here: Path = ()
    for statement in tree.children:
        if statement.data == "pair":
            _pair(statement, here, places)
            continue
        here = _absolute(_key(statement.children[0]), counts)
        if statement.data == "tables":
            counts[here] = counts.get(here, -1) + 1
            here = (*here, counts[here])
        places.setdefault(here, _span(statement))
    return places


@functools.cache
def _parser() -> Lark:
    from lark import Lark

    return Lark(
        data.text("toml.lark"), parser="lalr", propagate_positions=True, maybe_placeholders=False
    )


def place_of(places: Mapping[Path, Span], path: Sequence[str | int]) -> Span | None:
    """Return the place of a path, or of its nearest ancestor that is in the document; None if there
    is none.
    """
    for length in range(len(path), 0, -1):
        place = places.get(tuple(path[:length]))
        if place is not None:
            return place
    return min((place for key, place in places.items() if path and key[0] == path[0]), default=None)


def _absolute(key: Path, counts: Mapping[Path, int]) -> Path:
    """Return a table's path with the index of the last element of each array of tables on its
    way.
    """
    path: Path = ()
    for part in key[:-1]:
        path = (*path, part)
        if path in counts:
            path = (*path, counts[path])
    return (*path, key[-1])


def _pair(tree: Any, here: Path, places: dict[Path, Span]) -> None:
    path = here + _key(tree.children[0])
    places.setdefault(path, _span(tree))
    _value(tree.children[1], path, places)


def _value(value: Any, path: Path, places: dict[Path, Span]) -> None:
    kind = getattr(value, "data", None)
    if kind == "inline":
        for pair in value.children:
            _pair(pair, path, places)
    elif kind == "array":
        for number, element in enumerate(value.children):
            places.setdefault((*path, number), _span(element))
            _value(element.children[0], (*path, number), places)


def _span(tree: Any) -> Span:
    return tree.meta.start_pos, tree.meta.end_pos


def _key(tree: Any) -> Path:
    return tuple(_part(str(part.children[0])) for part in tree.children)


def _part(text: str) -> str:
    """Return a key part as TOML reads it."""
    return next(iter(tomllib.loads(f"{text} = 0"))) if text[0] in "\"'" else text
