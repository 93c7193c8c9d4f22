"""How bad the radio is just now is not known: the words of a report share it, and those before it
tell of it.
"""

from __future__ import annotations

import itertools
import math
import random
import re
import tomllib
from pathlib import Path

import pytest
from hear.books import PLAIN, lap_book

from codec import encode, load_book
from codec.hear import channel, hear
from codec.hear.draw import passed_on
from grammar.hearing import HearingSpec, RadioCondition

RACE = load_book("examples/race/race.toml")
LAST = {"lap": 3, "energy": "-0.3", "motor": 105, "inverter": 75, "battery": 46, "alert": []}
NEXT = {"lap": 4, "energy": "-0.4", "motor": 105, "inverter": 75, "battery": 48, "alert": []}
SAID = encode(RACE, NEXT, "lap").words.split()


def spoiled(chance: random.Random) -> list[str]:
    """A report of which two words, any two, were heard as any others."""
    words = list(SAID)
    for place in chance.sample(range(len(words)), 2):
        words[place] = chance.choice(sorted(entry.word for entry in RACE.alphabet.words.values()))
    return words


def test_what_is_heard_tells_the_condition_of_the_radio() -> None:
    clean = hear(RACE, SAID, prior=LAST)
    assert sum(clean.conditions) == pytest.approx(1)
    assert clean.conditions[-1] < 0.04
    bad = hear(RACE, [SAID[0], "zebra", "lemon", *SAID[3:]], prior=LAST)
    assert bad.conditions[-1] > 0.9
    ears = channel(RACE)
    assert ears.expected(clean.radio)[-1] < ears.expected()[-1] < ears.expected(bad.radio)[-1]


@pytest.mark.slow
def test_a_radio_that_stays_bad_is_known_to_be_within_ten_reports() -> None:
    chance, radio = random.Random(5), tuple[float, ...]()
    for _ in range(10):
        radio = hear(RACE, spoiled(chance), prior=LAST, radio=radio).radio
    assert channel(RACE).expected(radio)[-1] > 0.8
    for _ in range(10):
        radio = hear(RACE, SAID, prior=LAST, radio=radio).radio
    assert channel(RACE).expected(radio)[-1] < 0.1


@pytest.mark.parametrize("every", [20, 5])
def test_how_many_reports_are_spoilt_is_learnt_though_they_come_singly(every: int) -> None:
    """Told well apart, one report in so many is spoilt: what is expected of the next comes near, in
    the mean over reports.
    """
    ears, radio, expected = channel(RACE), tuple[float, ...](), list[float]()
    for number in range(40 * every):
        expected.append(ears.expected(radio)[-1])
        radio = ears.after(radio, (1e-4, 1e-4, 1.0) if number % every == 0 else (1.0, 1.0, 0.02))
    settled = expected[10 * every :]
    assert sum(settled) / len(settled) == pytest.approx(1 / every, rel=0.35)


def test_regimes_are_followed_exactly() -> None:
    """By brute force over all ways that regimes may follow one another."""
    ears, radio = channel(RACE), tuple[float, ...]()
    told = [(1.0, 0.7, 0.02), (0.001, 0.01, 1.0), (0.7, 0.6, 1.0)]
    for one in told:
        radio = ears.after(radio, one)
    weights = [0.0] * len(ears.regimes)
    for way in itertools.product(range(len(ears.regimes)), repeat=len(told) + 1):
        weight = ears.regimes[way[0]].likely
        for (before, now), heard in zip(itertools.pairwise(way), told, strict=True):
            weight *= sum(a * b for a, b in zip(ears.regimes[before].shares, heard, strict=True))
            weight *= ears.forgotten * ears.regimes[now].likely + (before == now) * (
                1 - ears.forgotten
            )
        weights[way[-1]] += weight
    assert radio == pytest.approx([one / sum(weights) for one in weights], rel=1e-12)
    assert ears.expected() == pytest.approx([one.share for one in ears.conditions], rel=1e-9)


def test_reports_read_without_hearing_tell_of_the_radio_too() -> None:
    ears = channel(RACE)
    bad = ears.learnt(ears.learnt((), 7, clean=False), 7, clean=False)
    assert sum(bad) == pytest.approx(1)
    assert ears.expected(bad)[-1] > 3 * ears.expected()[-1]
    assert ears.expected(ears.learnt(bad, 7, clean=True))[-1] < ears.expected(bad)[-1]


def test_the_same_words_are_asked_about_once_the_radio_is_known_to_be_bad() -> None:
    heard = SAID.copy()
    heard[1] = "niner" if heard[1] != "niner" else "one"
    spoilt = [regime.shares[-1] for regime in channel(RACE).regimes]
    good, bad = (
        hear(RACE, heard, prior=LAST, radio=[float(n == which) for n in range(len(spoilt))])
        for which in (spoilt.index(min(spoilt)), spoilt.index(max(spoilt)))
    )
    assert bad.candidates[0].probability < good.candidates[0].probability


@pytest.mark.slow
@pytest.mark.parametrize("known", [True, False])
def test_two_wrong_words_are_hardly_ever_made_a_report_of(known: bool) -> None:
    chance, radio, wrong = random.Random(2), tuple[float, ...](), 0
    for _ in range(40):
        found = hear(RACE, spoiled(chance), prior=LAST if known else None, radio=radio)
        radio = found.radio
        wrong += found.accepted is not None and found.accepted.said != encode(RACE, NEXT).string
    assert wrong <= 1


def test_neighbours_that_the_driver_swapped_are_thought_of() -> None:
    """The check tells that something is wrong, not what."""
    sure = []
    for swapped in (0.0, 0.05):
        book = lap_book(**PLAIN | {"swapped": swapped})
        words = encode(book, {"lap": 4, "energy": "0.3", "motor": 97, "alert": []}).words.split()
        words[3:5] = words[4], words[3]
        found = hear(book, words)
        sure.append(sum(c.probability for c in found.candidates if c.reading["motor"] == 97))
    assert sure[1] > 10 * sure[0]
    assert sure[1] > 0.5


def mishaps(chance: random.Random) -> int:
    """Return in how many places a report of seven words is not heard as it was said."""
    heard = passed_on(channel(RACE), "9999999", chance)
    return max(7, len(heard)) - heard.count(RACE.alphabet.words["9"].word)


def test_where_one_word_is_spoilt_others_are_more_often_than_by_chance() -> None:
    """How many mishaps a report has is spread far wider than if words were spoilt independently."""
    chance, count = random.Random(11), 20_000
    found = [mishaps(chance) for _ in range(count)]
    mean = sum(found) / count
    several = 1 - math.exp(-mean) * (1 + mean)  # by S. D. Poisson
    assert sum(one > 1 for one in found) / count > 1.5 * several
    assert sum(one > 1 for one in found) > 0.5 * sum(one > 0 for one in found)
    assert sum(one > 0 for one in found) < 0.15 * count


@pytest.mark.parametrize(
    ("heard", "last"),
    [
        # an inner word lost, and the check symbol, heard as another, fits one of the reports that
        # this may have been
        (
            "five three two bravo four sierra",
            {"lap": 14, "energy": "1.4", "motor": 90, "inverter": 70, "battery": 46, "alert": []},
        ),
        (
            "niner two two one alfa seven",
            {"lap": 18, "energy": "0.1", "motor": 70, "inverter": 55, "battery": 46, "alert": []},
        ),
    ],
)
def test_a_word_lost_is_no_sure_thing_once_two_reports_had_another_wrong_as_well(
    heard: str, last: dict[str, object]
) -> None:
    radio = tuple[float, ...]()
    for _ in range(2):
        radio = hear(RACE, [*SAID[1:5], "zebra"], prior=LAST, radio=radio).radio
    found = hear(RACE, heard, prior=last, radio=radio)
    assert found.accepted is None


def test_the_guide_tells_the_conditions_that_are_taken_where_a_book_has_none() -> None:
    text = Path("examples/files.md").read_text("utf-8")
    (told,) = re.findall(r"^    (conditions = \[.*\])$", text, re.MULTILINE)
    given = [RadioCondition(**row) for row in tomllib.loads(told)["conditions"]]
    taken = HearingSpec().conditions
    rows = [[(one.share, one.bad, one.words, one.times) for one in some] for some in (given, taken)]
    assert rows[0] == rows[1]
