"""What a line of the live sheet brings to the screen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from codec.sheet.entry import Entry
from grammar.errors import CodeError

Tone = Literal["good", "warning", "bad", "plain"]


@dataclass(frozen=True, slots=True)
class Shown:
    """What to tell after a line: its tone and its lines, and what was written of it."""

    tone: Tone
    lines: tuple[str, ...]
    written: tuple[Entry, ...] = ()

    @classmethod
    def of_error(cls, error: CodeError) -> Shown:
        """Return what to show of an error; the line is not lost, it stays in the history."""
        return cls("bad", (error.message, *([f"hint: {error.hint}"] if error.hint else [])))
