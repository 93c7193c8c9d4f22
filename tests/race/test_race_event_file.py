"""An event file tells every problem at once, each with its line, and never raises anything but an
EventError.
"""

from __future__ import annotations

from pathlib import Path

import jsonschema
import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st
from race.support import DELTA, EVENT, event, race_book, race_event

from codec import parse_book
from codec.race import EventError, load_event, parse_event
from codec.race.event import schema

TEXT = EVENT.read_text("utf-8")
EXAMPLES = EVENT.parents[1]
OPEN = 'open = "both"\n'


def problems(text: str) -> list[tuple[str, int]]:
    with pytest.raises(EventError) as refused:
        parse_event(text, race_book(), "event.toml")
    return [(problem.path, problem.line) for problem in refused.value.problems]


def line_of(part: str) -> int:
    return next(number for number, line in enumerate(TEXT.splitlines(), start=1) if part in line)


@pytest.mark.parametrize(
    ("was", "becomes", "path"),
    [
        ('says = "delta"', 'says = "remaining"', "reports.energy"),
        ("[temperatures.motor]", "[temperatures.motor]\nlimit = 400", "temperatures.motor.limit"),
    ],
)
def test_what_the_field_of_a_number_could_never_tell_is_a_problem(
    was: str, becomes: str, path: str
) -> None:
    """As where one of two units is another: its highest value is far below what is told of it."""
    book = parse_book((EXAMPLES / "race" / "race.toml").read_text("utf-8").replace(OPEN, ""))
    parse_event(TEXT, book, "event.toml")
    with pytest.raises(EventError) as refused:
        parse_event(TEXT.replace(was, becomes), book, "event.toml")
    assert [problem.path for problem in refused.value.problems] == [path]


def test_the_example_event_fits_the_race_book() -> None:
    event = race_event()
    assert event.laps == 24
    assert float(sum(event.plan)) == pytest.approx(33.6)
    assert {name: float(bound.limit) for name, bound in event.temperatures.items()} == {
        "motor": 120,
        "inverter": 90,
        "battery": 58,
    }


@pytest.mark.parametrize(
    ("was", "becomes", "path"),
    [
        ('unit = "kWh"', 'unit = "hp"', "energy.unit"),
        ("laps = 24", "laps = 24\nminutes = 45", "distance.minutes"),
        ("laps = 24", "minutes = 45\nlap_second = 3", "distance.lap_second"),
        ("laps = 24", "laps = 0", "distance.laps"),
        ("usable = 34.0", "usable = 0.3", "energy.reserve"),
        ("per_lap = 1.4", "per_lap = [1.4, 1.4]", "plan.per_lap"),
        ("per_lap = 1.4", 'per_lap = "much"', "plan.per_lap"),
        ("per_lap = 1.4", "per_lap = 8.6", "plan.per_lap"),
        ('way = "way", clicks = "clicks" }', 'way = "way" }', "calls.wheel.clicks"),
        (
            'way = "way", clicks = "clicks" }',
            'way = "way", clicks = "clicks", position = "clicks" }',
            "calls.wheel.position",
        ),
        ("[reports.energy]", "[reports.charge]", "reports.charge"),
        ("[reports.energy]", "[reports.motor]", "reports.motor"),
        ("[reports.energy]", "[reports.alert]", "reports.alert"),
        ('positive = "left"', 'positive = "left"\ncounts = "drawn"', "reports.energy.counts"),
        ("[temperatures.motor]", "[temperatures.energy]", "temperatures.energy"),
        ('"pace", target = "target"', '"lap", target = "target"', "calls.pace.message"),
        ('"pace", target = "target"', '"pace", target = "energy"', "calls.pace.target"),
        ('"distance", added = "added"', '"nothing", added = "added"', "calls.distance.message"),
        ('"wheel", dial = "dial"', '"wheel", dial = "way"', "dials.brake balance"),
        (
            'way = "way", clicks = "clicks" }',
            'way = "way", clicks = "clicks", up = "rise" }',
            "calls.wheel.up",
        ),
        ("start = 2 }", "start = 9 }", "dials.torque map.start"),
        ('"torque map" =', '"torque" =', "dials.torque"),
        ("chance = 0.1", "chance = 1.0", "advice.chance"),
    ],
)
def test_a_problem_is_told_with_its_place(was: str, becomes: str, path: str) -> None:
    assert was in TEXT
    found = problems(TEXT.replace(was, becomes))
    assert path in [place for place, _ in found], found
    line = dict(found)[path]
    assert line >= line_of(was.split("\n", maxsplit=1)[0]) - 5 if "dials." not in path else line > 0


def test_every_problem_is_told_at_once() -> None:
    text = (
        TEXT.replace("[reports.energy]", "[reports.charge]")
        .replace("start = 2 }", "start = 2, wrap = true }")
        .replace("24", '"x"')
    )
    found = [path for path, _ in problems(text)]
    assert "distance.laps" in found
    assert "dials.torque map.wrap" in found
    text = (
        TEXT.replace("[reports.energy]", "[reports.charge]")
        .replace('"torque map" =', '"torque" =')
        .replace("high = 8", "height = 8")
    )
    assert [path for path, _ in problems(text)] == [
        "reports.charge",
        "dials.regeneration.height",
        "dials.torque",
    ]


def test_an_unknown_key_suggests_the_one_meant() -> None:
    with pytest.raises(EventError, match="did you mean 'usable'"):
        parse_event(TEXT.replace("usable = 34.0", "usabel = 34.0"), race_book())


@pytest.mark.parametrize(
    ("text", "what"),
    [("[distance", "not TOML"), ("", "'distance' is missing"), ("distance = 3", "distance")],
)
def test_what_is_no_event_is_refused(text: str, what: str) -> None:
    with pytest.raises(EventError, match=what):
        parse_event(text, race_book())


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(EventError, match="pass the path of an event file in TOML"):
        load_event(tmp_path / "none.toml", race_book())


KEYS = st.sampled_from(["distance", "energy", "plan", "reports", "dials", "calls", "x"])
LEAVES = st.integers() | st.text(max_size=5) | st.floats(allow_nan=True)
TREES = st.recursive(
    LEAVES,
    lambda inner: (
        st.dictionaries(st.text(max_size=8), inner, max_size=4) | st.lists(inner, max_size=3)
    ),
    max_leaves=6,
)


@given(st.dictionaries(KEYS, TREES, max_size=5))
def test_any_table_without_a_distance_or_energy_is_an_event_error(raw: dict[str, object]) -> None:
    with pytest.raises(EventError) as refused:
        parse_event(tomli_w.dumps(raw), race_book())
    assert refused.value.problems


def test_the_schema_is_a_schema_and_the_example_fits_it() -> None:
    import tomllib

    jsonschema.Draft202012Validator.check_schema(schema())
    jsonschema.validate(tomllib.loads(TEXT), schema())


def test_a_plan_may_take_what_charging_stops_bring() -> None:
    stop = "[charging.pit]\nfirst = 8\nlast = 12\nenergy = 3.0\n"
    plan = "[plan]\nper_lap = 1.5\n"
    assert sum(event("", DELTA + plan + stop).plan) == 30
    with pytest.raises(EventError, match=r"30\.0 kWh planned for 20 laps, of 28\.4 usable"):
        event("", DELTA + plan)
