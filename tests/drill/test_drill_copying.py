"""A copy of a journal of drills is the same journal, wherever it stands: nothing is lost on the way
there and back, and nobody who was taken out comes back unnoticed.
"""

from __future__ import annotations

import datetime
import json
import uuid
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from commands import called
from drill.support import answer, race
from hypothesis import given
from hypothesis import strategies as st
from store.old import old

from codec.drill import DrillError, DrillJournal
from codec.drill.journal import FORMAT
from codec.drill.programme import Programme
from codec.store.copying import Copied
from codec.store.place import Place, place_of
from codec.store.server.declared import views
from codec.store.table import PlainTable

PEOPLE = ("Ana", "Ben", "Željka")
ACTS = st.lists(
    st.tuples(
        st.sampled_from(["answer", "answer", "sound", "withdraw", "correct", "plan", "delete"]),
        st.sampled_from(PEOPLE),
        st.floats(0, 60),
    ),
    max_size=7,
)


def rows(place: Place | str) -> dict[str, list[tuple[object, ...]]]:
    """Return every row of a journal."""
    with DrillJournal(place) as journal:
        found = {
            name: list(journal._store.behind(PlainTable(name, columns), None))
            for name, columns in views(FORMAT).items()
        }
    return {name: [tuple(row) for row in table] for name, table in found.items()}


def act(journal: DrillJournal, what: str, person: str, seconds: float) -> None:
    """Do something to a journal, where that can be done."""
    known = person in journal.people()
    last = max((one.seq for one in journal.answers()), default=0)
    if what == "answer":
        book = journal.keep_book(race())
        journal.append(answer("5", person=person, book=book, first=seconds, note="\x1a\0 é"))
    elif what == "plan" and known:
        begins = datetime.date(2026, 3, 2)
        journal.plan(
            Programme(person=person, begins=begins, weeks=6, sessions=3, share=0.95,
                      exposure=0.5, seconds=4)
        )  # fmt: skip
    elif what == "delete" and known:
        journal.delete(person)
    elif what == "sound" and last and last not in journal.recorded():
        journal.keep_sound(last, b"fLaC\0" + bytes(range(256)))
    elif what == "withdraw" and last:
        journal.withdraw(last)
    elif what == "correct" and last:
        journal.correct(last, answer("9", person=person, book=journal.keep_book(race())))


@pytest.fixture
def elsewhere(served: str) -> Place:
    return place_of(f"{served}#{uuid.uuid4().hex}")


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[DrillJournal]:
    with DrillJournal(tmp_path / "drills.niner", create=True) as journal:
        book = journal.keep_book(race())
        for shown in ("5", "9"):
            journal.append(answer(shown, person="Ana", book=book))
        journal.append(answer("7", person="Ben", book=book))
        yield journal


@pytest.mark.slow
@given(before=ACTS, later=ACTS, at_once=st.integers(1, 5))
def test_there_and_back_nothing_is_lost(
    before: Sequence[tuple[str, str, float]],
    later: Sequence[tuple[str, str, float]],
    at_once: int,
    served: str,
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    folder, there = tmp_path_factory.mktemp("copies"), place_of(f"{served}#{uuid.uuid4().hex}")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("codec.store.copying.AT_ONCE", at_once)
        with DrillJournal(folder / "drills", create=True) as journal:
            for one in before:
                act(journal, *one)
            journal.copy(there)
            for what, *rest in later:
                act(journal, "answer" if what == "delete" else what, *rest)  # type: ignore[arg-type]
            journal.copy(there)
        with DrillJournal(there) as copied:
            copied.copy(folder / "back")
    assert rows(folder / "back") == rows(there) == rows(folder / "drills")


def test_a_copy_is_brought_up_to_date(journal: DrillJournal, elsewhere: Place) -> None:
    assert journal.copy(elsewhere)["answers"] == Copied(3, 0)
    journal.withdraw(2)
    journal.append(answer("8", person="Ben", book=race().digest))
    done = journal.copy(elsewhere)
    assert (done["answers"], done["withdrawals"]) == (Copied(1, 3), Copied(1, 0))
    assert {one.copied for one in journal.copy(elsewhere).values()} == {0}
    with DrillJournal(elsewhere) as copied:
        assert copied.people() == journal.people() == {"Ana": 1, "Ben": 2}
        assert list(copied.answers()) == list(journal.answers())


def test_journals_that_went_on_by_themselves_stay_as_they_are(
    journal: DrillJournal, elsewhere: Place
) -> None:
    journal.copy(elsewhere)
    with DrillJournal(elsewhere) as copied:
        copied.append(answer("4", person="Ana", book=race().digest))
        with pytest.raises(DrillError, match="has answers, from 4 on, that are not in this") as no:
            journal.copy(elsewhere)
        assert no.value.kind == "drill-apart"
        journal.append(answer("6", person="Ana", book=race().digest))
        with pytest.raises(DrillError, match="from 4 on, that are not those of this journal"):
            journal.copy(elsewhere)
        assert len(list(copied.answers())) == len(list(journal.answers())) == 4


def test_who_was_taken_out_of_one_journal_is_not_kept_in_step_unnoticed(
    journal: DrillJournal, elsewhere: Place
) -> None:
    journal.copy(elsewhere)
    journal.delete("Ben")
    with pytest.raises(DrillError, match="somebody was taken out of one") as caught:
        journal.copy(elsewhere)
    assert "who is taken out is taken out of each" in caught.value.hint
    with DrillJournal(elsewhere) as copied:
        copied.delete("Ben")
        assert journal.copy(elsewhere)["people"] == Copied(0, 1)
        assert copied.people() == {"Ana": 2}


def test_an_old_journal_is_copied(tmp_path: Path, elsewhere: Place) -> None:
    with DrillJournal(old("drill-1", tmp_path / "old.niner")) as journal:
        assert journal.copy(elsewhere)["answers"].copied == len(list(journal.answers())) > 0
    assert rows(elsewhere) == rows(tmp_path / "old.niner")


def test_the_command_tells_what_it_copied(
    journal: DrillJournal, served: str, tmp_path: Path
) -> None:
    name = f"{uuid.uuid4().hex}.niner"
    journal.copy(tmp_path / name)
    done = called(["drill", "copy", tmp_path / name, served])
    assert done.stdout.decode() == f"3 answers copied to {served}#{name}; books 1, people 2\n"
    with DrillJournal(tmp_path / name) as other:
        other.keep_sound(1, b"fLaC")
    told = json.loads(called(["drill", "copy", tmp_path / name, served, "--json"]).stdout)
    assert (told["answers"], told["sounds"]["copied"]) == ({"copied": 0, "before": 3}, 1)
    done = called(["drill", "copy", f"{served}#{name}", tmp_path])
    assert (done.returncode, b"is a folder" in done.stderr) == (2, True)
