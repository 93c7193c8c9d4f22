"""``niner book export`` as its users meet it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from export.strings import BOOKS

from codec.cli import main
from grammar.export import FORMATS
from grammar.loading import load_book

RACE = "examples/race/race.toml"
STARTER = "examples/starter/starter.toml"


@pytest.mark.parametrize(
    ("name", "form"),
    [
        pytest.param(name, form, marks=[pytest.mark.slow] * (name != "starter"))
        for name in BOOKS
        for form in FORMATS
    ],
)
def test_every_format_is_written_and_its_use_told(
    name: str, form: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "new"
    assert main(["book", "export", f"examples/{name}/{name}.toml", form, "-o", str(folder)]) == 0
    told = capsys.readouterr()
    assert sorted(told.out.split()) == sorted(map(str, folder.iterdir()))
    assert told.err.startswith("next: ")
    assert told.err.count("\n") == 1
    assert "{" not in told.err
    assert all(path.stat().st_size and path.name.startswith(name) for path in folder.iterdir())
    for named in re.findall(rf"{name}\.\w+", told.err):
        assert named in {path.name for path in folder.iterdir()} | {f"{name}.dict"}


def test_json_tells_each_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["book", "export", RACE, "c", "--out", str(tmp_path), "--json"]) == 0
    told = capsys.readouterr()
    facts = [json.loads(line) for line in told.out.splitlines()]
    assert [Path(fact["file"]).name for fact in facts] == ["race.h", "race.c"]
    assert all(Path(fact["file"]).stat().st_size == fact["bytes"] for fact in facts)
    assert told.err == ""


def test_a_file_with_other_contents_is_replaced_only_when_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["book", "export", RACE, "c", "-o", str(tmp_path)]
    assert main(arguments) == 0
    assert main(arguments) == 0  # the same again
    (tmp_path / "race.c").write_text("/* by hand */\n", "utf-8")
    (tmp_path / "race.h").unlink()
    capsys.readouterr()
    assert main(arguments) == 2
    told = capsys.readouterr().err
    assert "race.c' is there already" in told
    assert "--replace" in told
    assert not (tmp_path / "race.h").exists()  # all files or none
    assert main([*arguments, "--replace"]) == 0
    assert "race_lap(" in (tmp_path / "race.c").read_text("utf-8")


def test_one_file_is_printed_as_it_is(
    tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    assert main(["book", "export", RACE, "csv", "-o", "-"]) == 0
    printed = capfdbinary.readouterr().out
    assert main(["book", "export", RACE, "csv", "-o", str(tmp_path)]) == 0
    assert printed == (tmp_path / "race.csv").read_bytes()
    assert b"\r\n" in printed


@pytest.mark.parametrize("form", [form for form, known in FORMATS.items() if known.enforces])
def test_checks_are_free_unless_enforced_and_the_head_of_the_file_tells(
    form: str, capfd: pytest.CaptureFixture[str]
) -> None:
    heads = []
    for more in ([], ["--enforce-check"], ["--direction", "pit"]):
        assert main(["book", "export", RACE, form, "-o", "-", *more]) == 0
        heads.append(" ".join(capfd.readouterr().out.splitlines()[:3]))
    free, enforced, unchecked = heads
    assert "Check symbols are free" in free
    assert "DANGER: check symbols are enforced." in enforced
    assert "No check symbols" in unchecked


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([RACE, "c", "-o", "-"], "c is 2 files"),
        pytest.param([STARTER, "card", "-o", "-"], "card is 8 files", marks=pytest.mark.slow),
        ([RACE, "pls", "--direction", "pit"], "pls can't hold one direction alone"),
        ([RACE, "lark", "--enforce-check"], "lark can't enforce check symbols"),
        (
            [STARTER, "fsg", "--direction", "pit"],
            "no message of direction pit",
        ),
        ([RACE, "c", "-o", "/dev/null/here"], "can't be written"),
        (["examples/starter/ambiguous.toml", "c"], "two readings"),
    ],
)
def test_what_cannot_be_done_is_told(
    arguments: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["book", "export", *arguments]) == 2
    assert told in capsys.readouterr().err


def test_an_unknown_format_is_told_with_those_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        main(["book", "export", RACE, "xml"])
    assert caught.value.code == 2
    told = capsys.readouterr().err
    assert all(form in told for form in FORMATS)


def test_help_tells_every_format(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["book", "export", "--help"])
    told = capsys.readouterr().out
    assert all(f"  {form:5} {known.about}\n" in told for form, known in FORMATS.items())


def test_cards_bear_the_mark_that_a_sheet_knows_the_book_by(tmp_path: Path) -> None:
    assert main(["book", "export", STARTER, "card", "-o", str(tmp_path)]) == 0
    mark = load_book(STARTER).digest[:8]
    for path in tmp_path.iterdir():
        assert path.suffix == ".png" or f"{mark}." in path.read_text("utf-8")
