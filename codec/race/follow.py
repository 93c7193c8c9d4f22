"""Following the race: reports, calls, read-backs and events taken one after the other, each in the
lap in which it was said.

The race is followed by what was known at the time: nothing looks ahead. So a race that goes on is
followed on from where it stood; a correction of an earlier lap, or a late report, from that lap.
"""

from __future__ import annotations

import copy
import functools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from codec.lap_report import lap_message
from codec.race import energy, temperature, units
from codec.race.binding import Event
from codec.race.clock import Clock, Neutralised
from codec.race.dials import Ledger, SettingError, wheel_move, whole
from codec.race.event import LapsSpec, WheelSpec
from codec.race.kalman import GaussianMixture, Observation
from codec.race.laps_entered import LAPS_HELD, LapsEntry
from codec.race.plan import MOST_PLANNED, EnergyPlan
from codec.race.race import DrivenLap, Race, RaceNotice, ReportedLap
from codec.radio.answering import different
from codec.sheet.entry import Entry
from codec.sheet.fitting import fitting
from codec.sheet.order import Placed, placed, reports_lap
from codec.sheet.state import ADDED, MOST_LAPS, NEUTRALISED, POSITION, RESUMED
from grammar.errors import CodeError, counted

# a target so surely not kept as called is pointed out, also where it may be half kept: laps that
# scatter look like that
_NOT_KEPT = 0.9
# how often a target that is kept may be told as ignored by the first lap driven to it, and by two
_FALSELY_TOLD = (0.015, 0.05)
# a lap or a few of which no report was heard are passed by what was said behind them
_LAPS_UNHEARD = 3
_CERTAIN = 0.98  # a report taken so surely sets how much can be left
_FITS = 0.5  # a value less likely than this to be right is pointed out
# so sure it must be that a dash has other laps than were told, to take it so, and to ask
_FITS_ENTRY, _MAY_FIT = 0.95, 0.6
STOP = "stop"  # the fact that a car comes in
MARKER = "marker"  # the fact that the driver pressed the marker
_NEAR = 32  # laps before which the race is kept, to go on from: the last ones, beside the start


def follow(event: Event, facts: Iterable[Entry], *, history: bool = False) -> Race:
    """Return the race after all facts, given in the order in which they were said; reports may come
    in any order of laps. What does not fit is a notice, never an error.

    With ``history`` the race keeps how it stood behind each lap.
    """
    return Follower(event, history=history, once=True).race(facts)


class Follower:
    """Follows a race that goes on: from one look to the next only what is new is worked out."""

    def __init__(self, event: Event, *, history: bool = False, once: bool = False) -> None:
        """Begin before the start; one that is asked only ``once`` keeps nothing to go on from."""
        self.event, self._once = event, once
        self._taken: list[Placed] = []
        self._now = _Following(event, history)
        self._kept = {0: copy.copy(self._now)}  # by how many facts were taken
        self._seen: Race | None = None

    def race(self, facts: Iterable[Entry]) -> Race:
        """Return the race after all facts; see ``follow``: the same one while no fact is new."""
        told = _in_order(self.event, facts)
        same = _same(self._taken, told)
        if same < len(self._taken):
            self._kept = {count: kept for count, kept in self._kept.items() if count <= same}
            self._taken = self._taken[: max(self._kept)]
            self._now = copy.copy(self._kept[len(self._taken)])
            self._seen = None
        self._now.race.clock = _clock(self.event, told)
        for one in told[len(self._taken) :]:
            if not self._once and one.of_lap and one.behind > self._now.race.lap:
                self._keep()
            self._now.take(one)
            self._taken.append(one)
        if same < len(told) or self._seen is None:
            self._seen = self._now.seen()
        return self._seen

    def _keep(self) -> None:
        """Keep the race as it stands before a lap."""
        self._kept[len(self._taken)] = copy.copy(self._now)
        for count in sorted(self._kept)[1:-_NEAR]:
            del self._kept[count]


def _same(one: Sequence[Placed], other: Sequence[Placed]) -> int:
    """Return how many facts are the same from the beginning on."""
    count = 0
    for mine, others in zip(one, other, strict=False):
        if mine.behind != others.behind or mine.entry != others.entry:
            break
        count += 1
    return count


def _in_order(event: Event, facts: Iterable[Entry]) -> list[Placed]:
    """Return the facts lap by lap; of several reports of one lap, of a kind, the one that fits the
    laps about it.
    """
    message = lap_message(event.book)

    def of_lap(fact: Entry) -> bool:
        told = fact.lap is not None and fact.lap_by != "order" and _tells(event, fact)
        return told or reports_lap(fact, message)

    listed = placed(facts, of_lap)
    reports: dict[str, dict[int, list[Entry]]] = {}
    for one in listed:
        if one.of_lap:
            reports.setdefault(one.entry.message, {}).setdefault(one.behind, []).append(one.entry)
    left_out: set[int] = set()
    for by_lap in reports.values():
        if any(len(several) > 1 for several in by_lap.values()):
            said = {lap: [one.values for one in several] for lap, several in by_lap.items()}
            for lap, place in fitting(event.book, said).items():
                chosen = by_lap[lap][place]
                left_out |= {
                    id(one)
                    for one in by_lap[lap]
                    if one is not chosen and one.values.keys() & chosen.values.keys()
                }
    return [one for one in listed if id(one.entry) not in left_out]


def _clock(event: Event, told: Iterable[Placed]) -> Clock:
    times = {
        one.behind: one.entry.at
        for one in told
        if one.of_lap and one.entry.at is not None and _tells(event, one.entry)
    }
    return Clock(times, event.spec.distance)


def _tells(event: Event, fact: Entry) -> bool:
    """Tell whether a fact is a report that says something of energy or temperature."""
    return fact.kind == "report" and bool(
        fact.values.keys() & (event.energies.keys() | event.temperatures.keys())
    )


def _added(fact: Entry) -> int:
    """Return the laps that an event says are added, below 0 those taken back; 0 where no race can
    get so many.
    """
    amount = fact.amount or Decimal(0)
    return int(amount) if abs(amount) <= MOST_LAPS and amount == int(amount) else 0


@dataclass(slots=True)
class _Announced:
    """The laps announced: by race control, else by calls to the driver; None where nobody did."""

    by_event: int | None = None
    by_call: int | None = None

    def add(self, laps: int, *, called: bool) -> None:
        if called:
            self.by_call = (self.by_call or 0) + laps
        else:
            self.by_event = (self.by_event or 0) + laps

    @property
    def laps(self) -> int | None:
        return self.by_call if self.by_event is None else self.by_event


@dataclass(frozen=True, slots=True)
class _Replanned:
    """What was believed and shown before the plan changed, and planned for the next lap, and what
    is believed since: as long as that is so, another change is one of the plan before.
    """

    believed_before: GaussianMixture
    shown_before: GaussianMixture
    planned: Fraction
    believed: GaussianMixture


_CHANGING = (list, dict, set, _Announced)  # what a following knows and goes on to change


def _manner(manner: energy.Manner, event: Event) -> str:
    """Return in words in what the laps are not as the event file says."""
    unit = event.spec.energy.unit
    if manner.kind == "creep":
        more = "more" if manner.factor > 0 else "less"
        told = f"each takes about {abs(manner.factor):.3f} {unit} {more} than the one before"
    else:
        what = "they scatter" if manner.kind == "scatter" else "the habit drifts"
        told = f"{what} about {manner.factor:.1f} times as much"
    return f"the laps don't look as {event.stated} ({manner.chance:.0%}): {told}"


class _Following:
    """The race as it is followed; what it knows is its own, so that a copy goes on by itself."""

    def __init__(self, event: Event, history: bool) -> None:
        spec = event.spec
        self.event, self.history = event, history
        self.race = Race(
            event,
            EnergyPlan(event.plan, spec.plan.changed),
            energy.begin(event),
            {name: temperature.begin(bound) for name, bound in event.temperatures.items()},
            Ledger(event.dials, read_back=spec.readbacks.wheel is not None),
            Clock({}, spec.distance),
        )
        self.announced = _Announced()
        self.announced_since = _Announced()  # the last neutralisation began
        # what is known, but for how much the last certain report allows to be left
        self.believed = self.race.energy
        self.replanned: _Replanned | None = None
        self.settings: dict[str, float] = {}
        self.called_laps: list[int] = []
        self.entry: LapsEntry | None = None  # that reports are still held against
        # while nothing is told of the target: behind which lap it was called, and how many times as
        # likely as kept it must be ignored to tell it one lap later, and two
        self.target_called: tuple[int, list[float]] | None = None
        self.told_of_manners = set[str]()
        self.calls: dict[str, Entry] = {}
        self.wrong: dict[str, int] = {}  # dial → its last read-back, where it is wrong
        self.past: list[Race] = []  # with history: behind each lap
        self.lap, self.behind = 1, 0  # of the fact being taken

    def __copy__(self) -> _Following:
        """Return it as it stands: what becomes of either changes nothing in the other."""
        made = object.__new__(_Following)
        made.__dict__ = {
            name: copy.copy(value) if isinstance(value, _CHANGING) else value
            for name, value in self.__dict__.items()
        }
        made.race = self.race.as_it_stands()
        return made

    def seen(self) -> Race:
        """Return the race as it stands now, with its history where that is kept."""
        race = self.race.as_it_stands()
        if self.history:
            race.history = [*self.past[: race.lap], race.as_it_stands()]
        return race

    def _look(self) -> None:
        """Keep the race as it stands behind the lap, in place of what was kept of it before."""
        if self.history:
            self.past[self.race.lap :] = [self.race.as_it_stands()]

    def _note(self, kind: str, text: str, fact: Entry) -> None:
        self.race.notices.append(RaceNotice(kind, self.lap, text, fact.seq))

    def take(self, one: Placed) -> None:
        """Take the next fact."""
        fact, self.lap, self.behind = one.entry, one.lap, one.behind
        calls, readbacks = self.event.spec.calls, self.event.spec.readbacks
        self.race.heard = fact.at if fact.at is not None else self.race.heard
        if not one.of_lap and 0 < self.behind - self.race.lap <= _LAPS_UNHEARD:
            self._drive_to(self.behind)
        if fact.kind == "event":
            self._event(fact)
        elif fact.kind == "readback":
            self._repeated(fact)
        elif fact.kind == "call":
            self.calls[fact.message] = fact
            self._set(fact)
            if calls.pace and fact.message == calls.pace.message:
                self._target(fact, calls.pace.target)
            elif calls.distance and fact.message == calls.distance.message:
                self._distance_called(fact, calls.distance)
            elif calls.wheel and fact.message == calls.wheel.message:
                self._wheel(fact, calls.wheel, called=True)
        elif readbacks.distance and fact.message == readbacks.distance.message:
            self._distance_entered(fact, readbacks.distance)
        elif readbacks.wheel and fact.message == readbacks.wheel.message:
            self._wheel(fact, readbacks.wheel, called=False)
        elif _tells(self.event, fact):
            self._report(fact)

    def _report(self, fact: Entry) -> None:
        race, lap = self.race, self.behind
        if fact.lap is None or lap < 1:
            self._note("no-lap", "a report without a lap tells nothing of the race", fact)
            return
        if lap > MOST_PLANNED:
            message = f"lap {lap} is more than a race can have: its report is left out"
            self._note("no-lap", message, fact)
            return
        self._drive_to(lap)
        wrong = 1 - (1 - float(self.event.spec.wrong)) * (
            1.0 if fact.certainty is None else fact.certainty
        )
        used, usable = float(race.plan.used(race.lap)), float(race.usable)
        observed = list(
            energy.observations(self.event, fact.values, planned_used=used, usable=usable)
        )
        if self._held_against_entry(fact, wrong, usable):
            truth = 1.0
        else:
            truth = self.believed.truth_of(observed, wrong=wrong)
            self._know(lambda state: state.report(observed, wrong=wrong, mark=lap))
        least = energy.least_used(self.event, fact.values, usable=usable)
        if least is not None and (fact.certainty is None or fact.certainty >= _CERTAIN):
            race.energy = self.believed.at_least(least)
        doubted = (
            [name for name in self.event.energies if name in fact.values] if truth < _FITS else []
        )
        for name, state in race.temperatures.items():
            said = list(temperature.observations(self.event.temperatures[name], fact.values))
            doubted += [name] if state.truth_of(said, wrong=wrong) < _FITS else []
            race.temperatures[name] = state.report(said, wrong=wrong, mark=lap)
        race.reported.append(lap)
        race.driven[-1] = replace(race.driven[-1], used=race.energy.level().mean)
        self._keep_settings(fact, lap, observed)
        self._doubt_driver(fact)
        if doubted:
            fields = self.event.book.fields
            told = ", ".join(
                f"{fields[name].title}"
                f" {fields[name].text(fields[name].level(fact.values[name]).level)}"
                for name in doubted
            )
            self._note(
                "unlikely-report",
                f"the report of lap {lap} does not fit the laps before it: {told}; is it right?",
                fact,
            )

    def _held_against_entry(self, fact: Entry, wrong: float, usable: float) -> bool:
        """Hold a report against the laps entered last; where a dash that has others fits far
        better it is taken to have them, and what is to be asked is noted. Tell whether that is so.
        """
        race = self.race
        if self.entry is None:
            return False
        entry = self.entry.reported(race.lap, fact.values, wrong=wrong, usable=usable)
        last = race.lap >= entry.lap + LAPS_HELD
        self.entry = None if last else entry
        found, known = entry.likeliest, entry.laps if entry.entered else 0
        sure = found.share >= _FITS_ENTRY
        if found.laps == known or found.share < _MAY_FIT or (entry.asked and not sure):
            return False
        added = counted(entry.laps, "lap")
        told = {
            0: f"no laps added: were the {added} entered?",
            entry.laps: f"the {added} added; no read-back was heard",
        }.get(found.laps, f"{found.laps} laps added: were the {added} entered twice?")
        self._note(
            "laps-entry",
            f"the report of lap {race.lap} fits a dash that has {told} ({found.share:.0%})",
            fact,
        )
        if not last:
            self.entry = replace(entry, asked=True, entered=found.laps > 0 if sure else known > 0)
        if sure:
            race.plan, race.laps_entered = found.plan, race.laps_entered + found.laps - known
            self.believed = race.energy = found.used
        return sure

    def _keep_settings(self, fact: Entry, lap: int, observed: Sequence[Observation]) -> None:
        """Keep what a report said of the energy, with what is set."""
        self._set(fact)
        said = [one for one in observed if math.isfinite(one.low) and math.isfinite(one.high)]
        if said:
            positions = {name: float(at) for name, at in self.race.ledger.positions.items()}
            low, high, _ = min(said, key=lambda one: one.high - one.low)
            now = ReportedLap(lap, low, high, {**positions, **self.settings})
            self.race.energies_reported.append(now)

    def _set(self, fact: Entry) -> None:
        """Take what a report or a call says of a setting that the event names."""
        for name in self.event.spec.settings:
            if isinstance(value := fact.values.get(name), Decimal):
                self.settings[name] = float(value)

    def _know(self, step: Callable[[GaussianMixture], GaussianMixture]) -> None:
        """Take a step in what is believed of the energy, and in what is shown of it."""
        shown, believed = self.race.energy, self.believed
        self.believed = step(believed)
        self.race.energy = self.believed if shown is believed else step(shown)

    def _doubt_driver(self, fact: Entry) -> None:
        """Note a target that is not kept, once a call, and laps that are not as the event file
        says, once of each kind.
        """
        race, unit = self.race, self.event.spec.energy.unit
        if race.target is not None and self.target_called is not None:
            behind, soon = self.target_called
            kept, half, ignored = race.energy.branches()
            driven = race.lap - behind
            likelier = soon[driven - 1] if 1 <= driven <= len(soon) else 1.0
            if ignored > kept * likelier or half + ignored > _NOT_KEPT:
                self.target_called = None
                use = float(race.target) + race.energy.slope().mean
                sure = half + ignored > kept
                how = "half kept" if half > ignored else "not kept"
                self._note(
                    "target-not-kept",
                    f"the target of {float(race.target):.2f} {unit} {'is' if sure else 'may be'}"
                    f" {how} ({half + ignored:.0%}): a lap takes {use:.2f}",
                    fact,
                )
        race.manners = energy.manners(self.believed)
        for manner in race.manners:
            if manner.kind not in self.told_of_manners:
                self.told_of_manners.add(manner.kind)
                self._note("not-as-stated", _manner(manner, self.event), fact)

    def _drive_to(self, lap: int) -> None:
        race = self.race
        while race.lap < lap:
            self._look()
            race.lap += 1
            expected = race.expected(race.lap)
            racing = race.clock.lap_seconds(race.raced) if race.spans else None
            share = race.clock.share(race.lap, race.spans, lap, racing)
            if share.raced:
                race.raced.append(race.lap)
            extra = race.extra_energy(race.lap - 1, race.lap)
            move = energy.transition(self.event, float(expected), share, extra)
            self._know(functools.partial(GaussianMixture.advance, move=move))
            if self.entry is not None:
                self.entry = self.entry.driven(race.lap, race.target, share, extra)
            for name, bound in self.event.temperatures.items():
                race.temperatures[name] = race.temperatures[name].advance(
                    temperature.transition(bound)
                )
            used = race.energy.level().mean
            race.driven.append(DrivenLap(race.lap, used, expected, share.mean, extra))

    def _event(self, fact: Entry) -> None:
        race = self.race
        if fact.message == NEUTRALISED and not race.neutralised:
            race.spans.append(Neutralised(self.lap, fact.at, added_before=race.laps_added))
            self.announced_since = _Announced()
        elif fact.message == RESUMED and race.neutralised:
            race.spans[-1] = replace(race.spans[-1], last=self.lap, end=fact.at)
            self._neutralisation_over(fact)
        elif fact.message == ADDED and fact.amount is not None:  # nobody knows how many, else
            laps = _added(fact)
            if laps != (fact.amount or 0):
                self._too_many(f"{fact.amount:.6g}", fact)
            self._announce(laps, fact, called=False)
            distance = self.event.spec.calls.distance or self.event.spec.readbacks.distance
            if laps and distance is None:  # nobody enters them: the dash counts them itself
                self._enter(laps, fact)
        elif fact.message == POSITION:
            self._position(fact)
        self._stopped_or_used(fact)

    def _stopped_or_used(self, fact: Entry) -> None:
        """Take a stop for the first charging stop whose window is open, and count a use of extra
        power.
        """
        race, extra = self.race, self.event.spec.extra_power
        if fact.message == MARKER:
            race.ledger.marked += 1
        if fact.message == STOP:
            open_now = [
                name
                for name, stop in self.event.spec.charging.items()
                if name not in race.charged and stop.first <= self.lap <= stop.last
            ]
            race.charged |= dict.fromkeys(open_now[:1], self.lap)
        if extra is not None and fact.message == extra.fact:
            race.extra_used.append(self._place(fact))

    def _place(self, fact: Entry) -> float:
        """Return where in the race a fact was told, in laps from the start: by its time, else in
        the middle of its lap.
        """
        clock, into = self.race.clock, 0.5
        begun, lap_seconds = (
            clock.ended(self.lap - 1, self.lap - 1),
            clock.lap_seconds(self.race.raced),
        )
        if begun is not None and lap_seconds is not None and fact.at is not None:
            into = min(max((fact.at - begun) / (1000 * lap_seconds), 0.0), 1.0)
        return self.lap - 1 + into

    def _position(self, fact: Entry) -> None:
        """Take where the driver says that a dial stands; the event's note names it."""
        try:
            self.race.ledger.stands(fact.note, int(fact.amount or 0))
        except SettingError as error:
            self._note(error.kind, error.message, fact)

    def _announce(self, laps: int, fact: Entry, *, called: bool) -> None:
        """Count laps added, unless they are more than a race can get; what was expected is settled
        by them.
        """
        if (self.announced.laps or 0) + laps > MOST_LAPS:
            self._too_many(str(laps), fact)
            return
        race, expected = self.race, self.race.laps_expected
        self.announced.add(laps, called=called)
        self.announced_since.add(laps, called=called)
        race.laps_expected = 0
        race.laps_added = self.announced.laps or 0
        if expected:
            race.notices = [one for one in race.notices if one.kind != "laps-expected"]
            if laps != expected:
                self._differ(laps, expected, fact)

    def _differ(self, laps: int, due: int, fact: Entry) -> None:
        told = counted(laps, "lap was", "laps were")
        self._note("laps-differ", f"{told} announced, by the event file it would be {due}", fact)

    def _too_many(self, laps: str, fact: Entry) -> None:
        message = f"{laps} laps more than the race has: no race can get so many; they do not count"
        self._note("laps-added", message, fact)

    def _neutralisation_over(self, fact: Entry) -> None:
        race, spec = self.race, self.event.spec.neutralisation
        minutes, laps = race.minutes_neutralised(), race.laps_due()
        if minutes is None or laps is None:
            if spec.laps_per_minute or spec.time_share or spec.energy_per_minute:
                self._note(
                    "no-time",
                    "how long the race was neutralised is not known: its entries have no times;"
                    " enter the laps added",
                    fact,
                )
            return
        race.minutes_added += minutes * Fraction(spec.time_share)
        announced, known = self.announced_since.laps, self.announced.laps or 0
        if announced is not None:
            if laps and announced != laps:
                self._differ(announced, laps, fact)
        elif laps > MOST_LAPS - known:
            self._too_many(str(laps), fact)
        elif laps:
            race.laps_expected, race.laps_added = laps, known + laps
            self._note(
                "laps-expected",
                f"{counted(laps, 'lap is', 'laps are')} to be added by the event file; wait for"
                " race control",
                fact,
            )
        removed = minutes * Fraction(spec.energy_per_minute)
        if removed:
            race.removed += removed
            self._change(0, removed, fact)
            self.entry = None

    def _change(self, laps: int, removed: Fraction, fact: Entry) -> bool:
        race = self.race
        was = self.replanned
        if was is None or was.believed is not self.believed:
            was = _Replanned(self.believed, race.energy, race.expected(race.lap + 1), self.believed)
        try:
            race.plan = race.plan.change(race.lap, laps=laps, removed=removed)
        except CodeError as error:
            self._note("plan", error.message, fact)
            return False
        planned, before = float(race.expected(race.lap + 1)), float(was.planned)
        self.believed, race.energy = was.believed_before, was.shown_before
        if planned != before:
            self._know(lambda state: energy.replanned(self.event, state, before, planned))
        self.replanned = replace(was, believed=self.believed)
        return True

    def _enter(self, laps: int, fact: Entry) -> None:
        before, believed = self.race.plan, self.believed
        if self._change(laps, Fraction(0), fact):
            self.race.laps_entered += laps
            if self.event.spec.calls.distance or self.event.spec.readbacks.distance:
                self._hold(before, believed, laps, entered=True)

    def _hold(
        self, before: EnergyPlan, believed: GaussianMixture, laps: int, *, entered: bool
    ) -> None:
        """Hold the reports to come against laps that are to be entered, or were; what was planned
        and believed before.
        """
        if laps > 0:
            self.entry = LapsEntry.begin(
                self.event, before, self.race.lap, laps, believed, entered=entered
            )

    def _distance_called(self, fact: Entry, spec: LapsSpec) -> None:
        laps = whole(fact.values, spec.added)
        self._announce(laps, fact, called=True)
        if self.event.spec.readbacks.distance is None:
            self._enter(laps, fact)
        else:
            self.called_laps.append(laps)
            self._hold(self.race.plan, self.believed, laps, entered=False)

    def _distance_entered(self, fact: Entry, spec: LapsSpec) -> None:
        laps = whole(fact.values, spec.added)
        called = self.called_laps.pop(0) if self.called_laps else None
        if called is not None and called != laps:
            self._note(
                "readback-differs",
                f"{counted(called, 'lap added was', 'laps added were')} called, {laps} entered",
                fact,
            )
        self._enter(laps, fact)

    def _target(self, fact: Entry, name: str) -> None:
        value, unit = fact.values.get(name), self.event.book.fields[name].unit_text
        if isinstance(value, Decimal):
            race, before = self.race, float(self.race.expected(self.race.lap + 1))
            target_before = race.target
            if target_before is not None:
                race.courses.append(race.energy.branches())
            race.target = units.energy(value, unit, self.event.spec.energy.unit)
            target = float(race.target)
            self._know(lambda state: energy.called(self.event, state, before, target))
            kept, _, ignored = race.energy.branches()
            soon = [
                energy.ignored_against_kept(self.event, race.energy, laps, falsely)
                for laps, falsely in enumerate(_FALSELY_TOLD, 1)
            ]
            self.target_called = race.lap, [min(1.0, ignored / kept * times) for times in soon]
            if self.entry is not None:
                self.entry = self.entry.called(race.lap + 1, target_before, race.target)

    def _repeated(self, fact: Entry) -> None:
        """Note a call that was not repeated as it was said.

        What counts as done is the message that the event names for it.
        """
        called = self.calls.get(fact.message)
        if called is None:
            return
        self._mended(called.seq)
        if differs := different(self.event.book, called, fact.values):
            title = self.event.book.messages[fact.message].title
            self._note("readback-differs", f"{title}: {differs}", called)

    def _mended(self, seq: int) -> None:
        """Take back what was said of a read-back: it was said again."""
        self.race.notices = [
            one for one in self.race.notices if one.kind != "readback-differs" or one.seq != seq
        ]

    def _wheel(self, fact: Entry, spec: WheelSpec, *, called: bool) -> None:
        dial, setting = wheel_move(spec, fact.values)
        ledger = self.race.ledger
        try:
            if called:
                ledger.call(dial, setting)
                return
            name = ledger.name(dial)
            mended = self.wrong.pop(name, None) if ledger.mends(name, setting) else None
            flag = ledger.answer(dial, setting)
        except SettingError as error:
            if error.kind == "dial" and not self.event.dials:
                return
            self._note(error.kind, error.message, fact)
            return
        if mended is not None:  # it is said again: what was wrong before it is no more
            self._mended(mended)
        if flag:
            self._note("readback-differs", flag, fact)
            self.wrong[name] = fact.seq
