"""The race in three sentences, as somebody would read them out: how it ended and why, what was
called and what was driven, and what the forecast was worth.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.debrief.summary import Debrief
from grammar.errors import counted

if TYPE_CHECKING:
    from codec.race import Outlook, Race

_LIKELY = 0.5  # a chance of running short from which on the car is called short
_STRETCH = 2  # laps: a shorter stretch is a moment between two entries
_MOST_STINTS = 3
_OFF = 0.02  # of the target: less than that much off it is on it
_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


@dataclass(frozen=True, slots=True)
class Stint:
    """Laps in a row with one target: whether it was called, the laps, and the mean use of those
    that were raced, None where none was.
    """

    target: float
    called: bool
    first: int
    last: int
    used: float | None


def sentences(debrief: Debrief, outlooks: Sequence[Outlook]) -> list[str]:
    """Return the sentences, [] where no race was followed; ``outlooks`` are behind each lap."""
    race = debrief.race
    if race is None or race.lap == 0 or not outlooks:
        return []
    told = [_ending(debrief.car, race, outlooks), _driven(race), _forecast(race, outlooks)]
    return [sentence.replace("-", "−") for sentence in told if sentence]


def stints(race: Race) -> list[Stint]:
    """Return the stints of a race followed with its history, in order."""
    called = {behind.lap + 1: behind.target is not None for behind in race.history}
    found: list[Stint] = []
    for (target, was_called), group in itertools.groupby(
        race.driven, key=lambda driven: (driven.target, called.get(driven.lap, False))
    ):
        laps = list(group)
        raced = [race.use_of(one.lap) for one in laps if not one.neutralised]
        uses = [used for used in raced if used is not None]
        mean = math.fsum(uses) / len(uses) if uses else None
        found.append(Stint(float(target), was_called, laps[0].lap, laps[-1].lap, mean))
    return found


def _ending(car: str, race: Race, outlooks: Sequence[Outlook]) -> str:
    last, unit = outlooks[-1], race.event.spec.energy.unit
    margin, short = last.distance.margin.mean, last.distance.short
    who = f"Car {car}" if car else "The car"
    over = f"{abs(margin):.2f} {unit} {'over' if margin >= 0 else 'below'} the reserve"
    stretches = list(_short(outlooks))
    since = stretches[-1][0] if stretches and stretches[-1][1] == last.lap else None
    if last.distance.likeliest:
        where = f"Behind lap {race.lap} of {race.lap + last.distance.likeliest}"
        if since is None:
            return f"{where} {who.lower()} is not short ({short:.0%}): {over} at the flag."
        return (
            f"{where} {who.lower()} is short ({short:.0%}), since lap {since}: {_why(race, since)}."
        )
    if since is not None:
        return (
            f"{who} ended {race.lap} laps {over}, short from lap {since} on: {_why(race, since)}."
        )
    told = f"{who} ended {race.lap} laps {over}"
    longest = max(stretches, key=lambda one: (one[1] - one[0], one[0]), default=None)
    if longest is None or longest[1] - longest[0] + 1 < _STRETCH:
        return f"{told} and was never likely to run short."
    begun, ended = longest
    return f"{told}, though it was short from lap {begun} to {ended}: {_why(race, begun)}."


def _short(outlooks: Sequence[Outlook]) -> Iterator[tuple[int, int]]:
    """Yield the stretches of laps, first and last, behind which the car was likely to run short."""
    for short, group in itertools.groupby(
        outlooks, key=lambda look: look.distance.short >= _LIKELY
    ):
        laps = [look.lap for look in group]
        if short:
            yield laps[0], laps[-1]


def _why(race: Race, lap: int) -> str:
    """Return why a car was short from a lap on, in words."""
    before, then = race.history[max(0, lap - 1)], race.history[lap]
    added = race.laps_added - before.laps_added  # all that were in the end, where it began so
    parts = []
    if then.laps_added > before.laps_added and added > 0:
        number = _WORDS[added] if added < len(_WORDS) else str(added)
        parts.append(f"{number} lap{'' if added == 1 else 's'} added")
    stint = next((one for one in stints(race) if one.first <= max(lap, 1) <= one.last), None)
    if stint is not None and stint.used is not None and stint.used > stint.target * (1 + _OFF):
        what = "called" if stint.called else "planned"
        parts.append(f"{stint.target:.2f} {what}, {stint.used:.2f} driven")
    return ", ".join(parts) or "by no more than the laps scatter"


def _driven(race: Race) -> str:
    found = [stint for stint in stints(race) if stint.used is not None]
    if not found:
        return ""
    unit = race.event.spec.energy.unit
    called = [stint for stint in found if stint.called]
    shown = called[-_MOST_STINTS:] or found[-_MOST_STINTS:]
    parts = [
        f"{stint.target:.2f} from lap {stint.first} on, {stint.used:.2f} driven" for stint in shown
    ]
    lead = "Called" if called else "No target was called; planned"
    if len(called) > len(shown):
        lead = f"Of {len(called)} targets called the last {len(shown)} were"
    return f"{lead} {'; '.join(parts)} ({unit} a lap)."


def _forecast(race: Race, outlooks: Sequence[Outlook]) -> str:
    """Return what the forecasts were worth, by what came; what is forecast, where nothing did."""
    last, unit = outlooks[-1], race.event.spec.energy.unit
    low, high = last.distance.margin.band()
    if last.distance.likeliest:
        mean = last.distance.margin.mean
        return f"Forecast for the flag: {mean:+.2f} {unit} ({low:+.2f} to {high:+.2f}, 80 %)."
    came, changed = last.distance.margin.mean, _distance_known(race)
    since = [look for look in outlooks if changed <= look.lap < last.lap]
    if not since:
        return ""
    held = sum(b[0] <= came <= b[1] for b in (look.distance.margin.band() for look in since))
    first = since[0]
    low, high = first.distance.margin.band()
    return (
        f"Behind lap {first.lap}, when the distance was known, {first.distance.margin.mean:+.2f}"
        f" {unit} ({low:+.2f} to {high:+.2f}) was forecast and {came:+.2f} came; the 80 % bands of"
        f" {held} of {counted(len(since), 'forecast')} held it."
    )


def _distance_known(race: Race) -> int:
    """Return the lap behind which the distance, and what the dash knows of it, was the last one."""
    final = race.laps_added, race.laps_entered
    known = [
        behind.lap for behind in race.history if (behind.laps_added, behind.laps_entered) == final
    ]
    return min(known, default=race.lap)
