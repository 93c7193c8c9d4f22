"""What is written at a desk is on the disk when it is acknowledged, once, and seen by all."""

from __future__ import annotations

import asyncio
import json
import re
import threading
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from commands import called
from desk.support import REPORT, design, desk, line, sheet_at
from drill.support import answer
from sheet.support import ROOT, race_book

from codec.desk.sheets import Line, OpenSheet
from codec.drill import DrillJournal
from codec.drill.journal import JOURNAL
from codec.log.expected import Expected, Weighed
from codec.log.shown import Shown
from codec.sheet import Entry, Journal, SheetError
from codec.sheet.state import Standing
from grammar.parsing import parse_book

HOSTILE = "<script>alert(1)</script> \u202e\x1b[2J\" ' &amp;"


def test_a_line_is_on_the_disk_when_it_is_acknowledged_with_who_wrote_it(tmp_path: Path) -> None:
    path = sheet_at(tmp_path)
    with desk(path) as client:
        told = client.post("/enter/race", json=line(REPORT)).json()
        assert told["new"]
        with Journal(path) as journal:
            entry = journal[told["entries"][0]]
        assert (entry.writer, entry.car, entry.heard) == ("Quill", "7", REPORT)


def test_a_line_sent_again_is_there_once(tmp_path: Path) -> None:
    path, sent = sheet_at(tmp_path), line("nonsense yankee alfa")
    with desk(path) as client:
        first = client.post("/enter/race", json=sent).json()
        again = client.post("/enter/race", json=sent).json()
        assert (first["new"], again["new"]) == (True, False)
        assert again["entries"][: len(first["entries"])] == first["entries"]
    with desk(path) as client:  # begun again after a kill
        assert not client.post("/enter/race", json=sent).json()["new"]
    with Journal(path) as journal:
        assert sum(entry.heard == sent["text"] for entry in journal.entries()) == 1
        assert journal.faults() == []


def test_a_line_that_a_page_kept_was_said_when_it_was_typed(tmp_path: Path) -> None:
    path, minute = sheet_at(tmp_path), 60_000
    with desk(path) as client:
        for number, ago in enumerate([10 * minute, 0, None, -5, 1e300, True]):
            sent = line(f"/note {number}") | {"ago": ago}
            assert client.post("/enter/race", json=sent).json()["new"]
        for wrong in ("NaN", "Infinity"):  # what a browser never sends
            text = json.dumps(line("/note x") | {"ago": 0}).replace('"ago": 0', f'"ago": {wrong}')
            assert client.post("/enter/race", content=text).status_code == 400
    with Journal(path) as journal:
        late, *others = list(journal.entries())[2:]
        rows = Standing(journal.entries()).moments
    logged = [datetime.fromisoformat(one.logged).timestamp() * 1000 for one in (late, *others)]
    assert abs(logged[0] - (late.at or 0) - 10 * minute) < minute
    assert abs(logged[1] - (others[0].at or 0)) < minute
    assert abs(logged[4] - (others[3].at or 0) - 24 * 60 * minute) < minute  # at most a day
    assert rows.key(late.seq) < rows.key(others[0].seq)


def test_what_the_file_does_not_have_is_forgotten_before_a_line_is_written(tmp_path: Path) -> None:
    sheet = OpenSheet(sheet_at(tmp_path))
    sheet.open()
    unwritten = Entry(kind="note", car="7", heard="of a line that failed", seq=3)
    sheet.session.standing.take([unwritten])
    told, _ = asyncio.run(sheet.enter(Line(**line("/note kept"))))
    assert [entry.seq for entry in told.written] == [3]
    assert [entry.heard for entry in sheet.session.entries[2:]] == ["kept"]
    asyncio.run(sheet.close())


def test_a_page_tells_why_a_sheet_cannot_be_read_and_when_it_can_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def busy(_: Journal) -> int:
        raise SheetError("another program holds the sheet", kind="sheet-busy")

    async def seen() -> list[str]:
        watching = asyncio.create_task(sheet.watch())
        troubles = []
        with monkeypatch.context() as patched:
            patched.setattr(Journal, "last", property(busy))
            before = await anext(sheet.news(0))
            troubles.append(sheet.trouble)
        await anext(sheet.news(before, beat=5))
        assert sheet.version > before
        troubles.append(sheet.trouble)
        watching.cancel()
        await sheet.close()
        return troubles

    sheet = OpenSheet(sheet_at(tmp_path))
    sheet.open()
    assert asyncio.run(seen()) == ["another program holds the sheet", ""]


def test_a_wall_tells_once_what_is_wrong_however_many_cars_it_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def wrong() -> list[str]:
        html = client.get("/wall/race").text
        assert html.count('<section class="car"') == 2
        return re.findall(r'id="trouble" role="alert"(.*?)</p>', html)

    with desk(sheet_at(tmp_path)) as client:
        assert wrong() == [" hidden>"]
        with monkeypatch.context() as patched:
            patched.setattr(OpenSheet, "trouble", "the server is <down>")
            assert wrong() == [">the server is &lt;down&gt;"]
            assert client.get("/wall/race").text.count("the server is") == 1


def test_who_is_drilled_is_chosen_from_those_who_were(tmp_path: Path) -> None:
    pages = ("/coach/race", "/listen/race", "/practice/race")
    with desk(sheet_at(tmp_path)) as client:
        assert not any("<option>Ana" in client.get(page).text for page in pages)
        with DrillJournal(tmp_path / JOURNAL, create=True) as journal:
            book = journal.keep_book(race_book())
            journal.append(answer(person="Ana <1>", book=book))
        for page in pages[:2]:
            assert "<option>Ana &lt;1&gt;</option>" in client.get(page).text
        (tmp_path / JOURNAL).write_bytes(b"no journal" * 100)
        assert client.get("/listen/race").status_code == 200  # who begins is told


def test_what_is_no_sheet_is_told_before_anything_is_served(tmp_path: Path) -> None:
    other = tmp_path / "other.sheet"
    other.write_text("laps")
    done = called(["desk", other, "--port", "0"])
    assert (done.returncode, done.stdout) == (2, b"")
    assert b"is no lap sheet" in done.stderr
    assert b"http" not in done.stderr


def test_a_line_is_read_while_it_is_typed_and_nothing_is_written(tmp_path: Path) -> None:
    path = sheet_at(tmp_path)
    with desk(path) as client:
        told = client.get("/look/race", params={"car": "7", "text": REPORT}).json()
        assert told["tone"] == "good"
        short = client.get("/look/race", params={"car": "7", "text": "one two"}).json()
        assert short["tone"] == "warning"
        unread = {"car": "7", "text": REPORT.replace("quebec", "kebeck")}
        assert "sure" not in client.get("/look/race", params=unread).text
        heard = client.get("/look/race", params={**unread, "hear": "yes"}).json()
        assert "% sure" in heard["lines"][0]
        assert client.get("/look/race", params=unread).json() == heard
    with Journal(path) as journal:
        assert len(journal) == 2


def test_both_cars_stand_on_the_wall_and_hostile_words_do_nothing(tmp_path: Path) -> None:
    with desk(sheet_at(tmp_path)) as client:
        for car in ("7", "61"):
            client.post("/enter/race", json=line(f"/note {HOSTILE}", car))
        for address in ("/wall/race", "/watch/race", "/history/race?search=alert"):
            page = client.get(address).text
            assert "<script>alert" not in page
            assert "&lt;script&gt;alert(1)" in page
            assert not re.search("[\x1b\u202e]", page)
        assert "Ilse Marrow" in client.get("/wall/race").text
        assert "Teo Vash" in client.get("/wall/race").text


def test_lines_that_are_none_are_refused_in_words(tmp_path: Path) -> None:
    with desk(sheet_at(tmp_path)) as client:
        for sent, why in [
            ({}, "a line is a JSON object"),
            ([1], "a line is a JSON object"),
            (line("x", key="short"), "32 hexadecimal digits"),
            (line("x", writer=" "), "who writes?"),
            (line("x" * 5000), "at most 4000 characters"),
        ]:
            answer = client.post("/enter/race", json=sent)
            assert answer.status_code == 400
            assert why in answer.json()["lines"][0]
        assert client.get("/wall/nothing").status_code == 404
        assert client.get("/live/race?seen=x").status_code == 400
        assert client.get("/history/race?before=x").status_code == 400


def test_the_history_is_searched_and_turned_by_the_page(tmp_path: Path) -> None:
    path = sheet_at(tmp_path)
    with Journal(path) as journal:
        journal.append_all(Entry(kind="note", heard=f"thing {number}.") for number in range(120))
    with desk(path) as client:
        first = client.get("/history/race").text
        assert "thing 119." in first
        assert "thing 5." not in first
        (earlier,) = re.findall(r'href="(\?[^"]*before=\d+)"', first)
        assert "thing 5." in client.get(f"/history/race{earlier.replace('&amp;', '&')}").text
        assert "thing 5." in client.get("/history/race?search=thing 5.").text
        assert "thing 119." not in client.get("/history/race?search=thing 5.").text


def test_a_book_is_tried_both_ways(tmp_path: Path) -> None:
    with desk(sheet_at(tmp_path)) as client:
        (read,) = client.get("/book/race/read", params={"text": REPORT}).json()["readings"]
        assert read["string"] == "1201YAQ"
        values = {one["field"]: one["text"] for one in read["values"]}
        given = {f"field.{name}": value for name, value in values.items()}
        said = client.get("/book/race/say", params={"message": read["name"], **given}).json()
        assert (said["string"], said["words"]) == ("1201YAQ", REPORT)
        wrong = client.get("/book/race/say", params={**given, "field.motor": "hot"})
        assert wrong.status_code == 400
        assert "motor" in wrong.json()["lines"][0]
        assert client.get("/book/race/read", params={"text": "one"}).status_code == 400


@pytest.mark.slow
def test_noise_is_the_same_for_the_same_seed_and_does_nothing_where_there_is_none(
    tmp_path: Path,
) -> None:
    def heard(decibels: int, seed: int) -> list[dict[str, str]]:
        asked: dict[str, str | int] = {"text": "1201YAQ", "decibels": decibels, "seed": seed}
        found: list[dict[str, str]] = client.get("/book/race/noise", params=asked).json()
        return found

    with desk(sheet_at(tmp_path)) as client:
        loud = heard(-12, 1)
        assert loud == heard(-12, 1)
        assert loud != heard(-12, 2)
        assert any(one["verdict"] == "ask" for one in loud)
        assert sum(one["words"] == REPORT for one in heard(20, 1)) > 4


def test_a_book_being_written_is_told_every_problem_with_its_place(tmp_path: Path) -> None:
    text = race_book().source
    broken = text.replace('kind = "quantity"', 'kind = "quantety"').encode()
    with desk(sheet_at(tmp_path)) as client:
        assert client.post("/book/race/problems", content=text.encode()).json() == []
        found = client.post("/book/race/problems", content=broken).json()
        assert len(found) == text.count('kind = "quantity"')
        lines = broken.decode().splitlines()
        assert all("quantety" in lines[one["line"] - 1] for one in found)
        assert client.post("/book/race/problems", content=b"\xff[[[").json()[0]["text"]


def test_cards_and_the_debrief_stand_alone_and_run_nothing(tmp_path: Path) -> None:
    with desk(sheet_at(tmp_path)) as client:
        client.post("/enter/race", json=line(REPORT))
        for address in ("/book/race/card/driver", "/book/race/card/engineer"):
            answer = client.get(address)
            assert answer.status_code == 200
            assert "script" not in answer.headers["content-security-policy"]
        assert client.get("/book/race/card/nobody").status_code == 404
        assert "car=61" in client.get("/debrief/race").text


@pytest.mark.slow
def test_what_is_dropped_on_the_desk_comes_once(tmp_path: Path) -> None:
    talk = (ROOT / "examples" / "event" / "radio.vtt").read_bytes()
    asked = {
        "writer": "Quill",
        "name": "radio.vtt",
        "crew": ["7=Ilse Marrow,Quill", "61=Teo Vash,Denn"],
    }
    path = sheet_at(tmp_path)
    with desk(path) as client:
        first = client.post("/import/race", params=asked, content=talk).json()
        assert first["written"]["report"] > 50
        assert first["left_out"]
        again = client.post("/import/race", params=asked, content=talk).json()
        assert not again["written"]
        assert "Ilse Marrow" in client.get("/wall/race").text
        for name, content, why in [("x.vtt", b" ", "is empty"), ("x.bin", b"\0\1", "is no text")]:
            answer = client.post("/import/race", params={**asked, "name": name}, content=content)
            assert answer.status_code == 400
            assert why in answer.json()["lines"][0]
        unknown = {**asked, "crew": ["7=Nobody There"]}
        assert client.post("/import/race", params=unknown, content=talk).status_code == 400
    with Journal(path) as journal:
        assert journal.faults() == []


def test_every_line_of_the_history_tells_what_has_become_of_it(tmp_path: Path) -> None:
    path = sheet_at(tmp_path)
    with desk(path) as client:
        for text in (REPORT, "/note rein", "/fix 4 rain", "/withdraw 3", "/withdraw 6"):
            assert client.post("/enter/race", json=line(text)).json()["tone"] == "good", text
        shown = client.get("/history/race").text
        assert "put right by #5" in shown
        assert "withdrawn by #6" not in shown  # it was brought back
        assert "withdrawn by #7" in shown
        assert shown.count("bring back") > 0
        assert client.post("/enter/race", json=line("/fix 99 x")).json()["tone"] == "bad"
        for asked, there in [("#3", True), ("quill rain", True), ("lap 1", True), ("denn", False)]:
            found = client.get("/history/race", params={"search": asked}).text
            assert ("entry-line" in found) is there, asked


def test_a_line_that_is_being_heard_as_it_was_typed_is_not_heard_again_when_it_is_entered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text, begun, go_on = "one two zero won yankee", threading.Event(), threading.Event()
    heard, weigh = list[object](), Expected.weigh

    def weighed(known: Expected, said: Any) -> Weighed:
        heard.append(said)
        begun.set()
        assert go_on.wait(20)
        return weigh(known, said)

    async def typed_and_entered(sheet: OpenSheet) -> Shown:
        typed = asyncio.create_task(sheet.look("7", text, hear=True))
        assert await asyncio.to_thread(begun.wait, 20)
        entered = asyncio.create_task(sheet.enter(Line(**line(text))))
        await sheet.ask(lambda _: None)  # who enters waits for what is being heard by now
        typed.cancel()  # as a page asks no more when the line was entered
        go_on.set()
        shown, new = await entered
        assert new
        return shown

    sheet = OpenSheet(sheet_at(tmp_path))
    sheet.open()
    monkeypatch.setattr(Expected, "weigh", weighed)
    shown = asyncio.run(typed_and_entered(sheet))
    asyncio.run(sheet.close())
    assert shown.tone == "bad"
    assert heard == [text]


def test_what_is_doubtful_is_told_with_what_it_may_have_been(tmp_path: Path) -> None:
    path = sheet_at(tmp_path)
    with Journal(path) as journal:
        journal.append(Entry(kind="report", lap=1, heard=REPORT + " kettle", refusal="doubtful"))
    with desk(path) as client:
        told = client.get("/doubtful/race").json()
        ((one,), more) = told["doubtful"], told["more"]
        assert (one["entry"], one["car"], more, told["cars"]) == (3, "", False, ["7", "61"])
        assert one["readings"][0]["string"] == "1201YAQ"
        taken = client.post("/enter/race", json=line("/accept 3 1201YAQ", "61")).json()
        assert taken["lines"][0].startswith("#3 is now: car 61, lap report")
        assert client.get("/doubtful/race").json()["doubtful"] == []
        assert client.get("/doubtful/race?after=x").status_code == 400
        with Journal(path) as journal:  # as another program does, that moment
            journal.append(Entry(kind="report", heard=REPORT + " kettle", refusal="doubtful"))
        assert [one["entry"] for one in client.get("/doubtful/race").json()["doubtful"]] == [5]


def test_a_field_may_be_called_like_anything_that_a_page_asks(tmp_path: Path) -> None:
    text = (
        race_book()
        .source.replace("[fields.motor]", "[fields.message]")
        .replace("motor = ", "message = ")
    )
    text = re.sub(r"\bmotor\b", "message", text)
    path = tmp_path / "race.sheet"
    Journal(path, parse_book(text, "race")).close()
    with desk(path) as client:
        values = {"lap": 1, "energy": 0, "message": 90, "inverter": 60, "battery": 40, "alert": ""}
        given = {f"field.{name}": str(value) for name, value in values.items()} | {"message": "lap"}
        said = client.get("/book/race/say", params=given)
        assert said.status_code == 200, said.text
        assert {"field": "message", "text": "90"}.items() <= said.json()["values"][2].items()


def test_a_design_beside_the_sheet_opens_the_book_of_each_proposal(tmp_path: Path) -> None:
    path = sheet_at(tmp_path)
    (tmp_path / "lap.json").write_text(json.dumps(design()), "utf-8")
    (tmp_path / "other.json").write_text('{"needs": 1}', "utf-8")
    (tmp_path / "broken.json").write_text("[" * 100_000, "utf-8")
    (tmp_path / "rain.toml").write_text(
        (ROOT / "examples" / "design" / "rain.toml").read_text("utf-8"), "utf-8"
    )
    with desk(path) as client:
        page = client.get("/book/race").text
        points = re.findall(r'href="\?design=lap&amp;proposal=(\d)" aria-label="([^"]+)"', page)
        assert [number for number, _ in points] == ["0", "1"]
        assert "wrong none seen" in points[1][1]
        assert "niner design rain.toml --json" in page
        of = {"design": "lap", "proposal": "1"}
        starter = client.get("/book/race", params=of).text
        assert "one-table" in starter
        book = parse_book(design()["proposals"][1]["book"], "starter")
        assert book.title in starter
        for table in book.tables.values():
            assert f"<summary>{', '.join(field.title for field in table.fields)}" in starter
        own = client.get("/book/race/read", params={"text": REPORT}).json()
        assert own["readings"]
        other = client.get("/book/race/read", params={"text": REPORT, **of})
        assert other.status_code == 400 or other.json() != own
        assert client.get("/book/race/card/engineer", params=of).status_code == 200
        assert "#include" in client.get("/book/race/dash", params=of).text
        for wrong in ({"design": "lap", "proposal": "2"}, {"design": "../lap", "proposal": "0"}):
            assert client.get("/book/race", params=wrong).status_code == 404
