"""Words take the time that was measured; the model for other words is fitted to those and says how
far it is off.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable

import pytest
from sound.published import MILLISECONDS

from grammar import sound
from grammar.errors import CodeError
from grammar.sound.articulation import is_glide
from grammar.sound.timing import estimated
from grammar.symbols import Alphabet, AlphabetSpec, OwnWord

SOUNDS = {word: sound.phones(word) for word in MILLISECONDS}
ERRORS = {
    word: 1000 * estimated(SOUNDS[word]) - published for word, published in MILLISECONDS.items()
}


def test_measured_words_take_the_measured_time() -> None:
    for word, published in MILLISECONDS.items():
        assert sound.seconds(word) == sound.seconds(SOUNDS[word]) == published / 1000


def test_every_spelling_of_a_sound_takes_the_same_time() -> None:
    assert sound.seconds("alpha") == sound.seconds("alfa")
    assert sound.seconds("five") == sound.seconds("fife") == 0.516
    assert sound.seconds("x ray") == sound.seconds("xray") == 0.648


def test_the_model_is_the_least_squares_fit() -> None:
    # At the least squares the errors are uncorrelated with every term of the model (the normal
    # equations).
    terms: dict[str, Callable[[sound.Phones], int]] = {
        "word": lambda _: 1,
        "vowel": sound.syllables,
        "glide": lambda sounds: sum(map(is_glide, sounds)),
        "consonant": lambda sounds: len(sounds) - sound.syllables(sounds),
    }
    for name, count in terms.items():
        assert abs(statistics.fmean(ERRORS[word] * count(SOUNDS[word]) for word in SOUNDS)) < 0.5, (
            name
        )


def test_the_model_misses_by_38_milliseconds_and_never_by_more_than_83() -> None:
    root_mean_square = math.sqrt(statistics.fmean(error**2 for error in ERRORS.values()))
    worst = max(map(abs, ERRORS.values()))
    print(f"duration model: root mean square error {root_mean_square:.1f} ms, worst {worst:.0f} ms")
    assert root_mean_square < 38.5
    assert worst < 83


def test_the_model_halves_the_error_of_counting_syllables() -> None:
    counts = [sound.syllables(sounds) for sounds in SOUNDS.values()]
    line = statistics.linear_regression(counts, list(MILLISECONDS.values()))
    errors = [
        line.intercept + line.slope * n - published
        for n, published in zip(counts, MILLISECONDS.values(), strict=True)
    ]
    by_syllables = math.sqrt(statistics.fmean(error**2 for error in errors))
    by_model = math.sqrt(statistics.fmean(error**2 for error in ERRORS.values()))
    assert by_syllables > 70
    assert by_model < 0.55 * by_syllables


def test_more_sounds_take_longer_and_several_words_add_up() -> None:
    assert estimated(("M", "AY", "K", "S")) > estimated(("M", "AY", "K"))
    assert sound.seconds("kilo mike") == pytest.approx(0.509 + 0.481)
    assert sound.seconds(()) == 0


def test_an_ordinary_rate_of_speech_is_met() -> None:
    # ICAO Doc 9432 2.2.1: at most 100 words a minute, so 0.6 s a word with its pause
    mean = statistics.fmean(sound.seconds(word) for word in MILLISECONDS)
    assert 0.45 < mean <= 0.6


def test_what_is_no_phone_is_refused() -> None:
    with pytest.raises(CodeError, match="'QQ' is not a phone") as caught:
        sound.syllables(("AH", "QQ"))
    assert "AH" in caught.value.expected


@pytest.mark.parametrize("words_per_minute", [60, 100, 150])
def test_a_time_that_a_team_gives_is_used_as_given(words_per_minute: float) -> None:
    own: dict[str, str | OwnWord] = {
        "A": OwnWord(word="apple", milliseconds=450),
        "B": OwnWord(word="banana"),
    }
    alphabet = Alphabet(AlphabetSpec(symbols="ABC", words=own, words_per_minute=words_per_minute))
    assert alphabet.words["A"].seconds == 0.45
    scaled = sound.seconds("banana") * alphabet.spec.rate
    assert alphabet.words["B"].seconds == pytest.approx(scaled)
