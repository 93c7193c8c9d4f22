"""The format of a code book: one TOML file a team owns.

The JSON Schema of the format comes out of these models.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from grammar.codes import AnyTable
from grammar.errors import Problem
from grammar.fields import AnyField, bound
from grammar.inspection import PARTLY, Strict
from grammar.speech.facts import Fact
from grammar.symbols import AlphabetSpec, Sayable

MOST_MESSAGES = 2000
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


Name = Annotated[str, AfterValidator(_name)]
Fields = Annotated[dict[Name, AnyField], AfterValidator(bound)]


class SpeechSpec(Strict):
    """``[speech]`` of a book: how transcripts are read and strings said."""

    fillers: list[Sayable] = Field(
        default_factory=list,
        max_length=1000,
        description="Words that carry nothing, besides uh, um and the like.",
    )
    homophones: bool = Field(True, description="Whether for, to, ate, won … are read as digits.")
    whole_numbers: Literal["digits", "magnitudes"] = Field(
        "digits",
        description=(
            "How whole hundreds and thousands in digits tables are said: digit by digit, or eight"
            " hundred. Editions differ."
        ),
    )
    run_together: bool = Field(
        False,
        description=(
            "Whether reports may follow each other without a pause; the proof then covers their"
            " join."
        ),
    )


Probability = Annotated[float, Field(ge=0, le=1)]
Rows = dict[str, dict[str, Annotated[float, Field(ge=0, le=1e9)]]]


class RadioCondition(Strict):
    """A condition the radio may be in while a report is said.

    Good and bad moments alternate as in the channel of E. N. Gilbert (1960) and E. O. Elliott
    (1963). In a good moment words are heard as the confusions say, in a bad one any word may be
    heard as any other, lost or added.
    """

    share: float = Field(
        gt=0,
        le=1,
        description="How many reports are said in this condition, against the others' shares.",
    )
    bad: float = Field(0, ge=0, le=0.9, description="The share of words said in bad moments.")
    words: float = Field(
        2, ge=1, le=100, description="How many words a bad moment lasts, on average."
    )


# common practice, no source: most reports come through a radio that is as it always is
_CONDITIONS = ({"share": 0.92}, {"share": 0.08, "bad": 0.3})


class HearingSpec(Strict):
    """``[hearing]`` of a book: how reports are heard through noise, what a mistake costs, and when
    a reading is accepted.
    """

    noise: str | float = Field(
        "noisy",
        description=(
            "A grade of noise (clear, noisy, harsh) or a signal-to-noise ratio in decibels."
        ),
    )
    threshold: float = Field(
        0.98, gt=0.5, lt=1, description="No reading less probable than this is ever accepted."
    )
    wrong: float = Field(
        300,
        gt=0,
        le=1e6,
        description="What a wrong reading that is accepted costs, in seconds of radio time.",
    )
    turnaround: float = Field(
        1.5, ge=0, le=60, description="Seconds between a question and its answer."
    )
    insertion: float = Field(
        0.01,
        gt=0,
        le=0.5,
        description="How often a word is heard that was not said, for each gap between words.",
    )
    deletion: float = Field(
        0.01, gt=0, le=0.5, description="How often a word that was said is not heard."
    )
    conditions: list[RadioCondition] = Field(
        default_factory=lambda: [RadioCondition(**given) for given in _CONDITIONS],
        min_length=1,
        max_length=6,
        description=(
            "How bad the radio may be. Nobody knows which condition a report is said in: all are"
            " weighed, and what is heard tells which the next is said in."
        ),
    )
    forgotten: float = Field(
        0.1,
        ge=0,
        le=1,
        description="How much of what is known of the condition a lap later no longer counts.",
    )
    bad_insertion: float = Field(0.1, gt=0, le=0.5, description="As insertion, in a bad moment.")
    bad_deletion: float = Field(0.1, gt=0, le=0.5, description="As deletion, in a bad moment.")
    misread: float = Field(
        0.002, ge=0, le=0.5, description="How often a driver says another symbol than is shown."
    )
    swapped: float = Field(
        0.002, ge=0, le=0.5, description="How often a driver swaps a symbol with the next."
    )
    repeated: float = Field(
        0.002, ge=0, le=0.5, description="How often a field has the value of the lap before again."
    )
    stray: float = Field(
        0.005, ge=0, le=0.5, description="How often what is heard is no report of this book at all."
    )
    surprise: float = Field(
        0.02,
        gt=0,
        le=1,
        description="How often a field has any value at all, whatever was expected of it.",
    )
    spoken_anyway: Probability = Field(
        0.02, description="How often an optional part is said although all in it is as usual."
    )
    left_out: Probability = Field(
        0.5, description="How often an optional part whose fields have no usual value is left out."
    )
    messages: dict[Name, Annotated[float, Field(gt=0, le=1e6)]] = Field(
        default_factory=dict,
        description="How often each message is sent, against 1 for those not named.",
    )
    confusions: Rows = Field(
        default_factory=dict,
        description=(
            "P(heard | said) as said symbol = { heard symbol = probability }; the rest comes from"
            " the sounds."
        ),
    )
    counts: Rows = Field(
        default_factory=dict,
        description="How often each symbol was heard for each said, as said = { heard = count }.",
    )
    strength: float = Field(
        10,
        gt=0,
        le=1e6,
        description="How many counted words the table or the sounds are worth, for each symbol.",
    )

    @field_validator("noise")
    @classmethod
    def _noise_known(cls, noise: str | float) -> str | float:
        from grammar.sound import temperature

        temperature(noise)
        return noise

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


class MessageSpec(Strict):
    """``[messages.*]``: a named layout with a direction."""

    direction: Literal["car", "pit"] = Field(
        "car", description="car: a report, driver to pit. pit: a call, engineer to driver."
    )
    layout: str = Field(
        description=(
            "The order of tables: energy motor battery ( alert code )? check; a | b; quoted"
            " symbols."
        )
    )
    label: str = Field("", description="What people call it; the default is its name.")
    unsaid: list[str] = Field(
        [], max_length=1000, description="Fields of which it leaves out some levels on purpose."
    )


class PhraseSpec(Strict):
    """``[phrases.*]``: a team's own spoken event, not made of symbols."""

    says: list[Sayable] = Field(
        min_length=1, max_length=100, description="The forms in which it is said."
    )
    label: str = Field("", description="What people call it; the default is its name.")
    means: Fact | None = Field(
        None,
        description=(
            "The fact of the race or of the car that it tells; the default is the fact of its name,"
            " if there is one."
        ),
    )


def _published_words() -> AlphabetSpec:
    return AlphabetSpec()


class BookSpec(Strict):
    """A code book."""

    title: str = Field("", max_length=200, description="What the book is called.")
    notes: str = Field("", max_length=10_000, description="Anything its readers should know.")
    alphabet: AlphabetSpec = Field(
        default_factory=_published_words, description="The symbols in use and their words."
    )
    speech: SpeechSpec = Field(
        default_factory=SpeechSpec, description="How transcripts are read and strings said."
    )
    hearing: HearingSpec = Field(
        default_factory=HearingSpec, description="How reports are heard through noise."
    )
    fields: Fields = Field(description="What is reported: one quantity or fact each.")
    tables: dict[Name, AnyTable] = Field(description="Code tables: levels of fields ↔ codewords.")
    messages: dict[Name, MessageSpec] = Field(description="Layouts of code tables, by name.")
    phrases: dict[Name, PhraseSpec] = Field(
        default_factory=dict,
        description="Spoken events, by name.",
    )

    @field_validator("fields", "tables", "messages", mode="before")
    @classmethod
    def _some_but_not_too_many(cls, entries: Any, info: ValidationInfo) -> Any:
        count = len(entries) if isinstance(entries, Mapping) else 1
        if not count and info.context != PARTLY:
            raise Problem(
                (), "at least one entry is needed", f"give a table [{info.field_name}.name]"
            )
        if info.field_name == "messages" and count > MOST_MESSAGES:
            raise Problem((), f"{count} messages; at most {MOST_MESSAGES} are allowed")
        return entries

    def problems(self) -> Iterator[Problem]:
        """Yield what ``[hearing]`` names that is not in the book."""
        for message in self.hearing.messages:
            if message not in self.messages:
                yield Problem(
                    ("hearing", "messages", message),
                    f"there is no message {message!r}",
                    f"there are {', '.join(self.messages)}",
                    rests_on=[("messages", message)],
                )
        used = [symbol for symbol in self.alphabet.symbols if symbol not in self.alphabet.retired]
        for problem in self.hearing.table_problems("".join(used)):
            yield problem.below("hearing")


def schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of the book format."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "niner code book",
        **BookSpec.model_json_schema(),
    }
