"""The figures and words that talk on the radio is weighed by, of ``chatter.toml``."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

from grammar.data import toml


@functools.cache
def settings() -> dict[str, Any]:
    """Return them as dictionaries; what they mean is at the top of the file."""
    return toml(Path(__file__).with_name("chatter.toml").read_text("utf-8"))
