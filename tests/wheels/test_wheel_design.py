"""The map designed: no setting that stays is moved, nothing costs more than as it is, and the file
written is the map told.
"""

from __future__ import annotations

import itertools
import json
import tomllib
from pathlib import Path

import pytest

from codec.cli import main
from codec.wheel import WheelError, WheelFileError, load_wheel, parse_wheel
from codec.wheel.design import arrangements, harm_price, race_cost, rearranged

EXAMPLE = Path("examples/event/wheel.toml")
SMALL = """
[controls.chooser]
kind = "rotary"
positions = ["a", "b", "c", "d"]
[controls.thumb]
kind = "encoder"
[controls.pair]
kind = "paddles"
[settings.a]
start = 5
[settings.b]
start = 5
[settings.c]
start = 5
harm = 3
[settings.d]
start = 5
[settings.e]
start = 5
[[does]]
touch = "thumb"
chosen_by = "chooser"
[[does]]
touch = "pair"
steps = "e"
[[changes]]
settings = ["a"]
often = 5
[[changes]]
settings = ["d"]
often = 5
[[changes]]
settings = ["a", "d"]
often = 2
[[changes]]
settings = ["c"]
"""


@pytest.mark.slow
def test_every_map_is_cheaper_with_more_moved_and_keeps_what_stays() -> None:
    wheel = parse_wheel(SMALL + '[design]\nstays = ["b"]\n')
    found = arrangements(wheel)
    totals = [one.cost.total(wheel, "seconds") for one in found]
    assert totals == sorted(totals, reverse=True)
    assert [one.moved for one in found] == sorted({one.moved for one in found})
    assert found[0].moved == 0
    assert len(found) > 1
    for one in found:
        assert "b" not in one.places
        assert sorted(one.places) == sorted(one.places.values())
        assert one.cost == race_cost(one.wheel)


@pytest.mark.slow
def test_no_map_of_a_small_wheel_is_cheaper_by_more_than_a_little() -> None:
    wheel = parse_wheel(SMALL)
    best = arrangements(wheel)[-1].cost.total(wheel, "seconds")
    names = list(wheel.spec.settings)
    every = [
        race_cost(rearranged(wheel, dict(zip(names, places, strict=True))), races=4).total(
            wheel, "seconds"
        )
        for places in itertools.permutations(names)
        if places[0] in "ae"  # a fifth of them and the likeliest: the others take as long again
    ]
    few = race_cost(arrangements(wheel)[-1].wheel, races=4).total(wheel, "seconds")
    assert few <= 1.03 * min(every)
    assert best <= race_cost(wheel).total(wheel, "seconds")


@pytest.mark.slow
def test_what_must_be_changed_at_once_has_a_place_where_it_is() -> None:
    wheel = parse_wheel(SMALL + '[design]\nat_once = ["e"]\n')
    assert all("e" not in one.places for one in arrangements(wheel))
    moved = arrangements(parse_wheel(SMALL))[-1]
    assert "e" in moved.places  # what is never changed gives its place to what often is


def test_settings_exchange_every_place_they_have() -> None:
    wheel = load_wheel(EXAMPLE)
    there = rearranged(wheel, {"lift": "laps added", "laps added": "lift"}).spec
    assert there.cursors["line"].items[0] == "lift"
    assert there.controls["chooser"].positions[5] == "laps added"  # type: ignore[union-attr]
    assert [rule.steps for rule in there.does if rule.when.get("mode") == "entry"].count(
        "lift"
    ) == 1
    assert [rule.when.get("line") for rule in there.does].count("lift") == 1


def test_harm_is_counted_in_the_unit_of_the_measure() -> None:
    wheel = load_wheel(EXAMPLE)  # at 200 km/h
    assert harm_price(wheel, "seconds") == harm_price(wheel, "touches") == 1
    assert harm_price(wheel, "metres") == pytest.approx(200 / 3.6)


@pytest.mark.slow
def test_the_map_is_printed_and_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source, out, card = (tmp_path / name for name in ("w.toml", "new.toml", "card.html"))
    source.write_text(SMALL, "utf-8")
    command = ["wheel", "design", str(source), "--moves", "2"]
    assert main([*command, "--out", str(out), "--card", str(card)]) == 0
    shown = capsys.readouterr().out
    assert "to find anew, 2 moved" in shown
    assert "Practise it parked" in shown
    assert "(was " in card.read_text("utf-8")
    assert "Practise it parked" in card.read_text("utf-8")
    assert main([*command, "--json"]) == 0
    last = [json.loads(line) for line in capsys.readouterr().out.splitlines()][-1]
    assert last["moved"] == 2
    assert main(["design", "--wheel", str(source), "--json"]) == 0
    assert json.loads(capsys.readouterr().out.splitlines()[0])["moved"] == 0
    made = load_wheel(out)
    assert race_cost(made).as_dict() == {key: last[key] for key in race_cost(made).as_dict()}
    assert tomllib.loads(out.read_text("utf-8"))["changes"]


def test_a_wheel_file_without_changes_and_with_unknown_ones_is_told() -> None:
    plain = parse_wheel(SMALL.partition("[[changes]]")[0])
    with pytest.raises(WheelError, match="does not tell what is changed") as refused:
        arrangements(plain)
    assert "[[changes]]" in (refused.value.hint or "")
    with pytest.raises(WheelFileError) as wrong:
        parse_wheel(SMALL + '[design]\nstays = ["f"]\nat_once = ["aa"]\n')
    assert len(wrong.value.problems) == 2


def test_a_change_goes_to_the_other_side_where_there_is_no_room_and_never_beyond() -> None:
    wheel = load_wheel(EXAMPLE)  # torque map: six positions; shift lights: two, and they wrap
    assert wheel.moved("torque map", 1, 3) == 4
    assert wheel.moved("torque map", 5, 2) == 3
    assert wheel.moved("torque map", 2, 5) == 0  # there is no room on either side
    assert wheel.moved("torque map", 3, -20) == 5
    assert wheel.moved("shift lights", 1, 1) == 0
