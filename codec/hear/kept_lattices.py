"""The lattices of a book that is kept in the user's cache folder, kept beside it: JSON of numbers,
and of arrays in the least whole numbers that hold them, which can't run code.
"""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from codec.hear.lattice import Join, MessageLattice, Mix, Operation, Say, build
from codec.hear.strings import Strings
from grammar import kept

if TYPE_CHECKING:
    import numpy as np

    from grammar.book import Book
    from grammar.message import Message

_KINDS: dict[str, type[Operation]] = {kind.__name__: kind for kind in (Say, Join, Mix)}
_MOST_EDGES = 200_000  # of lattices that are kept: larger ones are too large for an entry


def lattices(book: Book, messages: list[Message]) -> list[MessageLattice]:
    """Return the lattices of some messages of a book, from what is kept of them; raises CodeError
    where one is too large.

    Those of a book that is not kept itself, such as one of many proposals, are not kept either.
    """

    def built() -> list[MessageLattice]:
        return [build(message, book.hearing) for message in messages]

    if kept.found(book.source) is None:
        return built()
    by = [message.name for message in messages]
    named = json.dumps(["lattices", kept.written(Path(__file__).parent), by, book.source])
    told = kept.found(named)
    if told is not None:
        return _made(told, book, messages)
    found = built()
    if sum(one.edges for one in found) <= _MOST_EDGES:
        kept.keep(named, _told(found))
    return found


def _told(found: list[MessageLattice]) -> str:
    import numpy as np

    blob = bytearray()

    def told(value: Any) -> Any:
        if isinstance(value, np.ndarray):
            least, place = _least(value), len(blob)
            blob.extend(least.tobytes())
            return {"": [least.dtype.str, value.shape, place]}
        if isinstance(value, dict):
            return {name: told(one) for name, one in value.items()}
        return value

    rows = [
        [
            one.nodes,
            one.edges,
            one.start,
            one.end,
            one.strings is not None,
            [[type(operation).__name__, *map(told, operation)] for operation in one.operations],
        ]
        for one in found
    ]
    return json.dumps([rows, base64.b64encode(blob).decode()])


def _least(numbers: np.ndarray) -> np.ndarray:
    """Return whole numbers, or truths, in the least room."""
    import numpy as np

    if numbers.dtype == bool or not numbers.size:
        return numbers
    ends = (np.min_scalar_type(end) for end in (numbers.min(), numbers.max()))
    return numbers.astype(np.result_type(*ends))


def _made(told: str, book: Book, messages: list[Message]) -> list[MessageLattice]:
    import numpy as np

    rows, text = json.loads(told)
    blob = base64.b64decode(text)

    def made(value: Any) -> Any:
        if isinstance(value, list):
            return tuple(value)
        if isinstance(value, dict) and "" in value:
            kind, shape, place = value[""]
            least = np.frombuffer(blob, kind, int(np.prod(shape)), place).reshape(shape)
            return least.copy() if least.dtype == bool else least.astype(np.int64)
        if isinstance(value, dict):
            return {name: made(one) for name, one in value.items()}
        return value

    return [
        MessageLattice(
            message,
            [_KINDS[kind](*map(made, values)) for kind, *values in operations],
            nodes,
            edges,
            start,
            end,
            Strings(message, book.hearing) if strings else None,
        )
        for message, (nodes, edges, start, end, strings, operations) in zip(
            messages, rows, strict=True
        )
    ]
