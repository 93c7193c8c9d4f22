"""The console, and text that is safe to show."""

from __future__ import annotations

import functools

from rich.console import Console
from rich.text import Text

from grammar.errors import visible


class _Console(Console):
    """A console that leaves a reader who went away to the command line, which ends quietly."""

    def on_broken_pipe(self) -> None:
        """Raise as any print would."""
        raise BrokenPipeError


@functools.cache
def console() -> Console:
    """Return the console: plain where the output is not a terminal."""
    return _Console(highlight=False, emoji=False, markup=False)


def safe(text: str, style: str = "") -> Text:
    """Return text to be shown as it stands, with invisible characters made visible."""
    return Text(visible(text), style=style)
