"""Who speaks for which car."""

from __future__ import annotations

from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass

from codec.radio.forms import Utterance
from codec.sheet.entry import Entry
from grammar.errors import CodeError
from grammar.message import Direction

_CAR, _PIT = ("car", "driver"), ("pit", "wall", "engineer", "pit wall")
_ENOUGH = 8  # lines that tell whether a transcript names people
_FEW = 0.25  # of the lines have a name before them, where a transcript names nobody
_NAMED = ["CAR=DRIVER,ENGINEER"]


@dataclass(frozen=True, slots=True)
class Crew:
    """A car, its driver, and those who speak to it."""

    car: str
    driver: str = ""
    wall: tuple[str, ...] = ()

    @property
    def people(self) -> tuple[str, ...]:
        """The names given, the driver's first."""
        return tuple(filter(None, (self.driver, *self.wall)))

    @property
    def own_names(self) -> tuple[str, ...]:
        """What the car itself may be called where a transcript names no driver."""
        return self.car.casefold(), f"car {self.car}".casefold()


def role_of(speaker: str, crews: Sequence[Crew]) -> tuple[Direction | None, str]:
    """Return the direction of what somebody sends (None if nobody knows), and the car."""
    speaker = speaker.casefold().strip()
    for crew in crews:
        if speaker and speaker in (crew.driver.casefold(), *crew.own_names):
            return "car", crew.car
        if speaker in [name.casefold() for name in crew.wall]:
            return "pit", crew.car
    if speaker in _CAR:
        return "car", ""
    if speaker in _PIT:
        return "pit", ""
    return _by_part(speaker, crews)


def _by_part(speaker: str, crews: Sequence[Crew]) -> tuple[Direction | None, str]:
    """Return whose name a part of one is, where it is of one person only: Marrow of Ilse Marrow."""
    parts = set(speaker.split())
    meant: list[tuple[Direction, str]] = []
    for crew in crews:
        people: list[tuple[Direction, str]] = [
            ("car", crew.driver),
            *(("pit", n) for n in crew.wall),
        ]
        meant += [
            (role, crew.car)
            for role, name in people
            if parts and parts < set(name.casefold().split())
        ]
    return meant[0] if len(meant) == 1 else (None, "")


class Roster:
    """The crews, and who of them has spoken so far."""

    def __init__(self, crews: Sequence[Crew]) -> None:
        """Take the crews."""
        self.crews = list(crews)
        self._roles: dict[str, tuple[Direction | None, str]] = {}
        self._cars: set[str] = set()
        self._lines = self._named = 0

    def take(self, utterance: Utterance) -> None:
        """Count an utterance with a name before it, or without one."""
        self._lines += 1
        self._named += bool(utterance.speaker)

    def who(self, utterance: Utterance) -> tuple[Direction | None, str]:
        """Return the direction of what a speaker sends, and the car."""
        speaker = utterance.speaker
        if speaker not in self._roles:
            self._roles[speaker] = role_of(speaker, self.crews)
        if utterance.car:
            self._cars.add(utterance.car)
        role, car = self._roles[speaker]
        named = speaker if role is not None or self._names() else ""
        return role, utterance.car or car or self._only(named, role)

    def _names(self) -> bool:
        """Tell whether the transcript names people, as far as it was read: what stands before a
        colon in one that names nobody is no name.
        """
        return self._lines < _ENOUGH or self._named >= _FEW * self._lines

    def _only(self, speaker: str, role: Direction | None) -> str:
        """Return the one car there is; "" for somebody who is none of its people, where they are
        all named.
        """
        if len(self.crews) != 1:
            return ""
        crew = self.crews[0]
        return "" if crew.driver and crew.wall and speaker and role is None else crew.car

    @property
    def cars(self) -> list[str]:
        """The cars named."""
        return [crew.car for crew in self.crews]

    def stranger(self, utterance: Utterance) -> bool:
        """Tell whether a name stands before what was said, and it is nobody's of the crews."""
        if not utterance.speaker or utterance.car or not self._names():
            return False
        return self.who(utterance)[0] is None

    def foreign(self, utterance: Utterance, role: Direction | None) -> bool:
        """Tell whether somebody speaks who is nobody's driver, though the drivers are named: a
        report of theirs is of no car known.
        """
        return bool(
            role is None
            and utterance.speaker
            and self._names()
            and not utterance.car
            and any(crew.driver for crew in self.crews)
        )

    def silent(self) -> list[str]:
        """Return the people named who have not spoken, each with the car; none where the transcript
        names nobody.

        The driver of a car that a transcript names itself needs no name in it.
        """
        spoke = {speaker.casefold().strip() for speaker in self._roles}
        if not any(speaker and role_of(speaker, ())[0] is None for speaker in spoke):
            return []
        if self._named < _FEW * self._lines:
            return []
        return [
            f"{name} (car {crew.car})"
            for crew in self.crews
            for name in crew.people
            if name.casefold() not in spoke
            and not (name == crew.driver and self._driven(crew, spoke))
        ]

    def _driven(self, crew: Crew, spoke: Set[str]) -> bool:
        """Tell whether the transcript names the car, or what it is called spoke."""
        return crew.car in self._cars or any(name in spoke for name in crew.own_names)


def crews_in(entries: Iterable[Entry]) -> list[Crew]:
    """Return the crews that a sheet names, each as it was named last."""
    crews: dict[str, Crew] = {}
    for entry in entries:
        if entry.kind == "car" and entry.car:
            before = crews.get(entry.car, Crew(entry.car))
            wall = tuple(filter(None, (name.strip() for name in entry.note.split(","))))
            crews[entry.car] = Crew(entry.car, entry.message or before.driver, wall or before.wall)
    return list(crews.values())


def check_cars(after: Iterable[str], crews: Sequence[Crew]) -> None:
    """Check that cars that laps are given for are among those named; raises CodeError."""
    for car in after:
        if car not in [crew.car for crew in crews]:
            raise CodeError(
                f"--after names car {car}, which no --car names, nor the sheet",
                kind="usage",
                expected=[crew.car for crew in crews],
            )


def crews_of(named: Iterable[str]) -> list[Crew]:
    """Return the crews of ``CAR=DRIVER,ENGINEER…`` arguments; raises CodeError where a car or a
    name stands in two of them.
    """
    crews: list[Crew] = []
    of: dict[str, str] = {}
    for text in named:
        car, _, names = (part.strip() for part in text.partition("="))
        driver, *wall = [name.strip() for name in names.split(",")]
        crew = Crew(car, driver, tuple(filter(None, wall)))
        if not car:
            raise CodeError(f"{text[:60]!r} names no car", kind="usage", expected=_NAMED)
        if car in [other.car for other in crews]:
            hint = f'name all its people at once: --car "{car}=…"'
            raise CodeError(f"car {car} is named twice", kind="usage", expected=_NAMED, hint=hint)
        for name in crew.people:
            other = of.setdefault(name.casefold(), car)
            if other != car:
                hint = "name everybody once: what they say must belong to one car"
                raise CodeError(
                    f"{name!r} is named for car {other} and for car {car}", kind="usage", hint=hint
                )
        crews.append(crew)
    return crews
