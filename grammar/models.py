"""The format of a code book: one TOML file a team owns.

The JSON Schema of the format comes out of these models.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from grammar.codes import AnyTable
from grammar.dash import DashSpec
from grammar.errors import Problem
from grammar.fields import AnyField, FieldBase, bound, member_problems
from grammar.hearing import HearingSpec, Name
from grammar.inspection import PARTLY, Strict
from grammar.speech.facts import Fact
from grammar.symbols import AlphabetSpec, Sayable

MOST_MESSAGES = 2000
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


class MessageSpec(Strict):
    """``[messages.*]``: a named layout with a direction."""

    direction: Literal["car", "pit"] = Field(
        "car", description="car: a report, driver to pit. pit: a call, engineer to driver."
    )
    layout: str = Field(
        description=(
            "The order of tables: energy motor battery ( alert code )? check; a | b; ( place state"
            " ){0..4}; quoted symbols."
        )
    )
    label: str = Field("", description="What people call it; the default is its name.")
    pauses: list[str] = Field(
        [],
        max_length=1000,
        description="Tables after which there is a pause, shown and said; for people alone.",
    )
    glance: str = Field(
        "",
        description=(
            "The table with which the second glance begins, where the dash shows the report in two."
        ),
    )
    unsaid: list[str] = Field(
        [], max_length=1000, description="Fields of which it leaves out some levels on purpose."
    )

    def problems(self) -> Iterator[Problem]:
        """Yield tables after which there is a pause, or a second glance begins, that are not in the
        layout.
        """
        named = re.findall(r"\"[^\"]*\"|\w+", self.layout)
        glance = [(("glance",), self.glance)] if self.glance else []
        for keys, name in (
            *((("pauses", place), name) for place, name in enumerate(self.pauses)),
            *glance,
        ):
            if name not in named:
                yield Problem(
                    keys,
                    f"{name!r} is not in the layout",
                    f"it has: {', '.join(one for one in named if one[0] != chr(34))}",
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


def _called_alike(fields: Mapping[str, FieldBase]) -> Iterator[Problem]:
    """Yield, at both places, labels that are the name or the label of another field: nobody could
    tell whose a value said by it is.
    """
    called: dict[str, list[str]] = {}
    for name, field in fields.items():
        forms = {" ".join(one.replace("_", " ").casefold().split()) for one in (name, field.title)}
        for form in forms:
            called.setdefault(form, []).append(name)
    for names in called.values():
        for name, other in itertools.permutations(names, 2):
            label = fields[name].label
            keys = ("fields", name, "label") if label else ("fields", name)
            yield Problem(
                keys,
                f"{label or name!r} is what the field {other} is called, too",
                "give one of them another label",
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
    dash: DashSpec = Field(
        default_factory=DashSpec, description="What the driver reads reports from."
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
        """Yield members of families without a name of their own, and what ``[hearing]`` names that
        is not in the book.
        """
        yield from member_problems(self.fields)
        yield from _called_alike(self.fields)
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
