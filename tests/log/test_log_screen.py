"""The live screen, driven as an engineer drives it: typed into and looked at in a real terminal."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from helpers import first_short
from log.terminal import Terminal
from sheet.support import RACE, race_book

from codec import encode
from codec.log.session import Session
from codec.sheet import Journal
from codec.sheet.state import Standing, laps

SIZES = [(80, 24), (200, 50)]
ALARMING = "three zero eight four yankee foxtrot x-ray x-ray"
MENDED = encode(
    race_book(),
    {"lap": 1, "energy": "0.3", "motor": 80, "inverter": 55, "battery": 34, "alert": []},
    "lap",
)


@pytest.mark.parametrize(("columns", "height"), first_short(SIZES), ids=["80x24", "200x50"])
def test_an_engineer_logs_a_race(tmp_path: Path, columns: int, height: int) -> None:
    sheet = str(tmp_path / "event.sheet")
    with Terminal(
        ["log", sheet, "--book", str(RACE), "--car", "7=Ana Cole"], columns, height
    ) as terminal:
        screen = terminal.shows("car 7 Ana Cole", "lap –", "car 7>", "F8 undo")
        assert len(screen.splitlines()) <= height

        terminal.write("one two zero one yankee alfa quebec")
        terminal.shows("→  lap report: lap 1")  # the reading stands there before Enter
        terminal.press("Enter")
        terminal.shows("lap 2  racing", "      0     80")

        terminal.write("two one seven four x-ray quebec november tango")
        terminal.shows("→  ask: SAY AGAIN")  # misheard: it was heard when typing rested
        terminal.press("Enter")
        terminal.shows("ask: SAY AGAIN", "does not fit")
        terminal.type("two double two two lima six two")
        terminal.shows("    0.2     90", "first heard: two one seven four")

        terminal.type("safety car")
        terminal.shows("NEUTRALISED")
        terminal.press("F3")
        terminal.shows("lap 3  racing")

        terminal.type(f"/lap 1 {MENDED.words}")
        terminal.shows("lap 1: lap report", "    0.3     80", "corrected from 1201YAQ")
        terminal.type("five one six three juliett romeo bravo tango")
        terminal.shows("! alert: brakes")
        terminal.press("F8")
        terminal.shows("report lap 5: 5163JRBT")

        terminal.kill()
    with Terminal(["log", sheet], columns, height) as terminal:
        terminal.shows("car 7 Ana Cole", "lap 3  racing", "    0.2     90", "withdrawn")
        terminal.type("/car 61 Teo Vash")
        terminal.shows("car 61 Teo Vash", "lap 3")
        terminal.press("F2")
        terminal.shows("car 7>")
        terminal.press("F10")
    with Journal(sheet) as journal:
        standing = Standing(journal.entries())
        assert {
            lap: row.entry.string
            for lap, row in laps(standing, "7", race_book()).items()
            if row.counts
        } == {1: MENDED.string, 2: "2222L62"}
        assert journal.faults() == []


@pytest.mark.slow
def test_two_engineers_see_each_other_s_entries(tmp_path: Path) -> None:
    sheet = str(tmp_path / "event.sheet")
    with (
        Terminal(["log", sheet, "--book", str(RACE), "--car", "7=Ana"], 80, 24) as one,
        Terminal(["log", sheet, "--book", str(RACE), "--car", "61=Teo"], 80, 24) as two,
    ):
        one.shows("car 7>")
        two.shows("car 61>")
        one.type("one two zero one yankee alfa quebec")
        one.shows("lap 1")
        two.shows("7: lap 2")


@pytest.mark.slow
def test_a_command_is_completed(tmp_path: Path) -> None:
    with Terminal(
        ["log", str(tmp_path / "event.sheet"), "--book", str(RACE), "--car", "7"], 80, 24
    ) as terminal:
        terminal.shows("car 7>")
        terminal.write("/ma")
        terminal.shows("marker pressed")
        terminal.press("Tab")
        terminal.press("Enter")
        terminal.shows("marker pressed", "car 7>")


@pytest.mark.slow  # the sheet waits five seconds for another writer
def test_a_line_that_can_t_be_written_stays_to_be_entered_again(tmp_path: Path) -> None:
    sheet = tmp_path / "event.sheet"
    with Terminal(["log", str(sheet), "--book", str(RACE), "--car", "7"], 80, 24) as terminal:
        terminal.shows("car 7>")
        holder = sqlite3.connect(sheet, isolation_level=None)
        holder.execute("BEGIN IMMEDIATE")
        terminal.type("one two zero one yankee alfa quebec")
        terminal.shows("another writer held the sheet", "car 7> one two zero one")
        holder.execute("ROLLBACK")
        holder.close()
        terminal.press("Enter")
        terminal.shows("lap 2  racing")


@pytest.mark.slow
@pytest.mark.parametrize(("columns", "height"), first_short(SIZES), ids=["80x24", "200x50"])
def test_the_screen_tells_where_the_race_is_heading(
    tmp_path: Path, columns: int, height: int
) -> None:
    event = str(RACE.parents[1] / "event" / "event.toml")
    command = [
        "log",
        str(tmp_path / "event.sheet"),
        "--book",
        str(RACE),
        "--event",
        event,
        "--car",
        "7=Ana Cole",
    ]
    with Terminal(command, columns, height) as terminal:
        terminal.shows("car 7>")
        terminal.type("one two zero one yankee alfa quebec")
        screen = terminal.shows("behind lap 1, 23 to go", "flag ", "short", "a lap")
        assert len(screen.splitlines()) <= height
        terminal.type("two double two two lima six two")
        terminal.shows("behind lap 2, 22 to go")


def test_the_sheet_tells_it_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from codec.cli import main

    sheet, event = str(tmp_path / "event.sheet"), str(RACE.parents[1] / "event" / "event.toml")
    with Journal(sheet, race_book()) as journal:
        Session(journal, "7").enter("one two zero one yankee alfa quebec")
    assert main(["sheet", "show", sheet, "--event", event, "--car", "7"]) == 0
    shown = capsys.readouterr().out
    assert "behind lap 1, 23 to go" in shown
    assert "qualified" in shown


@pytest.mark.slow
@pytest.mark.parametrize(
    ("columns", "height"),
    first_short([(60, 20), (80, 24), (120, 45)]),
    ids=["60x20", "80x24", "120x45"],
)
def test_nothing_that_matters_is_cut(tmp_path: Path, columns: int, height: int) -> None:
    event = str(RACE.parents[1] / "event" / "event.toml")
    with Terminal(
        ["log", str(tmp_path / "e.sheet"), "--book", str(RACE), "--event", event, "--car", "7=Ana"],
        columns,
        height,
    ) as terminal:
        terminal.shows("car 7>")
        terminal.type("one two one two eight sierra alfa")
        terminal.shows("lap 2  racing")
        terminal.write(ALARMING)
        terminal.shows("battery 60 °C", "insulation")
        terminal.press("Enter")
        screen = terminal.shows(
            "! alert: insulation  ! energy well under plan",
            "! battery hot",
            "does not fit the laps before",
            "lap 3",
        )
        assert len(screen.splitlines()) <= height
        for line in screen.splitlines():
            assert not line.endswith(":"), (
                line
            )  # a forecast stands there with its figure or not at all


@pytest.mark.slow
def test_a_wrong_read_back_stands_on_the_screen_until_it_is_put_right(tmp_path: Path) -> None:
    event = str(RACE.parents[1] / "event" / "event.toml")
    with Terminal(
        ["log", str(tmp_path / "e.sheet"), "--book", str(RACE), "--event", event, "--car", "7=Ana"],
        80,
        24,
    ) as terminal:
        terminal.shows("car 7>")
        for line in (
            "one two one two eight sierra alfa",
            "whiskey bravo sierra two",
            "whiskey bravo sierra three lima",
        ):
            terminal.type(line)
        terminal.shows(
            "WRONG READ-BACK: brake balance: 2 down called, 3 down read back",
            "say: NEGATIVE, I SAY AGAIN whiskey bravo sierra two",
        )
        terminal.type("/note asked him")
        terminal.shows("noted: asked him", "WRONG READ-BACK")
        terminal.type("whiskey bravo sierra two sierra")
        assert "WRONG" not in terminal.shows("clicks 2;", "corrected from WBS3L")


@pytest.mark.slow
def test_the_prompt_stays_whatever_is_typed(tmp_path: Path) -> None:
    with Terminal(
        ["log", str(tmp_path / "e.sheet"), "--book", str(RACE), "--car", "7=Ana"], 80, 24
    ) as terminal:
        terminal.shows("car 7>")
        terminal.write("/note " + "all quiet on the back straight, " * 4)
        terminal.shows("car 7> ", "straight,")
        terminal.press("Enter")
        terminal.shows("noted: all quiet", "\ncar 7>")


@pytest.mark.slow
def test_the_screen_fits_after_the_window_was_made_smaller_and_larger(tmp_path: Path) -> None:
    event = str(RACE.parents[1] / "event" / "event.toml")
    with Terminal(
        ["log", str(tmp_path / "e.sheet"), "--book", str(RACE), "--event", event, "--car", "7=Ana"],
        80,
        24,
    ) as terminal:
        whole = "behind lap 0, 24 to go  left 40.30 kWh, +0.00 against plan"
        terminal.shows(whole)
        terminal.resize(40, 24)
        terminal.shows("\n+0.00 against plan")
        terminal.resize(80, 24)
        terminal.shows(whole)


@pytest.mark.slow
def test_the_next_car_s_own_state_is_told(tmp_path: Path) -> None:
    with Terminal(
        ["log", str(tmp_path / "e.sheet"), "--book", str(RACE), "--car", "7=Ana"], 80, 24
    ) as terminal:
        terminal.shows("car 7>")
        terminal.type("one two zero one yankee alfa quebec")
        terminal.shows("lap report: lap 1")
        terminal.type("/car 61=Teo Vash")
        terminal.type("five lemon")
        terminal.shows("ask: SAY AGAIN")
        terminal.press("F2")
        assert "ask" not in terminal.shows("car 7>", "\ncar 7 Ana\n")


@pytest.mark.slow
@pytest.mark.parametrize(("columns", "height"), [(80, 24), (160, 48)], ids=["80x24", "160x48"])
def test_two_cars_through_a_neutralisation(tmp_path: Path, columns: int, height: int) -> None:
    """Facts of the race stand on both cars; on a wide screen both are seen at once."""
    event = str(RACE.parents[1] / "event" / "event.toml")
    command = ["log", str(tmp_path / "e.sheet"), "--book", str(RACE), "--event", event]
    with Terminal([*command, "--car", "7=Ana"], columns, height) as terminal:
        terminal.shows("car 7>")
        for line in ("/car 61=Teo", "one two zero one yankee alfa quebec", "safety car"):
            terminal.type(line)
        both = ["car 7 Ana", "car 61 Teo"] if columns > 100 else ["car 61 Teo", "7: lap"]
        screen = terminal.shows("NEUTRALISED", "laps due so far", "used  target", *both)
        assert screen.count("laps due so far") == (2 if columns > 100 else 1)
        terminal.press("F2")
        terminal.shows("car 7>", "NEUTRALISED")
        terminal.press("F3")
        terminal.type("/added 3")
        screen = terminal.shows("racing", "+3 laps")
        terminal.write("one two zero")
        terminal.shows("→  lap …1, energy against plan 0.0 kWh")
        terminal.press("C-c")
        terminal.shows("\ncar 7>\n")
        terminal.type("/find resumed")
        terminal.shows("find: resumed", "race resumed")
        terminal.press("Escape")
        screen = terminal.shows("laps added 3")
        assert len(screen.splitlines()) <= height
