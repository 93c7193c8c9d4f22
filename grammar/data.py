"""The data tables of this package, ``tables/*.toml``, read once."""

from __future__ import annotations

import functools
import tomllib
from pathlib import Path
from typing import Any

_TABLES = Path(__file__).with_name("tables")  # not importlib.resources, which is slow to load


def text(name: str) -> str:
    """Return the text of a file in ``grammar/tables``."""
    return (_TABLES / name).read_text("utf-8")


@functools.cache
def table(name: str) -> dict[str, Any]:
    """Return ``grammar/tables/<name>.toml`` as dictionaries; its syntax is at the top of the
    file.
    """
    return tomllib.loads(text(f"{name}.toml"))
