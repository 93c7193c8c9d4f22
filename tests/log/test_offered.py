"""What was heard by voice is offered with how sure it is, and written when it is taken."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import soundfile
from commands import called
from log.terminal import Terminal
from sheet.support import RACE, new
from voice.spoken import NEXT, RATE, TALK, spoken
from voice.spoken import REPORT as FIRST

from codec import encode
from codec.hear import Slots
from codec.log.offered import Offer, offer, what_was_said
from codec.log.session import Session
from codec.sheet import Journal
from codec.voice.listening import Transmission

REPORT = "five one six three juliett romeo bravo tango"


@pytest.fixture
def session(tmp_path: Path) -> Session:
    session = Session(new(tmp_path))
    session.enter("/car 7 Ana")
    return session


def said(text: str, sure: float = 0.999, instead: Sequence[str] = ()) -> Transmission:
    """Return what a recogniser tells of words that it is so sure of; ``instead`` are what the last
    one may have been as well, each as likely.
    """
    slots: list[dict[str | None, float]] = [{word: sure} for word in text.split()]
    if instead:
        share = sure / (1 + len(instead))
        slots[-1] = dict.fromkeys([*slots[-1], *instead], share)
    return Transmission(0.0, 4.0, text, Slots(slots), {})


def heard(session: Session, what: Transmission) -> Offer | None:
    found = what_was_said(session.expected, what)
    return None if found is None else offer(session, found, what.text)


def test_a_report_that_is_sure_is_offered_and_may_be_taken_by_itself(session: Session) -> None:
    found = heard(session, said(REPORT))
    assert found is not None
    assert (found.surely, found.string, found.shown.tone) == (True, "5163JRBT", "good")
    assert "sure: lap report: lap 5" in found.shown.lines[0]
    assert len(session.entries) == 1  # nothing is written by hearing alone
    shown = session.enter(found.line(by_itself=True))
    assert "by voice" in shown.lines[0]
    entry = session.entries[-1]
    assert (entry.kind, entry.lap, entry.heard) == ("report", 5, REPORT)
    assert (entry.note, entry.certainty) == ("by voice", pytest.approx(found.probability, abs=1e-3))
    assert entry.certainty is not None
    assert entry.certainty < 1


def test_what_is_not_sure_waits_for_a_key_and_says_what_to_ask(session: Session) -> None:
    """The last symbol is a check over the others: two that are as likely leave the report open."""
    found = heard(session, said("five one six three juliett romeo", 0.6, ["lima", "zulu"]))
    assert found is not None
    assert not found.surely
    assert any(line.startswith("ask: ") for line in found.shown.lines)
    session.enter(found.line(by_itself=False))
    assert session.entries[-1].note == "by voice, taken by hand"


def test_what_takes_itself_below_the_threshold_is_doubtful(session: Session) -> None:
    shown = session.enter(f"/heard 5163JRBT 0.97 itself {REPORT}")
    assert shown.tone == "warning"
    assert (session.entries[-1].refusal, session.entries[-1].certainty) == ("doubtful", 0.97)
    session.enter(f"/heard 5163JRBT 0.97 hand {REPORT}")
    assert session.entries[-1].accepted  # somebody looked at it


def test_a_report_that_is_in_the_sheet_is_offered_no_more(session: Session) -> None:
    session.enter(REPORT)
    assert heard(session, said(REPORT)) is None


def test_another_report_of_a_lap_that_has_one_is_never_taken_by_itself(session: Session) -> None:
    values = {"energy": "0.1", "motor": 95, "inverter": 65, "battery": 44, "alert": []}
    other = encode(session.book, {"lap": 5, **values}, "lap").string
    session.enter(other)
    found = heard(session, said(REPORT))
    assert found is not None
    assert not found.surely
    assert f"! lap 5 has a report already: {other}" in found.shown.lines


def test_talk_is_not_offered(session: Session) -> None:
    nothing = Transmission(0.0, 2.0, "copy keep pushing", Slots([]), {})
    assert heard(session, nothing) is None
    weak = Transmission(0.0, 2.0, "to", Slots([{"two": 0.3, None: 0.7}]), {})
    assert heard(session, weak) is None


@pytest.mark.parametrize(
    "line",
    ["/heard", "/heard 5163JRBT", "/heard 5163JRBT sure hand x", "/heard 5163JRBT 1.5 hand x",
     "/heard 5163JRBT nan hand x", "/heard 5163JRBT 0.9 nobody x", "/heard 999 0.9 hand x"],
)  # fmt: skip
def test_a_line_that_takes_nothing_writes_nothing(line: str, session: Session) -> None:
    assert session.enter(line).tone == "bad"
    assert len(session.entries) == 1


@pytest.fixture
def recording(tmp_path: Path) -> str:
    """A recording of a report, of talk, and of the next lap's report."""
    pause = 0.002 * np.random.default_rng(1).standard_normal(RATE)
    said = [np.concatenate([pause, spoken(text), pause]) for text in (FIRST, TALK, NEXT)]
    path = tmp_path / "line-in.wav"
    soundfile.write(path, np.concatenate(said), RATE)
    return str(path)


@pytest.mark.slow
def test_a_recording_stands_for_a_device_and_typed_lines_follow(
    recording: str, tmp_path: Path
) -> None:
    sheet = str(tmp_path / "race.sheet")
    arguments = ["log", sheet, "--book", str(RACE), "--car", "7=Ana", "--listen", recording]
    done = called(arguments, given=b"/note typed as well\n")
    assert done.returncode == 0, done.stderr
    assert b"by voice" in done.stdout
    with Journal(sheet) as journal:
        found = [(entry.kind, entry.string, entry.note) for entry in journal.entries()][1:]
    voice = "by voice"
    assert found == [("report", "4183HZ2", voice), ("report", "5183HZ0", voice), ("note", "", "")]


def test_a_device_that_is_not_there_is_named(tmp_path: Path) -> None:
    sheet = str(tmp_path / "race.sheet")
    arguments = ["log", sheet, "--book", str(RACE), "--car", "7=Ana", "--listen", "no such one"]
    done = called(arguments, given=b"")
    assert done.returncode == 2
    assert b"sound device" in done.stderr
    assert b"Traceback" not in done.stderr


@pytest.mark.slow
def test_what_is_heard_is_offered_at_the_prompt_while_somebody_types(
    recording: str, tmp_path: Path
) -> None:
    sheet = str(tmp_path / "race.sheet")
    arguments = ["log", sheet, "--book", str(RACE), "--car", "7=Ana", "--listen", recording]
    with Terminal(arguments, 110, 30) as terminal:
        terminal.write("/note half a")
        terminal.shows("lap 5", "by voice", "/note half a", "F7 take")
        terminal.write(" line")
        terminal.press("Enter")
        terminal.shows("lap 6", "the microphone gives no more sound")
        terminal.press("F10")
    with Journal(sheet) as journal:
        strings = [entry.string for entry in journal.entries() if entry.kind == "report"]
    assert strings == ["4183HZ2", "5183HZ0"]
