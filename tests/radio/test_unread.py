"""What a driver says one word short of a report is kept, with what it most likely was, and stands
against its own lap.
"""

from __future__ import annotations

import functools
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from radio.speakers import strings
from radio.unchecked import standing
from sheet.support import race_book, reasons, utterance

from codec import encode
from codec.radio.crews import Crew
from codec.radio.doubt import NOISY, guess_of, guessed
from codec.radio.edits import MOST, Edits
from codec.radio.evidence import Evidence, Prefilter
from codec.radio.exchange import Draft
from codec.radio.listener import Listener
from codec.sheet import Entry
from codec.sheet.state import Standing, laps
from grammar.automaton import build
from grammar.speech.words import cut

FIRST = "one two one two eight sierra alfa"


def heard(*said: str, at: list[float | None] | None = None) -> tuple[list[Entry], list[str]]:
    """Return the entries of ``Speaker: words`` without times, and the reasons of what was left
    out.
    """
    listener = Listener(race_book(), [Crew("7", "Ilse")])
    entries: list[Entry] = []
    left: list[str] = []
    for number, line in enumerate(said, start=1):
        speaker, _, text = line.partition(": ")
        found = listener.hear(utterance(text, speaker, at[number - 1] if at else None, number))
        left += reasons(found)
        seqs = {entry.uid: entry.seq for entry in entries}
        drafts = [one for one in found if isinstance(one, Draft)]
        entries += [
            d.entry.replace(seq=len(entries) + n, about=seqs.get(d.about))
            for n, d in enumerate(drafts, start=1)
        ]
    return entries, left


@pytest.mark.parametrize(
    "said",
    [
        "two two two two niner golf door", "two two two two niner golf",
        "two two two two niner golf kilo",
        "Lap two, two two two two niner golf",
    ],
)  # fmt: skip
def test_a_report_with_a_word_misheard_or_missing_is_kept_as_one_that_can_not_be_read(
    said: str,
) -> None:
    (entry,), left = heard(f"Ilse: {said}")
    assert (entry.kind, entry.accepted, bool(entry.refusal), left) == ("report", False, True, [])


@pytest.mark.parametrize(
    "said",
    [
        "two two two two niner door romeo", "door two two two niner golf romeo",
        "okay two two two two niner golf romero, the rear is sliding",
    ],
)  # fmt: skip
def test_a_report_with_a_word_misheard_is_taken_where_the_threshold_allows(said: str) -> None:
    (entry,), _ = heard(f"Ilse: {said}")
    assert (entry.string, entry.note, entry.refusal) == ("22229GR", NOISY, "")
    assert 0.98 <= (entry.certainty or 0) < 1


def test_it_is_kept_with_the_words_heard_and_what_it_most_likely_was() -> None:
    (_, entry), _ = heard(f"Ilse: {FIRST}", "Ilse: two two two two niner golf door")
    assert entry.heard == "two two two two niner golf door"
    assert guessed(entry.note).startswith("most likely 22229GR (")
    assert (entry.string, entry.lap, entry.lap_by) == ("", 2, "said")


def test_no_guess_is_told_that_is_more_likely_wrong_than_right() -> None:
    (entry,), _ = heard("Ilse: two two two two eight sierra")
    assert guessed(entry.note) == ""


@pytest.mark.parametrize(
    "said",
    [
        "Radio check one two three four five.",
        "Yes I can hear you, one two three, one two three.", "Mike at two forty seven fourteen",
        "twenty two seven twenty two we go", "I am on forty percent, is that right?",
        "This is nicer than November in Quebec.",
    ],
)  # fmt: skip
def test_talk_does_not_become_a_report_that_can_not_be_read(said: str) -> None:
    assert heard(f"Ilse: {said}")[0] == []


def test_only_a_driver_is_asked_again_for_so_little() -> None:
    assert heard("Zed: two two two two niner golf")[0] == []


@given(st.data())
def test_a_report_with_one_word_changed_or_left_out_is_nearly_one(data: st.DataObject) -> None:
    book, chance = race_book(), data.draw(st.randoms(use_true_random=False))
    words = book.alphabet.say(next(strings(book, "car", chance))).split()
    place = chance.randrange(len(words))
    words[place : place + 1] = chance.choice(
        [[], ["kettle"], [chance.choice(["seven", "golf", "x-ray"])]]
    )
    assert Edits(book, "car").least(cut(book.lexicon, " ".join(words))) <= 1


@given(
    st.lists(
        st.sampled_from(["sierra", "alfa", "papa", "six", "two", "kettle"]), min_size=1, max_size=6
    )
)
def test_edits_are_what_a_plain_count_of_them_says(said: list[str]) -> None:
    book = race_book()
    symbols = [
        "" if word == "kettle" else next(iter(book.lexicon.meanings[word].options)) for word in said
    ]
    nearest = min(_edits(symbols, string) for string in _all_calls())
    least = Edits(book, "pit").least(cut(book.lexicon, " ".join(said)))
    assert least == min(nearest, MOST)


@functools.cache
def _all_calls() -> tuple[str, ...]:
    """Return every string of the book's calls, their check symbols free."""
    book = race_book()
    automaton = build(book.sent_by("pit"))
    found, open_ends = [], [(state, "") for state in automaton.starts]
    while open_ends:
        state, string = open_ends.pop()
        found += [string] if automaton.accepting[state] else []
        open_ends += [
            (step.target, string + symbol)
            for step in automaton.steps[state]
            for symbol in book.alphabet.symbols
            if step.mask & book.alphabet.mask(symbol)
        ]
    return tuple(found)


def _edits(said: list[str], string: str) -> int:
    """Return the fewest symbols to change, to put in or to leave out ("" is a symbol misheard):
    V. I. Levenshtein's distance, by its usual table.
    """
    row = list(range(len(string) + 1))
    for number, one in enumerate(said, start=1):
        before, row = row, [number]
        for place, symbol in enumerate(string):
            row.append(min(before[place] + (one != symbol), before[place + 1] + 1, row[place] + 1))
    return row[-1]


def test_a_line_is_not_passed_over_for_one_word_among_those_of_a_code() -> None:
    glance = Prefilter(Evidence(race_book())).glance
    assert glance("three zero one zebra eight six niner").code
    assert not glance("three zero zebra lemon one eight").code


def test_the_next_lap_is_no_correction_of_one_that_could_not_be_read() -> None:
    """Without times the lap said tells."""
    entries, _ = heard(
        f"Ilse: {FIRST}", "Ilse: two two two two niner golf",
        "Ilse: three two one two lima five brava",
        "Ilse: four one niner two lima six four",
    )  # fmt: skip
    assert [(e.kind, e.lap, bool(e.refusal)) for e in entries] == [
        ("report", 1, False), ("report", 2, True), ("report", 3, True), ("report", 4, False),
    ]  # fmt: skip
    assert list(laps(Standing(entries), "7", race_book())) == [1, 2, 3, 4]


def test_what_is_asked_for_mends_the_report_it_was_asked_about() -> None:
    entries, _ = heard(
        f"Ilse: {FIRST}", "Ilse: two two two two niner golf", "Quill: say again all after golf",
        "Ilse: romeo",
        "Ilse: three two one two lima five bravo",
    )  # fmt: skip
    assert [(e.kind, e.lap) for e in entries] == [
        ("report", 1),
        ("report", 2),
        ("question", 2),
        ("correction", 2),
        ("report", 3),
    ]
    assert entries[3].about == 2


def test_a_repeat_soon_after_is_the_report_again_where_times_are_known() -> None:
    entries, _ = heard(
        "Ilse: two two two two niner golf door",
        "Ilse: two two two two niner golf romeo",
        at=[100.0, 112.0],
    )
    assert [(e.kind, e.lap) for e in entries] == [("report", 2), ("correction", 2)]


@pytest.mark.parametrize(
    "said",
    [
        "two two two two niner gold rome oh", "two two the two niner golf romeo",
        "foxtrot lee ma two two niner golf",
    ],
)  # fmt: skip
def test_a_driver_who_says_nothing_but_a_code_with_words_misheard_is_kept_or_read(
    said: str,
) -> None:
    (entry,), left = heard(f"Ilse: {said}")
    assert (entry.kind, left) == ("report", [])
    assert entry.refusal or entry.string == "22229GR"


@pytest.mark.parametrize(
    "said", ["gap two two seven nine", "turn two is bumpy, four", "the rear slides in two"],
)  # fmt: skip
def test_numbers_in_talk_are_no_code_with_words_misheard(said: str) -> None:
    entries, left = heard(f"Ilse: {said}")
    assert (entries, len(left)) == ([], 1)


def test_what_is_less_clear_takes_nothing_from_a_report_that_is_likely() -> None:
    """The report that waits stands as it was, and the rest is told."""
    said = [f"Ilse: {FIRST}", "Ilse: two two two two niner golf"]
    (_, before), _ = heard(*said, at=[60, 140])
    assert guessed(before.note)
    entries, left = heard(*said, "Ilse: golf golf, no, golf is a dance, two", at=[60, 140, 150])
    assert [row.entry.note for row in Standing(entries).rows][1] == before.note
    assert len(left) == 1


@pytest.mark.parametrize("speaker", ["", "Ana: "])
def test_one_stray_word_cuts_no_report_short_whoever_is_named(tmp_path: Path, speaker: str) -> None:
    lines = [
        f"[00:01:30] {speaker}zero one one niner three papa zero two alfa",
        f"[00:03:00] {speaker}zero two one eight eight so papa zero three alfa",
    ]
    found = standing(tmp_path, lines, "7=Ana")[-1]
    guess = guess_of(found.note)
    assert guess is not None
    assert (found.lap, found.lap_by, guess.string) == (2, "said", "02188P03A")


def test_what_a_sentence_of_its_own_says_is_no_word_of_a_report_misheard(tmp_path: Path) -> None:
    """Only the symbol that is missing counts against it."""
    values = {"energy": 0, "motor": 90, "inverter": 60, "battery": 40, "alert": []}
    first, second, third = (
        encode(race_book(), {"lap": lap, **values}, "lap").words for lap in (2, 4, 6)
    )
    rest = third.split(" ", 1)[1]
    lines = [f"[00:03:00] Ana: {first}", f"[00:06:00] Ana: {second}"]
    lines.append(f"[00:09:00] Ana: ready? {rest}, over.")
    found = standing(tmp_path, lines, "7=Ana", book=race_book())[-1]
    assert (found.lap, found.heard) == (6, rest)
    assert "ready" not in found.note


@pytest.mark.parametrize(
    "said",
    [
        "zero three one eight three papa zero two alfa alfa",
        "zero three one eight three so papa zero two alfa",
    ],
)
def test_values_are_expected_as_long_after_the_last_ones_as_the_lap_said_is(
    tmp_path: Path, said: str
) -> None:
    """Two laps went by, though the time is that of one, where nobody knows how long a lap takes."""
    first = "[00:01:30] Ana: zero one one niner three papa zero two alfa"
    found = standing(tmp_path, [first, f"[00:04:28] Ana: {said}"], "7=Ana")[-1]
    guess = guess_of(found.note)
    assert found.string == "03183P02A" or (guess is not None and guess.string == "03183P02A")


@pytest.mark.parametrize("beside", ["that's all", "that’s all, tyres are fine", "they're close"])
def test_a_contraction_behind_a_report_is_no_word_of_it_misheard(
    tmp_path: Path, beside: str
) -> None:
    line = f"[00:01:30] Ana: zero one one niner three papa zero two alfa {beside}"
    (found,) = standing(tmp_path, [line], "7=Ana")
    assert (found.string, found.accepted) == ("01193P02A", True)


@pytest.mark.parametrize(
    "said", ["two two zero two x-ray whiskey", "2202 x-ray whiskey", "2202 X whiskey", "22 02 X W"]
)
def test_a_report_without_its_check_symbol_is_kept_however_its_figures_are_written(
    tmp_path: Path, said: str
) -> None:
    (entry,) = standing(tmp_path, [f"[00:03:00] Ana: {said}"], "7=Ana", book=race_book())
    assert (entry.refusal, entry.heard, entry.lap_by) != ("", said, "")
    assert guess_of(entry.note) is not None


def test_what_a_report_most_likely_was_tells_of_the_next_where_none_counts_so_far(
    tmp_path: Path,
) -> None:
    """Not heard: whether the charge is 94 % or 44 %."""
    lines = [
        "[00:01:30] Ana: zero one one niner three papa so zero two alfa",
        "[00:03:00] Ana: zero two so eight eight papa zero three alfa",
    ]
    first, second = standing(tmp_path, lines, "7=Ana")
    (tmp_path / "alone").mkdir()
    (alone,) = standing(tmp_path / "alone", lines[1:], "7=Ana")
    assert [bool(one.refusal) for one in (first, second, alone)] == [True, True, True]
    guesses = [guess_of(one.note) for one in (second, alone)]
    found = [0.0 if one is None else one.probability for one in guesses]
    assert guesses[0] is not None
    assert guesses[0].string == "02188P03A"
    assert found[0] > found[1]
