"""Coded reports of other trades as books: signal reports, transponder codes, state of the sea.

The source of each book stands on top of its file.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from published.support import book, book_text
from pymetdecoder.code_tables import CodeTable4019

from codec import (
    Band,
    BookError,
    EncodeError,
    ReportError,
    UnexpectedWord,
    decode,
    encode,
    parse_book,
)
from grammar.exact import exact

SINPO, RST, TRANSPONDER, CONDITIONS, SEA = (
    book(name) for name in ("sinpo", "rst", "transponder", "conditions", "sea")
)


# SINPO: Recommendation ITU-R SM.1135


def test_sinpo_45444_is_good_nil_slight_slight_good() -> None:
    reading = decode(SINPO, "four five four four four")
    assert list(reading.values.values()) == ["good", "nil", "slight", "slight", "good"]
    assert encode(SINPO, reading.values).string == "45444"


def test_sinpo_x_is_a_part_not_rated() -> None:
    reading = decode(SINPO, "4X4X4")
    assert reading.values == {"signal": "good", "noise": "slight", "overall": "good"}
    assert encode(SINPO, reading.values).string == "4X4X4"
    assert decode(SINPO, "four x-ray four x-ray four") == reading
    assert encode(SINPO, {"overall": "excellent"}).string == "XXXX5"


@pytest.mark.parametrize("string", ["05444", "65444", "4544", "454444"])
def test_sinpo_has_five_figures_one_to_five(string: str) -> None:
    with pytest.raises(ReportError):
        decode(SINPO, string, typed=True)


# RST, from memory


def test_rst_599_has_another_range_at_each_place() -> None:
    assert decode(RST, "five niner niner").values == {"readability": 5, "strength": 9, "tone": 9}
    assert decode(RST, "59").values == {"readability": 5, "strength": 9}
    assert encode(RST, {"readability": 5, "strength": 9, "tone": 9}).string == "599"


@pytest.mark.parametrize("string", ["699", "509", "959"])
def test_rst_figures_out_of_their_places_range_are_refused(string: str) -> None:
    with pytest.raises(ReportError):
        decode(RST, string, typed=True)


# Transponder codes


def test_transponder_code_4203_is_2179_as_one_number() -> None:
    reading = decode(TRANSPONDER, "four two zero three", direction="car")
    assert reading["code"] == 2179 == 0o4203
    assert encode(TRANSPONDER, {"code": 2179}).string == "4203"


def test_transponder_code_4203_is_four_digits() -> None:
    reading = decode(TRANSPONDER, "four two zero three", direction="pit")
    assert [exact(value) for value in reading.values.values()] == [4, 2, 0, 3]
    assert encode(TRANSPONDER, reading.values).string == "4203"


def test_every_transponder_code_is_its_octal_number() -> None:
    for number in range(0, 4096, 7):
        assert encode(TRANSPONDER, {"code": number}).string == f"{number:04o}"
        assert decode(TRANSPONDER, f"{number:04o}", direction="car")["code"] == number


@pytest.mark.parametrize("said", ["four two eight three", "niner two zero three", "4283", "9203"])
def test_transponder_codes_have_no_eight_and_no_nine(said: str) -> None:
    for direction in ("car", "pit"):
        with pytest.raises(ReportError):
            decode(TRANSPONDER, said, direction=direction)


def test_a_transponder_code_beyond_7777_is_outside_the_domain() -> None:
    with pytest.raises(EncodeError):
        encode(TRANSPONDER, {"code": 4096})


@pytest.mark.parametrize(
    ("string", "meaning"),
    [("7500", "unlawful interference"), ("7600", "radio failure"), ("7700", "emergency")],
)
def test_transponder_codes_with_a_meaning_of_their_own(string: str, meaning: str) -> None:
    assert decode(CONDITIONS, string)["condition"] == meaning
    assert encode(CONDITIONS, {"condition": meaning}).words == CONDITIONS.alphabet.say(string)


def test_code_and_meaning_cannot_stand_in_one_direction_of_a_book() -> None:
    # One string, one reading: 7500 is either the number or the condition, so the loader refuses a
    # book of both.
    both = book_text("transponder") + "\n".join(
        [
            '[fields.condition]\nkind = "choice"\noptions = ["unlawful interference"]',
            '[tables.condition]\nkind = "listed"\nwords = ["7500"]',
            '[messages.condition]\nlayout = "condition"',
        ]
    )
    with pytest.raises(BookError) as refused:
        parse_book(both)
    (problem,) = refused.value.problems
    assert problem.kind == "ambiguous"
    assert problem.message.startswith("'7500' has two readings, in messages condition and number")


# WMO code table 3700


@pytest.mark.parametrize(
    ("figure", "low", "high"),
    [
        ("0", "0", "0"), ("1", "0", "0.1"), ("2", "0.1", "0.5"), ("3", "0.5", "1.25"),
        ("4", "1.25", "2.5"), ("5", "2.5", "4"),
        ("6", "4", "6"), ("7", "6", "9"), ("8", "9", "14"), ("9", "14", None),
    ],
)  # fmt: skip
def test_state_of_the_sea_is_a_band_of_wave_heights(
    figure: str, low: str, high: str | None
) -> None:
    band = Band(Decimal(low), None if high is None else Decimal(high))
    assert decode(SEA, f"S{figure}")["waves"] == band
    assert encode(SEA, {"waves": band}).string == f"S{figure}"
    if high is not None:  # a height on a bound is coded by the lower figure: from memory
        assert encode(SEA, {"waves": high}).string == f"S{figure}"
        assert (
            encode(SEA, {"waves": Decimal(high) + Decimal("0.01")}).string == f"S{int(figure) + 1}"
        )


def test_waves_below_zero_are_outside_the_domain() -> None:
    with pytest.raises(EncodeError):
        encode(SEA, {"waves": -0.1})


# WMO code table 4019, which is not monotone; pymetdecoder holds the same table

HOURS = [6, 12, 18, 24, 1, 2, 3, 9, 15]


@pytest.mark.parametrize(("figure", "hours"), list(enumerate(HOURS, start=1)))
def test_period_figures_do_not_rise_with_the_hours(figure: int, hours: int) -> None:
    assert (
        decode(SEA, str(figure))["period"] == hours == CodeTable4019().decode(str(figure))["value"]
    )
    assert encode(SEA, {"period": hours}).string == str(figure)


def test_period_without_a_figure_cannot_be_said() -> None:
    with pytest.raises(EncodeError) as refused:
        encode(SEA, {"period": 5})
    assert refused.value.kind == "no-codeword"
    with pytest.raises(UnexpectedWord):
        decode(SEA, "0", typed=True)
