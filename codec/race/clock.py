"""Laps and time: when each lap ended, how much of it was neutralised, and how many laps are left
when the distance is a time.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from codec.race.energy import RACING, NeutralisedShare
from codec.race.event import DistanceSpec
from codec.race.truncated_normal import normal_cdf
from codec.sheet.order import SINCE_1970

_PRIOR = 3  # the usual lap time of the event file counts as much as so many laps
_LEAST = 1e-4
# a report is said so long behind the line, in milliseconds, give or take as much: common practice,
# no source
_BEHIND_THE_LINE = 4000
_PARTLY = NeutralisedShare(
    0.5, 1 / 12, raced=False
)  # a lap in which the race was neutralised, or resumed, at a moment nobody noted


@dataclass(frozen=True, slots=True)
class Neutralised:
    """A neutralisation: the lap being driven and the time (milliseconds) at its begin and at its
    end, None where it is not known or not yet; and the laps added before it.
    """

    first: int
    begin: int | None
    last: int | None = None
    end: int | None = None
    added_before: int = 0


class Clock:
    """The times at which laps ended, from the times of their reports; between them times are
    interpolated.
    """

    def __init__(self, times: Mapping[int, int], distance: DistanceSpec) -> None:
        """Keep the known times (lap → milliseconds)."""
        self.times = dict(sorted(times.items()))
        self._known = list(self.times)
        self.distance = distance
        self.usual = None if distance.lap_seconds is None else float(distance.lap_seconds)

    def lap_seconds(self, racing: Sequence[int]) -> float | None:
        """Return the lap time: the mean of the laps in ``racing`` whose two ends are known, drawn
        towards the usual one.
        """
        seconds = [
            (self.times[lap] - self.times[lap - 1]) / 1000
            for lap in racing
            if lap in self.times and lap - 1 in self.times
        ]
        if self.usual is None:
            return math.fsum(seconds) / len(seconds) if seconds else None
        return (math.fsum(seconds) + _PRIOR * self.usual) / (len(seconds) + _PRIOR)

    def ended(self, lap: int, upto: int | None = None) -> float | None:
        """Return when a lap ended (milliseconds; lap 0 is the start), None if it can't be told.

        With ``upto`` only what is known behind that lap tells.
        """
        if lap in self.times:
            return float(self.times[lap])
        known = self._known if upto is None else self._known[: bisect.bisect(self._known, upto)]
        place = bisect.bisect(known, lap)
        if 0 < place < len(known):
            low, high = known[place - 1], known[place]
            return self.times[low] + (self.times[high] - self.times[low]) * (lap - low) / (
                high - low
            )
        if not known or self.usual is None:
            return None
        nearest = known[max(0, place - 1)]
        return self.times[nearest] + (lap - nearest) * self.usual * 1000

    def share(
        self, lap: int, spans: Sequence[Neutralised], upto: int, lap_seconds: float | None
    ) -> NeutralisedShare:
        """Return how much of a lap was neutralised, by what is known behind lap ``upto``.

        It is shared by the way, not by time, as is the energy: what was raced is the time that was
        raced in it against that of a racing lap, ``lap_seconds``, and the rest was neutralised. So
        a car that stood still for an hour has raced the lap all the same. Where no racing lap is
        known, it is shared by time.
        """
        timed = [one for one in spans if _is_timed(one)]
        shares = [_untimed(lap, one) for one in spans if one not in timed]
        if timed:
            by_time = self._timed(lap, timed, upto, lap_seconds)
            shares += [by_time] if by_time is not None else [_untimed(lap, one) for one in timed]
        return max(shares, key=lambda found: found.mean, default=RACING)

    def _timed(
        self, lap: int, spans: Sequence[Neutralised], upto: int, lap_seconds: float | None
    ) -> NeutralisedShare | None:
        """Return it for neutralisations whose times are known, None where those of the laps are
        not.
        """
        known = self._known[: bisect.bisect(self._known, upto)]
        place = bisect.bisect_left(known, lap)
        first = known[place - 1] if place else lap - 1
        last = known[place] if place < len(known) else lap
        told = self.ended(first, upto), self.ended(last, upto)
        if told[0] is None or told[1] is None or told[1] <= told[0]:
            return None
        begun, ended = told[0] - _BEHIND_THE_LINE, told[1] - _BEHIND_THE_LINE
        slow = sorted(
            (max(one.begin or 0, begun), min(ended if one.end is None else one.end, ended))
            for one in spans
        )
        slow = [(low, high) for low, high in slow if high > low]
        if not slow:
            return RACING
        total = math.fsum(high - low for low, high in slow)
        if lap_seconds:
            racing = 1 / (1000 * lap_seconds)
            neutral = max(last - first - (ended - begun - total) * racing, 0.0) / total
        else:
            racing = neutral = (last - first) / (ended - begun)
        place_then, then, mean = float(first), begun, 0.0
        for low, high in slow:
            into = place_then + (low - then) * racing
            place_then, then = into + (high - low) * neutral, high
            mean += max(min(place_then, lap) - max(into, lap - 1), 0.0)
        off = _BEHIND_THE_LINE * racing if _LEAST < mean < 1 - _LEAST else 0.0
        return NeutralisedShare(min(mean, 1.0), off * off, raced=False)

    @staticmethod
    def minutes(span: Neutralised, now: int | None = None) -> Fraction | None:
        """Return how long a neutralisation lasted, up to ``now`` if it still does; None if nobody
        can tell, as where its begin is the time in a recording and its end that of the day.
        """
        end = now if span.last is None else span.end
        if span.begin is None or end is None or end < span.begin:
            return None
        if span.begin < SINCE_1970 <= end:
            return None
        return Fraction(end - span.begin, 60_000)

    def laps_left(self, lap: int, lap_seconds: float, added_minutes: Fraction) -> dict[int, float]:
        """Return, for a race by time, the probability of each number of laps left behind ``lap``.

        The lap being driven when the time runs out is finished, and so are the further laps.
        """
        spec = self.distance
        gone = self.ended(lap, lap)
        start = self.ended(0, lap)
        known = bisect.bisect(self._known, lap)
        elapsed = (
            (gone - start) / 1000 if gone is not None and start is not None else lap * lap_seconds
        )
        rest = float(spec.minutes or 0) * 60 + float(added_minutes) * 60 - elapsed
        spread, found, before, laps = float(spec.lap_spread), {}, 0.0, 0
        if rest <= 0:
            return {max(0, spec.further_laps - max(0, math.floor(-rest / lap_seconds))): 1.0}
        while before < 1 - _LEAST and laps < 2000:
            laps += 1
            deviation = math.sqrt(
                laps * spread**2 + (laps * spread / math.sqrt(known + _PRIOR)) ** 2
            )
            done = (
                normal_cdf((laps * lap_seconds - rest) / deviation)
                if deviation
                else float(laps * lap_seconds >= rest)
            )
            if done - before > _LEAST:
                found[laps + spec.further_laps] = done - before
            before = max(before, done)
        total = math.fsum(found.values())
        return {laps: share / total for laps, share in found.items()}


def _is_timed(span: Neutralised) -> bool:
    return span.begin is not None and (span.end is not None or span.last is None)


def _untimed(lap: int, span: Neutralised) -> NeutralisedShare:
    """Return how much of a lap a neutralisation took, by the laps in which it began and ended."""
    if lap < span.first or (span.last is not None and lap > span.last):
        return RACING
    if lap in (span.first, span.last):
        return _PARTLY
    return NeutralisedShare(1.0, raced=False)
