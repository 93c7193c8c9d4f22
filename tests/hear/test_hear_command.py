"""``niner hear`` and ``niner book simulate`` on the command line."""

from __future__ import annotations

import argparse
import io
import json
import sys
from pathlib import Path
from typing import Any

import pytest
from hear.books import LAP
from helpers import toml_text

from codec import CodeError, encode, parse_book
from codec.cli import hear as hear_command
from codec.cli.simulate import add_simulate

SAID = encode(
    parse_book(toml_text(LAP)), {"lap": 7, "energy": -0.4, "motor": 95, "alert": ["rain"]}
).words


@pytest.fixture
def book(tmp_path: Path) -> str:
    path = tmp_path / "book.toml"
    path.write_text(toml_text(LAP), "utf-8")
    return str(path)


def run(*arguments: str) -> int:
    parser = argparse.ArgumentParser()
    commands = parser.add_subparsers()
    hear_command.add(commands)
    add_simulate(commands)
    args = parser.parse_args(arguments)
    code: int = args.run(args)
    return code


def facts(capsys: pytest.CaptureFixture[str]) -> list[dict[str, Any]]:
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_a_clear_report_is_accepted(book: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("hear", book, *SAID.split()) == 0
    shown = capsys.readouterr().out
    assert "ACCEPT" in shown
    assert "motor 95 °C" in shown
    assert "> 99.9 %" in shown


def test_a_doubtful_report_is_asked_for_and_exits_with_1(
    book: str, capsys: pytest.CaptureFixture[str]
) -> None:
    words = SAID.split()
    assert run("hear", book, *words[:4], "?", "?", *words[6:]) == 1
    shown = capsys.readouterr().out
    assert "SAY AGAIN FIVE TO SIERRA" in shown
    assert "the book accepts from 98.0 % on" in shown
    assert "✓" in shown
    assert "?" in shown


def test_the_answer_is_weighed_with_what_was_heard_before(
    book: str, capsys: pytest.CaptureFixture[str]
) -> None:
    words = SAID.split()
    before = " ".join([*words[:4], "?", "?", *words[6:]])
    assert run("hear", book, "five x-ray", "--earlier", before, "--json") == 0
    (found,) = facts(capsys)
    assert found["accepted"]["values"] == {"lap": 7, "energy": -0.4, "motor": 95, "alert": ["rain"]}
    assert len(found["heard"]) == 2


def test_json_says_everything(book: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(
        "hear", book, SAID, "--json", "--count", "3", "--prior", "lap=16", "--noise", "harsh"
    ) in (0, 1)
    (found,) = facts(capsys)
    assert found["candidates"][0]["values"]["lap"] == 17
    total = (
        sum(one["probability"] for one in found["candidates"])
        + found["unlisted"]
        + found["nothing"]
    )
    assert total == pytest.approx(1)
    assert len(found["candidates"]) == 3
    assert found["fields"]["motor"]["expected"] == pytest.approx(95, abs=3)
    assert found["fields"]["motor"]["unit"] == "°C"
    assert set(found["decision"]["costs"]) <= {"accept", "ask part", "ask all"}


def test_the_last_report_is_the_prior_as_values_or_as_its_string(
    book: str, capsys: pytest.CaptureFixture[str]
) -> None:
    words = [*SAID.split()[:3], "?", *SAID.split()[4:-1], "?"]
    last = encode(
        parse_book(toml_text(LAP)), {"lap": 6, "energy": -0.4, "motor": 94, "alert": ["rain"]}
    ).string
    shares = []
    for prior in ([], ["--prior", last, "--prior", "lap=16"]):
        run("hear", book, *words, "--json", *prior)
        shares.append(facts(capsys)[0]["candidates"][0])
    assert shares[1]["probability"] > shares[0]["probability"]
    assert (shares[0]["values"]["lap"], shares[1]["values"]["lap"]) == (7, 17)


def test_lines_of_standard_input_follow_one_another(
    book: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = parse_book(toml_text(LAP))
    lines = [
        encode(plain, {"lap": lap, "energy": 0, "motor": 90 + lap, "alert": []}).words
        for lap in (1, 2)
    ]
    third = encode(plain, {"lap": 3, "energy": 0, "motor": 93, "alert": []}).words.split()
    lines.append(json.dumps([third[0], *({word: 0.9} for word in third[1:])]))
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO("\n".join(lines).encode())))
    assert run("hear", book, "--follow", "--prior", "lap=20", "--json") == 0
    assert [one["accepted"]["values"]["lap"] for one in facts(capsys)] == [21, 22, 23]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["one", "--noise", "loud"], "unknown grade"),
        (["one", "--prior", "speed=3"], "no field 'speed'"),
        (["one", "--prior", "motor=warm"], "not a number"),
        (["one", "--prior", "lap="], "not a number"),
    ],
)
def test_what_can_not_be_used_is_told(
    book: str, capsys: pytest.CaptureFixture[str], arguments: list[str], message: str
) -> None:
    try:
        assert run("hear", book, *arguments) != 0
        told = capsys.readouterr().err
    except CodeError as error:
        told = str(error)
    assert message in told


def test_nothing_heard_exits_with_1(book: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("hear", book, "uh") == 1
    assert "nothing was heard" in capsys.readouterr().err


@pytest.mark.slow
def test_a_book_is_simulated_with_tables_and_a_figure(
    book: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    figure = tmp_path / "noise.svg"
    assert (
        run(
            "simulate",
            book,
            "--reports",
            "15",
            "--noise",
            "harsh",
            "--hearings",
            "1",
            "--compare",
            "--figure",
            str(figure),
        )
        == 0
    )
    shown = capsys.readouterr().out
    assert "What became of the reports" in shown
    assert "nothing expected" in shown
    assert "▸ 0.98" in shown
    assert figure.read_text("utf-8").startswith("<?xml")


@pytest.mark.slow
def test_a_simulation_is_repeatable_as_json(book: str, capsys: pytest.CaptureFixture[str]) -> None:
    found = []
    for _ in range(2):
        assert (
            run(
                "simulate",
                book,
                "--reports",
                "8",
                "--seed",
                "5",
                "--noise",
                "-9",
                "--mistaken",
                "0.5",
                "--json",
            )
            == 0
        )
        found += facts(capsys)
    assert found[0] == found[1]
    assert found[0]["reports"] == 8


@pytest.mark.parametrize(
    "arguments",
    [["--reports", "0"], ["--mistaken", "2"], ["--hearings", "9"], ["--figure", "x.pdf"]],
)
def test_settings_out_of_range_are_refused_before_anything_is_simulated(
    book: str, arguments: list[str]
) -> None:
    with pytest.raises(CodeError) as refused:
        run("simulate", book, *arguments)
    assert refused.value.kind == "usage"
