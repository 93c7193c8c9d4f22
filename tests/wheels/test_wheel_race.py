"""Changes of the wheel in a race: what slips cost, what fits a straight, what is doubtful."""

from __future__ import annotations

import functools
import json
from pathlib import Path

import pytest
from commands import called
from race.support import race_book
from wheels.test_wheel_file import many

from codec import encode
from codec.race import (
    Race,
    advise,
    changes,
    doubts,
    facts,
    follow,
    load_event,
    parse_event,
    wheel_places,
)
from codec.race.dials import Ledger
from codec.race.event import DialSpec
from codec.race.loading import EventError
from codec.sheet import Entry
from codec.sheet.state import Standing
from codec.wheel import Wheel, WheelError, cheapest, load_wheel, parse_wheel, priced
from codec.wheel.slips import expected_harm, slipping, slips

ROOT = Path(__file__).parents[2]
EVENT = ROOT / "examples" / "event" / "event.toml"
DAMPING = {"front damping": 0, "rear damping": 0}


@functools.cache
def wheel() -> Wheel:
    return load_wheel(EVENT.with_name("wheel.toml"))


def spoken(*said: tuple[str, dict[str, object]]) -> list[Entry]:
    """Return calls and read-backs as a sheet has them."""
    return [
        Entry(
            seq=number,
            kind="report" if message in ("set", "entered") else "call",
            lap=3,
            message=message,
            string=encode(race_book(), values, message).string,
            values=dict(encode(race_book(), values, message).reading.values),
        )
        for number, (message, values) in enumerate(said, 1)
    ]


def race(*said: tuple[str, dict[str, object]], event: str = "") -> Race:
    """Return the example's race once calls and read-backs were said."""
    entries = spoken(*said)
    bound = parse_event(event, race_book(), str(EVENT)) if event else load_event(EVENT, race_book())
    return follow(bound, facts(Standing(entries), ""))


def test_a_look_of_seven_tenths_at_250_is_49_metres() -> None:
    # common practice, no source: 0.7 s at 250 km/h is 49 m
    text = (ROOT / "examples" / "event" / "wheel.toml").read_text("utf-8")
    fast = parse_wheel(text.replace("speed = 200", "speed = 250"))
    assert priced(fast, fast.start, ["chooser up"]).metres == pytest.approx(48.6, abs=0.05)


def test_changes_that_lie_side_by_side_share_their_touches() -> None:
    wanted = {"radio volume": 8, "brightness": 3}
    both = cheapest(wheel(), wheel().start, wanted)
    apart = [cheapest(wheel(), wheel().start, {name: at}) for name, at in wanted.items()]
    assert both.count == sum(way.count for way in apart) - 2  # the page, and one line of the menu
    assert both.seconds < sum(way.seconds for way in apart)


def test_a_setting_deep_in_a_hundred_is_found() -> None:
    one = many()
    way = cheapest(one, one.start, {"s73": 2, "s99": 1}, "touches")
    # over the end to page 9 and to line 9, one step; two pages back, three lines, two steps
    assert way.count == 1 + 1 + 1 + 2 + 3 + 2


def test_each_slip_is_what_happens_when_the_touches_are_made_so() -> None:
    way = cheapest(wheel(), wheel().start, {"regeneration": 6, "torque map": 4})
    found = {(one.kind, one.touch, one.shows): one for one in slips(way)}
    neighbour = found["too few", "chooser up", "regeneration 6"]
    made = priced(wheel(), way.begins, [*["chooser up"], *["thumb up"] * 4])
    assert neighbour.ends.settings == made.ends.settings
    assert neighbour.wrong == {"regeneration": (8, 6), "torque map": (2, 4)}
    assert neighbour.harm == 2 * 8 + 2 * 8
    assert neighbour.behind == 0
    further = next(one for one in slips(way) if one.kind == "too many" and one.touch == "thumb up")
    assert further.chance == pytest.approx(1 - 0.98**2)
    assert 0 < slipping(slips(way)) < 1
    assert expected_harm(slips(way)) == pytest.approx(
        sum(one.chance * one.harm for one in slips(way))
    )


def test_a_press_that_was_not_taken_turns_what_was_there_before() -> None:
    way = cheapest(wheel(), wheel().start, {"laps added": 2})
    page = next(one for one in slips(way) if one.touch == "page")
    assert page.wrong == {"brake balance": (7, 5), "laps added": (0, 2)}
    assert page.shows == "mode drive, not menu"


def test_changes_are_cut_to_the_straights_and_what_can_wait_comes_last() -> None:
    found = changes(race(), {"radio volume": 9, "brake balance": 8, "front damping": 0})
    assert [(one.straight, one.lap) for one in found] == [
        ("pit straight", 0),
        ("quay straight", 0),
    ]
    assert list(found[0].wanted) == ["brake balance", "front damping"]
    assert list(found[1].wanted) == ["radio volume"]
    assert all(one.fits and one.way.seconds <= 6 for one in found)
    assert [call.call.string for call in found[0].calls] == ["WBN3", "WFS6"]
    assert not found[1].calls  # the book can't name it
    assert found[1].way.begins == found[0].way.ends
    ends = found[-1].way.ends.settings
    assert (ends["radio volume"], ends["brake balance"]) == (8, 7)


def test_a_change_longer_than_any_straight_is_told() -> None:
    text = EVENT.read_text("utf-8").replace("seconds = 6\n", "seconds = 1\n")
    found = changes(race(event=text.replace("seconds = 4.5", "seconds = 2")), DAMPING)
    assert [one.fits for one in found] == [False, False]
    assert {one.straight for one in found} == {"pit straight"}


def test_the_hands_are_where_the_last_change_left_them() -> None:
    said: dict[str, object] = {"dial": "torque map", "way": "up", "clicks": 1}
    found = changes(race(("wheel", said), ("set", said)), {"torque map": 5})
    assert found[0].way.touches == ("thumb up", "thumb up")


def test_a_call_that_waits_is_a_doubt_and_a_read_back_settles_it() -> None:
    said: dict[str, object] = {"dial": "brake balance", "way": "up", "clicks": 2}
    assert doubts(race(("wheel", said))) == {"brake balance": {7: 0.9, 5: pytest.approx(0.1)}}
    assert not doubts(race(("wheel", said), ("set", said)))
    other = {**said, "clicks": 3}
    told = doubts(race(("wheel", said), ("set", other)))
    assert told == {"brake balance": {8: 0.5, 7: 0.5}}


MARKED = 'touch = "mark"\nacts = "marks the moment"'


def marked(
    where: str, *said: tuple[str, dict[str, object]], folder: Path, presses: int = 1
) -> Race:
    """Return the example's race, with a marker that is there in some state only, after calls and
    read-backs, and then presses of the marker.
    """
    text = (ROOT / "examples" / "event" / "wheel.toml").read_text("utf-8")
    assert MARKED in text
    (folder / "wheel.toml").write_text(text.replace(MARKED, f"{MARKED}\nwhen = {where}"), "utf-8")
    event = parse_event(EVENT.read_text("utf-8"), race_book(), str(folder / "event.toml"))
    entries = spoken(*said)
    for number in range(presses):
        entries.append(Entry(seq=len(said) + number + 1, kind="event", lap=3, message="marker"))
    return follow(event, facts(Standing(entries), ""))


def test_a_marker_press_tells_where_the_chooser_stands(tmp_path: Path) -> None:
    """The marker is there where the chooser is at lift alone: who presses it need not turn it."""
    where = '{ mode = "drive", chooser = "lift" }'
    (before,) = changes(marked(where, folder=tmp_path, presses=0), {"lift": 60})
    assert before.way.touches == ("chooser down", "thumb up")
    (found,) = changes(marked(where, folder=tmp_path), {"lift": 60})
    assert found.way.touches == ("thumb up",)


def test_a_marker_press_weighs_whether_a_call_was_done(tmp_path: Path) -> None:
    """By hand: a call not read back is done in 9 of 10, and a marker press where the wheel has none
    is 1 in 50. The chooser is at the torque map until the call is done.
    """
    torque: dict[str, object] = {"dial": "torque map", "way": "up", "clicks": 1}
    damping: dict[str, object] = {"dial": "front damping", "way": "up", "clicks": 2}
    said = [("wheel", torque), ("set", torque), ("wheel", damping)]
    before, after = (f'{{ chooser = "{one}" }}' for one in ("torque map", "front damping"))
    unmarked = marked(before, *said, folder=tmp_path, presses=0)
    assert doubts(unmarked)["front damping"] == {8: 0.9, 6: pytest.approx(0.1)}
    undone, done = 0.1 / (0.1 + 0.9 * 0.02), 0.9 / (0.9 + 0.1 * 0.02)
    pressed = marked(before, *said, folder=tmp_path)
    told = doubts(pressed)["front damping"]
    assert told == {6: pytest.approx(undone), 8: pytest.approx(1 - undone)}
    # what it tells is where the next change begins
    (found,) = changes(pressed, {"front damping": 8})
    assert found.way.begins.settings["front damping"] == 6
    assert list(wheel_places(pressed)) == [wheel().standing({"chooser": "torque map"}).places]
    told = doubts(marked(after, *said, folder=tmp_path))["front damping"]
    assert told == {8: pytest.approx(done), 6: pytest.approx(1 - done)}


def test_a_marker_that_the_wheel_does_not_have_is_told() -> None:
    text = EVENT.read_text("utf-8").replace('marker = "marks the moment"', 'marker = "marks it"')
    with pytest.raises(EventError, match="no touch of the wheel 'marks it'") as caught:
        parse_event(text, race_book(), str(EVENT))
    assert "marks the moment" in str(caught.value)


def test_laps_added_come_with_the_touches_that_enter_them() -> None:
    found = advise(race(("distance", {"added": 2})))
    assert found[0].way is not None
    assert found[0].told.startswith("2 laps added, not entered yet; page, ok, thumb up ×2, ok (")
    (change,) = changes(race(("distance", {"added": 2})), {"laps added": 2})
    assert [call.call.string for call in change.calls] == ["L2"]
    assert change.way.touches == found[0].way.touches


def test_a_dial_in_steps_moves_by_steps() -> None:
    ledger = Ledger({"lift": DialSpec(low=0, high=150, step=10, start=50)}, read_back=False)
    assert ledger.call("lift", 3) == 80
    with pytest.raises(WheelError, match="no position 55"):
        cheapest(wheel(), wheel().start, {"lift": 55})


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ('wheel = "wheel.toml"', 'wheel = "weel.toml"', "1 problem in"),
        ('setting = "laps added"', 'setting = "laps"', "has no setting 'laps'"),
        (
            "[advice]",
            "[dials]\nregeneration = { high = 9, start = 4 }\n[advice]",
            "Corvane wheel has it otherwise",
        ),
        ("[advice]", "[dials]\nlift = { start = 4 }\n[advice]", "has no option 'lift'"),
    ],
)
def test_an_event_that_does_not_fit_its_wheel_is_refused(old: str, new: str, problem: str) -> None:
    text = EVENT.read_text("utf-8")
    assert old in text
    with pytest.raises(EventError, match=problem):
        parse_event(text.replace(old, new), race_book(), str(EVENT))


def test_a_call_of_a_setting_that_the_wheel_lacks_is_told(tmp_path: Path) -> None:
    text = (ROOT / "examples" / "event" / "wheel.toml").read_text("utf-8")
    (tmp_path / "wheel.toml").write_text(text.replace('"torque map"', '"torque"'), "utf-8")
    with pytest.raises(EventError, match="has no setting 'torque map'") as caught:
        parse_event(EVENT.read_text("utf-8"), race_book(), str(tmp_path / "event.toml"))
    assert [one.path for one in caught.value.problems] == ["calls.wheel.dial"]


def test_the_command_prints_the_way_and_refuses_what_is_not_there() -> None:
    path = EVENT.with_name("wheel.toml")
    done = called(["wheel", "way", path, "lift=70", "--at", "chooser=lift", "--json"])
    assert json.loads(done.stdout)["touches"] == ["thumb up", "thumb up"]
    for wrong in (["lift=7"], ["lft=70"], ["lift=70", "--at", "mode=asleep"], ["lift"]):
        done = called(["wheel", "way", path, *wrong])
        assert (done.returncode, done.stdout) == (2, b"")
        assert done.stderr.startswith(b"niner: ")
