"""What is asked next: repeatable, weak and slow items more often, and learners get there sooner."""

from __future__ import annotations

import datetime
import random
import statistics
from collections import Counter
from pathlib import Path

import pytest
from commands import Argument, called
from drill.courses import GOALS, items, saving
from drill.families import FAMILIES
from drill.support import RACE, START, answer, lap_pool, race, stamp
from helpers import first_short

from codec.drill import Answer, DrillError, Pool
from codec.drill.answer import Drill
from codec.drill.choosing import Chooser
from codec.drill.knowledge import Knowledge
from codec.drill.memory import Memory
from codec.profile import MeasuredTime, Profile, save_profile


def _asked(memory: Memory, count: int, seed: int = 1, **options: object) -> list[str]:
    chooser = Chooser(lap_pool(), memory, seed=seed, **options)  # type: ignore[arg-type]
    asked = []
    for number in range(count):
        at = START + datetime.timedelta(days=1, seconds=15 * number)
        item = chooser.next(at).item
        asked.append(item.key)
        memory.note(answer(item.text, kind=item.kind, part_of=item.part_of, at=stamp(at)))
    return asked


def _history(weak: str = "", slow: str = "") -> list[Answer]:
    """Two rounds of every symbol, known but for one."""
    rows = []
    for round_number in range(6):
        for number, item in enumerate(lap_pool().symbols):
            at = stamp(START + datetime.timedelta(seconds=600 * round_number + 10 * number))
            facts = {"said": "2", "outcome": "accepted"} if item.text == weak else {}
            rows.append(
                answer(item.text, at=at, first=0.5, last=4.0 if item.text == slow else 1.2, **facts)
            )
    return rows


def _known_of(profile: Profile, drill: Drill = "read") -> Memory:
    return Memory.of([], profile, race().alphabet, drill)


def _worth(memory: Memory, symbol: str) -> float:
    """What it is worth to ask a symbol next, as if it were alone."""
    gain = memory.knowledge.alone.gains([symbol], lambda _: 1.0)
    return float(gain[0]) + memory.slowness(symbol)


@pytest.mark.parametrize("drill", first_short(["read", "hear"]))
def test_what_races_showed_weak_is_asked_first(drill: Drill) -> None:
    """HOTEL was taken for another in a third of the cases, all other words never."""
    words = [one.word for one in race().alphabet.words.values()]
    counts: dict[str, dict[str, float]] = {word: {word: 30.0} for word in words}
    counts["hotel"] = {"hotel": 20, "golf": 10}
    profile = Profile(read=counts) if drill == "read" else Profile(heard=counts)
    known = _known_of(profile, drill)
    assert _worth(known, "H") > 2 * _worth(known, "G")
    first = Chooser(lap_pool(), known).next(START)
    assert first.why == "a whole report, with hotel wrong 10 of 30 times before the drills"
    other = Profile(heard=counts) if drill == "read" else Profile(read=counts)
    assert not _known_of(other, drill).raced


def test_words_that_take_a_person_long_are_asked_more_often() -> None:
    seconds = {
        one.word: MeasuredTime(seconds=one.seconds) for one in race().alphabet.words.values()
    }
    slow = seconds | {"hotel": MeasuredTime(seconds=3 * seconds["hotel"].seconds)}
    usual = _worth(_known_of(Profile(seconds=seconds)), "H")
    assert usual == _worth(Memory(), "H")
    assert _worth(_known_of(Profile(seconds=slow)), "H") > usual


@pytest.mark.parametrize(
    "profile", [Profile(), Profile(people=("Ana",), targets={"kept": 3}, lost={"acht": 2})]
)
def test_a_profile_of_nothing_changes_no_question(profile: Profile) -> None:
    assert _asked(_known_of(profile, "read"), 3) == _asked(Memory(), 3)
    assert not _known_of(profile, "hear").raced


def test_what_is_known_beforehand_counts_like_twenty_answers_at_most() -> None:
    few, many = (
        _known_of(Profile(read={"hotel": {"hotel": 4.0 * of, "golf": 1.0 * of}})).knowledge.alone
        for of in (4, 400)
    )
    assert few.chance("H") == pytest.approx(many.chance("H"))
    assert few.chance("H") < Memory().knowledge.alone.chance("H")


@pytest.mark.slow
def test_the_same_answers_seed_and_clock_give_the_same_questions() -> None:
    assert _asked(Memory(), 60) == _asked(Memory(), 60)
    assert _asked(Memory(), 60) != _asked(Memory(), 60, seed=2)


def test_a_stopped_session_goes_on_where_it_was() -> None:
    rows = _history()
    assert _asked(Memory.of(rows), 20) == _asked(Memory.of(list(rows)), 20)


@pytest.mark.slow
@pytest.mark.parametrize("facts", [{"weak": "H"}, {"slow": "H"}], ids=["weak", "slow"])
def test_weak_and_slow_symbols_are_asked_more_often(facts: dict[str, str]) -> None:
    usual = Counter("".join(key.split()[-1] for key in _asked(Memory.of(_history()), 150)))
    now = Counter("".join(key.split()[-1] for key in _asked(Memory.of(_history(**facts)), 150)))
    assert now["H"] > 1.3 * usual["H"]


def test_only_what_is_wanted_is_asked() -> None:
    assert all(key.startswith("pair ") for key in _asked(Memory(), 30, kinds=["pair"]))
    assert all(key.startswith("report ") for key in _asked(Memory(), 30, kinds=["report"]))


def test_every_symbol_of_the_reports_is_soon_met() -> None:
    met = "".join(key.split()[-1] for key in _asked(Memory(), 60))
    assert set(met) >= {symbol for symbol, often in lap_pool().share.items() if often > 0.05}


def test_items_come_as_often_as_in_races() -> None:
    # the energy is normally distributed about its usual value 20, with a spread of 4 steps (the
    # book): scipy's normal distribution
    from scipy import stats

    share = sum(item.text[1:3] == "20" for item in lap_pool().reports) / len(lap_pool().reports)
    expected = stats.norm(20, 4).cdf(20.5) - stats.norm(20, 4).cdf(19.5)
    assert share == pytest.approx(
        expected, abs=4 * (expected * (1 - expected) / len(lap_pool().reports)) ** 0.5
    )


def test_a_pool_of_no_message_is_refused() -> None:
    with pytest.raises(DrillError, match="no message"):
        Pool(race(), ["laps"])
    with pytest.raises(DrillError, match="together"):
        Pool(race(), ["lap", "wheel"])
    assert Pool(race(), ["wheel"]).direction == "pit"


def test_reasons_are_told() -> None:
    memory = Memory.of(_history(weak="H"))
    ahead = Chooser(lap_pool(), memory).ahead(START + datetime.timedelta(days=1), 40)
    assert any(
        question.item.text == "H" and "hotel wrong 6 of 6 times" in question.why
        for question in ahead
    )


def _saves(name: str, learners: int) -> dict[float, tuple[float, float, float]]:
    found = items(range(5000, 5000 + learners), FAMILIES[name], ("chosen", "any report"))
    return {goal: saving(found, "any report", goal) for goal in GOALS}


def test_learners_need_fewer_items_than_by_whole_reports_at_random() -> None:
    # thirty learners of each family are in tests/bench/bench_drill.py
    found = _saves("forgetting by a power", 1)
    print(found)
    assert min(saved for saved, _, _ in found.values()) > 0.15


@pytest.mark.slow
@pytest.mark.parametrize("name", FAMILIES)
def test_learners_of_every_family_need_fewer_items(name: str) -> None:
    found = _saves(name, 6)
    print(name, found)
    assert min(saved for saved, _, _ in found.values()) > 0.15


def test_a_pair_is_asked_again_by_whoever_stumbles_over_pairs() -> None:
    known, reads = Knowledge(), random.Random(3)
    assert known.believed.together == pytest.approx(0.1)
    for _ in range(150):
        shown = reads.choice(["12", "34", "56", "21", "43", "65"])
        known.note(shown, [1] if shown == "12" and reads.random() < 0.7 else [], {})
    assert known.believed.together > 0.9
    _, pairs = known.gains(["1", "2"], ["12", "34"], dict.fromkeys("1234", 1.0))
    assert pairs[0] > 10 * pairs[1]


def test_mistakes_of_symbols_are_not_blamed_on_pairs() -> None:
    known, reads = Knowledge(), random.Random(4)
    for _ in range(150):
        shown = "".join(reads.choices("123456", k=3))
        known.note(
            shown,
            [n for n, one in enumerate(shown) if one == "5" and reads.random() < 0.5],
            {},
        )
    assert known.believed.alone > 0.9
    assert known.alone.chance("5") < 0.75 < 0.95 < known.alone.chance("2")


def test_symbols_that_are_alike_are_taken_to_be() -> None:
    known, reads = Knowledge(), random.Random(4)
    for _ in range(150):
        shown = "".join(reads.choices("123456", k=3))
        known.note(shown, [n for n in range(3) if reads.random() < 0.2], {})
    assert known.believed.alike > 0.9
    symbols, _ = known.gains(list("123456"), ["12"], dict.fromkeys("123456", 1.0))
    assert max(symbols) < 1.5 * min(symbols)


def test_a_foreign_or_damaged_profile_is_refused_before_anything_is_asked(tmp_path: Path) -> None:
    path, journal = tmp_path / "other.json", tmp_path / "drills.niner"
    save_profile(Profile(heard={"acht": {"acht": 3}}), path)
    words: list[Argument] = ["drill", "read", RACE, "--person", "Ana", "--journal", journal]
    arguments = [*words, "--profile", path]
    done = called(arguments)
    assert (done.returncode, b"of another book" in done.stderr) == (2, True)
    path.write_text("{", "utf-8")
    assert called(arguments).returncode == 2
    assert not journal.exists()


def test_where_all_are_alike_chance_tells_no_symbol_from_another() -> None:
    # Stein's example: C. Stein, 3rd Berkeley Symposium 1, 1956; from memory
    known, reads, right = Knowledge(), random.Random(5), Counter[str]()
    symbols = "123456789ABCDEFGHJKLMNPQRSTUVW"
    for _ in range(20):
        for symbol in symbols:
            missed = reads.random() < 0.25
            right[symbol] += not missed
            known.alone.note(symbol, 1.0, wrong=missed)
    known.alone.pool()
    told = statistics.pstdev(known.alone.chance(symbol) for symbol in symbols)
    counted = statistics.pstdev(right[symbol] / 20 for symbol in symbols)
    print(told, counted)
    assert told < counted / 4
