"""The command line as its users meet it."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from codec.cli import main
from codec.cli.command_line import _parser

ROOT = Path(__file__).parents[1]
STARTER = str(ROOT / "examples" / "starter" / "starter.toml")
RACE = str(ROOT / "examples" / "race" / "race.toml")
AMBIGUOUS = str(ROOT / "examples" / "starter" / "ambiguous.toml")


class Input(io.TextIOWrapper):
    """Standard input of a text."""

    def __init__(self, text: str) -> None:
        super().__init__(
            io.BytesIO(text.encode("utf-8", "surrogateescape")), "utf-8", "surrogateescape"
        )


def objects(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


def test_decode_exits_with_0_when_every_report_is_read(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["decode", STARTER, "seven", "one", "six", "four", "six"]) == 0
    assert "-0.4 kWh" in capsys.readouterr().out


def test_decode_exits_with_1_when_a_report_needs_a_repeat(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["decode", STARTER, "seven one six"]) == 1
    assert "ends too early" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["decode", "hear"])
def test_what_is_said_by_the_names_of_fields_comes_with_what_reads_it(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([command, RACE, "motor 105 inverter 75"]) == 1
    told = "".join(capsys.readouterr())
    assert "hint: numbers by the names of fields are read by niner log and niner sheet" in told
    assert main([command, RACE, "five one six lima"]) == 1
    assert "names of fields" not in "".join(capsys.readouterr())


@pytest.mark.parametrize("text", ["disregard", ""])
def test_decode_exits_with_1_when_nothing_was_reported(
    text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["decode", STARTER, text]) == 1
    assert "no report in this" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("near", "told"),
    [("lp=21", "--near lp: no wrapped field"), ("energy=3", "--near energy"), ("lap=x", "'x'")],
)
def test_decode_refuses_to_be_near_what_is_not_wrapped(
    near: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["decode", RACE, "--near", near, "4183HZ2"]) == 2
    assert told in capsys.readouterr().err


@pytest.mark.parametrize(
    ("command", "told"),
    [
        (["encode", RACE, "energy=-0.3 kWh"], "hint: write -0.3"),
        (["encode", RACE, "energy=-0,3"], "hint: write -0.3"),
        (["encode", RACE, "energy=-0.3 volts"], "hint: write the number alone, in kWh"),
        (["encode", RACE, "tyres=goood"], "cold, cool, good, warm, hot"),
        (
            ["encode", RACE, "lap=3", "energy=0", "motor=95", "inverter=60"],
            "can't be said without battery\n",
        ),
        (["decode", RACE, "five one six kilo"], "hint: K is not in use in this book"),
        (["encode", RACE, "energy against plan=0"], "hint: the field labelled so is 'energy'"),
        (["decode", RACE, "7,16,46"], "hint: symbols stand together, or parted by blanks"),
        (["decode", RACE, "5 1 6 3 H Z golf golf"], "hint: say again"),
        (["hear", RACE, "safety car"], "an event (race neutralised), and no report"),
        (["hear", RACE, "--laps", "0", "five"], "--laps 0"),
        (["hear", RACE, "--count", "-1", "five"], "--count -1"),
    ],
)
def test_what_is_refused_comes_with_what_to_do(
    command: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(command) != 0
    assert told in capsys.readouterr().err


def test_encode_says_when_it_was_given_nothing(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "stdin", Input(""))
    assert main(["encode", STARTER]) == 2
    assert "nothing to say" in capsys.readouterr().err


def test_a_book_with_problems_exits_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["book", "check", AMBIGUOUS]) == 2
    assert "'120' has two readings" in capsys.readouterr().err


def test_wrong_usage_exits_with_2() -> None:
    with pytest.raises(SystemExit) as stop:
        main(["decode"])
    assert stop.value.code == 2


def test_lines_of_standard_input_are_read_one_report_each(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "stdin", Input("seven one six four six\n\nnonsense here\n71646\n"))
    assert main(["decode", "--json", STARTER]) == 1
    first, second, third = objects(capsys.readouterr().out)
    assert first["values"] == third["values"] == {"lap": 7, "energy": -0.4, "battery": 46}
    assert second["error"] == "unknown-word"
    assert second["span"] == [0, 8]


def test_events_questions_and_answers_are_shown_in_order(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert (
        main(
            [
                "decode",
                "--json",
                RACE,
                "roger safety car lima three foxtrot break say again all after four",
            ]
        )
        == 0
    )
    kinds = [next(iter(fact)) for fact in objects(capsys.readouterr().out)]
    assert kinds == ["answer", "event", "message", "ask"]


def test_all_shows_every_reading_of_a_tie(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = tmp_path / "book.toml"
    book.write_text(
        '[fields.a]\nkind="quantity"\nlow=0\nhigh=99\nstep=1\n[fields.b]\nkind="quantity"\nlow=0\nhigh=999\nstep=1\n'
        '[tables.a]\nkind="digits"\n[tables.b]\nkind="digits"\n[messages.a]\nlayout="a"\n[messages.b]\nlayout="b"\n'
    )
    assert main(["decode", str(book), "forty seven"]) == 1
    assert "2 readings are possible" in capsys.readouterr().err
    assert main(["decode", "--all", "--json", str(book), "forty seven"]) == 0
    assert [fact["string"] for fact in objects(capsys.readouterr().out)] == ["47", "407"]


def test_options_may_stand_anywhere(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["encode", RACE, "--message", "pace", "target=1.37", "--json"]) == 0
    assert objects(capsys.readouterr().out)[0]["words"] == "tango three seven"


def test_encode_reads_objects_from_standard_input(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "stdin", Input('{"target": 1.37}\n{"target": 9}\n[1]\n{"target"\n'))
    assert main(["encode", "--json", RACE]) == 2
    kinds = [fact.get("string") or fact.get("error") for fact in objects(capsys.readouterr().out)]
    assert kinds == ["T37", "outside-domain", "usage", "usage"]


def test_encode_names_the_domain_and_unit_of_a_value_it_refuses(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["encode", RACE, "target=2.5"]) == 2
    assert "1.00 … 1.99 kWh" in capsys.readouterr().err


@pytest.mark.slow
def test_check_gives_programs_the_same_facts(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["book", "check", "--json", RACE]) == 0
    (facts,) = objects(capsys.readouterr().out)
    assert facts["problems"] == []
    messages = {row["message"]: row for row in facts["messages"]}
    assert messages["lap"]["readings"] == 10 * 41 * (17 * 13 * 23) * 7
    assert main(["book", "check", "--json", AMBIGUOUS]) == 2
    (refused,) = objects(capsys.readouterr().out)
    assert refused["problems"][0]["kind"] == "ambiguous"


def test_the_schema_is_one_and_accepts_the_example_books(
    capsys: pytest.CaptureFixture[str],
) -> None:
    import tomllib

    assert main(["book", "schema"]) == 0
    schema = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(schema)
    for path in (STARTER, RACE):
        jsonschema.validate(tomllib.loads(Path(path).read_text("utf-8")), schema)


def test_show_draws_symbol_value_word_and_limits(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["book", "show", STARTER, "--rows", "0"]) == 0
    shown = capsys.readouterr().out
    for text in ("46", "46 °C", "four six", "! battery hot", "qualified"):
        assert text in shown


@pytest.mark.slow
def test_the_demo_tells_a_race_from_the_radio_to_the_debrief(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["demo", str(tmp_path)]) == 0
    shown = capsys.readouterr().out
    for text in (
        "one two one two eight sierra alfa",
        "race neutralised",
        "energy per lap 1.31 kWh",
        "tango three zero",
        "qualified",
    ):
        assert text in shown
    assert {"race.sheet", "race.toml", "event.toml", "debrief.html", "energy.svg"} <= {
        path.name for path in tmp_path.iterdir()
    }
    commands = [line.split()[1:] for line in shown.splitlines() if line.startswith("  niner ")]
    assert {command[0] for command in commands} >= {"decode", "hear", "log", "book", "drill"}
    for guide in ("engineer", "team", "coach"):
        path = ROOT / "examples" / f"{guide}.md"
        assert (path.name in shown) == path.is_file()
    for command in commands:
        assert _parser(command).parse_args(command).run, command


def test_a_reader_that_goes_away_is_no_error() -> None:
    niner = f"'{sys.executable}' -c 'from codec.cli import main; raise SystemExit(main())'"
    command = f"{niner} book show {RACE} --rows 0 | head -1; echo ${{PIPESTATUS[0]}}"
    done = subprocess.run(
        ["bash", "-c", command], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "0"
    assert "Traceback" not in done.stderr


def test_help_is_short_and_names_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["--help"])
    shown = capsys.readouterr().out
    assert len(shown.splitlines()) <= 25
    for command in (
        "decode",
        "encode",
        "hear",
        "log",
        "sheet",
        "race",
        "book",
        "design",
        "drill",
        "demo",
    ):
        assert command in shown


@pytest.mark.parametrize("command", ["sheet", "race", "book", "drill"])
def test_every_subcommand_says_in_its_help_what_it_does(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        main([command, "--help"])
    listed = re.findall(r"^    ([a-z]+)\s", capsys.readouterr().out, re.MULTILINE)
    assert len(listed) > 3
    for name in listed:
        with pytest.raises(SystemExit):
            main([command, name, "--help"])
        _, about, *_ = capsys.readouterr().out.split("\n\n")
        assert re.match(r"[A-Z].*\.", about, re.DOTALL), name
        assert not about.startswith(("positional", "options")), name


@pytest.mark.parametrize("number", ["1_3", "١", "0x1", "one", "nan", "inf", "1e400"])
def test_only_plain_numbers_are_numbers(number: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["encode", RACE, f"target={number}"]) == 2
    assert "number" in capsys.readouterr().err
