"""A recogniser's doubts reach the posterior as they are: it equals the sum over all readings and
all ways a recogniser may have heard them, listed one by one.
"""

from __future__ import annotations

import functools
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import pytest
from hear import brute
from hear.books import lap_book
from hear.test_exactness import assert_same, small
from hypothesis import given, settings
from hypothesis import strategies as st
from laws.reference import Reference
from strategies import Drawn, books

from codec import CodeError, Incomplete, ReportError
from codec.hear import AskedPart, Prior, Slots, channel, hear
from codec.hear.priors import shares
from codec.hear.slots import Score
from grammar.message import Direction

FEW = settings(max_examples=6)
Place = tuple[Mapping[str, float], float]  # likelihood by symbol, and of no symbol


def listed_places(drawn: Drawn, heard: Slots) -> list[Place]:
    """Return gaps and slots in turn, by the description alone."""
    symbols = drawn.book.alphabet.symbols
    symbol_of = {entry.word: symbol for symbol, entry in drawn.book.alphabet.words.items()}
    gaps = heard.gaps or [{}] * (len(heard.slots) + 1)
    found: list[Place] = []
    for number in range(2 * len(heard.slots) + 1):
        words: Mapping[Any, float] = (heard.slots if number % 2 else gaps)[number // 2]
        rest = 1 - math.fsum(words.values())
        even = rest / (len(symbols) + 1) if number % 2 else 0.0
        likely = dict.fromkeys(symbols, even)
        for word, share in words.items():
            if word in symbol_of:
                likely[symbol_of[word]] += share
        other = math.fsum(share for word, share in words.items() if word not in symbol_of)
        found.append((likely, other + (even if number % 2 else rest)))
    return found


def of_slots(shown: str, places: Sequence[Place], misread: float, swapped: float) -> float:
    """Return the probability of the places if a string was shown: every symbol is at a place, or
    two are swapped and in slots that follow one another; places between hold none.
    """
    swapped = swapped if len(places) > 3 else 0.0

    def at(place: int, symbol: str) -> float:
        likely = places[place][0]
        others = math.fsum(share for other, share in likely.items() if other != symbol)
        return (1 - misread) * likely[symbol] + misread / (len(likely) - 1) * others

    @functools.cache
    def rest(number: int, place: int) -> float:
        if number == len(shown):
            return math.prod(passed for _, passed in places[place:])
        found, over = 0.0, 1.0
        for here in range(place, len(places)):
            found += over * (1 - swapped) * at(here, shown[number]) * rest(number + 1, here + 1)
            if here % 2 and here + 2 < len(places) and number + 1 < len(shown):
                both = at(here + 2, shown[number]) * at(here, shown[number + 1])
                between = places[here + 1][1]
                found += over * swapped * both * between * rest(number + 2, here + 3)
            over *= places[here][1]
        return found

    return rest(0, 0)


def listed_posterior(
    drawn: Drawn,
    names: Sequence[str],
    expected: Mapping[str, Any],
    places: Sequence[Place],
    likelihood: Any,
) -> brute.Posterior:
    reference = Reference(drawn.draft)
    found = {name: list(brute.ways(reference, name, expected)) for name in names}
    longest = max(len(way.string) for every in found.values() for way in every)
    masses: dict[Any, float] = defaultdict(float)
    for name, every in found.items():
        whole = math.fsum(way.weight for way in every)
        for way in every:
            weight = (1 - brute.STRAY) / len(found) * way.weight / whole
            masses[name, way.levels] += weight * likelihood(way.string)
    chance = [passed + math.fsum(likely.values()) / len(likely) for likely, passed in places]
    stray = brute.STRAY * math.prod(chance) / (2 * longest)
    total = math.fsum([*masses.values(), stray])
    levels: dict[str, dict[int, float]] = defaultdict(lambda: defaultdict(float))
    for (_, reading), mass in masses.items():
        for name, level in reading:
            levels[name][level] += mass / total
    return brute.Posterior({k: m / total for k, m in masses.items()}, stray / total, levels)


def doubts(draw: Any, drawn: Drawn, string: str) -> Slots:
    """Draw what a recogniser may tell of a string: words in doubt, missed, or of other talk."""
    words = drawn.book.alphabet.words
    word = st.sampled_from([entry.word for entry in words.values()])
    share = st.floats(0.01, 0.3)
    slots, gaps = [], []
    for symbol in string[:4]:
        slot: dict[str | None, float] = {words[symbol].word: draw(st.floats(0.1, 0.6))}
        slot |= {
            one: draw(share) / 3 for one in draw(st.lists(word, max_size=2)) if one not in slot
        }
        slot |= draw(st.sampled_from([{}, {None: 0.1}, {"wombat": 0.05, None: 0.02}]))
        slots.append(slot)
        gaps.append({draw(word): draw(share)} if draw(st.booleans()) else {})
    return Slots(slots, draw(st.sampled_from([[*gaps, {}], []])))


def drawn_doubts(drawn: Drawn, data: Any) -> tuple[Direction, list[str], Slots]:
    direction: Direction = "car" if drawn.book.sent_by("car") else "pit"
    names = small(drawn, direction)
    way = data.draw(st.sampled_from([way for way in drawn.ways if way.message in names]))
    return direction, names, doubts(data.draw, drawn, way.string)


@FEW
@given(books(), st.data())
def test_doubts_are_weighed_over_all_readings_and_all_ways_to_have_heard_them(
    drawn: Drawn, data: Any
) -> None:
    direction, names, heard = drawn_doubts(drawn, data)
    hearing = hear(drawn.book, heard, prior=Prior(flat=True), direction=direction, count=4)
    expected = shares(drawn.book, Prior(flat=True), list(drawn.book.fields))
    places = listed_places(drawn, heard)

    def likelihood(string: str) -> float:
        return of_slots(string, places, brute.MISREAD, brute.SWAPPED)

    assert_same(hearing, listed_posterior(drawn, names, expected, places, likelihood))


@FEW
@given(books(), st.data())
def test_a_score_of_all_strings_takes_the_place_of_what_the_slots_say_of_them(
    drawn: Drawn, data: Any
) -> None:
    direction, names, heard = drawn_doubts(drawn, data)
    places = listed_places(drawn, heard)
    weights: dict[str, float] = {}

    def score(strings: Sequence[str]) -> list[float]:
        return [weights.setdefault(s, math.sin(len(weights) * 7.0) * 3 - 4) for s in strings]

    whole = Slots(heard.slots, heard.gaps, score)
    prior = Prior(flat=True)
    hearing = hear(drawn.book, whole, prior=prior, direction=direction, count=80)
    expected = shares(drawn.book, prior, list(drawn.book.fields))
    symbols = drawn.book.alphabet.symbols
    best = (max(symbols, key=lambda s: likely[s]) for likely, _ in places)
    pairs = zip(best, places, strict=True)
    anchor = "".join(s for s, (likely, passed) in pairs if likely[s] > passed)
    slots_of_anchor = of_slots(anchor, places, 0.0, 0.0)

    def likelihood(string: str) -> float:
        kept = (1 - brute.MISREAD) ** len(string)
        kept *= (1 - (brute.SWAPPED if len(places) > 3 else 0.0)) ** len(string)
        own = of_slots(string, places, 0.0, 0.0)
        both = of_slots(string, places, brute.MISREAD, brute.SWAPPED)
        if string not in weights:
            return both
        scored = slots_of_anchor * math.exp(weights[string] - weights[anchor])
        return both - kept * own + kept * scored

    listed = listed_posterior(drawn, names, expected, places, likelihood)
    assert hearing.nothing == pytest.approx(listed.nothing, rel=1e-9, abs=1e-9)
    for candidate in hearing.candidates:
        key = (candidate.reading.message, tuple(candidate.reading.levels.items()))
        assert candidate.probability == pytest.approx(listed.readings[key], rel=1e-9, abs=1e-9)
    for name, marginal in hearing.marginals.items():
        for level, probability in enumerate(marginal.probabilities):
            assert probability == pytest.approx(listed.levels[name].get(level, 0.0), abs=1e-9)


BOOK = lap_book()


def sure(string: str) -> list[dict[str | None, float]]:
    words = BOOK.alphabet.words
    return [{words[symbol].word: 0.97, None: 0.01} for symbol in string]


def a_report(words: str = "four two zero niner zero five six") -> str:
    return hear(BOOK, words).candidates[0].reading.said


def test_sure_slots_are_accepted_and_the_radio_is_as_known_as_before() -> None:
    string = a_report()
    ears = channel(BOOK)
    radio = [float(regime.shares[-1] > 0.9) for regime in ears.regimes]
    radio = [one / sum(radio) for one in radio]
    hearing = hear(BOOK, Slots(sure(string)), radio=radio)
    assert hearing.accepted is not None
    assert hearing.accepted.said == string
    assert hearing.conditions == pytest.approx(ears.expected(radio))


def test_a_score_decides_between_readings_that_the_slots_hold_alike() -> None:
    string, other = a_report(), a_report("four two one niner five eight")
    words = BOOK.alphabet.words
    even: list[dict[str | None, float]] = [
        {words[one].word: 0.98} if one == two else {words[one].word: 0.49, words[two].word: 0.49}
        for one, two in zip(string, other, strict=True)
    ]
    flat = Prior(flat=True)
    alike = hear(BOOK, Slots(even), prior=flat)
    told = hear(
        BOOK, Slots(even, score=lambda ss: [0.0 if s == string else -12.0 for s in ss]), prior=flat
    )
    assert alike.accepted is None
    assert told.accepted is not None
    assert told.accepted.said == string


@pytest.mark.slow
def test_scores_far_apart_still_decide_and_a_string_of_no_likelihood_is_no_measure() -> None:
    """The scores of whole strings differ by hundreds where many frames of sound are summed."""
    string, other = a_report(), a_report("four two one niner five eight")
    words = BOOK.alphabet.words

    def table(scores: Mapping[str, float], among: float) -> Score:
        return lambda strings: [scores.get(one, among) for one in strings]

    even: list[dict[str | None, float]] = [
        {words[one].word: 0.98} if one == two else {words[one].word: 0.55, words[two].word: 0.43}
        for one, two in zip(string, other, strict=True)
    ]
    for scores in (
        {string: -900.0, other: -400.0},  # 500 above what the slots hold most likely
        {string: -math.inf, other: -400.0},
    ):
        for among in (-420.0, -math.inf):
            heard = Slots(even, score=table(scores, among))
            hearing = hear(BOOK, heard, prior=Prior(flat=True))
            assert hearing.accepted is not None
            assert hearing.accepted.said == other
    nowhere = Slots(even, score=lambda ss: [-math.inf] * len(ss))
    assert hear(BOOK, nowhere, prior=Prior(flat=True)).accepted is None


def test_a_score_that_can_not_tell_changes_nothing() -> None:
    heard = sure(a_report())
    plain = hear(BOOK, Slots(heard))
    silent = hear(BOOK, Slots(heard, score=lambda ss: [None] * len(ss)))
    assert [c.probability for c in silent.candidates] == [c.probability for c in plain.candidates]


def test_other_talk_around_a_report_costs_nothing_and_alone_is_no_report() -> None:
    report = sure(a_report())
    talk: list[Any] = [{"copy": 0.9, None: 0.1}, {"wombat": 0.95, None: 0.05}]
    assert hear(BOOK, Slots([*talk, *report])).accepted is not None
    alone = hear(BOOK, Slots([{"copy": 0.9, "four": 0.02}, {"tree house": 0.9, "four": 0.02}]))
    assert alone.accepted is None
    assert alone.nothing > 0.5


def test_an_answer_in_slots_is_weighed_with_the_report_before() -> None:
    string = a_report()
    doubted: list[Any] = sure(string)
    words = BOOK.alphabet.words
    doubted[-2] = {words[string[-2]].word: 0.3, words["7"].word: 0.3, words["8"].word: 0.3}
    before = hear(BOOK, Slots(doubted), count=3)
    answer = Slots(sure(string))
    after = hear(BOOK, answer, earlier=[before], part=AskedPart())
    assert after.candidates[0].reading.said == string
    assert after.candidates[0].probability > before.candidates[0].probability
    spoken = hear(BOOK, "four", earlier=[before], part=AskedPart(before=string[1]))
    assert spoken.candidates[0].probability > 0


def test_what_are_no_probabilities_is_refused() -> None:
    with pytest.raises(CodeError, match="is no probability"):
        Slots([{"four": 1.2}])
    with pytest.raises(CodeError, match="is no probability"):
        Slots([{"four": 0.7, "five": 0.7}])
    with pytest.raises(CodeError, match="is no probability"):
        Slots([{"four": math.nan}])
    with pytest.raises(CodeError, match="gaps"):
        Slots([{"four": 0.7}], [{}])
    with pytest.raises(Incomplete):
        hear(BOOK, Slots([]))
    with pytest.raises(ReportError, match="too many"):
        hear(BOOK, Slots([{"four": 0.9}] * 100))
