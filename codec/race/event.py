"""The format of an event file: one race, one car, in TOML.

What differs by season and series is a parameter here, never a constant.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator

from codec.race import units
from codec.sheet.state import MOST_LAPS
from grammar.errors import Problem
from grammar.exact import ExactDecimal, plain
from grammar.inspection import Strict
from grammar.problems import nearest

MOST_STEPS = 500  # of energy, from the least to the most that a lap may take
MOST_POSITION = 1000  # of a dial, below zero as well
ExactShare = Annotated[ExactDecimal, Field(ge=0, le=1)]
Positive = Annotated[ExactDecimal, Field(gt=0)]
NotNegative = Annotated[ExactDecimal, Field(ge=0)]


class DistanceSpec(Strict):
    """``[distance]``: laps, or time and the laps driven after it has run out."""

    laps: int | None = Field(
        None, ge=1, le=MOST_LAPS, description="The race's laps; a race has `laps` or `minutes`."
    )
    minutes: Positive | None = Field(
        None, description="The race's time; the lap being driven when it runs out is finished."
    )
    further_laps: int = Field(0, ge=0, le=20, description="Laps driven after that one.")
    lap_seconds: Positive | None = Field(
        None, description="The usual lap time; a race by time needs it."
    )
    lap_spread: NotNegative = Field(
        Decimal(1), description="Standard deviation of one lap's time, in seconds."
    )

    def problems(self) -> Iterator[Problem]:
        """Yield what a race by laps can't have, and what one by time lacks."""
        if self.laps is None and self.minutes is None:
            yield Problem((), "a distance has either `laps` or `minutes`", "give one of them")
        if self.laps is not None and self.minutes is not None:
            message = "a distance has either `laps` or `minutes`, not both"
            yield Problem(("minutes",), message, "remove one of them")
        elif self.laps is not None and self.further_laps:
            message = "`further_laps` belongs to a race by time"
            yield Problem(("further_laps",), message, "remove it, or give `minutes`, not `laps`")
        elif self.minutes is not None and self.lap_seconds is None:
            yield Problem(
                ("lap_seconds",),
                "a race by time needs `lap_seconds`",
                "give the usual lap time, in seconds",
            )
        elif self.planned > MOST_LAPS:
            yield Problem(
                ("minutes",),
                f"{self.planned} laps are more than {MOST_LAPS}",
                "`minutes` is the race's time, `lap_seconds` that of one lap",
            )

    @property
    def planned(self) -> int:
        """The laps there will be if nothing happens."""
        if self.laps is not None:
            return self.laps
        return (
            math.ceil(Fraction(self.minutes or 0) * 60 / Fraction(self.lap_seconds or 1))
            + self.further_laps
        )


class EnergySpec(Strict):
    """``[energy]``: what there is, what must be left, and how evenly it is used.

    All in ``unit``, net of what braking puts back.
    """

    unit: str = Field(
        "kWh", description="The unit of every energy in this file: J, kJ, MJ, Wh, kWh."
    )
    usable: Positive = Field(description="What may be used from the start on.")
    reserve: NotNegative = Field(Decimal(0), description="What is to be left at the flag.")
    regenerated: Annotated[ExactDecimal, Field(ge=0, lt=1)] = Field(
        Decimal(0),
        description=(
            "The share of the energy drawn that braking puts back: net use is (1 - share) times"
            " what is drawn."
        ),
    )
    spread: Positive = Field(
        description="Standard deviation of one lap's use about the driver's habit."
    )
    drift: NotNegative = Field(
        description="Standard deviation of the change of that habit from one lap to the next."
    )
    first: Positive = Field(
        description=(
            "Standard deviation of the habit about the plan, at the start and after a new target is"
            " called."
        )
    )
    jump: Annotated[ExactDecimal, Field(ge=0, lt=1)] = Field(
        Decimal("0.005"),
        description=(
            "The chance, on any lap, of something no habit tells: a spin, a fault, a lap driven"
            " slowly."
        ),
    )
    doubt: Annotated[ExactDecimal, Field(ge=0, le=2)] = Field(
        Decimal("0.8"),
        description=(
            "How far `spread` and `drift` may be off: the standard deviation of the natural"
            " logarithm of the factor. The race teaches better; 0 believes them."
        ),
    )
    odd: Annotated[ExactDecimal, Field(ge=0, le=Decimal("0.5"))] = Field(
        Decimal("0.01"),
        description=(
            "The share of laps expected to scatter four times as much as the others; how many do"
            " is learned."
        ),
    )
    creep: NotNegative | None = Field(
        None,
        description=(
            "How much more each lap takes than the one before, where the habit creeps, as with heat"
            " that takes from what braking puts back, or with worn tyres; give or take half. The"
            " default comes to 12 % of the plan over the race, 0 is none."
        ),
    )

    @field_validator("unit")
    @classmethod
    def _unit_known(cls, unit: str) -> str:
        known = units.energy_units()
        if unit not in known:
            hint = nearest(unit, known, f"units are {', '.join(known)}")
            raise Problem((), f"{unit!r} is no unit of energy", hint)
        return unit

    def problems(self) -> Iterator[Problem]:
        """Yield a reserve that leaves nothing."""
        if self.reserve >= self.usable:
            yield Problem(
                ("reserve",),
                f"the reserve {plain(self.reserve)} leaves nothing of {plain(self.usable)}",
                "`usable` is what may be used from the start on, the reserve in it",
            )


class PlanSpec(Strict):
    """``[plan]``: the energy planned for each lap."""

    per_lap: Positive | list[Positive] | None = Field(
        None,
        description=(
            "One figure, or one for each lap; without it usable less reserve, spread evenly."
        ),
    )
    changed: Literal["spread", "keep"] = Field(
        "spread",
        description=(
            "What the dash does when the distance changes: `spread` what was planned for the laps"
            " left over the new number of them, or `keep` the plan of each lap."
        ),
    )


class TargetsSpec(Strict):
    """``[targets]``: whether the driver keeps the targets that are called.

    Each counts beforehand like so many targets called before.
    """

    kept: Positive = Field(Decimal("2.7"), description="Targets kept.")
    half: Positive = Field(Decimal("0.15"), description="Targets kept half way.")
    ignored: Positive = Field(Decimal("0.15"), description="Targets ignored.")


class NeutralisationSpec(Strict):
    """``[neutralisation]``: what a neutralised race costs and gives.

    Differs by season and series.
    """

    laps_per_minute: NotNegative = Field(Decimal(0), description="Laps added for each minute.")
    count: Literal["full", "begun"] = Field(
        "full",
        description="Whether only full laps count, or a lap that has begun to count as well.",
    )
    time_share: NotNegative = Field(
        Decimal(0), description="Minutes added to a race by time for each neutralised minute."
    )
    energy_per_minute: NotNegative = Field(
        Decimal(0), description="Energy taken off what may be used, for each minute."
    )
    use: ExactShare = Field(
        Decimal("0.5"), description="The energy of a neutralised lap as a share of the lap's plan."
    )
    use_spread: ExactShare = Field(Decimal("0.1"), description="Standard deviation of that share.")
    lap_seconds: Positive | None = Field(
        None,
        description=(
            "The time of a neutralised lap; without it the table of targets does not count what a"
            " further neutralisation would save."
        ),
    )
    further_minutes: Positive = Field(
        Decimal(5), description="How long a further neutralisation in that table lasts."
    )


class ReportSpec(Strict):
    """``[reports.FIELD]``: what a field of the book tells of the energy."""

    says: Literal["delta", "remaining", "used"] = Field(
        description=(
            "`delta`: against the plan the dash has; `remaining`: what may still be used; `used`:"
            " since the start. The field is in a unit of energy, or in % of `usable`."
        )
    )
    positive: Literal["left", "used"] = Field(
        "left",
        description="Of a delta: whether more is left, or more was used, than planned above zero.",
    )
    counts: Literal["net", "drawn"] = Field(
        "net", description="Of `used`: whether what braking put back has been taken off."
    )


class TemperatureSpec(Strict):
    """``[temperatures.FIELD]``: a temperature's limit and how it moves from lap to lap, in the
    field's unit.
    """

    limit: ExactDecimal | None = Field(
        None, description="The default is the lowest `above` among the field's limits in the book."
    )
    start: ExactDecimal | None = Field(
        None, description="What it is at the start; the default is the field's usual value."
    )
    start_spread: Positive = Field(Decimal(8), description="Standard deviation of that.")
    rise: ExactDecimal = Field(Decimal(0), description="The rise expected on the first lap.")
    rise_spread: Positive = Field(Decimal("1.5"), description="Standard deviation of that.")
    spread: Positive = Field(
        Decimal("0.5"), description="Standard deviation of a lap's temperature about the trend."
    )
    drift: NotNegative = Field(
        Decimal("0.2"), description="Standard deviation of the change of the rise from lap to lap."
    )
    jump: Annotated[ExactDecimal, Field(ge=0, lt=1)] = Field(
        Decimal("0.01"),
        description="The chance, on any lap, of something no trend tells, such as a blocked duct.",
    )
    settles: Annotated[ExactDecimal, Field(gt=0, le=1)] = Field(
        Decimal("0.95"),
        description=(
            "What is left of the rise after each lap: 1 is a straight line, less a curve that"
            " flattens."
        ),
    )
    per_energy: Positive | None = Field(
        None,
        description=(
            "How much more a lap warms for each unit of energy that it takes more; with it the use"
            " is told that keeps the limit."
        ),
    )


class DialSpec(Strict):
    """``[dials.NAME]``: a rotary or another setting on the wheel; the name is an option of the
    book's dial field.
    """

    low: int = Field(1, ge=-MOST_POSITION, le=MOST_POSITION, description="The lowest position.")
    high: int = Field(10, ge=-MOST_POSITION, le=MOST_POSITION, description="The highest position.")
    step: int = Field(1, ge=1, le=MOST_POSITION, description="How far one click goes.")
    start: int = Field(description="The position at the start.")
    wraps: bool = Field(False, description="Whether one click beyond the highest is the lowest.")

    def has(self, position: int) -> bool:
        """Tell whether it can stand there."""
        return self.low <= position <= self.high and not (position - self.low) % self.step

    @property
    def span(self) -> str:
        """Its positions in words."""
        steps = f" in steps of {self.step}" if self.step > 1 else ""
        return f"{self.low} … {self.high}{steps}"

    def problems(self) -> Iterator[Problem]:
        """Yield a range that is none, and a start outside it."""
        if self.high <= self.low:
            hint = "they are the lowest and the highest position"
            yield Problem(("high",), f"high {self.high} is not above low {self.low}", hint)
        elif (self.high - self.low) % self.step:
            message = f"steps of {self.step} from {self.low} never come to {self.high}"
            yield Problem(("high",), message, "give another highest position, or another step")
        elif not self.has(self.start):
            message = f"start {self.start} lies outside {self.span}"
            yield Problem(("start",), message, "it is the position at the start")


class PaceSpec(Strict):
    """Which pit call tells the energy per lap, and in which field."""

    message: str = Field(description="The book's message.")
    target: str = Field(description="Its field with the energy for each lap.")


class LapsSpec(Strict):
    """Which message tells laps added, and in which field."""

    message: str = Field(description="The book's message.")
    added: str = Field(description="Its field with the laps added.")
    setting: str = Field(
        "", description="The setting of the `wheel` file in which the driver enters them."
    )


class WheelSpec(Strict):
    """Which message changes a setting on the wheel: the field of the dial, and either those of
    direction and clicks, with the two directions' options, or that of the position.
    """

    message: str = Field(description="The book's message.")
    dial: str = Field(description="Its field that names the setting.")
    way: str = Field("", description="Its field for the direction.")
    clicks: str = Field("", description="Its field for how many clicks.")
    position: str = Field(
        "", description="Its field for the position, where it says where to turn and not how far."
    )
    up: str = Field("up", description="What that field calls the way up.")
    down: str = Field("down", description="What it calls the way down.")

    def problems(self) -> Iterator[Problem]:
        """Yield what a setting lacks, or has twice."""
        if self.position and (self.way or self.clicks):
            message = "a setting is said in clicks or as a position, not both"
            yield Problem(("position",), message, "remove it, or `way` and `clicks`")
        elif not self.position:
            for key in ("way", "clicks"):
                if not getattr(self, key):
                    message = f"a setting said in clicks needs `{key}`"
                    yield Problem((key,), message, "name its field, or that of the `position`")


class CallsSpec(Strict):
    """``[calls]``: what the pit's messages of the book mean."""

    pace: PaceSpec | None = Field(None, description="The call of a new energy for each lap.")
    distance: LapsSpec | None = Field(None, description="The call that laps are added.")
    wheel: WheelSpec | None = Field(None, description="The call to change a setting.")


class ReadbacksSpec(Strict):
    """``[readbacks]``: the driver's messages that answer them.

    Without one, a call counts as done when it is said.
    """

    distance: LapsSpec | None = Field(None, description="The driver's answer to laps added.")
    wheel: WheelSpec | None = Field(None, description="The driver's answer to a setting.")


class StraightSpec(Strict):
    """``[[straights]]``: a stretch of the lap on which the driver has a hand free, in their order
    from the line.
    """

    name: str = Field(min_length=1, max_length=60, description="What it is called.")
    seconds: Positive = Field(description="How long a hand is free there.")


class AdviceSpec(Strict):
    """``[advice]``: when to call a new target, and which."""

    chance: Annotated[ExactDecimal, Field(gt=0, lt=1)] = Field(
        Decimal("0.1"), description="The chance of running short that is accepted."
    )
    change: NotNegative = Field(
        Decimal(0), description="A new target is called only if it differs by more than this."
    )
    tolerance: NotNegative = Field(
        Decimal(0), description="How far below the highest safe target a shorter call may lie."
    )
    saving: Positive | None = Field(
        None,
        description=(
            "What a lap of saving takes less; the default is a tenth of what one takes now."
        ),
    )


class ChargingSpec(Strict):
    """``[charging.NAME]``: a stop at which the car is charged; it is made when the book's fact
    ``stop`` is told within its window.
    """

    first: int = Field(ge=1, le=MOST_LAPS, description="The first lap on which it may be made.")
    last: int = Field(ge=1, le=MOST_LAPS, description="The last lap on which it may be made.")
    energy: Positive = Field(description="What may be used more for it.")
    seconds: NotNegative = Field(Decimal(0), description="The time that it costs.")

    def problems(self) -> Iterator[Problem]:
        """Yield a window that is none."""
        if self.last < self.first:
            message = f"the window from lap {self.first} to lap {self.last} ends before it begins"
            yield Problem(("last",), message, "it is the last lap on which the stop may be made")


class ExtraPowerSpec(Strict):
    """``[extra_power]``: uses of more power for a time, all of which must be made before the
    flag.
    """

    uses: int = Field(ge=1, le=100, description="How many there are.")
    minutes: Positive = Field(description="How long one lasts.")
    energy_per_minute: NotNegative = Field(
        Decimal(0), description="What one takes more, for each minute."
    )
    fact: str = Field(description="The fact or phrase of the book that tells that one begins.")

    @property
    def energy_of_one(self) -> float:
        """What one use takes more."""
        return float(self.minutes * self.energy_per_minute)


class LapTimesSpec(Strict):
    """``[lap_times]``: seconds a lap by the energy that it takes, a straight line between two
    points.
    """

    energy: list[Positive] = Field(
        min_length=2, max_length=100, description="Energies of a lap, from the least."
    )
    seconds: list[Positive] = Field(
        min_length=2, max_length=100, description="The lap time at each of them."
    )
    step: Positive = Field(
        Decimal("0.01"), description="The fastest schedule is sought in steps of so much energy."
    )

    def problems(self) -> Iterator[Problem]:
        """Yield lists that are not alike, energies out of order, and too many steps."""
        if len(self.energy) != len(self.seconds):
            message = f"{len(self.seconds)} times for {len(self.energy)} energies"
            yield Problem(("seconds",), message, "give one for each energy")
        if any(high <= low for low, high in itertools.pairwise(self.energy)):
            yield Problem(("energy",), "energies are out of order", "begin with the least")
        elif (self.energy[-1] - self.energy[0]) / self.step > MOST_STEPS:
            message = f"{plain(self.step)} makes more than {MOST_STEPS} steps of these energies"
            yield Problem(("step",), message, "give a longer one")


class EventSpec(Strict):
    """An event file."""

    title: str = Field("", max_length=200, description="What the race is called.")
    wrong: Annotated[ExactDecimal, Field(ge=0, lt=1)] = Field(
        Decimal("0.02"),
        description="The share of accepted reports expected to be wrong all the same.",
    )
    distance: DistanceSpec = Field(description="How long the race is.")
    energy: EnergySpec = Field(description="What energy there is, and how evenly it is used.")
    plan: PlanSpec = Field(default_factory=PlanSpec, description="The energy planned for each lap.")
    targets: TargetsSpec = Field(
        default_factory=TargetsSpec, description="Whether the driver keeps the targets called."
    )
    neutralisation: NeutralisationSpec = Field(
        default_factory=NeutralisationSpec, description="What a neutralised race costs and gives."
    )
    reports: dict[str, ReportSpec] = Field(
        default_factory=dict, description="Fields of the book that tell of the energy."
    )
    temperatures: dict[str, TemperatureSpec] = Field(
        default_factory=dict, description="Fields of the book that are temperatures."
    )
    lap_times: LapTimesSpec | None = Field(
        None, description="Seconds a lap by energy: with it the fastest schedule is told."
    )
    settings: list[str] = Field(
        default_factory=list,
        max_length=20,
        description=(
            "Fields of the book, said in calls or reports, whose effect on the energy of a lap is"
            " learned, such as metres of lift; that of dials is without being named."
        ),
    )
    charging: dict[str, ChargingSpec] = Field(
        default_factory=dict, description="Stops at which the car is charged."
    )
    extra_power: ExtraPowerSpec | None = Field(
        None, description="Uses of more power that must be made before the flag."
    )
    dials: dict[str, DialSpec] = Field(default_factory=dict, description="Settings on the wheel.")
    wheel: str = Field(
        "",
        max_length=500,
        description="The wheel file, found from where this file is; its settings are dials.",
    )
    marker: str = Field(
        "",
        max_length=200,
        description=(
            "What the touch of the wheel does that is the driver's marker press, an `acts` of the"
            " wheel file: a press that is told then tells where the wheel stood."
        ),
    )
    straights: list[StraightSpec] = Field(
        default_factory=list, max_length=50, description="Where on the lap a hand is free."
    )
    calls: CallsSpec = Field(
        default_factory=CallsSpec, description="What the pit's messages of the book mean."
    )
    readbacks: ReadbacksSpec = Field(
        default_factory=ReadbacksSpec, description="The driver's messages that answer them."
    )
    advice: AdviceSpec = Field(
        default_factory=AdviceSpec, description="When to call a new target, and which."
    )

    @property
    def most_usable(self) -> Decimal:
        """What may be used from the start on, if every charging stop is made."""
        return self.energy.usable + sum(
            (stop.energy for stop in self.charging.values()), Decimal(0)
        )

    def problems(self) -> Iterator[Problem]:
        """Yield dials whose names differ only in capitals."""
        folded: dict[str, str] = {}
        for name in self.dials:
            other = folded.setdefault(name.casefold(), name)
            if other != name:
                message = f"the dials {other!r} and {name!r} differ only in capitals"
                yield Problem(("dials", name), message, "keep one")


def schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of the event format."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **EventSpec.model_json_schema(),
        "title": "niner event",
    }
