"""Weights that make a weighted sum blind: modulo m, a weight of 0 covers nothing, and one that
shares a factor with m only part.
"""

from __future__ import annotations

import math

from grammar.codes.check import Check
from grammar.codes.checks import Weighted

_SHOWN = 8  # of the weights that would do


def idle(check: Check) -> list[int]:
    """Return the weights of a check that are 0 modulo its modulus, so that symbols in their places
    may be anything.
    """
    method = check.method
    return (
        [weight for weight in dict.fromkeys(method.weights) if weight % method.modulus == 0]
        if isinstance(method, Weighted)
        else []
    )


def warned(check: Check, length: int) -> list[str]:
    """Return what to tell about the weights that a check over so many symbols uses.

    A change of a symbol by d goes unnoticed where weight · d is 0 modulo m: for every d where the
    weight is 0, for multiples of m / g where it has the greatest common divisor g > 1 with m, for
    none of the m values where g is 1.
    """
    method = check.method
    if not isinstance(method, Weighted):
        return []
    modulus = method.modulus
    used = list(dict.fromkeys(method.weights[:length]))
    nothing = [weight for weight in used if weight % modulus == 0]
    partly = [weight for weight in used if math.gcd(weight, modulus) > 1 and weight not in nothing]
    found = []
    if nothing:
        found.append(
            f"{_named(nothing, 'is', 'are')} 0 modulo {modulus}, which covers nothing: any symbol"
            " in such a place passes"
        )
    if partly:
        found.append(
            f"{_named(partly, 'shares', 'share')} a factor with the modulus {modulus}: some wrong"
            " symbols in such a place pass"
        )
    if found:
        best = [str(weight) for weight in range(1, modulus) if math.gcd(weight, modulus) == 1]
        found[-1] += (
            "; weights that let none pass:"
            f" {', '.join(best[:_SHOWN])}{' …' if len(best) > _SHOWN else ''}"
        )
    return found


def _named(weights: list[int], one: str, several: str) -> str:
    return (
        f"weight{'s' if len(weights) > 1 else ''} {', '.join(map(str, weights))}"
        f" {several if len(weights) > 1 else one}"
    )
