"""Units of energy and temperature, converted exactly: the results are fractions, never rounded."""

from __future__ import annotations

import functools
import tomllib
from decimal import Decimal
from fractions import Fraction
from importlib import resources

from grammar.errors import CodeError

Number = Fraction | Decimal | int


@functools.cache
def _units(kind: str) -> dict[str, Fraction]:
    text = (resources.files("codec.race") / "units.toml").read_text("utf-8")
    return {unit: Fraction(number) for unit, number in tomllib.loads(text)[kind].items()}


def _unit(kind: str, unit: str) -> Fraction:
    try:
        return _units(kind)[unit]
    except KeyError:
        raise CodeError(
            f"{unit!r} is no unit of {kind}", kind="unit", expected=list(_units(kind))
        ) from None


def energy_units() -> list[str]:
    """Return the units of energy."""
    return list(_units("energy"))


def temperature_units() -> list[str]:
    """Return the units of temperature."""
    return list(_units("temperature"))


def energy(amount: Number, unit: str, to: str) -> Fraction:
    """Return an amount of energy in the unit ``to``: 1 kWh is 3.6 MJ.

    Raises CodeError for an unknown unit.
    """
    return Fraction(amount) * _unit("energy", unit) / _unit("energy", to)


def temperature(reading: Number, unit: str, to: str) -> Fraction:
    """Return a temperature in the unit ``to``: 0 °C is 273.15 K.

    Raises CodeError for an unknown unit.
    """
    return Fraction(reading) - _unit("temperature", unit) + _unit("temperature", to)
