"""What every kind of field has: levels, and the way from a value to its level and back."""

from __future__ import annotations

import difflib
import functools
import math
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Annotated, Any, ClassVar, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, Discriminator, Field, PrivateAttr, Tag, model_validator

from grammar.errors import EncodeError
from grammar.exact import ExactDecimal, plain
from grammar.problems import Misfit, refuse

MOST_LEVELS = 10**15
ENUMERABLE = 100_000  # up to so many levels a distribution is listed

Beyond = Literal["", "low", "high"]


class Band(NamedTuple):
    """A stretch of a quantity; None is "without end"."""

    low: Decimal | None
    high: Decimal | None

    def __str__(self) -> str:
        if self.low is not None and self.high is not None:
            return (
                plain(self.low)
                if self.low == self.high
                else f"{plain(self.low)} … {plain(self.high)}"
            )
        if self.low is None:
            return "any" if self.high is None else f"up to {plain(self.high)}"
        return f"from {plain(self.low)}"


Value = Decimal | Band | str | frozenset[str]


class Rounded(NamedTuple):
    """The level a value was rounded to, what that added to it, and whether it lay beyond an open
    end.
    """

    level: int
    error: Decimal = Decimal(0)
    beyond: Beyond = ""


class Strict(BaseModel):
    """Base of the book's models: unknown keys are problems, nothing changes after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True, validate_default=False)


class Limit(Strict):
    """A value at which the engineer is warned: strictly above, or strictly below."""

    above: ExactDecimal | None = Field(
        None, description="Warns of values above this; a limit has either `above` or `below`."
    )
    below: ExactDecimal | None = Field(None, description="Warns of values below this.")
    say: str = Field("", description="What the warning says; the default names the limit.")

    def passed(self, low: Decimal | None, high: Decimal | None) -> bool:
        """Tell whether a value known to lie in ``low`` … ``high`` passes the limit for certain or
        in part.
        """
        if self.above is not None and (high is None or high > self.above):
            return True
        return self.below is not None and (low is None or low < self.below)

    @property
    def side(self) -> str:
        """The side and the number: "above 120"."""
        return (
            f"above {plain(self.above)}"
            if self.above is not None
            else f"below {plain(self.below or Decimal(0))}"
        )

    def text(self, label: str, unit: str) -> str:
        """Return the warning's words."""
        return self.say or f"{label} {self.side}{' ' + unit if unit else ''}"


Weight = Annotated[float, Field(ge=0, le=1e12)]
# how often values occur: value = weight, or one weight a level; told apart first, so that a wrong
# weight is one problem, not two
Weights = Annotated[
    Annotated[dict[str, Weight], Tag("value = weight")]
    | Annotated[list[Weight], Tag("a weight a level")],
    Discriminator(
        lambda given: "a weight a level" if isinstance(given, list) else "value = weight"
    ),
]
_NEVER = 1e-6  # what never occurred may still occur: every level has at least this share


class FieldBase(Strict):
    """One quantity or fact with a finite list of levels, numbered from 0."""

    label: str = Field("", description="What a person calls it; the default is the field's name.")
    share: float = Field(
        0.9,
        ge=0,
        le=1,
        description="How often the field has its usual value, where no spread is given.",
    )
    hold: float | None = Field(
        None,
        ge=0,
        le=1,
        description="How often it stays as it was a lap ago; for what does not wander.",
    )
    often: Weights | None = Field(
        None,
        description=(
            "How often each value occurs, where that is known: value = weight, or one weight a"
            " level."
        ),
    )
    _name: str = PrivateAttr("")

    described: ClassVar[str] = "field"

    @model_validator(mode="after")
    def _all_fits(self) -> FieldBase:
        refuse(self.described, self.misfits())
        return self

    def misfits(self) -> Iterator[Misfit]:
        """Yield what does not fit in this field, each with its key."""
        yield from ()

    @functools.cached_property
    def name(self) -> str:
        """The key of the field in the book."""
        return self._name  # kept: a private attribute of a model is slow to reach

    @property
    def title(self) -> str:
        """The label, or the name written with spaces."""
        return self.label or self._name.replace("_", " ")

    @property
    def unit_text(self) -> str:
        """The unit, or "" for fields that have none."""
        return getattr(self, "unit", "")

    @property
    def size(self) -> int:
        """The number of levels."""
        raise NotImplementedError  # pragma: no cover - every kind has its own

    @property
    def domain(self) -> str:
        """The values allowed, in words, with the unit."""
        raise NotImplementedError  # pragma: no cover

    @property
    def usual_level(self) -> int | None:
        """The level of the usual value, or None if the book names none."""
        usual = getattr(self, "usual", None)
        return None if usual is None else self.level(usual).level

    def level(self, value: Any) -> Rounded:
        """Return the level of ``value``; raises EncodeError outside the domain."""
        raise NotImplementedError  # pragma: no cover

    def value(self, level: int) -> Value:
        """Return the value of ``level`` (0 … size - 1)."""
        raise NotImplementedError  # pragma: no cover

    def text(self, level: int) -> str:
        """Return the value of ``level`` as people read it, with its unit."""
        raise NotImplementedError  # pragma: no cover

    def beyond(self, level: int) -> Beyond:
        """Tell whether ``level`` means "or beyond" at an open end."""
        return "" if level >= 0 else "low"

    def warnings(self, level: int) -> Sequence[str]:
        """Return the warnings ``level`` gives."""
        raise NotImplementedError  # pragma: no cover

    def restored(self, level: int, near: object) -> Value:  # noqa: ARG002 - only wrapped fields need what is near
        """Return the value of ``level`` given a value expected ``near`` it; only wrapped fields
        need it.
        """
        return self.value(level)

    def shares(self) -> list[float]:
        """Return how often each level is expected, as the book tells; flat where it tells nothing.

        Only for ``size <= ENUMERABLE``.
        """
        return self.expected() if self.often is None else self.weighed(self.often)

    def occurring(self, surprise: float) -> list[float]:
        """Return how often each level occurs: as expected, but for a share (``surprise`` of
        ``[hearing]``) in which any is as likely.
        """
        return surprised(self.shares(), surprise)

    def weighed(self, weights: Mapping[str, float] | Sequence[float]) -> list[float]:
        """Return weights (value → weight, or one a level) as shares; raises EncodeError for a value
        outside the domain, and for others.
        """
        row = [0.0] * self.size
        if isinstance(weights, Mapping):
            for value, weight in weights.items():
                row[self.level(value).level] += weight
        elif len(weights) != self.size:
            raise EncodeError(
                f"{len(weights)} weights for {self.size} levels",
                kind="weights",
                hint="one weight a level, or value = weight",
            )
        else:
            row = list(weights)
        total = math.fsum(row)
        if total <= 0:
            raise EncodeError(
                "nothing ever occurs", kind="weights", hint="give at least one weight above 0"
            )
        return [(weight / total + _NEVER) / (1 + _NEVER * self.size) for weight in row]

    def expected(self) -> list[float]:
        """Return how often each level is expected where no weights are given: by the usual value
        and its share.
        """
        usual, size = self.usual_level, self.size
        if usual is None or size == 1:
            return [1 / size] * size
        rest = (1 - self.share) / (size - 1)
        return [self.share if level == usual else rest for level in range(size)]

    @property
    def told_by_last(self) -> bool:
        """Tell whether the last laps change what is expected."""
        return self.hold is not None

    def shares_after(self, value: object, laps: int) -> list[float]:
        """Return how often each level is expected some laps after it had a value; raises
        EncodeError for a value outside the domain.
        """
        if self.hold is None or self.size == 1:
            return self.shares()
        same = self.hold**laps
        shares = [(1 - same) * share for share in self.shares()]
        shares[self.level(value).level] += same
        return shares

    def refuse(self, value: object, message: str, hint: str = "") -> EncodeError:
        """Return the error for a value outside the domain, naming the domain."""
        text = str(value)
        source = f"{self._name} = {text if len(text) <= 60 else text[:60] + '…'}"
        return EncodeError(
            f"{self.title}: {message}",
            kind="outside-domain",
            source=source,
            span=(len(self._name) + 3, len(source)),
            expected=[self.domain],
            hint=hint,
        )


def surprised(shares: Sequence[float], surprise: float) -> list[float]:
    """Return shares of levels of which a part, ``surprise``, is flat."""
    return [(1 - surprise) * share + surprise / len(shares) for share in shares]


def labelled(options: Sequence[str], value: object) -> int | None:
    """Return the index of an option named by text, whatever its case; None if there is none."""
    if not isinstance(value, str):
        return None
    wanted = value.strip().casefold()
    return next((i for i, option in enumerate(options) if option.casefold() == wanted), None)


def numbered(options: Sequence[str]) -> dict[str, int]:
    """Return the index of each option by its name, whatever its case, for lists too long to search
    each time.
    """
    return {option.casefold(): number for number, option in enumerate(options)}


def looked_up(numbers: Mapping[str, int], value: object) -> int | None:
    """Return what ``numbered`` holds for an option named by text; None if there is none."""
    return numbers.get(value.strip().casefold()) if isinstance(value, str) else None


def not_unique(options: Sequence[str], key: str, what: str) -> Iterator[Misfit]:
    """Yield the names that are not visible, or do not differ from an earlier one whatever their
    case.
    """
    seen: set[str] = set()
    for number, option in enumerate(options):
        if not option.strip() or not option.isprintable() or option != option.strip():
            yield Misfit(
                (key, number),
                f"{what} {option!r} is empty or has invisible characters",
                "write letters, digits and signs",
            )
        elif option.casefold() in seen:
            yield Misfit(
                (key, number),
                f"{what} {option!r} stands twice",
                "names differ in more than capitals; keep one",
            )
        seen.add(option.casefold())


def not_among(
    options: Sequence[str], names: Sequence[str], key: str, what: str
) -> Iterator[Misfit]:
    """Yield the names that are none of the options."""
    known = {option.casefold() for option in options}
    for number, name in enumerate(names):
        if name.strip().casefold() not in known:
            close = difflib.get_close_matches(name, options[:1000], n=1)
            hint = (
                f"did you mean {close[0]!r}?"
                if close
                else f"the {what} are: {', '.join(options[:12])}{' …' if len(options) > 12 else ''}"
            )
            yield Misfit((key, number), f"{name!r} is not one of the {what}", hint)
