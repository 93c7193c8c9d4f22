"""Several desks have one sheet on a server: what is written at one stands at every other, and a
line that broke leaves no gap and nothing twice.
"""

from __future__ import annotations

import asyncio
import datetime
import time
import uuid
from collections.abc import Awaitable, Callable
from pathlib import Path
from types import SimpleNamespace

import psycopg
import pytest
from commands import called
from desk.support import REPORT, desk, line
from drill.support import answer
from servers import Server
from sheet.support import race_book
from starlette.testclient import TestClient

from codec.desk.mirroring import Mirroring
from codec.desk.sheets import Line, OpenSheet
from codec.drill.journal import JOURNAL, DrillJournal
from codec.sheet import Entry, Journal
from codec.sheet.journal import sheet_format
from codec.store.place import ServerPlace, place_of
from codec.store.server import connection
from codec.store.server.setting_up import set_up
from codec.store.store import now


@pytest.fixture
def place(served: str) -> ServerPlace:
    """A sheet of two cars on a server."""
    place = place_of(f"{served}#{uuid.uuid4().hex}")
    assert isinstance(place, ServerPlace)
    with Journal(place, race_book()) as journal:
        journal.append(Entry(kind="car", car="7", message="Ilse Marrow"))
        journal.append(Entry(kind="car", car="61", message="Teo Vash"))
    return place


PAGES = (
    "wall", "watch", "history", "book", "import", "season", "coach", "driver", "listen", "practice",
)  # fmt: skip


def heard(place: ServerPlace) -> list[str]:
    with Journal(place) as journal:
        assert journal.faults() == []
        return [entry.heard for entry in journal.entries()][2:]


def drilled(place: ServerPlace) -> dict[str, int]:
    """Return how many answers of whom are in a journal of drills, none where there is none yet."""
    if not DrillJournal.is_there(place):
        return {}
    with DrillJournal(place) as journal:
        return dict(journal.people())


def comes(seen: Callable[[], bool]) -> None:
    """Wait until something is so."""
    begun = time.monotonic()
    while not seen():
        assert time.monotonic() < begun + 60
        time.sleep(0.02)


def cut_all(place: ServerPlace) -> None:
    """Break every line to the database but this one."""
    with psycopg.connect(place.address) as one:
        one.execute(
            "SELECT pg_terminate_backend(pid, 1000) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )


@pytest.mark.slow
def test_a_line_sent_to_two_desks_is_there_once(place: ServerPlace) -> None:
    sent = line(REPORT)
    with desk(place) as one, desk(place) as two:
        first = one.post(f"/enter/{place.name}", json=sent).json()
        again = two.post(f"/enter/{place.name}", json=sent).json()
        assert (first["new"], again["new"]) == (True, False)
        assert again["entries"] == first["entries"]
    assert heard(place) == [REPORT]


def test_every_page_of_a_desk_is_drawn_of_a_sheet_on_a_server(place: ServerPlace) -> None:
    with desk(place) as client:
        for page in PAGES:
            assert client.get(f"/{page}/{place.name}").status_code == 200, page


def with_two_desks(
    place: ServerPlace, act: Callable[[OpenSheet, OpenSheet], Awaitable[None]]
) -> None:
    async def run() -> None:
        desks = [OpenSheet(place), OpenSheet(place)]
        for one in desks:
            one.open()
        watching = [asyncio.create_task(one.watch()) for one in desks]
        try:
            async with asyncio.timeout(30):
                await act(*desks)
        finally:
            for task in watching:
                task.cancel()
            await asyncio.gather(*watching, return_exceptions=True)
            for one in desks:
                await one.close()

    asyncio.run(run())


async def seen(sheet: OpenSheet, count: int) -> list[str]:
    """Return what a desk knows, as soon as that is so many entries."""
    async for _ in sheet.news(beat=0.02):
        entries = await sheet.ask(lambda session: [entry.heard for entry in session.entries])
        if len(entries) >= count + 2:
            return entries[2:]
    raise AssertionError


def test_what_is_written_at_one_desk_is_told_to_the_other(
    place: ServerPlace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connection, "_BEAT", 1000.0)  # so it is told, not found by looking

    async def act(one: OpenSheet, two: OpenSheet) -> None:
        for number in range(1, 4):
            await one.enter(Line(**line(f"/note {number}")))
            assert (await seen(two, number))[-1] == str(number)

    with_two_desks(place, act)
    assert heard(place) == ["1", "2", "3"]


def test_behind_broken_lines_each_desk_catches_up(
    place: ServerPlace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connection, "_BEAT", 1000.0)

    async def act(one: OpenSheet, two: OpenSheet) -> None:
        await one.enter(Line(**line("/note 1")))
        assert await seen(two, 1) == ["1"]
        with Journal(place) as elsewhere:
            await asyncio.to_thread(elsewhere.append, Entry(kind="note", heard="2"))
        await asyncio.to_thread(cut_all, place)
        with Journal(place) as elsewhere:
            await asyncio.to_thread(elsewhere.append, Entry(kind="note", heard="3"))
        await one.enter(Line(**line("/note 4")))
        for sheet in (one, two):
            assert await seen(sheet, 4) == ["1", "2", "3", "4"]

    with_two_desks(place, act)
    assert heard(place) == ["1", "2", "3", "4"]


@pytest.mark.slow
def test_a_desk_keeps_its_board_while_the_server_is_away_and_takes_the_line_afterwards(
    place: ServerPlace, server: Server
) -> None:
    sent = line("/note after all")
    with desk(place) as client:
        client.post(f"/enter/{place.name}", json=line("/note before"))
        server.end()
        try:
            told = client.post(f"/enter/{place.name}", json=sent)
            assert (told.status_code, told.json()["kind"]) == (503, "sheet-server")
            assert "can't be reached" in " ".join(told.json()["lines"])
            assert client.get(f"/wall/{place.name}").status_code == 200
        finally:
            server.start()
        assert client.post(f"/enter/{place.name}", json=sent).json()["new"]
        assert not client.post(f"/enter/{place.name}", json=sent).json()["new"]
    assert heard(place) == ["before", "after all"]


# a desk with a sheet of its own


def entered(client: TestClient, name: str, text: str) -> None:
    assert client.post(f"/enter/{name}", json=line(text)).json()["new"], text


def until(client: TestClient, page: str, *wanted: str, gone: str = "") -> None:
    """Wait until a page shows this, and something else no more."""
    end = time.monotonic() + 30
    while True:
        text = client.get(page).text
        if all(one in text for one in wanted) and not (gone and gone in text):
            return
        assert time.monotonic() < end, (page, wanted, gone)
        time.sleep(0.02)


APART = "not in step with the shared sheet"


def test_a_mirrored_desk_goes_on_while_the_line_is_broken_and_hands_over(
    place: ServerPlace, server: Server, tmp_path: Path
) -> None:
    own = tmp_path / "own.sheet"
    with (
        desk(own, mirroring=Mirroring(own, place, "track", None)) as track,
        desk(place) as factory,
    ):
        entered(track, "own", "/note from the track")
        until(factory, f"/wall/{place.name}", "from the track")
        entered(factory, place.name, "/note from the factory")
        until(track, "/wall/own", "from the factory")
        server.end()
        try:
            entered(track, "own", "/note alone")
            with DrillJournal(own.with_name(JOURNAL), create=True) as drills:
                drills.append(answer(book=drills.keep_book(race_book())))
                drills.settle(place.with_name(JOURNAL), agreed=True)
            until(track, "/wall/own", "alone", APART)
        finally:
            server.start()
        until(track, "/wall/own", gone=APART)
        until(factory, f"/wall/{place.name}", "alone")
        comes(lambda: drilled(place.with_name(JOURNAL)).get("Ana") == 1)
    with Journal(own) as here, Journal(place) as there:
        assert list(here.entries()) == list(there.entries())
        told = [(entry.desk, entry.heard) for entry in there.entries()][2:]
        assert told == [("track", "from the track"), ("", "from the factory"), ("track", "alone")]


def test_who_may_not_keep_drills_on_the_server_is_told_and_keeps_them(
    place: ServerPlace, tmp_path: Path
) -> None:
    own, writer = tmp_path / "own.sheet", f"w{uuid.uuid4().hex}"
    with psycopg.connect(place.address, autocommit=True) as owner:
        owner.execute(f"CREATE ROLE {writer} LOGIN IN ROLE niner_writer".encode())
    mine = ServerPlace(place.address.replace("user=postgres", f"user={writer}"), place.name)
    with DrillJournal(own.with_name(JOURNAL), create=True) as drills:
        drills.append(answer(book=drills.keep_book(race_book())))
        drills.settle(mine.with_name(JOURNAL), agreed=True)
    with desk(own, mirroring=Mirroring(own, mine, "track", None)) as track:
        entered(track, "own", "/note all the same")
        until(track, "/wall/own", "drills stay in this desk&#39;s own journal", gone=APART)
        comes(lambda: heard(place) == ["all the same"])
    with DrillJournal(own.with_name(JOURNAL)) as drills:
        assert drills.people() == {"Ana": 1}


def test_the_wall_of_who_may_only_read_offers_no_line_and_says_so(place: ServerPlace) -> None:
    reader = f"r{uuid.uuid4().hex}"
    with psycopg.connect(place.address, autocommit=True) as owner:
        owner.execute(f"CREATE ROLE {reader} LOGIN IN ROLE niner_reader".encode())
    mine = ServerPlace(place.address.replace("user=postgres", f"user={reader}"), place.name)
    for where, reads in ((place, False), (mine, True)):
        with desk(where) as client:
            shown = client.get(f"/wall/{place.name}").text
            assert ("may only read this sheet" in shown) is reads
            assert ('class="entry"' in shown) is not reads
            assert "Ilse Marrow" in shown
            assert "may only read" not in client.get(f"/watch/{place.name}").text


@pytest.mark.slow
def test_a_desk_older_than_the_server_says_so_goes_on_and_hands_over_when_it_is_updated(
    server: Server, tmp_path: Path
) -> None:
    whole, own = ServerPlace(server.database("newer")), tmp_path / "own.sheet"
    set_up(whole, [sheet_format()])
    place = whole.with_name("event")
    Journal(place, race_book()).close()

    def brought(by: int) -> None:
        with psycopg.connect(whole.address) as one:
            one.execute("UPDATE niner.versions SET version = version + %s", (by,))

    sent = line("/note at the factory")
    with desk(place) as factory, desk(own, mirroring=Mirroring(own, place, "track", None)) as track:
        entered(track, "own", "/note before")
        until(factory, "/wall/event", "before")
        brought(1)
        told = factory.post("/enter/event", json=sent)
        assert (told.status_code, told.json()["kind"]) == (503, "sheet-later")
        assert "update niner here" in " ".join(told.json()["lines"])
        entered(track, "own", "/note alone")
        until(track, "/wall/own", "alone", APART, "when niner is updated here; the tables of")
    with desk(own, mirroring=Mirroring(own, place, "track", None)) as track:  # begun again, too
        until(track, "/wall/own", "alone", APART, "are of a later version")
        done = called(["log", str(place)], b"/note x\n")
        assert (done.returncode, len(done.stderr.splitlines())) == (2, 2)
        assert b"later version" in done.stderr
        brought(-1)
        until(track, "/wall/own", gone=APART)
    with Journal(place) as there, Journal(own) as here:
        assert [entry.heard for entry in there.entries()] == ["before", "alone"]
        assert list(here.entries()) == list(there.entries())


def test_a_desk_whose_clock_is_off_tells_so(
    place: ServerPlace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = tmp_path / "own.sheet"
    hour = datetime.timedelta(hours=1)
    monkeypatch.setattr("codec.store.clock.now", lambda: now() + hour)
    with desk(own, mirroring=Mirroring(own, place, "track", None)) as track:
        until(track, "/wall/own", "clock is 60 min ahead of the server")
        entered(track, "own", "/note by the server's clock")
    with Journal(own) as journal:
        logged = datetime.datetime.fromisoformat(list(journal.entries())[-1].logged)
    assert abs(logged - now()) < hour / 2
    with desk(place) as factory:
        until(factory, f"/wall/{place.name}", "clock is 60 min ahead of the server")


def test_whether_drills_are_handed_over_is_asked_once_and_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own, mirror = tmp_path / "own.sheet", "postgresql://db.invalid/races#Round 3"
    shared, drills = place_of("postgresql://db.invalid/races#drills.niner"), own.with_name(JOURNAL)
    monkeypatch.setattr("codec.desk.serving.serve", lambda *_, **__: None)

    def begun(*options: str, typed: bytes = b"", terminal: bool = False) -> str:
        streams = SimpleNamespace(isatty=lambda: terminal)
        monkeypatch.setattr("codec.cli.desk.sys", SimpleNamespace(stdin=streams))
        found = called(["desk", own, "--mirror", mirror, *options], typed, together=True)
        assert found.returncode == 0
        return found.stdout.decode()

    def settled() -> bool | None:
        with DrillJournal(drills) as journal:
            return journal.agreed(shared)

    assert begun(terminal=True) == begun("--keep-drills-here") == ""
    assert not drills.exists()
    with DrillJournal(drills, create=True) as journal:
        for person in ("Ana", "Ben"):
            journal.append(answer(person=person, book=journal.keep_book(race_book())))
    [line_told] = begun().splitlines()
    assert f"not handed over to {shared} (Ana: 1 answer; Ben: 1 answer)" in line_told
    assert "--hand-over-drills or --keep-drills-here" in line_told
    asked = begun(terminal=True, typed=b"maybe\n")
    assert "Ana: 1 answer; Ben: 1 answer" in asked
    assert (str(shared) in asked, asked.count("(yes/no)"), settled()) == (True, 2, None)
    for options, typed, kept in (
        ((), b"no\n", False),
        (("--hand-over-drills",), b"", True),
        (("--keep-drills-here",), b"", False),
    ):
        begun(*options, typed=typed, terminal=bool(typed))
        assert settled() is kept
        assert begun(terminal=True) == begun() == ""
    drills.write_text("no journal", "utf-8")
    assert "drills are not handed over: " in begun(terminal=True)


def test_who_names_a_mirror_that_is_none_is_told(tmp_path: Path, place: ServerPlace) -> None:
    own = str(tmp_path / "a.sheet")
    for arguments in (
        ["desk", own, "--mirror", f"{own}.b"],
        ["desk", own, "--mirror", place.address],
        ["desk", str(tmp_path), "--mirror", str(place)],
        ["desk", own, "--desk", "track"],
        ["desk", own, "--hand-over-drills"],
        ["desk", own, "--mirror", str(place), "--hand-over-drills", "--keep-drills-here"],
    ):
        assert called(arguments).returncode == 2, arguments
    found = called(["desk", own, "--mirror", f"{place.address}#none"])
    assert (found.returncode, b"there is no sheet" in found.stderr) == (2, True)
