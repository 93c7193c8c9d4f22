"""The words of a book and their sounds, and its codewords as rows, as their standards say."""

from __future__ import annotations

import csv
import io

import pytest
from export.strings import BOOKS, example
from lxml import etree

from codec import CodeError
from grammar.export import export
from grammar.parsing import parse_book

PLS = "{http://www.w3.org/2005/01/pronunciation-lexicon}"


def test_the_lexicon_has_every_word_in_the_phonetic_alphabet() -> None:
    # W3C PLS 1.0: lexicon, lexeme, grapheme and phoneme; IPA as in the chart of the International
    # Phonetic Association
    root = etree.fromstring(export(example("race"), "pls")["race.pls"])
    assert root.tag == f"{PLS}lexicon"
    assert root.get("alphabet") == "ipa"
    said = {
        lexeme.findtext(f"{PLS}grapheme"): lexeme.findtext(f"{PLS}phoneme")
        for lexeme in root.iter(f"{PLS}lexeme")
    }
    assert set(said) >= {entry.word for entry in example("race").alphabet.words.values()} | {
        "alpha",
        "fife",
    }
    assert said["quebec"] == "kɛbɛk"  # ICAO: keh BECK
    assert said["golf"] == "ɡɑːlf"


def dictionary(text: str) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for line in text.splitlines():
        word, sound = line.split(" ", 1)
        found.setdefault(word.partition("(")[0], []).append(sound)
    return found


@pytest.mark.parametrize("name", BOOKS)
def test_the_dictionary_has_every_word_a_grammar_says(name: str) -> None:
    subject = example(name)
    found = dictionary(export(subject, "dict")[f"{name}.dict"].decode())
    assert found.keys() == {
        part for entry in subject.alphabet.words.values() for part in entry.word.lower().split()
    }
    # ICAO Annex 10 Volume II, 5.2.1.4.3.1: FIFE; and as the CMU Pronouncing Dictionary has "five"
    assert found["five"] == ["F AY F", "F AY V"]


def test_words_of_several_parts_are_entered_part_by_part() -> None:
    words = (
        '[alphabet.words]\n"-" = "minus sign"\n"*" = { word = "big star", sound = "BIG STAR" }\n'
    )
    source = (
        f'[alphabet]\nsymbols = "A-*"\n{words}[fields.a]\nkind = "choice"\noptions = ["x", "y"]\n'
    )
    source += '[tables.a]\nkind = "scale"\nsymbols = "-*"\n[messages.m]\nlayout = "a"\n'
    found = dictionary(export(parse_book(source, "parts"), "dict")["parts.dict"].decode())
    assert (found["big"], found["minus"]) == (["B IH G"], ["M AY N AH S"])
    assert found.keys() == {"alfa", "minus", "sign", "big", "star"}
    with pytest.raises(CodeError, match="can't be divided"):
        export(parse_book(source.replace("BIG STAR", "BIG STA er"), "parts"), "dict")


def test_rows_are_read_back_by_a_csv_reader() -> None:
    # RFC 4180: CRLF, quotes doubled
    subject = example("race")
    text = export(subject, "csv")["race.csv"].decode()
    assert "\r\n" in text
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert len(rows) == sum(table.size for table in subject.tables.values() if table.fields)
    row = next(row for row in rows if row["table"] == "energy" and row["symbols"] == "16")
    assert (row["words"], row["field 1"], row["value 1"], row["unit 1"]) == (
        "one six",
        "energy against plan",
        "-0.4 kWh",
        "kWh",
    )


def test_rows_keep_awkward_text_in_its_cell_and_no_formula_runs() -> None:
    options = ['=1+1", "x', '"quoted", with comma', "@cmd", "−3; ü"]
    told = ", ".join("'" + option + "'" for option in options)
    source = (
        f'[fields.a]\nkind = "choice"\noptions = [{told}]\n[tables.a]\nkind = "scale"\nsymbols ='
        ' "ABCD"\n[messages.m]\nlayout = "a"\n'
    )
    text = export(parse_book(source, "awkward"), "csv")["awkward.csv"].decode()
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert [row["value 1"] for row in rows] == [
        "'" + options[0],
        options[1],
        "'" + options[2],
        options[3],
    ]


def test_an_unknown_format_and_a_direction_without_messages_are_refused() -> None:
    with pytest.raises(CodeError, match="no format"):
        export(example("starter"), "xml")
    with pytest.raises(CodeError, match="no message of direction pit"):
        export(example("starter"), "c", direction="pit")
    with pytest.raises(CodeError, match="one direction alone"):
        export(example("race"), "csv", direction="pit")
