"""Journals of drills that desks keep of their own, handed over to the one that they share: whatever
is done where, while which line is broken, all of it is there in the end, nothing twice.
"""

from __future__ import annotations

import contextlib
import uuid
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from drill.support import START, answer, race
from hypothesis import given, settings
from hypothesis import strategies as st

from codec.drill import Answer, DrillError, DrillJournal
from codec.drill.handing_over import HandingOver
from codec.drill.programme import Programme
from codec.store.place import Place, place_of

DESKS = ("track", "coach")
ACTS = ("answer", "answer", "correct", "withdraw", "sound", "step", "break")
STEPS = st.lists(
    st.tuples(st.sampled_from(ACTS), st.integers(0, 1), st.integers(0, 10**6)), max_size=20
)


class Desk:
    """A desk with a journal of its own, and what was acknowledged there and counts."""

    def __init__(self, own: Path, shared: Place, name: str, stack: contextlib.ExitStack) -> None:
        self.name = name
        self.journal = stack.enter_context(DrillJournal(own, create=True))
        self.digest = self.journal.keep_book(race())
        self.journal.settle(shared, agreed=True)
        self.handing = stack.enter_context(contextlib.closing(HandingOver(own, shared)))
        self.sounds: dict[int, bytes] = {}

    def act(self, what: str, choice: int) -> None:
        counting = list(self.journal.answers())
        one = counting[choice % len(counting)] if counting else None
        if what == "answer":
            self.journal.append(self.made(choice))
        elif what == "step":
            self.handing.step()
        elif what == "break":
            self.broken()
        elif one is not None and what == "withdraw":
            self.journal.withdraw(one.seq)
        elif one is not None and what == "correct":
            self.journal.correct(one.seq, one.replace(said="9", outcome="accepted"))
        elif one is not None and one.seq not in self.sounds:
            self.sounds[one.seq] = str(choice).encode()
            self.journal.keep_sound(one.seq, self.sounds[one.seq])

    def made(self, choice: int) -> Answer:
        return answer(person=f"Ana {choice % 2}", session=self.name, book=self.digest)

    def broken(self) -> None:
        """The line breaks when all is written there, and before that is known here."""

        def breaks(_: Any) -> None:
            raise DrillError("the line broke", kind="drill-server")

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(DrillJournal, "handed_over", lambda _, some: breaks(some))
            with contextlib.suppress(DrillError):
                self.handing.step()


def told(journal: DrillJournal, desk: str) -> list[tuple[Any, ...]]:
    """What counts of a desk's answers in their order, with their sounds."""
    kept = journal.recorded()
    return [
        (one.replace(seq=0, instead_of=0), journal.sound(one.seq) if one.seq in kept else b"")
        for one in journal.answers()
        if one.session == desk
    ]


@given(steps=STEPS)
@settings(max_examples=8)
def test_what_was_drilled_at_any_desk_is_in_the_shared_journal_once(
    steps: Sequence[tuple[str, int, int]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("desks")
    with contextlib.ExitStack() as stack:
        shared = folder / "shared.niner"
        desks = [Desk(folder / f"{name}.niner", shared, name, stack) for name in DESKS]
        for what, number, choice in steps:
            desks[number].act(what, choice)
        for desk in desks:
            desk.handing.step()
            assert desk.handing.step() == 0
        with DrillJournal(shared, create=True) as journal:
            for desk in desks:
                assert told(journal, desk.name) == told(desk.journal, desk.name)
            people = journal.people()
        both = [desk.journal.people() for desk in desks]
        counts = {name: sum(one.get(name, 0) for one in both) for name in {*both[0], *both[1]}}
        assert people == counts


def test_who_was_taken_out_of_the_shared_journal_does_not_come_back(tmp_path: Path) -> None:
    shared = tmp_path / "shared.niner"
    with contextlib.ExitStack() as stack:
        desk = Desk(tmp_path / "own.niner", shared, "track", stack)
        first = desk.journal.append(desk.made(0))
        desk.handing.step()
        with DrillJournal(shared) as journal:
            journal.delete("Ana 0")
            taken = journal.append(desk.made(1))  # the number is given again
            desk.journal.withdraw(first.seq)
            desk.handing.step()
            assert [one.seq for one in journal.answers()] == [taken.seq]
            assert journal.people() == {"Ana 1": 1}


def test_a_number_that_is_given_again_here_is_handed_over_as_well(tmp_path: Path) -> None:
    shared = tmp_path / "shared.niner"
    with contextlib.ExitStack() as stack:
        desk = Desk(tmp_path / "own.niner", shared, "track", stack)
        first = desk.journal.append(desk.made(0))
        desk.handing.step()
        desk.journal.delete("Ana 0")
        assert desk.journal.append(desk.made(1)).seq == first.seq
        assert desk.handing.step() == 1
        with DrillJournal(shared) as journal:
            assert journal.people() == {"Ana 0": 1, "Ana 1": 1}


def test_nothing_is_handed_over_where_nobody_settled_that_it_is(tmp_path: Path) -> None:
    own, shared = tmp_path / "own.niner", tmp_path / "shared.niner"
    with (
        DrillJournal(own, create=True) as journal,
        contextlib.closing(HandingOver(own, shared)) as handing,
    ):
        one = journal.append(answer(book=journal.keep_book(race()), person="Ana"))
        journal.keep_sound(one.seq, b"said")
        assert journal.waiting() == {"answers": {"Ana": 1}, "sounds": {"Ana": 1}}
        for settled, brought in ((None, 0), (False, 0), (True, 2), (False, 0)):
            if settled is not None:
                journal.settle(shared, agreed=settled)
            assert journal.agreed(shared) is settled
            assert journal.agreed(tmp_path / "another.niner") is None
            assert handing.step() == brought
            assert DrillJournal.is_there(shared) == (brought > 0 or not journal.waiting())
        assert journal.waiting() == {}


def test_drills_of_a_desk_are_handed_over_to_a_server(served: str, tmp_path: Path) -> None:
    shared = place_of(f"{served}#{uuid.uuid4().hex}")
    with contextlib.ExitStack() as stack:
        desk = Desk(tmp_path / "own.niner", shared, "track", stack)
        for number, what in enumerate(("answer", "correct", "sound", "answer", "withdraw")):
            desk.act(what, number)
        programme = Programme(person="Ana 1", begins=START.date(), weeks=3)
        desk.journal.plan(programme)
        desk.broken()
        desk.handing.step()
        with DrillJournal(shared) as journal:
            assert journal.programme("Ana 1") == programme
            assert told(journal, "track") == told(desk.journal, "track")
