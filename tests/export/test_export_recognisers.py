"""Grammars for recognisers accept and refuse what niner does, with check symbols enforced exactly,
else but for the check: read by readers of the formats, and by a recogniser (pocketsphinx 5).
"""

from __future__ import annotations

import functools
import itertools
import re
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest
from export.fsg_reader import Fsg
from export.jsgf_reader import Jsgf
from export.srgs_reader import Srgs
from export.strings import (
    SEVERAL,
    accepted,
    accepted_but_for_the_check,
    example,
    strings,
    words,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from laws.reference import Way
from pocketsphinx import Decoder, FsgModel, LogMath
from strategies import Drawn, books

from codec import Book, CodeError
from grammar.export import export, jsgf, network
from grammar.message import Direction
from grammar.parsing import parse_book

Accepts = Callable[[list[str]], bool]


def written(
    subject: Book,
    form: str,
    direction: Direction | None,
    folder: Path,
    *,
    enforced: bool = False,
) -> Path:
    (name, data), *_ = export(subject, form, direction=direction, enforce_check=enforced).items()
    path = folder / name
    path.write_bytes(data)
    return path


def recogniser(path: Path) -> Accepts:
    """Return whether pocketsphinx accepts words by a grammar."""
    read = {".jsgf": FsgModel.jsgf_read_file, ".fsg": FsgModel.readfile}[path.suffix]
    model = read(str(path), LogMath(), 1.0)
    return lambda said: bool(model.accept(" ".join(said)))


READERS: dict[str, tuple[str, Callable[[Path], Accepts]]] = {
    "JSGF by its specification": ("jsgf", lambda path: Jsgf(path.read_text("utf-8")).accepts),
    "JSGF by pocketsphinx": ("jsgf", recogniser),
    "FSG by its format": ("fsg", lambda path: Fsg(path.read_text("utf-8")).accepts),
    "FSG by pocketsphinx": ("fsg", recogniser),
    "SRGS by lxml": ("srgs", lambda path: Srgs(path.read_bytes()).accepts),
}


SHORT = {"starter", "tyres"}
CASES = [
    pytest.param(name, reader, enforced, marks=[pytest.mark.slow] * (name not in SHORT))
    for name in SEVERAL
    for reader in READERS
    for enforced in (False, True)
    if (name, reader, enforced) != ("race", "JSGF by pocketsphinx", True)  # too long: it says so
]


@functools.cache
def asked(name: str, count: int, *, enforced: bool) -> list[tuple[Direction, str, bool]]:
    """Return strings of a book, and whether niner accepts them, or would but for the check."""
    subject, holds = example(name), accepted if enforced else accepted_but_for_the_check
    share = count // len(subject.directions)
    return [
        (way, string, holds(subject, string, way))
        for way in subject.directions
        for string in strings(subject, way, share)
    ]


@pytest.mark.parametrize("count", [300, pytest.param(1000, marks=pytest.mark.slow)])
@pytest.mark.parametrize(("name", "reader", "enforced"), CASES)
def test_strings_are_accepted_and_refused_as_by_niner(
    name: str, reader: str, count: int, enforced: bool, tmp_path: Path
) -> None:
    subject, (form, read) = example(name), READERS[reader]
    accepts = {
        direction: read(written(subject, form, direction, tmp_path, enforced=enforced))
        for direction in subject.directions
    }
    told: Counter[bool] = Counter()
    for direction, string, expected in asked(name, count, enforced=enforced):
        assert accepts[direction](words(subject, string)) == expected, (string, direction)
        told[expected] += 1
    assert told.total() == count
    assert min(told.values()) > 0.15 * count


def unchecked(book: Book, way: Way) -> list[str]:
    """Return the strings of a way with any check symbols."""
    checks = {
        name: table.check.method.checks
        for name, table in book.tables.items()
        if table.check is not None
    }
    return [
        "".join(pieces)
        for pieces in itertools.product(
            *(checks.get(name, [symbols]) for _, name, symbols in way.pieces)
        )
    ]


@pytest.mark.slow
@settings(max_examples=25)
@given(books(), st.booleans(), st.data())
def test_grammars_of_any_book_accept_just_its_reports(
    drawn: Drawn, enforced: bool, data: st.DataObject
) -> None:
    """The strings a book has are listed without the product; those that are none are made from
    them.
    """
    book = drawn.book
    for direction in book.directions:
        listed = {
            string
            for way in drawn.ways
            if book.messages[way.message].direction == direction
            for string in ([way.string] if enforced else unchecked(book, way))
        }
        texts = {
            form: next(
                iter(export(book, form, direction=direction, enforce_check=enforced).values())
            )
            for form in ("jsgf", "fsg", "srgs")
        }
        readers = [
            Jsgf(texts["jsgf"].decode()).accepts,
            Fsg(texts["fsg"].decode()).accepts,
            Srgs(texts["srgs"]).accepts,
        ]
        for string in data.draw(st.lists(st.sampled_from(sorted(listed)), min_size=1, max_size=4)):
            place = data.draw(st.integers(0, len(string) - 1))
            other = data.draw(st.sampled_from(book.alphabet.symbols))
            for one in (
                string,
                string[:place] + other + string[place + 1 :],
                string[:place] + string[place + 1 :],
                string + other,
            ):
                for accepts in readers:
                    assert accepts(words(book, one)) == (one in listed), one


def test_a_grammar_too_long_to_write_out_says_so() -> None:
    subject = example("race")
    text, free = (
        export(subject, "jsgf", direction="car", enforce_check=enforced)["race.jsgf"].decode()
        for enforced in (True, False)
    )
    assert re.search(r"// message-lap: \d{7,} words for a recogniser that writes every rule", text)
    assert "export fsg" in text
    assert "export fsg" not in free


@pytest.mark.parametrize("enforced", [False, True])
def test_the_words_a_grammar_takes_are_those_the_recogniser_writes_out(
    enforced: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(jsgf, "MOST_WORDS", 0)
    source = written(example("qualifying"), "jsgf", "car", tmp_path, enforced=enforced)
    told = sum(map(int, re.findall(r"// [\w-]+: (\d+) words", source.read_text("utf-8"))))
    network_of_all = tmp_path / "all.fsg"
    FsgModel.jsgf_read_file(str(source), LogMath(), 1.0).writefile(str(network_of_all))
    said = [
        line for line in network_of_all.read_text("utf-8").splitlines() if len(line.split()) == 5
    ]
    assert len(said) == told > 40


@pytest.mark.parametrize("name", SEVERAL)
def test_a_recogniser_starts_with_the_grammar_and_the_words(
    name: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """With its own acoustic model: every word is in the dictionary, every phone in the model."""
    subject = example(name)
    sounds = written(subject, "dict", None, tmp_path)
    for form in ("fsg", "jsgf"):
        Decoder(
            **{
                form: str(written(subject, form, "car", tmp_path)),
                "dict": str(sounds),
                "loglevel": "ERROR",
            }
        )
    assert "ERROR" not in capfd.readouterr().err


def test_a_recogniser_refuses_what_is_no_grammar(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    bad = tmp_path / "bad.jsgf"
    bad.write_text("grammar without its header", "utf-8")
    FsgModel.jsgf_read_file(str(bad), LogMath(), 1.0)
    assert "Failed to parse" in capfd.readouterr().err


TWO_CHECKS = """
[alphabet]
symbols = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
words = { "*" = "star" }
[fields.a]
kind = "quantity"
low = 0
high = 999999
step = 1
[tables.a]
kind = "digits"
[tables.first]
kind = "check"
method = "iso7064 mod 37,36"
over = ["a"]
[tables.second]
kind = "check"
method = "iso7064 mod 37-2"
over = ["a"]
[messages.one]
layout = "a second first"
"""


def test_a_grammar_with_too_many_states_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    book = parse_book(TWO_CHECKS, "two")
    monkeypatch.setattr(network, "MOST_NODES", 500)
    for form in ("jsgf", "fsg", "srgs"):
        with pytest.raises(CodeError, match="more than 500 states") as caught:
            export(book, form, enforce_check=True)
        assert (caught.value.kind, caught.value.hint) == ("too-large", "leave its checks free")
    assert "star" in export(book, "fsg")["two.fsg"].decode()
