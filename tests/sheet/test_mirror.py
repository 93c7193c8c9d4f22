"""Desks that have sheets of their own of one that they share: whatever is written where, while
which line is broken, every desk ends with the same sheet, nothing lost, nothing twice.
"""

from __future__ import annotations

import contextlib
import uuid
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from commands import called
from hypothesis import given
from hypothesis import strategies as st
from sheet.support import new, other_book, race_book, report

from codec.log.session import Session
from codec.radio import by_hand
from codec.sheet import Entry, Journal, SheetError
from codec.sheet.copying import copy
from codec.sheet.exports import export
from codec.sheet.merged import MergedOrder, MergedPlace
from codec.sheet.mirror import Mirror
from codec.sheet.state import Standing, correction_of, withdrawal_of
from codec.store.place import Place, ServerPlace, place_of

DESKS = ("factory", "track", "track 2")  # the first one writes into the shared sheet itself
STEPS = st.lists(
    st.tuples(
        st.sampled_from(["write", "fix", "take back", "two", "step", "step", "look"]),
        st.integers(0, len(DESKS) - 1),
        st.integers(0, 10**6),
    ),
    max_size=40,
)


class Desks:
    """Desks of one shared sheet, and everything that was acknowledged at any."""

    def __init__(self, shared: Place, folder: Path, stack: contextlib.ExitStack) -> None:
        with Journal(shared, race_book()) as journal:
            journal.append(Entry(kind="car", car="7", message="Ilse Marrow"))
        self.places = [shared, *(folder / f"{name}.sheet" for name in DESKS[1:])]
        self.mirrors = [
            stack.enter_context(contextlib.closing(Mirror(place, shared, name)))
            for name, place in zip(DESKS[1:], self.places[1:], strict=True)
        ]
        self.journals = [
            stack.enter_context(Journal(place, writer=name))
            for name, place in zip(DESKS, self.places, strict=True)
        ]
        self.sessions = [Session(journal) for journal in self.journals]
        self.acknowledged: list[str] = []

    def act(self, what: str, desk: int, choice: int) -> None:
        journal = self.journals[desk]
        if what == "step":
            self.mirrors[choice % len(self.mirrors)].step()
        elif what == "look":
            self.sessions[desk].refresh()
        elif what == "write":
            self.took(journal.append(report(lap=2 + choice % 7)))
        elif what == "two":
            self.took(*journal.append_all([report(), Entry(kind="note", heard=str(choice))]))
        else:
            entries = list(journal.entries())
            entry = entries[choice % len(entries)]
            if what == "fix" and entry.kind == "report":
                self.took(journal.append(correction_of(entry, heard=f"fixed {choice}")))
            elif what == "take back":
                self.took(journal.append(withdrawal_of(entry)))

    def took(self, *written: Entry) -> None:
        self.acknowledged += [entry.uid for entry in written]

    def together(self) -> list[Entry]:
        """Bring all to all, hold that it is the same at every desk, and return it."""
        for _ in range(2):
            for mirror in self.mirrors:
                mirror.step()
        assert [mirror.step() for mirror in self.mirrors] == [0] * len(self.mirrors)
        sheets = [list(journal.entries()) for journal in self.journals]
        assert all(sheet == sheets[0] for sheet in sheets)
        for journal in self.journals:
            assert journal.faults() == []
        return sheets[0]


@given(steps=STEPS)
def test_every_desk_ends_with_the_same_sheet(
    steps: Sequence[tuple[str, int, int]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("desks")
    with contextlib.ExitStack() as stack:
        desks = Desks(folder / "shared.sheet", folder, stack)
        for step in steps:
            desks.act(*step)
        entries = desks.together()
        uids = [entry.uid for entry in entries[1:]]
        assert sorted(uids) == sorted(desks.acknowledged)  # nothing lost, nothing twice
        assert [entry.seq for entry in entries] == list(range(1, len(entries) + 1))
        assert all(entry.about is None or entry.about < entry.seq for entry in entries)
        for desk in DESKS:  # each desk's own stand in the order in which it made them
            made = [entry.made for entry in entries if entry.desk == desk]
            assert made == sorted(made, key=lambda number: number or 0)
        for session in desks.sessions:  # who looked meanwhile knows no other sheet
            session.refresh()
            assert session.entries == entries
            assert session.standing.rows == Standing(entries).rows


@given(
    st.lists(
        st.tuples(st.integers(1, 9), st.sampled_from(("", "track", "pit"))),
        max_size=30,
    ),
    st.data(),
)
def test_what_comes_is_put_where_all_of_it_stands(
    made: list[tuple[int, str]], data: st.DataObject
) -> None:
    """Also entries of the same number of the same desk: then their names tell."""
    uids = data.draw(st.permutations(range(len(made))))
    places = [
        MergedPlace(number, desk, f"{uids[row]:03}", row + 1)
        for row, (number, desk) in enumerate(made)
    ]
    order, taken = MergedOrder(lambda row: places[row - 1].uid), 0
    while taken < len(places):
        end, epoch = data.draw(st.integers(taken + 1, len(places))), order.epoch
        before = list(order.rows)
        order.take(places[taken:end])
        taken = end
        assert list(order.rows) == [place.row for place in sorted(places[:taken])]
        assert [order.number(row) for row in order.rows] == list(range(1, taken + 1))
        assert order.epoch > epoch or list(order.rows)[: len(before)] == before


def test_what_an_entry_is_about_stays_what_it_is_about_wherever_it_stands(tmp_path: Path) -> None:
    with contextlib.ExitStack() as stack:
        desks = Desks(tmp_path / "shared.sheet", tmp_path, stack)
        desks.act("write", 0, 0)
        desks.act("two", 0, 0)
        mine = desks.journals[1].append(report(lap=9))
        desks.took(mine, desks.journals[1].append(correction_of(mine, heard="fixed")))
        entries = desks.together()
        fixed = entries[-1] if entries[-1].kind == "correction" else entries[-2]
        assert fixed.heard == "fixed"
        assert entries[(fixed.about or 0) - 1].uid == mine.uid
        assert Standing(entries).row_of(fixed).entry.heard == "fixed"  # type: ignore[union-attr]


def test_what_is_put_right_is_what_was_meant_whatever_comes_in_before_it_meanwhile(
    tmp_path: Path,
) -> None:
    """Entries of another desk come between the last look and the line that is written."""
    with contextlib.ExitStack() as stack:
        desks = Desks(tmp_path / "shared.sheet", tmp_path, stack)
        session, journal = desks.sessions[2], desks.journals[2]
        mine = [journal.append(report(lap=lap)) for lap in (2, 3)]
        desks.took(*mine)
        for _ in range(3):
            desks.act("write", 0, 0)
        session.refresh()
        numbers = {entry.uid: entry.seq for entry in session.entries}
        desks.mirrors[1].step()
        desks.took(by_hand.withdraw(journal, session.standing, numbers[mine[1].uid]))
        session.refresh()
        assert session.entries[-1].kind == "withdrawal"
        assert session.entries[(session.entries[-1].about or 0) - 1].uid == mine[1].uid
        desks.together()


def test_a_desk_on_a_server_and_one_with_a_mirror(served: str, tmp_path: Path) -> None:
    with contextlib.ExitStack() as stack:
        desks = Desks(place_of(f"{served}#{uuid.uuid4().hex}"), tmp_path, stack)
        for step in [
            ("write", 0, 1), ("two", 1, 2), ("write", 2, 3), ("step", 0, 0), ("fix", 0, 1),
            ("take back", 1, 2), ("step", 0, 1), ("two", 2, 4), ("fix", 1, 1), ("look", 0, 0),
        ]:  # fmt: skip
            desks.act(*step)
        entries = desks.together()
        assert sorted(entry.uid for entry in entries[1:]) == sorted(desks.acknowledged)
        assert {entry.desk for entry in entries} == {"", "track", "track 2"}
        for number, journal in enumerate(desks.journals):
            export(journal, tmp_path / f"{number}.csv")
        exported = {(tmp_path / f"{number}.csv").read_bytes() for number in range(3)}
        assert len(exported) == 1
        for journal in desks.journals[:2]:  # a copy has the order of all desks too
            copy(journal, tmp_path / f"copy of {journal.path.stem}")
            with Journal(tmp_path / f"copy of {journal.path.stem}") as copied:
                assert list(copied.entries()) == entries


def test_a_mirror_is_made_from_whichever_sheet_is_there(tmp_path: Path, served: str) -> None:
    own, shared = tmp_path / "event.sheet", place_of(f"{served}#{uuid.uuid4().hex}")
    with pytest.raises(SheetError, match="there is no sheet"):
        Mirror(own, shared, "track")
    assert not own.exists()
    own.touch()  # as somebody leaves it who was killed before anything was written
    with pytest.raises(SheetError, match=r"there is no sheet|is empty"):
        Mirror(own, shared, "track")
    with new(tmp_path) as journal:
        journal.append(report())
    Mirror(own, shared, "track").close()  # the shared one from the own
    with Journal(shared) as there, Journal(own) as here:
        there.append(report(lap=6))
        assert (there.last, here.last) == (2, 1)
    with contextlib.closing(Mirror(tmp_path / "b.sheet", shared, "home")) as mirror:
        assert mirror.step() == 0  # the own from the shared one
    with contextlib.closing(Mirror(own, shared, "track")) as mirror:
        assert (mirror.step(), mirror.step()) == (1, 0)
    with pytest.raises(SheetError, match="sheet of the desk 'track'"):
        Mirror(own, shared, "other")


def test_sheets_that_are_not_one_are_refused_and_stay_as_they_are(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    with new(tmp_path) as one, new(tmp_path / "b") as two:
        one.append(report())
        two.append(report())
        with pytest.raises(SheetError, match="another sheet is at"):
            Mirror(one.path, two.path, "track")
        assert (len(one), len(two), one.desks, two.desks) == (1, 1, {}, {})
    with pytest.raises(SheetError, match="another book"):
        Mirror(tmp_path / "event.sheet", tmp_path / "x.sheet", "track", other_book())


def test_two_mirrors_at_once_of_one_desk_bring_nothing_twice(tmp_path: Path) -> None:
    with contextlib.ExitStack() as stack:
        desks = Desks(tmp_path / "shared.sheet", tmp_path, stack)
        again = stack.enter_context(
            contextlib.closing(Mirror(desks.places[1], desks.places[0], "track"))
        )
        for lap in range(1, 5):
            desks.act("write", 1, lap)
            desks.act("write", 0, lap)
            again.step()
            desks.mirrors[0].step()
        assert len(desks.together()) == 9


def test_an_entry_that_was_not_written_leaves_no_trace_in_the_order(tmp_path: Path) -> None:
    with contextlib.ExitStack() as stack:
        desks = Desks(tmp_path / "shared.sheet", tmp_path, stack)
        journal = desks.journals[1]
        with pytest.raises(SheetError, match="not in the sheet"):
            journal.append_all([report(), Entry(kind="withdrawal", about=99)])
        desks.act("write", 1, 1)
        assert [entry.seq for entry in desks.together()] == [1, 2]


# conflicts


def conflicts(journal: Journal) -> list[tuple[int, set[tuple[str, str]]]]:
    found = Standing(journal.entries()).conflicts
    return [(row.first.seq, {(fix.desk, fix.heard) for fix in fixes}) for row, fixes in found]


@pytest.fixture
def two(tmp_path: Path, served: str) -> Iterator[Desks]:
    """Two desks and the shared sheet on a server; all know two reports."""
    with contextlib.ExitStack() as stack:
        desks = Desks(place_of(f"{served}#{uuid.uuid4().hex}"), tmp_path, stack)
        desks.act("write", 0, 1)
        desks.act("write", 0, 2)
        desks.together()
        yield desks


def fix(desks: Desks, desk: int, number: int, heard: str) -> None:
    journal = desks.journals[desk]
    desks.took(journal.append(correction_of(journal[number], heard=heard)))


def test_what_two_desks_put_right_unknown_to_each_other_is_shown_to_both(two: Desks) -> None:
    fix(two, 0, 2, "five")
    fix(two, 1, 2, "six")
    assert [conflicts(journal) for journal in two.journals] == [[], [], []]  # nobody knows yet
    two.together()
    expected = [(2, {("", "five"), ("track", "six")})]
    assert [conflicts(journal) for journal in two.journals] == [expected] * 3
    for session in two.sessions:
        session.refresh()
        session.car = "7"
        notice = next(one for one in session.mine.looks if one.stays)
        assert "#2 was put right at two desks" in notice.text
        assert "the shared sheet (factory)" in notice.text
        assert "track (track)" in notice.text
    fix(two, 2, 2, "settled")
    two.together()
    assert [conflicts(journal) for journal in two.journals] == [[], [], []]
    row = Standing(two.journals[0].entries()).row_of(two.journals[0][2])
    assert row is not None
    assert row.entry.heard == "settled"


def test_taken_back_here_and_put_right_there_is_a_conflict_too(two: Desks) -> None:
    two.took(two.journals[1].append(withdrawal_of(two.journals[1][3])))
    fix(two, 2, 3, "six")
    two.together()
    assert [number for number, _ in conflicts(two.journals[0])] == [3]
    shown = called(["sheet", "show", str(two.places[1])])
    assert b"#3 was put right at two desks" in shown.stdout.replace(b"\n", b" ")


def test_one_after_the_other_is_no_conflict_wherever_it_was_made(two: Desks) -> None:
    for desk in (1, 0, 2, 0):
        fix(two, desk, 2, f"at {desk}")
        two.together()
        last = two.journals[desk].find(two.acknowledged[-1])
        assert last is not None
        two.took(two.journals[desk].append(withdrawal_of(last)))
        two.together()
    fix(two, 1, 2, "one")
    fix(two, 1, 2, "two")
    fix(two, 2, 3, "of another entry")
    two.together()
    assert [conflicts(journal) for journal in two.journals] == [[], [], []]


def test_what_two_desks_put_right_alike_is_no_conflict(two: Desks) -> None:
    fix(two, 0, 2, "five")
    fix(two, 1, 2, "five")
    two.together()
    assert conflicts(two.journals[2]) == []


def test_a_desk_whose_server_is_out_of_reach_goes_on_and_hands_over_later(two: Desks) -> None:
    shared = two.places[0]
    assert isinstance(shared, ServerPlace)
    nowhere = ServerPlace(shared.address.replace("served", "nowhere"), shared.name)
    with contextlib.closing(Mirror(two.places[1], nowhere, "track")) as mirror:
        two.act("write", 1, 3)
        with pytest.raises(SheetError, match="can't be reached"):
            mirror.step()
        assert mirror.ahead == 0.0
    assert two.together()[-1].desk == "track"


def test_sheets_that_went_on_before_they_were_kept_in_step_become_one(
    tmp_path: Path, served: str
) -> None:
    shared = place_of(f"{served}#{uuid.uuid4().hex}")
    with new(tmp_path) as mine:
        mine.append(report())
        copy(mine, shared)
        mine.append(report(lap=6))
        with Journal(shared) as theirs, Journal(mine.path) as late:
            theirs.append(report(lap=7))
            with contextlib.closing(Mirror(mine.path, shared, "track")) as mirror:
                assert mirror.step() == 2
                assert abs(mirror.ahead) < 60
            assert list(theirs.entries()) == list(mine.entries()) == list(late.entries())
            assert sorted(entry.lap or 0 for entry in theirs.entries()) == [5, 6, 7]
