"""What a team demands is kept by every proposal, or refused with its place if it can't be met."""

from __future__ import annotations

import dataclasses
import tomllib
from collections.abc import Sequence
from pathlib import Path

import pytest

from codec.hear.scoring import Scorer
from grammar.codes import CodeTable
from grammar.design import (
    Needs,
    Proposal,
    broken,
    candidates,
    ceilings,
    chosen,
    costs,
    load_needs,
    parse_needs,
    proposals,
    written,
)
from grammar.errors import BookError
from grammar.figures import drawn
from grammar.parsing import parse_book
from grammar.profile import Profile

FIELDS = """
message = "lap"
[fields.lap]
kind = "wrapped"
modulus = 10
[fields.battery]
kind = "quantity"
unit = "°C"
low = 20
high = 64
step = 2
open = "both"
[fields.alert]
kind = "choice"
options = ["none", "brakes", "insulation"]
usual = "none"
share = 0.7
[fields.mode]
kind = "choice"
options = ["save", "plan", "push"]
"""
FAMILIES = [
    "monotone",
    "natural",
    "single",
    "assigned",
    "variable",
    "joined",
    "packed",
    "fixed",
    "apart",
]


def made(demands: str, families: Sequence[str] = FAMILIES, draws: int = 50) -> list[Proposal]:
    return found_for(parse_needs(FIELDS + demands), families, draws)


def found_for(needs: Needs, families: Sequence[str], draws: int = 50) -> list[Proposal]:
    makers = [make for family in families for make in list(candidates(needs, [family]))[:4]]
    found = proposals(needs, makers, draws=draws)
    assert found
    return found


def table_of(one: Proposal, field: str) -> CodeTable:
    [table] = {
        table.name: table
        for table in one.book.messages["lap"].tables
        if field in [each.name for each in table.fields]
    }.values()
    return table


@pytest.mark.slow
def test_a_fields_symbols_and_codewords_are_as_asked_in_every_proposal() -> None:
    found = made(
        '[codewords.alert]\nfixed = { brakes = "B" }\nwithout = "8"\n'
        '[codewords.mode]\nsymbols = "SPU"\n'
    )
    assert {one.family for one in found} >= {"monotone", "natural", "assigned", "variable", "fixed"}
    for one in found:
        alert, mode = table_of(one, "alert"), table_of(one, "mode")
        assert alert.word((1,)) == "B"
        assert "8" not in "".join(word for _, word in alert.words())
        assert {word for _, word in mode.words()} == set("SPU")
        assert [each.name for each in alert.fields] == ["alert"]


def test_a_table_in_order_rises_with_the_values_in_every_proposal() -> None:
    for one in made("[codewords.battery]\nin_order = true\n", ["assigned", "variable", "packed"]):
        words = [word for _, word in table_of(one, "battery").words()]
        assert words == sorted(words)
        assert {len(word) for word in words} == {len(words[0])}


@pytest.mark.slow
def test_a_table_is_kept_as_it_was_last_year(tmp_path: Path) -> None:
    last = next(one for one in made("", ["assigned"]) if one.name == "assigned-all")
    (tmp_path / "last.toml").write_text(last.book.source, "utf-8")
    needs = tmp_path / "needs.toml"
    needs.write_text(
        'book = "last.toml"\nmessage = "lap"\n[codewords.battery]\nkept = true\n', "utf-8"
    )
    before = dict(table_of(last, "battery").words())
    for one in found_for(load_needs(needs), ["monotone", "variable", "packed"]):
        assert dict(table_of(one, "battery").words()) == before


@pytest.mark.slow
def test_fields_are_joined_only_where_they_may_be_and_glances_never() -> None:
    for one in made('[report]\nalone = ["alert"]\nfirst = ["mode", "lap"]\n'):
        for fields in one.candidate.tables:
            assert fields == ("alert",) or "alert" not in fields
            assert set(fields) <= {"mode", "lap"} or not set(fields) & {"mode", "lap"}
        message = one.book.spec.messages["lap"]
        order = [table.name for table in one.book.messages["lap"].tables]
        first = order[: order.index(message.glance)]
        said = [each.name for name in first for each in one.book.tables[name].fields]
        assert set(said) == {"mode", "lap"}


@pytest.mark.slow
@pytest.mark.parametrize("most", [1, 2, 3])
def test_no_codeword_is_cut_by_a_pause_and_pauses_cost_their_time(most: int) -> None:
    plain = {one.name: one for one in made("", ["monotone", "variable"])}
    for one in made(f"[report]\ngroups = {most}\npause = 0.5\n", ["monotone", "variable"]):
        message = one.book.messages["lap"]
        pauses, length = one.book.spec.messages["lap"].pauses, 0
        for table in message.tables:
            length += table.lengths[1]
            assert length <= most
            if table.name in pauses:
                length = 0
        assert one.mean == pytest.approx(plain[one.name].mean + 0.5 * len(pauses))
        assert one.met.seconds >= one.mean


@pytest.mark.slow
def test_what_the_dash_cannot_show_or_people_avoid_is_never_used() -> None:
    """Of 7 segments: 8 and B are two patterns, but S is drawn as 5, and K has none (common
    practice, no source).
    """
    needs = parse_needs(FIELDS + '[dash]\ndisplay = "7 segments"\n[people]\navoid = "AF"\n')
    assert not set("SKAF") & set(needs.alphabet.symbols)
    assert set("8B5") <= set(needs.alphabet.symbols)
    for one in found_for(needs, ["variable", "packed"]):
        used = {
            s
            for table in one.book.messages["lap"].tables
            for s in table.alphabet.unmask(table.symbols)
        }
        assert not used & set("SKAF")
        assert not one.book.hearing.misread  # it is in the confusions, not counted twice
    text = written(needs, one, 1)[0]
    assert "# Not used: S, 7 segments draw it as 5." in text
    assert "computed from what 7 segments light, not measured" in text


@pytest.mark.slow
def test_a_check_behind_what_may_be_left_unsaid_says_what_it_cannot_notice() -> None:
    needs = parse_needs(
        FIELDS.replace("share = 0.7", "share = 0.97") + '[report]\nalone = ["alert"]\n'
    )
    one = next(one for one in found_for(needs, ["packed"]) if one.checked)
    message = one.book.messages["lap"]
    told = one.candidate.notes["tables.check"]
    assert "alert may be left unsaid" in told
    lost = [
        report.string
        for report in drawn(one.book, message, 4000, 3)
        if (found := message.quick(report.string[:-1])) and found.levels() != report.levels
    ]
    assert lost  # reports of which the check is lost, and another is read
    joined = next(one for one in found_for(parse_needs(FIELDS), ["packed"]) if one.checked)
    assert "unsaid" not in joined.candidate.notes["tables.check"]


@pytest.mark.slow
def test_a_designed_book_has_the_dash_it_was_designed_for(tmp_path: Path) -> None:
    dash = (
        '[dash]\ndisplay = "7x9 dots"\nplaces = 40\n'
        'colours = { white = "#f4f6f8", amber = "#ffb000" }\nlit = { alert = "amber" }\n'
    )
    needs = parse_needs(FIELDS + dash)
    for one in found_for(needs, ["packed"]):  # fields of unlike colours are never joined
        assert len(table_of(one, "alert").fields) == 1
    text = written(needs, one, 1)[0]
    assert "# Shown in amber: alert." in text
    book = parse_book(text, "lap")
    assert book.dash.given_keys() == needs.demands.spec.dash.given_keys()
    (tmp_path / "old.toml").write_text(text, "utf-8")
    again = parse_needs('book = "old.toml"\nmessage = "lap"\n', str(tmp_path / "needs.toml"))
    assert again.demands.spec.dash == book.dash
    assert "computed from what 7x9 dots light" in again.demands.look_alikes
    small = parse_needs(FIELDS + dash.replace("places = 40", "places = 3"))
    (long,) = [one for one in found_for(small, ["packed"]) if one.most.glance > 3][:1]
    assert parse_book(written(small, long, 1)[0], "lap").dash.places is None


def test_look_alikes_cost_reading_errors_until_drills_show_otherwise() -> None:
    plain = parse_needs(FIELDS)
    needs = parse_needs(FIELDS + '[dash]\ndisplay = "5x7 dots"\n')
    risen = needs.noise.confusions["8"]["B"] - plain.noise.confusions["8"]["B"]
    assert risen > 0.0002
    assert abs(needs.noise.confusions["8"]["1"] - plain.noise.confusions["8"]["1"]) < risen / 4
    stated = parse_needs(
        FIELDS + '[dash]\nsource = "our own list"\n[dash.look_alikes]\n8 = { B = 0.05 }\n'
    )
    assert stated.noise.confusions["8"]["B"] == pytest.approx(0.05, abs=0.004)
    drilled = stated.with_profile(Profile(read={"ate": {}, "eight": {"eight": 990.0}}))
    assert drilled.noise.confusions["8"]["B"] < 0.005
    assert "then drilled" in drilled.demands.look_alikes


@pytest.mark.slow
def test_prices_decide_between_proposals_in_one_unit() -> None:
    needs = parse_needs(
        FIELDS
        + "[prices]\nwrong = { alert = 1000, battery = 100, lap = 10 }\nfar = { battery = 10 }\n"
        + "looking = 2\nrepeat = 3\n"
    )
    assert needs.price("alert", 1, 2) == needs.price("alert", None, 2) == 1000
    assert needs.price("battery", 3, 4) == pytest.approx(20)  # 2 of 10 °C
    assert needs.price("battery", 3, 20) == 100
    assert needs.price("mode", 0, 1) == 300  # as [hearing] has it
    [one, *_] = found_for(needs, ["variable"])
    spent = costs(one, needs)
    assert spent["questions"] == pytest.approx(3 * one.ask)
    assert spent["looking down"] == pytest.approx(2 * (0.4 + 0.15 * one.symbols))
    heard = proposals(
        needs, [lambda: one.candidate], draws=50, listener=Scorer(10, spoilt=1, price=needs.price)
    )
    for each in heard:
        price = each.met.price
        assert price is not None
        assert 0 < price <= 1410 * each.wrong + 1e-9


def test_limits_of_the_report_the_dash_and_heart_are_told_with_what_they_miss() -> None:
    needs = parse_needs(
        FIELDS
        + "[report]\nsymbols = 4\nwords = 4\n[dash]\nplaces = 4\n"
        + '[people]\ndecode = "by heart"\npairs = 10\n'
    )
    asked = [limit.asked for limit in ceilings(needs)]
    assert needs.limits.card
    assert asked[-4:] == [
        "at most 10 pairs to learn by heart",
        "at most 4 symbols",
        "at most 4 words",
        "at most 4 symbols a glance",
    ]
    found = found_for(needs, ["natural", "variable"])
    for one in found:
        missed = broken(one, needs)
        assert ("at most 4 symbols" in missed) == (one.book.messages["lap"].lengths[1] > 4)
        assert ("at most 10 pairs to learn by heart" in missed) == (one.learning.pairs > 10)
    assert any("1 too many" in text for one in found for text in broken(one, needs).values())
    pick = chosen([dataclasses.replace(one, ear="card") for one in found], needs)
    assert pick is None or not broken(pick, needs)


REFUSED = [
    ('[codewords.alert]\nfixed = { brake = "B" }',
     "codewords.alert.fixed.brake", "no option", ""),
    ('[codewords.alert]\nfixed = { brakes = "é" }',
     "codewords.alert.fixed.brakes", "no symbol in use", "in use: "),
    ('[codewords.alert]\nfixed = { brakes = "B", none = "BA" }',
     "codewords.alert.fixed", "begins with B for brakes", "none begins"),
    ('[codewords.alert]\nfixed = { brakes = "B" }\nwithout = "B"',
     "codewords.alert.fixed.brakes", "may not use", "allow"),
    ('[codewords.alert]\nfixed = { brakes = "B" }\nin_order = true',
     "codewords.alert.in_order", "fixed and in order", "remove"),
    ('[codewords.alert]\nsymbols = "B"',
     "codewords.alert.symbols", "one symbol is left for 3", "two symbols"),
    ("[codewords.alert]\nkept = true",
     "codewords.alert.kept", "no book", "`book`"),
    ("[codewords.tyres]\nin_order = true",
     "codewords.tyres", "not said", "said are"),
    ('[codewords.alert]\nfixed = { brakes = "S" }\n[dash]\ndisplay = "7 segments"',
     "codewords.alert.fixed.brakes", "draw it as 5", "in use"),
    ('[codewords.alert]\nfixed = { brakes = "BAA" }\n[report]\ngroups = 2',
     "codewords.alert.fixed.brakes", "group of 2", "shorter"),
    ("[report]\nsymbols = 2",
     "report.symbols", "2,070 reports", "symbols = 3"),
    ("[dash]\nplaces = 2",
     "dash.places", "2,070 reports", "two glances"),
    ('[report]\nfirst = ["lap", "mode", "alert", "battery"]',
     "report.first", "second glance", "fewer"),
    ('[dash]\ncharacters = "8"',
     "dash", "1 symbols are left", "another display"),
    ("[dash.look_alikes]\n8 = { B = 0.1 }",
     "dash.look_alikes", "need a source", "`source`"),
    ("[prices.far]\nmode = 2",
     "prices.far.mode", "even steps", "`wrong`"),
    ('[people]\ndecode = "by tool"\n[limits]\ncard = true',
     "people.decode", "need not be read", "remove"),
]  # fmt: skip


@pytest.mark.parametrize(("demands", "place", "told", "hint"), REFUSED)
def test_what_cannot_be_met_is_refused_with_its_place_and_what_would_do(
    demands: str, place: str, told: str, hint: str
) -> None:
    with pytest.raises(BookError) as refused:
        parse_needs(FIELDS + demands)
    [problem] = refused.value.problems
    assert problem.path == place
    assert told in problem.message
    assert hint in problem.hint
    assert problem.line > FIELDS.count("\n")


def test_values_nobody_states_are_told_to_be_taken_as_uniform() -> None:
    """By hand: log2 23 = 4.52 bits for the battery, log2 3 = 1.58 for the mode; the lap's last
    figure runs through its values, and the alert's are stated.
    """
    needs = parse_needs(FIELDS)
    assert {name: round(bits, 2) for name, (bits, _) in needs.flat.items()} == {
        "battery": 4.52,
        "mode": 1.58,
    }
    # a normal density of deviation 2.3 steps carries log2(2.3 sqrt(2 pi e)) = 3.25 bits
    assert needs.flat["battery"][1] == pytest.approx(3.25, abs=0.01)
    [one, *_] = found_for(needs, ["variable"])
    text = " ".join(line.lstrip("# ") for line in written(needs, one, 1)[0].splitlines())
    assert "battery: nothing is known of how often its values occur" in text
    assert f"To learn: {one.learning.text}." in text
    assert parse_needs(FIELDS + "[values]\nmode = [1, 2, 1]\n").flat.keys() == {"battery"}


def test_one_family_has_no_symbol_with_two_meanings_and_one_keeps_order_in_figures() -> None:
    single, natural = made("", ["single"]), made("", ["natural"])
    assert all(not one.learning.several for one in single)
    assert {word for _, word in table_of(single[0], "mode").words()} >= set("SP")  # as they begin
    for one in natural:
        assert all(table.regular == 1 for table in one.learning.tables)
        assert [word for _, word in table_of(one, "battery").words()][:3] == ["20", "22", "24"]


def test_pauses_and_glances_of_a_book_name_tables_of_the_layout() -> None:
    [one, *_] = made("", ["monotone"])
    raw = tomllib.loads(one.book.source)
    assert "pauses" not in raw["messages"]["lap"]
    for key, value in (("pauses", '["tyres"]'), ("glance", '"tyres"')):
        with pytest.raises(BookError, match="'tyres' is not in the layout"):
            parse_book(one.book.source + f"{key} = {value}\n")
