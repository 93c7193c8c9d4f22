"""One line of the journal: a report, a call, an event, a question or its answer, a correction, a
withdrawal.
"""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from types import MappingProxyType
from typing import Any, Literal, get_args

from codec.files import clean
from grammar.errors import CodeError
from grammar.fields import Value

Kind = Literal[
    "car",
    "report",
    "call",
    "readback",
    "event",
    "question",
    "answer",
    "correction",
    "withdrawal",
    "note",
]
LapBy = Literal["", "said", "time", "order", "given"]
KINDS: tuple[Kind, ...] = get_args(Kind)
LAP_BY: tuple[LapBy, ...] = get_args(LapBy)
MOST_CHARACTERS = 32_000  # of one text: what a cell of a spreadsheet holds
MOST_NUMBER = 2**63 - 1
_SHORT = 200
_LOGGED = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z")
_NOTHING: Mapping[str, Value] = MappingProxyType({})


class SheetError(CodeError):
    """The journal's file, or what is to be written to it, is not in order; ``kind`` tells which."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One entry; the journal gives it ``seq``, ``uid``, ``logged`` and ``writer`` and never changes
    it afterwards.

    ``kind``       what it is; a "car" entry names a car (``car``) and its driver (``message``)
    ``car``        the car's number or name
    ``lap``        the lap it stands against, ``lap_by`` how that is known
    ``at``         milliseconds: from the beginning of the recording, or since 1970 where times of
                   day are known
    ``speaker``    who said it
    ``heard``      the words as they were heard
    ``message``    the message of the book, or the event's name
    ``string``     the symbols as they were said
    ``values``     the decoded value of every field
    ``amount``     of an event that counts something: the laps added
    ``refusal``    why it was not accepted: the kind of an error, or "doubtful"; "" if it was
    ``certainty``  0 … 1 to four places: that it is a report and that its words are those said;
                   None if nobody knows
    ``about``      ``seq`` of the entry that it corrects, withdraws, asks about, answers or reads
                   back
    ``logged``     the clock when it was written (UTC, ISO 8601); the order of entries is that of
                   ``seq``, whatever the clock does
    """

    kind: Kind
    car: str = ""
    lap: int | None = None
    lap_by: LapBy = ""
    at: int | None = None
    speaker: str = ""
    heard: str = ""
    message: str = ""
    string: str = ""
    values: Mapping[str, Value] = field(default_factory=lambda: _NOTHING)
    amount: Decimal | None = None
    refusal: str = ""
    certainty: float | None = None
    about: int | None = None
    note: str = ""
    seq: int = 0
    uid: str = ""
    logged: str = ""
    writer: str = ""

    def __post_init__(self) -> None:
        """Check what no later reader could tell; raises SheetError."""
        if self.kind not in KINDS:
            raise _bad("kind", self.kind, "one of " + ", ".join(KINDS))
        if self.lap_by not in LAP_BY:
            raise _bad("lap_by", self.lap_by, "one of " + ", ".join(filter(None, LAP_BY)))
        for name in TEXTS:
            _checked(self, name)
        for name in ("lap", "at", "about"):
            number = getattr(self, name)
            if number is not None and (
                isinstance(number, bool) or not isinstance(number, int) or abs(number) > MOST_NUMBER
            ):
                raise _bad(name, number, "a whole number")
        if self.logged and not _LOGGED.fullmatch(self.logged):
            raise _bad("logged", self.logged, "a time as 2026-05-01T12:00:00.000Z")
        if self.certainty is not None and not (
            math.isfinite(self.certainty) and 0 <= self.certainty <= 1
        ):
            raise _bad("certainty", self.certainty, "a number 0 … 1")
        if self.certainty is not None:
            object.__setattr__(self, "certainty", round(float(self.certainty), 4))

    @property
    def accepted(self) -> bool:
        """Tell whether its values count: it was decoded and not refused."""
        return bool(self.string) and not self.refusal

    def replace(self, **changes: Any) -> Entry:
        """Return a copy with some of it changed."""
        return dataclasses.replace(self, **changes)


DOUBTFUL = "doubtful"  # the refusal of a report that was read, but not surely enough
TEXTS = (
    "car",
    "speaker",
    "heard",
    "message",
    "string",
    "refusal",
    "note",
    "uid",
    "logged",
    "writer",
)
_LONG = ("heard", "note", "string")


def _checked(entry: Entry, name: str) -> None:
    text = getattr(entry, name)
    most = MOST_CHARACTERS if name in _LONG else _SHORT
    if not isinstance(text, str):
        raise _bad(name, text, "text")
    if len(text) > most:
        raise _bad(name, f"{len(text)} characters", f"at most {most} characters")
    if not text.isascii() and any("\ud800" <= character <= "\udfff" for character in text):
        object.__setattr__(entry, name, clean(text))


def _bad(name: str, value: object, expected: str) -> SheetError:
    return SheetError(
        f"entry: {name} can't be {str(value)[:60]!r}", kind="sheet-entry", expected=[expected]
    )
