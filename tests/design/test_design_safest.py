"""What is found sooner is what would have been found: proposals given up, mistakes passed over, a
book made without its text.
"""

from __future__ import annotations

import itertools

import pytest

from codec import load_book
from grammar.book import Book
from grammar.design import Needs, Proposal, candidates, needs_of, noise_of, proposals, safest
from grammar.design.noise import confused_words, rates
from grammar.design.write import book_text, held
from grammar.document import document
from grammar.errors import BookError
from grammar.figures import drawn
from grammar.parsing import made_book, parse_book

STARTER = load_book("examples/starter/starter.toml")
RACE = load_book("examples/race/race.toml")


def by_hand(found: list[Proposal], wrong: float) -> dict[str, str]:
    """Return the names of the proposals that ``safest`` is to find, out of all of them."""
    safe = [one for one in found if one.wrong <= wrong]
    card = [one for one in safe if one.readable]
    best = {
        "card": min(card, key=lambda one: one.mean, default=None),
        "quickest": min(safe, key=lambda one: one.mean, default=None),
        "surest": min(found, key=lambda one: one.wrong, default=None),
    }
    return {what: one.name for what, one in best.items() if one is not None}


@pytest.mark.parametrize(
    ("needs", "families", "draws"),
    [
        (needs_of(STARTER, "lap"), ("natural", "variable"), 60),
        pytest.param(
            needs_of(RACE, "lap"),
            ("monotone", "assigned", "variable", "packed"),
            300,
            marks=pytest.mark.slow,
        ),
    ],
)
def test_those_not_heard_to_the_end_are_none_of_the_best(
    needs: Needs, families: tuple[str, ...], draws: int
) -> None:
    makers = list(candidates(needs, families))
    told: list[str] = []
    found = proposals(needs, makers, draws=draws, seed=3)
    each = sorted(one.wrong for one in found)
    for wrong in (0.0, each[len(each) // 4], 1.0):
        told.clear()
        best = safest(needs, makers, wrong, draws=draws, seed=3, done=told.append)
        assert {what: one.name for what, one in best.items()} == by_hand(found, wrong)
        assert len(told) == len(makers)
    figures = {one.name: one.as_dict() for one in found}
    assert all(one.as_dict() == figures[one.name] for one in best.values())


def test_a_report_too_often_wrong_is_heard_no_further_and_said_to_be() -> None:
    message, noise = STARTER.messages["lap"], noise_of(STARTER.alphabet, STARTER.hearing)
    reports = drawn(STARTER, message, 40, 2)
    whole = rates(STARTER, message, noise, reports)
    assert whole.wrong > 0
    for share in (0.0, 0.3, 0.99):
        early = rates(STARTER, message, noise, reports, most=share * whole.wrong)
        assert share * whole.wrong < early.wrong <= whole.wrong
    assert rates(STARTER, message, noise, reports, most=whole.wrong) == whole


def test_only_mistakes_too_seldom_are_passed_over() -> None:
    noise = noise_of(STARTER.alphabet, STARTER.hearing)
    words = ["".join(two) for two in itertools.product(STARTER.alphabet.symbols, repeat=2)]
    every = {(said, heard): share for said, heard, share in confused_words(noise, words)}
    limits = {said: 0.0005 * (said % 5) for said in range(len(words))}
    some = {
        (said, heard): share
        for said, heard, share in confused_words(noise, words, limits.__getitem__)
    }
    assert some == {pair: share for pair, share in every.items() if share >= limits[pair[0]]}
    assert len(some) < len(every)


@pytest.mark.parametrize("book", [STARTER, RACE])
def test_a_book_made_of_sections_is_that_of_their_text(book: Book) -> None:
    made = [make() for make in candidates(needs_of(book, "lap"), ("natural", "variable"))]
    assert any(made)
    for candidate in filter(None, made):
        text = book_text(candidate.sections, [], candidate.notes)
        inside = held(candidate.sections)
        assert repr(sorted(inside.items())) == repr(sorted(document(text, "a book").items()))
        one, other = made_book(inside, lambda text=text: text), parse_book(text)  # type: ignore[misc]
        assert (one.source, one.digest) == (other.source, other.digest)


def test_problems_of_a_book_made_of_sections_have_their_places_in_its_text() -> None:
    text = STARTER.source.replace('layout = "', 'layout = "nothing ', 1)
    with pytest.raises(BookError) as told:
        parse_book(text)
    with pytest.raises(BookError) as made:
        made_book(document(text, "a book"), lambda: text)
    assert str(made.value) == str(told.value)
    assert made.value.problems[0].line
