"""``niner race``, ``niner sheet debrief`` and ``niner sheet compare``, as a person meets them."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import pytest
from race.story import Story, tell
from race.support import EVENT, RACE

from codec.cli import race as race_command
from codec.cli.debrief import add_compare, add_debrief
from codec.profile import load_profile
from codec.sheet import Journal
from grammar.errors import CodeError


@pytest.fixture(scope="module")
def story() -> Story:
    return tell()


@pytest.fixture(scope="module")
def folder(story: Story, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("event")
    with Journal(path / "event.sheet", story.book) as journal:
        journal.append_all(story.entries)
    (path / "car-7.csv").write_text("".join(story.car_file()), "utf-8", newline="")
    return path


def run(*words: object) -> int:
    parser = argparse.ArgumentParser()
    commands = parser.add_subparsers(required=True)
    race_command.add(commands)
    actions = commands.add_parser("sheet").add_subparsers(required=True)
    add_debrief(actions)
    add_compare(actions)
    args = parser.parse_args([str(word) for word in words])
    code: int = args.run(args)
    return code


def test_the_race_is_shown_with_calls_wheel_and_caution(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("race", "show", folder / "event.sheet", EVENT) == 0
    shown = capsys.readouterr().out
    for part in (
        "behind lap 26, 0 to go",
        "one lap more",
        "battery",
        "brake balance",
        "does not fit",
        "qualified people",
        "Event regulations",
    ):
        assert part in " ".join(shown.split())
    assert max(map(len, shown.splitlines())) <= 80


def test_the_race_is_told_to_programs(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("race", "show", folder / "event.sheet", EVENT, "--json") == 0
    facts = json.loads(capsys.readouterr().out)
    assert (facts["lap"], facts["laps_left"], facts["laps_added"], facts["unit"]) == (
        26,
        0,
        2,
        "kWh",
    )
    assert facts["dials"]["brake balance"] == {"position": 7, "heading": 7, "doubtful": False}
    assert facts["as_it_is"]["margin"]["low"] < facts["as_it_is"]["margin"]["high"]
    assert list(facts["doubtful_laps"]) == ["6"]


@pytest.mark.slow
def test_wanted_positions_are_told_as_calls(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert (
        run("race", "wheel", folder / "event.sheet", EVENT, "brake balance=5", "regeneration=4")
        == 0
    )
    assert capsys.readouterr().out == "WBS2  whiskey bravo sierra two  (brake balance 2 down)\n"
    assert run("race", "wheel", folder / "event.sheet", EVENT, "brake balance=7") == 0
    assert capsys.readouterr().out == "every dial stands where it is wanted\n"
    for wrong in ("brake balance=12", "seat=1", "brake balance=x"):
        with pytest.raises(CodeError):
            run("race", "wheel", folder / "event.sheet", EVENT, wrong)


def test_an_event_file_is_checked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("race", "check", EVENT, RACE) == 0
    told = capsys.readouterr().out.splitlines()[1:]
    by_hand = "/stopped, /yellow, /dry"
    assert told == [
        "  24 laps, 33.6 kWh planned, 0 kWh more than that to use",
        f"  no phrase or message of the book reports these, so they are typed: {by_hand}",
    ]
    in_percent = tmp_path / "percent.toml"
    in_percent.write_text(RACE.read_text("utf-8").replace('unit = "kWh"', 'unit = "%"', 1), "utf-8")
    assert run("race", "check", EVENT, in_percent) == 0
    assert "  energy: 1 % is 0.34 kWh, of the 34 kWh usable" in capsys.readouterr().out
    bad = tmp_path / "bad.toml"
    bad.write_text(EVENT.read_text("utf-8").replace("laps = 24", "laps = -1"), "utf-8")
    with pytest.raises(CodeError, match="1 problem"):
        run("race", "check", bad, RACE)
    assert run("race", "schema") == 0
    assert json.loads(capsys.readouterr().out)["title"] == "niner event"


def test_the_comparison_is_shown_and_told(
    folder: Path, story: Story, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("sheet", "compare", folder / "event.sheet", folder / "car-7.csv") == 0
    shown = " ".join(capsys.readouterr().out.split())
    for part in (
        "read wrong",
        "heard wrong",
        "late",
        "seven heard as echo: 1",
        "no report that stands: lap 13",
        "qualified people",
    ):
        assert part in shown
    assert run("sheet", "compare", folder / "event.sheet", folder / "car-7.csv", "--json") == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    faults = [
        (line["lap"], line["found"])
        for line in lines[:-1]
        if line["found"] in ("read wrong", "heard wrong", "late", "wrong")
    ]
    assert sorted(faults) == sorted(story.planted)
    assert lines[-1]["words"] == story.words


def test_the_words_counted_become_a_profile(folder: Path, tmp_path: Path) -> None:
    target = tmp_path / "profile.json"
    run("sheet", "compare", folder / "event.sheet", folder / "car-7.csv", "--profile", target)
    assert load_profile(target).heard["seven"]["echo"] == 1
    with pytest.raises(CodeError, match="is there already"):
        run("sheet", "compare", folder / "event.sheet", folder / "car-7.csv", "--profile", target)
    assert (
        run(
            "sheet",
            "compare",
            folder / "event.sheet",
            folder / "car-7.csv",
            "--profile",
            target,
            "--replace",
        )
        == 0
    )


@pytest.mark.slow
def test_the_debrief_is_written(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = (
        "sheet",
        "debrief",
        folder / "event.sheet",
        tmp_path / "out",
        "--event",
        EVENT,
        "--recorded",
        folder / "car-7.csv",
    )
    assert run(*made) == 0
    assert str(tmp_path / "out" / "debrief.html") in capsys.readouterr().out
    assert (tmp_path / "out" / "debrief.html").stat().st_size > 100_000


def test_a_car_that_is_not_there_is_told(folder: Path) -> None:
    with pytest.raises(CodeError, match="there is no car '8'"):
        run("race", "show", folder / "event.sheet", EVENT, "--car", "8")
