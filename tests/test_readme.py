"""The documents tell the truth: their commands print what they say, their Python runs, the files
they name exist, and README's two commands are those that are run here.
"""

from __future__ import annotations

import doctest
import functools
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from helpers import first_short
from readme import DOCUMENTS, README, ROOT, Example, call, chapters, examples, folder, makers, run
from rooms import LAYERS

TEXTS = {str(path.relative_to(ROOT)): path.read_text("utf-8") for path in DOCUMENTS}
CHAPTERS = [(name, heading) for name, text in TEXTS.items() for heading in chapters(text)]
LONG = {
    "Let a code be designed",
    "What a team may demand",
    "Let the wheel be designed",
    "What a book costs",
    "Where the seconds go",
    "Where the race is heading",
    "Exports",
    "The events",
    "Words heard for others",
    "Is sure sure?",
    "Questions and seconds",
    "Put to use",
    "In a notebook",
}  # seconds, or tens of them
PYTHON = [name for name, text in TEXTS.items() if re.search(r"^>>> ", text, re.MULTILINE)]


def test_readme_opens_with_the_job_in_one_paragraph() -> None:
    title, job = TEXTS["README.md"].split("\n\n")[:2]
    assert title == "# niner"
    assert "pit wall" in job
    assert "driver" in job


def test_readme_is_short_and_leads_to_every_guide() -> None:
    assert len(TEXTS["README.md"].splitlines()) <= 200
    guides = [name for name in TEXTS if name.startswith("examples/")]
    assert guides
    assert not [name for name in guides if f"]({name})" not in TEXTS["README.md"]]


@pytest.mark.parametrize("name", TEXTS)
def test_no_screen_is_longer_than_a_reader_looks_at(name: str) -> None:
    shown = list(examples(TEXTS[name]))
    assert not [one.command for one in shown if len(one.output.splitlines()) > 25]


def test_the_documents_have_examples() -> None:
    assert sum(len(list(examples(text))) for text in TEXTS.values()) >= 25
    assert PYTHON


Tell = Callable[[str, Path], str]
Made = Callable[[Tell, tuple[str, ...]], Path]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """Give the folder that commands leave behind, each run once for all chapters it is before."""

    @functools.cache
    def left(tell: Tell, commands: tuple[str, ...]) -> Path:
        where = tmp_path_factory.mktemp("made")
        if commands:
            with folder() as fresh:
                bring(left(tell, commands[:-1]), fresh)
                tell(commands[-1], fresh)
                bring(fresh, where)
        return where

    return left


def bring(files: Path, where: Path) -> None:
    """Copy what commands left to another folder of commands."""
    shutil.copytree(files, where, ignore=lambda *_: ["examples"], dirs_exist_ok=True)


@pytest.mark.parametrize(
    ("tell", "document", "heading"),
    [
        pytest.param(
            tell,
            document,
            heading,
            id=f"{tell.__name__}-{document}, {heading}",
            marks=[pytest.mark.slow] * (tell is run or heading in LONG),
        )
        for tell in (call, run)
        for document, heading in CHAPTERS
    ],
)
def test_every_command_prints_what_the_document_shows(
    document: str, heading: str, tell: Tell, made: Made
) -> None:
    found = chapters(TEXTS[document])
    before = list(found)[: list(found).index(heading)]
    with folder() as where:
        earlier = makers(found[heading], [one for other in before for one in found[other]])
        bring(made(tell, tuple(one.command for one in earlier)), where)
        for one in found[heading]:
            assert Example(one.command, tell(one.command, where)) == one


def test_the_commands_that_make_the_files_of_a_chapter_are_run_before_it() -> None:
    text = (
        "## a\n```console\n$ niner design needs.toml --out b.toml\n$ niner book check b.toml\n"
        "$ niner decode examples/race/race.toml five\n```\n"
        "## b\n```console\n$ niner log x.sheet --book b.toml\n```\n"
        "## c\n```console\n$ niner sheet show x.sheet energy=0.3\n$ niner demo out/one\n```\n"
    )
    a, b, c = chapters(text).values()
    assert [one.files for one in c] == [{"x.sheet"}, {"out"}]
    assert makers(c, [*a, *b]) == [a[0], b[0]]
    assert makers(b, a) == [a[0]]
    assert makers(a, []) == []


@pytest.mark.parametrize(
    "document", first_short(sorted(PYTHON, key=lambda name: name != "README.md"))
)
def test_the_python_of_a_document_runs(document: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    failures, tried = doctest.testfile(
        str(ROOT / document), module_relative=False, encoding="utf-8"
    )
    assert tried
    assert not failures


def test_the_ci_script_runs_the_test_command_of_readme() -> None:
    commands = [
        line for line in TEXTS["README.md"].splitlines() if line.startswith("python3 -m venv")
    ]
    assert len(commands) == 2
    assert commands[0].endswith("niner demo")
    assert "pytest" in commands[1]
    assert "README.md" in (ROOT / ".ci" / "run").read_text("utf-8")


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_files_that_a_document_names_exist(document: Path) -> None:
    text = TEXTS[str(document.relative_to(ROOT))]
    links = re.findall(r"\]\((?!\w+:)([^)#\s]+)", text)
    assert not [link for link in links if not (document.parent / link).exists()]
    named = re.findall(r"(?<![\w/])examples/[\w./-]*\w", text)
    assert not [name for name in named if not (ROOT / name).exists()]
    assert named or document != README


def _anchors(text: str) -> set[str]:
    """Return what a link into a page may name: its headings as GitHub writes them, and marks."""
    headings = re.findall(r"^#+ (.*)$", text, re.MULTILINE)
    slugs = (re.sub(r"[^\w\- ]", "", heading.casefold()).replace(" ", "-") for heading in headings)
    return {*slugs, *re.findall(r'<a id="([^"]+)">', text)}


@pytest.mark.parametrize("name", TEXTS)
def test_places_that_a_document_leads_to_exist(name: str) -> None:
    for file, anchor in re.findall(r"\]\((?!\w+:)([^)#\s]*)#([^)\s]+)\)", TEXTS[name]):
        path = (ROOT / name).parent / file if file else ROOT / name
        assert anchor in _anchors(path.read_text("utf-8")), (file, anchor)


def test_the_map_of_the_house_names_every_room_and_only_files_there_are() -> None:
    text = TEXTS["DEVELOPERS.md"]
    house = re.findall(r"\w+", text.partition("## The house")[2].partition("\n## ")[0])
    assert not [room for room in LAYERS if room.rpartition(".")[2] not in house]
    rooms = (ROOT / name for name in ("grammar", "codec", "tests", "examples"))
    files = [path.as_posix() for room in rooms for path in room.rglob("*.*")]
    named = re.findall(r"`([a-z][\w./-]*\.(?:py|toml|md))`", text)
    assert named
    assert not [name for name in named if not any(file.endswith(f"/{name}") for file in files)]
