"""Numbers that nobody means, in every place that takes one: refused with what may stand there, in
bounded time, and what was written before stays.
"""

from __future__ import annotations

import io
import json
import sys
from decimal import Decimal
from pathlib import Path

import pytest
from helpers import first_short
from hostile.large import book, digits, row
from hostile.watchdog import book_or_error, bounded
from hypothesis import given
from hypothesis import strategies as st

from codec import load_book
from codec.cli import main
from codec.race import advise, follow, load_event
from codec.radio.forms import FORMS, LeftOut, Utterance
from codec.sheet import Journal
from codec.sheet.entry import Entry
from codec.sheet.state import MOST_LAPS
from grammar.exact import whole

ROOT = Path(__file__).parents[2]
BOOK, EVENT = ROOT / "examples" / "race" / "race.toml", ROOT / "examples" / "race" / "event.toml"
REPORT = "one two zero one yankee alfa quebec"
LONG = "9" * 4400  # more than Python's int takes
HUGE = [LONG, "1" + "0" * 30, "99999999999999", "٣", "1_0", "1e3", "--1", "0x1", "½"]


@given(st.integers(-(10**12), 10**12), st.integers(0, 5))
def test_a_whole_number_is_read_back(number: int, zeros: int) -> None:
    sign, digits = ("-" if number < 0 else ""), str(abs(number))
    assert whole(f" {sign}{'0' * zeros}{digits} ", -(10**12), 10**12) == number
    with pytest.raises(ValueError, match="from 0 to 9"):
        whole(str(number if not 0 <= number <= 9 else -1), 0, 9)


@pytest.mark.parametrize("text", [*HUGE, "", "-", " ", "1 2", "+1", "1.0"])
def test_what_is_no_whole_number_of_the_domain_is_told_with_it(text: str) -> None:
    with bounded(1), pytest.raises(ValueError, match=r"no whole number from 0 to 99$") as refused:
        whole(text, 0, 99)
    assert len(str(refused.value)) < 100


def _logged(sheet: Path, *lines: str, monkeypatch: pytest.MonkeyPatch) -> int:
    given_lines = io.BytesIO("\n".join(lines).encode())
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(given_lines, "utf-8"))
    return main(["log", str(sheet), "--book", str(BOOK), "--car", "7=Ana"])


@pytest.mark.slow
def test_more_readings_than_a_float_counts_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "many.toml"
    path.write_text(book(400, digits, row(400)), "utf-8")
    with bounded():
        assert main(["book", "check", str(path)]) == 0
    assert "1.00e+400" in capsys.readouterr().out
    names = ", ".join(f"'f{n}'" for n in range(64))
    packed = f"[tables.p]\nkind = 'packed'\nfields = [{names}]\n"
    field = '[fields.f{0}]\nkind = "quantity"\nlow = 0\nhigh = 99999999\nstep = 1\n'
    refused = book_or_error(book(64, digits, "p", field, packed))
    assert "about 1.0e+512 combinations need" in str(refused)


@pytest.mark.parametrize("number", first_short(HUGE, 4))
@pytest.mark.parametrize("name", ["lap", "added"])
def test_a_number_nobody_means_does_not_end_the_log(
    name: str,
    number: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    sheet = tmp_path / "a.sheet"
    lines = (REPORT, f"/{name} {number} {REPORT if name == 'lap' else ''}", "/note after")
    with bounded():
        assert _logged(sheet, *lines, monkeypatch=monkeypatch) == 1
    assert "is no whole number from 0 to" in capsys.readouterr().out
    with Journal(sheet) as journal:
        assert [entry.kind for entry in journal.entries()] == ["car", "report", "note"]


def test_laps_are_added_up_to_what_an_event_allows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = tmp_path / "a.sheet"
    assert _logged(sheet, f"/added {MOST_LAPS + 1}", monkeypatch=monkeypatch) == 1
    assert _logged(sheet, f"/added {MOST_LAPS}", "/added 2", monkeypatch=monkeypatch) == 0
    with Journal(sheet) as journal:
        assert [entry.amount for entry in journal.entries() if entry.kind == "event"] == [1000, 2]


TRANSCRIPTS = {
    "srt": "1\n{0}:00:01,000 --> {0}:00:02,000\nseven\n",
    "vtt": "WEBVTT\n\n{0}:00:01.000 --> {0}:00:02.000\nseven\n",
    "text": "[{0}:00:01] Ana: seven\n",
    "jsonl": '{{"text": "seven", "lap": {0}, "start": 1}}\n',
    "jsonl, a time": '{{"text": "seven", "start": "{0}"}}\n',
    "jsonl, a bare time": '{{"text": "seven", "start": {0}}}\n',
}


@pytest.mark.parametrize("number", [LONG, "99999999999999", "1" + "0" * 400, "-1"])
@pytest.mark.parametrize("form", TRANSCRIPTS)
def test_a_time_or_lap_nobody_means_is_left_out_of_a_transcript(form: str, number: str) -> None:
    lines = TRANSCRIPTS[form].format(number).splitlines(keepends=True)
    with bounded():
        found = list(FORMS[form.partition(",")[0]].utterances(lines, lambda _: False))
    assert found
    for one in found:
        assert isinstance(one, LeftOut) or one.at is None or form == "jsonl, a bare time", one
        assert isinstance(one, LeftOut) or abs(one.at or 0) < 2**63
        if isinstance(one, Utterance):
            assert one.lap is None


@pytest.mark.parametrize("number", HUGE)
def test_laps_nobody_means_are_refused_by_an_import(
    number: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    talk, times = tmp_path / "talk.txt", tmp_path / "times.csv"
    talk.write_text(f"{REPORT}\n", "utf-8")
    times.write_text(f"car,lap,start\n7,{number},1\n", "utf-8")
    sheet = [str(tmp_path / "a.sheet"), str(talk), "--book", str(BOOK), "--car", "7=Ana"]
    for option in (["--after", f"7={number}"], ["--lap-times", str(times)]):
        with bounded():
            assert main(["sheet", "import", *sheet, *option]) == 2
        assert "no whole number from 0 to 10000" in capsys.readouterr().err
    assert not (tmp_path / "a.sheet").exists()


@pytest.mark.parametrize("column", ["lap", "at", "seq", "about", "amount", "certainty"])
@pytest.mark.parametrize("form", ["csv", "jsonl"])
@pytest.mark.parametrize("number", first_short([LONG, "1" + "0" * 400]))
def test_numbers_nobody_means_are_refused_in_an_exported_sheet(
    column: str,
    form: str,
    number: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    sheet, out = tmp_path / "a.sheet", tmp_path / f"a.{form}"
    _logged(sheet, REPORT, "/added 3", monkeypatch=monkeypatch)
    assert main(["sheet", "export", str(sheet), str(out)]) == 0
    lines = out.read_text("utf-8").splitlines()
    if form == "csv":
        cells = lines[-1].split(",")
        cells[lines[0].split(",").index(column)] = number
        lines[-1] = ",".join(cells)
    else:
        facts = {**json.loads(lines[-1]), column: "NUMBER"}
        lines[-1] = json.dumps(facts).replace('"NUMBER"', number)
    out.write_text("\n".join(lines) + "\n", "utf-8")
    with bounded():
        assert main(["sheet", "import", str(tmp_path / "b.sheet"), str(out)]) == 2
    assert capsys.readouterr().err.startswith("niner: ")


@pytest.mark.slow
def test_a_race_of_any_sheet_is_followed_at_once() -> None:
    """Sheets written before the bounds, or by another program: 2 seconds, whatever they count."""
    event = load_event(EVENT, load_book(BOOK))
    free = event.spec.model_copy(
        update={
            "calls": event.spec.calls.model_copy(update={"distance": None}),
            "readbacks": event.spec.readbacks.model_copy(update={"distance": None}),
        }
    )
    object.__setattr__(event, "spec", free)
    values = {"lap": Decimal(1), "energy": Decimal(0), "motor": Decimal(80)}

    def fact(seq: int, kind: str, lap: int, message: str, amount: object = None) -> Entry:
        told = values if kind == "report" else {}
        return Entry(
            seq=seq,
            kind=kind,  # type: ignore[arg-type]
            car="7",
            lap=lap,
            message=message,
            amount=amount,  # type: ignore[arg-type]
            values=told,
            string="x" if told else "",
        )

    for amount in (Decimal(999_999), Decimal(9) * 10**29, Decimal(LONG), Decimal("0.5"), -5000):
        with bounded():
            race = follow(
                event, [fact(1, "report", 1, "lap"), fact(2, "event", 1, "added", amount)]
            )
            advise(race)
        assert race.laps_added == 0
        assert [notice.kind for notice in race.notices] == ["laps-added"]
    with bounded():
        many = [fact(seq, "event", 1, "added", Decimal(1)) for seq in range(2, 3000)]
        race = follow(event, [fact(1, "report", 1, "lap"), *many])
        advise(race)
    assert race.laps_added == MOST_LAPS
    with bounded():
        race = follow(event, [fact(1, "report", 10**9, "lap")])
        advise(race)
    assert race.lap == 0
    assert [notice.kind for notice in race.notices] == ["no-lap"]
