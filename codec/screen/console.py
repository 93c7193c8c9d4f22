"""The console, and text that is safe to show."""

from __future__ import annotations

import functools
from typing import Any

from rich.console import Console
from rich.text import Text

from grammar.errors import visible


class _Console(Console):
    """A console that leaves a reader who went away to the command line, and prints no blanks at
    line ends into files and pipes.
    """

    def on_broken_pipe(self) -> None:
        """Raise as any print would."""
        raise BrokenPipeError

    def print(self, *objects: Any, **options: Any) -> None:
        """Print; where the output is not a terminal, without blanks at line ends."""
        if self.is_terminal or self.record:
            super().print(*objects, **options)
            return
        with self.capture() as captured:
            super().print(*objects, **options)
        self.file.write("\n".join(line.rstrip() for line in captured.get().split("\n")))


@functools.cache
def console() -> Console:
    """Return the console: plain where the output is not a terminal."""
    return _Console(highlight=False, emoji=False, markup=False)


def safe(text: str, style: str = "") -> Text:
    """Return text to be shown as it stands, with invisible characters made visible."""
    return Text(visible(text), style=style)
