"""Progress: what the tables, the CSV and the pictures say is what was answered."""

from __future__ import annotations

import csv
import datetime
import io
import json
import random
import shutil
from pathlib import Path

import pytest
from drill.learner import Learner
from drill.support import RACE, ROOT, START, answer, lap_pool, race, stamp

from codec.cli import main
from codec.drill import DrillJournal, DrillSession, Progress
from codec.drill.answer import PLURALS, Drill
from codec.drill.noise import known
from codec.drill.picture import confusion_picture
from codec.drill.timing import timing
from codec.profile import load_profile
from codec.screen.console import console
from codec.screen.drill_progress import progress


@pytest.fixture(scope="module")
def drilled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two days of Ana reading and Ben hearing."""
    clock = [START]
    path = tmp_path_factory.mktemp("drills") / "drills.niner"
    with DrillJournal(path, create=True, clock=lambda: clock[0]) as journal:
        people: list[tuple[str, Drill, str]] = [("Ana", "read", ""), ("Ben", "hear", "noisy")]
        for person, drill, noise in people:
            learner, clock[0] = Learner(lap_pool(), random.Random(4)), START
            for _ in range(2):
                session = DrillSession(
                    journal, lap_pool(), person, drill, noise=noise, clock=lambda: clock[0]
                )
                for _ in range(30):
                    question, turn = session.ask()
                    said, seconds = learner.answer(question.item)
                    turn.show(0.0)
                    if drill == "read":
                        turn.press(0.8)
                        turn.press(seconds)
                    else:
                        turn.ended(0.0)
                        turn.typed(0.7)
                    turn.answered(seconds + 1)
                    session.write(session.mark(question, turn, race().alphabet.say(said))[0])
                    clock[0] += datetime.timedelta(seconds=20)
                learner.night()
                clock[0] += datetime.timedelta(days=1)
    return path


@pytest.fixture
def journal(drilled: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(drilled, tmp_path))


def test_symbols_fields_and_confusions_are_counted() -> None:
    rows = [
        answer("4223VRBR", first=0.8, last=4.0),
        answer("4223VRBR", "4224VRBR", outcome="caught", first=0.8, last=4.0),
        answer("5163JRBT", "5163GRBT", outcome="caught"),
        answer("3", "4", kind="symbol"),
        answer("CB", kind="entry", part_of="alert"),
    ]
    found = Progress(race(), rows, "read", START, pool=lap_pool())
    symbols = {row.name: (row.right, row.asked) for row in found.symbols}
    assert symbols["3"] == (2, 4)
    assert symbols["2"] == (4, 4)
    assert symbols["J"] == (0, 1)
    fields = {row.name: (row.right, row.asked) for row in found.fields}
    assert fields == {
        "lap": (3, 3),
        "energy": (3, 3),
        "motor": (1, 3),
        "inverter": (1, 3),
        "battery": (1, 3),
        "alert": (4, 4),
    }
    assert found.confusions == {("3", "4"): 2, ("J", "G"): 1}
    assert found.outcomes == {"right": 2, "corrected": 0, "caught": 2, "accepted": 1}


def test_the_seconds_of_a_report_are_shared_out_among_its_fields() -> None:
    rows = [answer("4223VRBR", first=1.0, last=5.0)] * 4
    found = Progress(race(), rows, "read", START, pool=lap_pool())
    parts = {row.name: row.seconds for row in found.fields}
    packed = parts["motor"]
    assert parts["motor"] == parts["inverter"] == parts["battery"]
    check = 4.0 * race().alphabet.seconds("R") / race().alphabet.seconds("4223VRBR")
    total = sum(value or 0 for name, value in parts.items() if name not in ("inverter", "battery"))
    assert packed is not None
    assert total + check == pytest.approx(4.0, rel=0.1)


def test_a_coffee_break_is_told() -> None:
    generator = random.Random(1)
    rows = [
        answer("4223VRBR", first=0.8 + generator.random() / 10, last=4.5 + generator.random() / 5)
        for _ in range(12)
    ]
    found = Progress(
        race(), [*rows, answer("4223VRBR", first=300.0, last=304.0)], "read", START, pool=lap_pool()
    )
    assert found.set_aside == 1
    assert found.startup is not None
    assert found.startup.high < 1


@pytest.mark.slow
def test_progress_is_drawn(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["drill", "progress", str(journal)]) == 0
    out = capsys.readouterr().out
    for told in (
        "Ana, reading",
        "Ben, hearing",
        "60 answers",
        "Symbols",
        "Fields",
        "Taken for",
        "Days",
        "2026-03-03",
        "Next",
    ):
        assert told in out
    assert max(len(line) for line in out.splitlines()) <= 120


@pytest.mark.slow
def test_json_and_csv_tell_the_same(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["drill", "progress", str(journal), "--person", "Ana", "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert main(["drill", "progress", str(journal), "--person", "Ana", "--csv", "-"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    told = {row["name"]: int(row["right"]) for row in rows if row["what"] == "symbol"}
    assert told == {row["name"]: row["right"] for row in facts["symbols"]}
    assert [row["name"] for row in rows if row["what"] == "day"] == ["2026-03-02", "2026-03-03"]
    assert facts["answers"] == 60 == sum(facts["outcomes"].values())
    assert len(facts["next"]) == 8
    assert all(one["why"] for one in facts["next"])


@pytest.mark.slow
@pytest.mark.parametrize(("suffix", "magic"), [(".png", b"\x89PNG"), (".svg", b"<?xml")])
def test_the_matrix_is_a_picture(journal: Path, tmp_path: Path, suffix: str, magic: bytes) -> None:
    picture = tmp_path / f"ben{suffix}"
    assert (
        main(["drill", "progress", str(journal), "--person", "Ben", "--picture", str(picture)]) == 0
    )
    assert picture.read_bytes().startswith(magic)
    if suffix == ".svg":
        assert "Ben, hearing" in picture.read_text("utf-8")


def test_the_cells_of_the_picture_are_the_counts(tmp_path: Path) -> None:
    from PIL import Image

    confusion_picture(
        tmp_path / "m.png",
        {("5", "9"): 8},
        {"5": 2, "9": 9},
        {"5": "five", "9": "niner"},
        "two words",
        "spoken",
    )
    with Image.open(tmp_path / "m.png") as picture:
        colours = {colour for _, colour in picture.convert("RGB").getcolors(1_000_000) or []}
    assert (
        103,
        0,
        13,
    ) in colours  # the darkest of the map "Reds": the one cell that went wrong most
    assert (232, 232, 232) in colours  # right answers are grey


@pytest.mark.slow
def test_mistakes_of_the_caller_are_told(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    calls = [
        (["progress", str(tmp_path / "none")], "there is no journal"),
        (["progress", str(journal), "--person", "Zoe"], "there is no 'Zoe'"),
        (["progress", str(journal), "--picture", "x.png"], "one person in one drill"),
        (["progress", str(journal), "--person", "Ana", "--picture", "x.gif"], ".svg or .png"),
        (["delete", str(journal), "Ana"], "add --yes"),
        (
            ["read", str(RACE), "--person", "Ana", "--items", "0", "--journal", str(journal)],
            "--items can't be 0",
        ),
        (
            ["read", str(RACE), "--person", "Ana", "--pace", "-4", "--journal", str(journal)],
            "--pace can't be -4",
        ),
        (["read", str(RACE), "--person", " ", "--journal", str(journal)], "a name of 1 to"),
        (["read", str(RACE), "--person", "Ana", "--journal", str(journal)], "needs a terminal"),
        (
            ["hear", str(RACE), "--person", "Ana", "--journal", str(journal), "--noise", "loud"],
            "expected: quiet, clear, noisy or harsh",
        ),
        (
            ["profile", str(journal), str(tmp_path / "p"), "--noise", "loudest"],
            "expected: quiet, clear, noisy or harsh",
        ),
        (
            ["profile", str(journal), str(tmp_path / "p"), "--noise", "harsh"],
            "nothing was heard at noise 'harsh'\nexpected: noisy",
        ),
        (
            [
                "hear",
                str(RACE),
                "--person",
                "Ana",
                "--journal",
                str(journal),
                "--keep-audio",
                str(RACE / "no"),
            ],
            "can't be written",
        ),
        (["progress", str(RACE)], f"{str(RACE)!r} is no journal of drills"),
    ]
    for call, told in calls:
        assert main(["drill", *call]) == 2
        assert told in capsys.readouterr().err
    assert not (tmp_path / "p").exists()


def test_what_a_book_can_t_be_asked_is_told_in_the_words_of_the_option(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    qualifying = ROOT / "examples" / "qualifying" / "qualifying.toml"
    call = [
        "drill",
        "read",
        str(qualifying),
        "--person",
        "E",
        "--only",
        "entries",
        "--journal",
        str(tmp_path / "j"),
    ]
    assert main(call) == 2
    told = capsys.readouterr().err
    assert "no entries to ask" in told
    assert "expected: symbols, pairs or reports" in told


def test_the_words_of_the_options_are_those_of_the_drills(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with pytest.raises(SystemExit):
        main(["drill", "hear", "--help"])
    told = capsys.readouterr().out
    assert ",".join([*PLURALS.values(), "mixed"]) in told
    assert f"{', '.join(known())}, or decibels" in " ".join(told.split())
    with pytest.raises(SystemExit):
        main(["drill", "profile", "--help"])
    assert f"{', '.join(known())}, or decibels" in " ".join(capsys.readouterr().out.split())


def test_a_missing_folder_for_the_sounds_is_made(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "new" / "sounds"
    assert (
        main(
            [
                "drill",
                "hear",
                str(RACE),
                "--person",
                "Ben",
                "--journal",
                str(journal),
                "--keep-audio",
                str(folder),
            ]
        )
        == 2
    )
    assert "needs a terminal" in capsys.readouterr().err
    assert folder.is_dir()


@pytest.mark.slow
@pytest.mark.parametrize("width", [60, 80])
def test_tables_fit_the_width_and_part_no_word_number_or_interval(
    journal: Path, width: int, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(console(), "_width", width)
    assert main(["drill", "progress", str(journal)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= width
    for person in ("Ana", "Ben"):
        with DrillJournal(journal) as kept:
            found = Progress(
                race(),
                list(kept.answers(person)),
                "read" if person == "Ana" else "hear",
                START,
                pool=lap_pool(),
            )
        for row in [*found.symbols, *found.fields, *found.days]:
            low, high = row.interval
            seconds = (
                ""
                if row.seconds is None
                else f"{row.seconds:.2f}" + ("" if row.error is None else f" ± {row.error:.2f}")
            )
            told = [
                line.split()
                for line in lines
                if f"{low:.0%} … {high:.0%}" in line and line.rstrip().endswith(seconds)
            ]
            assert any(
                row.name in words and str(row.right) in words and str(row.asked) in words
                for words in told
            ), row


def test_one_answer_is_one_answer_and_no_time_is_below_0(
    capsys: pytest.CaptureFixture[str],
) -> None:
    progress(Progress(race(), [answer("5", first=0.7, last=1.2)], "read", START, pool=lap_pool()))
    assert "1 answer: right 1" in capsys.readouterr().out
    two = timing([0.52, 1.02])  # Student's t of two times reaches far below 0
    assert two is not None
    assert two.low == 0.0
    assert two.high > 3
    one = timing([0.52])
    assert one is not None
    assert (one.as_dict()["low"], one.as_dict()["high"]) == (None, None)


def test_only_a_profile_is_written_over_unasked(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = tmp_path / "team.toml"
    book.write_text(race().source, "utf-8")
    assert main(["drill", "profile", str(journal), str(book), "--person", "Ana"]) == 2
    told = capsys.readouterr().err
    assert "is there already, and is no profile" in told
    assert "--replace" in told
    assert book.read_text("utf-8") == race().source
    profile = tmp_path / "ana.json"
    for person in ("Ana", "Ben"):  # a profile is renewed
        assert main(["drill", "profile", str(journal), str(profile), "--person", person]) == 0
        assert load_profile(profile).people == (person,)
    assert main(["drill", "profile", str(journal), str(book), "--replace"]) == 0
    assert load_profile(book).people == ("Ana", "Ben")


def test_a_person_is_exported_and_deleted(
    journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["drill", "export", str(journal), "Ana"]) == 0
    rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert len(rows) == 60
    assert {row["person"] for row in rows} == {"Ana"}
    assert main(["drill", "delete", str(journal), "Ana", "--yes"]) == 0
    with DrillJournal(journal) as left:
        assert left.people() == {"Ben": 60}


def test_a_profile_is_written_and_used(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    profile = tmp_path / "both.json"
    assert main(["drill", "profile", str(journal), str(profile)]) == 0
    assert "Ana, Ben" in capsys.readouterr().out
    assert (
        main(["encode", str(RACE), "--message", "pace", "target=1.31", "--profile", str(profile)])
        == 0
    )
    own = capsys.readouterr().out
    assert main(["encode", str(RACE), "--message", "pace", "target=1.31"]) == 0
    assert own.splitlines()[0] == capsys.readouterr().out.splitlines()[0]
    assert main(["drill", "needs", str(RACE), str(profile)]) == 0
    assert capsys.readouterr().out.startswith("[times]\n")


def test_rows_of_days_are_of_whole_reports(journal: Path) -> None:
    with DrillJournal(journal) as kept:
        rows = list(kept.answers("Ana"))
    found = Progress(race(), rows, "read", START, pool=lap_pool())
    second = [
        row
        for row in rows
        if row.at.startswith("2026-03-03") and row.kind == "report" and row.right
    ]
    reports = [row.last / len(row.shown) for row in second if row.last]
    assert found.days[1].seconds == pytest.approx(sum(reports) / len(reports), rel=0.1)
    assert stamp(START).startswith(found.days[0].name)
