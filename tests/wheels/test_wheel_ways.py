"""The cheapest way on a wheel is what trying everything finds, and what is counted is there."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from wheels.small import SETTINGS, all_places, least, standings, wheels

from codec.wheel import (
    MEASURES,
    Measure,
    Wheel,
    WheelError,
    WheelState,
    cheapest,
    parse_wheel,
)
from codec.wheel.reach import reach

WANTED = st.dictionaries(st.sampled_from(SETTINGS), st.integers(0, 3), min_size=1, max_size=3)


def same(wheel: Wheel, begins: WheelState, wanted: dict[str, int], measure: Measure) -> None:
    """Hold the way found against what trying everything finds."""
    asked = {name: min(at, wheel.spec.settings[name].high) for name, at in wanted.items()}
    goal = {name: begins.settings[name] for name in begins.drafts} | asked
    best = least(wheel, begins, goal, measure)
    if best is None:
        with pytest.raises(WheelError, match="no touches lead to"):
            cheapest(wheel, begins, asked, measure)
        return
    way = cheapest(wheel, begins, asked, measure)
    cost = {"seconds": way.seconds, "touches": way.count, "metres": way.metres}[measure]
    assert cost == pytest.approx(best, abs=1e-6)
    assert way.ends.settings == {**begins.settings, **goal}
    assert not way.ends.drafts


@settings(max_examples=30)
@given(standings(), WANTED, st.sampled_from(MEASURES))
def test_the_way_found_is_the_cheapest_of_all(
    standing: tuple[Wheel, WheelState], wanted: dict[str, int], measure: Measure
) -> None:
    same(*standing, wanted, measure)


@pytest.mark.slow
@settings(max_examples=300)
@given(standings(), WANTED, st.sampled_from(MEASURES))
def test_the_way_found_is_the_cheapest_of_all_on_many_wheels(
    standing: tuple[Wheel, WheelState], wanted: dict[str, int], measure: Measure
) -> None:
    same(*standing, wanted, measure)


def test_a_turn_that_does_something_may_begin_anywhere() -> None:
    """By hand: one turn down does something wherever the rotary stands, so it may first be turned
    up to where nothing else is: three touches of 0.2 s do.
    """
    wheel = parse_wheel(
        """
        [modes.off]
        [modes.on]
        [controls.turn]
        kind = "rotary"
        positions = ["first", "second", "other"]
        wraps = true
        seconds = 0.2
        [controls.thumb]
        kind = "encoder"
        seconds = 0.2
        [settings.first]
        low = 0
        high = 1
        start = 0
        [[does]]
        touch = "turn down"
        when = { mode = "off" }
        goes = "on"
        [[does]]
        touch = "turn up"
        when = { mode = "on" }
        goes = "off"
        [[does]]
        touch = "thumb"
        when = { mode = "on", turn = "first" }
        steps = "first"
        """
    )
    way = cheapest(wheel, wheel.start, {"first": 1})
    assert way.touches == ("turn up", "turn down", "thumb up")


def test_a_step_that_makes_a_draft_count_is_paid_once() -> None:
    """By hand: a touch that steps one setting makes the draft of another count, so that three
    touches of 0.2 s do.
    """
    wheel = parse_wheel(
        """
        [modes.plain]
        [modes.drafts]
        draft = true
        [controls.thumb]
        kind = "encoder"
        seconds = 0.2
        [controls.pair]
        kind = "paddles"
        seconds = 0.2
        [settings.first]
        low = 0
        high = 1
        start = 0
        wraps = true
        [settings.second]
        low = 0
        high = 1
        start = 0
        wraps = true
        [settings.third]
        low = 0
        high = 1
        start = 0
        wraps = true
        [[does]]
        touch = "thumb up"
        when = { mode = "plain" }
        steps = "third"
        goes = "drafts"
        [[does]]
        touch = "pair left"
        when = { mode = "drafts" }
        steps = "second"
        [[does]]
        touch = "pair right"
        when = { mode = "drafts" }
        steps = "first"
        confirms = true
        goes = "plain"
        """
    )
    way = cheapest(wheel, wheel.start, dict.fromkeys(SETTINGS, 1))
    assert way.touches == ("thumb up", "pair left", "pair right")


def test_a_draft_made_on_the_way_may_be_dropped() -> None:
    """By hand: the quickest way to the plain mode steps a setting that is to stay, as a draft that
    is dropped there; three touches of 0.2 s do, the other way takes a press of 0.6 s.
    """
    wheel = parse_wheel(
        """
        [modes.drafts]
        draft = true
        [modes.more]
        draft = true
        [modes.plain]
        [controls.thumb]
        kind = "encoder"
        seconds = 0.2
        find = 0
        [controls.ok]
        kind = "button"
        seconds = 0.2
        long = 0.6
        find = 0
        [controls.back]
        kind = "button"
        [settings.first]
        low = 0
        high = 1
        start = 0
        [settings.second]
        low = 0
        high = 1
        start = 0
        [[does]]
        touch = "thumb"
        when = { mode = "drafts" }
        steps = "first"
        goes = "more"
        [[does]]
        touch = "ok"
        when = { mode = "more" }
        goes = "plain"
        [[does]]
        touch = "ok long"
        when = { mode = "drafts" }
        goes = "plain"
        [[does]]
        touch = "thumb"
        when = { mode = "plain" }
        steps = "second"
        [[does]]
        touch = "back"
        when = { mode = ["more", "plain"] }
        confirms = true
        goes = "drafts"
        """
    )
    way = cheapest(wheel, wheel.start, {"first": 0, "second": 1})
    assert way.touches[1:] == ("ok", "thumb up")
    assert way.seconds == pytest.approx(0.6)


def test_a_draft_of_another_setting_is_not_confirmed_along() -> None:
    """By hand: the way to a draft that counts would make the other one count as well."""
    wheel = parse_wheel(
        """
        [modes.entry]
        draft = true
        [modes.drive]
        [controls.thumb]
        kind = "encoder"
        [controls.pair]
        kind = "paddles"
        [controls.ok]
        kind = "button"
        [controls.page]
        kind = "button"
        [settings.first]
        start = 5
        [settings.second]
        start = 5
        [[does]]
        touch = "thumb"
        when = { mode = "entry" }
        steps = "first"
        [[does]]
        touch = "pair"
        when = { mode = "entry" }
        steps = "second"
        [[does]]
        touch = "ok"
        when = { mode = "entry" }
        confirms = true
        [[does]]
        touch = "page"
        when = { mode = "entry" }
        goes = "drive"
        [[does]]
        touch = "page"
        when = { mode = "drive" }
        goes = "entry"
        """
    )
    begins = replace(wheel.start, drafts={"first": 9})
    way = cheapest(wheel, begins, {"second": 6})
    assert way.touches == ("page", "page", "pair right", "ok")
    assert way.ends.settings["first"] == wheel.start.settings["first"]


def test_a_row_of_moves_may_end_where_its_touch_does_nothing_more() -> None:
    """By hand: a press moves the line once only, and the long one in the other mode moves it on:
    0.2 + 0.2 + 0.6 s, against twice 0.6 s.
    """
    wheel = parse_wheel(
        """
        [modes.near]
        [modes.far]
        [controls.ok]
        kind = "button"
        seconds = 0.2
        long = 0.6
        find = 0
        [controls.shift]
        kind = "button"
        seconds = 0.2
        find = 0
        [controls.thumb]
        kind = "encoder"
        seconds = 0.2
        find = 0
        [cursors.line]
        items = ["top", "middle", "bottom"]
        [settings.first]
        low = 0
        high = 1
        start = 0
        [[does]]
        touch = "ok"
        when = { mode = "near", line = "top" }
        moves = "line"
        [[does]]
        touch = "ok long"
        when = { mode = "far" }
        moves = "line"
        [[does]]
        touch = "shift"
        when = { mode = "near" }
        goes = "far"
        [[does]]
        touch = "thumb"
        when = { mode = "far", line = "bottom" }
        steps = "first"
        """
    )
    way = cheapest(wheel, wheel.start, {"first": 1})
    assert way.touches == ("ok", "shift", "ok long", "thumb up")


def test_what_moves_a_line_and_changes_the_mode_may_begin_anywhere() -> None:
    """By hand: the line is moved once by a press, and on by the touch that changes the mode."""
    wheel = parse_wheel(
        """
        [modes.near]
        [modes.far]
        [controls.ok]
        kind = "button"
        seconds = 0.2
        long = 0.6
        [controls.thumb]
        kind = "encoder"
        seconds = 0.2
        [cursors.line]
        items = ["top", "middle", "bottom", "last"]
        [controls.back]
        kind = "button"
        [settings.first]
        low = 0
        high = 1
        start = 0
        [[does]]
        touch = "ok"
        when = { mode = "near" }
        moves = "line"
        [[does]]
        touch = "ok long"
        when = { mode = "near" }
        moves = "line"
        goes = "far"
        [[does]]
        touch = "thumb"
        when = { mode = "far", line = "bottom" }
        steps = "first"
        [[does]]
        touch = "back"
        when = { mode = "far" }
        goes = "near"
        """
    )
    way = cheapest(wheel, wheel.start, {"first": 1})
    assert way.touches == ("ok", "ok long", "thumb up")


def counted(wheel: Wheel) -> None:
    """Hold the states counted against all that touches lead to."""
    known, places = reach(wheel), all_places(wheel)
    assert known.states == len(places)
    for meanings in wheel.meanings:
        for meaning in meanings:
            assert known.holds(meaning) == any(map(meaning.holds, places))


@given(wheels())
def test_states_are_counted_exactly(wheel: Wheel) -> None:
    counted(wheel)


@pytest.mark.slow
@settings(max_examples=60)
@given(wheels())
def test_states_are_counted_exactly_on_many_wheels(wheel: Wheel) -> None:
    counted(wheel)
