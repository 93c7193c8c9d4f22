"""Parts said again, families of fields, and signs that are figures: vectors worked out by hand from
the two reports that a team writes first, and what a book of them may not hold.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from helpers import book_of, toml_text

from codec import BookError, EncodeError, ReportError, decode, encode, load_book
from codec.cli import main
from codec.hear import hear
from codec.sheet import Entry, Journal
from codec.sheet.exports import export, read_export
from grammar.design import analyse
from grammar.errors import CodeError
from grammar.export.card import html
from grammar.figures import readings, unsaid
from grammar.layout import parse_layout

CORNERS = ["front left", "front right", "rear left", "rear right"]
TYRE = {"kind": "quantity", "unit": "°C", "low": 40, "high": 139, "step": 1}
WARNING = {"kind": "choice", "options": ["hot", "low", "leak", "smoke"], "usual": "hot"}
PLACE = {"kind": "choice", "options": ["left", "right"], "usual": "left"}


def report(layout: str, **changed: Any) -> dict[str, Any]:
    """Return a book with one message: a lap, four corners, warnings of two symbols with a place."""
    return {
        "fields": {
            "lap": {"kind": "wrapped", "modulus": 10},
            "tyre": TYRE
            | {"members": CORNERS, "limits": [{"above": 120, "say": "tyre hot"}, {"below": 45}]},
            "warning": WARNING,
            "place": PLACE,
        }
        | changed.pop("fields", {}),
        "tables": {
            "lap": {"kind": "digits"},
            "tyre": {"kind": "digits"},
            "warning": {"kind": "listed", "words": ["HT", "LW", "LK", "SM"]},
            "place": {"kind": "listed", "partial": True, "words": {"right": "R"}},
        }
        | changed.pop("tables", {}),
        "messages": {"lap": {"layout": layout}},
    } | changed


FOUR = book_of(report("lap tyre"))
SEVERAL = book_of(report("lap (warning place?){0..4}"))


# four corners in one line


def test_four_tyres_are_one_table_and_four_fields_by_name() -> None:
    reading = decode(FOUR, "750515299", typed=True)
    assert reading.values == {
        "lap": 7,
        "tyre_front_left": 90,
        "tyre_front_right": 91,
        "tyre_rear_left": 92,
        "tyre_rear_right": 139,
    }
    assert reading.warnings == ("tyre hot, rear right",)
    assert str(reading).startswith("lap: lap …7, tyre front left 90 °C, tyre front right 91 °C")
    assert [part.table for part in reading.parts] == ["lap", *["tyre"] * 4]
    assert encode(FOUR, reading).string == "750515299"


def test_a_limit_without_words_names_the_member() -> None:
    reading = decode(FOUR, "700505050", typed=True)
    assert reading.warnings == ("tyre front left below 45 °C",)


def test_values_of_a_family_are_given_by_name_or_by_member() -> None:
    by_member = dict(zip(CORNERS, (90, 91, 92, 93), strict=True))
    by_name = {f"tyre_{name.replace(' ', '_')}": value for name, value in by_member.items()}
    for values in ({"tyre": by_member}, by_name):
        assert encode(FOUR, {"lap": 7} | values).string == "750515253"
    with pytest.raises(EncodeError) as refused:
        encode(FOUR, {"lap": 7, "tyre": by_member | {"spare": 90}})
    assert (refused.value.kind, list(refused.value.expected)) == ("unknown-member", CORNERS)
    with pytest.raises(EncodeError, match="can't be said without tyre_rear_right"):
        encode(FOUR, {"lap": 7, "tyre": dict(list(by_member.items())[:3])})
    with pytest.raises(EncodeError, match="tyre_front_left' is given twice"):
        encode(FOUR, {"lap": 7, "tyre": by_member, "tyre_front_left": 90})


def test_a_family_is_packed_in_one_number() -> None:
    packed = {"kind": "packed", "fields": ["tyre"], "symbols": "0123456789"}
    book = book_of(report("lap tyre", tables={"tyre": packed}))
    assert book.tables["tyre"].lengths == (8, 8)
    assert decode(book, "750515253", typed=True).levels == decode(FOUR, "750515253").levels


def test_one_member_may_have_a_table_of_its_own() -> None:
    own = {"tyre_rear_left": {"kind": "digits", "first": 100}}
    book = book_of(report("lap tyre_rear_left", tables=own))
    assert decode(book, "7150").values == {"lap": 7, "tyre_rear_left": 90}


def test_a_check_covers_all_members() -> None:
    check = {"kind": "check", "method": "damm", "over": ["tyre"]}
    book = book_of(report("lap tyre check", tables={"check": check}))
    string = encode(book, {"lap": 7, "tyre": dict.fromkeys(CORNERS, 90)}).string
    for place in range(1, 9):
        wrong = string[:place] + str((int(string[place]) + 1) % 10) + string[place + 1 :]
        with pytest.raises(ReportError):
            decode(book, wrong, typed=True)


# no warning to four, two symbols each


def test_warnings_are_a_list_in_the_order_they_were_said() -> None:
    reading = decode(SEVERAL, "7HTLKRSM", typed=True)
    assert reading["warning"] == ["hot", "leak", "smoke"]
    assert reading.lists == {
        "warning": ["hot", "leak", "smoke"],
        "place": ["left", "right", "left"],
    }
    assert reading.implied == ("place_1", "place_3")
    assert reading["warning_2"] == "leak"
    assert reading.as_dict()["values"] == {"lap": 7} | reading.lists
    assert str(reading).endswith("warning 3 smoke, place 3 left")
    assert encode(SEVERAL, reading).string == "7HTLKRSM"


def test_none_is_an_empty_list_and_not_the_usual_value() -> None:
    reading = decode(SEVERAL, "seven")
    assert reading.values == {"lap": 7}
    assert reading.lists == {"warning": [], "place": []}
    assert reading.implied == ()
    assert encode(SEVERAL, {"lap": 7, "warning": []}).string == "7"


def test_lists_are_encoded_with_what_is_not_said_left_out() -> None:
    values = {"lap": 7, "warning": ["hot", "low"], "place": [None, "right"]}
    assert encode(SEVERAL, values).string == "7HTLWR"
    assert encode(SEVERAL, {"lap": 7, "warning": "low"}).string == "7LW"
    assert encode(SEVERAL, {"lap": 7, "warning_1": "low"}).string == "7LW"


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ({"warning": ["hot"] * 5}, "warning: 5 values; at most 4 are said"),
        ({"warning": [None, "hot"]}, "can't be said without warning_1"),
        ({"place": ["right"]}, "can't be said without warning_1"),
    ],
)
def test_a_list_that_can_not_be_said_is_refused(values: dict[str, Any], why: str) -> None:
    with pytest.raises(EncodeError, match=why):
        encode(SEVERAL, {"lap": 7} | values)


def test_a_fifth_warning_is_refused_where_it_stands() -> None:
    assert decode(SEVERAL, "7" + "HT" * 4).lists["warning"] == ["hot"] * 4
    with pytest.raises(ReportError) as refused:
        decode(SEVERAL, "7" + "HT" * 5)
    assert refused.value.span == (9, 10)


def test_readings_are_counted_over_all_lengths() -> None:
    # one warning is one of four at one of two places
    assert readings(SEVERAL.messages["lap"]) == 10 * sum((4 * 2) ** times for times in range(5))
    assert unsaid(SEVERAL.messages["lap"]) is None


@pytest.mark.parametrize(
    ("times", "counts"),
    [("{2}", [2]), ("{1..3}", [1, 2, 3]), ("{0..2}", [0, 1, 2]), ("{ 0 .. 1 }", [0, 1])],
)
def test_a_part_is_said_as_often_as_the_layout_allows(times: str, counts: list[int]) -> None:
    book = book_of(report(f"lap warning{times}"))
    for count in range(5):
        if count in counts:
            assert decode(book, "7" + "SM" * count).lists == {"warning": ["smoke"] * count}
        else:
            with pytest.raises(ReportError):
                decode(book, "7" + "SM" * count)


def test_a_family_may_be_said_again() -> None:
    book = book_of(report("lap tyre{0..2}"))
    reading = decode(book, "7" + "50515253" + "60616263", typed=True)
    assert reading.lists["tyre_rear_left"] == [92, 102]
    assert encode(book, reading.as_dict()["values"]).string == reading.said


def test_a_field_may_be_said_once_in_one_message_and_again_in_another() -> None:
    flags = {"kind": "flags", "flags": ["oil", "rain"]}
    spec = report('"A" lap track', fields={"track": flags}, tables={"track": {"kind": "digits"}})
    spec["messages"]["several"] = {"layout": '"B" lap track{0..3}'}
    book = book_of(spec)
    for string in ("A73", "B7", "B73", "B7312"):
        reading = decode(book, string, typed=True)
        assert encode(book, reading).string == string
        values = reading.as_dict()["values"]
        assert encode(book, values, reading.message).string == string


# signs that are figures


def test_a_figure_tells_the_sign_of_every_number() -> None:
    field = {"kind": "quantity", "low": -30, "high": 30, "step": 1}
    table = {"kind": "digits", "count": "value", "minus": "1", "plus": "0"}
    book = book_of(
        {"fields": {"air": field}, "tables": {"air": table}, "messages": {"m": {"layout": "air"}}}
    )
    for value, string in ((-30, "130"), (-1, "101"), (0, "000"), (1, "001"), (30, "030")):
        assert decode(book, string)["air"] == value
        assert encode(book, {"air": value}).string == string
    for string in ("100", "131", "031", "200", "00"):
        with pytest.raises(ReportError):
            decode(book, string, typed=True)


@pytest.mark.parametrize(
    ("signs", "why"),
    [
        ({"minus": "1"}, "a minus that is a digit would be taken for one of the number"),
        ({"minus": "M", "plus": "M"}, "the plus and the minus are alike"),
        ({"minus": "M", "plus": "?"}, "'?' not in use in this alphabet"),
        ({"plus": "0"}, "air goes below zero"),
    ],
)
def test_signs_that_can_not_be_told_are_problems(signs: dict[str, str], why: str) -> None:
    spec = {
        "fields": {"air": {"kind": "quantity", "low": -3, "high": 3, "step": 1}},
        "tables": {"air": {"kind": "digits", "count": "value"} | signs},
        "messages": {"m": {"layout": "air"}},
    }
    assert why in only_problem(spec)


# what a book may not hold


def only_problem(spec: dict[str, Any]) -> str:
    with pytest.raises(BookError) as refused:
        book_of(spec)
    (problem,) = refused.value.problems
    return problem.message


@pytest.mark.parametrize(
    ("layout", "why", "span"),
    [
        ("lap ( warning{0..2} ){0..2}", "a part said again holds another one", (4, 27)),
        ("lap ( place? ){0..2}", "a part said again could be empty", (4, 20)),
        ("lap warning{0..2}?", "this part could be left out in two ways", (4, 18)),
        ("lap warning{0..51}", "this does not say how often: at most 50 times", (11, 18)),
        ("lap warning{0}", "this does not say how often: at most 50 times", (11, 14)),
        ("lap warning{3..2}", "this does not say how often: at most 50 times", (11, 17)),
        ("lap warning{many}", "this does not say how often: at most 50 times", (11, 17)),
        ("lap warning{0..}", "this does not say how often: at most 50 times", (11, 16)),
        ("{0..2} lap", "'{0..2}' can't stand here", (0, 6)),
        ("lap warning{0..2", "'{' can't stand here", (11, 12)),
        ("warning{0..2}", "every part may be left out, so the message could be empty", (0, 13)),
        (
            "a " * 100 + f"( {'b ' * 50}){{0..50}}",
            "parts said again are more than 2000 places in all",
            (200, 310),
        ),
    ],
)
def test_notation_that_can_not_be_read_is_told_with_its_place(
    layout: str, why: str, span: tuple[int, int]
) -> None:
    with pytest.raises(CodeError) as refused:
        parse_layout(layout)
    assert (refused.value.message, refused.value.span) == (why, span)


@pytest.mark.parametrize(
    ("layout", "why"),
    [
        (
            "lap warning warning{0..2}",
            "'warning' is said again and again here, and by itself elsewhere",
        ),
        ("warning lap{0..2} lap{0..2}", "the field 'lap_1' is said twice"),
        ("lap (warning warning){0..2}", "the field 'warning_1' is said twice"),
    ],
)
def test_a_field_that_is_one_value_and_a_list_is_a_problem(layout: str, why: str) -> None:
    with pytest.raises(BookError) as refused:
        book_of(report(layout))
    assert why in str(refused.value)


def test_names_made_of_other_names_may_not_be_taken() -> None:
    taken = {"warning_2": WARNING, "tyre_rear_left": TYRE}
    assert "'tyre_rear_left', which is a field of the book" in only_problem(
        report("lap", fields={"tyre_rear_left": TYRE})
    )
    spec = report("lap warning{0..2}", fields={"warning_2": taken["warning_2"]})
    assert "'warning' at each time is 'warning_2'" in only_problem(spec)
    spec = report("lap", fields={"tyre": TYRE | {"members": ["a b", "a-b"]}})
    assert "'tyre_a_b', which is that of another member of tyre" in only_problem(spec)
    spec = report("lap", fields={"tyre": TYRE | {"members": ["a", "°"]}})
    assert "the member '°' makes no name" in only_problem(spec)


def test_two_ways_to_say_a_list_are_shown_with_their_readings() -> None:
    words = {"warning": {"kind": "listed", "words": ["H", "HH", "K", "S"]}}
    message = only_problem(report("lap warning{1..2}", tables=words))
    assert "has two readings, in message lap" in message
    assert "0 H H as lap: lap …0, warning 1 hot, warning 2 hot" in message
    assert "0 HH as lap: lap …0, warning 1 low" in message


# everywhere else


def test_a_sheet_keeps_each_time_and_each_member_and_gives_them_back(tmp_path: Path) -> None:
    spec = report('"A" lap tyre')
    spec["messages"]["several"] = {"layout": '"B" lap (warning place?){0..4}'}
    book = book_of(spec)
    entries = [
        Entry(kind="report", message=r.message, string=r.said, values=r.values, heard=r.said)
        for r in (decode(book, s, typed=True) for s in ("A750515253", "B7HTLKR", "B7"))
    ]
    with Journal(tmp_path / "race.sheet", book) as journal:
        for entry in entries:
            journal.append(entry)
        kept = [entry.values for entry in journal.entries()]
        for form in ("csv", "jsonl", "xlsx"):
            export(journal, tmp_path / f"race.{form}")
    assert kept == [entry.values for entry in entries]
    header = (tmp_path / "race.csv").read_text("utf-8").splitlines()[0]
    assert "value_tyre_rear_left" in header
    assert "value_warning_4" in header
    assert "value_warning," not in header
    for form in ("csv", "jsonl", "xlsx"):
        read = read_export(tmp_path / f"race.{form}")
        assert read is not None
        assert [entry.values for entry in read[1]] == kept


def test_commands_take_and_give_lists(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "book.toml"
    path.write_text(toml_text(report("lap (warning place?){0..4}")), "utf-8")
    assert main(["encode", str(path), "lap=7", "warning=low", "warning=hot"]) == 0
    assert capsys.readouterr().out.startswith("7LWHT  seven")
    assert main(["decode", str(path), "7LWHT", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["values"]["warning"] == ["low", "hot"]
    assert main(["encode", str(path), "lap=7", "lap=8"]) == 2
    assert "'lap' is given twice" in capsys.readouterr().err


TYRES = load_book(Path(__file__).parents[1] / "examples" / "tyres" / "tyres.toml")


def test_cards_name_the_members_in_their_order() -> None:
    page = html(TYRES, "driver")
    order = "lap, tyre (front left, front right, rear left, rear right), up to 3 times: warning, "
    assert f"{order}corner (if there is one)" in page
    assert html(TYRES, "engineer").count("<th colspan=11>tyre (front left, ") == 1


def test_what_is_said_again_is_heard_through_noise() -> None:
    said = "seven five two five one four eight four seven papa charlie victor"
    best = hear(TYRES, said).candidates[0].reading
    assert best.lists == {"warning": ["slow puncture", "vibration"], "corner": ["rear left", None]}
    # a word less may be a warning less: the most likely reading has three words to itself
    other = hear(TYRES, said.replace("victor", "sierra"))
    assert other.accepted is None


def test_the_bits_of_what_is_said_again_are_those_of_what_is_expected() -> None:
    # by hand: each of up to two warnings of four is said half of the time, if the last one was
    even = {"kind": "choice", "options": WARNING["options"]}
    book = book_of(report("lap warning{0..2}", fields={"warning": even}))
    found = analyse(book, "lap", pairs=0, draws=20)
    times = 1 + 0.5  # one bit whether a first, half the time one whether a second
    assert found.bound.bits == pytest.approx(math.log2(10) + times + (0.5 + 0.25) * 2, abs=1e-3)
    said = {one.table: one.bits for one in found.spent}
    assert said["warning"] == pytest.approx(1.5, abs=1e-3)


def test_every_length_is_read_where_there_are_many_ways() -> None:
    spec = report('"A" lap (warning place?){0..8} "Z"')
    book = book_of(spec)
    for count in (0, 1, 5, 8):
        for place in ("", "R"):
            said = "A7" + ("SM" + place) * count + "Z"
            match = book.messages["lap"].quick(said)
            assert match is not None
            assert match.levels() == decode(book, said, typed=True).levels
            assert "".join(match.texts) == said
            assert book.messages["lap"].quick(said[:-1] + "Y") is None
            assert book.messages["lap"].quick(said + "Z") is None
