"""What a line of the live sheet brings to the screen."""

from __future__ import annotations

from dataclasses import dataclass, replace
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

    def numbered(self) -> Shown:
        """Return it with the number by which what was written is put right or taken back."""
        numbers = [
            entry.about if entry.kind == "correction" else entry.seq
            for entry in self.written
            if entry.kind in ("report", "call", "event", "note", "readback", "correction")
        ]
        if not numbers or not self.lines:
            return self
        return replace(self, lines=(f"{self.lines[0]}  #{numbers[0]}", *self.lines[1:]))

    @classmethod
    def of_error(cls, error: CodeError) -> Shown:
        """Return what to show of an error; the line is not lost, it stays in the history."""
        return cls("bad", (error.message, *([f"hint: {error.hint}"] if error.hint else [])))
