"""A wheel file is refused with every problem; what is contradictory is shown with the shortest way
there.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from commands import called

from codec.wheel import (
    Wheel,
    WheelError,
    WheelFileError,
    load_wheel,
    parse_wheel,
    wheel_figures,
)

ROOT = Path(__file__).parents[2]
WHEEL = ROOT / "examples" / "event" / "wheel.toml"
TEXT = """
[controls.chooser]
kind = "rotary"
positions = ["balance", "map", "none"]
[controls.thumb]
kind = "encoder"
[controls.page]
kind = "button"
[modes.drive]
[modes.menu]
[settings.balance]
start = 5
[settings.map]
start = 5
[[does]]
touch = "thumb"
when = { mode = "drive", chooser = ["balance", "map"] }
chosen_by = "chooser"
[[does]]
touch = "page"
when = { mode = "drive" }
goes = "menu"
[[does]]
touch = "page"
when = { mode = "menu" }
goes = "drive"
"""
MANY = """
[controls.page]
kind = "rotary"
positions = ["p0", "p1", "p2", "p3", "p4", "p5", "p6", "p7", "p8", "p9"]
wraps = true
[controls.thumb]
kind = "encoder"
[controls.pair]
kind = "paddles"
"""


def told(text: str) -> list[str]:
    with pytest.raises(WheelFileError) as caught:
        parse_wheel(text)
    return [f"{one.path}: {one.message}" for one in caught.value.problems]


def many() -> Wheel:
    """Return a wheel of ten pages with ten settings each, whose cursors all remember."""
    text = MANY
    for page in range(10):
        items = [f"s{page}{n}" for n in range(10)]
        text += f"[cursors.line{page}]\nitems = {items}\n"
        text += "".join(f"[settings.{name}]\nlow = 0\nhigh = 9\nstart = 0\n" for name in items)
        when = f'when = {{ page = "p{page}" }}'
        text += f'[[does]]\ntouch = "pair"\n{when}\nmoves = "line{page}"\n'
        text += f'[[does]]\ntouch = "thumb"\n{when}\nchosen_by = "line{page}"\n'
    return parse_wheel(text)


def test_the_example_is_counted_exactly() -> None:
    # 3 modes x 6 positions of the rotary; the cursor, which forgets, stands off its start in the
    # menu only, for the way into the entry leads by its start: (1 + 4 + 1) x 6
    figures = wheel_figures(load_wheel(WHEEL))
    assert figures.states == 36
    assert figures.positions == 10 * 8 * 6 * 12 * 12 * 16 * 10 * 10 * 5 * 2
    assert figures.combinations == 39_813_120_000


def test_a_hundred_settings_on_ten_pages_are_counted_without_making_their_product() -> None:
    figures = wheel_figures(many())
    assert figures.states == 10 * 10**10
    assert figures.positions == 10**100


def test_two_meanings_of_one_touch_are_shown_with_the_shortest_way_there() -> None:
    second = '[[does]]\ntouch = "thumb up"\nwhen = { chooser = "map" }\ngoes = "menu"\n'
    (problem,) = told(TEXT + second)
    first, there = problem.split("\n")
    assert first == "does.3: 'thumb up' means two things, moves map (does.0) and goes to menu,"
    assert there == "    after 1 touch: chooser up: mode drive, chooser map"


def test_two_rules_that_never_meet_are_no_contradiction() -> None:
    parse_wheel(TEXT + '[[does]]\ntouch = "thumb"\nwhen = { mode = "menu" }\nsteps = "balance"\n')


def test_a_dead_end_is_shown_with_the_shortest_way_there() -> None:
    text = TEXT.replace('goes = "drive"', 'acts = "marks"')
    (problem,) = told(text)
    first, there = problem.split("\n")
    assert first == "modes.menu: a dead end: balance can't be changed any more"
    assert there == "    after 1 touch: page: mode menu, chooser balance"
    alone = '[modes.menu]\nleft_alone = 5\nthen = "drive"'
    parse_wheel(text.replace("[modes.menu]", alone))  # time leads on


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ('["balance", "map"] }', '["balance"] }', "settings.map: no touch moves it"),
        (
            'touch = "thumb"',
            'touch = "thumb up"',
            "settings.balance: 4 positions no touches lead to: 1, 2, 3, 4",
        ),
        (
            "start = 5\n[settings.map]",
            "start = 5\nwraps = true\n[settings.map]",
            "",
        ),
        (
            'chosen_by = "chooser"',
            'chosen_by = "chooser"\nby = 3',
            "settings.balance: position 10 is a dead end: no touches lead back from it",
        ),
        (
            'when = { mode = "drive" }\ngoes = "menu"',
            'when = { mode = "menu" }\nacts = "marks"',
            "does.1: no touches lead to where it holds: mode menu",
        ),
    ],
)
def test_what_can_not_be_reached_is_told(old: str, new: str, problem: str) -> None:
    assert old in TEXT
    if problem:
        assert problem in told(TEXT.replace(old, new, 1))
    else:
        parse_wheel(TEXT.replace(old, new, 1))


def test_the_command_tells_what_is_wrong_and_what_is_proven() -> None:
    done = called(["wheel", "check", WHEEL, "--json"])
    assert json.loads(done.stdout)["combinations"] == 39_813_120_000
    done = called(["wheel", "check", ROOT / "tests" / "problems" / "wheel.toml"])
    assert done.returncode == 2
    assert b"did you mean 'drive'?" in done.stderr
    assert json.loads(called(["wheel", "schema"]).stdout)["title"] == "niner wheel"


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["chooser=map"], "no setting 'chooser', it is a rotary"),
        (["mode=menu"], "no setting 'mode', it is the mode"),
        (["brightness=4", "Brightness=5"], "a setting is wanted twice"),
        (["brightness=4", "--at", "chooserr=map"], "did you mean 'chooser'?"),
        (["brightness=4", "--at", "line=brightness", "--at", "LINE=brightness"], "told twice"),
        (["brightness=4", "--at", "lift=1_0"], "lift: '1_0' is no position"),
        (["brightness=4", "--at", "lift=55"], "lift: there is no position 55"),
    ],
)
def test_what_is_no_setting_or_stands_nowhere_is_told(arguments: list[str], told: str) -> None:
    done = called(["wheel", "way", WHEEL, *arguments])
    assert done.returncode == 2
    assert told in done.stderr.decode()


def test_a_setting_and_its_rotary_may_have_one_name() -> None:
    """What is told to stand is whichever can stand there; what both can is asked for again."""
    text = TEXT.replace("[controls.chooser]", "[controls.map]").replace("chooser", "map")
    wheel = parse_wheel(text.replace('"balance", "map", "none"', '"balance", "map", "3"'))
    assert wheel.standing({"map": "balance"}).places[1] == 0
    assert wheel.standing({"map": "7"}).settings["map"] == wheel.number("map", 7)
    with pytest.raises(WheelError, match="may be where 'map' the rotary or the setting is"):
        wheel.standing({"map": "3"})
