"""What is found though it is not said, or not written down, as a book has it: words written
together, plain words, names missing or wrong, laps by the time between reports; and what somebody
puts right by hand.
"""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path

import pytest
from commands import called
from hypothesis import given
from hypothesis import strategies as st
from radio.unchecked import standing
from sheet.support import REPORT, ROOT, new, race_book

from codec import encode, load_book, parse_book
from codec.radio.by_hand import accept, doubtful_rows, fix, withdraw
from codec.radio.crews import crews_of
from codec.radio.dedupe import NOT_USED
from codec.radio.doubt import guess_of
from codec.radio.forms import FORMS, LeftOut, Utterance
from codec.radio.importing import import_transcript
from codec.radio.laps import LapKeeper
from codec.radio.named import NamedReports
from codec.radio.wording import RadioWords
from codec.sheet import Entry, Journal
from codec.sheet.state import BY_HAND, Standing, rows
from grammar.errors import CodeError

CREWS = crews_of(["7=Ana,Quill", "61=Teo,Denn"])


def said(lap: int, motor: int = 90, battery: int = 40) -> str:
    values = {"lap": lap, "energy": 0, "motor": motor, "inverter": 60, "battery": battery}
    return encode(race_book(), {**values, "alert": []}, "lap").words


def brought(journal: Journal, *lines: str, named: str = "") -> list[Entry]:
    crews = crews_of([named]) if named else CREWS
    import_transcript(journal, [f"{line}\n" for line in lines], "text", crews)
    return [row.entry for row in rows(journal.entries())]


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("twofive sixoneeight", ["two", "five", "six", "one", "eight"]),
        ("5163juliett", ["5163", "juliett"]),
        ("novemberonex-ray", ["november", "one", "x-ray"]),
        ("five x-raysix two", ["five", "x-ray", "six", "two"]),
        ("5,1,6,3 - two...", ["5", "1", "6", "3", "two"]),
        ("someone often antenna", ["someone", "often", "antenna"]),
        ("1.32.4", ["1.32.4"]),  # a lap time
    ],
)
def test_words_written_together_are_taken_apart_where_there_is_one_way(
    written: str, words: list[str]
) -> None:
    cut = RadioWords(race_book().lexicon).cut(written)
    assert [word.text for word in cut] == words


_ALONE = """
[alphabet]
retired = "IKMOU"
[fields]
lap = { kind = "wrapped", modulus = 10, drift = 1, wander = 0 }
store = { kind = "quantity", unit = "%", low = 0, high = 99, step = 1, drift = -2, wander = 1 }
pads = { kind = "choice", options = ["fresh", "worn", "gone"], usual = "worn" }
[tables]
lap = { kind = "digits" }
store = { kind = "digits", count = "value" }
pads = { kind = "listed", words = { fresh = "FF", worn = "WW", gone = "GG" } }
check = { kind = "check", method = "weighted sum", weights = [2, 3, 4, 5, 6, 7, 8, 9, 10] }
[messages.lap]
layout = "lap store pads check"
"""


@pytest.mark.parametrize("cut", [2, 3, 4])
@pytest.mark.parametrize("behind", [" … that's it for now", ". Still sliding a bit."])
def test_the_rest_of_a_report_in_a_second_line_may_have_talk_behind_it(
    tmp_path: Path, cut: int, behind: str
) -> None:
    book = parse_book(_ALONE, "alone")
    encoded = encode(book, {"lap": 2, "store": 57, "pads": "worn"}, "lap")
    words = encoded.words.split()
    with Journal(tmp_path / "alone.sheet", book) as journal:
        lines = " ".join(words[:cut]), " ".join(words[cut:]) + behind
        [found] = brought(journal, *(f"Ana: {line}" for line in lines))
    assert (found.string, found.refusal) == (encoded.string, "")


@pytest.mark.parametrize("spoilt", range(6))
def test_a_report_with_a_word_that_is_none_of_the_code_is_weighed_where_all_are_as_short(
    tmp_path: Path, spoilt: int
) -> None:
    book = parse_book(_ALONE, "alone")
    told = {"lap": 2, "store": 57, "pads": "worn"}
    words = encode(book, told, "lap").words.split()
    words[spoilt] = "krr"
    first = encode(book, {**told, "lap": 1, "store": 59}, "lap").words
    with Journal(tmp_path / "alone.sheet", book) as journal:
        found = brought(journal, f"Ana: {first}", f"Ana: Numbers are {' '.join(words)}. Done.")
    [_, second] = [one for one in found if one.kind == "report"]
    assert second.string == encode(book, told, "lap").string or second.refusal


def test_reports_in_plain_words_that_are_not_sure_speak_for_each_other_where_they_agree(
    tmp_path: Path,
) -> None:
    told = "lap {}, energy minus zero point two, motor at {}, inverter at sixty, battery at forty"
    lines = [f"Ana: {told.format(lap, 'uh ninety psh five')}" for lap in ("one", "two")]
    lines += [f"Ana: {told.format(lap, 'ninety five')}" for lap in ("three", "four")]
    lines += [f"Ana: {told.format(lap, 'eighty')}" for lap in ("five", "six", "seven")]
    with new(tmp_path) as journal:
        found = [one for one in brought(journal, *lines) if one.string]
    sure = [one.certainty or 0.0 for one in found if str(one.values["motor"]) == "80"]
    assert len(sure) == 3
    assert sure[0] < journal.book.hearing.threshold
    assert sure[0] < sure[1] < sure[2]


_EVERY_LETTER = load_book(ROOT / "examples" / "starter" / "starter.toml")
_WORDS = [
    word.word
    for symbol, word in _EVERY_LETTER.alphabet.words.items()
    if symbol.isalpha() and word.word.isalpha()
]


@given(
    st.lists(
        st.tuples(st.from_regex(r"[0-9]{1,4}", fullmatch=True), st.sampled_from(_WORDS)),
        min_size=1,
        max_size=4,
    )
)
def test_figures_with_a_word_behind_them_are_both_also_where_each_letter_is_a_symbol(
    parts: list[tuple[str, str]],
) -> None:
    cut = RadioWords(_EVERY_LETTER.lexicon).cut
    apart = [piece for figures, word in parts for piece in (figures, word.capitalize())]
    for line in ("{}", "so {} copy", "it was {}"):
        together = cut(line.format("".join(apart)))
        assert [word.meaning for word in together] == [
            word.meaning for word in cut(line.format(" ".join(apart)))
        ]
    for typed in ("".join(apart).upper(), "".join(apart).lower()):  # symbols, as somebody types
        assert [word.text for word in cut(typed)] == [typed]


@pytest.mark.parametrize(
    "words",
    [
        "minus 0.4, motor 105, inverter 75, battery 48",
        "lap 5, minus 0.4 kWh, motor 105°C, inverter 75°C, battery 48°C",
        "lap five, energy is minus zero point four, motor 105, inverter seventy five, battery 48.",
        "lap 5 energy minus 0.4 motor one hundred and five inverter 75 battery forty eight.",
        "lap five energy minus point four motorat one oh five inverter seventyfive battery 48",
        "lap 5, minus 0.4, motor 100, correction, 105, inverter 75, battery 48",
        "lap 5, energy minus zero point uh four, motor 105, inverter seventy er five, battery 48",
    ],
)
def test_a_report_in_plain_words_is_a_report(tmp_path: Path, words: str) -> None:
    before = said(4, 105, 48)
    with new(tmp_path) as journal:
        found = brought(journal, f"[00:01:00] Ana: {before}", f"[00:02:20] Ana: {words}")
    values = {name: str(value) for name, value in found[-1].values.items() if name != "alert"}
    assert values == {
        "lap": "5", "energy": "-0.4", "motor": "105", "inverter": "75", "battery": "48",
    }  # fmt: skip


def test_plain_words_that_lack_a_field_are_none() -> None:
    found = NamedReports(race_book()).find("lap 5, motor 105, inverter 75, battery 48")
    assert found is not None
    assert list(found.missing) == ["energy against plan"]


def test_figures_not_heard_before_a_point_may_have_been_any() -> None:
    words = "lap 5, energy minus sierra point four, motor 105, inverter 75, battery 48"
    found = NamedReports(race_book()).find(words)
    assert found is not None
    assert found.values["energy"] == Decimal("-0.4")
    assert set(found.unheard["energy"]) == {Decimal(f"-{whole}.4") for whole in range(1, 10)}
    assert found.spoilt


def test_a_hesitation_within_a_number_parts_it_not() -> None:
    words = "lap five, energy zero, motor eighty er five, inverter sixty um, battery 48"
    found = NamedReports(race_book()).find(words)
    assert found is not None
    assert (found.values["motor"], found.values["inverter"]) == (85, 60)
    assert found.spoilt


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("we are coming in", 1),
        ("coming in", 1),
        ("the tyres are coming in", 0),
        ("he is coming in", 0),
    ],
)
def test_what_another_does_is_no_phrase_of_the_car(tmp_path: Path, line: str, told: int) -> None:
    with new(tmp_path) as journal:
        found = brought(journal, f"[00:01:00] Ana: {line}")
    assert [entry.kind for entry in found] == ["event"] * told


def test_words_around_a_report_in_plain_words_do_not_spoil_it() -> None:
    words = "lap 5, energy zero, motor 100, inverter 60, battery 46"
    for text, spoilt in (
        (f"So, {words}, copy that?", False),
        (words.replace(", m", " my m"), True),
    ):
        found = NamedReports(race_book()).find(text)
        assert found is not None
        assert found.spoilt is spoilt


def test_the_lap_that_plain_words_say_is_the_whole_of_it(tmp_path: Path) -> None:
    """A code says only its last figure, plain words all of it, also where another was expected."""
    words = "lap three, energy zero, motor 90, inverter 60, battery 40"
    with new(tmp_path) as journal:
        found = brought(journal, f"Ana: {said(9)}", f"Ana: {words}")
    assert [entry.lap for entry in found] == [9, 3]


def test_a_number_that_runs_on_where_commas_part_the_others_may_lack_a_word() -> None:
    words = "lap 5, energy zero, motor one hundred, inverter sixty battery forty six"
    found = NamedReports(race_book()).find(words)
    assert found is not None
    assert found.cut == {"inverter"}


def test_the_report_expected_needs_fewer_words_to_be_believed(tmp_path: Path) -> None:
    """Five figures alone are a report where they are just what the car should say, and talk where
    they are not.
    """
    book = load_book(ROOT / "examples" / "starter" / "starter.toml")
    texts = ["one two zero four one", "two two one four two", "three two one four four"]
    lines = [f"[00:0{n}:20] Ana: {text}\n" for n, text in enumerate(texts, start=1)]
    for last, accepted in (("twelve lima", 3), ("42 145", 4), ("91 860", 3)):
        with Journal(tmp_path / f"{last}.sheet", book) as journal:
            said = [*lines, f"[00:04:20] Ana: the board said {last} now\n"]
            import_transcript(journal, said, "text", crews_of(["7=Ana,Quill"]))
            assert sum(row.counts for row in rows(journal.entries())) == accepted, last


def test_the_same_said_just_then_by_nobody_named_is_of_no_other_car(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        brought(
            journal,
            f"[00:01:00] Ana: {said(4)}",
            f"[00:01:02] Teo: {said(4, 95)}",
            f"[00:01:06] {said(4)}",
        )
        kinds = [(e.kind, e.car) for e in journal.entries() if e.kind != "car"]
    assert kinds == [("report", "7"), ("report", "61")]


def test_a_report_that_waited_stands_on_the_lap_of_its_time() -> None:
    """Its last figure is that of the lap near it, though later laps are known by then."""
    book = load_book(ROOT / "examples" / "starter" / "starter.toml")
    keeper = LapKeeper(book, "7")
    keeper.last = 4
    near = keeper.context(103_000, likely=3)["lap"]
    assert book.fields["lap"].restored(2, near) == 2


def test_a_value_far_from_the_last_one_is_doubtful_in_plain_words(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        found = brought(
            journal,
            f"[00:01:00] Ana: {said(4, 105, 48)}",
            "[00:02:20] Ana: lap 5, energy 0, motor 105, inverter 60, battery 24",
        )
    assert [entry.refusal for entry in found] == ["", "doubtful"]


def test_a_report_with_no_name_is_of_the_car_whose_last_one_it_fits(tmp_path: Path) -> None:
    lines = [
        line
        for lap in range(1, 5)
        for line in (
            f"[00:{lap:02}:00] {'Ana: ' if lap < 4 else ''}{said(lap, 80, 38)}",
            f"[00:{lap:02}:05] {'Teo: ' if lap < 4 else ''}{said(lap, 115, 52)}",
        )
    ]
    with new(tmp_path) as journal:
        found = brought(journal, *lines)
    assert [(entry.car, entry.lap) for entry in found] == [
        (car, lap) for lap in range(1, 5) for car in ("7", "61")
    ]


def test_a_report_under_the_name_of_the_wall_counts(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        found = brought(journal, f"[00:01:00] Quill: {REPORT}", f"[00:01:06] Ana: {REPORT}")
        kinds = [entry.kind for entry in journal.entries() if entry.kind != "car"]
    assert [(entry.car, entry.string) for entry in found] == [("7", "5163JRBT")]
    assert kinds == ["report", "readback"]


def test_what_is_read_back_mends_what_could_not_be_read(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        found = brought(
            journal,
            "[00:01:00] Ana: five one kettle three lemon rum bravo tango",
            f"[00:01:07] Quill: {REPORT}",
        )
    assert [(entry.string, entry.refusal) for entry in found] == [("5163JRBT", "")]


def test_calls_stand_on_the_lap_driven_though_a_report_was_lost(tmp_path: Path) -> None:
    """A lap takes 80 s and its report comes 56 s into it; that of lap 4 is not heard."""
    reports = [
        f"{(lap - 1) * 80 + 56:06.2f} {said(lap)}" for lap in (1, 2, 3, 5, 6, 7)
    ]  # fmt: skip
    calls = [f"{at:06.2f} whiskey bravo november two" for at in (3 * 80 + 20, 4 * 80 + 10)]
    lines = []
    for line in sorted([*reports, *calls]):
        seconds, _, words = line.partition(" ")
        minute, second = divmod(float(seconds), 60)
        name = "Quill" if words.startswith("whiskey") else "Ana"
        lines.append(f"[00:{int(minute):02}:{second:05.2f}] {name}: {words}")
    with new(tmp_path) as journal:
        found = brought(journal, *lines)
    assert [(entry.lap, entry.lap_by) for entry in found if entry.kind == "call"] == [
        (4, "time"),
        (5, "time"),
    ]


def test_a_doubtful_report_is_put_right_by_hand_and_stays_so(tmp_path: Path) -> None:
    lines = [
        f"[00:01:00] Ana: {REPORT}",
        "[00:02:20] Ana: six one sixthree juliett rum",
        "[00:02:32] Ana: I say again six one six three juliett romeo bravo romeo",
    ]
    with new(tmp_path) as journal:
        brought(journal, *lines[:2])
        (one,) = doubtful_rows(journal.book, Standing(journal.entries()))
        assert any(reading.said.startswith("6163JR") for reading, _ in one.readings)
        number = one.row.first.seq
        standing, words = Standing(journal.entries()), "six one six three juliett romeo juliett"
        written, _ = fix(journal, standing, number, words)
        assert (written.note, written.about, written.string) == (BY_HAND, number, "6163JRJ")
        assert list(doubtful_rows(journal.book, Standing(journal.entries()))) == []
        count = len(journal)
        found = brought(journal, *lines[:2])
        assert len(journal) == count
        found = brought(journal, *lines)
        assert [entry.string for entry in found] == ["5163JRBT", "6163JRJ"]
        assert [e.note for e in journal.entries()][-1].startswith(NOT_USED)


def test_only_a_likely_reading_is_accepted(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        brought(journal, f"[00:01:00] Ana: {REPORT}", "[00:02:20] Ana: six one six three juliett")
        (one,) = doubtful_rows(journal.book, Standing(journal.entries()))
        if one.readings[0][1] < 0.5:
            with pytest.raises(CodeError, match="no reading of entry"):
                accept(journal, Standing(journal.entries()), one.row.first.seq)
        with pytest.raises(CodeError, match="is no entry of this sheet"):
            accept(journal, Standing(journal.entries()), 99)


WORDS = [
    {"word": " five", "start": 2.0, "end": 2.3, "probability": 0.9},
    {"word": " one", "start": 2.4, "end": 2.6, "probability": 0.8},
    {"word": " copy", "start": 6.0, "end": 6.2, "probability": 0.7},
]


@pytest.mark.parametrize(
    ("document", "heard"),
    [
        # https://github.com/openai/whisper, README and whisper/transcribe.py
        (
            {"text": " five one copy", "segments": [{"id": 0, "text": " five one copy",
                "start": 2.0, "end": 6.2, "words": WORDS}]},
            [("five one", "", 2000, 0.9), ("copy", "", 6000, 0.7)],
        ),
        # https://github.com/ggml-org/whisper.cpp, examples/cli (--output-json)
        (
            {"transcription": [{"offsets": {"from": 500, "to": 2000}, "text": " five one"}]},
            [("five one", "", 500, None)],
        ),
        # https://alphacephei.com/vosk, SetWords and SetMaxAlternatives
        (
            {"result": [{"conf": 0.9, "start": 2.0, "end": 2.3, "word": "five"}], "text": "five"},
            [("five", "", 2000, 0.9)],
        ),
        (
            {"alternatives": [{"confidence": 250.0, "text": "five"},
                {"confidence": 250.0, "text": "nine"}]},
            [("five", "", None, 0.5)],
        ),
        # https://pocketsphinx.readthedocs.io, "pocketsphinx" command
        (
            {"b": 1.0, "d": 1.0, "p": 0.9, "t": "five", "w": [{"b": 1.0, "d": 0.2, "p": 1.0,
                "t": "<sil>"}, {"b": 1.2, "d": 0.5, "p": 0.9, "t": "five(2)"}]},
            [("five", "", 1200, 0.9)],
        ),
    ],
)  # fmt: skip
def test_what_recognisers_write_is_read_as_it_comes(
    document: object, heard: list[tuple[str, str, int | None, float | None]]
) -> None:
    """The forms are as their documentation has them, from memory."""
    for text in (json.dumps(document), json.dumps(document, indent=2)):
        found = list(FORMS["json"].utterances([text[:9], text[9:]], lambda _: False))
        assert all(isinstance(one, Utterance) for one in found)
        told = [
            (
                one.text.strip(),
                one.speaker,
                one.at,
                one.words[0].confidence if one.words else one.confidence,
            )
            for one in found
            if isinstance(one, Utterance)
        ]
        assert told == heard


def test_what_no_recogniser_writes_is_told() -> None:
    found = list(FORMS["json"].utterances(['{"x": 1} [3] {"text": "a"} {"text'], lambda _: False))
    assert [type(one) for one in found] == [LeftOut, LeftOut, Utterance, LeftOut]


def test_any_entry_is_put_right_or_taken_back_by_its_number(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        written = journal.append_all(
            [
                Entry(kind="car", car="7", message="Anna"),
                Entry(kind="note", car="7", heard="rein"),
                Entry(kind="event", car="7", message="yellow"),
                Entry(kind="question", car="7", heard="say again"),
            ]
        )
        car, note, event, question = (entry.seq for entry in written)

        def now() -> Standing:
            return Standing(journal.entries())

        assert fix(journal, now(), car, "Ana")[0].message == now().cars["7"] == "Ana"
        fix(journal, now(), note, "rain")
        assert now().rows[0].entry.heard == "rain"
        assert fix(journal, now(), event, "added 3")[1] == "laps added 3"
        assert now().race.added == 3
        for entry, words in ((event, "added many"), (event, "lunch"), (question, "say all again")):
            with pytest.raises(CodeError):
                fix(journal, now(), entry, words)
        taken = withdraw(journal, now(), event)
        assert now().race.added == 0
        with pytest.raises(CodeError, match=f"withdraw {taken.seq}"):
            withdraw(journal, now(), event)
        withdraw(journal, now(), taken.seq)  # brings it back, as it was put right
        assert now().race.added == 3
        withdraw(journal, now(), question)
        for wrong in (car, 0, 99):
            with pytest.raises(CodeError):
                withdraw(journal, now(), wrong)
        assert journal.faults() == []


def test_the_command_takes_an_entry_back_and_brings_it_back(tmp_path: Path) -> None:
    with new(tmp_path) as journal:
        number, path = (
            journal.append(Entry(kind="note", car="7", heard="rain")).seq,
            str(journal.path),
        )
    done = called(["sheet", "withdraw", path, f"#{number}"])
    assert (done.returncode, done.stdout) == (0, b"#1 is now: withdrawn\n")
    assert called(["sheet", "withdraw", path, str(number)]).returncode == 2
    done = called(["sheet", "withdraw", path, str(number + 1), "--json"])
    assert json.loads(done.stdout)["about"] == number + 1
    done = called(["sheet", "fix", path, str(number), "rain", "at", "the", "harbour"])
    assert done.stdout == b"#1 is now: car 7, rain at the harbour\n"


def test_a_report_that_does_not_count_beside_another_is_told_with_the_doubtful(
    tmp_path: Path,
) -> None:
    with new(tmp_path) as journal:
        lines = (f"[00:0{n}:20] Ana: {said(n)}" for n in (1, 2, 3))
        last = f"[00:03:50] Ana: {said(2, motor=130)}"
        brought(journal, *lines, last, named="7=Ana")
        path = Path(str(journal.path))
    told = called(["sheet", "show", path, "--doubtful"]).stdout.decode()
    assert "lap 2" in told
    assert "does not count" in told


def test_a_report_of_which_nobody_knows_the_car_is_accepted_with_its_car_only(
    tmp_path: Path,
) -> None:
    crews = crews_of(["7=Ana", "61=Teo"])
    with new(tmp_path) as journal:
        import_transcript(journal, [f"[00:01:00] : {REPORT}\n"], "text", crews)
        (one,) = doubtful_rows(journal.book, Standing(journal.entries()))
        number = one.row.first.seq
        with pytest.raises(CodeError, match="nobody knows whose") as told:
            accept(journal, Standing(journal.entries()), number)
        assert told.value.expected == ("--car 7", "--car 61")
        with pytest.raises(CodeError, match="nobody knows whose"):
            fix(journal, Standing(journal.entries()), number, REPORT)
        written, _ = accept(journal, Standing(journal.entries()), number, "61")
        assert (written.car, written.accepted) == ("61", True)


def test_what_is_offered_by_hand_is_what_was_likely_when_it_was_heard(tmp_path: Path) -> None:
    """Laps after the last report that counts, too: as many as there were."""
    lines = [
        f"[00:01:00] Ana: {REPORT}", "[00:02:20] Ana: six one six three juliett romeo rum",
        "[00:03:40] Ana: seven one six three juliett rum",
        "[00:05:00] Ana: eight one seven three juliett rom",
    ]  # fmt: skip
    with new(tmp_path) as journal:
        brought(journal, *lines)
        for one in doubtful_rows(journal.book, Standing(journal.entries())):
            kept = guess_of(one.row.entry.note)
            if kept is not None:
                reading, sure = one.readings[0]
                assert (reading.said, round(sure, 3)) == (kept.string, round(kept.probability, 3))
            assert sum(share for _, share in one.readings) <= 1 + 1e-9


def test_a_lap_said_plainly_is_the_guess_where_the_laps_since_are_only_supposed(
    tmp_path: Path,
) -> None:
    """From the first report on, nobody knows how long a lap takes: two went by, or three."""
    found = standing(
        tmp_path,
        [
            "[00:01:30] Ana: zero one one niner three papa zero two alfa",
            "[00:05:56] Ana: zero four so one seven eight papa zero five bravo",
        ],
        "7=Ana",
    )
    assert (found[-1].lap, found[-1].lap_by) == (4, "said")
    guess = guess_of(found[-1].note)
    assert "04178P05B" in (found[-1].string, "" if guess is None else guess.string)
