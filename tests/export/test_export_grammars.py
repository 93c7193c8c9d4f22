"""Grammars for recognisers accept and refuse what niner does; the lexicon and the rows are what their standards say."""

from __future__ import annotations

import csv
import io
import random
from collections import defaultdict
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from lxml import etree
from pocketsphinx import FsgModel, LogMath

from codec import Book, CodeError, load_book, readings
from grammar.export import FORMATS, export
from grammar.export.jsgf import tokens
from grammar.figures import drawn
from grammar.message import Direction

BOOKS = ["starter", "qualifying", "race"]
SRGS = "{http://www.w3.org/2001/06/grammar}"
PLS = "{http://www.w3.org/2005/01/pronunciation-lexicon}"


def book(name: str) -> Book:
    return load_book(f"examples/{name}/{name}.toml")


def strings(subject: Book, direction: Direction, count: int) -> list[str]:
    """Return strings of reports, and of what is nearly one: a symbol changed, lost, added, or two swapped."""
    generator = random.Random(9)
    sent = subject.sent_by(direction)
    good = [report.string for message in sent for report in drawn(subject, message, count // (2 * len(sent)) + 1, 5)]
    found = list(good[: count // 2])
    while len(found) < count:
        string = list(generator.choice(good))
        place = generator.randrange(len(string))
        change = generator.randrange(4)
        if change == 0:
            string[place] = generator.choice(subject.alphabet.symbols)
        elif change == 1 and len(string) > 1:
            del string[place]
        elif change == 2:
            string.insert(place, generator.choice(subject.alphabet.symbols))
        else:
            string[place - 1], string[place] = string[place], string[place - 1]
        found.append("".join(string))
    return found


def accepted(subject: Book, string: str, direction: Direction) -> bool:
    try:
        return bool(readings(subject, string, direction=direction, typed=True))
    except CodeError:
        return False


class Rules:
    """Reads an SRGS grammar of this shape: every rule is one-of items that are words, a rule reference, a tag."""

    def __init__(self, text: str) -> None:
        self.root = etree.fromstring(text.encode())
        self.items: dict[str, list[tuple[str, str | None]]] = {}
        for rule in self.root.iter(f"{SRGS}rule"):
            found = []
            for item in rule.iter(f"{SRGS}item"):
                reference = item.find(f"{SRGS}ruleref")
                target = None if reference.get("special") else reference.get("uri").removeprefix("#")
                found.append((" ".join((item.text or "").split()), target))
            self.items[rule.get("id")] = found

    def accepts(self, words: list[str]) -> bool:
        states = {"report"}
        for word in words:
            closed = self._closed(states)
            states = {target for state in closed for said, target in self.items[state] if said == word and target is not None}
        return any(target is None for state in self._closed(states) for said, target in self.items[state] if not said)

    def _closed(self, states: set[str]) -> set[str]:
        waiting, closed = list(states), set(states)
        for state in waiting:
            for said, target in self.items[state]:
                if not said and target is not None and target not in closed:
                    closed.add(target)
                    waiting.append(target)
        return closed


def recognised(text: str, path: Path) -> Callable[[str], bool]:
    """Return whether pocketsphinx accepts words by a JSGF grammar."""
    path.write_text(text, "utf-8")
    model = FsgModel.jsgf_read_file(str(path), LogMath(), 1.0)
    accept: Callable[[str], bool] = model.accept
    return accept


def checked_later(subject: Book, string: str, direction: Direction) -> bool:
    """Tell whether a string is a report but for its check symbol, which JSGF leaves open."""
    others = [string] + [
        string[:-1] + symbol for symbol in subject.alphabet.symbols if any(m.check_leaves for m in subject.messages.values())
    ]
    return any(accepted(subject, other, direction) for other in others)


@pytest.mark.parametrize("name", BOOKS)
def test_srgs_accepts_and_refuses_the_same_thousand_strings(name: str) -> None:
    subject = book(name)
    tested: dict[bool, int] = defaultdict(int)
    for direction in subject.directions:
        rules = Rules(export(subject, "srgs", direction=direction)[f"{name}.grxml"].decode())
        for string in strings(subject, direction, 1000 // len(subject.directions)):
            expected = accepted(subject, string, direction)
            assert rules.accepts(list(tokens(subject, string))) == expected, (string, direction)
            tested[expected] += 1
    assert sum(tested.values()) == 1000
    assert min(tested.values()) > 150


@pytest.mark.parametrize("name", BOOKS)
def test_a_recogniser_reads_the_jsgf_and_accepts_the_same_thousand_strings_but_for_the_check(name: str, tmp_path: Path) -> None:
    subject = book(name)
    tested: dict[bool, int] = defaultdict(int)
    for direction in subject.directions:
        accept = recognised(export(subject, "jsgf", direction=direction)[f"{name}.jsgf"].decode(), tmp_path / "book.jsgf")
        for string in strings(subject, direction, 1000 // len(subject.directions)):
            expected = accepted(subject, string, direction)
            heard = accept(" ".join(tokens(subject, string)))
            assert heard or not expected, (string, direction)
            if heard != expected:
                assert checked_later(subject, string, direction), (string, direction)
            tested[expected] += 1
    assert sum(tested.values()) == 1000
    assert min(tested.values()) > 150


def test_the_recogniser_reads_the_jsgf_and_not_just_anything(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    recognised(export(book("race"), "jsgf")["race.jsgf"].decode(), tmp_path / "book.jsgf")
    assert "ERROR" not in capfd.readouterr().err
    FsgModel.jsgf_read_file(str(_written(tmp_path / "bad.jsgf", "grammar without its header")), LogMath(), 1.0)
    assert "Failed to parse" in capfd.readouterr().err


def _written(path: Path, text: str) -> Path:
    path.write_text(text, "utf-8")
    return path


@pytest.mark.parametrize("name", BOOKS)
def test_srgs_has_the_structure_of_the_recommendation(name: str) -> None:
    # W3C SRGS 1.0, section 4 and appendix C: root attributes, rule ids, references that resolve, tags in items
    root = etree.fromstring(export(book(name), "srgs")[f"{name}.grxml"])
    assert root.tag == f"{SRGS}grammar"
    assert (root.get("version"), root.get("mode"), root.get("tag-format")) == ("1.0", "voice", "semantics/1.0")
    assert root.get("{http://www.w3.org/XML/1998/namespace}lang") == "en"
    rules = {rule.get("id"): rule for rule in root.iter(f"{SRGS}rule")}
    assert rules[root.get("root")].get("scope") == "public"
    for reference in root.iter(f"{SRGS}ruleref"):
        assert (reference.get("special") == "NULL") != (reference.get("uri", "#")[1:] in rules)
    allowed = {"grammar": {"meta", "tag", "rule"}, "rule": {"one-of"}, "one-of": {"item"}, "item": {"ruleref", "tag"}}
    for element in root.iter():
        if isinstance(element.tag, str):
            children = {child.tag.removeprefix(SRGS) for child in element if isinstance(child.tag, str)}
            assert children <= allowed.get(element.tag.removeprefix(SRGS), set())


@pytest.mark.parametrize("name", BOOKS)
def test_the_tags_of_srgs_give_the_values_niner_gives(name: str) -> None:
    """Follows the rules and runs their tags; the few statements they are made of are told apart here."""
    subject = book(name)
    tables = {f"t{number}": table for number, table in enumerate(subject.tables.values())}
    for direction in subject.directions:
        rules = Rules(export(subject, "srgs", direction=direction)[f"{name}.grxml"].decode())
        tags = {
            rule.get("id"): [item.findtext(f"{SRGS}tag") for item in rule.iter(f"{SRGS}item")] for rule in rules.root.iter(f"{SRGS}rule")
        }
        for string in strings(subject, direction, 60)[:30]:
            (reading,) = readings(subject, string, direction=direction, typed=True)
            path = next(walked(rules, list(tokens(subject, string))))
            word, levels, whole = "", {}, ""
            for rule, place in reversed(path[1:]):
                tag = tags[rule][place]
                if tag.startswith("out={"):
                    continue
                symbol = tag.split('out.word="')[1][0]
                assert f'out.string="{symbol}"+out.string' in tag
                word, whole = symbol + word, symbol + whole
                called = [name for name in tables if tag.endswith(f";{name}(out);")]
                if called:
                    table = tables[called[0]]
                    levels |= dict(zip((field.name for field in table.fields), table.levels(word) or (), strict=True))
                    word = ""
                elif tag.endswith("out.word='';"):
                    word = ""
            assert whole == string
            assert {name: level for name, level in reading.levels.items() if name not in reading.implied} == levels
            assert f'out.message="{reading.message}"' in tags["report"][path[0][1]]


def walked(rules: Rules, words: list[str]) -> Iterator[list[tuple[str, int]]]:
    def follow(rule: str, rest: list[str]) -> Iterator[list[tuple[str, int]]]:
        for place, (said, target) in enumerate(rules.items[rule]):
            if not said and target is None and not rest:
                yield [(rule, place)]
            elif target is not None and (not said or (rest and said == rest[0])):
                for after in follow(target, rest[1:] if said else rest):
                    yield [(rule, place), *after]

    yield from follow("report", words)


def test_the_lexicon_has_every_word_in_the_phonetic_alphabet() -> None:
    # W3C PLS 1.0: lexicon, lexeme, grapheme and phoneme; IPA as in the chart of the International Phonetic Association
    root = etree.fromstring(export(book("race"), "pls")["race.pls"])
    assert root.tag == f"{PLS}lexicon"
    assert root.get("alphabet") == "ipa"
    said = {lexeme.findtext(f"{PLS}grapheme"): lexeme.findtext(f"{PLS}phoneme") for lexeme in root.iter(f"{PLS}lexeme")}
    assert set(said) >= {entry.word for entry in book("race").alphabet.words.values()} | {"alpha", "fife"}
    assert said["quebec"] == "kɛbɛk"  # ICAO: keh BECK
    assert said["golf"] == "ɡɑːlf"


def test_rows_are_read_back_by_a_csv_reader() -> None:
    # RFC 4180: CRLF, quotes doubled
    subject = book("race")
    text = export(subject, "csv")["race.csv"].decode()
    assert "\r\n" in text
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert len(rows) == sum(table.size for table in subject.tables.values() if table.fields)
    row = next(row for row in rows if row["table"] == "energy" and row["symbols"] == "16")
    assert (row["words"], row["field 1"], row["value 1"], row["unit 1"]) == ("one six", "energy against plan", "-0.4 kWh", "kWh")


def test_every_format_is_named_and_an_unknown_one_is_refused() -> None:
    assert set(FORMATS) == {"lark", "jsgf", "srgs", "pls", "csv", "c", "card"}
    with pytest.raises(CodeError, match="no format"):
        export(book("starter"), "xml")
