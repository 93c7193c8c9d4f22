"""Profiles: recovered from answers, kept in files, and taken by encode, hear and design."""

from __future__ import annotations

import math
import random
import tomllib
from pathlib import Path

import pytest
from commands import called
from drill.support import DRILL, START, answer, drill_book, lap_pool, race, stamp
from hypothesis import given
from hypothesis import strategies as st

from codec import CodeError, encode, readings
from codec.drill import Answer, DrillError, Progress, profile_of
from codec.hear import hear
from codec.profile import (
    MeasuredTime,
    Profile,
    channel_of,
    load_profile,
    needs_text,
    parse_profile,
    save_profile,
    word_seconds,
)
from grammar.design.needs import parse_needs
from grammar.design.parts import SymbolPool, variable
from grammar.profile import word_of

STARTER = "examples/starter/starter.toml"
WORDS = st.sampled_from(["alfa", "bravo", "five", "niner", "two"])
COUNTS = st.dictionaries(
    WORDS, st.dictionaries(WORDS, st.integers(1, 50), min_size=1, max_size=3), max_size=4
)
TIMES = st.builds(
    MeasuredTime, seconds=st.floats(0.1, 3), error=st.floats(0, 1), count=st.integers(1, 99)
)
PROFILES = st.builds(
    Profile,
    people=st.lists(st.sampled_from(["Ana", "Ben"]), max_size=2, unique=True).map(tuple),
    startup=st.none() | TIMES,
    seconds=st.dictionaries(WORDS, TIMES, max_size=4),
    read=COUNTS,
    heard=COUNTS,
    lost=st.dictionaries(WORDS, st.integers(1, 9), max_size=2),
    added=st.dictionaries(WORDS, st.integers(1, 9), max_size=2),
)


# the simulated driver: a known model of times and confusions


class Driver:
    """Word times a fixed factor and a person's own scatter away from the alphabet's; one word in 50
    is taken for its rival.
    """

    def __init__(self, seed: int) -> None:
        self.generator = random.Random(seed)
        alphabet = race().alphabet
        self.words = {
            s: alphabet.words[s].seconds * 0.85 * math.exp(self.generator.gauss(0, 0.12))
            for s in alphabet.symbols
        }
        self.startup = self.generator.uniform(0.5, 1.2)
        self.rival = {"5": "9", "B": "8", "8": "B"}
        self.slips = {"5": 0.12, "B": 0.10, "8": 0.05}

    def answers(self, count: int, breaks: int) -> list[Answer]:
        pool = lap_pool()
        rows = []
        for number in range(count):
            item = self.generator.choice(pool.reports if number % 3 else pool.parts)
            said = "".join(
                self.rival[s] if self.generator.random() < self.slips.get(s, 0) else s
                for s in item.text
            )
            first = self.startup * math.exp(self.generator.gauss(0, 0.15))
            scatter = self.generator.gauss(0, 0.06 * math.sqrt(len(said) + 2))
            last = (
                first
                + max(0.1, sum(self.words[s] for s in said) + scatter)
                + (200 if number < breaks else 0)
            )
            facts = {
                "kind": item.kind,
                "part_of": item.part_of,
                "outcome": "right" if said == item.text else "caught",
            }
            rows.append(answer(item.text, said, first=first, last=last, at=stamp(START), **facts))
        return rows


MANY = pytest.mark.parametrize("drivers", [4, pytest.param(20, marks=pytest.mark.slow)])


@MANY
def test_300_items_recover_a_driver_within_the_stated_intervals(drivers: int) -> None:
    inside, measured, startups, errors = 0, 0, 0, []
    for seed in range(drivers):
        driver = Driver(seed)
        profile = profile_of(race(), driver.answers(300, breaks=3))
        for symbol, true in driver.words.items():
            found = profile.seconds.get(word_of(race().alphabet, symbol))
            if found is not None:
                measured += 1
                inside += abs(found.seconds - true) <= 1.96 * found.error
                errors.append(abs(found.seconds - true))
        assert profile.startup is not None
        mean = driver.startup * math.exp(
            0.15**2 / 2
        )  # the mean of the log-normal distribution they are drawn from
        startups += abs(profile.startup.seconds - mean) <= 1.96 * profile.startup.error
    print(
        f"{inside} of {measured} word times within their 95 % interval; start-up times {startups}"
        f" of {drivers}"
    )
    print(f"mean error of a word's time {sum(errors) / len(errors):.3f} s")
    assert measured >= drivers * 30
    assert 0.9 <= inside / measured <= 0.99
    assert startups >= 0.75 * drivers


@MANY
def test_300_items_recover_confusions_within_wilson_s_interval(drivers: int) -> None:
    from codec.drill.timing import share

    inside = total = 0
    for seed in range(drivers):
        driver = Driver(seed)
        profile = profile_of(race(), driver.answers(300, breaks=0))
        for shown, slips in driver.slips.items():
            row = profile.read[word_of(race().alphabet, shown)]
            wrong = row.get(word_of(race().alphabet, driver.rival[shown]), 0)
            low, high = share(wrong, sum(row.values()), 0.95)
            inside += low <= slips <= high
            total += 1
    print(f"{inside} of {total} shares of confusions within their 95 % interval")
    assert inside / total >= 0.88


# files


@given(PROFILES)
def test_a_profile_comes_back_from_its_text(profile: Profile) -> None:
    assert parse_profile(profile.model_dump_json()) == profile


@given(PROFILES, PROFILES)
def test_merging_adds_counts_whatever_the_order(one: Profile, other: Profile) -> None:
    both, turned = one.merged(other), other.merged(one)
    assert both.read == turned.read
    assert both.heard == turned.heard
    assert _heard(both) == _heard(one) + _heard(other)
    for word in both.seconds:
        assert both.seconds[word].seconds == pytest.approx(turned.seconds[word].seconds)
        counts = [
            profile.seconds[word].count for profile in (one, other) if word in profile.seconds
        ]
        assert both.seconds[word].count == sum(counts)


def _heard(profile: Profile) -> float:
    return sum(count for row in profile.heard.values() for count in row.values())


def test_files_are_written_whole_or_not_at_all(tmp_path: Path) -> None:
    profile = Profile(people=("Ana",)).with_heard(
        race().alphabet, [("5", "9"), ("5", ""), ("", "A")]
    )
    save_profile(profile, tmp_path / "ana.json")
    assert load_profile(tmp_path / "ana.json") == profile
    with pytest.raises(CodeError) as caught:
        save_profile(profile, tmp_path / "none" / "ana.json")
    assert caught.value.kind == "profile-file"
    assert [path.name for path in tmp_path.iterdir()] == ["ana.json"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{", "not JSON"),
        ("[]", "a table of keys"),
        ('{"format": "other"}', "niner profile 1"),
        ('{"secs": {}}', "secs"),
        ('{"seconds": {"alfa": {"seconds": -1}}}', "seconds.alfa.seconds"),
        ('{"heard": {"alfa": {"alfa": -2}}}', "heard.alfa.alfa"),
        ('{"heard": {"": {"alfa": 2}}}', "no word"),
    ],
)
def test_what_is_no_profile_is_refused_with_its_place(text: str, told: str) -> None:
    with pytest.raises(CodeError, match="profile") as caught:
        parse_profile(text)
    assert told in str(caught.value)
    assert caught.value.kind == "profile"


# the loop

SLOW_LETTERS = Profile(
    people=("Ana",),
    seconds={
        word_of(drill_book().alphabet, symbol): MeasuredTime(
            seconds=0.55 if symbol.isdigit() else 1.6, error=0.03, count=12
        )
        for symbol in drill_book().alphabet.symbols
    },
)
NINER_FOR_FIVE = Profile(people=("Ben",)).with_heard(
    drill_book().alphabet, [("5", "9")] * 6 + [("5", "5")] * 14 + [("9", "9")] * 20
)


def test_a_profile_changes_the_string_chosen() -> None:
    values = {"lap": 3, "energy": "-0.3", "battery": 44}
    usual, own = encode(drill_book(), values), encode(drill_book(), values, profile=SLOW_LETTERS)
    assert (usual.string, own.string) == ("317L", "31744")
    assert usual.reading == own.reading
    assert own.seconds == pytest.approx(5 * 0.55)
    assert encode(drill_book(), values, by="symbols", profile=SLOW_LETTERS).string == "317L"


@given(st.integers(0, 9), st.integers(-20, 20), st.integers(13, 30), PROFILES)
def test_strings_chosen_for_a_person_still_read_the_same(
    lap: int, energy: int, battery: int, profile: Profile
) -> None:
    encoded = encode(
        drill_book(), {"lap": lap, "energy": energy / 10, "battery": 2 * battery}, profile=profile
    )
    assert readings(drill_book(), encoded.string, typed=True) == [encoded.reading]
    own = word_seconds(profile, drill_book().alphabet)
    for other in (
        encode(drill_book(), encoded.reading),
        encode(drill_book(), encoded.reading, by="symbols"),
    ):
        assert encoded.seconds <= sum(own[symbol] for symbol in other.string) + 1e-9


def test_a_profile_changes_the_decision() -> None:
    said = "niner one seven juliett"
    usual = hear(drill_book(), said)
    own = hear(drill_book(), said, noise=channel_of(drill_book(), NINER_FOR_FIVE))
    assert usual.decision.kind == "accept"
    assert (own.decision.kind, own.decision.question) == ("ask part", "SAY AGAIN ALL BEFORE ONE")
    assert own.candidates[0].reading == usual.candidates[0].reading


def test_a_channel_of_no_counts_is_the_book_s_own() -> None:
    import numpy as np

    from codec.hear.channel import channel

    own, base = channel_of(race(), Profile()), channel(race())
    assert np.allclose(own.table, base.table)
    assert (own.insertion, own.deletion) == (base.insertion, base.deletion)


def test_a_channel_is_the_mean_of_the_dirichlet_posterior() -> None:
    # scipy.stats.dirichlet: prior of the book's row times its strength, plus counts
    import numpy as np
    from scipy import stats

    from codec.hear.channel import channel

    book, at = race(), race().alphabet.index
    own = channel_of(
        book, Profile().with_heard(book.alphabet, [("5", "9")] * 7 + [("5", "5")] * 30)
    )
    counts = np.zeros(len(at))
    counts[at["9"]], counts[at["5"]] = 7, 30
    wanted = stats.dirichlet(book.hearing.strength * channel(book).table[at["5"]] + counts).mean()
    assert np.allclose(own.table[at["5"]], wanted)


def test_misreadings_and_mishearings_are_taken_together() -> None:
    import numpy as np

    book, at = race(), race().alphabet.index
    heard = Profile().with_heard(book.alphabet, [("8", "A")] * 100 + [("8", "8")] * 100)
    both = heard.merged(Profile().with_read(book.alphabet, [("B", "8")] * 500 + [("B", "B")] * 500))
    assert np.allclose(channel_of(book, both).table.sum(axis=1), 1)
    assert channel_of(book, both).table[at["B"], at["A"]] == pytest.approx(0.5 * 0.5, abs=0.05)
    assert channel_of(book, heard).table[at["B"], at["A"]] < 0.02


def test_a_profile_changes_the_designed_table(tmp_path: Path) -> None:
    book = tmp_path / "drill.toml"
    book.write_text(drill_book().source, "utf-8")
    head = 'book = "drill.toml"\nsay = ["battery"]\n'
    usual = parse_needs(head, str(tmp_path / "needs.toml"))
    own = parse_needs(
        head + needs_text(drill_book(), SLOW_LETTERS.merged(NINER_FOR_FIVE)),
        str(tmp_path / "needs.toml"),
    )
    assert own.alphabet.words["A"].seconds == pytest.approx(1.6, abs=0.01)
    assert own.alphabet.words["7"].seconds == pytest.approx(0.55, abs=0.01)
    assert own.noise.confusions["5"]["9"] == pytest.approx(6 / 30, abs=0.01)
    before, after = (
        variable(SymbolPool(needs, needs.alphabet.symbols), ["battery"])["words"]
        for needs in (usual, own)
    )
    assert before != after
    letters = [sum(not symbol.isdigit() for symbol in "".join(words)) for words in (before, after)]
    print(
        f"letters in the designed table: {letters[0]} before, {letters[1]} with the profile of a"
        " driver who is slow at letters"
    )
    assert letters[1] < letters[0]


def test_the_needs_of_a_profile_are_toml() -> None:
    facts = tomllib.loads(needs_text(drill_book(), NINER_FOR_FIVE))
    assert sum(facts["hearing"]["confusions"]["5"].values()) == pytest.approx(1, abs=1e-5)
    assert sum(facts["hearing"]["confusions"]["5"].values()) <= 1


def test_words_never_measured_go_at_the_person_s_own_rate() -> None:
    alphabet = race().alphabet
    fast = Profile(
        seconds={
            word_of(alphabet, s): MeasuredTime(seconds=alphabet.words[s].seconds / 2, count=5)
            for s in "123"
        }
    )
    assert word_seconds(fast, alphabet)["A"] == pytest.approx(alphabet.words["A"].seconds / 2)
    assert word_seconds(Profile(), alphabet)["A"] == alphabet.words["A"].seconds


def test_flashed_words_typed_values_and_words_not_made_out_are_no_mishearings() -> None:
    rows = [
        answer("5", "9", drill="hear", noise="flashed"),
        answer("5", "9", drill="hear", noise="noisy"),
        answer("5", "9", drill="hear", noise="harsh"),
        answer("4223VRBR", "4223VRBR", drill="hear", noise="noisy", answer="lap=4 energy=0.2"),
        answer("59", "5", drill="hear", noise="harsh", answer="five ?", outcome="caught"),
    ]
    assert profile_of(race(), rows).heard == {"five": {"niner": 2, "five": 1}}
    assert profile_of(race(), rows).lost == {}
    assert profile_of(race(), rows, noise="noisy").heard == {"five": {"niner": 1}}
    ratios = [answer("5", "9", drill="hear", noise=noise) for noise in ("3", "3.0", "+3", "-3")]
    assert profile_of(race(), ratios, noise="3.00").heard == {"five": {"niner": 3}}
    with pytest.raises(DrillError, match="unknown grade of noise 'loudest'"):
        profile_of(race(), rows, noise="loudest")


def test_the_example_s_people_change_a_string_and_a_decision() -> None:
    ana, ben = (load_profile(DRILL.parent / f"{name}.json") for name in ("ana", "ben"))
    assert (
        encode(drill_book(), {"lap": 3, "energy": "-0.3", "battery": 44}, profile=ana).string
        == "31744"
    )
    assert (
        hear(
            drill_book(), "niner one seven juliett", noise=channel_of(drill_book(), ben)
        ).decision.kind
        == "ask part"
    )


# word times that change


class SpeedsUp(Driver):
    """Gets faster: by a power of how often a word was said, or exponentially by that or by all that
    was said; or changes their way of speaking once.
    """

    def __init__(self, seed: int, how: str, count: int) -> None:
        super().__init__(seed)
        self.how, self.count, self.number = how, count, 0
        self.said: dict[str, int] = {}
        self.more = self.generator.uniform(0.2, 0.6)

    def now(self, symbol: str) -> float:
        """Return the seconds that a word takes just now."""
        slower: float = {
            "by each word": math.pow(1 + self.said.get(symbol, 0), -0.4),
            "by each word, exponentially": math.exp(-self.said.get(symbol, 0) / 25),
            "by all words": math.exp(-self.number / 100),
            "at once": 0.5 * (self.number < self.count // 2),
        }[self.how]
        return self.words[symbol] * (1 + self.more * slower)

    def changing(self) -> list[Answer]:
        pool, rows = lap_pool(), []
        for number in range(self.count):
            self.number = number
            item = self.generator.choice(pool.reports if self.number % 3 else pool.parts)
            first = self.startup * math.exp(self.generator.gauss(0, 0.15))
            spoken = sum(self.now(symbol) for symbol in item.text)
            spoken += self.generator.gauss(0, 0.06 * math.sqrt(len(item.text) + 2))
            for symbol in item.text:
                self.said[symbol] = self.said.get(symbol, 0) + 1
            facts = {"kind": item.kind, "part_of": item.part_of, "at": stamp(START)}
            rows.append(answer(item.text, first=first, last=first + max(0.1, spoken), **facts))
        return rows


def _coverage(how: str, drivers: int, count: int = 300) -> float:
    inside = measured = 0
    for seed in range(drivers):
        driver = SpeedsUp(seed, how, count)
        profile = profile_of(race(), driver.changing())
        for symbol in driver.words:
            found = profile.seconds.get(word_of(race().alphabet, symbol))
            if found is not None:
                measured += 1
                inside += abs(found.seconds - driver.now(symbol)) <= 1.96 * found.error
    print(f"{how}: {inside / measured:.1%} of {measured} present word times in their interval")
    return inside / measured


def test_word_times_are_those_of_now_where_the_driver_speeds_up() -> None:
    assert 0.9 <= _coverage("by all words", 3) <= 1


@pytest.mark.slow
@pytest.mark.parametrize(
    ("how", "count"),
    [
        ("by each word", 300),
        ("by each word, exponentially", 600),
        ("by all words", 300),
        ("at once", 300),
    ],
)
def test_intervals_hold_what_is_true_now_of_drivers_who_change(how: str, count: int) -> None:
    assert 0.93 <= _coverage(how, 20, count) <= 0.98


@pytest.mark.slow
def test_impossible_presses_are_set_aside_and_told() -> None:
    driver = Driver(3)
    rows = driver.answers(60, breaks=0)
    twice = [
        answer("1234567", first=0.8, last=0.8 + 7 * 0.041, kind="report"),  # 41 ms a word
        answer("1234567", first=0.03, last=4.0, kind="report"),  # before it can have been seen
    ]
    found = Progress(race(), [*rows, *twice], "read", START)
    assert found.impossible == 2
    assert found.as_dict()["impossible"] == 2
    assert profile_of(race(), [*rows, *twice]).seconds == profile_of(race(), rows).seconds
    assert found.right.asked == 62


# look-alikes read off the dash


def test_what_is_misread_at_a_glance_is_what_hear_reckons_with() -> None:
    slips = [answer("8", "B", exposure=0.5, kind="symbol", part_of="") for _ in range(6)] + [
        answer("8", exposure=0.5, kind="symbol", part_of="") for _ in range(14)
    ]
    profile = profile_of(race(), slips)
    assert profile.read == {"eight": {"bravo": 6, "eight": 14}}
    plain, own = channel_of(race(), Profile()), channel_of(race(), profile)
    index = race().alphabet.index
    was, now = (float(one.table[index["8"]][index["B"]]) for one in (plain, own))
    assert now > 10 * was
    assert now == pytest.approx(6 / 20, abs=0.2)


def test_flashes_shorter_than_the_person_needs_are_no_misreadings() -> None:
    rows = [
        answer(
            "1234567", "1284567" if exposure < 0.5 else None,
            exposure=exposure, measured=True, kind="report",
        )
        for exposure in (0.25, 0.3, 0.4, 0.5, 0.6, 0.7, 0.9)
        for _ in range(8)
    ]  # fmt: skip
    assert not any("eight" in row for row in profile_of(race(), rows).read.values())
    kept = [one.replace(measured=False) for one in rows]
    assert any("eight" in row for row in profile_of(race(), kept).read.values())


@pytest.mark.parametrize(
    "command",
    [
        ("design", "examples/design/demands.toml", "--profile"),
        ("design", STARTER, "--message", "lap", "--profile"),
        ("drill", "needs", STARTER),
        ("hear", STARTER, "one", "--profile"),
        ("encode", STARTER, "energy=0", "--profile"),
    ],
    ids=" ".join,
)
def test_a_foreign_or_damaged_profile_is_refused(command: tuple[str, ...], tmp_path: Path) -> None:
    path = tmp_path / "other.json"
    save_profile(Profile(heard={"acht": {"acht": 3}}), path)
    for text, why in ((None, b"of another book"), ("{", b"problem"), ("", b"problem")):
        if text is not None:
            path.write_text(text, "utf-8")
        done = called([*command, path])
        assert (done.returncode, why in done.stderr, done.stdout) == (2, True, b""), done
