"""How much of a lap that was neutralised in part is held for neutralised: a car is driven metre by
metre, by speeds and powers that the forecast knows nothing of, and what its laps took is compared.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy
import pytest

from codec.race.clock import Clock, Neutralised
from codec.race.event import DistanceSpec

PIECE = 20.0  # metres
PLACES = numpy.arange(0, 2400, PIECE)


def driven(
    random: numpy.random.Generator, begun: float, lasts: float, stands: float
) -> tuple[list[float], list[float], float, float]:
    """Drive eight laps, neutralised from ``begun`` seconds on: then no faster than a limit, or
    standing for ``stands`` of them.

    Return when each lap ended, what it took, in shares of a racing lap, what a neutralised one
    takes, and the seconds of a racing lap.
    """
    fast = 45 + 18 * numpy.sin(PLACES / 127) + 6 * numpy.sin(PLACES / 48)
    slow = numpy.minimum(fast, random.uniform(18, 30))
    takes = [0.35 * speed**2 + 6000 / speed for speed in (fast, slow)]  # drag, and all else by time
    lap_takes, neutral = takes[0].sum(), takes[1].sum() / takes[0].sum()
    now, ends, used = 0.0, list[float](), list[float]()
    for _ in range(8):
        took = 0.0
        for place in range(len(PLACES)):
            neutralised = bool(begun <= now < begun + lasts)
            if neutralised and stands:
                now, stands = now + stands, 0.0
            speed = (slow if neutralised else fast)[place]
            took += takes[neutralised][place]
            now += PIECE / speed
        ends.append(now)
        used.append(took / lap_takes)
    return ends, used, neutral, float((PIECE / fast).sum())


def off_by(
    ends: Sequence[float], used: Sequence[float], neutral: float, seconds: float, heard: set[int],
    span: tuple[float, float], said: Sequence[float],
) -> list[tuple[float, float]]:  # fmt: skip
    """Return, for each lap that was neutralised in part, by how much of a racing lap what it is
    held to take lies off what it took; and the same if laps were shared by time.
    """
    times = {
        lap: round(1000 * (ends[lap - 1] + said[lap - 1])) for lap in range(1, 9) if lap in heard
    }
    clock = Clock(times, DistanceSpec(laps=8, lap_seconds=round(seconds)))
    known = Neutralised(1, round(1000 * span[0]), 8, round(1000 * span[1]))
    found = []
    for lap in range(2, 9):
        share = clock.share(lap, [known], 8, seconds)
        begun, ended = clock.ended(lap - 1, 8), clock.ended(lap, 8)
        assert begun is not None
        assert ended is not None
        slow = min(1000 * span[1], ended) - max(1000 * span[0], begun)
        if 0 < slow < ended - begun:
            by_time = 1 - (1 - neutral) * slow / (ended - begun)
            found.append((1 - (1 - neutral) * share.mean - used[lap - 1], by_time - used[lap - 1]))
    return found


@pytest.mark.parametrize(("missing", "stands"), [(0.0, 0.0), (0.25, 0.0), (0.0, 900.0)])
def test_a_lap_is_shared_by_the_way_that_was_neutralised(missing: float, stands: float) -> None:
    random, off = numpy.random.default_rng(11), list[tuple[float, float]]()
    for _ in range(60):
        begun, lasts = random.uniform(70, 170), random.uniform(20, 250) + stands
        ends, used, neutral, seconds = driven(random, begun, lasts, stands)
        heard = {lap for lap in range(1, 9) if lap in (1, 8) or random.random() >= missing}
        said = random.uniform(1, 9, 8).tolist()
        off += off_by(ends, used, neutral, seconds, heard, (begun, begun + lasts), said)
    errors = numpy.array(off)
    by_way, by_time = numpy.mean(errors**2, axis=0) ** 0.5
    assert len(off) > 100
    assert abs(errors[:, 0].mean()) < 0.02
    assert by_way < 0.08
    assert by_way < 0.75 * by_time


def test_a_lap_on_which_the_car_stood_was_raced_all_the_same() -> None:
    clock = Clock({1: 79_000, 2: 1_079_000, 3: 1_154_000}, DistanceSpec(laps=9, lap_seconds=75))
    stood = Neutralised(2, 110_000, 2, 1_035_000)
    share = clock.share(2, [stood], 3, 75.0)
    assert share.mean == 0
    assert not share.raced  # its time is that of no racing lap
    assert clock.share(3, [stood], 3, 75.0).raced
    assert clock.share(2, [stood], 3, None).mean == pytest.approx(0.925)  # by time


def test_two_neutralisations_of_a_lap_add_up() -> None:
    clock = Clock({1: 79_000, 2: 184_000}, DistanceSpec(laps=9, lap_seconds=75))
    both = [Neutralised(2, 85_000, 2, 115_000), Neutralised(2, 130_000, 2, 160_000)]
    assert clock.share(2, both, 2, 75.0).mean == pytest.approx(1 - 45 / 75)
    assert clock.share(2, both, 2, None).mean == pytest.approx(60 / 105)
