"""Groups of aerodrome reports are read as two general-purpose METAR readers read them.

Sources: ICAO Annex 3 example A3-1 (found); the forms of the groups (Annex 3, WMO Manual on Codes
No. 306 FM 15) from memory. References: the general-purpose readers metar and pymetdecoder.
"""

from __future__ import annotations

import random
from typing import Any

import pytest
from metar.Metar import Metar
from published.support import book
from pymetdecoder.metar import METAR

from codec import EncodeError, Reading, ReportError, decode, decode_all, encode

BOOK = book("metar")
ANNEX_3 = (  # example A3-1, without its headings
    "221630Z 24004MPS 0600 R12/1000U DZ FG SCT010 OVC020 17/16 Q1018"
)


def values(body: str) -> dict[str, Any]:
    """Return the values of every group of a report, those said once by name, with what VRB and an
    open end add.
    """
    found: dict[str, Any] = {}
    for reading in decode_all(BOOK, body).reports:
        found.update(reading.values)
        if reading.message == "wind":
            found["variable"] = "direction" not in reading.values
        if reading.message == "visibility":
            found["or_more"] = (
                reading.field("visibility").beyond(reading.levels["visibility"]) == "high"
            )
    return found


def by_metar(body: str) -> dict[str, Any]:
    """Return the same values as the package metar reads them."""
    report: Any = Metar(f"METAR YUDO 221630Z {body}", month=7, year=2020)
    unit = "MPS" if "MPS" in body else "KT"
    inches = "inches" in str(report.press)
    return {
        "variable": report.wind_dir is None,
        "direction": None if report.wind_dir is None else round(report.wind_dir.value()),
        "speed": round(report.wind_speed.value(unit)),
        "gust": None if report.wind_gust is None else round(report.wind_gust.value(unit)),
        "speed_unit": {"MPS": "m/s", "KT": "kt"}[unit],
        "visibility": round(report.vis.value("M")),
        "or_more": str(report.vis).startswith("greater than"),
        "temperature": round(report.temp.value("C")),
        "dew_point": round(report.dewpt.value("C")),
        "pressure": None if inches else round(report.press.value("HPA")),
        "pressure_inches": round(report.press.value("IN") * 100) if inches else None,
    }


def by_pymetdecoder(body: str) -> dict[str, Any]:
    """Return the same values as the package pymetdecoder reads them."""
    # It takes figures after the visibility for more of it, so a cloud group parts the temperatures
    # from it.
    wind_group, visibility_group, *rest = body.split()
    report = METAR().decode(
        f"METAR YUDO 221630Z {wind_group} {visibility_group} SCT010 {' '.join(rest)}"
    )
    wind, visibility, pressure = (
        report["surface_wind"],
        report["prevailing_visibility"],
        report["qnh"],
    )
    inches = pressure["unit"] == "inHg"
    return {
        "variable": wind["direction"]["variable"],
        "direction": wind["direction"]["value"],
        "speed": wind["speed"]["value"],
        "gust": wind["gust"] and wind["gust"]["value"],
        "speed_unit": {"MPS": "m/s", "KT": "kt"}[wind["speed"]["unit"]],
        "visibility": visibility["value"],
        "or_more": visibility.get("quantifier") == "isGreaterThan",
        "temperature": report["air_temperature"]["value"],
        "dew_point": report["dewpoint_temperature"]["value"],
        "pressure": None if inches else pressure["value"],
        "pressure_inches": round(pressure["value"] * 100) if inches else None,
    }


def by_niner(body: str) -> dict[str, Any]:
    """Return the values of this product in the same form."""
    found = values(body)
    for name in ("direction", "gust", "pressure", "pressure_inches"):
        found.setdefault(name, None)
    if found["pressure_inches"] is not None:
        found["pressure_inches"] *= 100
    return found


def test_the_example_of_annex_3_is_read_whole() -> None:
    shown = [str(reading) for reading in decode_all(BOOK, ANNEX_3).reports]
    assert shown == [
        "time: day 22, hour 16 h, minute 30 min",
        "wind: direction 240 °, speed 4, speed unit m/s",
        "visibility: visibility 600 m",
        "runway range: runway 12, runway range 1000 m, tendency rising",
        "weather: weather drizzle",
        "weather: weather fog",
        "cloud: amount scattered, base 300 m",
        "cloud: amount overcast, base 600 m",
        "temperature: temperature 17 °C, dew point 16 °C",
        "pressure: pressure 1018 hPa",
    ]


def test_the_example_of_annex_3_has_the_values_of_both_readers() -> None:
    body = ANNEX_3.removeprefix("221630Z ").replace("R12/1000U DZ FG SCT010 OVC020 ", "")
    ours = by_niner(body)
    assert ours == by_metar(body) == by_pymetdecoder(body)
    whole = METAR().decode(f"METAR YUDO {ANNEX_3}")
    assert [cloud["height"]["value"] for cloud in whole["cloud_types"]] == [300, 600]
    assert (
        whole["runway_visual_range"][0]["runway"]["value"],
        whole["runway_visual_range"][0]["visibility"]["value"],
    ) == ("12", 1000)


def test_the_example_of_annex_3_is_said_and_heard_in_spelling_words() -> None:
    typed = decode_all(BOOK, ANNEX_3).reports
    words = " ".join(encode(BOOK, reading).words for reading in typed)
    assert words.startswith(
        "two two one six three zero zulu two four zero zero four mike papa sierra zero six zero"
        " zero romeo one two slant"
    )
    assert decode_all(BOOK, words).reports == typed


@pytest.mark.parametrize("group", ANNEX_3.split())
def test_every_group_of_the_example_is_encoded_as_it_stands(group: str) -> None:
    assert encode(BOOK, decode(BOOK, group, typed=True)).string == group


def signed(number: int) -> str:
    return f"M{-number:02d}" if number < 0 else f"{number:02d}"


def generated(chance: random.Random, most: int) -> str:
    """Return wind, visibility, temperatures and pressure of a made-up report with speeds up to
    ``most``.
    """
    direction = chance.choice(["VRB", f"{chance.randint(0, 36) * 10:03d}"])
    speed = chance.randint(0, most - 1)
    gust = chance.choice(["", f"G{chance.randint(speed + 1, most):02d}"])
    visibility = chance.choice(
        [50 * chance.randint(1, 16), 100 * chance.randint(8, 50), 1000 * chance.randint(5, 9), 9999]
    )
    temperature = chance.randint(-45, 45)
    dew_point = temperature - chance.randint(0, 14)
    pressure = chance.choice(
        [f"Q{chance.randint(900, 1070):04d}", f"A{chance.randint(2650, 3150):04d}"]
    )
    unit = chance.choice(["KT", "MPS"])
    return (
        f"{direction}{speed:02d}{gust}{unit} {visibility:04d}"
        f" {signed(temperature)}/{signed(dew_point)} {pressure}"
    )


def test_three_hundred_generated_reports_have_the_values_of_both_readers() -> None:
    chance = random.Random(306)
    for body in (generated(chance, 99) for _ in range(300)):
        assert by_niner(body) == by_metar(body) == by_pymetdecoder(body), body


def test_speeds_of_three_figures_have_the_values_of_metar() -> None:
    # pymetdecoder reads two figures of speed only.
    chance = random.Random(100)
    for body in (generated(chance, 199) for _ in range(100)):
        assert by_niner(body) == by_metar(body), body


def test_visibility_of_nought_has_the_value_of_metar() -> None:
    # pymetdecoder does not read 0000.
    body = "24004MPS 0000 17/16 Q1018"
    assert by_niner(body) == by_metar(body)
    assert values(body)["visibility"] == 0


def test_groups_are_encoded_back_as_they_stood() -> None:
    chance = random.Random(3)
    for group in (group for _ in range(50) for group in generated(chance, 199).split()):
        assert encode(BOOK, decode(BOOK, group, typed=True)).string == group


def test_a_direction_that_varies_is_left_out_of_the_values() -> None:
    reading = decode(BOOK, "VRB03KT", typed=True)
    assert reading.values == {"speed": 3, "speed_unit": "kt"}
    assert encode(BOOK, reading.values).string == "VRB03KT"


def test_speed_takes_three_figures_only_from_a_hundred_on() -> None:
    assert encode(BOOK, {"direction": 240, "speed": 99, "speed_unit": "kt"}).string == "24099KT"
    assert encode(BOOK, {"direction": 240, "speed": 100, "speed_unit": "kt"}).string == "240100KT"
    with pytest.raises(ReportError):
        decode(BOOK, "240099KT", typed=True)


def test_9999_is_ten_kilometres_or_more() -> None:
    reading = decode(BOOK, "9999", typed=True)
    assert (reading["visibility"], reading.shown("visibility")) == (10_000, "≥ 10000 m")
    assert encode(BOOK, {"visibility": 24_000}).string == "9999"


# What tables that are one to one, and books that refuse rather than guess, leave out; both readers
# take these.
REFUSED = {
    "M00/M01": "M00 is half a degree below zero rounded up, and 00 is the codeword of 0",
    "24504KT": "the direction is in tens of degrees",
    "0625": "the visibility is in steps of 50 m here",
    "/////KT": "a group not measured needs a codeword of its own, as X has in SINPO",
    "17///": "the same for the dew point",
    "240P49MPS": "P for 'more than' is an open end, which this book puts nowhere",
    "23015G25": "the unit is missing",
}


@pytest.mark.parametrize("group", REFUSED)
def test_group_that_is_no_codeword_is_refused_not_guessed(group: str) -> None:
    with pytest.raises(ReportError):
        decode(BOOK, group, typed=True)


def test_minus_nought_is_what_both_readers_take_for_nought() -> None:
    body = "24004MPS 0600 M00/M01 Q1018"
    assert by_metar(body)["temperature"] == by_pymetdecoder(body)["temperature"] == 0
    with pytest.raises(ReportError):
        decode_all(BOOK, body)
    assert encode(BOOK, {"temperature": 0, "dew_point": -1}).string == "00/M01"


def test_values_outside_a_group_are_refused_with_the_domain() -> None:
    for given in (
        {"temperature": 61, "dew_point": 0},
        {"direction": 370, "speed": 4, "speed_unit": "kt"},
    ):
        with pytest.raises(EncodeError) as refused:
            encode(BOOK, given)
        assert refused.value.kind == "outside-domain"
        assert refused.value.expected


def test_a_reading_keeps_the_place_of_every_group() -> None:
    reports: tuple[Reading, ...] = decode_all(BOOK, ANNEX_3).reports
    places = [ANNEX_3[reading.spans[0][0] : reading.spans[-1][1]] for reading in reports]
    assert places == ANNEX_3.split()
