"""Data tables, such as those of this package, ``tables/*.toml``, read once."""

from __future__ import annotations

import functools
import json
from pathlib import Path
from typing import Any

from grammar import kept

_TABLES = Path(__file__).with_name("tables")  # not importlib.resources, which is slow to load


def text(name: str) -> str:
    """Return the text of a file in ``grammar/tables``."""
    return (_TABLES / name).read_text("utf-8")


@functools.cache
def table(name: str) -> dict[str, Any]:
    """Return ``grammar/tables/<name>.toml`` as dictionaries; its syntax is at the top of the
    file.
    """
    return toml(text(f"{name}.toml"))


def toml(written: str) -> dict[str, Any]:
    """Return a data file of niner's own as dictionaries, from what is kept of it where it was read
    before.
    """

    def read() -> str:
        import tomllib

        return json.dumps(tomllib.loads(written))

    found: dict[str, Any] = json.loads(kept.kept_or_made(written, read))
    return found
