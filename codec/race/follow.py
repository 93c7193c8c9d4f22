"""Following the race: reports, calls, read-backs and events taken one after the other.

Nothing is kept between two looks: a correction of an earlier lap changes all that follows from it,
so the race is worked out from the start each time. That takes a few milliseconds a lap.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from fractions import Fraction

from codec.race import energy, temperature, units
from codec.race.binding import Event
from codec.race.clock import Clock, Neutralised
from codec.race.dials import Ledger, SettingError, wheel_move, whole
from codec.race.event import LapsSpec, WheelSpec
from codec.race.plan import MOST_PLANNED, EnergyPlan
from codec.race.race import Race, RaceNotice
from codec.sheet.entry import Entry
from codec.sheet.state import ADDED, MOST_LAPS, NEUTRALISED, RESUMED
from grammar.errors import CodeError, counted
from grammar.fields import Value

_FITS = 0.5  # a value less likely than this to be right is pointed out


def follow(event: Event, facts: Iterable[Entry], *, history: bool = False) -> Race:
    """Return the race after all facts; they may come in any order of laps. What does not fit is a
    notice, never an error.

    With ``history`` the race keeps how it stood behind each lap.
    """
    return _Following(event, _in_order(facts), history).race


def _in_order(facts: Iterable[Entry]) -> list[Entry]:
    """Return the facts by lap, of one lap in the order they were written; of each lap only the last
    report of a kind.
    """
    running, keyed = 0, []
    last: dict[tuple[int, str], Entry] = {}
    for fact in facts:
        if fact.kind == "report" and fact.lap is not None:
            running = max(running, fact.lap)
            last[fact.lap, fact.message] = fact
        keyed.append((running if fact.lap is None else fact.lap, fact))
    kept = [
        (lap, fact)
        for lap, fact in keyed
        if fact.kind != "report" or fact.lap is None or last[fact.lap, fact.message] is fact
    ]
    return [fact for _, fact in sorted(kept, key=lambda pair: pair[0])]


def _added(fact: Entry) -> int:
    """Return the laps that an event says are added, below 0 those taken back; 0 where no race can
    get so many.
    """
    amount = fact.amount or Decimal(0)
    return int(amount) if abs(amount) <= MOST_LAPS and amount == int(amount) else 0


class _Following:
    def __init__(self, event: Event, facts: list[Entry], history: bool) -> None:
        spec = event.spec
        self.event, self.facts, self.history = event, facts, history
        lap_messages = {fact.message for fact in facts if self._tells(event, fact)}
        times = {
            f.lap: f.at
            for f in facts
            if f.kind == "report"
            and f.lap is not None
            and f.at is not None
            and f.message in lap_messages
        }
        self.race = Race(
            event,
            EnergyPlan(event.plan, spec.plan.changed),
            energy.begin(event),
            {name: temperature.begin(bound) for name, bound in event.temperatures.items()},
            Ledger(spec.dials, read_back=spec.readbacks.wheel is not None),
            Clock(times, spec.distance),
        )
        self.spans = self._spans()
        self.announced = sum(_added(f) for f in facts if f.kind == "event" and f.message == ADDED)
        self.called_laps: list[int] = []
        self.calls: dict[str, Mapping[str, Value]] = {}
        for fact in facts:
            self._take(fact)
        self._look()

    def _look(self) -> None:
        """Keep the race as it stands behind the lap, in place of what was kept of it before."""
        race = self.race
        if self.history:
            race.history[race.lap :] = [race.as_it_stands()]

    @staticmethod
    def _tells(event: Event, fact: Entry) -> bool:
        """Tell whether a fact is a report of the lap: it says something of energy or
        temperature.
        """
        return fact.kind == "report" and bool(
            fact.values.keys() & (event.energies.keys() | event.temperatures.keys())
        )

    def _spans(self) -> list[Neutralised]:
        """Return the neutralisations that the facts tell of."""
        found: list[Neutralised] = []
        running = 0
        for fact in self.facts:
            running = max(running, fact.lap or 0)
            lap = running if fact.lap is None else fact.lap
            if (
                fact.kind == "event"
                and fact.message == NEUTRALISED
                and not (found and found[-1].last is None)
            ):
                found.append(Neutralised(lap, fact.at))
            elif (
                fact.kind == "event"
                and fact.message == RESUMED
                and found
                and found[-1].last is None
            ):
                found[-1] = Neutralised(found[-1].first, found[-1].begin, lap, fact.at)
        return found

    def _note(self, kind: str, text: str, fact: Entry) -> None:
        self.race.notices.append(
            RaceNotice(kind, self.race.lap if fact.lap is None else fact.lap, text, fact.seq)
        )

    def _take(self, fact: Entry) -> None:
        calls, readbacks = self.event.spec.calls, self.event.spec.readbacks
        if fact.kind == "event":
            self._event(fact)
        elif fact.kind == "readback":
            self._repeated(fact)
        elif fact.kind == "call":
            self.calls[fact.message] = fact.values
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
        elif self._tells(self.event, fact):
            self._report(fact)

    def _report(self, fact: Entry) -> None:
        race = self.race
        if fact.lap is None or fact.lap < 1:
            self._note("no-lap", "a report without a lap tells nothing of the race", fact)
            return
        if fact.lap > MOST_PLANNED:
            message = f"lap {fact.lap} is more than a race can have: its report is left out"
            self._note("no-lap", message, fact)
            return
        self._drive_to(fact.lap)
        wrong = 1 - (1 - float(self.event.spec.wrong)) * (
            1.0 if fact.certainty is None else fact.certainty
        )
        used, usable = float(race.plan.used(race.lap)), float(race.usable)
        observed = energy.observations(self.event, fact.values, planned_used=used, usable=usable)
        race.energy, truth = race.energy.report(observed, wrong=wrong, mark=fact.lap)
        doubted = (
            [name for name in self.event.energies if name in fact.values] if truth < _FITS else []
        )
        for name, state in race.temperatures.items():
            observed = temperature.observations(self.event.temperatures[name], fact.values)
            race.temperatures[name], right = state.report(observed, wrong=wrong, mark=fact.lap)
            doubted += [name] if right < _FITS else []
        race.reported.append(fact.lap)
        if doubted:
            fields = self.event.book.fields
            told = ", ".join(
                f"{fields[name].title}"
                f" {fields[name].text(fields[name].level(fact.values[name]).level)}"
                for name in doubted
            )
            self._note(
                "unlikely-report",
                f"the report of lap {fact.lap} does not fit the laps before it: {told}; is it"
                " right?",
                fact,
            )

    def _drive_to(self, lap: int) -> None:
        race = self.race
        while race.lap < lap:
            self._look()
            race.lap += 1
            shares = [race.clock.share(race.lap, span) for span in self.spans]
            share = max(shares, key=lambda found: found.mean, default=energy.RACING)
            if not share.mean:
                race.raced.append(race.lap)
            race.energy = race.energy.advance(
                energy.transition(self.event, float(race.expected(race.lap)), share)
            )
            for name, bound in self.event.temperatures.items():
                race.temperatures[name] = race.temperatures[name].advance(
                    temperature.transition(bound)
                )

    def _event(self, fact: Entry) -> None:
        race = self.race
        if fact.message == NEUTRALISED:
            race.neutralised = True
        elif fact.message == RESUMED and race.neutralised:
            race.neutralised = False
            ended = sum(
                1
                for span in self.spans
                if span.last is not None and span.last <= (fact.lap or race.lap)
            )
            self._neutralisation_over(self.spans[max(0, min(ended, len(self.spans)) - 1)], fact)
        elif fact.message == ADDED:
            laps = _added(fact)
            if laps != (fact.amount or 0):
                self._too_many(f"{fact.amount:.6g}", fact)
            self._make_longer(laps, fact)
            distance = self.event.spec.calls.distance or self.event.spec.readbacks.distance
            if laps and distance is None:
                self._enter(laps, fact)

    def _make_longer(self, laps: int, fact: Entry) -> None:
        """Count laps added, unless they are more than a race can get."""
        if self.race.laps_added + laps <= MOST_LAPS:
            self.race.laps_added += laps
        else:
            self._too_many(str(laps), fact)

    def _too_many(self, laps: str, fact: Entry) -> None:
        message = f"{laps} laps more than the race has: no race can get so many; they do not count"
        self._note("laps-added", message, fact)

    def _neutralisation_over(self, span: Neutralised, fact: Entry) -> None:
        race, spec = self.race, self.event.spec.neutralisation
        minutes = race.clock.minutes(span)
        if minutes is None:
            if spec.laps_per_minute or spec.time_share or spec.energy_per_minute:
                self._note(
                    "no-time",
                    "how long the race was neutralised is not known; give the events times, or"
                    " distance.lap_seconds",
                    fact,
                )
            return
        race.minutes_added += minutes * Fraction(spec.time_share)
        added = minutes * Fraction(spec.laps_per_minute)
        laps = (
            -(-added.numerator // added.denominator)
            if spec.count == "begun"
            else added.numerator // added.denominator
        )
        if not self.announced and not any(
            f.kind == "call" and self._is_distance(f) for f in self.facts
        ):
            self._make_longer(laps, fact)
            if laps:
                self._note(
                    "laps-expected",
                    f"{counted(laps, 'lap is', 'laps are')} to be added by the event file; wait for"
                    " race control",
                    fact,
                )
        elif laps and self.announced and laps != self.announced and len(self.spans) == 1:
            self._note(
                "laps-differ",
                f"{counted(self.announced, 'lap was', 'laps were')} announced, by the event file it"
                f" would be {laps}",
                fact,
            )
        removed = minutes * Fraction(spec.energy_per_minute)
        if removed:
            race.removed += removed
            self._change(0, removed, fact)

    def _is_distance(self, fact: Entry) -> bool:
        distance = self.event.spec.calls.distance
        return distance is not None and fact.message == distance.message

    def _change(self, laps: int, removed: Fraction, fact: Entry) -> bool:
        try:
            self.race.plan = self.race.plan.change(self.race.lap, laps=laps, removed=removed)
        except CodeError as error:
            self._note("plan", error.message, fact)
            return False
        return True

    def _enter(self, laps: int, fact: Entry) -> None:
        if self._change(laps, Fraction(0), fact):
            self.race.laps_entered += laps

    def _distance_called(self, fact: Entry, spec: LapsSpec) -> None:
        laps = whole(fact.values, spec.added)
        if not self.announced:
            self._make_longer(laps, fact)
        if self.event.spec.readbacks.distance is None:
            self._enter(laps, fact)
        else:
            self.called_laps.append(laps)

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
            race = self.race
            race.target = units.energy(value, unit, self.event.spec.energy.unit)
            race.energy = race.energy.reset_slope(0.0, float(self.event.spec.energy.first))

    def _repeated(self, fact: Entry) -> None:
        """Note a call that was not repeated as it was said.

        What counts as done is the message that the event names for it.
        """
        called = self.calls.get(fact.message)
        if called is not None and dict(called) != dict(fact.values):
            message = self.event.book.messages[fact.message]
            differs = ", ".join(
                field.title
                for name, field in message.fields.items()
                if called.get(name) != fact.values.get(name)
            )
            self._note(
                "readback-differs",
                f"{message.title}: read back with another {differs} than called",
                fact,
            )

    def _wheel(self, fact: Entry, spec: WheelSpec, *, called: bool) -> None:
        dial, clicks = wheel_move(spec, fact.values)
        try:
            if called:
                self.race.ledger.call(dial, clicks)
                return
            flag = self.race.ledger.answer(dial, clicks)
        except SettingError as error:
            if error.kind == "dial" and not self.event.spec.dials:
                return
            self._note(error.kind, error.message, fact)
            return
        if flag:
            self._note("readback-differs", flag, fact)
