"""Libraries that only parts of the package need: loaded when they are used, asked for where they
are missing.
"""

from __future__ import annotations

import importlib
from typing import Any

from grammar.errors import CodeError


def needed(name: str, extra: str = "design") -> Any:
    """Return a library's module; raises CodeError that says how to install it."""
    try:
        return importlib.import_module(name)
    except ImportError:
        library = name.partition(".")[0]
        raise CodeError(
            f"{library} is not installed",
            kind="missing-library",
            hint=f"pip install 'niner[{extra}]', or pip install {library}",
        ) from None
