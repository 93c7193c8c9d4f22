"""The format of a wheel file: the controls, what a touch of them does in which state, and the
settings that it changes, in TOML.

The names are the team's own; times are in seconds.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import Field

from grammar.errors import Problem
from grammar.exact import ExactDecimal
from grammar.inspection import Strict

MOST_PLACE = 100_000  # of a setting, below zero as well
MOST_PLACES = 2000  # positions of one setting
MOST_CONTROLS, MOST_SETTINGS, MOST_RULES = 60, 400, 4000
MODE = "mode"  # what the mode is called in `when`
Positive = Annotated[ExactDecimal, Field(gt=0)]
NotNegative = Annotated[ExactDecimal, Field(ge=0)]
Chance = Annotated[ExactDecimal, Field(ge=0, lt=1)]
Name = Annotated[str, Field(min_length=1, max_length=60)]


class ControlSpec(Strict):
    """What every control has: what a touch of it costs."""

    seconds: Positive = Field(
        Decimal("0.3"), description="One touch: a detent, a pull, a short press."
    )
    find: NotNegative = Field(
        Decimal("0.5"), description="To bring the hand there from another control."
    )
    look: NotNegative = Field(
        Decimal(0), description="How long the eyes are down while the hand looks for it."
    )


class RotarySpec(ControlSpec):
    """``kind = "rotary"``: a switch that stands at one of several positions; it is turned ``up``
    and ``down`` the list, one at a touch.
    """

    kind: Literal["rotary"]
    positions: list[Name] = Field(min_length=2, max_length=100, description="Their names in order.")
    start: str = Field("", description="Where it stands at the start; the default is the first.")
    wraps: bool = Field(False, description="Whether the first follows on the last.")


class EncoderSpec(ControlSpec):
    """``kind = "encoder"``: a knob or a thumb wheel without end, turned ``up`` and ``down`` by
    detents.
    """

    kind: Literal["encoder"]


class PaddlesSpec(ControlSpec):
    """``kind = "paddles"``: a pair, of which the ``right`` one is the way up and the ``left`` one
    the way down.
    """

    kind: Literal["paddles"]


class ButtonSpec(ControlSpec):
    """``kind = "button"``: it is pressed; held ``long`` it is another touch."""

    kind: Literal["button"]
    long: Positive | None = Field(
        None, description="How long a long press takes; without it there is none."
    )


class ModeSpec(Strict):
    """``[modes.NAME]``: a state of the dash in which touches have a meaning of their own."""

    left_alone: Positive | None = Field(
        None, description="After so many seconds without a touch it becomes `then`."
    )
    then: str = Field("", description="The mode that follows on it when left alone.")
    draft: bool = Field(
        False,
        description=(
            "Whether a change made in it counts only once it is confirmed, and is dropped when"
            " the mode is left without."
        ),
    )
    shows: list[str] = Field(
        default_factory=list, description="The settings that the dash shows all the time in it."
    )

    def problems(self) -> Iterator[Problem]:
        """Yield half a time-out."""
        if (self.left_alone is None) != (not self.then):
            key, other = ("then", "left_alone") if self.then else ("left_alone", "then")
            yield Problem((key,), f"`{key}` needs `{other}`", "give both, or neither")


class CursorSpec(Strict):
    """``[cursors.NAME]``: a place on the dash that touches move, such as the line of a menu."""

    items: list[Name] = Field(min_length=2, max_length=100, description="Their names in order.")
    start: str = Field("", description="Where it stands at the start; the default is the first.")
    wraps: bool = Field(True, description="Whether the first follows on the last.")
    remembers: bool = Field(
        True, description="Whether it stays where it is when the mode changes; else it goes back."
    )


class SettingSpec(Strict):
    """``[settings.NAME]``: something that stands at one of several positions, whole numbers as the
    dash shows them.
    """

    low: int = Field(1, ge=-MOST_PLACE, le=MOST_PLACE, description="The lowest position.")
    high: int = Field(10, ge=-MOST_PLACE, le=MOST_PLACE, description="The highest position.")
    step: int = Field(1, ge=1, le=MOST_PLACE, description="From one position to the next.")
    start: int = Field(description="The position at the start.")
    wraps: bool = Field(False, description="Whether the lowest follows on the highest.")
    shown: bool = Field(True, description="Whether the dash shows it while it is being changed.")
    harm: NotNegative = Field(
        Decimal(1),
        description=(
            "What one position off is worth, in seconds of radio as `wrong` of a book's [hearing]."
        ),
    )
    waits: bool = Field(
        False, description="Whether its change can wait: it is called behind all others."
    )

    @property
    def count(self) -> int:
        """How many positions it has."""
        return (self.high - self.low) // self.step + 1

    def problems(self) -> Iterator[Problem]:
        """Yield a range that is none, steps that miss its end, and a start outside it."""
        if self.high <= self.low:
            hint = "they are the lowest and the highest position"
            yield Problem(("high",), f"high {self.high} is not above low {self.low}", hint)
        elif (self.high - self.low) % self.step:
            last = self.low + (self.high - self.low) // self.step * self.step
            message = f"steps of {self.step} from {self.low} never come to {self.high}"
            yield Problem(("high",), message, f"the last is {last}, the next {last + self.step}")
        elif self.count > MOST_PLACES:
            message = f"{self.count} positions are more than {MOST_PLACES}"
            yield Problem(("high",), message, "give a longer step")
        elif not self.low <= self.start <= self.high or (self.start - self.low) % self.step:
            message = f"start {self.start} is none of {self.low}, {self.low + self.step} … "
            hint = "it is the position at the start"
            yield Problem(("start",), f"{message}{self.high}", hint)


class DoesSpec(Strict):
    """``[[does]]``: what a touch does, and in which state.

    ``touch`` names a control and a way (``"thumb up"``, ``"left down"``, ``"shift right"``,
    ``"ok"``, ``"ok long"``), or a control that has two ways alone: then up does what is said here
    and down the reverse.
    """

    touch: str = Field(max_length=130, description="The control, and which way.")
    when: dict[str, str | list[str]] = Field(
        default_factory=dict,
        description=(
            "What has to hold: the `mode`, the position of a rotary, the item of a cursor; of"
            " several given any."
        ),
    )
    steps: str = Field("", description="The setting that it moves.")
    chosen_by: str = Field(
        "",
        description=(
            "The rotary or cursor whose positions are names of settings: the one chosen moves."
        ),
    )
    moves: str = Field("", description="The cursor that it moves.")
    by: int = Field(1, description="How many positions it moves, down below zero.")
    to: int | None = Field(None, description="The position it puts the setting at, not `by`.")
    goes: str = Field("", description="The mode that follows.")
    confirms: bool = Field(False, description="Whether drafts count from here.")
    acts: str = Field("", max_length=60, description="Anything else that it does, such as marking.")

    def problems(self) -> Iterator[Problem]:
        """Yield a rule that does nothing, or two things of which one is meant."""
        moved = [key for key in ("steps", "chosen_by", "moves") if getattr(self, key)]
        if not (moved or self.goes or self.confirms or self.acts):
            hint = "give one of steps, chosen_by, moves, goes, confirms, acts"
            yield Problem(("touch",), "this touch does nothing", hint)
        if len(moved) > 1:
            message = f"a touch moves one thing, not {' and '.join(moved)}"
            yield Problem((moved[1],), message, "keep one of them")
        if self.to is not None and not (self.steps or self.chosen_by):
            yield Problem(("to",), "`to` needs a setting", "name it in `steps` or `chosen_by`")
        if self.by == 0:
            yield Problem(("by",), "by 0 moves nothing", "give how many positions, or leave it out")


class SlipsSpec(Strict):
    """``[slips]``: how often a touch goes wrong; the defaults are common practice, no source."""

    further: Chance = Field(Decimal("0.02"), description="Of turns and pulls, one detent too many.")
    short: Chance = Field(Decimal("0.01"), description="Of turns and pulls, one detent too few.")
    missed: Chance = Field(Decimal("0.02"), description="Of presses, not taken.")


class ChangeSpec(Strict):
    """``[[changes]]``: settings that are changed at one go, the first one first, and how often."""

    settings: list[Name] = Field(min_length=1, max_length=6, description="What is changed.")
    often: Positive = Field(Decimal(1), description="How many times a race, on average.")
    steps: int = Field(1, ge=1, le=20, description="By how many positions, as a rule.")


class DesignSpec(Strict):
    """``[design]``: what `niner wheel design` may not do."""

    stays: list[Name] = Field(
        default_factory=list, description="Settings that stay where drivers know them."
    )
    at_once: list[Name] = Field(
        default_factory=list,
        description="Settings that must be changed without anything chosen first.",
    )


class WheelMapSpec(Strict):
    """A wheel file."""

    title: str = Field("", max_length=200, description="What the wheel is called.")
    start: str = Field("", description="The mode at the start; the default is the first.")
    speed: Positive = Field(
        Decimal(250), description="km/h at which it is touched: what a look down costs in metres."
    )
    controls: dict[
        Name,
        Annotated[RotarySpec | EncoderSpec | PaddlesSpec | ButtonSpec, Field(discriminator="kind")],
    ] = Field(max_length=MOST_CONTROLS, min_length=1, description="What the hands find.")
    modes: dict[Name, ModeSpec] = Field(
        default_factory=dict, max_length=200, description="What the dash is in; none is one."
    )
    cursors: dict[Name, CursorSpec] = Field(
        default_factory=dict, max_length=200, description="Places on the dash that touches move."
    )
    settings: dict[Name, SettingSpec] = Field(
        min_length=1, max_length=MOST_SETTINGS, description="What the wheel changes."
    )
    does: list[DoesSpec] = Field(
        min_length=1, max_length=MOST_RULES, description="What touches do, and in which state."
    )
    slips: SlipsSpec = Field(default_factory=SlipsSpec, description="How often a touch goes wrong.")
    changes: list[ChangeSpec] = Field(
        default_factory=list, max_length=400, description="What is changed in a race."
    )
    design: DesignSpec = Field(default_factory=DesignSpec, description="What stays as it is.")

    def problems(self) -> Iterator[Problem]:
        """Yield names that mean two things."""
        seen = {MODE: "the mode"}
        for part in ("controls", "cursors"):
            for name in getattr(self, part):
                if name.casefold() in seen:
                    message = f"{name!r} is the name of {seen[name.casefold()]} already"
                    yield Problem((part, name), message, "give it another")
                seen[name.casefold()] = f"a {part[:-1]}"
        folded: dict[str, str] = {}
        for name in self.settings:
            other = folded.setdefault(name.casefold(), name)
            if other != name:
                message = f"the settings {other!r} and {name!r} differ only in capitals"
                yield Problem(("settings", name), message, "keep one")


def schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of the wheel format."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **WheelMapSpec.model_json_schema(),
        "title": "niner wheel",
    }
