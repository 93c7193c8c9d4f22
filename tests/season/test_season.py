"""A season tells the same of a folder of sheets and of a server, and what it tells is what the
sheets say.
"""

from __future__ import annotations

import random
import shutil
from decimal import Decimal
from pathlib import Path

import psycopg
import pytest
from commands import Argument, called
from hypothesis import given, settings
from hypothesis import strategies as st
from race.support import CALLS, DELTA, TEXT, fact
from race.support import report as race_report
from season.support import DAYS, MISHEARD, SAID, name, on_server, put_right, told, unread, without
from servers import Server
from sheet.support import RACE, new, race_book, report

from codec import parse_book
from codec.profile import Profile, channel_of, load_profile, save_profile
from codec.season.events import SeasonError, Wanted
from codec.season.parquet import copy_out
from codec.season.queries import named, reports
from codec.season.source import duckdb_connection, opened_season
from codec.sheet import Entry, Journal
from codec.sheet.entry import KINDS
from codec.sheet.state import Standing, correction_of
from codec.sheet.table import ENTRIES
from codec.store.place import place_of

PLAN = "[plan]\nper_lap = 1.6\n"
EVENT_FILE = TEXT.format(top="", distance="laps = 17", energy="") + DELTA + CALLS + PLAN


@pytest.mark.slow
def test_the_events_are_listed_by_date_with_their_drivers(where: str) -> None:
    found = told("list", where)
    assert [(one["event"], one["date"], one["entries"]) for one in found] == [
        ("Tessel", "2026-05-02", 12),
        ("Marrow Sands", "2026-05-16", 13),
        ("Quill", "2026-05-30", 14),
    ]
    assert {tuple(one["drivers"]) for one in found} == {("Ilse Marrow", "Teo Vash")}


def test_words_heard_for_others_are_counted_with_where_they_are_from(where: str) -> None:
    *confused, rest = told("words", where)
    assert confused == [
        # each event once: put right after MISHEARD; and taken through noise with "mango"
        {"said": "one", "heard": "niner", "times": 3, "of": 21, "sources": {"again": 3}},
        {"said": "tango", "heard": "mango", "times": 3, "of": 21, "sources": {"noise": 3}},
    ]
    # 3 + 4 + 5 laps and 3 said again stand as they were heard
    assert rest == {
        "hearings": {"as it stands": 15, "again": 3, "noise": 3}, "words": 8 * 21, "unlike": 0,
    }  # fmt: skip


@pytest.mark.slow
def test_only_what_is_asked_for_counts(where: str) -> None:
    [confused, rest] = told("words", where, "--driver", "teo vash")
    assert (confused["heard"], rest["words"]) == ("mango", 24)
    assert told("words", where, "--engineer", "Ben") == [confused, rest]
    assert told("words", where, "--from", "2026-05-10", "--to", "2026-05-20")[0]["times"] == 1
    assert told("words", where, "--book", "race")[-1]["words"] == 8 * 21
    for wrong, why in (
        (("--driver", "Nobody"), b"there is no driver 'Nobody'"),
        (("--book", "other"), b"no event of the season is asked for"),
        (("--from", "May"), b"is no day"),
    ):
        done = called(["season", "words", where, *wrong])
        assert (done.returncode, why in done.stderr) == (2, True)


def test_every_figure_is_shown_with_what_it_rests_on(where: str) -> None:
    shown = called(["season", "words", where]).stdout.decode()
    assert "of 168 words in 21 hearings of reports that stand: 15 as they stand" in shown
    assert "Quill" in called(["season", "list", where]).stdout.decode()


def test_what_is_damaged_foreign_or_there_twice_is_told_and_left_out(
    season: Path, tmp_path: Path
) -> None:
    for path in season.glob("*.sheet"):
        shutil.copy(path, tmp_path)
    (tmp_path / "foreign.sheet").write_text("no sheet", "utf-8")
    damaged = (tmp_path / "Quill.sheet").read_bytes()
    (tmp_path / "Quill.sheet").write_bytes(damaged.replace(b"SAY AGAIN", b"SAY AGAIM"))
    shutil.copy(season / "Tessel.sheet", tmp_path / "a copy.sheet")
    (tmp_path / "event=x").mkdir()
    (tmp_path / "event=x" / "part.parquet").write_bytes(b"nonsense")
    done = called(["season", "list", tmp_path, "--json"])
    assert done.stdout.count(b"\n") == 2
    lines = done.stderr.decode().splitlines()
    assert [line.split(":")[1].strip() for line in lines] == [
        "Quill.sheet", "foreign.sheet", "event=x/part.parquet", "a copy.sheet",
    ]  # fmt: skip
    assert "is not as it was written" in lines[0]


def test_a_place_without_events_is_told(tmp_path: Path) -> None:
    for place, why in (
        (tmp_path, b"there is no event in"),
        (tmp_path / "none", b"is no folder and no server"),
        ("postgresql:///nothing#Round 3", b"is no folder and no server as a whole"),
        ("postgresql:///nothing?host=/nowhere", b"can't be reached"),
    ):
        done = called(["season", "list", place])
        assert (done.returncode, why in done.stderr, b"Traceback" in done.stderr) == (
            2,
            True,
            False,
        )


def test_a_sheet_that_goes_on_is_read_again(
    season: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NINER_CACHE", "on")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    folder = tmp_path / "season"
    shutil.copytree(season, folder)
    before = told("words", folder)
    kept = set((tmp_path / "cache").rglob("*.parquet"))
    assert told("words", folder) == before
    assert set((tmp_path / "cache").rglob("*.parquet")) == kept
    with Journal(folder / "Quill.sheet") as journal:
        journal.append(report(SAID, lap=25, certainty=1.0))
    assert told("words", folder)[-1]["words"] == before[-1]["words"] + 8
    (folder / "Quill.sheet").rename(folder / "Quill Bay.sheet")
    assert told("list", folder)[-1]["event"] == "Quill Bay"


# the SQL against what stands of a sheet (codec.sheet.state)

ABOUT = st.integers(0, 11)  # so many entries before; 0 for nothing
RANDOM = st.builds(
    lambda about, **facts: (about, Entry(**facts)),
    ABOUT,
    kind=st.sampled_from([*KINDS, "correction", "correction", "withdrawal", "withdrawal"]),
    car=st.sampled_from(["7", "61", ""]),
    string=st.sampled_from(["", "516", "577"]),
    message=st.sampled_from(["Ana", "lap", ""]),
    refusal=st.sampled_from(["", "", "doubtful"]),
)


def sql_tells(place: Path | str, event: str = "") -> list[tuple[object, ...]]:
    with opened_season(place_of(place)) as season:
        season.events = [one for one in season.events if event in ("", one.event)]
        rows = reports(season, Wanted()).ask(
            "SELECT seq, kind, car, driver, string, message, refusal, withdrawn, questions, counts"  # noqa: S608
            f" FROM ({named('stands')}) AS report ORDER BY seq"
        )
    return [tuple(row) for row in rows]


def state_tells(path: Path | str) -> list[tuple[object, ...]]:
    with Journal(path) as journal:
        rows = {seq: row["uid"] for row in journal.stored() if (seq := row["seq"])}
        standing = Standing(journal.entries())
    number = {uid: seq for seq, uid in rows.items()}
    return sorted(
        (
            number[row.first.uid], row.first.kind, row.entry.car,
            standing.cars.get(row.entry.car, "") or (row.entry.car and f"car {row.entry.car}"),
            row.entry.string, row.entry.message, row.entry.refusal, row.withdrawn,
            len(row.questions), row.counts,
        )
        for row in standing.rows if row.first.kind in ("report", "call")
    )  # fmt: skip


def write_random(path: Path, drawn: list[tuple[int, Entry]]) -> Path:
    with new(path) as journal:
        journal.append_all(
            entry.replace(about=seq - about if 0 < about < seq and entry.kind != "car" else None)
            for seq, (about, entry) in enumerate(drawn, 1)
        )
    return path


@pytest.mark.slow
@given(drawn=st.lists(RANDOM, min_size=1, max_size=40))
def test_sql_says_of_a_report_what_stands_of_it(
    drawn: list[tuple[int, Entry]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = write_random(tmp_path_factory.mktemp("random"), drawn)
    assert sql_tells(folder) == state_tells(folder / "event.sheet")


@pytest.mark.slow
@settings(max_examples=10)
@given(drawn=st.lists(RANDOM, min_size=20, max_size=40))
def test_a_server_says_the_same_of_it(
    drawn: list[tuple[int, Entry]], tmp_path_factory: pytest.TempPathFactory, served: str
) -> None:
    folder = write_random(tmp_path_factory.mktemp("random"), drawn)
    (folder / "event.sheet").rename(folder / f"{(event := name())}.sheet")
    on_server(folder, served)
    assert sql_tells(served, event) == state_tells(f"{served}#{event}")


def test_of_two_desks_the_correction_counts_that_all_desks_take_for_the_last(
    tmp_path: Path,
) -> None:
    with new(tmp_path) as journal:
        journal.join("ben", own=True)
        first = journal.append(unread(MISHEARD))
        journal.append(correction_of(first, string="516", message="lap"))
        away = correction_of(first, string="577", message="lap").replace(
            uid="away", logged=first.logged, desk="ana", made=2
        )
        journal.bring([(ENTRIES.row(away), first.uid)])
    [standing] = sql_tells(tmp_path)
    assert [standing] == state_tells(tmp_path / "event.sheet")
    assert standing[4] == "516"


def test_what_was_stated_is_told_with_what_came_of_it(where: str) -> None:
    assert [without(one, "right") for one in told("calibration", where)] == [
        {"from": 0.5, "to": 0.8, "accepted": True, "stated": 0.6,
         "stand": 0, "other": 0, "back": 3, "open": 0},
        {"from": 0.8, "to": 0.98, "accepted": True, "stated": 0.97,
         "stand": 3, "other": 0, "back": 0, "open": 0},
        {"from": 1.0, "to": 1.0, "accepted": True, "stated": 1.0,
         "stand": 15, "other": 0, "back": 0, "open": 0},
    ]  # fmt: skip


def test_the_share_that_was_right_has_the_interval_of_wilson(where: str) -> None:
    # z = 1.959964; of 15 of 15 right the lower end is n / (n + z²): E. B. Wilson, Journal of the
    # American Statistical Association 22 (1927), with no failure
    right = told("calibration", where)[-1]["right"]
    assert right == [1.0, pytest.approx(15 / (15 + 1.959964**2), abs=1e-6), 1.0]


def test_a_reading_put_right_since_was_wrong_at_its_stated_certainty(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        first = journal.append(report(SAID, certainty=0.93, note="heard through noise"))
        other = first.replace(string="5173JRBT", values={**first.values, "lap": Decimal(7)})
        journal.append(put_right(first, other, certainty=1.0))
    low, sure = told("calibration", tmp_path)
    assert (low["from"], low["other"], low["stand"]) == (0.8, 1, 0)
    assert (sure["from"], sure["stand"]) == (1.0, 1)


def test_seconds_are_of_stretches_of_recordings_and_of_reports_said_again(where: str) -> None:
    *_, every = told("times", where)
    assert every == {
        "name": None, "spoken": None,
        "settled": {"count": 3, "median": 6.0, "nine_in_ten": 6.0},
    }  # fmt: skip


def test_seconds_spoken_are_told_for_each_driver_and_word(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        journal.append(Entry(kind="car", car="7", message="Ilse Marrow"))
        for lap, end in enumerate((14.0, 15.0, 18.0), 1):
            sound = f"race, radio.wav#t=10.00,{end:.2f}"
            journal.append(report(SAID, lap=lap, sound=sound))
    one, every = told("times", tmp_path)
    spoken = {"count": 3, "median": 5.0, "nine_in_ten": 7.4, "words": 24, "per_word": 0.708}
    assert (one["name"], one["spoken"], every["spoken"]) == ("Ilse Marrow", spoken, spoken)


@pytest.mark.slow
def test_questions_are_counted_by_driver_engineer_book_and_event(where: str) -> None:
    ana, ben, every, wording = told("questions", where, "--by", "engineer")
    assert without(ana, "share") == {
        "name": "ana", "reports": 15, "refused": 3, "asked": 3, "questions": 3, "settled": 3,
    }  # fmt: skip
    assert (ben["name"], ben["reports"], every["reports"]) == ("ben", 3, 18)
    assert wording == {"question": "SAY AGAIN", "times": 3}
    for by in ("driver", "book", "event"):
        *groups, last, _ = told("questions", where, "--by", by)
        assert last == every
        assert sum(one["reports"] for one in groups) == 18


@pytest.mark.parametrize("table", ["calibration", "times", "questions"])
def test_every_table_is_drawn_with_what_it_rests_on(table: str, season: Path) -> None:
    shown = called(["season", table, season]).stdout.decode()
    assert {"calibration": "--recorded FOLDER", "times": "ten minutes", "questions": "3 × SAY"}[
        table
    ] in " ".join(shown.split())


TABLES = ("list", "words", "calibration", "times", "questions")


@pytest.fixture(scope="module")
def mixed(season: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The season, and an event of everything that may come, in no order."""
    folder = tmp_path_factory.mktemp("mixed") / "season"
    shutil.copytree(season, folder)
    rng = random.Random(5)
    with new(folder, writer="cleo.1") as journal:
        for seq in range(1, 200):
            kind = rng.choice([*KINDS, "report", "report", "correction", "question"])
            heard = rng.choice((SAID, MISHEARD, SAID.replace("six", "sticks"), ""))
            sound = f"radio.wav#t={seq}.25,{seq + rng.randrange(1, 9)}.50"
            journal.append(
                Entry(
                    kind=kind,
                    car=rng.choice(("7", "61", "")),
                    message="Ana" if kind == "car" else "lap",
                    heard=heard,
                    string=rng.choice(("5163JRBT", "5963JRBT", "516", "")),
                    note=rng.choice(("", "", "heard through noise", "taken for: x", "by hand")),
                    refusal=rng.choice(("", "", "doubtful", "check")),
                    certainty=rng.choice((None, 1.0, 0.99, 0.7)),
                    sound=rng.choice(("", sound, "radio.wav#t=1,2", "#t=.,.")),
                    at=rng.choice((None, seq * 1000)),
                    about=rng.randrange(1, seq) if seq > 1 and kind != "car" else None,
                )
            )
    (folder / "event.sheet").rename(folder / "Anything [1] = all.sheet")
    return folder


@pytest.mark.slow
def test_folder_server_and_exported_files_tell_the_same(
    mixed: Path, tmp_path: Path, server: Server
) -> None:
    from codec.sheet.journal import sheet_format
    from codec.store.place import ServerPlace
    from codec.store.server.setting_up import set_up

    address = server.database(name())
    set_up(ServerPlace(address), [sheet_format()])
    on_server(mixed, address)
    found = {table: told(table, mixed) for table in TABLES}
    assert found["words"][-1]["unlike"]
    assert found["times"][-1]["spoken"]["count"] > 2
    for place in (
        address,
        told_export(mixed, tmp_path / "a"),
        told_export(address, tmp_path / "b"),
    ):
        assert {table: told(table, place) for table in TABLES} == found


def told_export(where: Path | str, out: Path) -> Path:
    told("export", where, out)
    return out


@pytest.mark.slow
def test_an_export_is_read_by_another_library_too(mixed: Path, tmp_path: Path) -> None:
    # Apache Arrow's own reader of partitioned data sets
    dataset = pytest.importorskip("pyarrow.dataset")
    told_export(mixed, tmp_path / "out")
    rows = dataset.dataset(tmp_path / "out", partitioning="hive").to_table().to_pylist()
    assert {row["event"] for row in rows} == {*DAYS, "Anything [1] = all"}
    [listed] = [one for one in told("list", mixed) if one["event"] == "Quill"]
    quill = sorted((row for row in rows if row["event"] == "Quill"), key=lambda row: row["seq"])
    assert len(quill) == listed["entries"]
    with Journal(mixed / "Quill.sheet") as journal:
        for row, kept in zip(quill, journal.stored(), strict=True):
            assert {key: row[key] for key in ENTRIES.columns} == {
                key: kept[key] for key in ENTRIES.columns
            }
            assert (row["date"], row["book"]) == (listed["date"], "race")
    again = [row for row in quill if row["corrected"]]
    assert [(row["driver"], row["engineer"], row["questions"], row["stands"]) for row in again] == [
        ("Ilse Marrow", "ana", 1, "5163JRBT")
    ]
    asked = [row for row in quill if row["kind"] == "question"]
    assert [row["report"] for row in asked] == [again[0]["seq"]]
    assert [row["kind"] for row in quill if row["withdrawn"]] == ["report"]


@pytest.mark.slow
def test_an_export_writes_over_nothing_unless_asked_to(season: Path, tmp_path: Path) -> None:
    first = told("export", season, tmp_path, "--to", "2026-05-10")
    assert [Path(one["file"]).parent.name for one in first] == ["event=Tessel"]
    before = (tmp_path / "event=Tessel" / "part.parquet").stat().st_mtime_ns
    done = called(["season", "export", season, tmp_path])
    assert (done.returncode, b"is there already" in done.stderr) == (2, True)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["event=Tessel"]
    assert len(told("export", season, tmp_path, "--replace")) == 3
    assert (tmp_path / "event=Tessel" / "part.parquet").stat().st_mtime_ns > before
    assert [path.name for path in (tmp_path / "event=Tessel").iterdir()] == ["part.parquet"]


def test_a_driver_has_the_profile_that_the_season_shows(where: str, tmp_path: Path) -> None:
    drill = tmp_path / "drill.json"
    save_profile(Profile(people=("Ilse Marrow",), read={"one": {"one": 3}}), drill)
    path = tmp_path / "ilse.json"
    [facts] = told("profile", where, "--driver", "ilse marrow", "-o", path, "--with", drill)
    assert (facts["people"], facts["words"]) == (["Ilse Marrow"], 8 * 18)
    profile = load_profile(path)
    # 15 reports heard as they stand, 3 with one heard as niner
    assert profile.heard["one"] == {"one": 15, "niner": 3}
    assert profile.heard["tango"] == {"tango": 18}
    assert profile.reports == {"=" * 8: 15, "=x" + "=" * 6: 3}
    assert profile.read == {"one": {"one": 3}}
    channel, usual = channel_of(race_book(), profile), channel_of(race_book(), Profile())
    one, niner = (race_book().alphabet.index[symbol] for symbol in "19")
    assert channel.table[one, niner] > 5 * usual.table[one, niner]
    for wrong in (["--driver", "ilse marrow", "-o", str(path)], ["-o", str(tmp_path / "x")]):
        assert called(["season", "profile", where, *wrong]).returncode == 2


def test_word_times_of_a_season_are_those_of_the_recordings(tmp_path: Path) -> None:
    """A driver who takes 0.4 s a word and 0.8 s for TANGO is measured so."""
    rng = random.Random(3)
    with new(tmp_path) as journal:
        for number in range(150):
            string = "".join(rng.choice("0123456789JRBT") for _ in range(8))
            seconds = sum(0.8 if symbol == "T" else 0.4 for symbol in string)
            sound = f"radio.wav#t={number * 10}.00,{number * 10 + seconds:.2f}"
            journal.append(
                Entry(kind="report", car="7", message="lap", heard=SAID, string=string, sound=sound)
            )
    path = tmp_path / "profile.json"
    [facts] = told("profile", tmp_path, "--driver", "car 7", "-o", path)
    assert facts["timed"] > 140
    taken = load_profile(path).seconds
    assert taken["tango"].seconds == pytest.approx(0.8, abs=0.05)
    assert taken["five"].seconds == pytest.approx(0.4, abs=0.05)


def test_books_that_give_a_symbol_different_words_have_no_profile_in_common(
    season: Path, tmp_path: Path
) -> None:
    for sheet in season.glob("Q*.sheet"):
        shutil.copy(sheet, tmp_path)
    text = RACE.read_text("utf-8")
    assert "[alphabet.words]" not in text
    book = parse_book(
        text.replace("[alphabet]\n", '[alphabet]\nwords = { J = "judge" }\n', 1), "club"
    )
    with Journal(tmp_path / "club.sheet", book) as journal:
        journal.append(Entry(kind="car", car="7", message="Ilse Marrow"))
    arguments: list[Argument] = [
        "season",
        "profile",
        tmp_path,
        "--driver",
        "Ilse Marrow",
        "-o",
        tmp_path / "p",
    ]
    done = called(arguments)
    assert (done.returncode, b"J is " in done.stderr) == (2, True)
    assert called([*arguments, "--book", "race"]).returncode == 0


@pytest.mark.slow
def test_readings_are_held_against_what_cars_recorded(where: str, tmp_path: Path) -> None:
    (tmp_path / "Tessel.7.csv").write_text(
        f"lap,dash,said\n1,5163JRBT,{SAID}\n2,5163JRBT,{MISHEARD}\n", "utf-8"
    )
    (tmp_path / "Tessel.9.csv").write_text("lap,dash\n1,5163JRBT\n", "utf-8")  # of no car of it
    usual = told("calibration", where)
    found = told("calibration", where, "--recorded", tmp_path)
    assert found[: len(usual)] == usual
    assert found[len(usual) :] == [
        {"from": 1.0, "to": 1.0, "accepted": True, "stated": 1.0,
         "recorded_right": 1, "recorded_wrong": 1}
    ]  # fmt: skip
    shown = called(["season", "calibration", where, "--recorded", tmp_path]).stdout.decode()
    assert "1 file: Tessel.7.csv" in shown
    done = called(["season", "calibration", where, "--recorded", tmp_path, "--driver", "Teo Vash"])
    assert (done.returncode, b"no file of a car" in done.stderr) == (2, True)


def test_who_may_only_read_may_ask_a_server(season_on_server: str) -> None:
    reader = name()
    with psycopg.connect(season_on_server, autocommit=True) as owner:
        owner.execute(f"CREATE ROLE {reader} LOGIN IN ROLE niner_reader".encode())
    address = season_on_server.replace("user=postgres", f"user={reader}")
    assert address != season_on_server
    assert told("words", address) == told("words", season_on_server)


def test_a_server_that_is_asked_over_several_lines_or_refuses_them_tells_the_same(
    season_on_server: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    alone = name()
    with psycopg.connect(season_on_server, autocommit=True) as owner:
        owner.execute(f"CREATE ROLE {alone} LOGIN CONNECTION LIMIT 1 IN ROLE niner_reader".encode())
    over_one = [told(table, season_on_server) for table in TABLES]
    monkeypatch.setattr("codec.season.queries._WORTH", 1)
    for address in (season_on_server, season_on_server.replace("user=postgres", f"user={alone}")):
        assert [told(table, address) for table in TABLES] == over_one


def test_an_export_that_can_not_be_written_is_told_and_leaves_nothing_behind(
    season: Path, tmp_path: Path
) -> None:
    duck = duckdb_connection()
    with pytest.raises(SeasonError, match="can't be written"):
        copy_out(duck, "SELECT * FROM range(100000)", tmp_path / "none" / "part.parquet")
    (tmp_path / "event=Tessel").write_text("in the way", "utf-8")
    done = called(["season", "export", season, tmp_path])
    assert (done.returncode, b"Traceback" in done.stderr) == (2, False)
    assert [path.name for path in tmp_path.iterdir()] == ["event=Tessel"]


def test_races_of_a_season_tell_how_a_driver_keeps_targets(tmp_path: Path) -> None:
    """1.30 is called behind lap 8 of a race at 1.60 kWh a lap, and nothing changes."""
    laps = [race_report(lap, energy=Decimal(0)) for lap in range(1, 13)]
    call = fact("call", "pace", 8, target=Decimal("1.30"))
    (tmp_path / "Tessel.7.toml").write_text(EVENT_FILE, "utf-8")
    with Journal(tmp_path / "Tessel.sheet", race_book()) as journal:
        journal.append(Entry(kind="car", car="7", message="Ilse Marrow"))
        journal.append_all(one.replace(car="7", seq=0) for one in [*laps[:8], call, *laps[8:]])
    path = tmp_path / "ilse.json"
    arguments: list[Argument] = ["--driver", "Ilse Marrow", "--races", tmp_path]
    [facts] = told("profile", tmp_path, *arguments, "-o", path)
    assert (facts["races"], facts["targets"]) == (["Tessel.7.toml"], {"ignored": 1})
    profile = load_profile(path)
    assert profile.targets == {"ignored": 1}
    assert profile.scatter is not None
    shown = called(["season", "profile", tmp_path, *arguments, "-o", path, "--replace"])
    assert b"targets: 1 ignored" in shown.stdout
    nobody: list[Argument] = [
        "profile",
        tmp_path,
        "--engineer",
        "x",
        "--races",
        tmp_path,
        "-o",
        path,
    ]
    assert b"whose profile?" in called(["season", *nobody]).stderr
