"""Practising the wheel: what hands do is timed touch by touch and marked by where it leads."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest
from drill.support import START
from log.terminal import Terminal

from codec.drill import DrillError, DrillJournal
from codec.drill.wheel_drill import WheelDrill, WheelTask, WheelTurn, keys_of, practised, scores
from codec.wheel import Wheel, WheelError, cheapest, load_wheel

EXAMPLE = Path("examples/event/wheel.toml")


@pytest.fixture(scope="module")
def wheel() -> Wheel:
    return load_wheel(EXAMPLE)


class Clock:
    """A clock that a test moves on."""

    def __init__(self) -> None:
        self.at = START

    def __call__(self) -> datetime.datetime:
        self.at += datetime.timedelta(seconds=20)
        return self.at


def made(wheel: Wheel, wanted: dict[str, int], touches: list[str], pace: float = 0.4) -> WheelTurn:
    turn = WheelTurn.begin(wheel, WheelTask(wanted, cheapest(wheel, wheel.start, wanted)), 100.0)
    for number, touch in enumerate(touches, start=1):
        turn.touch(touch, 100.0 + pace * number)
    return turn


def test_where_the_touches_lead_is_what_is_marked(wheel: Wheel) -> None:
    wanted = {"regeneration": 5}
    right = ["chooser up", "thumb up"]
    assert made(wheel, wanted, right).outcome == "right"
    assert made(wheel, wanted, [*right, "thumb up", "thumb down"]).outcome == "corrected"
    assert made(wheel, wanted, [*right, "thumb up"]).outcome == "caught"
    assert made(wheel, wanted, []).outcome == "caught"
    other = made(wheel, wanted, ["chooser up", "thumb up", "chooser up", "thumb up"])
    assert other.outcome == "accepted"
    assert other.wrong == {"torque map": (3, 2)}
    assert made(wheel, wanted, [*right, "mark"]).outcome == "accepted"


def test_what_is_left_alone_too_long_is_left(wheel: Wheel) -> None:
    way = ["page", "ok", "thumb up", "ok"]
    assert made(wheel, {"laps added": 1}, way).outcome == "right"
    slow = made(wheel, {"laps added": 1}, way, pace=6.5)  # the entry is left alone for six seconds
    assert slow.wrong["laps added"] == (0, 1)


def test_a_touch_that_the_wheel_does_not_have_is_refused(wheel: Wheel) -> None:
    turn = made(wheel, {"regeneration": 5}, ["chooser up"])
    with pytest.raises(WheelError, match="no touch 'chosser up'"):
        turn.touch("chosser up", 101.0)
    assert len(turn.touches) == 1


def session(
    journal: DrillJournal, wheel: Wheel, fails: str, count: int, seed: int = 1
) -> WheelDrill:
    """Make so many changes the cheapest way, one touch in 0.4 s; one setting is never reached."""
    drill = WheelDrill(journal, wheel, "Ana", seed=seed, clock=Clock())
    for _ in range(count):
        task, _ = drill.ask()
        turn = WheelTurn.begin(wheel, task, 0.0)
        for number, touch in enumerate(task.way.touches, start=1):
            if fails not in task.wanted:
                turn.touch(touch, 0.4 * number)
        drill.write(turn, drill.marked(turn, 5.0))
    return drill


def test_what_is_not_known_comes_again_sooner(tmp_path: Path, wheel: Wheel) -> None:
    with DrillJournal(tmp_path / "j", create=True) as journal:
        asked = [one.shown for one in session(journal, wheel, "torque map", 60).answers]
    with DrillJournal(tmp_path / "k", create=True) as journal:
        usual = [one.shown for one in session(journal, wheel, "nothing", 60).answers]
    count, others = (sum("torque map" in one for one in some) for some in (asked, usual))
    assert count > 1.5 * others
    assert {one.rpartition("=")[0] for one in asked} >= {"regeneration", "lift", "brake balance"}


def test_a_session_goes_on_where_the_last_one_ended(tmp_path: Path, wheel: Wheel) -> None:
    with DrillJournal(tmp_path / "j", create=True) as journal:
        first = session(journal, wheel, "lift", 30)
        again = WheelDrill(journal, wheel, "Ana", clock=Clock())
        assert again.due("lift") == first.due("lift") is not None
        assert scores(journal.answers("Ana"))[0].name == "lift"
        assert journal.delete("Ana") == 30


def test_times_measured_stand_in_place_of_the_files(tmp_path: Path, wheel: Wheel) -> None:
    with DrillJournal(tmp_path / "j", create=True) as journal:
        session(journal, wheel, "nothing", 80)
        mine, told = practised(wheel, list(journal.answers("Ana")))
    assert float(mine.spec.controls["chooser"].seconds) == pytest.approx(0.4)
    assert float(mine.spec.controls["thumb"].find) == pytest.approx(0.001)  # all at one pace
    assert mine.spec.controls["mark"] == wheel.spec.controls["mark"]  # never touched
    assert any(one.startswith("chooser: seconds 0.4 s") for one in told)
    assert mine.slips.further < wheel.slips.further
    assert practised(wheel, [])[0].spec == wheel.spec


def test_an_answer_that_tells_no_touches_is_told(tmp_path: Path, wheel: Wheel) -> None:
    with DrillJournal(tmp_path / "j", create=True) as journal:
        [answer] = session(journal, wheel, "nothing", 1).answers
    with pytest.raises(DrillError, match="no touch with its time"):
        practised(wheel, [answer.replace(answer="soon thumb up")])


def test_every_touch_has_a_key_of_its_own(wheel: Wheel) -> None:
    keys = list(keys_of(wheel))
    assert len({key for key, _ in keys}) == len(keys) == len(wheel.touches)
    assert {name for _, name in keys} == {touch.name for touch in wheel.touches}


@pytest.mark.slow
def test_a_change_is_made_by_keys_on_a_terminal(tmp_path: Path) -> None:
    command = ["drill", "wheel", str(EXAMPLE), "--person", "Ana", "--items", "1"]
    command += ["--journal", str(tmp_path / "j")]
    with Terminal(command, 100, 30) as terminal:
        terminal.shows("the car is parked")
        terminal.press("Enter")
        terminal.shows("Enter: done")
        terminal.press("w")
        terminal.press("Enter")
        terminal.shows("that was the last")
        terminal.press("Enter")
        terminal.shows("1 change made")
    with DrillJournal(tmp_path / "j") as journal:
        [answer] = journal.answers("Ana")
    assert "chooser up" in answer.answer
