"""One answered question of a drill."""

from __future__ import annotations

import dataclasses
import math
import re
from dataclasses import dataclass
from typing import Any, Literal, get_args

from codec.store.store import StoreError

Drill = Literal["read", "hear", "wheel"]
Kind = Literal["symbol", "pair", "entry", "report", "change"]
Outcome = Literal["right", "corrected", "caught", "accepted"]
DRILLS: tuple[Drill, ...] = get_args(Drill)
KINDS: tuple[Kind, ...] = ("symbol", "pair", "entry", "report")  # that strings are asked by
OUTCOMES: tuple[Outcome, ...] = get_args(Outcome)
PLURALS: dict[Kind, str] = {
    "symbol": "symbols",
    "pair": "pairs",
    "entry": "entries",
    "report": "reports",
}
MEANINGS: dict[Outcome, str] = {
    "right": "right",
    "corrected": "right after a correction",
    "caught": "wrong, caught by the code",
    "accepted": "wrong and accepted",
}
_AT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z")
_FROM_0 = ("first", "last", "done", "pace", "reaction", "exposure", "speed", "clock_error")
_MOST_CHARACTERS = 4000
_MOST_NAME = 60


class DrillError(StoreError):
    """The journal of drills, or what is to be written to it, is not in order; ``kind`` tells
    which.
    """


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What was asked, what was answered, and how long it took.

    ``drill``     reading, hearing, or a change made on the wheel (``codec.drill.wheel_drill``)
    ``kind``      what was asked; ``part_of`` the message of a report, the code table of an entry
    ``shown``     the symbols on the dash, or those spoken by the synthesiser
    ``answer``    what was typed, "" where the coach marked it as said right
    ``said``      the symbols the answer stands for, as far as it can be read
    ``outcome``   right, corrected (right after a correction), caught (wrong, but the code refuses
                  it), accepted (wrong, and it does not)
    ``refusal``   the kind of the error where it was caught
    ``first``     seconds to the first word (read: from the string's appearance; hear: to the first
                  key, from the end of the speech)
    ``last``      seconds to the end of the last word (hear: to Enter); ``done`` to the mark; None
                  where they were not measured
    ``repeats``   how often it was asked for again; ``noise`` the grade, "" where nothing was spoken
    ``pace``      seconds from one report to the next, None where the person set the pace
    ``marks``     signals of the second task, ``missed`` of them not answered in time, ``reaction``
                  the mean seconds of the others
    ``exposure``  seconds for which the string was flashed, None where it stayed; ``measured`` where
                  it was drawn as it occurs to find the exposure that is needed
    ``speed``     km/h that a glance is counted in metres at, None where nobody said
    ``clock_error`` seconds by which the times may be off, where they were taken by another device
    ``note``      what the coach noted; ``instead_of`` the number of the answer this one corrects
    """

    person: str
    drill: Drill
    session: str
    book: str
    kind: Kind
    shown: str
    outcome: Outcome
    part_of: str = ""
    answer: str = ""
    said: str = ""
    refusal: str = ""
    first: float | None = None
    last: float | None = None
    done: float | None = None
    repeats: int = 0
    noise: str = ""
    pace: float | None = None
    marks: int = 0
    missed: int = 0
    reaction: float | None = None
    exposure: float | None = None
    measured: bool = False
    speed: float | None = None
    clock_error: float | None = None
    note: str = ""
    instead_of: int = 0
    at: str = ""
    seq: int = 0

    def __post_init__(self) -> None:
        """Check what no later reader could tell; raises DrillError."""
        checked_name(self.person)
        for name, allowed in (("drill", DRILLS), ("kind", get_args(Kind)), ("outcome", OUTCOMES)):
            if getattr(self, name) not in allowed:
                raise _bad(name, getattr(self, name), "one of " + ", ".join(allowed))
        for name in ("answer", "shown", "said", "note"):
            if len(getattr(self, name)) > _MOST_CHARACTERS:
                raise _bad(
                    name,
                    f"{len(getattr(self, name))} characters",
                    f"at most {_MOST_CHARACTERS} characters",
                )
        for name in _FROM_0:
            time = getattr(self, name)
            if time is not None and not (math.isfinite(time) and time >= 0):
                raise _bad(name, time, "km/h from 0" if name == "speed" else "seconds from 0")
        if self.at and not _AT.fullmatch(self.at):
            raise _bad("at", self.at, "a time as 2026-05-01T12:00:00.000Z")

    @property
    def of_wheel(self) -> bool:
        """Tell whether a change was made on a wheel, not a string of a book read or heard; ``book``
        is the wheel then.
        """
        return self.drill == "wheel"

    @property
    def right(self) -> bool:
        """Tell whether the code gave the right reading."""
        return self.outcome in ("right", "corrected")

    @property
    def speaking(self) -> float | None:
        """Seconds from the first word to the end of the last, None where they were not measured."""
        return (
            None
            if self.first is None or self.last is None or self.last <= self.first
            else self.last - self.first
        )

    def replace(self, **changes: Any) -> Answer:
        """Return a copy with some of it changed."""
        return dataclasses.replace(self, **changes)

    def as_dict(self) -> dict[str, Any]:
        """Return the facts for JSON; times that were not measured are left out."""
        return {
            name: value for name, value in dataclasses.asdict(self).items() if value is not None
        }


def checked_name(name: str) -> str:
    """Return a person's name; raises DrillError where it is none."""
    if not name.strip() or name != name.strip() or len(name) > _MOST_NAME or not name.isprintable():
        raise _bad("person", name, f"a name of 1 to {_MOST_NAME} characters")
    return name


def _bad(name: str, value: object, expected: str) -> DrillError:
    return DrillError(
        f"{name} can't be {str(value)[:60]!r}", kind="drill-answer", expected=[expected]
    )
