"""What is known of the driver and of the engineer, from their profiles: what a race expects of
targets that are called, and the seconds that a call and its read-back take.

A profile counts beside what the event file says, never in its place. How often reports are lost or
late has no place here: a lap without a report is one that nothing is known of, whoever drives.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path

from codec.encoding import Encoded, seconds_by
from codec.profile import profile_for
from codec.race import energy
from codec.race.binding import Event
from codec.race.event import TargetsSpec
from codec.race.loading import load_event
from codec.race.race import Race
from grammar.book import Book
from grammar.profile import Course, Profile, Scatter, measured_times

# a habit may change from one race to the next: what is known counts at most like so many targets
_MOST_TARGETS = 20.0
_RACES_APART = 0.3  # deviation of the logarithm of a driver's scatter from race to race; no source
_TOLD = 0.8  # so surely a course was taken, as far as the reports alone tell, to count
_LEARNT = 0.35  # variance of the logarithm of the scatter, half of that where nothing is known
_WITHIN = 0.03  # variance of the logarithm within one of the scatters that the filter knows
_DIGITS = 6  # of what stands in place of the event file's figures
COURSES: tuple[Course, ...] = ("kept", "half", "ignored")


def with_people(
    event: Event, driver: Profile | None = None, engineer: Profile | None = None
) -> Event:
    """Return the event as it is to be driven and called by these people."""
    spec = event.spec
    if driver is not None and (total := math.fsum(driver.targets.values())):
        share = min(1.0, _MOST_TARGETS / total)
        counts = {
            course: getattr(spec.targets, course) + _exact(share * driver.targets.get(course, 0.0))
            for course in COURSES
        }
        spec = spec.model_copy(update={"targets": TargetsSpec(**counts)})
    if driver is not None and driver.scatter is not None and spec.energy.doubt:
        spread, doubt = _scatters(event, driver.scatter)
        update = {"spread": _exact(spread), "doubt": _exact(doubt)}
        spec = spec.model_copy(update={"energy": spec.energy.model_copy(update=update)})
    return replace(
        event,
        spec=spec,
        stated=event.stated if spec.energy is event.spec.energy else "this driver's races say",
        driver=driver if _timed(event, driver) else None,
        engineer=engineer if _timed(event, engineer) else None,
    )


@dataclass(frozen=True, slots=True)
class EventFile:
    """An event file, and the files of profiles of the people who take part."""

    path: str | Path
    profiles: tuple[str, ...] = ()

    def event(self, book: Book) -> Event:
        """Return the event with whom it is known of; raises CodeError."""
        people: dict[str, Profile] = {}
        for profile in [profile_for(book, path) for path in self.profiles]:
            for name in map(str.casefold, profile.people):
                people[name] = people[name].merged(profile) if name in people else profile
        return replace(load_event(self.path, book), people=people)


def driven_by(event: Event, driver: str, engineer: str) -> Event:
    """Return the event as it is to be driven and called by these of its people."""
    known = event.people.get
    return with_people(event, known(driver.casefold()), known(engineer.casefold()))


def _exact(number: float) -> Decimal:
    return Decimal(repr(round(number, _DIGITS)))


def _timed(event: Event, profile: Profile | None) -> bool:
    return profile is not None and bool(measured_times(profile, event.book.alphabet))


def _scatters(event: Event, known: Scatter) -> tuple[float, float]:
    """Return the spread to state, and how far it may be off, by the event file and by what is
    known: both are normal distributions of the logarithm.
    """
    spec = event.spec.energy
    beforehand, doubt = math.log(float(spec.spread) * energy.USUAL), float(spec.doubt) ** -2
    seen, sure = math.log(known.share * _a_lap(event)), 1 / (known.error**2 + _RACES_APART**2)
    middle = (doubt * beforehand + sure * seen) / (doubt + sure)
    return math.exp(middle) / energy.USUAL, (doubt + sure) ** -0.5


def _a_lap(event: Event) -> float:
    return float(sum(event.plan)) / event.laps


def impartial(event: Event) -> Event:
    """Return the event as it tells by reports alone what becomes of targets: no course is held for
    likelier than another beforehand.
    """
    even = TargetsSpec(**dict.fromkeys(COURSES, Decimal(1)))
    return replace(event, spec=event.spec.model_copy(update={"targets": even}))


def habits(races: Sequence[Race]) -> Profile:
    """Return what races, each followed by an ``impartial`` event, show of how a driver drives."""
    targets, scatter = dict.fromkeys(COURSES, 0.0), list[Scatter]()
    for race in races:
        now = [] if race.target is None else [race.energy.branches()]
        for shares in [*race.courses, *now]:
            if max(shares) >= _TOLD:
                targets[COURSES[shares.index(max(shares))]] += 1
        scatter += _scatter_of(race)
    known = {course: count for course, count in targets.items() if count}
    merged = None if not scatter else scatter[0]
    for one in scatter[1:]:
        merged = one if merged is None else merged.merged(one)
    return Profile(targets=known, scatter=merged)


def _scatter_of(race: Race) -> list[Scatter]:
    """Return how much the laps of a race scattered, [] where it taught little of that."""
    spec = race.event.spec.energy
    middle, variance = energy.scatter_seen(race.energy)
    if not spec.doubt or variance > _LEARNT:
        return []
    share = math.exp(middle) * float(spec.spread) / _a_lap(race.event)
    return [Scatter(share=share, error=(variance + _WITHIN) ** 0.5)]


def seconds_of(event: Event, call: Encoded) -> float | None:
    """Return the seconds that a call takes, read back as it was said; None where nothing is known
    of these people's words. What is not known of one of them is as the book has it.
    """
    if event.driver is None and event.engineer is None:
        return None
    each = (event.engineer, event.driver)
    return math.fsum(seconds_by(one or Profile(), event.book, call) for one in each)
