"""What is wrong in a book is told all at once: each problem at its own place, in plain words, with
what to do.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from helpers import first_short

from codec import BookError, parse_book
from codec.cli import main
from codec.screen.book import check
from grammar.errors import CodeError, Problem
from grammar.layout import parse_layout

pytestmark = pytest.mark.usefixtures("hardly_drawn")

BOOK = """
[alphabet]
retired = "IO"
[fields.lap]
kind = "wrapped"
modulus = 20
[fields.charge]
kind = "quantity"
unit = "%"
low = 0
high = 100
step = 0.5
usual = 50
spread = 20
limits = [{ below = 5, say = "charge low" }]
[fields.cell]
kind = "bands"
unit = "°C"
edges = [30, 40, 50, 55, 60]
limits = [{ above = 55, say = "cell hot" }]
[fields.rain]
kind = "choice"
options = ["dry", "damp", "wet"]
usual = "dry"
[fields.faults]
kind = "flags"
flags = ["brakes", "cooling", "screen"]
usual = []
warn = ["brakes"]
[tables.lap]
kind = "digits"
[tables.charge]
kind = "digits"
[tables.cell]
kind = "scale"
symbols = "ABCDEF"
[tables.faults]
kind = "packed"
fields = ["faults", "rain"]
[tables.check]
kind = "check"
method = "weighted sum"
weights = [1, 3, 5, 7, 9, 11, 13]
[messages.lap]
layout = "lap charge cell faults check"
[messages.cell]
direction = "pit"
layout = '"G" cell'
[phrases.puncture]
says = ["puncture", "tyre is gone"]
"""


def book(*changes: tuple[str, str], more: str = "") -> str:
    text = BOOK
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text + more


def problems(text: str) -> tuple[Problem, ...]:
    with pytest.raises(BookError) as refused:
        parse_book(text)
    return refused.value.problems


def only(text: str) -> Problem:
    (problem,) = problems(text)
    return problem


def marked(problem: Problem) -> str:
    """Return what stands over the marks of a problem's excerpt."""
    line, marks = problem.excerpt.splitlines()
    return line[marks.index("^") : len(marks)]


# limits


@pytest.mark.parametrize(
    ("old", "new", "values"),
    [
        ("below = 5", "below = -5", "0 … 100 %"),
        ("below = 5", "below = 0", "0 … 100 %"),
        ("below = 5", "above = 100", "0 … 100 %"),
        ("edges = [30, 40, 50, 55, 60]", "edges = [30, 40]\nhigh = 55", "up to 55 °C"),
        ("usual = 50", 'usual = 50\nopen = "high"', ""),
    ],
)
def test_a_limit_that_no_value_passes_is_a_problem_and_names_the_values(
    old: str, new: str, values: str
) -> None:
    if not values:
        assert parse_book(
            book((old, new), ("below = 5", "above = 130"))
        )  # what lies beyond the open end passes it
        return
    problem = only(book((old, new)))
    assert "never warns" in problem.message
    assert values in problem.hint
    assert re.fullmatch(r"(above|below) = -?\d+", marked(problem))


@pytest.mark.parametrize("limit", ["above = 99.9", "below = 0.5", "above = -1"])
def test_a_limit_that_the_last_value_passes_stands(limit: str) -> None:
    assert parse_book(book(("below = 5", limit)))


def test_a_limit_on_the_rest_of_a_number_stands_for_the_whole_number_may_pass_it() -> None:
    assert parse_book(book(("modulus = 20", "modulus = 20\nlimits = [{ above = 40 }]")))


@pytest.mark.slow
def test_a_limit_beyond_an_open_end_is_noted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert not [note for note in notes(tmp_path, BOOK, capsys) if "limit" in note]
    (note,) = [
        note
        for note in notes(tmp_path, book(("above = 55", "above = 550")), capsys)
        if "limit" in note
    ]
    assert "'cell'" in note
    assert "550 °C" in note
    assert "60 °C" in note


def test_levels_that_can_be_said_but_not_alone_are_noted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The heat may be left out as usual, but said only together with the rain."""
    text = """
[fields.heat]
kind = "choice"
options = ["low", "high"]
usual = "low"
[fields.rain]
kind = "choice"
options = ["dry", "wet"]
[tables.heat]
kind = "digits"
[tables.rain]
kind = "digits"
[messages.m]
layout = '"Z" ( heat rain )?'
"""
    assert notes(tmp_path, text, capsys) == [
        "message m can't say heat high alone; in all it lacks words for 1 combination of levels"
    ]


# everything at once


def test_problems_of_the_alphabet_hide_no_other() -> None:
    found = problems(
        book(
            ('retired = "IO"', 'retired = "IO!"\nwords = { A = "bravo", C = "x!" }'),
            ('symbols = "ABCDEF"', 'symbols = "ABCDEFG"'),
            ("step = 0.5", "step = 0.3"),
            ("cell faults check", "cell faults chek"),
            more=(
                '[tables.twice]\nkind = "listed"\nfield = "rain"\nwords = ["A", "A", "B"]\n'
                '[hearing]\nnoise = "loud"\nmessages = { pat = 2 }\n'
            ),
        )
    )
    assert {problem.path for problem in found} == {
        "alphabet.retired",
        "alphabet.words.A",
        "alphabet.words.C",
        "fields.charge.step",
        "tables.cell.symbols",
        "tables.twice.words",
        "messages.lap.layout",
        "hearing.noise",
        "hearing.messages.pat",
    }


UNCHECKED = """
[fields.oil]
label = "oil heat"
kind = "quantity"
unit = "°C"
low = 60
high = 149
step = 1
wander = 2
[fields.water]
kind = "quantity"
unit = "°C"
low = 20
high = 119
step = 1
[tables.oil]
kind = "digits"
[tables.water]
kind = "digits"
[messages.report]
layout = "oil water"
"""


def problems_of(text: str) -> list[Problem]:
    with pytest.raises(BookError) as refused:
        parse_book(text, "mine.toml")
    return list(refused.value.problems)


@pytest.mark.parametrize("key", ["low = 60", "high = 149", "step = 1", "wander = 2"])
def test_a_number_in_quotes_is_a_text(key: str) -> None:
    name, _, number = key.partition(" = ")
    [problem] = problems_of(UNCHECKED.replace(key, f'{name} = "{number}"', 1))
    assert problem.keys == ("fields", "oil", name)
    assert f"'{number}' is a text" in problem.message


@pytest.mark.parametrize(
    ("label", "other"),
    [("water", ""), ("Water", ""), ("oil heat", "oil  Heat"), ("cool side", "cool_side")],
)
def test_two_fields_that_are_called_alike_are_told_at_both_places(label: str, other: str) -> None:
    text = UNCHECKED.replace('label = "oil heat"', f'label = "{label}"')
    if other:
        text = text.replace("[fields.water]", f'[fields.water]\nlabel = "{other}"')
    found = problems_of(text)
    assert [problem.keys[:2] for problem in found] == [("fields", "oil"), ("fields", "water")]
    assert "the field water is called, too" in found[0].message


def test_tables_that_are_wrong_themselves_are_named_among_those_there_are() -> None:
    text = UNCHECKED.replace("step = 1\n[tables.oil]", "step = 7\n[tables.oil]")
    found = problems_of(text.replace('layout = "oil water"', 'layout = "oil watr"'))
    assert found[-1].hint == "the book's tables are: oil, water"


@pytest.mark.parametrize(
    "alphabet", ['symbols = "0123456789ABCDa"', 'symbols = "0123456789AABCD"', "symbols = 5"]
)
def test_tables_are_not_blamed_for_symbols_that_an_alphabet_fails_to_name(alphabet: str) -> None:
    found = problems(book(('retired = "IO"', alphabet), ("step = 0.5", "step = 0")))
    assert {problem.path for problem in found} == {"alphabet.symbols", "fields.charge.step"}


def test_every_bad_phrase_and_filler_is_told_in_its_own_place() -> None:
    found = problems(
        book(
            ('["puncture", "tyre is gone"]', '["seven two", "golf", "tyre is gone", "seven"]'),
            more=(
                '[phrases.stop]\nsays = ["a?", "six", "tyre is gone"]\n[speech]\nfillers ='
                ' ["seven", "n?", "mate", "golf"]\n'
            ),
        )
    )
    assert [(problem.path, marked(problem)) for problem in found] == [
        ("phrases.puncture.says.0", '"seven two"'),
        ("phrases.puncture.says.1", '"golf"'),
        ("phrases.puncture.says.3", '"seven"'),
        ("phrases.stop.says.0", '"a?"'),
        ("phrases.stop.says.1", '"six"'),
        ("phrases.stop.says.2", '"tyre is gone"'),
        ("speech.fillers.0", '"seven"'),
        ("speech.fillers.1", '"n?"'),
        ("speech.fillers.3", '"golf"'),
    ]
    assert all(problem.hint for problem in found)


def test_a_part_that_fits_is_not_blamed_for_one_that_does_not() -> None:
    more = "[hearing]\nmessages = { cell = 2 }\n"
    assert only(book(('kind = "bands"', 'kind = "band"'), more=more)).path == "fields.cell.kind"
    assert (
        only(book(('direction = "pit"', 'direction = "pits"'), more=more)).path
        == "messages.cell.direction"
    )
    assert (
        only(
            book(
                ("layout = '\"G\" cell'", "layuot = '\"G\" cell'\nlayout = '\"G\" cell'"), more=more
            )
        ).path
        == "messages.cell.layuot"
    )


# each in its place, in plain words


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ('warn = ["brakes"]', 'warn = ["screen", "brake"]', '"brake"'),
        ("usual = []", 'usual = ["brake"]', '"brake"'),
        ('"brakes", "cooling", "screen"', '"brakes", "cooling", "Brakes"', '"Brakes"'),
        ('"dry", "damp", "wet"', '"dry", "damp", "damp"', '"damp"'),
        ('usual = "dry"', 'usual = "dri"', 'usual = "dri"'),
        ("step = 0.5", "step = 0.3", "step = 0.3"),
        ("step = 0.5", "step = -1", "step = -1"),
        ("high = 100", "high = -100", "high = -100"),
        ("usual = 50", "usual = 50.2", "usual = 50.2"),
        ("usual = 50", "usual = 150", "usual = 150"),
        ("spread = 20", "spread = 0", "spread = 0"),
        ("usual = 50", "label = 'x'", "spread = 20"),
        ("below = 5", "below = 5, above = 90", '{ below = 5, above = 90, say = "charge low" }'),
        ("[30, 40, 50, 55, 60]", "[30, 40, 40, 55, 60]", "40"),
        ("modulus = 20", "modulus = 20.5", "modulus = 20.5"),
        ("modulus = 20", "modulus = 20\nusual = 20", "usual = 20"),
        ('retired = "IO"', 'words = { A = "alfa", B = "alfa" }', 'B = "alfa"'),
        ("weights = [1, 3, 5, 7, 9, 11, 13]", "weights = [0, 34]", "weights = [0, 34]"),
    ],
)
def test_a_problem_is_marked_where_it_stands_and_says_what_to_do(
    old: str, new: str, place: str
) -> None:
    problem = only(book((old, new)))
    assert marked(problem) == place
    assert problem.hint


@pytest.mark.parametrize(
    ("old", "new", "message", "hint"),
    [
        ('direction = "pit"', 'direction = "pits"', "'pits'", "did you mean 'pit'?"),
        ('["puncture", "tyre is gone"]', "[]", "a list of 1 or more", "add"),
        ("usual = 50", 'usual = "half"', "'half' is not a number", "without quotes"),
        ('unit = "%"', "unit = 5", "'5' can't stand here; expected is text", "quotes"),
        (
            "weights = [1, 3, 5, 7, 9, 11, 13]",
            "weights = [1.5]",
            "a whole number",
            "without quotes or point",
        ),
        ('retired = "IO"', "words = { A = 5 }", "expected is text", "quotes"),
        (
            'retired = "IO"',
            "words = { A = { word = 'able', millisecond = 500 } }",
            "'millisecond'",
            "did you mean 'milliseconds'?",
        ),
        (
            "[messages.cell]",
            "[tables.lap]\n[messages.cell]",
            "the heading [tables.lap] stands twice",
            "one",
        ),
        ("modulus = 20", "modulus = 20\nmodulus = 10", "this key stands twice", "keep one"),
        ("modulus = 20", "modulus = 20,5", "the line goes on after its value", "point"),
        ("modulus = 20", "modulus = many", "this is no value", "quotes"),
        ('unit = "%"', 'unit = "%', "the line ends too soon", "quotes"),
        ('"dry", "damp", "wet"', '"dry" "damp"', "a list is not closed", "commas"),
        ("{ above = 55,", "{ above = 55, above = 60,", "'above' stands twice", "keep one"),
        ("modulus = 20", "modulus 20", "no = after the key", "key = value"),
    ],
)
def test_problems_are_told_in_the_words_of_those_who_write_books(
    old: str, new: str, message: str, hint: str
) -> None:
    problem = only(book((old, new)))
    assert message in problem.message
    assert hint in problem.hint
    assert not re.search(r"Input should|validation|toml\.io|\('", problem.message + problem.hint)


def test_what_was_expected_of_the_noise_stands_on_a_line_of_its_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "book.toml"
    path.write_text(book(more='[hearing]\nnoise = "loud"\n'), "utf-8")
    assert main(["book", "check", str(path)]) == 2
    lines = [line.strip() for line in capsys.readouterr().err.splitlines()]
    assert "expected: clear, noisy, harsh" in lines
    assert any(line.startswith("hint: ") for line in lines)
    assert not any("\\n" in line for line in lines)


# notes and figures


def notes(tmp_path: Path, text: str, capsys: pytest.CaptureFixture[str]) -> list[str]:
    path = tmp_path / "book.toml"
    path.write_text(text, "utf-8")
    assert main(["book", "check", "--json", str(path)]) == 0
    found: list[str] = json.loads(capsys.readouterr().out)["notes"]
    return [note for note in found if "makes another report" not in note]


def test_a_lap_report_that_nothing_checks_is_noted_and_no_problem(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, text, noted in (("bare", UNCHECKED, 1), ("checked", BOOK, 0)):
        path = tmp_path / f"{name}.toml"
        path.write_text(text, "utf-8")
        assert main(["book", "check", "--json", str(path)]) == 0
        notes = json.loads(capsys.readouterr().out)["notes"]
        assert sum("makes another report" in note for note in notes) == noted


@pytest.mark.parametrize(
    ("weights", "told"),
    first_short(
        [
            ("[0, 2]", ["weight 0 is 0 modulo 34", "weight 2 shares a factor with the modulus 34"]),
            (
                "[1, 3, 5, 7, 9, 11, 13, 15, 19, 21, 23, 25, 27, 29, 31, 0]",
                [],
            ),  # as many symbols never stand before the check
            ("[1, 3, 5, 7, 9, 11, 13]", []),
            ("[17, 17, 17]", ["weight 17 shares a factor with the modulus 34"]),
            (
                "[34, 3, 68, 4, 5, 6, 7]",
                [
                    "weights 34, 68 are 0 modulo 34",
                    "weights 4, 6 share a factor with the modulus 34",
                ],
            ),
        ],
        2,
    ),
)
def test_weights_that_hardly_check_are_noted_by_name(
    weights: str, told: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """34 symbols in use: a weight checks every change of its symbol just where it has no divisor in
    common with 34 (from number theory).
    """
    found = [
        note
        for note in notes(tmp_path, book(("[1, 3, 5, 7, 9, 11, 13]", weights)), capsys)
        if "check in lap" in note
    ]
    assert len(found) == len(told)
    assert all(words in note for words, note in zip(told, found, strict=True))
    assert not found or "1, 3, 5, 7, 9" in found[-1]


def test_show_tells_that_a_weight_covers_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "book.toml"
    path.write_text(book(("[1, 3, 5, 7, 9, 11, 13]", "[0, 2]")), "utf-8")
    assert main(["book", "show", str(path)]) == 0
    shown = capsys.readouterr().out
    assert "weight 0 covers nothing" in " ".join(shown.split())
    assert "in 1 symbol, of 34 figures" in shown


@pytest.mark.slow
@pytest.mark.parametrize(
    ("modulus", "readings"),
    [("20", "578,880"), ("1000000", "28,944,000,000"), ("1000000000", "2.89e+13")],
)
def test_no_number_of_a_check_is_broken_apart(
    modulus: str,
    readings: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    path = tmp_path / "book.toml"
    path.write_text(book(("modulus = 20", f"modulus = {modulus}")), "utf-8")
    assert main(["book", "check", "--json", str(path)]) == 0
    facts = json.loads(capsys.readouterr().out)
    for width in ("40", "60", "80", "120"):
        monkeypatch.setenv("COLUMNS", width)
        check(facts)
        shown = capsys.readouterr().out
        assert re.search(rf"(?<![\d,]){re.escape(readings)}(?![\d,])", shown)
        assert re.search(r"\d+\.\d\d ± \d\.\d\d … \d+\.\d\d", shown)


def test_rows_left_out_of_a_table_stand_where_they_are_missing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "book.toml"
    path.write_text(BOOK, "utf-8")

    def laps(rows: str) -> list[str]:
        assert main(["book", "show", str(path), "--rows", rows]) == 0
        part = capsys.readouterr().out.split("Table lap")[1].split("Table charge")[0]
        return re.findall(r"^ (\d\d|…(?= +\d+ more)) ", part, re.MULTILINE)

    assert laps("1") == ["00", "…"]
    assert laps("3") == ["00", "01", "…", "19"]
    assert laps("19") == [f"{lap:02}" for lap in range(18)] + ["…", "19"]
    assert laps("20") == laps("0") == [f"{lap:02}" for lap in range(20)]


@pytest.mark.parametrize(
    "option", [("check", "--pairs", "-1"), ("show", "--rows", "-3"), ("show", "--rows", "1_0")]
)
def test_an_amount_below_nothing_is_refused_by_name(
    option: tuple[str, str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["book", option[0], "book.toml", f"{option[1]}={option[2]}"])
    assert stop.value.code == 2
    assert (
        f"{option[1]}: {option[2]!r} is no whole number from 0 to 1000000000"
        in capsys.readouterr().err
    )


@pytest.mark.parametrize("sign", ["*", "+"])
def test_signs_of_repetition_are_told_what_to_write_instead(sign: str) -> None:
    with pytest.raises(CodeError, match="can't stand here") as caught:
        parse_layout(f"lap ( cell ){sign}")
    assert caught.value.hint == f"say how often at most: ( a b ){{{'01'[sign == '+']}..4}}"
    assert caught.value.span == (12, 13)


def test_what_is_only_of_no_use_is_a_note(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    speech = '[speech]\nfillers = ["Roger"]\n[alphabet]'
    path = tmp_path / "book.toml"
    numbers = ("spread = 20", "wander = 150\ndrift = -140"), ("below = 5", "below = 400")
    path.write_text(book(*numbers, ("[alphabet]", speech)), "utf-8")
    assert main(["book", "check", str(path), "--json"]) == 0
    notes = json.loads(capsys.readouterr().out)["notes"]
    assert "field 'charge': wander 150 % is as much as all its values" in str(notes)
    assert "field 'charge': drift -140 % a lap leaves the range within one" in notes
    assert "field 'charge': limit below 400 % always warns: every value passes it" in notes
    assert "the filler 'roger' is a procedure word, which is passed over already" in notes
