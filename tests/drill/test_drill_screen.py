"""The screens: keys through a pipe, and both drills driven in a terminal from the first key to the
progress.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from drill.support import RACE, ROOT, lap_pool, race
from programs import program
from prompt_toolkit.data_structures import Size
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput

from codec.drill import Answer, DrillError, DrillJournal, DrillSession
from codec.drill.answer import Drill
from codec.drill.session import CAUTION
from codec.screen.drill import DrillScreen

ENTER, TAB, STOP, SKIP, BACK = "\r", "\t", "\x03", "\x0e", "\x7f"


@pytest.fixture
def screen(tmp_path: Path) -> Iterator[Callable[..., tuple[int, DrillScreen]]]:
    """Run a session with keys; return the exit code and the screen as it was left."""
    with (
        DrillJournal(tmp_path / "drills.niner", create=True) as journal,
        create_pipe_input() as pipe,
    ):

        def run(
            keys: str,
            items: int,
            prepare: Callable[[DrillScreen], None] = lambda _: None,
            size: tuple[int, int] = (80, 24),
            **facts: Any,
        ) -> tuple[int, DrillScreen]:
            output = DummyOutput()
            output.get_size = lambda: Size(rows=size[1], columns=size[0])  # type: ignore[method-assign]
            made = DrillScreen(session(**facts), items, input=pipe, output=output)
            prepare(made)
            pipe.send_text(keys)
            return made.run(), made

        def session(**facts: Any) -> DrillSession:
            return DrillSession(
                journal, lap_pool(), "Ana", **({"drill": "read", "kinds": ["report"]} | facts)
            )

        yield run


Run = Callable[..., tuple[int, DrillScreen]]


def _text(screen: DrillScreen) -> str:
    return (
        "".join(fragment[1] for fragment in screen.view.text()) if not screen.app.is_running else ""
    )


def test_a_report_is_timed_and_marked_by_keys(screen: Run) -> None:
    code, made = screen(f"{ENTER}   {ENTER} ", 1)
    (answer,) = made.session.answers
    assert code == 0
    assert answer.outcome == "right"
    assert answer.first is not None
    assert answer.last is not None
    assert 0 < answer.first < answer.last


def test_the_coach_marks_corrections_and_takes_answers_back(screen: Run) -> None:
    _, made = screen(f"{ENTER}   {TAB}   {SKIP}   four five{ENTER} ", 2)
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

    code, made = screen(f"q{ENTER} x7 z {ENTER} ", 1, watch)
    assert code == 0
    assert hints == [
        "'q' does nothing here",
        "'x' does nothing here",
        "'7' does nothing here",
        "'z' does nothing here",
    ]
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
            raise DrillError(
                "not written: the disk is full", kind="drill-full", hint="free some space"
            )

        made.session.write = full  # type: ignore[method-assign]

    code, made = screen(f"{ENTER}   {ENTER}{ENTER} ", 1, fail_once)
    assert code == 0
    assert [one.shown for one in made.session.journal.answers()] == shown


def test_the_question_is_not_given_away_before_it_is_timed(screen: Run) -> None:
    _, made = screen(f"{ENTER}   {ENTER}{STOP}", 3)
    assert made.question.item.text not in _text(made)
    assert made.question.why not in _text(made).split("next:")[1]
    assert "next: a whole report" in _text(made)


def test_the_last_result_stays_on_the_screen_until_a_key_ends_the_drill(screen: Run) -> None:
    code, made = screen(f"{ENTER}   four five{ENTER}{ENTER}{ENTER} ", 1)
    assert code == 0
    assert len(made.session.answers) == 1
    text = _text(made)
    assert "wrong, caught by the code" in text
    assert "said   4 5" in text.replace("– ", "")
    assert "that was the last" in text
    assert screen(f"{ENTER}   {ENTER}{STOP}", 1)[0] == 0  # all was answered


def _at_the_answer(made: DrillScreen) -> None:
    """Go to where the first answer is typed."""
    made.confirmed = True
    made.turn.show(made.clock())
    if made.session.drill == "read":
        made.turn.press(made.clock())
        made.turn.press(made.clock())
    else:
        made.turn.ended(made.clock())


@pytest.mark.parametrize("drill", ["read", "hear"])
@pytest.mark.parametrize(
    ("slip", "told"),
    [
        ("wibble", "unknown word 'wibble'"),
        ("motor=5", "can't be said without"),
        ("laap=7", "there is no field 'laap'"),
    ],
)
def test_what_is_not_understood_is_told_and_kept_to_be_corrected(
    screen: Run, drill: str, slip: str, told: str
) -> None:
    hints: list[str] = []

    def watch(made: DrillScreen) -> None:
        _at_the_answer(made)
        enter = made._enter

        def watched() -> None:
            enter()
            hints.append(f"{made.hint}, {made.buffer.text} is kept")

        made._enter = watched  # type: ignore[method-assign]

    code, made = screen(f"{slip}{ENTER}{BACK * len(slip)}?{ENTER} ", 1, watch, drill=drill)
    assert code == 0
    assert told in hints[0]
    assert hints[0].endswith(f"{slip} is kept")
    assert [(one.answer, one.outcome) for one in made.session.journal.answers()] == [
        ("?", "caught")
    ]


@pytest.mark.parametrize("drill", ["read", "hear"])
def test_what_is_not_understood_may_be_left_uncounted(screen: Run, drill: str) -> None:
    _, made = screen(f"wibble{ENTER}{SKIP}{STOP}", 3, _at_the_answer, drill=drill)
    assert made.session.answers == []
    assert made.hint == "not counted"
    assert made.buffer.text == ""


# a pace


class Clock:
    """A clock that a test sets."""

    now = 100.0

    def __call__(self) -> float:
        return self.now


def _paced(screen: DrillScreen, clock: Clock, until: float) -> list[tuple[int, str]]:
    """Let time pass with nobody at the keys; return the questions that came up with their texts."""
    found: list[tuple[int, str]] = []
    while clock.now < until and not screen.finished:
        screen._tick()
        if screen.turn.stage == "shown" and (not found or found[-1][0] != screen.asked):
            found.append((screen.asked, screen.question.item.text))
        clock.now += 0.05
    return found


def _session(tmp_path: Path, drill: Drill, pace: float, items: int, clock: Clock) -> DrillScreen:
    journal = DrillJournal(tmp_path / "drills.niner", create=True)
    session = DrillSession(journal, lap_pool(), "Ana", drill, kinds=["report"], pace=pace)
    return DrillScreen(session, items, clock=clock, output=DummyOutput())


def test_at_a_pace_the_next_report_comes_ready_or_not(tmp_path: Path) -> None:
    clock = Clock()
    made = _session(tmp_path, "read", 3.0, 4, clock)
    made._enter()
    came = _paced(made, clock, 112.5)  # the first after 3 s, then one every 3 s
    assert [number for number, _ in came] == [0, 1, 2, 3]
    assert all(one != other for (_, one), (_, other) in pairwise(came))
    assert "was not answered in time" in made.hint
    _paced(made, clock, 120.0)
    assert made.finished
    assert (made.unanswered, list(made.session.journal.answers())) == (4, [])


def test_what_is_being_marked_is_not_taken_away(tmp_path: Path) -> None:
    clock = Clock()
    made = _session(tmp_path, "read", 3.0, 4, clock)
    made._enter()
    _paced(made, clock, 103.5)
    made._space()
    made._space()
    text = made.question.item.text
    _paced(made, clock, 110.0)
    assert (made.unanswered, made.question.item.text) == (0, text)
    made._enter()
    assert len(made.session.answers) == 1
    _paced(made, clock, 112.5)
    assert made.turn.stage == "shown"


def test_an_engineer_who_writes_nothing_down_is_sent_the_next_report(tmp_path: Path) -> None:
    clock = Clock()
    made = _session(tmp_path, "hear", 20.0, 4, clock)
    made._enter()
    _paced(made, clock, 141.0)
    assert made.unanswered == 1
    _paced(made, clock, 150.0)  # its words are shown by then
    made.buffer.text = "four"
    _paced(made, clock, 170.0)
    assert (made.unanswered, made.buffer.text) == (1, "four")


# narrow and low windows


def _screens(made: DrillScreen) -> list[str]:
    return [
        "".join(fragment[1] for fragment in part()) for part in (made.view.text, made.view._foot)
    ]


SIZES = [(80, 24), (60, 20), (44, 14), (32, 9), (20, 6)]
WHOLE = ["Ctrl-N: don't count it", "Ctrl-C: stop", "Enter: done", "Ctrl-R: show it again"]


@pytest.mark.parametrize("size", SIZES)
def test_keys_are_told_whole_at_any_width(screen: Run, size: tuple[int, int]) -> None:
    def empty(made: DrillScreen) -> None:
        _at_the_answer(made)
        made._enter()
        text, foot = _screens(made)
        assert foot.startswith("type what was said")
        for line in [*text.splitlines(), *foot.splitlines()]:
            assert len(line) <= size[0]
        for hint in WHOLE if size[0] >= 32 else ():
            assert sum(hint in line for line in foot.splitlines()) == 1
        assert made.view._foot_height().preferred == len(foot.splitlines())

    screen(STOP, 1, empty, size, drill="hear")


@pytest.mark.parametrize("size", SIZES)
def test_results_keep_their_indent_at_any_width(screen: Run, size: tuple[int, int]) -> None:
    def wrong(made: DrillScreen) -> None:
        _at_the_answer(made)
        made._answer("four five")
        rows = _screens(made)[0].splitlines()
        told = rows[rows.index("wrong, caught by the code") + 2 : -2]
        assert all(len(row) <= size[0] and row.startswith("   ") for row in told), told
        assert "shown  " in told[0]

    screen(STOP, 2, wrong, size)


@pytest.mark.parametrize("size", SIZES)
def test_the_drill_begins_when_all_of_the_caution_was_on_the_screen(
    screen: Run, size: tuple[int, int]
) -> None:
    read: list[str] = []

    def read_on(made: DrillScreen) -> None:
        while not made.confirmed:
            text, foot = _screens(made)
            assert len(text.splitlines()) + len(foot.splitlines()) <= size[1]
            assert ("Enter: read on" in foot) == bool(made.view.caution_left())
            read.extend(made.view._caution()[1])
            made._enter()

    screen(STOP, 1, read_on, size)
    assert " ".join(read) == CAUTION


def test_a_window_too_low_for_the_caution_begins_nothing(screen: Run) -> None:
    _, made = screen(f"{ENTER}{ENTER}{STOP}", 1, size=(32, 2))
    assert not made.confirmed
    assert made.hint == "make the window larger"


# in a terminal


class Terminal:
    """A terminal of its own in tmux."""

    def __init__(self, folder: Path) -> None:
        self.socket = f"niner-{os.getpid()}-{folder.name}"
        self.folder = folder

    def tmux(self, *words: str) -> str:
        return subprocess.run(
            [program("tmux"), "-L", self.socket, "-f", "/dev/null", *words],
            capture_output=True,
            text=True,
            check=True,
        ).stdout

    def start(self, *arguments: str, path: str = "") -> None:
        paths = os.pathsep.join([str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])])
        code = "import sys; from codec.cli import main; print('exit code', main())"
        command = shlex.join(
            [
                "env",
                f"PYTHONPATH={paths}",
                *([f"PATH={path}"] if path else []),
                sys.executable,
                "-c",
                code,
                *arguments,
            ]
        )
        self.tmux(
            "new-session",
            "-d",
            "-x",
            "100",
            "-y",
            "24",
            "-c",
            str(self.folder),
            f"{command}; sleep 60",
        )

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
    program("tmux")
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


def test_reading_from_start_to_progress(
    terminal: Terminal, capsys: pytest.CaptureFixture[str]
) -> None:
    from codec.cli import main

    journal = terminal.folder / "drills.niner"
    terminal.start(
        "drill",
        "read",
        str(RACE),
        "--person",
        "Ana",
        "--message",
        "lap",
        "--only",
        "reports",
        "--items",
        "4",
        "--journal",
        str(journal),
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
    """Make a player that takes as long as the sound does not, and notes what it played; return a
    path that finds it first.
    """
    player = folder / "programs" / "paplay"
    player.parent.mkdir()
    player.write_text(f'#!/bin/sh\necho "$1" >> {shlex.quote(str(folder / "played"))}\nsleep 0.2\n')
    player.chmod(0o755)
    return f"{player.parent}:{os.environ['PATH']}"


@pytest.mark.slow
def test_hearing_from_start_to_progress(
    terminal: Terminal, capsys: pytest.CaptureFixture[str]
) -> None:
    program("espeak-ng")
    from codec.cli import main

    journal, sounds = terminal.folder / "drills.niner", terminal.folder / "sounds"
    sounds.mkdir()
    command = [
        "drill",
        "hear",
        str(RACE),
        "--person",
        "Ben",
        "--message",
        "lap",
        "--only",
        "reports",
        "--items",
        "2",
        "--noise",
        "harsh",
    ]
    terminal.start(
        *command,
        "--journal",
        str(journal),
        "--keep-audio",
        str(sounds),
        path=_player(terminal.folder),
    )
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
    assert "wrong, caught by the code" in terminal.wait("Space: end")
    terminal.keys("Space")
    assert "2 of 2 answered, 1 right" in terminal.wait("exit code 0")
    assert (terminal.folder / "played").read_text().count(".wav") == 3
    told = subprocess.run(
        [program("sox"), "--info", "-D", str(sound)], capture_output=True, text=True, check=True
    ).stdout
    assert float(told) == pytest.approx(race().alphabet.seconds(shown) + 0.5, rel=0.3)
    assert main(["drill", "progress", str(journal), "--drill", "hear"]) == 0
    assert "2 answers: right 1, wrong, caught by the code 1" in capsys.readouterr().out
    with DrillJournal(journal) as kept:
        first, second = kept.answers("Ben")
    assert (first.repeats, first.noise, second.repeats) == (1, "harsh", 0)


@pytest.mark.slow
def test_without_a_sound_device_the_words_are_shown(terminal: Terminal) -> None:
    program("espeak-ng")
    player = terminal.folder / "programs" / "paplay"
    player.parent.mkdir()
    player.write_text("#!/bin/sh\necho 'Connection refused' >&2; exit 1\n")
    player.chmod(0o755)
    command = [
        "drill",
        "hear",
        str(RACE),
        "--person",
        "Ben",
        "--message",
        "lap",
        "--only",
        "symbols",
        "--items",
        "1",
    ]
    terminal.start(
        *command,
        "--journal",
        str(terminal.folder / "j"),
        path=f"{player.parent}:{os.environ['PATH']}",
    )
    terminal.wait("Enter: the car is parked")
    terminal.keys("Enter")
    terminal.wait("Space: speak")
    terminal.keys("Space")
    terminal.wait("Connection refused; the words are shown instead")
    terminal.wait("answer:")
    terminal.keys("seven", "Enter")
    terminal.wait("Space: end")
    terminal.keys("Space")
    terminal.wait("exit code 0")
    with DrillJournal(terminal.folder / "j") as kept:
        assert [one.noise for one in kept.answers()] == ["flashed"]


@pytest.mark.slow
def test_without_a_synthesiser_the_words_are_shown(terminal: Terminal) -> None:
    command = [
        "drill",
        "hear",
        str(RACE),
        "--person",
        "Ben",
        "--message",
        "lap",
        "--only",
        "symbols",
        "--items",
        "1",
    ]
    terminal.start(*command, "--journal", str(terminal.folder / "j"), path=str(terminal.folder))
    terminal.wait("Enter: the car is parked")
    terminal.keys("Enter")
    terminal.wait("Space: show the next")
    terminal.keys("Space")
    terminal.wait("answer:")
    terminal.keys("C-c")
    assert "no speech synthesiser is installed (espeak-ng)" in terminal.wait("exit code 130")


@pytest.mark.slow  # two laps at their pace; above, the same by a clock of the test's own
def test_a_pace_shows_the_next_by_itself_and_signals_come_up(terminal: Terminal) -> None:
    command = [
        "drill",
        "read",
        str(RACE),
        "--person",
        "Ana",
        "--message",
        "lap",
        "--items",
        "2",
        "--pace",
        "5",
        "--second-task",
    ]
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
    assert (answer.pace, answer.marks, answer.missed) == (5.0, 1, 0)
    assert answer.reaction is not None
