"""Reports heard by voice: each is offered with how sure it is, and written when it is taken, by a
key or, above the book's threshold, by itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from codec.lap_report import lap_message
from codec.log.expected import Expected
from codec.log.lines import report_entry, reported_again
from codec.log.shown import Shown, Tone
from codec.log.watch import Watch
from codec.radio.doubt import LIKELY, Doubt, how_sure
from codec.sheet.entry import DOUBTFUL
from grammar.errors import CodeError

if TYPE_CHECKING:
    from codec.voice.listening import Transmission

BY_VOICE = "by voice"
_BY = {"itself": BY_VOICE, "hand": f"{BY_VOICE}, taken by hand"}
_MOST_SURE = 0.9999  # nothing heard is surer
_MOST_WORDS = 400  # characters of the words heard that are kept
_USAGE = "/heard, the symbols, how sure they are from 0 to 1, hand or itself, and the words heard"


def what_was_said(expected: Expected, said: Transmission) -> Doubt | None:
    """Return what was said, None where it was no report; it needs nothing but what is expected, and
    may be done beside everything else.
    """
    found = expected.weigh(said.slots).best if said.slots.slots else None
    return None if found is None or found.hearing.nothing >= LIKELY else found


@dataclass(frozen=True, slots=True)
class Offer:
    """A report that was heard, what to tell of it, and the line that writes it; ``surely`` tells
    whether it may be taken by itself.
    """

    shown: Shown
    string: str
    probability: float
    words: str
    surely: bool

    @classmethod
    def none(cls) -> Offer:
        """Return what stands where nothing is offered."""
        return cls(Shown("plain", ()), "", 0.0, "", surely=False)

    def line(self, *, by_itself: bool) -> str:
        """Return the line of the live log that takes it."""
        by = "itself" if by_itself else "hand"
        return f"/heard {self.string} {min(self.probability, _MOST_SURE):.4f} {by} {self.words}"


def offer(watch: Watch, found: Doubt, words: str) -> Offer | None:
    """Return what is offered of what was heard of the car spoken to; None where it is in the sheet
    already.
    """
    reading = watch.restored(found.guess)
    entry = report_entry(watch, reading, words, found.probability)
    of_lap = reading.message == lap_message(watch.book) and entry.kind == "report"
    there = watch.mine.reports.get(entry.lap or 0) if of_lap else None
    if there is not None and there.entry.values == entry.values:
        return None
    differs = watch.readbacks.differs(reading)
    surely = found.accept and not differs and there is None and not entry.refusal
    told = [f"{how_sure(found.probability)} sure: {reading}"]
    told += [f"! {differs}"] if differs else []
    told += [f"! {entry.note}"] if entry.refusal else []
    if there is not None:
        told.append(f"! lap {entry.lap} has a report already: {there.entry.string or 'by field'}")
    told += [] if surely or not found.question else [f"ask: {found.question}"]
    tone: Tone = "good" if surely else "warning" if found.probability >= LIKELY else "bad"
    shown = Shown(tone, tuple(told))
    return Offer(shown, reading.said, found.probability, words[:_MOST_WORDS].strip(), surely)


def take(watch: Watch, rest: str) -> Shown:
    """Write down a report that was offered: what stands behind ``/heard``."""
    string, _, more = rest.partition(" ")
    share, _, more = more.partition(" ")
    by, _, words = more.partition(" ")
    try:
        sure = float(share)
    except ValueError:
        sure = -1.0
    if not 0 <= sure <= 1 or by not in _BY:
        raise CodeError(_USAGE, kind="usage")
    reports = watch.decoded(watch.cut(string)).reports
    if len(reports) != 1:
        raise CodeError("one report is expected", kind="usage", hint=_USAGE)
    before = watch.mine.reports
    entry = report_entry(watch, watch.restored(reports[0]), words or string, sure, _BY[by])
    if entry.refusal and by == "hand":  # somebody looked at it
        lap, lap_by = watch.keeper().of(reports[0], None, None)
        entry = entry.replace(lap=lap, lap_by=lap_by, refusal="", certainty=sure, note=_BY[by])
    elif by == "itself":
        entry = entry.decided(watch.book.spec.hearing.threshold)
    watch.write(entry)
    watch.refresh()
    again = reported_again(watch, before, [entry])
    told = f"{reports[0]}  ({how_sure(sure)} sure, {BY_VOICE})"
    told = f"{DOUBTFUL}: {told}" if entry.refusal else told
    warnings = [f"! {warning}" for warning in reports[0].warnings]
    tone: Tone = "warning" if again or warnings or entry.refusal else "good"
    return Shown(tone, (told, *warnings, *again, *watch.spoken_to().lines[1:]))
