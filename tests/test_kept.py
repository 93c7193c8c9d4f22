"""A book from the cache folder answers every question as the book from the file, and nothing in the
folder is believed that this program did not write for this very text.
"""

from __future__ import annotations

import functools
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from strategies import Drawn, books

from codec import Book, BookError, CodeError, decode, decode_all, encode, load_book
from codec.hear import channel, kept_lattices
from codec.hear.lattice import Join, MessageLattice, Mix, Say
from codec.hear.model import model_of
from grammar import kept, parsing
from grammar.compiled import compiled, rebuilt
from grammar.figures import figures, longest, readings
from grammar.message import Direction
from grammar.parsing import parse_book, spec_of

ROOT = Path(__file__).parents[1]
FILES = sorted(
    path
    for folder in ("examples", "tests/published")
    for path in (ROOT / folder).rglob("*.toml")
    if "[tables." in path.read_text("utf-8") and path.stem != "ambiguous"
)


LARGE = {"metar", "synop"}


def again(book: Book) -> Book:
    spec = functools.partial(spec_of, book.source, "book")
    return rebuilt(compiled(book), book.name, book.source, spec)


def answers(book: Book, text: str, **settings: Any) -> list[Any]:
    """Return all that a book tells of a text: its readings with warnings, or the error."""
    try:
        reading = decode(book, text, **settings)
        encoded = encode(book, reading)
        return [reading.as_dict(), str(reading), encoded.as_dict(), encoded.levels]
    except CodeError as error:
        return [type(error), error.as_dict()]


def facts(book: Book) -> list[Any]:
    """Return what a book says of itself."""
    fields = [
        (name, field, field.title, field.size, field.domain, field.usual_level, field.shares())
        for name, field in book.fields.items()
        if field.size <= 10_000
    ]
    tables = [
        (name, table.kind, table.size, table.lengths, table.summary, table.fragment(), table.part)
        for name, table in book.tables.items()
        if table.size <= 10_000
    ]
    messages = [
        (name, one.title, one.direction, one.node, one.lengths, one.ways)
        for name, one in book.messages.items()
    ]
    lexicon = (book.lexicon.meanings, book.lexicon.plain, book.lexicon.longest)
    return [
        *(book.title, book.name, book.rules, book.one_way, book.source, book.digest),
        *(book.alphabet.words, book.alphabet.spoken, book.alphabet.symbols, lexicon),
        *(fields, tables, messages),
    ]


@pytest.mark.slow
@given(books(), st.data())
def test_a_rebuilt_book_answers_as_the_book_from_the_file(
    drawn: Drawn, data: st.DataObject
) -> None:
    book, other = drawn.book, again(drawn.book)
    assert facts(other) == facts(book)
    for way in data.draw(st.lists(st.sampled_from(drawn.ways), min_size=1, max_size=6)):
        direction = book.messages[way.message].direction
        for text in (way.string, book.alphabet.say(way.string), way.string[:-1] or "?"):
            told = answers(book, text, direction=direction)
            assert answers(other, text, direction=direction) == told
            assert answers(other, text) == answers(book, text)
    noise = data.draw(st.text(st.sampled_from(book.alphabet.symbols + " .a"), max_size=12))
    assert answers(other, noise) == answers(book, noise)
    name, field = data.draw(st.sampled_from(list(book.fields.items())))
    value = data.draw(st.sampled_from(["0", "-3.25", "1e40", "none", "x"]))
    for message in book.messages:
        one, two = (_encoded(each, {name: value}, message) for each in (book, other))
        assert one == two
    assert field == other.fields[name]


def _encoded(book: Book, values: dict[str, str], message: str) -> Any:
    try:
        return encode(book, values, message).as_dict()
    except CodeError as error:
        return error.as_dict()


@pytest.mark.parametrize(
    "path",
    [
        pytest.param(path, marks=[pytest.mark.slow] * (path.stem in LARGE), id=path.stem)
        for path in FILES
    ],
)
def test_a_rebuilt_book_of_a_file_is_the_same(path: Path) -> None:
    book = load_book(path)
    other = again(book)
    assert facts(other) == facts(book)
    for name, message in book.messages.items():
        same = other.messages[name]
        assert readings(same) == readings(message)
        assert longest(other, same) == longest(book, message)
        assert figures(other, same, draws=20) == figures(book, message, draws=20)
    assert compiled(other) == compiled(book)


RACE = ROOT / "examples/race/race.toml"
TEXT = RACE.read_text("utf-8")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep books in a folder of the test; data tables, which are kept too, are read before."""
    parse_book(TEXT, "race")
    monkeypatch.setenv("NINER_CACHE", "on")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache" / "niner"


def from_folder(path: Path) -> bool:
    """Load a book; tell whether it came out of the folder, and nothing of it was checked."""
    checked: list[str] = []

    def checking(text: str, name: str = "book") -> Book:
        checked.append(name)
        return parse_book(text, name)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(parsing, "parse_book", checking)
        load_book(path)
    return not checked


def test_a_book_is_kept_and_found_by_what_it_says(folder: Path, tmp_path: Path) -> None:
    assert not from_folder(RACE)
    assert from_folder(RACE)
    (entry,) = folder.iterdir()
    copy = tmp_path / "copy.toml"
    copy.write_text(TEXT, "utf-8")
    assert from_folder(copy)
    assert load_book(copy).name == "copy"
    copy.write_text(TEXT + "\n# changed", "utf-8")
    assert not from_folder(copy)
    assert len(list(folder.iterdir())) == 2
    said = decode_all(
        load_book(RACE), "rain on the visor break five one six three juliett romeo bravo tango"
    )
    assert said.as_dicts(load_book(RACE)) == decode_all(
        parse_book(TEXT, "race"), said.text
    ).as_dicts(load_book(RACE))
    assert load_book(RACE).spec.title == "Corvane race book, Port Tessel"
    assert entry.stat().st_mode & 0o077 == 0


def test_nothing_is_believed_that_does_not_fit(folder: Path, tmp_path: Path) -> None:
    load_book(RACE)
    (entry,) = folder.iterdir()
    content = entry.read_bytes()
    for damaged in (
        b"",
        content[:-1],
        content + b" ",
        content.replace(b"race neutralised", b"race neutralized"),
        content.partition(b"\n")[2],
        bytes(200),
        content[: len(content) // 2],
    ):
        entry.write_bytes(damaged)
        assert not from_folder(RACE)
        assert entry.read_bytes() == content
    other = tmp_path / "other.toml"
    other.write_text(TEXT.replace("Port Tessel", "Elsewhere"), "utf-8")
    load_book(other)
    (second,) = set(folder.iterdir()) - {entry}
    second.write_bytes(content)  # what was made of another text
    assert not from_folder(other)
    assert load_book(other).title.endswith("Elsewhere")
    entry.unlink()
    entry.mkdir()
    assert not from_folder(RACE)


def test_another_program_finds_nothing(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    load_book(RACE)
    assert from_folder(RACE)
    monkeypatch.setattr(kept, "_program", lambda: b"another")
    assert not from_folder(RACE)
    assert len(list(folder.iterdir())) == 2


def test_what_words_sound_like_is_kept_with_every_digit(folder: Path) -> None:
    first = channel(parse_book(TEXT, "race"), "harsh")
    before = set(folder.iterdir())
    assert np.array_equal(channel(parse_book(TEXT, "race"), "harsh").table, first.table)
    assert set(folder.iterdir()) == before
    assert not np.array_equal(channel(parse_book(TEXT, "race"), 3.0).table, first.table)
    assert len(set(folder.iterdir()) - before) == 1


def told(lattices: list[MessageLattice]) -> list[Any]:
    """Return all that lattices hold, arrays with their kinds."""

    def plain(value: Any) -> Any:
        if isinstance(value, np.ndarray):
            return value.dtype, value.tolist()
        if isinstance(value, dict):
            return {name: plain(one) for name, one in value.items()}
        return value

    return [
        (
            one.message.name,
            *(one.nodes, one.edges, one.start, one.end, one.strings is None),
            [(type(operation), *map(plain, operation)) for operation in one.operations],
        )
        for one in lattices
    ]


@pytest.mark.parametrize("direction", ["car", "pit"])
def test_what_a_book_is_heard_by_is_kept_beside_it(folder: Path, direction: Direction) -> None:
    built = told(model_of(parse_book(TEXT, "race"), direction).lattices)
    kinds = {kind for *_, said in built for kind, *_ in said}
    assert kinds == ({Say, Join, Mix} if direction == "car" else {Say})
    assert not folder.exists()  # nothing is kept of a book that is not kept itself
    book = load_book(RACE)
    (known,) = folder.iterdir()
    assert told(model_of(book, direction).lattices) == built
    (entry,) = set(folder.iterdir()) - {known}
    content = entry.read_bytes()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(kept_lattices, "build", None)
        assert told(model_of(load_book(RACE), direction).lattices) == built
    entry.write_bytes(content.replace(b"5", b"6", 1))
    assert told(model_of(load_book(RACE), direction).lattices) == built
    assert entry.read_bytes() == content


def test_it_can_be_turned_off(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NINER_CACHE", "off")
    load_book(RACE)
    assert not folder.exists()
    monkeypatch.setenv("NINER_CACHE", "on")
    load_book(RACE)
    monkeypatch.setenv("NINER_CACHE", "off")
    assert not from_folder(RACE)


def test_a_folder_that_can_not_be_used_is_no_error(
    folder: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("")
    for place in (str(tmp_path / "file"), "/proc/1", "\0"[:0]):
        monkeypatch.setenv("XDG_CACHE_HOME", place)
        monkeypatch.setenv("HOME", str(tmp_path / "file"))
        assert not from_folder(RACE)
        assert not from_folder(RACE)
    missing = tmp_path / "missing"
    monkeypatch.setenv("HOME", str(missing))
    assert not from_folder(RACE)
    assert not missing.exists()
    assert not folder.exists()


def test_a_book_with_problems_is_not_kept(folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "wrong.toml"
    path.write_text(TEXT.replace("kind = ", "kidn = ", 1), "utf-8")
    for _ in range(2):
        with pytest.raises(BookError):
            load_book(path)
    assert not folder.exists()


def test_only_so_many_books_are_kept(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept, "MOST_KEPT", 3)
    for number in range(5):
        kept.keep(f"text {number}", f'"{number}"')
        os.utime(max(folder.iterdir(), key=lambda one: one.stat().st_ctime_ns), (number, number))
    assert len(list(folder.iterdir())) == 3
    assert kept.found("text 4") == '"4"'
    assert kept.found("text 0") is None
    monkeypatch.setattr(kept, "MOST_BYTES", 50)
    kept.keep("large", "x" * 100)
    assert kept.found("large") is None
    assert kept.found("text 4") is None  # larger than may be read


@pytest.mark.slow
def test_programs_may_write_the_same_book_at_once(folder: Path) -> None:
    code = f"import codec\nprint(codec.decode(codec.load_book({str(RACE)!r}), '5163JRBT'))"
    running = [
        subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE, text=True)
        for _ in range(4)
    ]
    said = {one.communicate()[0] for one in running}
    assert len(said) == 1
    assert {one.suffix for one in folder.iterdir()} == {".kept"}
    assert from_folder(RACE)


def test_what_is_kept_is_text_that_names_no_code(folder: Path) -> None:
    load_book(RACE)
    (entry,) = folder.iterdir()
    assert entry.read_bytes().isascii()
    assert kept.found(TEXT) == compiled(load_book(RACE))
