"""What does not fit in a part of a document: each misfit with the key it is about, and all of a
part at once.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from pydantic import ValidationError
from pydantic_core import InitErrorDetails, PydanticCustomError

MISFIT = "misfit"  # the kind of fault that a misfit becomes among those of pydantic's own


class Misfit(NamedTuple):
    """One thing that does not fit: the keys that lead to it below the part, what is wrong, and what
    to do.
    """

    where: tuple[str | int, ...]
    message: str
    hint: str = ""


def fault(message: str, hint: str = "") -> PydanticCustomError:
    """Return the error that a validator of one value raises; the key is that of the value."""
    return PydanticCustomError(MISFIT, "{message}", {"message": message, "hint": hint})


def refuse(part: str, misfits: Iterable[Misfit]) -> None:
    """Raise pydantic's ValidationError with every misfit at its key; do nothing where all fits.

    For validators of the models.
    """
    faults = [
        InitErrorDetails(type=fault(misfit.message, misfit.hint), loc=misfit.where, input=None)
        for misfit in misfits
    ]
    if faults:
        raise ValidationError.from_exception_data(part, faults)
