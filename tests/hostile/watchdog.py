"""What the hostile tests share: bounded time, and the only two outcomes that are allowed."""

from __future__ import annotations

import contextlib
import functools
import gc
import signal
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from commands import Done, called

from codec import Book, BookError, CodeError, parse_book

# seconds of processor time of an ordinary machine (``slowness`` says how this one compares);
# generous: everything here is meant to take less than 2
BOUND = 5.0
LONG = 15.0  # for books of ten thousand parts and more, read, proven and told of at once

BOOK = """
title = "hostile"
[speech]
whole_numbers = "magnitudes"
[fields.energy]
kind = "quantity"
unit = "kWh"
low = -3.0
high = 3.0
step = 0.1
open = "both"
usual = 0
[fields.motor]
kind = "quantity"
unit = "°C"
low = 40
high = 140
step = 1
limits = [{ above = 120, say = "motor hot" }]
[fields.alert]
kind = "flags"
flags = ["rain", "damage", "pit"]
usual = []
warn = ["damage"]
[fields.lap]
kind = "wrapped"
modulus = 10
[tables.energy]
kind = "digits"
[tables.motor]
kind = "digits"
count = "value"
[tables.alert]
kind = "scale"
symbols = "ABCDEFGH"
[tables.lap]
kind = "digits"
[tables.sum]
kind = "check"
method = "iso7064 mod 37,36"
[messages.lap]
layout = '"L" lap energy motor alert? sum'
[messages.short]
layout = '"S" energy motor'
[phrases.slow_zone]
says = ["full course", "yellow yellow"]
"""
TOGETHER = BOOK.replace("[speech]", "[speech]\nrun_together = true")


@functools.cache
def slowness() -> float:
    """Return how many times as long as on an ordinary machine, where it takes 20 ms, a loop takes
    here; never less than 1: a slow or shared machine must not fail a test.
    """

    def spent() -> float:
        began = time.process_time()
        for _ in range(1_000_000):
            pass
        return time.process_time() - began

    return max(1.0, sorted(spent() for _ in range(5))[2] / 0.02)


@contextlib.contextmanager
def bounded(seconds: float = BOUND) -> Iterator[None]:
    """Stop what takes too much processor time (a busy machine must not fail a test), where the
    system has timers; measure it everywhere.
    """

    def stop(*_: object) -> None:
        raise AssertionError(f"still running after {allowed:.3g} s")

    allowed = seconds * slowness()
    timers = hasattr(signal, "setitimer")
    before = signal.signal(signal.SIGPROF, stop) if timers else None
    gc.freeze()  # what earlier tests left in memory is not gone through while this one is timed
    began = time.process_time()
    if timers:
        signal.setitimer(signal.ITIMER_PROF, allowed)
    try:
        yield
    finally:
        if timers:
            signal.setitimer(signal.ITIMER_PROF, 0)
            signal.signal(signal.SIGPROF, before)
        gc.unfreeze()
    assert time.process_time() - began <= allowed


def settled(work: Callable[[], Any], seconds: float = BOUND) -> Any:
    """Return what ``work`` returns, or our error; anything else, or too long a time, fails."""
    with bounded(seconds):
        try:
            found = work()
        except CodeError as error:
            found = error
    if isinstance(found, CodeError):
        assert str(found).strip()
        assert found.kind
        assert found.as_dict()["error"] == found.kind
    return found


def some_long(cases: Iterable[str], long: Sequence[str]) -> list[Any]:
    """Return cases as parameters: those named long, each like a case that is not, are marked so."""
    found = [pytest.param(one, marks=pytest.mark.slow if one in long else ()) for one in cases]
    assert len(set(long)) == sum(bool(one.marks) for one in found)
    return found


def book_or_error(text: str) -> Book | BookError:
    """Parse a book; a refusal must name at least one problem, and print without anything
    invisible.
    """
    found = settled(lambda: parse_book(text))
    assert isinstance(found, Book | BookError)
    if isinstance(found, BookError):
        assert found.problems
        assert all(problem.message and problem.line >= 0 for problem in found.problems)
        assert printable(str(found))
    return found


def printable(text: str) -> bool:
    """Tell whether text holds nothing that could forge or hide output on a terminal."""
    return all(character.isprintable() for character in text.replace("\n", ""))


def niner(
    arguments: Sequence[str | bytes | Path],
    given: bytes = b"",
    seconds: float = BOUND,
    **environment: str,
) -> Done:
    """Call the command line in this process, in bounded time."""
    with bounded(seconds):
        done = called(arguments, given, environment=environment)
    return plain(done)


def plain(done: Done) -> Done:
    """Return how a command ended, which is never with a traceback."""
    for words in (b"Traceback", b"Exception ignored"):
        assert words not in done.stderr, done.stderr.decode(errors="replace")[-2000:]
    assert done.returncode in (0, 1, 2), done.stderr.decode(errors="replace")[-2000:]
    return done
