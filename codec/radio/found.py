"""What was found in an utterance."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from codec.reading import Reading
from grammar.errors import CodeError, Span


@dataclass(frozen=True, slots=True)
class Found:
    """One thing found: its kind, its place in the text, and what it says.

    ``readings`` of a report or call (several if they were run together); ``error`` why a refused
    one can't be read; ``name`` of a phrase, or what was asked or answered; ``bits`` how strongly
    its words speak for it, above what is asked for; ``number`` beside a phrase; ``changing``
    whether it begins with CORRECTION, I SAY AGAIN or the like.
    """

    kind: Literal["reading", "refused", "phrase", "ask", "answer"]
    span: Span
    readings: tuple[Reading, ...] = ()
    error: CodeError | None = None
    name: str = ""
    bits: float = 0.0
    number: int | None = None
    changing: bool = False


@dataclass(slots=True)
class Heard:
    """Everything found in an utterance, in order; ``reason`` tells why nothing was where there is
    nothing.
    """

    found: list[Found] = field(default_factory=list)
    reason: str = ""
