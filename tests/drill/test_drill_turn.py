"""Stages and times of one question, keys pressed at chosen times."""

from __future__ import annotations

import random

import pytest

from codec.drill.turn import IN_TIME, TO_BEGIN, Signals, Turn


def test_reading_takes_the_times_of_the_first_and_the_last_word() -> None:
    turn = Turn("read")
    turn.show(100.0)
    turn.press(100.7)
    turn.press(103.2)
    turn.answered(110.0)
    assert (turn.stage, turn.first, turn.last, turn.done) == (
        "answering",
        pytest.approx(0.7),
        pytest.approx(3.2),
        pytest.approx(10.0),
    )


def test_a_missed_press_gives_no_times() -> None:
    turn = Turn("read")
    turn.show(0.0)
    turn.press(1.0)
    turn.unmeasured(5.0)
    assert (turn.stage, turn.first, turn.last) == ("answering", None, None)


def test_hearing_counts_from_the_end_of_the_speech() -> None:
    turn = Turn("hear")
    turn.show(10.0)
    turn.ended(14.0)
    turn.typed(14.8)
    turn.typed(15.5)
    turn.answered(18.0)
    assert (turn.first, turn.last) == (pytest.approx(0.8), pytest.approx(4.0))


def test_writing_along_counts_as_no_delay() -> None:
    turn = Turn("hear")
    turn.show(10.0)
    turn.typed(12.0)
    turn.ended(14.0)
    turn.answered(15.0)
    assert (turn.first, turn.last) == (0.0, pytest.approx(1.0))


def test_keys_of_other_stages_change_nothing() -> None:
    turn = Turn("read")
    turn.press(1.0)
    turn.unmeasured(1.0)
    turn.ended(1.0)
    assert (turn.stage, turn.first, turn.last) == ("ready", None, None)


def test_a_report_that_is_spoken_or_an_answer_that_is_written_makes_the_next_question_wait() -> (
    None
):
    read, hear = Turn("read"), Turn("hear")
    for turn in (read, hear):
        turn.show(0.0)
    assert (read.waits("", 0.5), hear.waits("", 0.5)) == (False, True)
    read.press(1.0)
    assert not read.waits("", 1.5)
    read.press(2.0)  # read out in time: the coach marks it
    assert read.waits("", 90.0)
    hear.ended(2.0)
    assert hear.waits("", 2.0 + TO_BEGIN - 0.1)
    assert (hear.waits("", 2.0 + TO_BEGIN), hear.waits("four", 90.0)) == (False, True)


def test_signals_are_answered_in_time_or_missed() -> None:
    signals = Signals([1.0, 4.0])
    assert not signals.press(0.5)
    assert signals.press(1.4)
    assert not signals.press(1.5)  # answered already
    assert signals.lit(4.2) == 1
    assert not signals.press(4.0 + IN_TIME + 0.1)
    signals.end = 8.0
    assert (signals.came, signals.missed, signals.reaction) == (2, 1, pytest.approx(0.4))


def test_a_signal_at_the_very_end_does_not_count() -> None:
    signals = Signals([1.0])
    signals.end = 1.2
    assert (signals.came, signals.missed) == (0, 0)


def test_signals_are_drawn_anew_and_repeatably() -> None:
    assert Signals.drawn(random.Random("a")).times == Signals.drawn(random.Random("a")).times
    counts = {len(Signals.drawn(random.Random(seed)).times) for seed in range(20)}
    assert counts == {1, 2}
