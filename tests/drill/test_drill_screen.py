"""The screens: keys through a pipe, and both drills driven in a terminal from the first key to the progress."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from drill.support import RACE, ROOT, lap_pool, race
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput

from codec.drill import Answer, DrillError, DrillJournal, Session
from codec.screen.drill import DrillScreen

ENTER, TAB, ESCAPE, STOP, SKIP = "\r", "\t", "\x1b", "\x03", "\x0e"


@pytest.fixture
def screen(tmp_path: Path) -> Iterator[Callable[..., tuple[int, DrillScreen]]]:
    """Run a session with keys; return the exit code and the screen as it was left."""
    with DrillJournal(tmp_path / "drills.niner", create=True) as journal, create_pipe_input() as pipe:

        def run(keys: str, items: int, prepare: Callable[[DrillScreen], None] = lambda _: None) -> tuple[int, DrillScreen]:
            session = Session(journal, lap_pool(), "Ana", "read", kinds=["report"])
            made = DrillScreen(session, items, input=pipe, output=DummyOutput())
            prepare(made)
            pipe.send_text(keys)
            return made.run(), made

        yield run


Run = Callable[..., tuple[int, DrillScreen]]


def _text(screen: DrillScreen) -> str:
    return "".join(fragment[1] for fragment in screen._text()) if not screen.app.is_running else ""


def test_a_report_is_timed_and_marked_by_keys(screen: Run) -> None:
    code, made = screen(f"{ENTER}  {' '}{ENTER}", 1)
    (answer,) = made.session.answers
    assert code == 0
    assert answer.outcome == "right"
    assert answer.first is not None
    assert answer.last is not None
    assert 0 < answer.first < answer.last


def test_the_coach_marks_corrections_and_takes_answers_back(screen: Run) -> None:
    _, made = screen(f"{ENTER}   {TAB}   {SKIP}   four five{ENTER}", 2)
    assert [one.outcome for one in made.session.answers] == ["corrected", "caught"]
    assert made.session.answers[1].answer == "four five"


def test_other_keys_are_told_and_do_no_harm(screen: Run) -> None:
    hints: list[str] = []

    def watch(made: DrillScreen) -> None:
        other = made._other

        def told(key: str) -> None:
            other(key)
            hints.append(made.hint)

        made._other = told  # type: ignore[method-assign]

    code, made = screen(f"q{ENTER} x7 z {ENTER}", 1, watch)
    assert code == 0
    assert hints == ["'q' does nothing here", "'x' does nothing here", "'7' does nothing here", "'z' does nothing here"]
    assert made.session.answers[0].outcome == "right"


def test_nothing_is_asked_before_the_caution_is_read(screen: Run) -> None:
    code, made = screen(f"    {STOP}", 1)
    assert code == 130
    assert made.session.answers == []
    assert not made.confirmed
    assert made.turn.stage == "ready"


def test_stopping_keeps_what_was_answered(screen: Run) -> None:
    code, made = screen(f"{ENTER}   {ENTER}  {STOP}", 5)
    assert code == 130
    assert len(made.session.answers) == 1
    assert len(list(made.session.journal.answers())) == 1


def test_an_answer_that_could_not_be_written_is_tried_again(screen: Run) -> None:
    shown: list[str] = []

    def fail_once(made: DrillScreen) -> None:
        write = made.session.write

        def full(answer: Answer) -> Answer:
            made.session.write = write  # type: ignore[method-assign]
            shown.append(answer.shown)
            raise DrillError("not written: the disk is full", kind="drill-full", hint="free some space")

        made.session.write = full  # type: ignore[method-assign]

    code, made = screen(f"{ENTER}   {ENTER}{ENTER}", 1, fail_once)
    assert code == 0
    assert [one.shown for one in made.session.journal.answers()] == shown


def test_the_question_is_not_given_away_before_it_is_timed(screen: Run) -> None:
    _, made = screen(f"{ENTER}   {ENTER}{STOP}", 3)
    assert made.question.item.text not in _text(made)
    assert made.question.why not in _text(made).split("next:")[1]
    assert "next: a whole report" in _text(made)


# in a terminal


class Terminal:
    """A terminal of its own in tmux."""

    def __init__(self, folder: Path) -> None:
        self.socket = f"niner-{os.getpid()}-{folder.name}"
        self.folder = folder

    def tmux(self, *words: str) -> str:
        return subprocess.run(["tmux", "-L", self.socket, "-f", "/dev/null", *words], capture_output=True, text=True, check=True).stdout

    def start(self, *arguments: str, path: str = "") -> None:
        paths = os.pathsep.join([str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])])
        code = "import sys; from codec.cli import main; print('exit code', main())"
        command = shlex.join(["env", f"PYTHONPATH={paths}", *([f"PATH={path}"] if path else []), sys.executable, "-c", code, *arguments])
        self.tmux("new-session", "-d", "-x", "100", "-y", "24", "-c", str(self.folder), f"{command}; sleep 60")

    def keys(self, *keys: str) -> None:
        self.tmux("send-keys", *keys)

    def wait(self, wanted: str, seconds: float = 20) -> str:
        """Wait until the screen holds some text; return the screen."""
        until = time.monotonic() + seconds
        while True:
            screen = self.tmux("capture-pane", "-p")
            if re.search(wanted, screen):
                return screen
            assert time.monotonic() < until, f"{wanted!r} did not come up:\n{screen}"
            time.sleep(0.03)


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    made = Terminal(tmp_path)
    yield made
    subprocess.run(["tmux", "-L", made.socket, "kill-server"], capture_output=True, check=False)


def _answer_three(terminal: Terminal) -> None:
    """Read three reports: right, right after a correction, wrong."""
    for place, keys in enumerate((["Enter"], ["Tab"], ["x-ray x-ray", "Enter"]), start=1):
        terminal.wait(rf"{place} of 4\b[\s\S]*Space: show")
        terminal.keys("Space")
        terminal.wait("when the first word begins")
        terminal.keys("Space")
        terminal.wait("when the last word has ended")
        terminal.keys("Space")
        terminal.wait("answer:")
        terminal.keys(*keys)


def test_reading_from_start_to_progress(terminal: Terminal, capsys: pytest.CaptureFixture[str]) -> None:
    from codec.cli import main

    journal = terminal.folder / "drills.niner"
    terminal.start(
        "drill", "read", str(RACE), "--person", "Ana", "--message", "lap", "--only", "reports", "--items", "4", "--journal", str(journal)
    )
    assert "never while driving" in terminal.wait("Enter: the car is parked")
    terminal.keys("Enter")
    _answer_three(terminal)
    screen = terminal.wait("wrong, caught by the code")
    assert re.search(r"said +[– X]+", screen)
    terminal.tmux("resize-window", "-x", "44", "-y", "14")
    terminal.wait("Space: show")
    terminal.keys("Space")
    terminal.wait("when the first word")
    terminal.tmux("resize-window", "-x", "120", "-y", "30")
    terminal.wait("when the first word begins")
    terminal.keys("C-c")
    assert "3 of 4 answered, 2 right" in terminal.wait("exit code 130")
    assert main(["drill", "progress", str(journal)]) == 0
    out = capsys.readouterr().out
    assert "3 answers: right 1, right after a correction 1, wrong, caught by the code 1" in out


def _player(folder: Path) -> str:
    """Make a player that takes as long as the sound does not, and notes what it played; return a path that finds it first."""
    player = folder / "programs" / "paplay"
    player.parent.mkdir()
    player.write_text(f'#!/bin/sh\necho "$1" >> {shlex.quote(str(folder / "played"))}\nsleep 0.2\n')
    player.chmod(0o755)
    return f"{player.parent}:{os.environ['PATH']}"


def test_hearing_from_start_to_progress(terminal: Terminal, capsys: pytest.CaptureFixture[str]) -> None:
    from codec.cli import main

    journal, sounds = terminal.folder / "drills.niner", terminal.folder / "sounds"
    sounds.mkdir()
    command = ["drill", "hear", str(RACE), "--person", "Ben", "--message", "lap", "--only", "reports", "--items", "2", "--noise", "harsh"]
    terminal.start(*command, "--journal", str(journal), "--keep-audio", str(sounds), path=_player(terminal.folder))
    terminal.wait("Enter: the car is parked")
    terminal.keys("Enter")
    terminal.wait("Space: speak")
    terminal.keys("Space")
    terminal.wait("What was said")
    terminal.keys("C-r")
    terminal.wait("listening")
    terminal.keys("Enter")
    terminal.wait("still being spoken")
    terminal.wait("What was said")
    (sound,) = sounds.glob("*.wav")
    shown = sound.stem.split("-")[1]
    terminal.keys(race().alphabet.say(shown), "Enter")
    terminal.wait("Space: speak")
    terminal.keys("Space")
    terminal.wait("What was said")
    terminal.keys("alfa alfa", "Enter")
    assert "2 of 2 answered, 1 right" in terminal.wait("exit code 0")
    assert (terminal.folder / "played").read_text().count(".wav") == 3
    told = subprocess.run(["sox", "--info", "-D", str(sound)], capture_output=True, text=True, check=True).stdout
    assert float(told) == pytest.approx(race().alphabet.seconds(shown) + 0.5, rel=0.3)
    assert main(["drill", "progress", str(journal), "--drill", "hear"]) == 0
    assert "2 answers: right 1, wrong, caught by the code 1" in capsys.readouterr().out
    with DrillJournal(journal) as kept:
        first, second = kept.answers("Ben")
    assert (first.repeats, first.noise, second.repeats) == (1, "harsh", 0)


def test_without_a_sound_device_the_words_are_shown(terminal: Terminal) -> None:
    player = terminal.folder / "programs" / "paplay"
    player.parent.mkdir()
    player.write_text("#!/bin/sh\necho 'Connection refused' >&2; exit 1\n")
    player.chmod(0o755)
    command = ["drill", "hear", str(RACE), "--person", "Ben", "--message", "lap", "--only", "symbols", "--items", "1"]
    terminal.start(*command, "--journal", str(terminal.folder / "j"), path=f"{player.parent}:{os.environ['PATH']}")
    terminal.wait("Enter: the car is parked")
    terminal.keys("Enter")
    terminal.wait("Space: speak")
    terminal.keys("Space")
    terminal.wait("Connection refused; the words are shown instead")
    terminal.wait("answer:")
    terminal.keys("seven", "Enter")
    terminal.wait("exit code 0")
    with DrillJournal(terminal.folder / "j") as kept:
        assert [one.noise for one in kept.answers()] == ["flashed"]


def test_without_a_synthesiser_the_words_are_shown(terminal: Terminal) -> None:
    command = ["drill", "hear", str(RACE), "--person", "Ben", "--message", "lap", "--only", "symbols", "--items", "1"]
    terminal.start(*command, "--journal", str(terminal.folder / "j"), path=str(terminal.folder))
    terminal.wait("Enter: the car is parked")
    terminal.keys("Enter")
    terminal.wait("Space: speak")
    terminal.keys("Space")
    terminal.wait("answer:")
    terminal.keys("C-c")
    assert "no speech synthesiser is installed (espeak-ng)" in terminal.wait("exit code 130")


def test_a_pace_shows_the_next_by_itself_and_signals_come_up(terminal: Terminal) -> None:
    command = ["drill", "read", str(RACE), "--person", "Ana", "--message", "lap", "--items", "2", "--pace", "2", "--second-task"]
    terminal.start(*command, "--journal", str(terminal.folder / "j"))
    terminal.wait("Enter: the car is parked")
    terminal.keys("Enter")
    terminal.wait("next in")
    terminal.wait("when the first word begins")
    terminal.wait("BRAKE")
    terminal.keys("b")
    terminal.keys("Space", "Space")
    terminal.wait("answer:")
    terminal.keys("Enter")
    terminal.wait("brake signals missed: 0 of 1")
    terminal.wait("2 of 2[\\s\\S]*when the first word begins")
    terminal.keys("C-c")
    terminal.wait("exit code 130")
    with DrillJournal(terminal.folder / "j") as kept:
        (answer,) = kept.answers()
    assert (answer.pace, answer.marks, answer.missed) == (2.0, 1, 0)
    assert answer.reaction is not None
