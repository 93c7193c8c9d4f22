"""SRGS has the structure of the recommendation, and its tags, run by a script engine (dukpy), give
the values niner gives.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

import dukpy
import pytest
from export.srgs_reader import NAMESPACE, Item, Srgs
from export.strings import SEVERAL, example, strings, words
from lxml import etree

from codec import Book, CodeError, Reading, readings
from grammar.export import export
from grammar.fields import Band
from grammar.message import Direction
from grammar.parsing import parse_book


def grammar(subject: Book, direction: Direction | None = None) -> Srgs:
    return Srgs(next(iter(export(subject, "srgs", direction=direction).values())))


@pytest.mark.parametrize("name", SEVERAL)
def test_srgs_has_the_structure_of_the_recommendation(name: str) -> None:
    # W3C SRGS 1.0, section 4 and appendix C: root attributes, rule ids, references that resolve,
    # tags in items
    found = grammar(example(name))
    root, xml = found.root, "{http://www.w3.org/XML/1998/namespace}"
    assert root.tag == f"{NAMESPACE}grammar"
    assert (root.get("version"), root.get("mode"), root.get("tag-format")) == (
        "1.0",
        "voice",
        "semantics/1.0",
    )
    assert root.get(f"{xml}lang") == "en"
    ids = [rule.get("id") for rule in root.iter(f"{NAMESPACE}rule")]
    assert len(ids) == len(set(ids))
    assert root.find(f"{NAMESPACE}rule[@id='{root.get('root')}']").get("scope") == "public"
    for reference in root.iter(f"{NAMESPACE}ruleref"):
        assert (reference.get("special") == "NULL") != (reference.get("uri", "#")[1:] in ids)
    allowed = {
        "grammar": {"meta", "tag", "rule"},
        "rule": {"one-of"},
        "one-of": {"item"},
        "item": {"ruleref", "tag"},
    }
    for element in root.iter(etree.Element):
        children = {child.tag.removeprefix(NAMESPACE) for child in element}
        assert children <= allowed.get(element.tag.removeprefix(NAMESPACE), set())


def meant(script: str, paths: Iterable[list[Item]]) -> list[dict[str, Any]]:
    """Run the tags as SISR 1.0 has them: each rule begins with an empty ``out``, ``rules.latest()``
    is what the rule within gave.
    """
    runs = []
    for path in paths:
        rules = "".join(
            f"latest=(function(){{var out={{}};{item.tag};return out;}})();"
            for item in reversed(path)
        )
        runs.append(
            "(function(){var latest;var rules={latest:function(){return"
            f" latest;}}}};{rules}return latest;}})()"
        )
    found: list[dict[str, Any]] = dukpy.evaljs(f"{script};[{','.join(runs)}]")
    return found


def said(reading: Reading) -> dict[str, Any]:
    return {
        name: as_json(value)
        for name, value in reading.values.items()
        if name not in reading.implied
    }


def as_json(value: object) -> object:
    if isinstance(value, Band):
        return {"low": as_json(value.low), "high": as_json(value.high)}
    if isinstance(value, Decimal):
        return float(value)
    return sorted(value) if isinstance(value, frozenset) else value


@pytest.mark.parametrize("name", SEVERAL)
def test_the_tags_of_srgs_give_the_values_niner_gives(name: str) -> None:
    subject = example(name)
    for direction in subject.directions:
        found, right = grammar(subject, direction), strings(subject, direction, 300)[:150]
        paths = [list(found.paths(words(subject, string))) for string in right]
        assert {len(ways) for ways in paths} == {1}
        for string, result in zip(
            right, meant(found.script, [way for (way,) in paths]), strict=True
        ):
            (reading,) = readings(subject, string, direction=direction, typed=True)
            assert result == {
                "message": reading.message,
                "string": string,
                "values": said(reading),
            }, string


AWKWARD = r"""
title = "</tag> ]]> -- \" \u0007 \u2028"
[fields.string]
label = "<b>"
kind = "choice"
options = ['</tag><tag>out={};', "\"'\\", "é–漢", "*/ ${x}"]
[fields.word]
kind = "choice"
options = ["&amp;", "]]>"]
[tables.message]
kind = "listed"
words = ['A', 'B', '\', '<']
field = "string"
[tables.word]
kind = "scale"
symbols = "&>"
[alphabet]
symbols = "AB\\<&>"
[alphabet.words]
"\\" = "backslash"
"<" = "less"
"&" = "ampersand"
">" = "more"
[messages.values]
layout = "message word"
"""


def test_text_of_a_book_stays_text_in_the_tags() -> None:
    subject = parse_book(AWKWARD, "awkward")
    found = grammar(subject)
    for string in ("A&", "B>", "\\&", "<>"):
        (path,) = found.paths(words(subject, string))
        (reading,) = readings(subject, string, typed=True)
        assert meant(found.script, [path]) == [
            json.loads(json.dumps({"message": "values", "string": string, "values": said(reading)}))
        ]


def test_a_field_that_no_property_can_be_named_after_is_refused() -> None:
    source = (
        '[fields.__proto__]\nkind = "choice"\noptions = ["a", "b"]\n[tables.t]\nkind ='
        ' "scale"\nsymbols = "AB"\nfield = "__proto__"\n'
    )
    subject = parse_book(source + '[messages.m]\nlayout = "t"\n', "named")
    with pytest.raises(CodeError, match="__proto__"):
        export(subject, "srgs")
