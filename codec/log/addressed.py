"""Lines that say whose they are: a car's number or its driver's name stands before a report."""

from __future__ import annotations

import re
from collections.abc import Iterator

from codec.log.fields import by_field
from codec.log.lines import to_be_heard, with_gaps
from codec.log.watch import Watch
from grammar.errors import CodeError
from grammar.speech.kinds import SPOKEN

_BEHIND = re.compile(r"[\s,:;-]+(?=\S)")


def addressed(watch: Watch, text: str) -> tuple[str, str] | None:
    """Return the car that a line names and what it says behind that; None where it names none, or
    says no report of it.
    """
    for car, called, plainly in _called(watch):
        gap = _BEHIND.match(text, len(called))
        if gap is None or text[: len(called)].casefold() != called:
            continue
        rest, spoken_to = with_gaps(text[gap.end() :]), watch.car
        watch.car = car
        try:
            return (car, rest) if _reported(watch, rest, plainly=plainly) else None
        finally:
            watch.car = spoken_to
    return None


def _called(watch: Watch) -> Iterator[tuple[str, str, bool]]:
    """Yield the cars by what they may be called, and whether that can't be anything else: words of
    the code are no names.
    """
    names: dict[str, list[str]] = {}
    for car, driver in watch.cars.items():
        yield car, f"car {car}".casefold(), True
        for name in {driver.casefold(), *driver.casefold().split()[:1]} - {""}:
            names.setdefault(name, []).append(car)
    for name, cars in sorted(names.items(), key=lambda one: -len(one[0])):
        if len(cars) == 1 and not any(word.kind in SPOKEN for word in watch.cut(f"… {name}")[1:]):
            yield cars[0], name, False


def _reported(watch: Watch, text: str, *, plainly: bool) -> bool:
    """Tell whether a line is a report of the car spoken to; one that can't be read is where the car
    was named ``plainly``, or nothing but words of the code stand there.
    """
    words = watch.cut(text)
    try:
        return bool(watch.decoded(words).reports)
    except CodeError:
        plainly = plainly or all(word.kind in SPOKEN for word in words)
    try:
        return by_field(watch.finder.named, text) is not None or (
            plainly and to_be_heard(watch, text)
        )
    except CodeError:
        return plainly
