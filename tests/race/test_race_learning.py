"""The forecast learns its own noise, tests targets instead of believing them, and lets what
remains override what it thought.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from functools import cache
from typing import Any

import numpy
import pytest
from filterpy.kalman import IMMEstimator, KalmanFilter
from helpers import book_of
from race.support import CALLS, DELTA, SURE, event, fact, report
from scipy.stats import beta, multivariate_normal, norm

from codec.race import Event, energy, follow, outlook, parse_event
from codec.race.kalman import Case, Cases, GaussianMixture, Transition, TrendOutcome
from codec.race.race import Race
from codec.sheet import Entry


def cumulated(uses: Sequence[float], plan: float = 1.4) -> list[Any]:
    """Return reports of laps that took so much each."""
    used, found = 0.0, []
    for lap, use in enumerate(uses, start=1):
        used += float(use)
        found.append(report(lap, energy=Decimal(repr(round(plan * lap - used, 6)))))
    return found


def followed(event_of: Event, facts: Sequence[Entry], *, history: bool = False) -> Race:
    """Follow a race by its facts, in the order of their numbers."""
    return follow(event_of, sorted(facts, key=lambda one: one.seq), history=history)


def kinds(race: Race) -> list[tuple[str, int]]:
    return [(notice.kind, notice.lap) for notice in race.notices]


# A table of filters


def test_cases_are_weighed_as_by_the_densities_of_their_reports() -> None:
    """Brute force: with steps that are small the reports of each case are jointly normal, and its
    weight is the prior times their density (scipy.stats.multivariate_normal). Forgetting is a
    three-thousandth a lap.
    """
    noise, drift, first, step = 0.03, 0.006, 0.04, 1e-4
    cases = [
        Case(0.4),
        Case(0.2, 2.0),
        Case(0.15, 1.0, 1.0, 0.01, 0.01, -0.02, 0.03),
        Case(0.15, 1.5, rhythm=0.8),
        Case(0.1, rhythm=-0.5),
    ]
    said = [0.05, 0.02, 0.11, 0.13, 0.21]
    state = GaussianMixture.start(0.0, 0.0, 0.0, first, Cases.of(cases), noise)
    for level in said:
        state = state.advance(Transition(level_variance=noise**2, slope_variance=drift**2))
        state = state.observe(level - step / 2, level + step / 2)
    laps = numpy.arange(1, 6)
    weights = []
    for prior, scatter, drifts, bend, apart, begins, about, rhythm in cases:
        adds = numpy.tri(5)  # what each lap's scatter adds to the levels
        walk = numpy.maximum(laps[:, None] - laps[None, :], 0)  # what each lap's drift adds
        together = rhythm ** numpy.abs(laps[:, None] - laps[None, :])
        variance = (noise * scatter) ** 2 * adds @ together @ adds.T
        variance = variance + (drift * drifts) ** 2 * walk @ walk.T
        variance = variance + (first**2 + about**2) * numpy.outer(laps, laps)
        bent = laps * (laps - 1) / 2
        variance = variance + apart**2 * numpy.outer(bent, bent)
        weights.append(prior * multivariate_normal(begins * laps + bend * bent, variance).pdf(said))
    expected = numpy.array(weights) / sum(weights)
    assert state.case_weights() == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize("rhythm", [0.8, -0.5, 0.0])
def test_what_goes_together_is_foretold_as_by_its_covariances(rhythm: float) -> None:
    """Closed form: the level six laps on, given four, of jointly normal laps (the conditional
    normal distribution).
    """
    noise, first, step, known, ahead = 0.03, 0.04, 1e-5, 4, 6
    said = [0.05, 0.02, 0.11, 0.13]
    state = GaussianMixture.start(0.0, 0.0, 0.0, first, Cases.of([Case(1.0, rhythm=rhythm)]), noise)
    for level in said:
        state = state.advance(Transition(level_variance=noise**2))
        state = state.observe(level - step / 2, level + step / 2)
    found = state.after(ahead, noise**2 * state.cases.noise(ahead)[state.case])
    laps = numpy.arange(known + ahead)
    together = rhythm ** numpy.abs(laps[:, None] - laps[None, :])
    adds = numpy.tri(known + ahead)
    variance = adds @ (noise**2 * together + first**2) @ adds.T
    carried = numpy.linalg.solve(variance[:known, :known], variance[:known, -1])
    assert found.mean == pytest.approx(carried @ said, abs=1e-4)
    left = variance[-1, -1] - carried @ variance[:known, -1]
    assert found.deviation == pytest.approx(left**0.5, rel=1e-3)
    for _ in range(ahead):
        state = state.advance(Transition(level_variance=noise**2))
    assert state.level().deviation == pytest.approx(found.deviation)


def test_a_slope_may_begin_to_bend_on_any_lap() -> None:
    """Brute force: for each lap on which it may have begun the reports are jointly normal
    (scipy.stats.multivariate_normal), and that it bends is as likely as the sum of prior times
    density over these laps.
    """
    noise, first, bend, apart, begins, step = 0.03, 0.04, 0.04, 0.03, 0.1, 1e-4
    said = [0.01, 0.03, 0.04, 0.10, 0.20]
    cases = [Case(1 - 1e-9), Case(1e-9, 1.0, 1.0, bend, apart)]
    state = GaussianMixture.start(0.0, 0.0, 0.0, first, Cases.of(cases))
    for level in said:
        state = state.advance(Transition(level_variance=noise**2, bends=begins))
        state = state.observe(level - step / 2, level + step / 2)
    laps = numpy.arange(1, 6)
    plain = noise**2 * numpy.tri(5) @ numpy.tri(5).T + first**2 * numpy.outer(laps, laps)
    weights = []
    for lap in laps:  # the first lap on which the slope is another
        since = numpy.maximum(laps - lap, 0)
        more = since * (since + 1) / 2
        bent = plain + apart**2 * numpy.outer(more, more)
        prior = begins * (1 - begins) ** (lap - 1)
        weights.append(prior * multivariate_normal(bend * more, bent).pdf(said))
    never = (1 - begins) ** 5 * multivariate_normal(numpy.zeros(5), plain).pdf(said)
    likely = sum(weights) / (sum(weights) + never)
    assert 0.5 < likely < 0.99
    assert state.case_weights()[1] == pytest.approx(likely, abs=0.02)


def test_the_table_is_the_imm_estimator_of_filterpy_without_mixing() -> None:
    """Reference: filterpy.kalman.IMMEstimator with two filters that (all but) never change places,
    on measurements with the variance of the rounding.
    """
    noise, drift, step = 0.03, 0.006, 0.01
    random = numpy.random.default_rng(2)
    filters = []
    for scatter in (1.0, 2.5):
        one = KalmanFilter(dim_x=2, dim_z=1)
        one.x, one.P = numpy.array([0.0, 0.0]), numpy.diag([1e-12, 0.04**2])
        one.F, one.H = numpy.array([[1.0, 1.0], [0.0, 1.0]]), numpy.array([[1.0, 0.0]])
        one.Q, one.R = numpy.diag([(noise * scatter) ** 2, drift**2]), numpy.array([[step**2 / 12]])
        filters.append(one)
    stay = 1 - 1e-9
    reference = IMMEstimator(
        filters, numpy.array([0.5, 0.5]), numpy.array([[stay, 1 - stay], [1 - stay, stay]])
    )
    cases = Cases.of([Case(0.5), Case(0.5, 2.5)])
    state, used = GaussianMixture.start(0.0, 0.0, 0.0, 0.04, cases), 0.0
    for _ in range(8):
        used += 0.02 + random.normal(0, 2 * noise)
        said = round(used / step) * step
        reference.predict()
        reference.update(numpy.array([said]))
        state = state.advance(Transition(level_variance=noise**2, slope_variance=drift**2))
        state = state.observe(said - step / 2, said + step / 2)
    assert state.case_weights() == pytest.approx(reference.mu, abs=0.03)
    assert state.slope().mean == pytest.approx(float(reference.x[1]), abs=0.004)


def test_odd_laps_are_counted_as_a_beta_distribution_has_it() -> None:
    """Reference: scipy.stats.beta, the mean of the posterior: 20 laps beforehand, of which 2 were
    odd, and 10 laps with a lap that cannot but have been odd.
    """
    state = GaussianMixture.start(0.0, 0.0, 0.0, 1e-6)
    move = Transition(level_variance=0.01**2, odd=0.1, odd_factor=100.0)
    level = 0.0
    for lap in range(10):
        level += 0.3 if lap == 4 else 0.0
        state = state.advance(move).observe(level - 1e-4, level + 1e-4)
    chance = float(state.settled().odd_chance(0.1) @ state.settled().weight[:, 0])
    few = beta(2 + 1, 18 + 9).mean()
    assert chance == pytest.approx(few, abs=0.012)


def test_doubling_the_scatter_is_learned_and_told() -> None:
    random = numpy.random.default_rng(4)
    spec = event("", DELTA, distance="laps = 40")
    wild = followed(spec, cumulated(list(1.4 + random.normal(0, 0.12, 24))))
    assert "not-as-stated" in [kind for kind, _ in kinds(wild)]
    (manner,) = [one for one in energy.manners(wild.energy) if one.kind == "scatter"]
    assert 2.5 < manner.factor <= 4
    calm = followed(spec, cumulated(list(1.4 + random.normal(0, 0.03, 24))))
    assert not [one for one in energy.manners(calm.energy) if one.factor > 1]
    assert outlook(wild).distance.margin.deviation > 1.8 * outlook(calm).distance.margin.deviation


def test_a_habit_that_creeps_is_followed_and_told() -> None:
    spec = event("", DELTA, distance="laps = 40")
    race = followed(spec, cumulated([1.4 + 0.012 * lap for lap in range(24)]))
    assert ("not-as-stated") in [kind for kind, _ in kinds(race)]
    will_be = sum(0.012 * lap for lap in range(24, 40))
    steady = 16 * outlook(race).use.mean - 16 * 1.4
    foretold = 28.0 - 1.4 * 40 - race.energy.level().mean + 1.4 * 24
    foretold -= outlook(race).distance.margin.mean
    assert abs(foretold - will_be) < abs(steady - will_be)


@pytest.mark.parametrize(
    ("energy_of", "steady"), [("", 0.12 * 1.4 / 20), ("creep = 0.01", 0.01), ("creep = 0", 0.0)]
)
def test_laps_that_come_to_take_more_are_expected_in_a_plan_that_is_right_on_the_whole(
    energy_of: str, steady: float
) -> None:
    """Closed forms: all laps together are as likely to take more than planned as less, the first as
    much less as the last is to take more.
    """
    spec = event(energy_of, DELTA)
    state = energy.begin(spec)
    used = energy.used_after(spec, state, 28.0, 20)
    assert used.mean == pytest.approx(28.0)
    assert used.below(28.0) == pytest.approx(0.5)
    bend = state.bend().mean
    likelier = float(state.weight[:, 0] @ numpy.sign(state.cases.bend))
    assert bend == pytest.approx(likelier * steady)
    assert state.slope().mean == pytest.approx(-bend * 19 / 2)
    assert (likelier > 0.2) == (steady > 0)


def test_without_doubt_there_is_one_kalman_filter() -> None:
    assert len(energy.begin(event(SURE, DELTA)).components) == 1


# Targets


@pytest.mark.parametrize(("driven", "how", "lap"), [(1.6, "not kept", 9), (1.45, "half kept", 10)])
def test_one_lap_off_a_target_shows(driven: float, how: str, lap: int) -> None:
    """Called 1.30 at 1.60, driven 1.60, or half the way; one lap is enough to tell the first."""
    laps = [*([1.6] * 8), *([driven] * 3)]
    spec = event("", DELTA + CALLS + "[plan]\nper_lap = 1.6\n", distance="laps = 17")
    facts = [*cumulated(laps, 1.6), fact("call", "pace", 8, target=Decimal("1.30"))]
    race = followed(spec, facts)
    (notice,) = [notice for notice in race.notices if notice.kind == "target-not-kept"]
    assert how in notice.text
    assert notice.lap == lap
    assert outlook(race).use.mean == pytest.approx(driven, rel=0.03)


def test_two_laps_tell_an_ignored_target_before_it_is_likelier_than_a_kept_one() -> None:
    spec = event("", DELTA + CALLS + "[plan]\nper_lap = 1.4\n", distance="laps = 20")
    call = fact("call", "pace", 8, target=Decimal("1.30"))
    race = followed(spec, [*cumulated([1.4] * 12), call], history=True)
    (notice,) = [notice for notice in race.notices if notice.kind == "target-not-kept"]
    kept, _, ignored = race.history[10].energy.branches()
    assert notice.lap == 10
    assert ignored < kept < 0.6


def test_a_kept_target_is_told_as_ignored_no_more_often_than_so() -> None:
    """Reference: scipy.stats.norm. The reports of two laps are as good as one normal figure, by
    hand: how much more they took together than called, which is 0 if the target is kept.
    """
    spec = event(SURE, DELTA + CALLS)
    first, spread, called = 0.04, 0.03, 0.10
    state = energy.called(spec, energy.begin(spec), 1.4, 1.4 - called)
    apart = 2 * called / (4 * first**2 + 2 * spread**2) ** 0.5
    for falsely in (0.01, 0.02, 0.04):
        times = energy.ignored_against_kept(spec, state, 2, falsely)
        figure = (numpy.log(times) + apart**2 / 2) / apart
        assert norm.sf(figure) == pytest.approx(falsely, rel=0.01)


def test_a_target_counts_from_its_lap_though_the_report_before_was_not_heard() -> None:
    """Called behind lap 8, the report of which is lost: lap 8 was not yet driven to it."""
    spec = event("", DELTA + CALLS + "[plan]\nper_lap = 1.6\n", distance="laps = 17")
    laps = cumulated([*([1.6] * 8), *([1.3] * 2)], 1.6)
    said = [one.replace(at=75_000 * (one.lap or 0)) for one in laps if one.lap != 8]
    call = fact("call", "pace", 8, at=75_000 * 8 + 20_000, target=Decimal("1.30"))
    race = follow(spec, sorted([*said, call], key=lambda one: one.at or 0))
    assert [float(lap.target) for lap in race.driven[6:]] == [1.6, 1.6, 1.3, 1.3]
    assert "target-not-kept" not in [kind for kind, _ in kinds(race)]


@pytest.mark.parametrize(("driven", "short"), [(1.4, True), (14 / 13, False)])
def test_a_plan_that_changes_may_be_gone_by_or_not(driven: float, short: bool) -> None:
    """Three laps more behind lap 10 of 20: by the new plan 14 / 13 kWh a lap do, 1.40 do not; at
    first nobody knows which it is, and each is held for as likely.
    """
    spec = event("", DELTA)
    added = fact("event", "added", 10, amount=Decimal(3))
    at_first = followed(spec, [*cumulated([1.4] * 10), added])
    kept, half, ignored = at_first.energy.branches()
    assert (kept, half, ignored) == pytest.approx((1 / 2.2, 0.2 / 2.2, 1 / 2.2), abs=1e-3)
    assert 0.5 < outlook(at_first).distance.short < 0.9
    said = [
        report(10 + lap, energy=Decimal(repr(round((14 / 13 - driven) * lap, 6))))
        for lap in range(1, 4)
    ]
    race = followed(spec, [*cumulated([1.4] * 10), added, *said])
    assert outlook(race).use.mean == pytest.approx(driven, abs=0.03)
    assert (outlook(race).distance.short > 0.95) is short


def test_a_target_that_is_kept_raises_no_alarm() -> None:
    facts = [*cumulated([*([1.6] * 8), *([1.3] * 8)], 1.6)]
    spec = event("", DELTA + CALLS + "[plan]\nper_lap = 1.6\n", distance="laps = 17")
    race = followed(spec, [*facts, fact("call", "pace", 8, target=Decimal("1.30"))])
    assert "target-not-kept" not in [kind for kind, _ in kinds(race)]
    assert race.energy.branches()[0] > 0.95


def test_a_driver_who_ignored_one_target_is_believed_less_at_the_next() -> None:
    """A closed form: the mean of a Dirichlet distribution, of 3 beforehand and one seen."""
    spec = event("", DELTA + CALLS + "[plan]\nper_lap = 1.6\n", distance="laps = 17")
    facts = cumulated([1.6] * 12, 1.6)
    calls = [
        fact("call", "pace", 8, target=Decimal("1.30")),
        fact("call", "pace", 12, target=Decimal("1.25")),
    ]
    first = followed(spec, [*facts[:8], calls[0]]).energy.branches()
    second = followed(spec, [*facts, *calls]).energy.branches()
    assert first == pytest.approx((0.9, 0.05, 0.05), abs=1e-3)
    assert second == pytest.approx((2.7 / 4, 0.15 / 4, 1.15 / 4), abs=0.02)


def test_courses_are_the_moments_of_simulated_drivers() -> None:
    """Brute force: numpy draws a million slopes, takes a course with each, and counts."""
    random = numpy.random.default_rng(8)
    courses = (
        TrendOutcome(2.0, 0.0, 0.04**2),
        TrendOutcome(1.0, 0.5, 0.02**2),
        TrendOutcome(1.0, 1.0),
    )
    state = GaussianMixture.start(0.0, 0.05, 0.0, 0.03).changed(0.3, courses)
    slope = random.normal(0.05, 0.03, 1_000_000) + 0.3
    course = random.choice(3, len(slope), p=[0.5, 0.25, 0.25])
    share = numpy.array([0.0, 0.5, 1.0])[course]
    noise = numpy.array([0.04, 0.02, 0.0])[course] * random.normal(0, 1, len(slope))
    after = share * slope + noise
    assert state.slope().mean == pytest.approx(after.mean(), abs=1e-3)
    assert state.slope().deviation == pytest.approx(after.std(), abs=1e-3)
    for limit in (0.0, 0.1, 0.2, 0.35):
        assert state.slope().below(limit) == pytest.approx((after < limit).mean(), abs=2e-3)


# What remains


@cache
def remaining() -> Event:
    left = {"kind": "quantity", "unit": "kWh", "low": 0, "high": 30, "step": 0.1}
    book = book_of(
        {
            "fields": {"left": {**left, "rounding": "down"}},
            "tables": {"left": {"kind": "digits"}},
            "messages": {"a": {"layout": '"A" left'}},
        }
    )
    text = """
[distance]
laps = 20
[energy]
usable = 28.4
reserve = 0.4
spread = 0.03
drift = 0.006
first = 0.04
[neutralisation]
use = 0.3
[reports.left]
says = "remaining"
"""
    return parse_event(text, book)


def left(lap: int, value: str, certainty: float | None = None) -> Entry:
    return Entry(
        kind="report",
        message="a",
        lap=lap,
        lap_by="given",
        values={"left": Decimal(value)},
        certainty=certainty,
        seq=lap * 10,
    )


def test_never_more_is_shown_than_the_last_certain_report_allows() -> None:
    """A neutralisation that nobody ended: the reports say each lap that it is over."""
    facts = [left(lap, f"{28.4 - 1.4 * lap:.1f}") for lap in range(1, 13)]
    event_of = Entry(kind="event", message="neutralised", lap=6, seq=55)
    race = followed(remaining(), [*facts, event_of], history=True)
    for lap in range(1, 13):
        said = float(facts[lap - 1].values["left"])  # type: ignore[arg-type]  # a number
        shown = outlook(race.history[lap]).left.mean
        assert said - 0.1 <= shown <= said + 0.1 + 1e-3, lap


def test_a_certain_report_sets_the_bound_though_it_does_not_fit() -> None:
    facts = [left(lap, f"{28.4 - 1.4 * lap:.1f}") for lap in range(1, 9)]
    low = [*facts, left(9, "12.0")]
    assert outlook(followed(remaining(), low)).left.mean <= 12.1
    doubtful = [*facts, left(9, "12.0", 0.5)]
    assert outlook(followed(remaining(), doubtful)).left.mean == pytest.approx(15.8, abs=0.2)
    # and it is the last one that does: the next says otherwise
    right = [*low, left(10, f"{28.4 - 14.0:.1f}")]
    assert outlook(followed(remaining(), right)).left.mean == pytest.approx(14.4, abs=0.2)
