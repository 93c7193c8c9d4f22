"""Desks that share a sheet write by one clock, the server's: what their own computers' clocks say
puts nothing an hour away, and is told.
"""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import psycopg
import pytest
from commands import ROOT, called
from servers import Server
from sheet.support import new, race_book

from codec.log.session import Session
from codec.sheet import Entry, Journal
from codec.sheet.journal import sheet_format
from codec.sheet.mirror import Mirror, _OutOfReachError
from codec.sheet.order import CLOCK
from codec.sheet.state import Standing, withdrawal_of
from codec.store import clock as clocks
from codec.store.clock import ServerClock
from codec.store.place import ServerPlace, place_of
from codec.store.server.setting_up import set_up
from codec.store.store import now

HOUR = datetime.timedelta(hours=1)


@contextmanager
def computer_off(by: datetime.timedelta) -> Iterator[None]:
    """Have the clock of this computer be off."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(clocks, "now", lambda: now() + by)
        yield


def told(session: Session) -> list[str]:
    return [look.text for look in session.mine.looks]


def moment(entry: Entry) -> datetime.datetime:
    return datetime.datetime.fromtimestamp((entry.at or 0) / 1000, datetime.UTC)


@pytest.mark.parametrize(("by", "which"), [(HOUR, "ahead of"), (-HOUR, "behind")])
def test_desks_whose_clocks_are_an_hour_apart_write_in_the_order_in_which_it_was_said(
    by: datetime.timedelta, which: str, served: str
) -> None:
    place, begun = f"{served}#{uuid.uuid4().hex}", now()
    with Journal(place, race_book(), writer="off") as wrong, Journal(place, writer="on") as right:
        off, on = Session(wrong, "7"), Session(right, "7")
        for number in range(0, 6, 2):
            with computer_off(by):
                off.enter(f"/note {number}")
                (said,) = told(off)
                assert f"clock is 60 min {which} the server's, by which is written here" in said
            on.enter(f"/note {number + 1}")
            assert told(on) == []
        entries = list(right.entries())
        rows = sorted(entries, key=lambda entry: Standing(entries).moments.key(entry.seq))
        assert [entry.heard for entry in rows] == [str(number) for number in range(6)]
        assert all(begun - HOUR / 60 < moment(entry) < now() + HOUR / 60 for entry in entries)
        assert Standing(entries).moments.steps == []


def test_a_desk_with_a_mirror_has_the_clock_of_the_shared_sheet(
    served: str, tmp_path: Path
) -> None:
    own, shared = tmp_path / "own.sheet", place_of(f"{served}#{uuid.uuid4().hex}")
    Journal(shared, race_book()).close()
    with computer_off(HOUR), closing(Mirror(own, shared, "track")) as mirror:
        assert 3590 < mirror.ahead < 3610
        with Journal(own, clock=mirror.clock) as journal:
            Session(journal, "7").enter("/note x")
        assert mirror.step() == 1
        assert mirror.step() == 0
    with Journal(shared) as journal:
        (entry,) = journal.entries()
        assert abs(moment(entry) - now()) < HOUR / 60


def test_who_writes_by_a_clock_ahead_of_all_others_is_named(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        session = Session(journal, "7")
        with Journal(journal.path, writer="Quill", clock=lambda: now() + HOUR) as other:
            other.append(Entry(kind="note", heard="x"))
        session.refresh()
        (said,) = told(session)
        assert said.startswith("Quill wrote by a clock 60 min ahead of the one here")
        assert told(Session(journal, "7")) == told(session)  # as long as it is to come
        with Journal(journal.path, clock=lambda: now() - HOUR) as other:
            other.append(Entry(kind="note", heard="y"))
        session.refresh()
        assert [text for text in told(session) if "wrote by a clock" in text] == [said]


def test_a_server_clock_goes_on_by_itself_and_is_put_right_where_it_was_stepped() -> None:
    clock, begun = ServerClock(), now()
    assert clock() >= begun
    clock.heard(begun + HOUR, clocks.steady())
    assert HOUR <= clock() - begun < HOUR + HOUR / 60
    assert -3600 <= clock.ahead < -3540
    with computer_off(HOUR):  # it is none of the computer's clock
        assert clock() - begun < HOUR + HOUR / 60
        assert abs(clock.ahead) < 60
    before = clock()
    clock.heard(before)  # what is told without saying when is no better
    assert clock() - before < HOUR / 60
    clock.heard(begun - HOUR)
    assert begun - HOUR <= clock() < begun


def test_a_log_from_a_pipe_tells_that_the_clock_is_off(server: Server) -> None:
    """The server's clock, for who asks by its short name, is one of the test's own."""
    address = server.database("clock")
    set_up(ServerPlace(address), [sheet_format()])
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(
            "CREATE FUNCTION niner_open.clock_timestamp() RETURNS timestamptz LANGUAGE sql"
            " RETURN pg_catalog.clock_timestamp() + interval '1 hour'"
        )
    book = str(ROOT / "examples" / "race" / "race.toml")
    written = ["log", f"{address}#event", "--book", book, "--car", "7=Ilse Marrow"]
    done = called(written, b"/note x\n")
    assert (done.returncode, b"clock is 60 min behind the server's" in done.stderr) == (0, True)
    with Journal(f"{address}#event") as journal:
        noted = list(journal.entries())[-1]
    assert HOUR / 2 < moment(noted) - now() < 2 * HOUR


@contextmanager
def computer_off_alone(by: datetime.timedelta) -> Iterator[None]:
    """Have the clock of this computer be off for a desk that knows no other."""
    with computer_off(by), pytest.MonkeyPatch.context() as patch:
        patch.setattr("codec.sheet.mirror.now", lambda: now() + by)
        yield


@pytest.mark.parametrize("by", [HOUR, -HOUR])
def test_what_a_desk_wrote_by_a_wrong_clock_while_the_line_was_down_is_put_right_at_every_desk(
    by: datetime.timedelta, served: str, tmp_path: Path
) -> None:
    own, shared = tmp_path / "own.sheet", place_of(f"{served}#{uuid.uuid4().hex}")
    Journal(shared, race_book()).close()
    Mirror(own, shared, "track").close()
    with Journal(shared, writer="there") as there, pytest.MonkeyPatch.context() as broken:
        broken.setattr(Mirror, "_reach", _no_line)
        with (
            computer_off_alone(by),
            closing(Mirror(own, shared, "track")) as mirror,
            Journal(own, clock=mirror.clock) as here,
        ):
            track, factory = Session(here, "7"), Session(there, "7")
            for number in range(0, 6, 2):
                track.enter(f"/note {number}")
                factory.enter(f"/note {number + 1}")
            old = here.append(
                Entry(kind="note", heard="recorded", writer="import", at=1_600_000_000_000)
            )
            broken.undo()
            mirror.step()
            track.enter("/note 6")
            mirror.step()
            for session in (track, factory):
                session.refresh()
                known = session.standing
                in_order = known.in_order(one for one in session.entries if len(one.heard) == 1)
                assert [one.heard for one in in_order] == [str(number) for number in range(7)]
                assert all(abs(moment(one) - now()) < HOUR / 60 for one in in_order)
                assert known.moments.steps == []
                (kept,) = [one for one in session.entries if one.uid == old.uid]
                assert known.moments.at(kept.seq) == old.at
                (said,) = [one for one in session.entries if one.message == CLOCK]
                assert "clock of track was 60 min" in said.heard
                assert float(said.amount or 0) == pytest.approx(by.total_seconds(), abs=5)
                assert not [text for text in told(session) if "wrote by a clock" in text]
            raw = [one for one in here.entries() if one.heard == "0"]
            assert abs(moment(raw[0]) - by - now()) < HOUR / 60  # as it was written
            assert list(here.entries()) == list(there.entries())
            there.append(withdrawal_of(said))
            factory.refresh()
            times = factory.standing.in_order(factory.entries)
            assert (
                abs(moment(next(one for one in times if one.heard == "0")) - by - now()) < HOUR / 60
            )


def _no_line(_: Mirror) -> None:
    raise _OutOfReachError("the line is down", kind="sheet-server")


def test_nothing_is_put_right_by_a_clock_that_was_set_meanwhile(
    served: str, tmp_path: Path
) -> None:
    own, shared = tmp_path / "own.sheet", place_of(f"{served}#{uuid.uuid4().hex}")
    Journal(shared, race_book()).close()
    Mirror(own, shared, "track").close()
    with pytest.MonkeyPatch.context() as broken:
        broken.setattr(Mirror, "_reach", _no_line)
        mirror = Mirror(own, shared, "track")
        broken.undo()
        with closing(mirror), Journal(own, clock=mirror.clock) as here, computer_off_alone(HOUR):
            here.append(Entry(kind="note", heard="x"))
            mirror.step()
            assert [one.heard for one in here.entries()] == ["x"]
