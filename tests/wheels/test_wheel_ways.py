"""The cheapest way on a wheel is what trying everything finds, and what is counted is there."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from wheels.small import SETTINGS, all_places, least, wheels

from codec.wheel import MEASURES, Measure, Wheel, WheelError, cheapest
from codec.wheel.reach import reach


@settings(max_examples=60)
@given(
    wheels(),
    st.dictionaries(st.sampled_from(SETTINGS), st.integers(0, 3), min_size=1, max_size=2),
    st.sampled_from(MEASURES),
)
def test_the_way_found_is_the_cheapest_of_all(
    wheel: Wheel, wanted: dict[str, int], measure: Measure
) -> None:
    goal = {name: min(at, wheel.spec.settings[name].high) for name, at in wanted.items()}
    best = least(wheel, goal, measure)
    if best is None:
        with pytest.raises(WheelError, match="no touches lead to"):
            cheapest(wheel, wheel.start, goal, measure)
        return
    way = cheapest(wheel, wheel.start, goal, measure)
    cost = {"seconds": way.seconds, "touches": way.count, "metres": way.metres}[measure]
    assert cost == pytest.approx(best, abs=1e-6)
    assert way.ends.settings == {**wheel.start.settings, **goal}
    assert not way.ends.drafts


@settings(max_examples=60)
@given(wheels())
def test_states_are_counted_exactly(wheel: Wheel) -> None:
    known, places = reach(wheel), all_places(wheel)
    assert known.states == len(places)
    for meanings in wheel.meanings:
        for meaning in meanings:
            assert known.holds(meaning) == any(map(meaning.holds, places))
