"""When no garbage is looked for."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Iterator


@contextlib.contextmanager
def uncollected() -> Iterator[None]:
    """Let no garbage be looked for: hundreds of thousands of small objects are made that all stay,
    and the collector would walk them, and all else that lives, again and again.
    """
    on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if on:
            gc.enable()
