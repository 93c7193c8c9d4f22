"""What is known of a quantity and of its trend: a Kalman filter that knows the rounding of the
code, and that does not believe what it was told of its own noise.

The state is (level, slope, bend, last): a lap adds the slope to the level and the bend to the
slope. What it took off the slope by chance is ``last``, of which the next lap may take a share
again. The state is normal, or a mixture of normals. A report says that the level lies in an
interval: the values that the code rounds to what was said, without end on one side at an open end.
The state is conditioned on that by matching moments: the level given the interval is a normal
distribution cut to it, and the Kalman gain carries its mean and variance over to the rest. For
steps that are small against what is uncertain this is the Kalman filter with the variance of the
rounding, step²/12, as noise.

Nobody knows the noise beforehand: how much single laps scatter and how much the slope drifts, as
multiples of what was stated, whether the slope bends, and whether laps go together (a rhythm: an
autoregressive noise, whose last value is part of the state) are a table of ``Cases``, each with its
own normals, weighed by how well it foretold the reports. Single laps have heavy tails: a lap may be
odd, that is scatter several times as much, and how often laps are is learned (the probability of
the next is that of a beta distribution, given how many were). The case itself may change: with each
lap a little of the weight goes back to what was held likely at first, and a slope that did not bend
may begin to.

A report may be wrong. Each is taken both ways, as right (then it conditions the state) and as wrong
(then it tells nothing), and each way keeps its weight, so that later reports can still tell which
it was. So is a lap on which something happened that no trend tells: without that way, a filter that
is sure of itself would hold every report behind such a lap for wrong. Only the likeliest ways of
each case are kept; an odd lap and an ordinary one are merged into one way once their reports are
taken.

Sources: R. E. Kalman 1960; H. W. Sorenson, D. L. Alspach 1971 (Gaussian sums); R. E. Curry 1970
(quantised measurements); D. T. Magill 1965 (a table of filters for unknown noise); H. A. P. Blom,
Y. Bar-Shalom 1988 (merging).
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from codec.race.truncated_normal import normal_cdfs, truncated

if TYPE_CHECKING:
    import numpy as np

    from codec.race.truncated_normal import Array

_STATE = 4  # level, slope, bend, last
MOST_WAYS = 5  # of one case and one branch
_BRANCHES = 4  # courses of a slope that was to change, and none before it was
MOST_MARKS = 63  # reports, the last ones, of which it can still be told whether they were wrong
_LEAST_SHARE = 3e-4
_LEAST_JUMP = 1e-3
_LEAST_LOG = (
    -200.0
)  # a way is never held for less likely against the likeliest, so that it can come back
_ROOT_TWO_PI = math.sqrt(2 * math.pi)
_LEAST_VARIANCE = 1e-12
_LEAST_MISSING = 1e-4
FORGOTTEN = 0.003  # of what was learned about the noise, with each lap
ODD_LAPS = 20.0  # what is held beforehand about odd laps counts as much as so many laps seen


class Case(NamedTuple):
    """What the noise may be like: how likely, against the others; how many times as much single
    laps scatter and the slope drifts; the bend and its deviation; by how much the slope at the
    start may differ from that of the other cases, and the deviation of that; and the share of what
    a lap took off the slope that the next one takes too, below 0 the other way.
    """

    weight: float
    scatter: float = 1.0
    drift: float = 1.0
    bend: float = 0.0
    bend_deviation: float = 0.0
    begins: float = 0.0
    begins_deviation: float = 0.0
    rhythm: float = 0.0


@dataclass(frozen=True, eq=False)
class Cases:
    """All that the noise may be like: see ``Case``, of whose deviations these are the variances;
    the weights sum to 1. ``bending`` is the place of the case that one changes to when its slope
    begins to bend: the last one that scatters as much, −1 if there is none.
    """

    weight: Array
    scatter: Array
    drift: Array
    bend: Array
    bend_variance: Array
    begins: Array
    begins_variance: Array
    rhythm: Array
    bending: np.ndarray

    @classmethod
    def of(cls, cases: Iterable[Case]) -> Cases:
        """Return them."""
        import numpy as np

        columns = np.array(list(cases), dtype=float).T
        weight, scatter, drift, bend, deviation, begins, apart, rhythm = columns
        bends = {scatter[place]: place for place in np.flatnonzero(deviation)}
        bending = [-1 if deviation[n] else bends.get(scatter[n], -1) for n in range(len(bend))]
        return cls(
            weight / weight.sum(),
            scatter,
            drift,
            bend,
            deviation**2,
            begins,
            apart**2,
            rhythm,
            np.array(bending),
        )

    @classmethod
    @functools.cache
    def one(cls) -> Cases:
        """Return the one case that everything is as stated."""
        return cls.of([Case(1.0)])

    def taken_again(self, laps: float) -> Array:
        """Return, for each case, what the next laps take of what the last one took off the slope,
        together, as many times as that.
        """
        import numpy as np

        share = np.abs(self.rhythm) ** laps
        share *= np.where(self.rhythm < 0, math.cos(math.pi * laps), 1.0)
        taken: Array = self.rhythm * (1 - share) / (1 - self.rhythm)
        return taken

    def noise(self, laps: float) -> Array:
        """Return, for each case, the variance that the noise of the next laps brings, as many times
        as that of a single lap: the sum of an autoregressive noise whose last value is known.
        """
        import numpy as np

        squared = self.rhythm * self.rhythm
        both = squared * (1 - squared**laps) / (1 - squared)
        grown = laps - 2 * self.taken_again(laps) + both
        grown *= (1 + self.rhythm) / (1 - self.rhythm)
        noise: Array = np.maximum(grown, 0.0)
        return noise


@dataclass(frozen=True, slots=True)
class Transition:
    """What one lap does: the level gains ``offset`` and ``gain`` times the slope, the slope keeps
    the share ``settles``.

    Both gain variance, as many times as a case says; ``known_variance`` comes to the level in any
    case. With the probability ``odd`` the lap is odd: ``level_variance`` is ``odd_factor`` times as
    much. With the probability ``bends`` a slope that did not bend begins to. With the probability
    ``jump`` something happened that no trend tells: then the level gains ``jump_level``, the slope
    ``jump_slope`` of variance more.
    """

    offset: float = 0.0
    gain: float = 1.0
    settles: float = 1.0
    level_variance: float = 0.0
    slope_variance: float = 0.0
    known_variance: float = 0.0
    jump: float = 0.0
    jump_level: float = 0.0
    jump_slope: float = 0.0
    odd: float = 0.0
    odd_factor: float = 1.0
    bends: float = 0.0


class Observation(NamedTuple):
    """What a report says: the level lies in ``low`` … ``high``; ``chance`` is the probability that
    a wrong report says just this.
    """

    low: float
    high: float
    chance: float


class Component(NamedTuple):
    """One normal of the mixture: its weight, the means of level and slope, their variances and
    covariance.
    """

    weight: float
    level: float
    slope: float
    level_variance: float
    covariance: float
    slope_variance: float


class Distribution:
    """The distribution of one quantity: a mixture of normals."""

    __slots__ = ("deviations", "means", "weights")

    def __init__(self, weights: Array, means: Array, variances: Array) -> None:
        """Keep the parts, whose weights sum to 1."""
        import numpy as np

        self.weights, self.means = weights, means
        self.deviations: Array = np.sqrt(np.maximum(variances, _LEAST_VARIANCE))

    @classmethod
    def of(cls, parts: Iterable[tuple[float, float, float]]) -> Distribution:
        """Return the mixture of some (weight, mean, variance)."""
        import numpy as np

        weights, means, variances = np.array(list(parts), dtype=float).T
        return cls(weights, means, variances)

    @classmethod
    def mixed(cls, parts: Sequence[tuple[float, Distribution]]) -> Distribution:
        """Return the mixture of some distributions, each with its probability."""
        import numpy as np

        return cls(
            np.concatenate([share * of.weights for share, of in parts]),
            np.concatenate([of.means for _, of in parts]),
            np.concatenate([of.deviations for _, of in parts]) ** 2,
        )

    @property
    def mean(self) -> float:
        """The mean."""
        return float(self.weights @ self.means)

    @property
    def deviation(self) -> float:
        """The standard deviation."""
        return math.sqrt(self.weights @ (self.deviations**2 + (self.means - self.mean) ** 2))

    def below(self, x: float) -> float:
        """Return the probability of less than ``x``."""
        return float(self.weights @ normal_cdfs((x - self.means) / self.deviations))

    def shifted(self, by: float) -> Distribution:
        """Return the distribution of ``by`` more."""
        return Distribution(self.weights, self.means + by, self.deviations**2)

    def mirrored(self, about: float) -> Distribution:
        """Return the distribution of what is left of ``about``."""
        return Distribution(self.weights, about - self.means, self.deviations**2)

    def shared(self, laps: float) -> Distribution:
        """Return the distribution of the share of each of so many laps."""
        return Distribution(self.weights, self.means / laps, (self.deviations / laps) ** 2)

    def density(self, x: float) -> float:
        """Return the density at ``x``."""
        import numpy as np

        away = (x - self.means) / self.deviations
        return float(self.weights @ (np.exp(-away * away / 2) / self.deviations)) / _ROOT_TWO_PI

    def quantile(self, share: float) -> float:
        """Return the value below which ``share`` of the probability lies: Newton's method, in
        brackets.
        """
        low = float((self.means - 9 * self.deviations).min()) - 1e-9
        high = float((self.means + 9 * self.deviations).max()) + 1e-9
        x = self.mean
        for _ in range(100):
            off = self.below(x) - share
            low, high = (x, high) if off < 0 else (low, x)
            if abs(off) < 1e-10 or high - low < 1e-12 * (1 + abs(x)):
                break
            density = self.density(x)
            x = x - off / density if density > 0 else low
            if not low < x < high:
                x = (low + high) / 2
        return x

    def band(self, share: float = 0.8) -> tuple[float, float]:
        """Return the band that holds ``share`` of the probability, as much of the rest on either
        side.
        """
        return self.quantile((1 - share) / 2), self.quantile((1 + share) / 2)


@dataclass(frozen=True, slots=True)
class TrendOutcome:
    """What may become of a trend that is to change: ``share`` of slope and bend stays, ``variance``
    comes to the slope; ``width`` times what it is off comes as a deviation more. ``weight`` counts
    beforehand like so many times that it was seen.
    """

    weight: float
    share: float
    variance: float = 0.0
    width: float = 0.0


class GaussianMixture:
    """What is known of level, slope and bend: a mixture of normals whose weights sum to 1.

    Ways stand along the first axis; along the second the kinds of the last lap, ordinary and odd.
    Nothing changes: each step returns a new one.
    """

    __slots__ = (
        "_last",
        "branch",
        "case",
        "cases",
        "covariance",
        "laps",
        "marks",
        "mean",
        "odd",
        "past",
        "weight",
        "wrong",
    )

    _last: tuple[float, float, tuple[Array, Array, Array]] | None

    cases: Cases
    weight: Array
    mean: Array
    covariance: Array
    case: np.ndarray  # of each way, its place in the cases
    branch: np.ndarray  # the course the slope took when it was to change last, -1 before
    past: Array  # how often it took each course before
    odd: Array  # how many laps were odd
    laps: float
    wrong: np.ndarray  # bit n is set where the report of mark n from the end is taken for wrong
    marks: tuple[int, ...]

    def __init__(self) -> None:
        """Make one of which nothing is known yet; see ``start``."""
        self._last = None

    @classmethod
    def start(
        cls,
        level: float,
        slope: float,
        level_deviation: float,
        slope_deviation: float,
        cases: Cases | None = None,
        lap_deviation: float = 0.0,
    ) -> GaussianMixture:
        """Return what is known at the start; single laps scatter by ``lap_deviation``, as many
        times as a case says.
        """
        import numpy as np

        made = cls()
        made.cases = cases or Cases.one()
        count = len(made.cases.weight)
        made.weight = made.cases.weight[:, None].copy()
        made.mean = np.zeros((count, 1, _STATE))
        made.mean[..., 0], made.mean[:, 0, 1] = level, slope + made.cases.begins
        made.covariance = np.zeros((count, 1, _STATE, _STATE))
        made.covariance[..., 0, 0] = level_deviation**2
        made.covariance[:, 0, 1, 1] = slope_deviation**2 + made.cases.begins_variance
        made.mean[:, 0, 2], made.covariance[:, 0, 2, 2] = made.cases.bend, made.cases.bend_variance
        made.covariance[:, 0, 3, 3] = (lap_deviation * made.cases.scatter) ** 2
        made.case, made.branch = np.arange(count), np.full(count, -1)
        made.past, made.odd, made.laps = np.zeros((count, 3)), np.zeros(count), 0.0
        made.wrong, made.marks = np.zeros(count, np.uint64), ()
        return made

    def _with(self, **changes: object) -> GaussianMixture:
        made = GaussianMixture()
        for name in _KEPT:
            setattr(made, name, changes[name] if name in changes else getattr(self, name))
        return made

    def _taken(self, which: np.ndarray, **changes: object) -> GaussianMixture:
        """Return the ways at these places, with other weights and moments."""
        for name in _OF_A_WAY:
            if name not in changes:
                changes[name] = getattr(self, name)[which]
        return self._with(**changes)

    def advance(self, move: Transition) -> GaussianMixture:
        """Return what is known a lap later."""
        import numpy as np

        state = self.settled()
        if move.bends:
            state = state._bent(move.bends)
        mean, covariance = state.mean.copy(), state.covariance.copy()
        rhythm = state.cases.rhythm[state.case]
        _move(mean, move, rhythm[:, None])
        mean[..., 0] += move.offset
        _move(covariance, move, rhythm[:, None, None])
        _move(covariance.swapaxes(-1, -2), move, rhythm[:, None, None])
        level = move.level_variance * state.cases.scatter[state.case] ** 2
        new = level * (1 - rhythm * rhythm)
        covariance[:, 0, ::3, ::3] += new[:, None, None]
        covariance[:, 0, 0, 0] += move.known_variance
        covariance[:, 0, 1, 1] += move.slope_variance * state.cases.drift[state.case] ** 2
        weight = state.weight
        if move.odd:
            chance = state.odd_chance(move.odd)
            weight = np.concatenate([weight * (1 - chance)[:, None], weight * chance[:, None]], 1)
            mean, covariance = np.repeat(mean, 2, axis=1), np.repeat(covariance, 2, axis=1)
            covariance[:, 1, 0, 0] += level * (move.odd_factor - 1)
        moved = state._with(weight=weight, mean=mean, covariance=covariance, laps=state.laps + 1)
        if not move.jump:
            return moved
        total = weight.sum(axis=1)
        may = total > _LEAST_JUMP * total.max()  # another would not be kept
        jumps = np.flatnonzero(may)
        jumped = covariance[jumps]
        jumped[..., 0, 0] += move.jump_level
        jumped[..., 1, 1] += move.jump_slope
        stays = np.where(may, 1 - move.jump, 1.0)[:, None]
        return moved._taken(
            np.concatenate([np.arange(len(weight)), jumps]),
            weight=np.concatenate([weight * stays, weight[jumps] * move.jump]),
            mean=np.concatenate([mean, mean[jumps]]),
            covariance=np.concatenate([covariance, jumped]),
        )

    def _bent(self, chance: float) -> GaussianMixture:
        """Return what is known where with this probability the slope begins to bend: for each case
        that bends, and each branch, the likeliest way stands for all that come to it.
        """
        import numpy as np

        target, weight = self.cases.bending[self.case], self.weight[:, 0]
        ranked = np.argsort(-weight, kind="stable")
        ranked = ranked[target[ranked] >= 0]
        group = self._group(target)[ranked]
        total = np.bincount(group, weight[ranked])
        groups, first = np.unique(group, return_index=True)
        chosen = ranked[first]
        which = np.concatenate([np.arange(len(weight)), chosen])
        mean, covariance = self.mean[which], self.covariance[which]
        mean[len(weight) :, :, 2] += self.cases.bend[target[chosen], None]
        covariance[len(weight) :, :, 2, 2] += self.cases.bend_variance[target[chosen], None]
        shares = np.where(target >= 0, 1 - chance, 1.0)
        return self._taken(
            which,
            weight=np.concatenate([weight * shares, chance * total[groups]])[:, None],
            mean=mean,
            covariance=covariance,
            case=np.concatenate([self.case, target[chosen]]),
        )

    def _group(self, case: np.ndarray) -> np.ndarray:
        """Return a number for each way: of its branch of a case."""
        group: np.ndarray = case * _BRANCHES + self.branch + 1
        return group

    def odd_chance(self, beforehand: float) -> Array:
        """Return the probability of each way that the next lap is odd."""
        return (beforehand * ODD_LAPS + self.odd) / (ODD_LAPS + self.laps)

    def settled(self) -> GaussianMixture:
        """Return it with the kinds of the last lap merged, and only the likeliest ways."""
        state = self
        if self.weight.shape[1] > 1:
            weight = self.weight.sum(axis=1, keepdims=True)
            share = self.weight / weight
            mean = (share[..., None] * self.mean).sum(axis=1, keepdims=True)
            away = self.mean - mean
            spread = self.covariance + away[..., :, None] * away[..., None, :]
            covariance = (share[..., None, None] * spread).sum(axis=1, keepdims=True)
            state = self._with(
                weight=weight, mean=mean, covariance=covariance, odd=self.odd + share[:, 1]
            )
        kept = state._taken(state._likeliest())
        kept.weight = kept._remembered()  # nobody else has it yet
        return kept

    def _likeliest(self) -> np.ndarray:
        """Return the places of the ways to keep: the likeliest of each branch of each case."""
        import numpy as np

        weight, group = self.weight[:, 0], self._group(self.case)
        if (group == group[0]).all():
            first = np.argsort(-weight, kind="stable")[:MOST_WAYS]
            alone: np.ndarray = first[weight[first] > _LEAST_SHARE * weight.max()]
            return alone
        order = np.lexsort((-weight, group))
        sorted_group = group[order]
        first = np.ones(len(order), bool)
        np.not_equal(sorted_group[1:], sorted_group[:-1], out=first[1:])
        rank = np.arange(len(order)) - np.flatnonzero(first)[np.cumsum(first) - 1]
        best = np.zeros(len(self.cases.weight))
        np.maximum.at(best, self.case, weight)
        likely = weight[order] > _LEAST_SHARE * weight.max()
        likely |= weight[order] >= best[self.case[order]]
        kept: np.ndarray = order[(rank < MOST_WAYS) & likely]
        return kept

    def _remembered(self) -> Array:
        """Return the weights, summing to 1, with a little given back to each case."""
        import numpy as np

        weight: Array = self.weight / self.weight.sum()
        if len(self.cases.weight) == 1:
            return weight
        of_case = np.bincount(self.case, weight[:, 0], len(self.cases.weight))
        kept = (1 - FORGOTTEN) * of_case + FORGOTTEN * self.cases.weight
        again: Array = weight * kept[self.case][:, None] / of_case[self.case][:, None]
        return again

    def _conditioned(self, low: float, high: float) -> tuple[Array, Array, Array]:
        """Return the logarithms of the interval's probabilities, and the moments given that the
        level lies in it.
        """
        import numpy as np

        if self._last is not None and self._last[:2] == (low, high):
            return self._last[2]
        level = self.mean[..., 0]
        variance = np.maximum(self.covariance[..., 0, 0], _LEAST_VARIANCE)
        part = truncated(level, variance, low, high)
        carried = self.covariance[..., 0] / variance[..., None]
        mean = self.mean + carried * (part.mean - level)[..., None]
        shrunk = (variance - part.variance)[..., None, None]
        covariance = self.covariance - carried[..., :, None] * carried[..., None, :] * shrunk
        covariance[..., 0, 0] = part.variance
        found = part.log_mass, mean, covariance
        self._last = low, high, found  # whether a report is right is asked before it is taken
        return found

    def observe(
        self, low: float, high: float, *, wrong: float = 0.0, chance: float = 1.0, mark: int = 0
    ) -> GaussianMixture:
        """Return what is known after a report that the level lies in ``low`` … ``high``.

        ``wrong`` is the probability that the report is wrong, ``chance`` that a wrong report says
        just this; ``mark`` names the report for ``doubt``.
        """
        import numpy as np

        log_mass, mean, covariance = self._conditioned(low, high)
        before = np.log(self.weight)
        right = before + log_mass + math.log1p(-wrong) if wrong < 1 else before - math.inf
        if wrong <= 0:
            return self._with(weight=_shares(right), mean=mean, covariance=covariance)
        logs = np.concatenate([right, before + math.log(wrong * chance)])
        marks, bits = self._marked(mark)
        return self._taken(
            np.tile(np.arange(len(before)), 2),
            weight=_shares(logs),
            mean=np.concatenate([mean, self.mean]),
            covariance=np.concatenate([covariance, self.covariance]),
            wrong=np.concatenate([bits, bits | np.uint64(1)]),
        )._with(marks=marks)

    def _marked(self, mark: int) -> tuple[tuple[int, ...], np.ndarray]:
        """Return the marks with a new one, and the bits moved on for it."""
        import numpy as np

        if self.marks and self.marks[0] == mark:
            return self.marks, self.wrong
        return (mark, *self.marks[: MOST_MARKS - 1]), self.wrong << np.uint64(1)

    def doubt(self, mark: int) -> float:
        """Return the probability that the report marked so was wrong, by all that is known now; 0
        of a report so long ago that nobody can tell.
        """
        import numpy as np

        if mark not in self.marks:
            return 0.0
        bit = np.uint64(1) << np.uint64(self.marks.index(mark))
        return float(self.weight[(self.wrong & bit) != 0].sum())

    def report(
        self, observations: Iterable[Observation], *, wrong: float, mark: int
    ) -> GaussianMixture:
        """Return what is known after a report."""
        state = self
        for low, high, chance in observations:
            state = state.observe(low, high, wrong=wrong, chance=chance, mark=mark)
        return state

    def truth_of(self, observations: Iterable[Observation], *, wrong: float) -> float:
        """Return the probability that a report is right, given all before it: of the least likely
        of its observations, 1 if there are none.
        """
        return min(
            (
                self.truth(low, high, wrong=wrong, chance=chance)
                for low, high, chance in observations
            ),
            default=1.0,
        )

    def chance(self, low: float, high: float) -> float:
        """Return the probability that the level lies between two."""
        import numpy as np

        log_mass, *_ = self._conditioned(low, high)
        return float((self.weight * np.exp(log_mass)).sum())

    def truth(self, low: float, high: float, *, wrong: float, chance: float) -> float:
        """Return the probability that a report is right, given all before it."""
        right = self.chance(low, high)
        return (1 - wrong) * right / ((1 - wrong) * right + wrong * chance) if wrong > 0 else 1.0

    def at_least(self, low: float) -> GaussianMixture:
        """Return what is known if the level certainly is no less than ``low``."""
        import numpy as np

        missing = np.maximum(low - self.mean[..., 0], 0.0)
        if float((self.weight * missing).sum()) < _LEAST_MISSING:
            return self
        log_mass, mean, covariance = self._conditioned(low, math.inf)
        return self._with(
            weight=_shares(np.log(self.weight) + log_mass), mean=mean, covariance=covariance
        )

    def changed(self, shift: float, courses: Sequence[TrendOutcome]) -> GaussianMixture:
        """Return what is known when the trend is to change: the slope is ``shift`` more against
        what it is counted from now on, and takes one of three courses.

        The probability of each is that of a Dirichlet distribution, given those taken before.
        """
        import numpy as np

        state = self.settled()
        taken = state.branch >= 0
        past = state.past.copy()
        past[np.flatnonzero(taken), state.branch[taken]] += 1
        counts = past + np.array([course.weight for course in courses])
        chances = counts / counts.sum(axis=1, keepdims=True)
        mean, covariance = state.mean.copy(), state.covariance
        mean[..., 1] += shift
        made = []
        for number, course in enumerate(courses):
            matrix = np.diag([1.0, course.share, course.share, 1.0])
            after = matrix @ covariance @ matrix
            off = mean[..., 1] ** 2 + covariance[..., 1, 1]
            after[..., 1, 1] += course.variance + course.width**2 * off
            made.append((state.weight * chances[:, number, None], mean @ matrix, after))
        weight, mean, covariance = (np.concatenate(parts) for parts in zip(*made, strict=True))
        count, ways = len(state.weight), len(courses)
        changed = state._taken(
            np.tile(np.arange(count), ways),
            weight=weight,
            mean=mean,
            covariance=covariance,
            branch=np.repeat(np.arange(ways), count),
            past=np.tile(past, (ways, 1)),
        )
        return changed.settled()

    def branches(self) -> tuple[float, float, float]:
        """Return the probability of each course of the last change; all 0 before the first."""
        first, second, third = (
            float(self.weight[self.branch == number].sum()) for number in range(3)
        )
        return first, second, third

    def on_course(self, number: int) -> GaussianMixture | None:
        """Return what is known if the trend took this course at its last change, None where it is
        certain that it did not.
        """
        import numpy as np

        which = np.flatnonzero(self.branch == number)
        if not len(which):
            return None
        taken = self._taken(which)
        taken.weight = taken.weight / taken.weight.sum()
        return taken

    def level(self) -> Distribution:
        """Return the distribution of the level."""
        return self._of(self.mean[..., 0], self.covariance[..., 0, 0])

    def slope(self) -> Distribution:
        """Return the distribution of the slope."""
        return self._of(self.mean[..., 1], self.covariance[..., 1, 1])

    def bend(self) -> Distribution:
        """Return the distribution of the bend."""
        return self._of(self.mean[..., 2], self.covariance[..., 2, 2])

    def after(self, laps: float, noise: Array) -> Distribution:
        """Return the distribution of the level ``laps`` laps on, but for offsets: each lap adds the
        slope to the level and the bend to the slope; ``noise`` is the variance that comes to each
        way.
        """
        return self._on(laps, max(laps * (laps - 1) / 2, 0.0), self.cases.taken_again(laps), noise)

    def held(self, laps: float, noise: Array) -> Distribution:
        """Return the same where the laps take what is offset, whatever the slope was."""
        return self._on(0.0, 0.0, self.cases.taken_again(laps), noise)

    def _on(self, slopes: float, bends: float, again: Array, noise: Array) -> Distribution:
        """Return the distribution of the level and so many slopes, bends, and shares of what the
        last lap took off the slope, by case.
        """
        import numpy as np

        steps = np.empty((len(self.weight), 1, _STATE))
        steps[..., :3] = 1.0, slopes, bends
        steps[..., 3] = again[self.case, None]
        means = (self.mean * steps).sum(axis=-1)
        spread = (self.covariance * steps[..., None, :]).sum(axis=-1)
        return self._of(means, (spread * steps).sum(axis=-1) + noise[:, None])

    def _of(self, means: Array, variances: Array) -> Distribution:
        return Distribution(self.weight.ravel(), means.ravel(), variances.ravel())

    @property
    def components(self) -> list[Component]:
        """The normals of level and slope, the likeliest first."""
        return sorted(
            Component(w, m[0], m[1], p[0][0], p[0][1], p[1][1])
            for w, m, p in zip(
                self.weight.ravel().tolist(),
                self.mean.reshape(-1, _STATE).tolist(),
                self.covariance.reshape(-1, _STATE, _STATE).tolist(),
                strict=True,
            )
        )[::-1]

    def case_weights(self) -> Array:
        """Return the probability of each case, by all that is known now."""
        import numpy as np

        weights: Array = np.bincount(
            self.case, self.weight.sum(axis=1), len(self.cases.weight)
        ).astype(float)
        return weights


_OF_A_WAY = ("weight", "mean", "covariance", "case", "branch", "past", "odd", "wrong")
_KEPT = (*_OF_A_WAY, "cases", "laps", "marks")  # from one step to the next


def _move(state: Array, move: Transition, rhythm: Array) -> None:
    """Move states, along the last axis, a lap on: with the slope, the bend, and the share of what
    the last lap took off the slope that this one takes again.
    """
    state[..., 0] += move.gain * state[..., 1]
    state[..., 1] *= move.settles
    state[..., 1] += state[..., 2]
    state[..., 3] *= rhythm
    state[..., 0] += state[..., 3]


def _shares(logs: Array) -> Array:
    """Return weights that sum to 1 from logarithms; none is 0, so that each can come back."""
    import numpy as np

    weights: Array = np.exp(np.maximum(logs - logs.max(), _LEAST_LOG))
    weights /= weights.sum()
    return weights
