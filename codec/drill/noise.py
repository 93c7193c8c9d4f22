"""The noise of a hearing drill: quiet, a named grade, or a signal-to-noise ratio in decibels; each
has one name.
"""

from __future__ import annotations

from codec.drill.answer import DrillError
from grammar.data import table
from grammar.errors import CodeError
from grammar.sound import grades, temperature

QUIET = "quiet"
FLASHED = "flashed"  # the noise of a report that was shown word by word: nothing was heard


def known() -> list[str]:
    """Return the names of noises, from none to the harshest."""
    return [QUIET, *grades()]


def decibels(noise: str) -> float | None:
    """Return the signal-to-noise ratio of a named noise or of a number given as text, None for
    quiet.

    Raises DrillError (kind ``unknown-grade``) for anything else.
    """
    if noise == QUIET:
        return None
    named = table("articulation")["grade"].get(noise)
    try:
        ratio = float(named["signal_to_noise"] if named else noise)
        temperature(ratio)
    except CodeError as error:
        raise DrillError(
            error.message, kind=error.kind, expected=error.expected, hint=error.hint
        ) from None
    except ValueError:
        hint = "a ratio of speech to noise in decibels is taken too"
        raise DrillError(
            f"unknown grade of noise {noise[:40]!r}",
            kind="unknown-grade",
            expected=known(),
            hint=hint,
        ) from None
    return ratio


def named(noise: str) -> str:
    """Return the one name of a noise, so that ``6``, ``6.0`` and ``+6`` are the same; raises
    DrillError for what is none.
    """
    ratio = decibels(noise)
    return noise if noise in known() else f"{ratio:g}"


def among(noise: str, heard: set[str]) -> str:
    """Return the name of a noise at which something was heard; raises DrillError for any other,
    with those there are.
    """
    name = named(noise)
    there = sorted({named(one) for one in heard - {"", FLASHED}})
    if name not in there:
        raise DrillError(
            f"nothing was heard at noise {name!r}",
            kind="drill-empty",
            expected=there or ["no noise: nothing was heard yet"],
        )
    return name
