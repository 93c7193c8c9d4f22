"""Settings on the wheel: where each dial stands, and the fewest clicks to where it should.

A call moves a dial when the driver reads it back (or when it is said, where the event names no
read-back). What was called and not yet read back is kept apart, so that the next call is judged by
where the dial will be.
"""

from __future__ import annotations

import dataclasses
import heapq
import itertools
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple

from codec.race.event import DialSpec, WheelSpec
from grammar.errors import CodeError

NOT_DONE = 0.1  # of calls that were not read back


class SettingError(CodeError):
    """A call or a wanted position that the wheel does not have."""


@dataclass(frozen=True, slots=True)
class Move:
    """One call: so many clicks of a dial, up above zero, down below."""

    dial: str
    clicks: int


class Position(NamedTuple):
    """A setting that says where a dial is to stand."""

    at: int


Setting = int | Position  # so many clicks, or a position


@dataclass(frozen=True, slots=True)
class WrongAnswer:
    """A read-back that said something else than was called: the call, what was said, and where the
    dial stood before it.
    """

    called: Setting
    said: Setting
    before: int


@dataclass(slots=True)
class Ledger:
    """Where each dial stands.

    ``waiting`` holds the calls not yet read back, ``last`` the dial that was moved last, "" before
    any was, and ``earlier`` the one before it; ``marked`` tells how often the driver has pressed
    the marker since; ``doubtful`` are the dials whose read-back cannot be, ``wrong`` the last
    read-back of a dial where it was wrong and is not put right yet.
    """

    dials: Mapping[str, DialSpec]
    read_back: bool = True
    positions: dict[str, int] = field(default_factory=dict)
    waiting: dict[str, list[Setting]] = field(default_factory=dict)
    last: str = ""
    earlier: str = ""
    marked: int = 0
    doubtful: set[str] = field(default_factory=set)
    wrong: dict[str, WrongAnswer] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Begin with every dial where the event says it starts."""
        self.positions = {name: dial.start for name, dial in self.dials.items()} | self.positions

    def as_it_stands(self) -> Ledger:
        """Return the ledger as it stands now: later calls change nothing there."""
        waiting = {name: list(calls) for name, calls in self.waiting.items()}
        return dataclasses.replace(
            self,
            positions=dict(self.positions),
            waiting=waiting,
            doubtful=set(self.doubtful),
            wrong=dict(self.wrong),
        )

    def name(self, dial: str) -> str:
        """Return the dial's name as the event writes it; raises SettingError for an unknown one."""
        found = next(
            (name for name in self.dials if name.casefold() == dial.strip().casefold()), None
        )
        if found is None:
            raise SettingError(
                f"the event has no dial {dial!r}", kind="dial", expected=list(self.dials)
            )
        return found

    def heading(self, dial: str) -> int:
        """Return where a dial stands when every call has been done."""
        position = self.positions[dial]
        for setting in self.waiting.get(dial, ()):
            position = self._moved(dial, position, setting)
        return position

    def call(self, dial: str, setting: Setting) -> int:
        """Note a call and return where the dial will be; raises SettingError, and notes nothing,
        where that would leave the range.

        The call of a wrong read-back, said again, is no new one.
        """
        name = self.name(dial)
        wrong = self.wrong.get(name)
        if wrong is not None and wrong.called == setting and not self.waiting.get(name):
            return self._moved(name, wrong.before, setting)
        position = self._moved(name, self.heading(name), setting)
        self._changed(name)
        if self.read_back:
            self.waiting.setdefault(name, []).append(setting)
        else:
            self.positions[name] = position
        return position

    def _changed(self, name: str) -> None:
        if name != self.last:
            self.earlier = self.last
        self.last, self.marked = name, 0

    def mends(self, name: str, setting: Setting) -> bool:
        """Tell whether a read-back puts the last wrong one right, or says it once more."""
        wrong = self.wrong.get(name)
        return (
            wrong is not None
            and not self.waiting.get(name)
            and setting in (wrong.called, wrong.said)
        )

    def answer(self, dial: str, setting: Setting) -> str:
        """Note a read-back: the dial moves as the driver says. One that puts a wrong one right, or
        says it once more, counts in its place.

        Returns what is wrong with it in words, "" if nothing is.
        """
        name = self.name(dial)
        waiting = self.waiting.get(name, [])
        called: Setting | None
        if self.mends(name, setting):
            before, called = self.wrong[name].before, self.wrong[name].called
        else:
            before, called = self.positions[name], waiting.pop(0) if waiting else None
        self.wrong.pop(name, None)
        self._changed(name)
        try:
            self.positions[name] = self._moved(name, before, setting)
        except SettingError:
            self.doubtful.add(name)
            return (
                f"{name}: {in_words(setting)} read back, which cannot be from {before}; ask where"
                " it stands"
            )
        now = f"it stands at {self.positions[name]} now"
        if called is None:
            return f"{name}: {in_words(setting)} read back, but not called; {now}"
        if called != setting:
            self.wrong[name] = WrongAnswer(called, setting, before)
            return f"{name}: {in_words(called)} called, {in_words(setting)} read back; {now}"
        return ""

    def stands(self, dial: str, position: int) -> None:
        """Note where the driver says that a dial stands; raises SettingError where it can't.

        What was called before it is done with.
        """
        name = self.name(dial)
        self.positions[name] = self._moved(name, self.positions[name], Position(position))
        self.waiting.pop(name, None)
        self.wrong.pop(name, None)
        self.doubtful.discard(name)

    def doubt(self, dial: str, not_done: float = NOT_DONE) -> dict[int, float]:
        """Return where a dial may stand, each position with its chance, the likeliest first.

        A call that waits for its read-back was done but for ``not_done``; of one that was read
        back otherwise, either may have been done; one whose read-back can't be may be a position
        off. The chances are common practice, no source.
        """
        name = self.name(dial)
        spec, position = self.dials[name], self.positions[name]
        found = {position: 1.0}
        if name in self.wrong:
            called = self._moved(name, self.wrong[name].before, self.wrong[name].called)
            found = {position: 0.5}
            found[called] = found.get(called, 0.0) + 0.5
        elif name in self.doubtful:
            beside = [at for by in (-1, 1) if (at := move(spec, position, by)) is not None]
            found = {position: 0.5, **dict.fromkeys(beside, 0.5 / len(beside))}
        for setting in self.waiting.get(name, ()):
            after: dict[int, float] = {}
            for at, chance in found.items():
                try:
                    moved = self._moved(name, at, setting)
                except SettingError:
                    moved = at
                after[moved] = after.get(moved, 0.0) + chance * (1 - not_done)
                after[at] = after.get(at, 0.0) + chance * not_done
            found = after
        return dict(sorted(found.items(), key=lambda one: -one[1]))

    def _moved(self, name: str, position: int, setting: Setting) -> int:
        dial = self.dials[name]
        if isinstance(setting, Position):
            if dial.has(setting.at):
                return setting.at
            message, most = f"{name}: there is no position {setting.at}", dial.span
            raise SettingError(message, kind="dial-range", expected=[most])
        moved = move(dial, position, setting)
        if moved is None:
            up, down = (room // dial.step for room in (dial.high - position, position - dial.low))
            raise SettingError(
                f"{name}: {in_words(setting)} from {position} would leave {dial.low} … {dial.high}",
                kind="dial-range",
                expected=[f"at most {up} up or {down} down"],
            )
        return moved


def in_words(setting: Setting) -> str:
    """Return a setting in words: "2 up", "position 7"."""
    if isinstance(setting, Position):
        return f"position {setting.at}"
    clicks = setting
    return f"{abs(clicks)} {'down' if clicks < 0 else 'up'}"


def move(dial: DialSpec, position: int, clicks: int) -> int | None:
    """Return where a dial stands after some clicks, None where it cannot go."""
    moved = position + clicks * dial.step
    if dial.wraps:
        return dial.low + (moved - dial.low) % (dial.high - dial.low + dial.step)
    return moved if dial.low <= moved <= dial.high else None


def fewest_clicks(
    ledger: Ledger,
    wanted: Mapping[str, int],
    allowed: Iterable[int],
    seconds: Callable[[Move], float] = lambda _: 0.0,
) -> list[Move]:
    """Return the calls that bring the dials to the ``wanted`` positions with the fewest clicks.

    Of several such ways it is the one with the fewest calls, then with the least time. ``allowed``
    are the clicks that one call may say, either way; ``seconds`` the time a call takes. Raises
    SettingError for a position that is not there or cannot be reached.
    """
    counts = sorted({abs(clicks) for clicks in allowed} - {0})
    moves: list[Move] = []
    for dial, position in wanted.items():
        name = ledger.name(dial)
        spec = ledger.dials[name]
        if not spec.has(position):
            raise SettingError(
                f"{name}: there is no position {position}",
                kind="dial-range",
                expected=[spec.span],
            )
        moves += _way(spec, name, ledger.heading(name), position, counts, seconds)
    return moves


def _way(
    spec: DialSpec,
    name: str,
    start: int,
    goal: int,
    counts: list[int],
    seconds: Callable[[Move], float],
) -> list[Move]:
    """Return the cheapest way from one position to another: Dijkstra's algorithm over (clicks,
    calls, seconds).
    """
    steps = [Move(name, sign * clicks) for clicks in counts for sign in (1, -1)]
    number = itertools.count()
    queue: list[tuple[tuple[int, int, float], int, int, list[Move]]] = [
        ((0, 0, 0.0), next(number), start, [])
    ]
    done: set[int] = set()
    while queue:
        (clicks, calls, time), _, position, way = heapq.heappop(queue)
        if position == goal:
            return way
        if position in done:
            continue
        done.add(position)
        for step in steps:
            following = move(spec, position, step.clicks)
            if following is not None and following not in done:
                cost = (clicks + abs(step.clicks), calls + 1, time + seconds(step))
                heapq.heappush(queue, (cost, next(number), following, [*way, step]))
    raise SettingError(
        f"{name}: {goal} can't be reached from {start} with calls of {counts} clicks",
        kind="dial-range",
    )


def wheel_move(spec: WheelSpec, values: Mapping[str, object]) -> tuple[str, Setting]:
    """Return the dial and the setting (clicks, down below zero, or a position) that a call or a
    read-back tells.
    """
    dial = str(values[spec.dial])
    if spec.position:
        return dial, Position(whole(values, spec.position))
    up = str(values[spec.way]).casefold() == spec.up.casefold()
    clicks = whole(values, spec.clicks)
    return dial, clicks if up else -clicks


def whole(values: Mapping[str, object], name: str) -> int:
    """Return a whole number that was said, 0 where there is none."""
    value = values.get(name)
    return int(value) if isinstance(value, Decimal) else 0
