"""What every kind of field has: levels, the way from a value to its level and back, and all that
the rest of the house asks of a kind.

A kind that does not answer what only it can know is abstract, so a book with it does not load; what
has one answer for most kinds stands here, and the others give their own.
"""

from __future__ import annotations

import functools
import math
import re
from abc import abstractmethod
from collections.abc import Callable, Iterator, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Annotated, Any, ClassVar, Literal, NamedTuple, Self

from grammar.declared import Checked, Declared, takes
from grammar.errors import EncodeError, Problem
from grammar.exact import ExactDecimal, at, plain

MOST_LEVELS = 10**15
MOST_NAME = 60  # characters of a name in a book
ENUMERABLE = 100_000  # up to so many levels a distribution is listed

TO = "…"  # between the ends of a band as a journal has it

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
Interval = tuple[Fraction | None, Fraction | None]  # None is "without end"


class Progression(NamedTuple):
    """Values in even steps: that of level n (0 … size - 1) is ``first + n * step``."""

    first: Decimal
    step: Decimal
    size: int

    @property
    def last(self) -> Decimal:
        """The value of the last level."""
        return at(self.first, self.step, self.size - 1)


class Rounded(NamedTuple):
    """The level a value was rounded to, what that added to it, and whether it lay beyond an open
    end.
    """

    level: int
    error: Decimal = Decimal(0)
    beyond: Beyond = ""


class Limit(Declared):
    """A value at which the engineer is warned: strictly above, or strictly below."""

    above: ExactDecimal | None = takes(
        default=None,
        description="Warns of values above this; a limit has either `above` or `below`.",
    )
    below: ExactDecimal | None = takes(default=None, description="Warns of values below this.")
    say: str = takes(default="", description="What the warning says; the default names the limit.")

    def passed(self, low: Decimal | None, high: Decimal | None) -> bool:
        """Tell whether a value known to lie in ``low`` … ``high`` passes the limit for certain or
        in part.
        """
        if self.above is not None and (high is None or high > self.above):
            return True
        return self.below is not None and (low is None or low < self.below)

    @property
    def number(self) -> Decimal:
        """The number on whose far side it warns."""
        return self.above if self.above is not None else self.below or Decimal(0)

    @property
    def side(self) -> str:
        """The side and the number: "above 120"."""
        return f"{'below' if self.above is None else 'above'} {plain(self.number)}"

    def text(self, label: str, unit: str) -> str:
        """Return the warning's words."""
        return self.say or f"{label} {self.side}{' ' + unit if unit else ''}"


def _weights() -> Any:
    from pydantic import Discriminator, Field, Tag

    weight = Annotated[float, Field(ge=0, le=1e12)]
    return Annotated[
        Annotated[dict[str, weight], Tag("value = weight")]
        | Annotated[list[weight], Tag("a weight a level")],
        Discriminator(
            lambda given: "a weight a level" if isinstance(given, list) else "value = weight"
        ),
    ]


# how often values occur: value = weight, or one weight a level; told apart first, so that a wrong
# weight is one problem, not two
Weights = Annotated[dict[str, float] | list[float], Checked(_weights)]
_NEVER = 1e-6  # what never occurred may still occur: every level has at least this share


class FieldBase(Declared):
    """One quantity or fact with a finite list of levels, numbered from 0."""

    label: str = takes(
        default="", description="What a person calls it; the default is the field's name."
    )
    share: float = takes(
        default=0.9,
        ge=0,
        le=1,
        description="How often the field has its usual value, where no spread is given.",
    )
    hold: float | None = takes(
        default=None,
        ge=0,
        le=1,
        description="How often it stays as it was a lap ago; for what does not wander.",
    )
    often: Weights | None = takes(
        default=None,
        description=(
            "How often each value occurs, where that is known: value = weight, or one weight a"
            " level."
        ),
    )
    members: list[str] | None = takes(
        default=None,
        min_length=2,
        max_length=100,
        description=(
            "Makes it a family: a field for each of these names, all alike, NAME_MEMBER; its tables"
            " say them one after the other."
        ),
    )
    _name = ""
    _declared = ""

    described: ClassVar[str] = "field"

    def bind(self, name: str) -> None:
        """Give the field its key in the book, once."""
        if self._name not in ("", name):
            raise ValueError(f"the field {self._name!r} can't be {name!r} too")
        self.__dict__["_name"] = name

    @functools.cached_property
    def name(self) -> str:
        """The key of the field in the book; that of a member of a family, or of one time of a part
        said again, is made of it.
        """
        return self._name

    # a field for each member of a family, and for each time of a part said again

    @property
    def declared_as(self) -> str:
        """The key in the book of the field that it was made of, its own if it was not."""
        return self._declared or self._name

    @functools.cached_property
    def family(self) -> tuple[FieldBase, ...]:
        """The fields of a family, one a member; of any other field itself alone."""
        if self.members is None:
            return (self,)
        return tuple(self.like(member_name(member), member) for member in self.members)

    @functools.cached_property
    def repetitions(self) -> Repetitions:
        """The field at each time of a part said again."""
        return Repetitions(self)

    def like(self, suffix: str, mark: str) -> Self:
        """Return the same field under a name and a label with something behind them."""
        given = {**self.given_keys(), "label": f"{self._label} {mark}", **self.marked(mark)}
        given.pop("members", None)
        made = type(self)(**given)
        made.bind(f"{self._name}_{suffix}")
        made.__dict__["_declared"] = self.declared_as
        return made

    def marked(self, mark: str) -> dict[str, Any]:  # noqa: ARG002 - only some kinds have such words
        """Return the keys whose words have to tell one of several like fields, with its mark."""
        return {}

    @property
    def _label(self) -> str:
        return self.label or self._name.replace("_", " ")

    def __eq__(self, other: object) -> bool:
        return isinstance(other, FieldBase) and super().__eq__(other) and self.name == other.name

    __hash__ = Declared.__hash__

    @property
    def title(self) -> str:
        """The label, or the name written with spaces; of a family with its members."""
        members = "" if self.members is None else f" ({', '.join(self.members)})"
        return self._label + members

    # levels and values

    @property
    @abstractmethod
    def size(self) -> int:
        """The number of levels."""

    @property
    @abstractmethod
    def domain(self) -> str:
        """The values allowed, in words, with the unit."""

    @property
    @abstractmethod
    def usual_level(self) -> int | None:
        """The level of the usual value, or None if the book names none."""

    @abstractmethod
    def level(self, value: Any) -> Rounded:
        """Return the level of ``value``; raises EncodeError outside the domain."""

    @abstractmethod
    def value(self, level: int) -> Value:
        """Return the value of ``level`` (0 … size - 1)."""

    def rounded(self, value: Any) -> Value:
        """Return a value as the code says it, a whole one of a wrapped field whole; raises
        EncodeError outside the domain.
        """
        return self.value(self.level(value).level)

    @abstractmethod
    def text(self, level: int) -> str:
        """Return the value of ``level`` as people read it, with its unit."""

    @abstractmethod
    def from_text(self, text: str) -> Value:
        """Return the value that ``value_text`` wrote in a journal or an export.

        Raises ValueError where that is none of this kind of field. The domain is not asked: a sheet
        is read as it was written.
        """

    def given(self, text: str) -> Decimal | str:
        """Return a value that a person or a file gives as text; raises EncodeError."""
        self.level(text)
        return text

    @property
    def given_as(self) -> str:
        """What such a text has to be, in words."""
        return self.domain

    def beyond(self, level: int) -> Beyond:
        """Tell whether ``level`` means "or beyond" at an open end."""
        return "" if level >= 0 else "low"

    # what kind of values they are

    numeric: ClassVar[bool] = False
    """Whether its values are plain numbers."""

    @property
    def unit_text(self) -> str:
        """The unit, or "" for fields that have none."""
        return ""

    @property
    def one_of(self) -> Sequence[str] | None:
        """The names of which its value is one; None where that is not all there is to it."""
        return None

    @property
    def value_names(self) -> Sequence[str]:
        """What its values, or the parts of one, are called; () where they are numbers."""
        return self.one_of or ()

    @property
    def progression(self) -> Progression | None:
        """The even steps of its values; None where they are not numbers in even steps."""
        return None

    def interval(self, level: int) -> Interval | None:  # noqa: ARG002 - only some kinds measure
        """Return the numbers that are said as ``level``, an open end without end; None for all
        levels where they are no stretch of a quantity, as of an option or a remainder.

        At an end that is not open it is the usual one about the value: a dash that cannot say more
        does not make more impossible.
        """
        return None

    @property
    def typical(self) -> Fraction | None:
        """The usual number, else one in the middle; None for fields without ``interval``."""
        return None

    # warnings

    reports_warnings: ClassVar[bool] = False
    """Whether its warnings are what the driver reports as such, not limits passed."""

    @abstractmethod
    def warnings(self, level: int) -> Sequence[str]:
        """Return the warnings ``level`` gives."""

    @property
    def thresholds(self) -> Sequence[Limit]:
        """The limits at which it warns."""
        return ()

    def warns_when(self) -> list[str]:
        """Return, in words, what it warns of."""
        return []

    def notes(self) -> list[str]:
        """Return what is no problem of the field but worth knowing."""
        return []

    # values of which only a part is said

    wraps: ClassVar[bool] = False
    """Whether only a part of the value is said, and what is near it restores the rest."""

    def restored(self, level: int, near: object) -> Value:  # noqa: ARG002 - only wrapped fields need what is near
        """Return the value of ``level`` given a value expected ``near`` it; only wrapped fields
        need it.
        """
        return self.value(level)

    def restored_text(self, value: Value) -> str:
        """Return a restored value as people read it, with its unit."""
        return self.text(self.level(value).level)

    def restored_warnings(self, value: Value) -> Sequence[str]:  # noqa: ARG002 - the same
        """Return the warnings of a restored value that its level alone does not give."""
        return ()

    # harm, and the C of the dash

    def harm(self, said: int, read: int) -> float:
        """Return the harm of reading one level for another: 0 none, 1 as bad as it gets."""
        return 0.0 if said == read else 1.0

    numbering: ClassVar[str] = "the level's number from 0"
    """What stands for a value in C where it is no number."""

    @property
    def decimals(self) -> int | None:
        """How many decimals its numbers have at most; None for fields that are no numbers."""
        return None

    @property
    def rounded_in_words(self) -> str:
        """What it is, and how a number between two levels is said, where it is a number."""
        return self.title

    def number_in(self, level: int) -> Decimal:
        """Return a number that is said as ``level``: the level's own where it is no number."""
        return Decimal(level)

    def c_level(self, constant: Callable[[Decimal], str]) -> list[str]:  # noqa: ARG002 - for numbers
        """Return the lines of a C function that returns the level of ``int64_t value``, -1 outside
        the domain.

        Values and ``constant(number)`` are whole numbers in one scale, worked out when it runs;
        ``steps_of(value, step, rounding)`` divides as ``exact.steps`` does.
        """
        return [f"    return value >= 0 && value < INT64_C({self.size}) ? value : -1;"]

    # how often values occur

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

    def centre_after(self, value: object, laps: int) -> Decimal | None:  # noqa: ARG002 - only some kinds move
        """Return where a field that moves is expected some laps after it had a value, None for one
        that does not; raises EncodeError.
        """
        return None

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


def not_unique(options: Sequence[str], key: str, what: str) -> Iterator[Problem]:
    """Yield the names that are not visible, or do not differ from an earlier one whatever their
    case.
    """
    seen: set[str] = set()
    for number, option in enumerate(options):
        if not option.strip() or not option.isprintable() or option != option.strip():
            yield Problem(
                (key, number),
                f"{what} {option!r} is empty or has invisible characters",
                "write letters, digits and signs",
            )
        elif option.casefold() in seen:
            yield Problem(
                (key, number),
                f"{what} {option!r} stands twice",
                "names differ in more than capitals; keep one",
            )
        seen.add(option.casefold())


def not_among(
    options: Sequence[str], names: Sequence[str], key: str, what: str
) -> Iterator[Problem]:
    """Yield the names that are none of the options."""
    known = {option.casefold() for option in options}
    for number, name in enumerate(names):
        if name.strip().casefold() not in known:
            import difflib

            close = difflib.get_close_matches(name, options[:1000], n=1)
            hint = (
                f"did you mean {close[0]!r}?"
                if close
                else f"the {what} are: {', '.join(options[:12])}{' …' if len(options) > 12 else ''}"
            )
            yield Problem((key, number), f"{name!r} is not one of the {what}", hint)


def value_text(value: Value) -> str:
    """Write a value for a journal or an export, which ``from_text`` of its field reads.

    A number is written plainly and without trailing zeros, a band as ``low…high`` (an end that is
    open is left out), flags in alphabetical order with commas between them, no flag as ``none``.
    Raises TypeError for what is no value: what could not be read again is never written.
    """
    if isinstance(value, Decimal):
        return number_text(value)
    if isinstance(value, Band):
        return TO.join("" if end is None else number_text(end) for end in value)
    if isinstance(value, frozenset):
        return ", ".join(sorted(value)) or "none"
    if isinstance(value, str):
        return value
    raise TypeError(f"{value!r} is no value of a field")


def number_text(number: Decimal) -> str:
    """Write a number plainly, without trailing zeros."""
    text = plain(number)
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


class Repetitions(dict[int, FieldBase]):
    """A field at each time of a part said again, by the number of the time from 1."""

    def __init__(self, field: FieldBase) -> None:
        self.field = field

    def __missing__(self, number: int) -> FieldBase:
        self[number] = made = self.field.like(str(number), str(number))
        return made


def member_name(member: str) -> str:
    """Return what a member adds to the name of its family: its letters and digits, anything else
    as ``_``.
    """
    return re.sub(r"[^A-Za-z0-9]+", "_", member).strip("_")


def bound(fields: dict[str, Any]) -> dict[str, Any]:
    """Give every field of a book its key for a name."""
    for name, field in fields.items():
        field.bind(name)
    return fields


def plain_value(value: Value) -> Any:
    """Return a value in JSON's own kinds: decimals as numbers, bands as {low, high}, sets as sorted
    lists.
    """
    if isinstance(value, Decimal):
        return int(value) if value == value.to_integral_value() else float(value)
    if isinstance(value, Band):
        return {
            "low": None if value.low is None else plain_value(value.low),
            "high": None if value.high is None else plain_value(value.high),
        }
    return sorted(value) if isinstance(value, frozenset) else value


def with_members(fields: Mapping[str, FieldBase]) -> dict[str, FieldBase]:
    """Return the fields of a book by name, each family followed by its members."""
    found: dict[str, FieldBase] = {}
    for name, field in fields.items():
        found[name] = field
        found.update((one.name, one) for one in field.family)
    return found


def member_problems(fields: Mapping[str, FieldBase]) -> Iterator[Problem]:
    """Yield members of families that make no name, or one that is taken."""
    taken = dict.fromkeys(fields, "a field of the book")
    for name, field in fields.items():
        for number, member in enumerate(field.members or ()):
            keys, made = ("fields", name, "members", number), f"{name}_{member_name(member)}"
            if not member_name(member) or not member.isprintable() or member != member.strip():
                hint = "write at least one letter or digit"
                yield Problem(keys, f"the member {member!r} makes no name", hint)
            elif len(made) > MOST_NAME:
                message = f"the member makes a name of {len(made)} characters, {made!r}"
                yield Problem(keys, message, f"at most {MOST_NAME} are allowed")
            elif made in taken:
                message = f"the member makes the name {made!r}, which is {taken[made]}"
                yield Problem(keys, message, "call the member, or the other, differently")
            else:
                taken[made] = f"that of another member of {name}"
