"""Facts of the race hold for both cars; what is known in part is kept; read-backs raise no false
alarm; a second report of a lap is asked about.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest
from log.clock import NOON, SetClock
from sheet.support import RACE, race_book

from codec import encode
from codec.log.session import Session
from codec.race import facts, follow, load_event, parse_event
from codec.sheet import Entry, Journal
from codec.sheet.state import Standing

EVENT = RACE.parents[1] / "event" / "event.toml"
ON_PLAN = {"energy": "0.1", "motor": 95, "inverter": 65, "battery": 44, "alert": []}
REPORTS = (
    "one two one two eight sierra alfa",
    "two two two two niner golf romeo",
    "three two one two lima five bravo",
)


@pytest.fixture
def clock() -> SetClock:
    return SetClock()


@pytest.fixture
def session(tmp_path: Path, clock: SetClock) -> Iterator[Session]:
    """A session with two cars, behind the first lap of car 7."""
    with Journal(tmp_path / "event.sheet", race_book(), writer="Quill", clock=clock) as journal:
        session = Session(journal, event=load_event(EVENT, race_book()))
        for line in ("/car 7=Ana", "/car 61=Teo", "/car 7", REPORTS[0]):
            session.enter(line)
        yield session


def alarms(session: Session) -> list[str]:
    return [notice.text for notice in session.notices if notice.ask]


def test_a_fact_of_the_race_is_logged_once_for_every_car(session: Session, clock: SetClock) -> None:
    session.enter("safety car")
    session.enter("/car 61")
    for car in ("7", "61"):
        race = session.of(car).followed
        assert race is not None
        assert race.neutralised
    clock.on(300)
    session.enter("green flag")
    session.enter("/added 2")
    for car in ("7", "61"):
        race = session.of(car).followed
        assert race is not None
        assert (race.neutralised, race.laps_added) == (False, 2)
    session.enter("/stop")  # of car 61 alone
    assert session.standing.of("7", "event")[-1].entry.message != "stop"


def test_laps_announced_on_both_channels_count_once(session: Session, clock: SetClock) -> None:
    session.enter("/added 3")
    session.enter("/car 61")
    clock.on(20)
    session.enter("/added 3")
    assert session.race.added == 3
    clock.on(600)
    session.enter("/added 1")
    assert session.race.added == 4


def test_the_laps_due_come_from_the_minutes_that_it_lasted(
    session: Session, clock: SetClock
) -> None:
    """Half a lap a minute: seven minutes are three laps and a half; of a racing lap's 81.5 s two
    laps would have been 1.4 laps.
    """
    clock.on(80)
    session.enter("safety car")
    for report in REPORTS[1:]:
        clock.on(150)
        session.enter(report)
    clock.on(120)
    race = session.mine.followed
    assert race is not None
    assert race.laps_due(session.now()) == 3
    session.enter("green flag")
    race = session.mine.followed
    assert race is not None
    assert (race.laps_expected, race.laps_added) == (3, 3)
    assert race.spans[0].first == 2
    assert race.spans[0].last == 4


def test_entries_carry_the_time_and_a_clock_set_back_is_told(
    session: Session, clock: SetClock
) -> None:
    assert session.entries[-1].at == round(NOON.timestamp() * 1000)
    clock.on(-3600)
    shown = session.enter("safety car")
    assert any("the clock had gone backwards" in line for line in shown.lines)
    assert session.enter("/note quiet").lines == ("noted: quiet",)
    clock.on(60)
    session.enter("green flag")
    (step,) = session.standing.moments.steps
    assert step.seq == session.entries[-3].seq
    assert str(step).startswith("the clock had gone backwards")
    told = facts(session.standing, "7")
    assert [fact.message for fact in told] == ["lap", "neutralised", "resumed"]
    race = follow(load_event(EVENT, race_book()), told)
    assert race.clock.minutes(race.spans[0]) == 1


def test_what_is_put_right_long_after_it_was_said_puts_no_clock_right(
    session: Session, clock: SetClock
) -> None:
    first = next(entry for entry in session.entries if entry.kind == "report")
    for text in ("/note one", f"/fix {first.seq} {first.heard}", f"/fix {first.seq} /lap 2"):
        clock.on(300)
        assert not any("clock" in line for line in session.enter(text).lines)
    clock.on(300)
    session.enter("/note two")
    moments, last = session.standing.moments, session.entries[-1]
    assert moments.steps == []
    assert moments.at(last.seq) == last.at == round(NOON.timestamp() * 1000) + 1_200_000


@pytest.mark.slow
def test_what_goes_on_is_what_is_worked_out_from_the_start(
    session: Session, clock: SetClock
) -> None:
    lines = (
        "safety car", REPORTS[1], "T30", "green flag", REPORTS[2], "WRN2",
        "whiskey romeo november two whiskey", "/undo", "/undo", f"/lap 2 {REPORTS[1]}",
        "4192L64", "lap 6 0.1", "/added 2", "/wheel regeneration=3",
    )  # fmt: skip
    for line in lines:
        clock.on(41)
        session.enter(line)
        gone_on = session.mine.followed
        anew = follow(
            load_event(EVENT, race_book()), facts(Standing(session.journal.entries()), "7")
        )
        assert gone_on is not None
        assert gone_on.energy.components == anew.energy.components, line
        assert (gone_on.lap, gone_on.notices, gone_on.ledger.positions) == (
            anew.lap,
            anew.notices,
            anew.ledger.positions,
        )
        assert gone_on.plan.per_lap == anew.plan.per_lap


def test_negative_i_say_again_and_its_read_back_raise_no_alarm(session: Session) -> None:
    session.enter("WRN2")
    assert session.enter("whiskey romeo november three zulu").tone == "bad"
    assert alarms(session)
    assert session.enter("NEGATIVE I SAY AGAIN WRN2").tone == "good"
    assert session.enter("/right").tone == "good"
    assert alarms(session) == []
    assert [(one.row.entry.string, one.state) for one in session.readbacks.log] == [
        ("WRN2", "read back")
    ]
    race = session.mine.followed
    assert race is not None
    assert (race.ledger.positions["regeneration"], race.ledger.heading("regeneration")) == (6, 6)


def test_a_call_that_nothing_reads_back_is_closed_by_a_key(session: Session) -> None:
    session.enter("T30")
    assert [one.state for one in session.readbacks.log] == ["called"]
    assert session.enter("/right").tone == "good"
    assert [one.state for one in session.readbacks.log] == ["read back"]
    assert session.enter("/right").tone == "bad"


def test_the_advised_call_is_logged_by_a_key(session: Session) -> None:
    assert session.enter("/called").tone in ("good", "bad")
    session.enter("2082GR")
    for report in REPORTS[1:]:
        session.enter(report)
    calls = len(session.standing.of("7", "call"))
    shown = session.enter("/called")
    assert (shown.tone == "good") == (len(session.standing.of("7", "call")) == calls + 1)


def test_a_partial_report_is_kept_field_by_field(session: Session) -> None:
    shown = session.enter("lap 2 0.2 motor 90")
    assert shown.lines == ("part of the report of lap 2: energy against plan 0.2 kWh, motor 90 °C",)
    assert session.lap == 2
    assert dict(session.mine.values).keys() == {"energy", "motor"}
    assert session.enter("energy=0.1").lines[0].startswith("part of the report of lap 3: energy")
    assert session.enter("energy=plenty").tone == "bad"
    assert session.lap == 3
    race = session.mine.followed
    assert race is not None
    assert race.reported == [1, 2, 3]


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (
            "energy is minus point two and motor ninety five",
            "energy against plan -0.2 kWh, motor 95 °C",
        ),
        ("battery forty six", "battery 46 °C"),
    ],
)
def test_parts_of_a_report_may_be_said_in_plain_words(
    session: Session, said: str, told: str
) -> None:
    assert session.look(said).lines == (f"part of the report of lap 2: {told}",)
    assert session.enter(said).lines == (f"part of the report of lap 2: {told}",)


@pytest.mark.parametrize("said", ["no battery forty six", "battery forty six for him", "motor?"])
def test_plain_words_that_say_anything_else_are_no_part_of_a_report(
    session: Session, said: str
) -> None:
    session.enter(said)
    assert "by field" not in [entry.note for entry in session.entries]


@pytest.mark.parametrize(
    "typed",
    ["lap=", "lap =", "lap ² energy 0.1", "lap 3 lap 4 energy 0.1", "regeneration ²", "=", "²"],
)
def test_a_line_that_tells_no_field_whole_is_no_such_line(session: Session, typed: str) -> None:
    """Also while it is being typed, as ``lap=3`` begins with ``lap=``."""
    session.look(typed)
    session.enter(typed)
    assert "by field" not in [entry.note for entry in session.entries]


def test_what_says_a_lap_or_a_value_that_there_is_not_is_told_and_kept(session: Session) -> None:
    shown = session.enter("lap 99999 energy 0.1")
    assert any("lap: '99999' is no whole number" in line for line in shown.lines)
    assert session.waiting is not None
    assert session.waiting.entry.heard == "lap 99999 energy 0.1"
    assert any("plenty" in line for line in session.enter("energy plenty").lines)
    assert session.waiting.entry.heard == "energy plenty"


def test_a_lap_below_nought_is_no_lap_of_what_waits(session: Session) -> None:
    session.enter("lap -3 energy 0.1")
    assert session.waiting is not None
    assert session.waiting.entry.lap == 2
    told = session.enter("energy 0.1 motor 95").lines[0]
    assert told.startswith("part of the report of lap 2:")


@pytest.mark.parametrize("typed", ["left=33.6", "tyre wear = 4"])
def test_a_value_of_a_field_that_there_is_not_is_no_talk(session: Session, typed: str) -> None:
    before = len(list(session.entries))
    shown = session.enter(typed)
    name = typed.partition("=")[0].strip()
    assert shown.lines == (
        f"the lap report has no field {name!r}",
        "hint: it has energy against plan, motor, inverter, battery, alert",
    )
    assert len(list(session.entries)) == before


def test_a_lap_beyond_the_flag_is_asked_about_and_laps_added_count(session: Session) -> None:
    flag = session.mine.flag
    assert flag is not None
    shown = session.enter(f"lap {flag + 2} motor 95")
    told = f"lap {flag + 2} is beyond the flag: the race has {flag} laps; /added 3 adds some"
    assert shown.lines[:2] == (f"ask: {session.asking}", told)
    assert session.enter(f"/of lap {flag + 2}").lines == (told,)
    assert session.lap == 1
    session.enter("/added 2")
    assert session.enter(f"lap {flag + 2} motor 95").tone == "warning"  # laps between have none
    assert session.lap == flag + 2


def test_a_partial_report_tells_what_is_known_of_the_one_that_waits(session: Session) -> None:
    session.enter("two two lemon lemon golf lemon")
    assert session.waiting is not None
    session.enter("energy=0.2")
    assert session.waiting is None
    assert session.lap == 2


def test_where_a_dial_stands_is_kept(session: Session) -> None:
    for line, position in (
        ("regen to 8", 8),
        ("regeneration seven", 7),
        ("/wheel brake balance=3", 3),
    ):
        assert session.enter(line).tone == "good", line
        race = session.mine.followed
        assert race is not None
        assert position in race.ledger.positions.values()
    assert session.enter("/wheel brake balance=12").tone == "bad"
    assert session.waiting is None


def test_a_second_report_of_a_lap_is_asked_about_and_the_fitting_one_counts(
    session: Session,
) -> None:
    session.enter(REPORTS[1])
    values = {"lap": 2, "energy": "-1.2", "motor": 120, "inverter": 90, "battery": 56, "alert": []}
    shown = session.enter(encode(race_book(), values, "lap").words)
    assert any("which car or lap" in line for line in shown.lines)
    assert any("the earlier one fits" in line for line in shown.lines)
    assert session.mine.reports[2].entry.values["motor"] == 85
    assert session.enter("/of 61").tone == "good"
    assert session.of("61").reports[2].entry.values["motor"] == 120
    assert len(session.standing.of("7", "report")) == 2


def test_a_phrase_means_the_fact_that_the_book_names(tmp_path: Path) -> None:
    from grammar.parsing import parse_book

    text = RACE.read_text("utf-8").replace(
        "[phrases.neutralised]", '[phrases.sc]\nmeans = "neutralised"'
    )
    book = parse_book(text, "race.toml")
    with Journal(tmp_path / "sheet", book) as journal:
        event = parse_event(EVENT.read_text("utf-8"), book, str(EVENT))
        session = Session(journal, "7", event=event)
        assert session.enter("safety car").lines[0] == "race neutralised"
        assert session.race.neutralised
        assert session.mine.followed is not None
        assert session.mine.followed.neutralised


def test_what_a_line_costs_does_not_grow_with_the_race(
    session: Session, clock: SetClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a report at lap 20 only that report is followed, and only its entries are taken up."""
    from codec.race.follow import _Following

    for lap in range(2, 21):
        clock.on(80)
        session.enter(encode(race_book(), {**ON_PLAN, "lap": lap}, "lap").words)
    taken: list[object] = []
    take, take_up = _Following.take, session.standing.take

    def counted(following: _Following, one: object) -> None:
        taken.append(one)
        take(following, one)  # type: ignore[arg-type]  # passed on as it is

    monkeypatch.setattr(_Following, "take", counted)
    seen: list[object] = []

    def taken_up(entries: Iterable[Entry]) -> None:
        new = list(entries)
        seen.extend(new)
        take_up(new)

    monkeypatch.setattr(session.standing, "take", taken_up)
    session.enter(encode(race_book(), {**ON_PLAN, "lap": 21}, "lap").words)
    assert session.lap == 21
    assert len(taken) == len(seen) == 1
