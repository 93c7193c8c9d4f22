"""How long somebody must see a string to read nine in ten right: a Bayesian adaptive method.

After each flash the posterior over all that is not known is brought up to date, and the next
exposure is the one after whose answer the exposure sought is expected to be known best: QUEST+ (A.
B. Watson, Journal of Vision 17(3):10, 2017) with the steepness and the slips as nuisances (the psi-
marginal method: N. Prins, Journal of Vision 13(7):3, 2013, after L. L. Kontsevich and C. W. Tyler,
Vision Research 39, 1999). The chance of a right answer grows with the exposure as W. Weibull's or
as M. Fréchet's distribution does: which of them is a nuisance too.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from codec.drill.answer import Answer, Kind
from grammar.libraries import needed

if TYPE_CHECKING:
    import numpy as np

SHARE = 0.9  # of strings read right at the exposure sought
SHORTEST, LONGEST = 0.2, 1.5  # seconds that are flashed
EXPOSURES: tuple[float, ...] = tuple(
    round(SHORTEST * (LONGEST / SHORTEST) ** (step / 24), 3) for step in range(25)
)
MOST = 200  # answers, the last ones, that are taken for how it is now
_LOWEST, _HIGHEST, _STEPS = 0.03, 10.0, 60  # seconds sought, and how many are told apart
_STEEP = (0.8, 1.2, 1.8, 2.7, 4.0, 6.0)
_SLIPS = (0.0, 0.02, 0.05)  # share read wrong however long it is shown
_FORMS = (0, 1)  # Weibull's distribution, Fréchet's
_TAIL = 0.025


@dataclass(frozen=True, slots=True)
class Exposure:
    """The exposure at which ``SHARE`` are read right, in seconds, with its interval at 95 %, and
    the answers it is taken from.

    ``beyond`` tells where it lies: "" among what is flashed, else "below" or "above" it.
    """

    seconds: float
    low: float
    high: float
    answers: int

    @property
    def beyond(self) -> str:
        """Where it lies outside what is flashed."""
        return "below" if self.seconds < SHORTEST else "above" if self.seconds > LONGEST else ""

    def metres(self, kmh: float) -> float:
        """Return how far a car goes in this time."""
        return metres(self.seconds, kmh)

    def as_dict(self) -> dict[str, Any]:
        """Return the facts for JSON."""
        told = {"seconds": self.seconds, "low": self.low, "high": self.high}
        return {name: round(one, 3) for name, one in told.items()} | {
            "answers": self.answers,
            "beyond": self.beyond,
        }


def metres(seconds: float, kmh: float) -> float:
    """Return how many metres a car goes in a time: 0.7 s at 250 km/h is 49 m."""
    return seconds * kmh / 3.6


@functools.cache
def _grid() -> tuple[Any, Any]:
    """Return the exposures sought, and the chance of a right answer to each flash at each point of
    the grid: of exposure sought, steepness, slips and form.
    """
    numpy = needed("numpy", "drill")
    sought = numpy.geomspace(_LOWEST, _HIGHEST, _STEPS)
    points = numpy.array(list(itertools.product(sought, _STEEP, _SLIPS, _FORMS)))
    at, steep, slips, form = points.T
    share = SHARE / (1 - slips)  # of those who do not slip
    shown = numpy.array(EXPOSURES)[:, None] / at
    weibull = 1 - (1 - share) ** (shown**steep)
    frechet = share ** (shown**-steep)
    return sought, (1 - slips) * numpy.where(form, frechet, weibull)


class Staircase:
    """The posterior of one person for one kind of item."""

    def __init__(self) -> None:
        """Begin knowing nothing but that some tenths of a second are likelier than none or many."""
        self.numpy = needed("numpy", "drill")
        self.sought, self.chances = _grid()
        each = self.numpy.exp(-0.5 * (self.numpy.log(self.sought / 0.7) / 1.2) ** 2)
        spread = self.numpy.repeat(each, self.chances.shape[1] // _STEPS)
        self.posterior: np.ndarray = spread / spread.sum()
        self.answers = 0

    @classmethod
    def of(cls, answers: Iterable[Answer], kind: Kind) -> Staircase:
        """Return it after a person's answers to items of a kind that were flashed to measure."""
        found = cls()
        kept = [one for one in answers if one.measured and one.exposure and one.kind == kind]
        for answer in kept[-MOST:]:
            found.note(answer.exposure or 0.0, right=answer.right)
        return found

    def note(self, exposure: float, *, right: bool) -> None:
        """Take in an answer to a flash of some seconds."""
        place = min(range(len(EXPOSURES)), key=lambda n: abs(math.log(EXPOSURES[n] / exposure)))
        chances = self.chances[place]
        posterior = self.posterior * (chances if right else 1 - chances)
        self.posterior, self.answers = posterior / posterior.sum(), self.answers + 1

    def _entropy(self, posterior: np.ndarray) -> np.ndarray:
        """Return the entropy, in nats, of what is sought; the nuisances are summed out."""
        margin = posterior.reshape(*posterior.shape[:-1], _STEPS, -1).sum(axis=-1)
        found: np.ndarray = -(margin * self.numpy.log(margin + 1e-300)).sum(axis=-1)
        return found

    def expected_entropies(self) -> np.ndarray:
        """Return for each exposure the entropy that is expected after its answer."""
        joint = self.posterior * self.chances
        right = joint.sum(axis=1, keepdims=True)
        other = self.posterior - joint
        wrong = other.sum(axis=1, keepdims=True)
        found: np.ndarray = right[:, 0] * self._entropy(joint / right)
        found += wrong[:, 0] * self._entropy(other / wrong)
        return found

    def next(self) -> float:
        """Return the exposure to flash next, in seconds."""
        place: int = int(self.numpy.argmin(self.expected_entropies()))
        return EXPOSURES[place]

    def found(self) -> Exposure | None:
        """Return what is known of the exposure sought; None before any answer."""
        if not self.answers:
            return None
        margin = self.posterior.reshape(_STEPS, -1).sum(axis=-1)
        below = self.numpy.cumsum(margin) - margin / 2
        low, middle, high = self.numpy.exp(
            self.numpy.interp([_TAIL, 0.5, 1 - _TAIL], below, self.numpy.log(self.sought))
        )
        return Exposure(float(middle), float(low), float(high), self.answers)


def exposures(answers: Sequence[Answer]) -> dict[Kind, Exposure]:
    """Return the exposure of each kind of item that was measured, of one person's answers."""
    kinds = dict.fromkeys(one.kind for one in answers if one.measured and one.exposure)
    found = {kind: Staircase.of(answers, kind).found() for kind in kinds}
    return {kind: one for kind, one in found.items() if one is not None}
