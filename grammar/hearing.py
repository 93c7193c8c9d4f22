"""How reports are heard: what ``[hearing]`` of a book declares."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Annotated, Any

from grammar import sound
from grammar.declared import Checked, Declared, takes
from grammar.errors import Problem

_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]{0,59}")


def _name(name: str) -> str:
    if not _NAME.fullmatch(name):
        raise Problem(
            (),
            "this can't be a name",
            "a name is letters, digits and _, does not begin with a digit, and has at most 60"
            " characters",
        )
    return name


def _known(noise: str | float) -> str | float:
    sound.temperature(noise)
    return noise


def after(kind: Any, check: Callable[[Any], Any]) -> Any:
    """Return a type in pydantic's terms that a check of our own follows."""
    from pydantic import AfterValidator

    return Annotated[kind, AfterValidator(check)]


def _number(**bounds: Any) -> Any:
    from pydantic import Field

    return Annotated[float, Field(**bounds)]


Name = Annotated[str, Checked(lambda: after(str, _name))]
Noise = Annotated[str | float, Checked(lambda: after(str | float, _known))]
Weight = Annotated[float, Checked(lambda: _number(gt=0, le=1e6))]
Count = Annotated[float, Checked(lambda: _number(ge=0, le=1e9))]
Rows = dict[str, dict[str, Count]]


class RadioCondition(Declared):
    """A condition the radio may be in while a report is said.

    Good and bad moments alternate as in the channel of E. N. Gilbert (1960) and E. O. Elliott
    (1963). In a good moment words are heard as the confusions say, in a bad one any word may be
    heard as any other, lost or added.
    """

    share: float = takes(
        gt=0,
        le=1,
        description="How many reports are said in this condition, against the others' shares.",
    )
    bad: float = takes(
        default=0, ge=0, le=0.9, description="The share of words said in bad moments."
    )
    words: float = takes(
        default=2, ge=1, le=100, description="How many words a bad moment lasts, on average."
    )
    times: float = takes(
        default=1,
        gt=0,
        le=1,
        description=(
            "How often words are added, lost or misread outside of bad moments, against what"
            " `insertion`, `deletion` and `misread` say; below 1 no neighbours are swapped."
        ),
    )


# common practice, no source: most reports come through a radio that is as it always is, and in
# most of these hardly a word is lost. What is spoilt is seldom spoilt in one place: how many
# mishaps a report has is a mixture over conditions, with a heavier tail than independent words
# would give it. Were words lost in all reports alike, one with a word lost and another wrong would
# be taken for one with a word lost.
_CONDITIONS = (
    {"share": 0.77, "times": 0.02},
    {"share": 0.13},
    {"share": 0.1, "bad": 0.35},
)


class HearingSpec(Declared):
    """``[hearing]`` of a book: how reports are heard through noise, what a mistake costs, and when
    a reading is accepted.
    """

    noise: Noise = takes(
        default="noisy",
        description=(
            "A grade of noise (clear, noisy, harsh) or a signal-to-noise ratio in decibels."
        ),
    )
    threshold: float = takes(
        default=0.98,
        gt=0.5,
        lt=1,
        description="No reading less probable than this is ever accepted.",
    )
    wrong: float = takes(
        default=300,
        gt=0,
        le=1e6,
        description="What a wrong reading that is accepted costs, in seconds of radio time.",
    )
    turnaround: float = takes(
        default=1.5, ge=0, le=60, description="Seconds between a question and its answer."
    )
    insertion: float = takes(
        default=0.01,
        gt=0,
        le=0.5,
        description="How often a word is heard that was not said, for each gap between words.",
    )
    deletion: float = takes(
        default=0.01, gt=0, le=0.5, description="How often a word that was said is not heard."
    )
    conditions: list[RadioCondition] = takes(
        default_factory=lambda: [RadioCondition(**given) for given in _CONDITIONS],
        min_length=1,
        max_length=6,
        description=(
            "How bad the radio may be. Nobody knows which condition a report is said in: all are"
            " weighed, and what is heard tells which the next is said in."
        ),
    )
    forgotten: float = takes(
        default=0.02,
        ge=0,
        le=1,
        description="How much of what reports tell of the radio no longer counts a report later.",
    )
    bad_insertion: float = takes(
        default=0.1, gt=0, le=0.5, description="As insertion, in a bad moment."
    )
    bad_deletion: float = takes(
        default=0.25, gt=0, le=0.5, description="As deletion, in a bad moment."
    )
    misread: float = takes(
        default=0.002,
        ge=0,
        le=0.5,
        description="How often a driver says another symbol than is shown.",
    )
    swapped: float = takes(
        default=0.002, ge=0, le=0.5, description="How often a driver swaps a symbol with the next."
    )
    repeated: float = takes(
        default=0.002,
        ge=0,
        le=0.5,
        description="How often a field has the value of the lap before again.",
    )
    stray: float = takes(
        default=0.005,
        ge=0,
        le=0.5,
        description="How often what is heard is no report of this book at all.",
    )
    surprise: float = takes(
        default=0.02,
        gt=0,
        le=1,
        description="How often a field has any value at all, whatever was expected of it.",
    )
    spoken_anyway: float = takes(
        default=0.02,
        ge=0,
        le=1,
        description="How often an optional part is said although all in it is as usual.",
    )
    left_out: float = takes(
        default=0.5,
        ge=0,
        le=1,
        description="How often an optional part whose fields have no usual value is left out.",
    )
    messages: dict[Name, Weight] = takes(
        default_factory=dict,
        description="How often each message is sent, against 1 for those not named.",
    )
    confusions: Rows = takes(
        default_factory=dict,
        description=(
            "P(heard | said) as said symbol = { heard symbol = probability }; the rest comes from"
            " the sounds."
        ),
    )
    counts: Rows = takes(
        default_factory=dict,
        description="How often each symbol was heard for each said, as said = { heard = count }.",
    )
    strength: float = takes(
        default=10,
        gt=0,
        le=1e6,
        description="How many counted words the table or the sounds are worth, for each symbol.",
    )

    def table_problems(self, symbols: str) -> Iterator[Problem]:
        """Yield what the tables of confusions and counts say of other symbols than these, and rows
        of probabilities that sum to more than 1.
        """
        for name, rows in (("confusions", self.confusions), ("counts", self.counts)):
            for said, row in rows.items():
                for keys in ((said,), *((said, heard) for heard in row)):
                    if len(keys[-1]) != 1 or keys[-1] not in symbols:
                        yield Problem(
                            (name, *keys),
                            f"{keys[-1]!r} is no symbol in use",
                            f"in use are {symbols}",
                            rests_on=[("alphabet",)],
                        )
        for said, row in self.confusions.items():
            if sum(row.values()) > 1 + 1e-6:
                message = f"what is heard for {said!r} sums to {sum(row.values()):g}, more than 1"
                hint = "these are probabilities; counts belong in [hearing.counts]"
                yield Problem(("confusions", said), message, hint)
