"""The designer on the race book's own needs: near the bound, quicker than the hand-written report,
and no less safe.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator

import pytest
from design.by_hand import lap_alone

from codec import decode, encode, load_book
from codec.hear.scoring import Scorer
from grammar.design import (
    Needs,
    Proposal,
    analyse,
    bound_of,
    candidates,
    chosen,
    frontier,
    keyed,
    needs_of,
    noise_of,
    one_in,
    proposals,
    written,
)
from grammar.design.frontier import expected_seconds
from grammar.design.noise import rates
from grammar.errors import CodeError
from grammar.figures import drawn
from grammar.parsing import parse_book

RACE = load_book("examples/race/race.toml")


@pytest.fixture(scope="module")
def needs() -> Needs:
    return needs_of(RACE, "lap")


class Designed(dict[str, Proposal]):
    """Proposals by name, each made when it is first asked for: a packed one takes seconds."""

    def __init__(self, needs: Needs) -> None:
        super().__init__()
        self.needs = needs
        self.makers = {
            f"{family}-all{ending}": make
            for family in ("variable", "packed")
            for ending, make in zip(
                ("", "-check", "-quick"), candidates(needs, [family]), strict=False
            )
        }

    def __missing__(self, name: str) -> Proposal:
        (self[name],) = proposals(self.needs, [self.makers[name]], draws=2000)
        assert self[name].name == name
        return self[name]

    def every(self) -> list[Proposal]:
        """Return all: without a check, with a full one, a quick one."""
        return [self[name] for name in self.makers]


@pytest.fixture(scope="module")
def designed(needs: Needs) -> Designed:
    return Designed(needs)


@pytest.mark.slow
def test_a_packed_code_comes_within_five_percent_of_the_bound(
    designed: Designed,
) -> None:
    packed = designed["packed-all"]
    assert packed.bound.seconds <= packed.mean + 4 * packed.error
    assert packed.over < 0.05


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "share"),
    [("packed-all-quick", 0.70), pytest.param("packed-all-check", 0.71, marks=pytest.mark.slow)],
)
def test_a_designed_code_takes_thirty_percent_less_time_at_no_more_wrong_readings(
    name: str,
    share: float,
    designed: Designed,
    needs: Needs,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The same values at the same resolution, the same noise, the same kind of simulation:
    substitutions, lost and added words.
    """
    message = RACE.messages["lap"]
    reports = drawn(RACE, message, 2500, 1)
    hand = rates(RACE, message, noise_of(RACE.alphabet, RACE.hearing), reports)
    seconds = sum(report.seconds for report in reports) / len(reports)
    best = designed[name]
    with capsys.disabled():
        print(
            f"\n  bound {bound_of(needs).seconds:.3f} s; noise {RACE.hearing.noise}, 2500"
            " reports, standard errors in brackets"
        )
        print("  code                 mean s   saved   accepted wrong        asked again   worst s")
        print(
            f"  race book, by hand   {seconds:.3f}      –     {hand.wrong:.1e} ({hand.error:.0e})  "
            f"   {hand.ask:.1%}"
        )
        for one in designed.values():
            wrong = f"{one.wrong:.1e} ({one.met.wrong_error:.0e})"
            print(
                f"  {one.name:20} {one.mean:.3f}  {1 - one.mean / seconds:6.1%}  {wrong:20} "
                f" {one.ask:6.1%}       {one.worst:.2f}"
            )
    assert best.mean <= share * seconds
    assert best.wrong <= hand.wrong
    assert best.ask <= hand.ask


@pytest.mark.slow
@pytest.mark.parametrize("reports", [6, pytest.param(120, marks=pytest.mark.slow)])
def test_it_takes_less_radio_time_with_its_questions_too(
    reports: int, designed: Designed, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both heard by the tool, in runs of 20 laps, in a radio with bad moments, at one threshold and
    price: a quarter less at least, where 200 reports told 29 % (standard error 1 %).

    The designed code has one check symbol as the other has, and fewer words beside it by which bad
    moments could be told: its wrong readings are up to twice as many (9e-4 against 6e-4), and are
    printed, not claimed to be as few.
    """
    found = {}
    for name, book in (
        ("by hand", lap_alone(RACE)),
        ("designed", designed["packed-all-check"].book),
    ):
        found[name] = met = Scorer(reports)(book, book.messages["lap"], "tool", 3)
        with capsys.disabled():
            print(
                f"\n  heard, {name:8}: with questions {met.seconds:.2f} s"
                f" ({met.seconds_error:.2f}), wrong {one_in(met.wrong, met.wrong_error)}",
                end="",
            )
    error = math.hypot(*(met.seconds_error for met in found.values()))
    assert found["designed"].seconds <= 0.75 * found["by hand"].seconds + 2 * error
    assert found["designed"].wrong <= 0.003


@pytest.mark.slow
def test_the_book_it_writes_is_sound_and_undoes_itself(designed: Designed, needs: Needs) -> None:
    text = written(needs, designed["packed-all-quick"], 1)[0]
    assert "bits a second" in text
    assert "Event regulations" in text
    book = parse_book(text, "lap")
    assert text == written(needs, designed["packed-all-quick"], 1)[0]
    for report in drawn(book, book.messages["lap"], 60, 3):
        values = {name: book.fields[name].value(level) for name, level in report.levels.items()}
        encoded = encode(book, values, "lap")
        assert encoded.string == report.string
        assert decode(book, encoded.words).levels == report.levels


def mishaps(string: str, symbols: str) -> Iterator[tuple[str, str, str]]:
    """Yield what is heard with one word lost, added, or wrong: (string, word said, word heard)."""
    for place in range(len(string) + 1):
        before, said, after = string[:place], string[place : place + 1], string[place + 1 :]
        if said:
            yield before + after, said, ""
        for symbol in symbols:
            yield before + symbol + said + after, "", symbol
            if said and symbol != said:
                yield before + symbol + after, said, symbol


@pytest.mark.slow
@pytest.mark.parametrize("ending", ["quick", "check"])
def test_every_single_mishap_is_noticed_by_the_designed_check(
    designed: Designed, needs: Needs, ending: str
) -> None:
    """One word wrong, one lost (the check too), one added: none makes another report, but for few
    wrong words with a quick check.
    """
    candidate, book = (
        designed[f"packed-all-{ending}"].candidate,
        designed[f"packed-all-{ending}"].book,
    )
    message, symbols = book.messages["lap"], candidate.sections["tables"]["check"]["symbols"]
    values = {
        symbol: place % candidate.sections["tables"]["check"].get("modulus", len(symbols))
        for place, symbol in enumerate(symbols)
    }
    missed = set()
    for report in drawn(book, message, 40, 5):
        for heard, said, word in mishaps(report.string, book.alphabet.symbols):
            match = message.quick(heard)
            if match is not None and match.levels() != report.levels:
                missed.add((said, word))
    assert all(said and word and values[said] == values[word] for said, word in missed)
    assert all(needs.noise.confusions[said][word] < 0.002 for said, word in missed)
    assert bool(missed) == (ending == "quick")


@pytest.mark.slow
def test_the_frontier_keeps_what_nothing_beats(designed: Designed) -> None:
    best = frontier(designed.every())
    assert best
    for one in best:
        assert not any(
            all(a < b for a, b in zip(other.figures(), one.figures(), strict=True))
            for other in designed.every()
        )


@pytest.mark.slow
def test_the_quickest_code_is_taken_only_where_the_limits_bear_its_wrong_readings(
    designed: Designed, needs: Needs
) -> None:
    """Without a limit a wrong reading costs what [hearing] says, 300 s; a limit on wrong readings
    is the team's own word on them.
    """
    found = designed.every()
    assert chosen(found, needs) is min(found, key=lambda one: expected_seconds(one, needs))
    picks = [
        chosen(
            found,
            dataclasses.replace(needs, limits=needs.limits.model_copy(update={"wrong": most})),
        )
        for most in (None, 0.05, 0.001, 1e-9)
    ]
    assert [pick and pick.name for pick in picks] == [
        "packed-all-quick",
        "packed-all",
        "packed-all-quick",
        None,
    ]


def test_an_analysis_adds_up_and_names_what_the_check_notices() -> None:
    found = analyse(RACE, "lap", draws=500)
    assert sum(spent.seconds for spent in found.spent) == pytest.approx(found.mean)
    assert found.bound.seconds == pytest.approx(2.0065, abs=1e-3)
    assert all(pair.noticed for pair in found.mixed)
    assert [pair.cost for pair in found.mixed] == sorted(
        (pair.cost for pair in found.mixed), reverse=True
    )
    with pytest.raises(CodeError):
        analyse(RACE, "laps")


@pytest.mark.slow
def test_a_fresh_key_changes_meanings_and_keeps_times_rates_and_strings() -> None:
    starter = load_book("examples/starter/starter.toml")
    one = keyed(starter, b"seven long words kept apart", "Port Tessel, race 1")
    again = keyed(starter, b"seven long words kept apart", "Port Tessel, race 1")
    other = keyed(starter, b"seven long words kept apart", "Port Tessel, race 2")
    assert one.text == again.text
    assert one.text != other.text
    assert "seven long" not in one.text
    assert "Event regulations on coded radio come first" in one.text
    (before, wrong, ask), (after, wrong_after, ask_after) = one.before["lap"], one.after["lap"]
    assert abs(after - before) <= 0.05 * before
    assert abs(ask_after - ask) <= max(0.05 * ask, 0.001)
    assert abs(wrong_after - wrong) <= max(0.05 * wrong, 0.001)
    for name, table in starter.tables.items():
        assert {word for _, word in table.words()} == {
            word for _, word in one.book.tables[name].words()
        }
    moved = sum(
        a != b
        for a, b in zip(
            starter.tables["energy"].words(), one.book.tables["energy"].words(), strict=True
        )
    )
    assert moved > 30
    with pytest.raises(CodeError):
        keyed(starter, b"short", "x")
