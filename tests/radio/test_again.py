"""The same radio, brought once more in another form, adds nothing; a lap reported twice is told."""

from __future__ import annotations

from pathlib import Path

import pytest
from helpers import first_short
from sheet.support import REPORT, ROOT, new, race_book

from codec.radio.crews import crews_of
from codec.radio.importing import Summary, bounded, import_transcript
from codec.sheet import Journal
from codec.sheet.state import BY_HAND, Standing, correction_of, laps, rows, withdrawal_of

CREWS = crews_of(["7=Ilse Marrow,Quill", "61=Teo Vash,Denn"])
EVENT = ROOT / "examples" / "event"


def brought(journal: Journal, form: str) -> Summary:
    kind = "text" if form == "txt" else form
    with (EVENT / f"radio.{form}").open("rb") as stream:
        return import_transcript(journal, bounded(stream), kind, CREWS)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("first", "second"), first_short([("jsonl", "txt"), ("txt", "jsonl"), ("vtt", "srt")])
)
def test_another_form_of_the_same_radio_adds_nothing(
    tmp_path: Path, first: str, second: str
) -> None:
    with new(tmp_path) as journal:
        brought(journal, first)
        count = len(journal)
        summary = brought(journal, second)
        assert len(journal) == count
    assert summary.written == {}
    assert summary.there > 100


def test_the_cars_of_a_sheet_are_known_to_whatever_is_brought_later(tmp_path: Path) -> None:
    """Where no car is named again, nothing comes in twice, and what is new is of its car; people of
    the sheet may be silent then.
    """
    said = f"[00:01:00] Ilse Marrow: {REPORT}\n"
    later = "[00:02:40] Teo Vash: six one six three juliett romeo bravo romeo\n"
    with new(tmp_path) as journal:
        import_transcript(journal, [said], "text", CREWS[:1])
        assert import_transcript(journal, [said], "text", []).written == {}
        assert import_transcript(journal, [later], "text", CREWS[1:]).written["report"] == 1
        again = import_transcript(journal, [later], "text", [])
        assert (again.written, again.of_no_car) == ({}, {})
        named = [(entry.car, entry.message) for entry in journal.entries() if entry.kind == "car"]
    assert named == [("7", "Ilse Marrow"), ("61", "Teo Vash")]


def test_what_another_form_adds_to_what_was_there_stands_with_it(tmp_path: Path) -> None:
    """A question known from one form is about the report known from the other."""
    with new(tmp_path) as journal:
        import_transcript(journal, [f"[00:01:00] Ilse Marrow: {REPORT}\n"], "text", CREWS)
        lines = [
            f'{{"start": 60.4, "speaker": "Ilse Marrow", "text": "{REPORT}"}}\n',
            '{"start": 66, "speaker": "Quill", "text": "say again"}\n',
        ]
        import_transcript(journal, lines, "jsonl", CREWS)
        (row,) = rows(journal.entries())
    assert [question.heard for question in row.questions] == ["say again"]


def test_the_same_words_at_another_moment_or_for_another_car_are_new(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        import_transcript(journal, [f"[00:01:00] Ilse Marrow: {REPORT}\n"], "text", CREWS)
        for line in (f"[00:09:00] Ilse Marrow: {REPORT}\n", f"[00:01:00] Teo Vash: {REPORT}\n"):
            assert import_transcript(journal, [line], "text", CREWS).written == {"report": 1}


def test_a_lap_reported_once_more_is_told(tmp_path: Path) -> None:
    """Without times nobody can know that it is the same moment."""
    with new(tmp_path) as journal:
        import_transcript(journal, [f"Ilse Marrow: {REPORT}\n"], "text", CREWS)
        summary = import_transcript(journal, [f"[00:01:00] Ilse Marrow: {REPORT}\n"], "text", CREWS)
        assert summary.once_more == 1
        assert summary.as_dict()["laps_reported_before"] == 1
        assert list(laps(Standing(journal.entries()), "7", race_book())) == [5]


@pytest.mark.slow
def test_a_longer_transcript_adds_only_what_is_new_after_corrections(tmp_path: Path) -> None:
    """What was put right or taken back by hand stays so, and is not brought again."""
    lines = (EVENT / "radio.txt").read_text("utf-8").splitlines(keepends=True)
    half = len(lines) // 2
    with new(tmp_path) as journal:
        import_transcript(journal, lines[:half], "text", CREWS)
        reports = [row for row in rows(journal.entries()) if row.first.kind == "report"]
        mended, taken = reports[1].entry, reports[2].entry
        journal.append(correction_of(mended, values=mended.values, certainty=1.0, note=BY_HAND))
        journal.append(withdrawal_of(taken))
        before = list(journal.entries())
        assert import_transcript(journal, lines[:half], "text", CREWS).written == {}
        summary = import_transcript(journal, lines, "text", CREWS)
        after = list(journal.entries())
        assert after[: len(before)] == before
        assert sum(summary.written.values()) == len(after) - len(before) > 0
        standing = {row.first.seq: row for row in rows(journal.entries())}
        assert standing[reports[1].first.seq].entry.note == BY_HAND
        assert standing[reports[2].first.seq].withdrawn
        once = [
            (e.kind, e.car, e.at, e.heard) for e in after if e.kind in ("report", "call") and e.at
        ]
        assert len(set(once)) == len(once)
        assert import_transcript(journal, lines, "text", CREWS).written == {}


@pytest.mark.slow
def test_every_entry_tells_how_sure_its_lap_is(tmp_path: Path) -> None:
    """Between two reports the lap is as sure as the line is far; what was told is sure."""
    with new(tmp_path) as journal:
        lines = (EVENT / "radio.txt").read_text("utf-8").splitlines(keepends=True)
        import_transcript(journal, lines, "text", CREWS)
        sure = [e.lap_certainty for e in journal.entries() if e.lap is not None]
    known = [one for one in sure if one is not None]
    assert len(known) > 0.95 * len(sure)
    assert all(0 <= one <= 1 for one in known)
    assert sum(one > 0.95 for one in known) > 0.8 * len(known)
