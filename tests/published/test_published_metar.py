"""Aerodrome reports are read whole as two general-purpose METAR readers read them.

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

from codec import EncodeError, ReportError, decode, encode

BOOK = book("metar")
ANNEX_3 = (  # example A3-1, without its headings
    "221630Z 24004MPS 0600 R12/1000U DZ FG SCT010 OVC020 17/16 Q1018"
)


def by_metar(body: str) -> dict[str, Any]:
    """Return what a report says as the package metar reads it."""
    report: Any = Metar(f"METAR YUDO {body}", month=7, year=2020)
    unit = "MPS" if "MPS" in body else "KT"
    inches, cavok = "inches" in str(report.press), "CAVOK" in body
    amounts = {"FEW": "few", "SCT": "scattered", "BKN": "broken", "OVC": "overcast"}
    return {
        "time": (report.time.day, report.time.hour, report.time.minute),
        "direction": None if report.wind_dir is None else round(report.wind_dir.value()),
        "speed": round(report.wind_speed.value(unit)),
        "gust": None if report.wind_gust is None else round(report.wind_gust.value(unit)),
        "speed_unit": {"MPS": "m/s", "KT": "kt"}[unit],
        "visibility": None if cavok else round(report.vis.value("M")),
        "or_more": not cavok and str(report.vis).startswith("greater than"),
        "runways": [
            (int(name), round(low.value("M")), _TENDENCY.get(body.split(f"R{name}/")[1][4:5]))
            for name, low, *_ in report.runway
        ],
        "weather": [
            (
                {"-": "light", "+": "heavy"}.get(intensity, "moderate"),
                _DESCRIPTOR.get(descriptor),
                _WEATHER[precipitation or obscuration],
            )
            for intensity, descriptor, precipitation, obscuration, _ in report.weather
        ],
        "clouds": [
            (amounts[amount], 30 * round(base.value("FT") / 100), _CONVECTIVE.get(convective))
            for amount, base, convective in (() if cavok or "NSC" in body else report.sky)
        ],
        "temperature": round(report.temp.value("C")),
        "dew_point": round(report.dewpt.value("C")),
        "pressure": None if inches else round(report.press.value("HPA")),
        "pressure_inches": round(report.press.value("IN") * 100) if inches else None,
    }


_TENDENCY = {"U": "rising", "D": "falling", "N": "steady"}
_DESCRIPTOR = {"SH": "shower(s)", "TS": "thunderstorm", "FZ": "freezing", "BL": "blowing"}
_WEATHER = {
    "DZ": "drizzle",
    "RA": "rain",
    "SN": "snow",
    "FG": "fog",
    "BR": "mist",
    "HZ": "haze",
}
_CONVECTIVE = {"CB": "cumulonimbus", "TCU": "towering cumulus"}


def by_pymetdecoder(body: str) -> dict[str, Any]:
    """Return what a report says as the package pymetdecoder reads it."""
    report = METAR().decode(f"METAR YUDO {body}")
    time, wind, pressure = report["obs_time"], report["surface_wind"], report["qnh"]
    seen, inches = report.get("prevailing_visibility"), pressure["unit"] == "inHg"
    return {
        "time": tuple(time[part]["value"] for part in ("day", "hour", "minute")),
        "direction": wind["direction"]["value"],
        "speed": wind["speed"]["value"],
        "gust": wind["gust"] and wind["gust"]["value"],
        "speed_unit": {"MPS": "m/s", "KT": "kt"}[wind["speed"]["unit"]],
        "visibility": seen and seen["value"],
        "or_more": bool(seen) and seen.get("quantifier") == "isGreaterThan",
        "runways": [
            (
                int(one["runway"]["value"]),
                one["visibility"]["value"],
                _TENDENCY.get((one["visibility"].get("tendency") or " ")[0].upper()),
            )
            for one in report.get("runway_visual_range", ())
        ],
        "weather": [
            (
                one.get("intensity") or "moderate",
                one.get("descriptor"),
                one["precipitation"][0] if "precipitation" in one else one["obscuration"],
            )
            for one in report.get("present_weather", ())
        ],
        "clouds": [
            (
                {"FEW": "few", "SCT": "scattered", "BKN": "broken", 8: "overcast"}[
                    one["amount"]["value"]
                ],
                one["height"]["value"],
                next(
                    (
                        name.replace("_", " ")
                        for name in ("cumulonimbus", "towering_cumulus")
                        if one["convective"][name]
                    ),
                    None,
                ),
            )
            for one in report.get("cloud_types", ())
            if one["amount"]["value"] is not None
        ],
        "temperature": report["air_temperature"]["value"],
        "dew_point": report["dewpoint_temperature"]["value"],
        "pressure": None if inches else pressure["value"],
        "pressure_inches": round(pressure["value"] * 100) if inches else None,
    }


def by_niner(body: str) -> dict[str, Any]:
    """Return the values of this product in the same form."""
    reading = decode(BOOK, body, typed=True)
    found: dict[str, Any] = {name: reading[name] for name in ("speed", "speed_unit")}
    for name in ("direction", "gust", "visibility", "temperature", "dew_point", "pressure"):
        found[name] = reading.values.get(name)
    inches: Any = reading.values.get("pressure_inches")
    beyond = [
        reading.field(name).beyond(reading.levels[name])
        for name in ("visibility",)
        if name in reading.values
    ]
    rows = {
        "runways": ("runway", "runway_range", "tendency"),
        "weather": ("intensity", "descriptor", "weather"),
        "clouds": ("amount", "base", "convective"),
    }
    found |= {
        name: list(zip(*(reading.lists[one] for one in fields), strict=True))
        for name, fields in rows.items()
    }
    return found | {
        "time": (reading["day"], reading["hour"], reading["minute"]),
        "or_more": beyond == ["high"],
        "pressure_inches": None if inches is None else inches * 100,
    }


def test_the_example_of_annex_3_has_the_values_of_both_readers() -> None:
    ours = by_niner(ANNEX_3)
    assert ours == by_metar(ANNEX_3) == by_pymetdecoder(ANNEX_3)
    assert ours["runways"] == [(12, 1000, "rising")]
    assert ours["weather"] == [("moderate", None, "drizzle"), ("moderate", None, "fog")]
    assert ours["clouds"] == [("scattered", 300, None), ("overcast", 600, None)]


def test_the_example_of_annex_3_is_said_and_heard_in_spelling_words() -> None:
    typed = decode(BOOK, ANNEX_3, typed=True)
    encoded = encode(BOOK, typed)
    assert encoded.string == ANNEX_3.replace(" ", "")
    assert encoded.words.startswith(
        "two two one six three zero zulu two four zero zero four mike papa sierra zero six zero"
        " zero romeo one two slant"
    )
    assert decode(BOOK, encoded.words) == typed


def test_values_in_lists_are_said_in_their_order() -> None:
    values = decode(BOOK, ANNEX_3, typed=True).as_dict()["values"]
    assert encode(BOOK, values).string == ANNEX_3.replace(" ", "")
    values["amount"], values["base"] = ["few", "broken", "overcast"], [300, 600, 3000]
    values["convective"] = [None, "cumulonimbus", None]
    said = encode(BOOK, values).string
    assert said == ANNEX_3.replace(" ", "").replace("SCT010OVC020", "FEW010BKN020CBOVC100")


def signed(number: int) -> str:
    return f"M{-number:02d}" if number < 0 else f"{number:02d}"


def generated(chance: random.Random, speeds: int, runways: int) -> str:
    """Return a made-up report with speeds up to ``speeds`` and up to so many runways."""
    speed = chance.randint(0, speeds - 1)
    direction = chance.choice(["VRB", f"{chance.randint(0, 36) * 10:03d}"])
    gust = chance.choice(["", f"G{chance.randint(speed + 1, speeds):02d}"])
    temperature = chance.randint(-45, 45)
    return " ".join(
        [
            f"{chance.randint(1, 31):02d}{chance.randint(0, 23):02d}{chance.randint(0, 59):02d}Z",
            f"{direction}{speed:02d}{gust}{chance.choice(['KT', 'MPS'])}",
            *chance.choice([["CAVOK"], seen(chance, runways), seen(chance, runways)]),
            f"{signed(temperature)}/{signed(temperature - chance.randint(0, 14))}",
            chance.choice([f"Q{chance.randint(900, 1070):04d}", f"A{chance.randint(2650, 3150)}"]),
        ]
    )


def seen(chance: random.Random, runways: int) -> list[str]:
    visibility = chance.choice(
        [50 * chance.randint(1, 16), 100 * chance.randint(8, 50), 1000 * chance.randint(5, 9), 9999]
    )
    weather = ["DZ", "-RA", "+TSRA", "-SHSN", "FG", "BR", "FZFG", "HZ", "BLSN"]
    layers = [
        f"{chance.choice(['FEW', 'SCT', 'BKN', 'OVC'])}{chance.randint(1, 300):03d}"
        f"{chance.choice(['', '', 'CB', 'TCU'])}"
        for _ in range(chance.randint(0, 4))
    ]
    names = chance.sample(range(1, 37), chance.randint(0, runways))
    return [
        f"{visibility:04d}",
        *(f"R{n:02d}/{25 * chance.randint(2, 80):04d}{chance.choice('UDN')}" for n in names),
        *chance.sample(weather, chance.randint(0, 3)),
        *(layers or ["NSC"]),
    ]


def test_two_hundred_generated_reports_have_the_values_of_both_readers() -> None:
    # pymetdecoder reads two figures of speed only, and few names of runways.
    chance = random.Random(306)
    for body in (generated(chance, 99, 0) for _ in range(200)):
        assert by_niner(body) == by_metar(body) == by_pymetdecoder(body), body


def test_high_speeds_and_several_runways_have_the_values_of_metar() -> None:
    chance = random.Random(100)
    for body in (generated(chance, 199, 4) for _ in range(100)):
        assert by_niner(body) == by_metar(body), body


def test_reports_are_encoded_back_as_they_stood() -> None:
    chance = random.Random(3)
    for body in (generated(chance, 199, 4) for _ in range(30)):
        reading = decode(BOOK, body, typed=True)
        assert encode(BOOK, reading).string == body.replace(" ", "")
        assert encode(BOOK, reading.as_dict()["values"]).reading == reading


def report(**changed: str) -> str:
    groups = {
        "time": "221630Z",
        "wind": "24004MPS",
        "seen": "0600 NSC",
        "temperature": "17/16",
        "pressure": "Q1018",
    }
    return " ".join((groups | changed).values())


def test_visibility_of_nought_has_the_value_of_metar() -> None:
    # pymetdecoder does not read 0000.
    body = report(seen="0000 NSC")
    assert by_niner(body) == by_metar(body)
    assert by_niner(body)["visibility"] == 0


def test_a_direction_that_varies_is_left_out_of_the_values() -> None:
    reading = decode(BOOK, report(wind="VRB03KT"), typed=True)
    assert "direction" not in reading.values
    assert encode(BOOK, reading.values).string == report(wind="VRB03KT").replace(" ", "")


def test_speed_takes_three_figures_only_from_a_hundred_on() -> None:
    for speed, wind in ((99, "24099MPS"), (100, "240100MPS")):
        values = decode(BOOK, report(), typed=True).values | {"speed": speed}
        assert encode(BOOK, values).string == report(wind=wind).replace(" ", "")
    with pytest.raises(ReportError):
        decode(BOOK, report(wind="240099MPS"), typed=True)


def test_9999_is_ten_kilometres_or_more() -> None:
    reading = decode(BOOK, report(seen="9999 NSC"), typed=True)
    assert (reading["visibility"], reading.shown("visibility")) == (10_000, "≥ 10000 m")
    assert encode(BOOK, reading.values | {"visibility": 24_000}).string == reading.said


# What tables that are one to one, and books that refuse rather than guess, leave out; both readers
# take these.
REFUSED = {
    "half a degree below zero, for 00 is the codeword of 0": {"temperature": "M00/M01"},
    "tens of degrees": {"wind": "24504KT"},
    "steps of 50 m here": {"seen": "0625 NSC"},
    "a group not measured needs a codeword of its own, as X has in SINPO": {"wind": "/////KT"},
    "the same for the dew point": {"temperature": "17///"},
    "P for 'more than' is an open end, which this book puts nowhere": {"wind": "240P49MPS"},
    "the unit is missing": {"wind": "23015G25"},
    "a fifth runway": {"seen": "0600 R01/0400 R02/0400 R03/0400 R04/0400 R05/0400 NSC"},
    "clouds and none at once": {"seen": "0600 NSC SCT010"},
}


@pytest.mark.parametrize("why", REFUSED)
def test_what_is_no_codeword_is_refused_not_guessed(why: str) -> None:
    with pytest.raises(ReportError):
        decode(BOOK, report(**REFUSED[why]), typed=True)


def test_minus_nought_is_what_both_readers_take_for_nought() -> None:
    body = report(temperature="M00/M01")
    assert by_metar(body)["temperature"] == by_pymetdecoder(body)["temperature"] == 0
    values = decode(BOOK, report(), typed=True).values | {"temperature": 0, "dew_point": -1}
    assert "00/M01" in encode(BOOK, values).string


def test_values_outside_a_group_are_refused_with_the_domain() -> None:
    values = decode(BOOK, report(), typed=True).values
    for given in ({"temperature": 61}, {"direction": 370}):
        with pytest.raises(EncodeError) as refused:
            encode(BOOK, values | given)
        assert refused.value.kind == "outside-domain"
        assert refused.value.expected


def test_a_fifth_layer_can_not_be_said() -> None:
    values = decode(BOOK, report(), typed=True).as_dict()["values"]
    with pytest.raises(EncodeError, match="amount: 5 values; at most 4 are said"):
        encode(BOOK, values | {"amount": ["few"] * 5, "base": [300] * 5})


def test_a_reading_keeps_the_place_of_every_part() -> None:
    reading = decode(BOOK, ANNEX_3, typed=True)
    assert "".join(ANNEX_3[slice(*part.span)] for part in reading.parts) == reading.said
    assert [ANNEX_3[slice(*part.span)] for part in reading.parts if part.table == "base"] == [
        "010",
        "020",
    ]
