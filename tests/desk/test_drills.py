"""Drills at the desk: what the coach and the driver do on two devices is one session, whose answers
are those of the journal that the terminal's drills keep.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from desk.browser import Served, chromium
from desk.support import desk, sheet_at
from playwright.sync_api import Browser, Page, expect
from sheet.support import race_book
from starlette.testclient import TestClient

from codec.desk import drills
from codec.desk.access import COOKIE, Links, Role
from codec.desk.drills import Room, SessionPlan
from codec.drill import Answer, DrillError, DrillJournal, Progress
from codec.drill.journal import JOURNAL
from codec.profile import Profile
from codec.store.store import now
from grammar.book import Book
from grammar.parsing import parse_book

CIRCUIT = {"straights": [[0.1, 0.3], [0.6, 0.7]]}
TABLET = {"visible": True, "error": 0.004, "frame": 0.017}


class Time:
    """A clock that goes when it is told to."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Time:
    made = Time()
    monkeypatch.setattr(drills, "clock", made)
    return made


@pytest.fixture
def room(tmp_path: Path, clock: Time) -> Room:
    assert clock.now
    return Room(tmp_path / JOURNAL, race_book, CIRCUIT)


def begin(room: Room, **facts: Any) -> None:
    room.begin(SessionPlan(**{"person": "Ana", "items": 5, "seed": 3, **facts}))


def flashed(room: Room, clock: Time, *, took: float | None = None, key: str = "tablet") -> None:
    """Have the driver's device flash what it is told to."""
    told = room.for_driver(key)
    assert told["stage"] == "shown", told
    clock.now = told["show_at"] + told["exposure"]
    room.take_seat(key, TABLET, over=False)
    stayed = told["exposure"] if took is None else took
    room.seen(key, {"number": told["number"], "at": told["show_at"], "took": stayed})


def answers(room: Room) -> list[Answer]:
    return list(room.journal.answers())


def test_a_drill_begins_with_what_is_known_of_the_driver(tmp_path: Path, clock: Time) -> None:
    assert clock.now
    weak = Profile(read={"hotel": {"hotel": 20, "golf": 10}})
    room = Room(tmp_path / JOURNAL, race_book, CIRCUIT, {"Ana": weak}.get)
    begin(room)
    assert room.session.memory.raced == {"H": (20, 10)}
    room.end()
    begin(room, person="Ben")
    assert room.session.memory.raced == {}


def test_a_question_goes_from_the_flash_to_the_journal(room: Room, clock: Time) -> None:
    room.take_seat("tablet", TABLET, over=False)
    room.coach.error = 0.002
    begin(room, second_task=False)
    asked = room.for_coach()["asked"]
    picture = room.for_driver("tablet")["picture"]
    assert picture.count("<g ") == len(asked["text"])  # drawn as the book's dash draws
    flashed(room, clock)
    shown = clock.now - 0.7
    room.first_word(asked["number"], shown + 0.9)
    written = room.mark(asked["number"], None, shown + 4.0)
    assert (written.shown, written.outcome) == (asked["text"], "right")
    assert written.first == pytest.approx(0.9)
    assert written.last == pytest.approx(4.0)
    assert written.exposure == pytest.approx(0.7)
    # what both clocks are unsure of, and a frame
    assert written.clock_error == pytest.approx(0.004 + 0.002 + 0.017)
    told = Progress(race_book(), answers(room), "read", now())
    assert (told.right.right, told.right.asked) == (1, 1)
    assert room.for_coach()["asked"]["number"] == 2


def test_a_mark_sent_twice_is_there_once(room: Room, clock: Time) -> None:
    room.take_seat("tablet", TABLET, over=False)
    begin(room)
    flashed(room, clock)
    room.mark(1, None, clock.now)
    with pytest.raises(DrillError, match="marked already"):
        room.mark(1, None, clock.now)
    assert len(answers(room)) == 1


def test_a_mark_of_a_session_that_the_desk_lost_is_written_once(
    room: Room, clock: Time, tmp_path: Path
) -> None:
    room.take_seat("tablet", TABLET, over=False)
    begin(room)
    flashed(room, clock)
    kept = room.for_coach()["asked"]["kept"]
    again = Room(tmp_path / JOURNAL, race_book, CIRCUIT)
    for _ in range(2):
        again.mark_kept(kept, None, corrected=False)
    (found,) = answers(room)
    assert (found.shown, found.session, found.last) == (kept["text"], room.held_as, None)
    with pytest.raises(DrillError, match="does not ask that"):
        again.mark_kept({**kept, "text": "§"}, None, corrected=False)


@pytest.mark.slow
def test_changes_on_the_wheel_are_no_answers_to_another_book(room: Room) -> None:
    made = Answer(
        person="Ana", drill="wheel", session="s", book="wheel", kind="change", shown="lift=60",
        outcome="right", at="2026-05-01T12:00:00.000Z",
    )  # fmt: skip
    room.journal.keep("wheel", "a wheel", "{}")
    room.journal.append(made)
    room.take_seat("tablet", TABLET, over=False)
    begin(room)
    assert not room.told
    room.journal.append(made.replace(drill="read", kind="report", shown="12"))
    room.end()
    begin(room)
    assert "changed since" in room.told[0]


def test_marks_are_undone_and_put_right(room: Room, clock: Time) -> None:
    room.take_seat("tablet", TABLET, over=False)
    begin(room)
    for number in (1, 2):
        flashed(room, clock)
        room.mark(number, None, clock.now)
    first, last = answers(room)
    room.undo(last.seq)
    with pytest.raises(DrillError, match="taken back already"):
        room.undo(last.seq)
    room.correct(first.seq, "wrong", "one two three", "mumbled")
    (left,) = answers(room)
    assert (left.said, left.note, left.right) == ("123", "mumbled", False)
    assert left.exposure == first.exposure
    room.correct(left.seq, "note", "", "tired")
    assert [(one.said, one.note) for one in answers(room)] == [("123", "tired")]
    assert room.session.memory.answers == 1


def test_a_flash_that_stayed_too_long_does_not_count_and_comes_again(
    room: Room, clock: Time
) -> None:
    room.take_seat("tablet", TABLET, over=False)
    begin(room)
    flashed(room, clock, took=1.4)
    told = room.for_coach()
    assert told["asked"]["stage"] == "shown"
    assert "1400 ms instead of 700 ms" in told["told"][-1]
    with pytest.raises(DrillError, match="not flashed yet"):
        room.mark(1, None, clock.now)
    flashed(room, clock)
    assert room.for_coach()["asked"]["stage"] == "seen"


def test_a_driver_who_is_alone_types_the_answer(room: Room, clock: Time) -> None:
    room.take_seat("tablet", TABLET, over=False)
    begin(room, alone=True, items=2)
    flashed(room, clock)
    shown = room.for_coach()["asked"]["text"]
    with pytest.raises(DrillError, match="gibberish"):
        room.alone("tablet", 1, "one gibberish", clock.now)
    with pytest.raises(DrillError, match="the coach marks"):
        room.alone("other", 1, shown, clock.now)
    room.alone("tablet", 1, shown, clock.now + 2)
    (found,) = answers(room)
    assert (found.outcome, found.answer) == ("right", shown)
    # by one clock and one screen alone
    assert found.clock_error == pytest.approx(0.004 + 0.017)


def test_a_tablet_that_sleeps_makes_the_question_wait(room: Room, clock: Time) -> None:
    room.take_seat("tablet", TABLET, over=False)
    begin(room)
    room.take_seat("tablet", {**TABLET, "visible": False}, over=False)
    told = room.for_coach()
    assert told["asked"]["stage"] == "waiting"
    assert "away or asleep" in told["told"][-1]
    clock.now += 60
    room.take_seat("tablet", TABLET, over=False)
    flashed(room, clock)
    room.mark(1, None, clock.now)
    assert len(answers(room)) == 1


def test_of_two_devices_on_one_link_one_has_the_seat(room: Room, clock: Time) -> None:
    assert room.take_seat("tablet", TABLET, over=False)
    begin(room)
    assert not room.take_seat("other", TABLET, over=False)
    assert room.for_driver("other")["taken"]
    assert "picture" not in room.for_driver("other")
    with pytest.raises(DrillError, match="another device"):
        room.seen("other", {"number": 1, "took": 0.7})
    assert room.take_seat("other", TABLET, over=True)
    assert "taken the driver's seat over" in room.for_coach()["told"][-1]
    assert not room.for_driver("tablet")["seat"]
    flashed(room, clock, key="other")


@pytest.mark.slow
def test_a_book_that_changed_ends_the_session_and_is_told(tmp_path: Path, clock: Time) -> None:
    books = [race_book()]

    def book() -> Book:
        return books[-1]

    room = Room(tmp_path / JOURNAL, book, CIRCUIT)
    room.take_seat("tablet", TABLET, over=False)
    begin(room)
    flashed(room, clock)
    changed = race_book().source.replace("Corvane race book", "Corvane race book, second")
    books.append(parse_book(changed, "race.toml"))
    room.mark(1, None, clock.now)
    assert "the book has changed" in room.over
    assert len(answers(room)) == 1
    begin(room)
    assert "changed since" in room.told[0]


def test_glances_are_where_the_car_is_straight(room: Room, clock: Time) -> None:
    room.take_seat("tablet", TABLET, over=False)
    begin(room, pace=100.0)
    start = clock.now
    places = []
    for number in range(1, 5):
        told = room.for_driver("tablet")
        places.append((told["show_at"] - start) / 100.0 % 1)
        flashed(room, clock)
        room.mark(number, None, clock.now + 3)
        clock.now += 5
        room.take_seat("tablet", TABLET, over=False)
    assert all(0.1 <= one <= 0.2 or 0.6 <= one <= 0.65 for one in places), places


def test_braking_marks_not_answered_are_the_price(room: Room, clock: Time) -> None:
    room.take_seat("tablet", TABLET, over=False)
    begin(room, items=2)
    marks = room.for_driver("tablet")["marks"]
    flashed(room, clock)
    room.seen("tablet", {"number": 1, "reactions": {"0": 0.4}})
    clock.now += 30
    written = room.mark(1, None, clock.now)
    assert (written.marks, written.missed) == (len(marks), len(marks) - 1)
    assert written.reaction == pytest.approx(0.4)


@pytest.mark.slow
def test_the_staircase_draws_items_as_they_occur_and_finds_the_glance(
    room: Room, clock: Time
) -> None:
    room.take_seat("tablet", TABLET, over=False)
    begin(room, items=30, exposure=None)
    for number in range(1, 31):
        exposure = room.for_driver("tablet")["exposure"]
        flashed(room, clock)
        room.mark(number, None if exposure > 0.5 else "?", clock.now)
    assert all(one.measured and one.kind == "report" for one in answers(room))
    closed = room.for_coach()["closing"]
    assert 0.4 < closed["exposures"]["reports"]["seconds"] < 0.7
    assert room.for_coach()["over"] == "all was asked"


@pytest.mark.parametrize(
    ("facts", "told"),
    [
        ({"person": ""}, "person"),
        ({"person": "Ana", "exposure": "20"}, "exposure"),
        ({"person": "Ana", "items": "many"}, "items"),
        ({"person": "Ana", "kind": "novel"}, "kind"),
    ],
)
def test_what_is_no_plan_is_refused(tmp_path: Path, facts: dict[str, str], told: str) -> None:
    with desk(sheet_at(tmp_path)) as client:
        answer = _act(client, "begin", **facts)
        assert answer.status_code == 400
        assert told in " ".join(answer.json()["lines"])


def _act(client: TestClient, act: str, **more: Any) -> Any:
    return client.post("/coach-act/race", json={"act": act, **more})


def test_strange_words_are_refused(tmp_path: Path) -> None:
    with desk(sheet_at(tmp_path)) as client:
        for act in ("mark", "undo", "again", "end", "correct", "first", "nonsense"):
            assert _act(client, act, number=1).status_code == 400, act
        assert _act(client, "mark", number="x").status_code == 400
        assert client.post("/driver-act/race", content=b"[").status_code == 400
        for sent in ({"act": "seen"}, {"act": "answer"}, {"act": "seen", "number": "x"}):
            assert client.post("/driver-act/race", json=sent).status_code == 400
        assert client.get("/drill-time/race").json()["now"] > 0


def test_a_driver_s_link_opens_the_driver_s_page_alone(tmp_path: Path) -> None:
    links = Links(tmp_path / "links")
    with desk(sheet_at(tmp_path), links) as client:
        client.cookies.set(COOKIE, links.tokens[Role.DRILL])
        assert client.get("/driver/race").status_code == 200
        assert client.get("/coach/race").status_code == 403
        assert _act(client, "end").status_code == 403
        client.cookies.set(COOKIE, links.tokens[Role.WATCH])
        assert client.get("/driver/race").status_code == 403


def test_the_caution_is_on_every_page_before_a_session(tmp_path: Path) -> None:
    with desk(sheet_at(tmp_path)) as client:
        for page in ("coach", "driver"):
            text = client.get(f"/{page}/race").text
            assert "never while driving" in text
            assert "parked car" in text


# in a browser

AHEAD = 3700  # milliseconds by which the driver's device is ahead of the coach's
SKEWED = f"const own = performance.now.bind(performance); performance.now = () => own() + {AHEAD};"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as started:
        yield started


def _pages(browser: Browser, address: str) -> tuple[Page, Page]:
    """Return the coach's page and the driver's, on devices of their own, whose clocks differ."""
    coach, driver = (browser.new_context().new_page() for _ in range(2))
    for page, place in ((coach, "coach"), (driver, "driver")):
        page.goto(f"{address}/{place}/race")
        expect(page.locator("#line[data-state=on], main[data-state=on]")).to_have_count(1)
    driver.click("#ready")
    return coach, driver


def _session(browser: Browser, sheet: Path, items: int) -> tuple[list[Answer], float, int]:
    """Drill by keyboard; return what is in the journal, the seconds, and the coach's keys."""
    keys = 0
    with Served(sheet) as served:
        coach, driver = _pages(browser, served.address)
        coach.fill("#person", "Ana")
        coach.fill("#items", str(items))
        coach.fill("#exposure", "300")
        began = time.monotonic()
        coach.click("#begin button")
        for number in range(1, items + 1):
            expect(coach.locator("#progress")).to_contain_text(f": {number} of")
            expect(coach.locator("#stage[data-stage=seen]")).to_have_count(1)
            for key in (" ", "w" if number % 5 == 0 else "r"):
                coach.keyboard.press(key)
                keys += 1
        expect(coach.locator("#closing")).to_contain_text("all was asked")
        spent = time.monotonic() - began
        expect(driver.locator("#gate-told")).to_contain_text("over")
        for page in (coach, driver):
            page.context.close()
    with DrillJournal(sheet.with_name(JOURNAL)) as journal:
        return list(journal.answers()), spent, keys


@pytest.mark.slow
def test_a_session_by_keyboard_on_two_devices(browser: Browser, tmp_path: Path) -> None:
    found, _, keys = _session(browser, sheet_at(tmp_path), 1)
    assert len(found) == 1
    assert keys == 2
    assert all(one.exposure == pytest.approx(0.3, abs=0.08) for one in found)


@pytest.mark.slow
def test_forty_items_take_less_than_four_minutes(browser: Browser, tmp_path: Path) -> None:
    found, spent, keys = _session(browser, sheet_at(tmp_path), 40)
    print(f"40 items in {spent:.0f} s with {keys} keys")
    assert len(found) == 40
    assert keys <= 80
    assert sum(one.right for one in found) == 32


@pytest.mark.slow
def test_clocks_that_differ_are_brought_together(browser: Browser, tmp_path: Path) -> None:
    with Served(sheet_at(tmp_path)) as served:
        context = browser.new_context()
        context.add_init_script(SKEWED)
        page = context.new_page()
        page.goto(f"{served.address}/driver/race")
        expect(page.locator("main[data-state=on]")).to_have_count(1)
        # the true difference: this machine's one clock is the desk's, and the page's own less AHEAD
        off = page.evaluate(
            """async () => {
                const { Clock } = await import("/static/clock.js");
                const clock = new Clock("/drill-time/race");
                await clock.measure();
                const plain = performance.timeOrigin;
                return [clock.ahead, clock.error, plain];
            }"""
        )
        plain = browser.new_context().new_page()
        plain.goto(f"{served.address}/driver/race")
        other = plain.evaluate(
            """async () => {
                const { Clock } = await import("/static/clock.js");
                const clock = new Clock("/drill-time/race");
                await clock.measure();
                return [clock.ahead, clock.error, performance.timeOrigin];
            }"""
        )
        # ahead = desk - own clock; both pages' own clocks count from their time origins
        difference = (other[0] - off[0]) - (other[2] - off[2]) - AHEAD
        print(f"off by {difference:.2f} ms, said to be at most {off[1] + other[1]:.2f} ms")
        assert abs(difference) <= off[1] + other[1] + 2


_ANSWERS_COME_AFTER_THE_NEWS = """{
const fetched = window.fetch;
window.fetch = async (...asked) => {
    const answer = await fetched(...asked);
    if (`${asked[0]}`.includes("coach-act")) await new Promise((done) => setTimeout(done, 500));
    return answer;
}; }"""


@pytest.mark.slow
def test_a_mark_made_while_the_desk_is_away_is_kept_and_told_about(
    browser: Browser, tmp_path: Path
) -> None:
    sheet = sheet_at(tmp_path)
    with Served(sheet) as served:
        coach, _ = _pages(browser, served.address)
        coach.evaluate(_ANSWERS_COME_AFTER_THE_NEWS)
        coach.fill("#person", "Ana")
        coach.click("#begin button")
        for number in (1, 2):
            expect(coach.locator("#progress")).to_contain_text(f": {number} of")
            expect(coach.locator("#stage[data-stage=seen]")).to_have_count(1)
            if number == 1:
                coach.keyboard.press("r")
        with served.away():
            coach.keyboard.press("r")
            expect(coach.locator("#pending li")).to_have_count(1)
            expect(coach.locator("#line")).to_contain_text("no connection")
        expect(coach.locator("#pending li")).to_have_count(0)
        expect(coach.locator("#told")).to_contain_text("its mark is on the disk")
    with DrillJournal(sheet.with_name(JOURNAL)) as journal:
        assert [one.right for one in journal.answers()] == [True, True]


@pytest.mark.slow
def test_a_braking_mark_is_answered_by_a_key_and_by_a_button_of_a_wheel(
    browser: Browser, tmp_path: Path
) -> None:
    pad = """window.pressed = false; navigator.getGamepads = () =>
        [{ buttons: [{ pressed: window.pressed, value: Number(window.pressed) }] }];"""
    sheet = sheet_at(tmp_path)
    with Served(sheet) as served:
        coach, driver = _pages(browser, served.address)
        driver.evaluate(pad)
        coach.fill("#person", "Ana")
        coach.fill("#items", "2")
        coach.click("#begin button")
        for number in (1, 2):
            expect(coach.locator("#progress")).to_contain_text(f": {number} of")
            driver.wait_for_selector('#mark[data-on="yes"]')
            if number == 1:
                driver.keyboard.press("b")
            else:
                driver.evaluate("window.pressed = true")
            driver.wait_for_selector('#mark[data-on="no"]', state="attached")
            expect(coach.locator("#stage[data-stage=seen]")).to_have_count(1)
            coach.wait_for_timeout(300)
            coach.keyboard.press("r")
        expect(coach.locator("#closing")).to_contain_text("all was asked")
    with DrillJournal(sheet.with_name(JOURNAL)) as journal:
        assert [one.missed for one in journal.answers()] == [0, 0]
        assert all(one.reaction is not None for one in journal.answers())


# the season


@pytest.mark.slow
def test_the_board_shows_how_everybody_stands_and_keeps_programmes(tmp_path: Path) -> None:
    sheet = sheet_at(tmp_path)
    assert not (tmp_path / JOURNAL).exists()
    with desk(sheet) as client:
        assert "Nobody has been drilled" in client.get("/season/race").text
        with DrillJournal(tmp_path / JOURNAL, create=True) as journal:
            digest = journal.keep_book(race_book())
            for person in ("Ana", "Ben <b>"):
                for said in ("12436TY", "12436TA"):
                    journal.append(
                        Answer(
                            person=person, drill="read", session=said, book=digest, kind="report",
                            part_of="lap", shown="12436TY", said=said, exposure=0.5, measured=True,
                            outcome="right" if said == "12436TY" else "caught",
                        )
                    )  # fmt: skip
        sent = {"person": "Ana", "begins": now().date().isoformat(), "share": "90"}
        assert client.post("/season/race", data=sent).status_code == 303
        shown = client.get("/season/race", params={"with": ["Ana", "Ben <b>"]}).text
        assert "90 % right" in shown
        assert "2 of 3" in shown
        assert "nine in ten right at" in shown
        assert "yankee" in shown
        assert "<b>" not in shown
        for wrong in ({"begins": "soon"}, {"share": "x"}, {"person": "Nobody"}):
            assert client.post("/season/race", data={**sent, **wrong}).status_code == 400, wrong
