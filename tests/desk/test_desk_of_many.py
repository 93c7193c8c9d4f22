"""A desk of a folder, or of a whole server: whichever sheets are there are found, each is live."""

from __future__ import annotations

import re
import time
import uuid
from collections.abc import Callable
from pathlib import Path

import pytest
from commands import called
from desk.support import line, served
from servers import Server
from sheet.support import race_book
from starlette.testclient import TestClient

from codec.desk.serving import sheets_at
from codec.desk.shelf import Shelf
from codec.drill.journal import FORMAT
from codec.sheet import Entry, Journal
from codec.sheet.journal import sheet_format
from codec.store.place import Place, ServerPlace, place_of
from codec.store.server.setting_up import set_up

PlaceOf = Callable[[str], Place]


@pytest.fixture(params=["folder", "server"])
def many(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[Place, PlaceOf]:
    """A place without a sheet, and where one of a name is there."""
    if request.param == "folder":
        return tmp_path, lambda name: tmp_path / f"{name}.sheet"
    server: Server = request.getfixturevalue("server")
    whole = ServerPlace(server.database(uuid.uuid4().hex))
    set_up(whole, [sheet_format(), FORMAT])
    return whole, whole.with_name


def written(place: Place, heard: str, day: str = "2026-05-01") -> None:
    with Journal(place, race_book()) as journal:
        logged = f"{day}T12:00:00.000Z"
        journal.append(Entry(kind="car", car="7", message="Ilse Marrow", logged=logged))
        journal.append(Entry(kind="note", car="7", heard=heard, logged=logged))


def listed(client: TestClient) -> list[str]:
    return re.findall("<strong>(.*?)</strong>", client.get("/").text)


def until(client: TestClient, page: str, wanted: str) -> None:
    end = time.monotonic() + 30
    while wanted not in client.get(page).text:
        assert time.monotonic() < end, (page, wanted)
        time.sleep(0.02)


@pytest.mark.slow
def test_sheets_are_listed_the_last_written_first_and_each_is_live(
    many: tuple[Place, PlaceOf],
) -> None:
    place, of = many
    written(of("Round 1"), "first", "2026-05-01")
    written(of("Round 2"), "second", "2026-06-01")
    with served(sheets_at(place)) as client:
        assert listed(client) == ["Round 2", "Round 1"]
        assert "2026-06-01" in client.get("/").text
        assert client.get("/wall/Round 3").status_code == 404
        for name, heard in (("Round 1", "first"), ("Round 2", "second")):
            page = client.get(f"/wall/{name}").text
            assert f"<h1>{name} " in page  # which one it is stands above its book
            assert heard in page
            with Journal(of(name)) as elsewhere:
                elsewhere.append(Entry(kind="note", car="7", heard=f"of {name} elsewhere"))
            until(client, f"/wall/{name}", f"of {name} elsewhere")
        assert client.post("/enter/Round 1", json=line("/note written here")).json()["new"]
        written(of("Round 3"), "new", "2999-07-01")
        assert listed(client)[0] == "Round 3"  # what came meanwhile is there too
        assert "new" in client.get("/wall/Round 3").text
        for page in ("coach", "listen", "practice", "season", "book", "history"):
            assert client.get(f"/{page}/Round 3").status_code == 200, page
    with Journal(of("Round 1")) as journal:
        assert [entry.heard for entry in journal.entries()][-1] == "written here"


def test_a_sheet_takes_a_line_to_the_server_when_it_is_asked_for_and_not_before(
    server: Server,
) -> None:
    whole = ServerPlace(server.database(uuid.uuid4().hex))
    set_up(whole, [sheet_format()])
    for number in range(3):
        written(whole.with_name(f"Round {number}"), "x")
    with served(sheets_at(whole)) as client, Journal(whole.with_name("Round 0")) as asking:
        ask = "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"

        def lines() -> int:
            found: int = asking._store.execute(ask).fetchone()[0]
            return found

        client.get("/")
        end = time.monotonic() + 30
        while lines() > 1:  # this one
            assert time.monotonic() < end
            time.sleep(0.02)
        client.get("/wall/Round 1")
        while lines() < 3:  # one that asks, one that is told
            assert time.monotonic() < end
            time.sleep(0.02)


def test_a_sheet_that_cannot_be_read_hides_no_other(tmp_path: Path) -> None:
    written(tmp_path / "good.sheet", "kept")
    (tmp_path / "other.sheet").write_text("laps")
    with served(sheets_at(tmp_path)) as client:
        assert listed(client) == ["good", "other"]
        assert "is no lap sheet" in client.get("/").text
        assert "kept" in client.get("/wall/good").text
        page = client.get("/wall/other", headers={"accept": "text/html"})
        assert (page.status_code, "is no lap sheet" in page.text) == (400, True)
        assert page.headers["content-type"].startswith("text/html")
        assert client.get("/look/other?text=x").json()["kind"] == "not-a-sheet"
    told = called(["sheet", "list", tmp_path])
    assert b"good" in told.stdout
    assert b"is no lap sheet" in told.stdout.replace(b"\n", b" ")


@pytest.mark.slow
def test_the_sheets_are_found_again_when_the_server_is_back(
    server: Server, served_at: Shelf
) -> None:
    with served(served_at) as client:
        assert listed(client) == ["event", "other"]
        assert "kept" in client.get("/wall/event").text
        server.end()
        try:
            assert "be reached" in client.get("/").text
            assert listed(client) == ["event"]  # it is open
            assert "kept" in client.get("/wall/event").text
            page = client.get("/wall/other", headers={"accept": "text/html"})
            assert (page.status_code, "be reached" in page.text) == (503, True)
        finally:
            server.start()
        assert listed(client) == ["event", "other"]


@pytest.fixture
def served_at(server: Server) -> Shelf:
    whole = ServerPlace(server.database(uuid.uuid4().hex))
    set_up(whole, [sheet_format()])
    written(whole.with_name("event"), "kept", "2026-06-01")
    written(whole.with_name("other"), "x")
    return sheets_at(whole)


def test_where_there_is_no_sheet_or_a_book_fits_none_that_is_told(
    many: tuple[Place, PlaceOf],
) -> None:
    place, of = many
    none = called(["desk", str(place), "--port", "0"])
    assert (none.returncode, b"there is no sheet in" in none.stderr) == (2, True)
    written(of("one"), "x")
    book = called(["desk", str(place), "--book", "race.toml"])
    assert book.returncode == 2
    assert place_of(str(place)) == place
