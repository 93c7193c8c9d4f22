"""The data tables of this package, ``tables/*.toml``, read once."""

from __future__ import annotations

import functools
import tomllib
from importlib import resources
from typing import Any


@functools.cache
def table(name: str) -> dict[str, Any]:
    """Return ``grammar/tables/<name>.toml`` as dictionaries; its syntax is at the top of the file."""
    return tomllib.loads((resources.files("grammar") / "tables" / f"{name}.toml").read_text("utf-8"))
