"""Words sound as the sources respell them; unknown words get a sound worth comparing."""

from __future__ import annotations

import importlib.util
import random
import string
import sys
from collections import defaultdict
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sound.published import DIGITS, FIGURES, LETTERS, OTHER_NUMERALS

from grammar import sound
from grammar.data import table
from grammar.errors import CodeError
from grammar.sound import pronunciation
from grammar.sound.rules import _rules

# Words whose radio sound, as Annex 10 respells it, is not that of a US dictionary: other vowels, or
# a last r not said.
NOT_AS_IN_A_DICTIONARY = {"kilo", "oscar", "quebec", "lima", "papa", "uniform", "victor", "juliett"}


def dictionary() -> dict[str, list[tuple[str, ...]]]:
    """Return the CMU Pronouncing Dictionary, as pocketsphinx carries it: the phones of each word,
    without stress; further ways to say it stand as "word(2)".
    """
    found = importlib.util.find_spec("pocketsphinx")
    assert found is not None
    assert found.origin is not None
    path = Path(found.origin).parent / "model" / "en-us" / "cmudict-en-us.dict"
    ways: dict[str, list[tuple[str, ...]]] = defaultdict(list)
    for line in path.read_text("utf-8").splitlines():
        word, *phones = line.split()
        ways[word.partition("(")[0]].append(tuple(phones))
    return ways


def edits(first: tuple[str, ...], second: tuple[str, ...]) -> int:
    row = list(range(len(second) + 1))
    for place, phone in enumerate(first, 1):
        above, row = row, [place]
        for column, other in enumerate(second, 1):
            row.append(min(above[column] + 1, row[-1] + 1, above[column - 1] + (phone != other)))
    return row[-1]


@pytest.mark.parametrize(
    ("word", "respellings"),
    [(word, respellings) for word, respellings, _ in LETTERS.values()]
    + [(word, [respelling]) for word, respelling, _ in DIGITS.values()]
    + [(word, [respelling]) for word, respelling in [*OTHER_NUMERALS.items(), *FIGURES.values()]],
)
def test_a_word_sounds_as_its_published_respelling_reads(word: str, respellings: list[str]) -> None:
    assert list(sound.pronunciations(word)) == [sound.respelled(text) for text in respellings]


def test_accepted_variants_sound_like_their_words() -> None:
    for row in table("icao").values():
        for variant in set(row["also"]) - {"nine", "point"}:
            assert sound.phones(variant) == sound.phones(row["word"])


@pytest.mark.slow
def test_the_dictionary_agrees_where_the_radio_way_is_the_everyday_way() -> None:
    # CMU Pronouncing Dictionary; a final -a is AH there and respelled "ah" (AA) by ICAO
    listed = dictionary()
    for word, _, _ in LETTERS.values():
        if word not in NOT_AS_IN_A_DICTIONARY:
            ways = [[*way[:-1], "AA" if way[-1] == "AH" else way[-1]] for way in listed[word]]
            assert list(sound.phones(word)) in ways, word
    for word in ["quebec", "papa", "lima"]:
        assert sound.phones(word) != listed[word][0]


def test_digits_are_said_the_radio_way_unless_plain_speech_is_asked_for() -> None:
    assert sound.phones("five") == sound.phones("fife") == ("F", "AY", "F")
    assert sound.phones("five", plain=True) == ("F", "AY", "V")


def test_a_team_word_is_said_as_its_respelling() -> None:
    assert sound.phones("zorro", respelling="ZAW-row") == ("Z", "AO", "R", "OW")
    assert sound.phones("kilo", respelling="KIL-oh") == ("K", "IH", "L", "OW")


def test_several_words_are_their_sounds_in_a_row() -> None:
    assert sound.phones("x ray") == sound.phones("X-Ray") == sound.phones("xray")
    assert sound.phones("kilo mike") == sound.phones("kilo") + sound.phones("mike")


def clear() -> None:
    for one in (pronunciation._dictionary, pronunciation._looked_up, sound.pronunciations):
        one.cache_clear()


def test_unknown_words_are_looked_up_and_estimated_without_a_dictionary(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert sound.phones("colonel") == ("K", "ER", "N", "AH", "L")  # CMU Pronouncing Dictionary
    monkeypatch.setitem(sys.modules, "pocketsphinx", None)
    clear()
    try:
        assert sound.phones("colonel") == sound.estimate("colonel") != ("K", "ER", "N", "AH", "L")
        assert sound.phones("tea") == ("T", "IY")
        assert sound.phones("kello") == ("K", "EH", "L", "OW")
    finally:
        clear()


@pytest.mark.slow
def test_the_estimate_gets_four_phones_in_five_of_a_dictionary_right() -> None:
    # CMU Pronouncing Dictionary, 1000 words drawn at random, many of them surnames; measured 18 %
    # wrong
    listed = dictionary()
    words = random.Random(5).sample(
        sorted(word for word in listed if word.isalpha() and len(word) > 2), 1000
    )
    wrong = phones = 0
    for word in words:
        nearest = min(listed[word], key=lambda way: edits(sound.estimate(word), way))
        wrong, phones = wrong + edits(sound.estimate(word), nearest), phones + len(nearest)
    print(f"estimate: {wrong / phones:.1%} of phones wrong")
    assert wrong / phones < 0.20


@given(
    st.text(string.ascii_letters + "-' ", max_size=30).filter(
        lambda text: any(c.isalpha() for c in text)
    )
)
def test_any_letters_have_a_sound_of_known_phones(text: str) -> None:
    for found in (sound.phones(text), sound.estimate(text), sound.respelled(text)):
        assert sound.distance(found, found) == 0  # raises for an unknown phone


@given(st.text(max_size=120))
def test_any_text_has_a_sound_or_gets_our_error(text: str) -> None:
    try:
        sound.phones(text)
    except CodeError as error:
        refusal = error
    else:
        return
    assert (refusal.kind, bool(refusal.hint)) == ("no-sound", True)


@pytest.mark.parametrize("text", ["", "  ", "-", "47", "a1", "ñ1", "лима", "a" * 101])
def test_what_is_not_a_word_is_refused(text: str) -> None:
    with pytest.raises(CodeError, match="no sound can be given") as caught:
        sound.phones(text)
    assert caught.value.kind == "no-sound"


def test_accents_do_not_stop_a_word() -> None:
    assert sound.phones("détente") == sound.phones("detente")


def test_every_letter_has_a_rule_that_always_fits() -> None:
    for name in ("letters", "respelling"):
        rules = _rules(name)
        for letter in string.ascii_lowercase:
            assert any(
                r.letters == letter and r.fits(f"b{letter}b", 1) and r.fits(f"_{letter}_", 1)
                for r in rules[letter]
            )


def test_all_phones_of_the_tables_are_known() -> None:
    for word in [*table("phones")["words"], *table("phones")["alike"]]:
        for plain in (False, True):
            for way in sound.pronunciations(word, plain=plain):
                assert sound.distance(way, way) == 0
    for name in ("letters", "respelling"):
        for rules in _rules(name).values():
            for rule in rules:
                assert sound.distance(rule.phones, rule.phones) == 0
