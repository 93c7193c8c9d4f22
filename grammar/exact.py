"""Exact decimal arithmetic: values are multiples of a step, never binary-float noise.

One private context does all sums, so that a caller's own decimal settings cannot change a reading;
a sum that would have to be rounded raises instead.
"""

from __future__ import annotations

from decimal import (
    ROUND_CEILING,
    ROUND_FLOOR,
    ROUND_HALF_EVEN,
    Context,
    Decimal,
    DecimalException,
    Inexact,
    InvalidOperation,
)
from typing import Annotated, Any, Literal

from grammar.declared import Checked
from grammar.errors import Problem

_CONTEXT = Context(
    prec=200, traps=[Inexact, InvalidOperation]
)  # sums reach from 10^31 down to 10^-59, and quotients need room
_ROUNDED = Context(prec=200)
_DIGITS = (
    30  # a number of a book or a report has at most so many digits on either side of its point
)
_SHOWN = 30  # characters of a text that is no number
_WRITTEN = {
    type(None): "null",
    bool: "true or false",
    list: "a list",
    dict: "an object",
}  # as JSON has them
ROUNDING = {"nearest": ROUND_HALF_EVEN, "up": ROUND_CEILING, "down": ROUND_FLOOR}
Rounding = Literal["nearest", "up", "down"]


def exact(value: object) -> Decimal:
    """Return a number as an exact decimal: int, Decimal, float (as it prints: -0.3 is -0.3) or
    numeric text.

    Raises ValueError for anything else, for infinities and NaN, and for numbers of more than 30
    digits.
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str | Decimal):
        raise ValueError(
            f"a number is expected, not {_WRITTEN.get(type(value), type(value).__name__)}"
        )
    if isinstance(value, int) and value.bit_length() > _DIGITS * 4:
        raise ValueError(f"a number of more than {_DIGITS} digits")
    text = (
        repr(value)
        if isinstance(value, float)
        else str(value).strip().replace("\N{MINUS SIGN}", "-")
    )
    try:
        if "_" in text or not text.isascii():  # Python's own spellings of numbers are nobody else's
            raise ValueError
        number = Decimal(text)
    except (DecimalException, ValueError):
        raise ValueError(f"{str(value)[:40]!r} is not a number") from None
    if not number.is_finite():
        raise ValueError("a finite number is expected")
    if number and (abs(number.adjusted()) > _DIGITS or len(number.as_tuple().digits) > _DIGITS):
        raise ValueError(f"a number of more than {_DIGITS} digits")
    return number or Decimal(0)


def whole(text: str, least: int, most: int) -> int:
    """Return a whole number written in digits; raises ValueError, which names the domain, for
    anything else and for one outside ``least`` … ``most``.

    Every whole number that people or files give as text is read here: Python's own ``int`` takes
    other alphabets' digits and underscores, and raises at thousands of digits.
    """
    written = text.strip().replace("\N{MINUS SIGN}", "-")
    digits = written.removeprefix("-")
    if digits.isascii() and digits.isdigit():
        significant = digits.lstrip("0")
        if len(significant) <= len(str(max(abs(least), abs(most)))):
            number = int(significant or "0") * (-1 if written != digits else 1)
            if least <= number <= most:
                return number
    said = f"{text[:_SHOWN]}…" if len(text) > _SHOWN else text
    raise ValueError(f"{said!r} is no whole number from {least} to {most}")


def at(low: Decimal, step: Decimal, level: int) -> Decimal:
    """Return ``low + level * step`` exactly."""
    return _CONTEXT.add(low, _CONTEXT.multiply(step, Decimal(level)))


def difference(a: Decimal, b: Decimal) -> Decimal:
    """Return ``a - b`` exactly."""
    return _CONTEXT.subtract(a, b)


def steps(value: Decimal, low: Decimal, step: Decimal, rounding: Rounding) -> int:
    """Return how many steps from ``low`` the multiple nearest to ``value`` is (ties to even; or
    always up, or down).
    """
    quotient = _ROUNDED.divide(difference(value, low), step)
    return int(quotient.to_integral_value(ROUNDING[rounding], context=_ROUNDED))


def whole_steps(low: Decimal, high: Decimal, step: Decimal) -> int | None:
    """Return the number of steps from ``low`` to ``high``, or None if that is not a whole
    number.
    """
    count = steps(high, low, step, "nearest")
    return count if at(low, step, count) == high else None


def plain(number: Decimal) -> str:
    """Write a number without exponent."""
    return f"{number:f}"


def _decimal(value: Any) -> Decimal:
    """Return the number that a file has; raises Problem, also for one in quotes."""
    try:
        number = exact(value)
        if isinstance(value, str):
            raise ValueError(f"a number is expected, and {value[:_SHOWN]!r} is a text")
    except ValueError as error:
        raise Problem(
            (), str(error), "a number is written like 12 or -0.5, without quotes and unit"
        ) from None
    return number


def _checked() -> Any:
    from pydantic import BeforeValidator, WithJsonSchema

    return Annotated[Decimal, BeforeValidator(_decimal), WithJsonSchema({"type": "number"})]


ExactDecimal = Annotated[Decimal, Checked(_checked)]


def percent(share: float) -> str:
    """Write a probability so that 100 % and 0 % mean just that."""
    if share in (0.0, 1.0):
        return f"{share:.0%}".replace("%", " %")
    if share > 0.9995:
        return "> 99.9 %"
    return "< 0.1 %" if share < 0.0005 else f"{100 * share:.1f} %"
