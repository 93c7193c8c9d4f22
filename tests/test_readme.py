"""README tells the truth: its commands print what it says, its Python runs, its two commands are
those that are run here.
"""

from __future__ import annotations

import doctest

import pytest
from readme import README, ROOT, examples, folder, run

TEXT = README.read_text("utf-8")
EXAMPLES = list(examples(TEXT))


def test_readme_opens_with_the_job_in_one_paragraph() -> None:
    title, job = TEXT.split("\n\n")[:2]
    assert title == "# niner"
    assert "pit wall" in job
    assert "driver" in job


def test_readme_has_examples() -> None:
    assert len(EXAMPLES) >= 10


def test_every_command_prints_what_readme_shows() -> None:
    with folder() as where:
        for example in EXAMPLES:
            assert (example.command, run(example.command, where)) == (
                example.command,
                example.output,
            )


def test_the_python_of_readme_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    failures, tried = doctest.testfile(str(README), module_relative=False, encoding="utf-8")
    assert tried > 5
    assert not failures


def test_the_ci_script_runs_the_test_command_of_readme() -> None:
    commands = [line for line in TEXT.splitlines() if line.startswith("python3 -m venv")]
    assert len(commands) == 2
    assert commands[0].endswith("niner demo")
    assert "pytest" in commands[1]
    assert "README.md" in (ROOT / ".ci" / "run").read_text("utf-8")


@pytest.mark.parametrize(
    "link",
    [
        "examples/starter/starter.toml",
        "examples/race/race.toml",
        "examples/qualifying/qualifying.toml",
        "DEVELOPERS.md",
        "CHANGELOG.md",
    ],
)
def test_files_that_readme_names_exist(link: str) -> None:
    assert link in TEXT
    assert (ROOT / link).is_file()
