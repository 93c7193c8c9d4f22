"""The journal of drills keeps what it was given, tells what is wrong, and lets a person go."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from drill.support import ROOT, answer, race
from hypothesis import given
from hypothesis import strategies as st

from codec.drill import DrillError, DrillJournal

NAMES = ("Ana", "Ben", "Željka Ćosić")


def _filled(path: str | Path) -> DrillJournal:
    journal = DrillJournal(path, create=True)
    digest = journal.keep_book(race())
    for number in range(30):
        journal.append(
            answer("5", person=NAMES[number % 3], book=digest, first=0.5, last=1.0 + number)
        )
    return journal


def test_answers_come_back_as_they_were(place: str) -> None:
    with _filled(place) as journal:
        written = list(journal.answers())
    with DrillJournal(place) as journal:
        assert list(journal.answers()) == written
        assert journal.people() == dict.fromkeys(NAMES, 10)
        assert [one.last for one in journal.answers("Ben")] == [
            2.0 + 3 * place for place in range(10)
        ]
        assert journal.book(written[0].book).title == race().title


def test_answers_are_never_changed(tmp_path: Path) -> None:
    _filled(tmp_path / "j").close()
    with pytest.raises(sqlite3.IntegrityError, match="never changed"):
        sqlite3.connect(tmp_path / "j").execute("UPDATE answers SET outcome = 'right'")


def test_a_deleted_person_leaves_no_trace_and_no_gap_for_others(tmp_path: Path) -> None:
    with _filled(tmp_path / "j") as journal:
        others = [one for one in journal.answers() if one.person != NAMES[2]]
        assert journal.delete(NAMES[2]) == 10
        assert list(journal.answers()) == others
        with pytest.raises(DrillError, match="there is no"):
            journal.delete(NAMES[2])
        kept = b"".join(path.read_bytes() for path in tmp_path.iterdir())
    assert NAMES[2].encode() not in kept
    assert NAMES[0].encode() in kept


def test_what_was_acknowledged_outlives_a_kill(tmp_path: Path) -> None:
    path = tmp_path / "j"
    code = (
        "import sys; from codec.drill import DrillJournal; from drill.support import answer, race\n"
        "j = DrillJournal(sys.argv[1], create=True); d = j.keep_book(race())\n"
        "while True: print(j.append(answer('5', book=d)).seq, flush=True)"
    )
    paths = f"{ROOT}:{ROOT / 'tests'}"
    process = subprocess.Popen(
        [sys.executable, "-c", code, str(path)],
        stdout=subprocess.PIPE,
        text=True,
        env={"PYTHONPATH": paths},
    )
    assert process.stdout is not None
    acknowledged = [int(process.stdout.readline()) for _ in range(20)]
    process.send_signal(signal.SIGKILL)
    acknowledged += [int(line) for line in process.stdout.read().splitlines() if line]
    process.wait()
    process.stdout.close()
    with DrillJournal(path) as journal:
        assert {one.seq for one in journal.answers()} >= set(acknowledged)


def test_a_full_disk_is_told_and_nothing_earlier_is_lost(tmp_path: Path) -> None:
    with _filled(tmp_path / "j") as journal:
        pages = journal._store.execute("PRAGMA page_count").fetchone()[0]
        journal._store.execute(f"PRAGMA max_page_count = {pages}")
        digest = journal.keep_book(race())
        with pytest.raises(DrillError) as caught:
            _until_refused(journal, digest)
        assert caught.value.kind == "drill-full"
        assert "the disk is full" in str(caught.value)
        kept = len(list(journal.answers()))
        journal._store.execute("PRAGMA max_page_count = 100000")
        journal.append(answer("5", book=journal.keep_book(race())))
        assert len(list(journal.answers())) == kept + 1
        assert kept >= 30


def _until_refused(journal: DrillJournal, digest: str) -> None:
    for _ in range(200):
        journal.append(answer("5", book=digest, answer="five " * 200))


def test_two_programs_write_in_turn(place: str) -> None:
    with _filled(place) as one, DrillJournal(place) as other:
        digest = one.keep_book(race())
        for _ in range(10):
            one.append(answer("5", book=digest))
            other.append(answer("9", book=digest))
        assert len(list(one.answers())) == 50


def test_files_that_are_no_journal_are_refused(tmp_path: Path) -> None:
    with pytest.raises(DrillError) as caught:
        DrillJournal(tmp_path / "none")
    assert caught.value.kind == "drill-missing"
    other = sqlite3.connect(tmp_path / "other")
    other.execute("CREATE TABLE t (x)")
    other.commit()
    other.close()
    for name, content in (
        ("text", b"not a database at all" * 100),
        ("byte", b"1"),
        ("other", None),
    ):
        if content is not None:
            (tmp_path / name).write_bytes(content)
        for create in (True, False):
            with pytest.raises(DrillError, match=f"{name}' is no journal of drills") as caught:
                DrillJournal(tmp_path / name, create=create)
            assert caught.value.kind == "not-a-drill"
        assert content in (None, (tmp_path / name).read_bytes())
    (tmp_path / "empty").touch()
    with pytest.raises(DrillError, match="empty' is empty"):
        DrillJournal(tmp_path / "empty")
    DrillJournal(tmp_path / "empty", create=True).close()
    (tmp_path / "damaged").write_bytes((tmp_path / "other").read_bytes()[:100] + b"x" * 5000)
    with pytest.raises(DrillError, match="damaged' is damaged"):
        DrillJournal(tmp_path / "damaged")
    _filled(tmp_path / "later").close()
    later = sqlite3.connect(tmp_path / "later")
    later.execute("PRAGMA user_version = 99")
    later.close()
    with pytest.raises(DrillError) as caught:
        DrillJournal(tmp_path / "later")
    assert caught.value.kind == "drill-later"
    with pytest.raises(DrillError) as caught:
        DrillJournal(tmp_path / "no" / "folder", create=True)
    assert caught.value.kind == "drill-file"


@given(st.text(max_size=80))
def test_any_name_is_kept_or_refused(name: str) -> None:
    try:
        kept = answer("5", person=name).person
    except DrillError:
        kept = None
    sound = bool(name) and name == name.strip() and len(name) <= 60 and name.isprintable()
    assert kept == (name if sound else None)


@pytest.mark.parametrize(
    "facts",
    [
        {"kind": "song"},
        {"first": -1.0},
        {"last": float("nan")},
        {"at": "noon"},
        {"answer": "x" * 5000},
    ],
)
def test_answers_nobody_could_read_are_refused(facts: dict[str, Any]) -> None:
    with pytest.raises(DrillError):
        answer("5", **facts)


def test_marks_are_undone_and_corrected_and_stay_in_their_place(place: str) -> None:
    path = place
    with DrillJournal(path, create=True) as journal:
        digest = journal.keep_book(race())
        first, second, third = (
            journal.append(answer(shown, book=digest, exposure=0.5)) for shown in ("5", "6", "7")
        )
        mended = journal.correct(
            first.seq, first.replace(said="9", outcome="accepted", note="mumbled")
        )
        journal.withdraw(third.seq)
        with pytest.raises(DrillError, match=f"no answer {first.seq} that counts"):
            journal.withdraw(first.seq)
        with pytest.raises(DrillError, match="no answer 99"):
            journal.correct(99, second)
        again = journal.correct(mended.seq, mended.replace(said="8"))
        assert [(one.shown, one.said, one.note) for one in journal.answers("Ana")] == [
            ("5", "8", "mumbled"),
            ("6", "6", ""),
        ]
        assert again.instead_of == first.seq
    with DrillJournal(path) as journal:
        assert len(list(journal.answers())) == 2
        assert journal.delete("Ana") == 2
        assert list(journal.answers()) == []
