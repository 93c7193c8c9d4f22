"""What is asked next: repeatable, weak and slow items more often, and learners get there sooner."""

from __future__ import annotations

import datetime
import random
from collections import Counter

import pytest
from drill.courses import GOALS, items, saving
from drill.families import FAMILIES
from drill.support import START, answer, lap_pool, race, stamp

from codec.drill import Answer, DrillError, Pool
from codec.drill.choosing import Chooser
from codec.drill.knowledge import Knowledge
from codec.drill.memory import Memory


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
    assert known.together == pytest.approx(0.1)
    for _ in range(150):
        shown = reads.choice(["12", "34", "56", "21", "43", "65"])
        known.note(shown, [1] if shown == "12" and reads.random() < 0.7 else [], {})
    assert known.together > 0.9
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
    assert known.together < 0.1
    assert known.alone.chance("5") < 0.75 < 0.95 < known.alone.chance("2")
