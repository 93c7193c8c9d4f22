"""Who speaks for which car."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from grammar.message import Direction


@dataclass(frozen=True, slots=True)
class Crew:
    """A car, its driver, and those who speak to it."""

    car: str
    driver: str = ""
    wall: tuple[str, ...] = ()


def role_of(speaker: str, crews: Sequence[Crew]) -> tuple[Direction | None, str]:
    """Return the direction of what somebody sends (None if nobody knows), and the car."""
    speaker = speaker.casefold().strip()
    for crew in crews:
        if speaker and speaker in (crew.driver.casefold(), crew.car.casefold(), f"car {crew.car}".casefold()):
            return "car", crew.car
        if speaker in [name.casefold() for name in crew.wall]:
            return "pit", crew.car
    if speaker in ("car", "driver"):
        return "car", ""
    return ("pit" if speaker in ("pit", "wall", "engineer", "pit wall") else None), ""


def crews_of(named: Iterable[str]) -> list[Crew]:
    """Return the crews of ``CAR=DRIVER,ENGINEER…`` arguments."""
    crews = []
    for text in named:
        car, _, names = text.partition("=")
        driver, *wall = [name.strip() for name in names.split(",")]
        crews.append(Crew(car.strip(), driver, tuple(wall)))
    return crews
