"""Weather reports of land stations are read as a general-purpose reader reads them.

Sources: the example in the documentation of pymetdecoder 0.2.2, and that in the manual of fldigi
4.2.00 (page "SYNOP", without its heading); the forms of the groups (WMO Manual on Codes No. 306
FM 12) from memory. Reference: the general-purpose reader pymetdecoder.
"""

from __future__ import annotations

import random
from decimal import Decimal
from typing import Any

import pytest
from published.support import book
from pymetdecoder.synop import SYNOP

from codec import Reading, ReportError, decode, encode

BOOK = book("synop")
DOCUMENTED = (
    "AAXX 01004 88889 12782 61506 10094 20047 30111 40197 53007 60001 81541 333 81656 86070"
)
MANUAL = "AAXX 01001 13586 31530 80000 10036 20029 39821 40218 53002 71022 886// 333 20029 88715"
NEAR = {"station_pressure": 1000, "sea_pressure": 1000}  # whole values are near it
HOURS = {6: 1, 12: 2, 18: 3, 24: 4, 1: 5, 2: 6, 3: 7, 9: 8, 15: 9}  # WMO code table 4019


def read(body: str) -> Reading:
    return decode(BOOK, body, context=NEAR, typed=True)


def by_niner(body: str) -> dict[str, Any]:
    """Return what a report says as this product reads it, in the units of pymetdecoder."""
    reading = read(body)
    values: dict[str, Any] = dict(reading.values)
    metres = [
        values[name] * 1000
        for name in ("visibility", "visibility_from_6", "visibility_from_35")
        if name in values
    ]
    lowest = values.get("lowest")
    amounts = [values[name] for name in ("amount", "amount_below_1") if name in values]
    bases = zip(
        *(reading.lists[name] for name in ("base", "base_from_1800", "base_from_10500")),
        strict=True,
    )
    heights = [next(one for one in several if one is not None) for several in bases]
    return {
        "time": (values["day"], values["hour"]),
        "wind in": values["wind_by"],
        "station": f"{int(values['station']):05d}",
        "lowest": lowest and (lowest.low, lowest.high),
        "visibility": metres[0] if metres else 70_000,
        "cover": values.get("cover"),
        "direction": values.get("direction"),
        "speed": values["speed"],
        **{
            name: values.get(name)
            for name in ("temperature", "dew_point", "humidity", "maximum", "minimum")
        },
        **{name: values.get(name) for name in NEAR},
        "change": values.get("change"),
        "precipitation": amounts[0] if amounts else 0 if "trace" in values else None,
        "period": values.get("period"),
        "weather": values.get("weather"),
        "past": reading.lists["past"],
        "clouds": [values.get(f"{which}_cloud") for which in ("low", "middle", "high")],
        "layers": list(zip(reading.lists["layer"], reading.lists["genus"], heights, strict=True)),
    }


def by_pymetdecoder(body: str) -> dict[str, Any]:
    """Return the same as the package pymetdecoder reads it."""
    report = SYNOP().decode(body)

    def told(*keys: str) -> Any:
        found: Any = report
        for key in keys:
            found = found and found.get(key)
        if isinstance(found, float):
            return Decimal(str(found))
        return found

    unit = told("wind_indicator", "unit").lower()
    lowest = told("lowest_cloud_base")
    change = told("pressure_tendency", "change", "value")
    return {
        "time": (told("obs_time", "day", "value"), told("obs_time", "hour", "value")),
        "wind in": unit + (", estimated" if told("wind_indicator", "estimated") else ""),
        "station": told("station_id", "value"),
        "lowest": lowest and (lowest["min"], lowest["max"]),
        "visibility": told("visibility", "value"),
        "cover": told("cloud_cover", "value"),
        "direction": (
            0
            if told("surface_wind", "direction", "calm")
            else told("surface_wind", "direction", "value")
        ),
        "speed": told("surface_wind", "speed", "value"),
        "temperature": told("air_temperature", "value"),
        "dew_point": told("dewpoint_temperature", "value"),
        "humidity": told("relative_humidity", "value"),
        "maximum": told("maximum_temperature", "value"),
        "minimum": told("minimum_temperature", "value"),
        "station_pressure": told("station_pressure", "value"),
        "sea_pressure": told("sea_level_pressure", "value"),
        "change": change and abs(change),
        "precipitation": told("precipitation_s1", "amount", "value"),
        "period": told("precipitation_s1", "time_before_obs", "value"),
        "weather": told("present_weather", "value"),
        "past": [one["value"] for one in report.get("past_weather") or ()],
        "clouds": [
            told("cloud_types", f"{which}_cloud_type", "value")
            for which in ("low", "middle", "high")
        ],
        "layers": [
            (
                one["cloud_cover"]["value"],
                one["cloud_genus"]["value"],
                one["cloud_height"]["value"],
            )
            for one in report.get("cloud_layer") or ()
        ],
    }


def test_both_published_examples_have_the_values_of_the_reader() -> None:
    for body in (DOCUMENTED, MANUAL):
        assert by_niner(body) == by_pymetdecoder(body)


def test_the_documented_example_has_the_values_its_documentation_shows() -> None:
    reading = read(DOCUMENTED)
    assert (reading["temperature"], reading["dew_point"]) == (Decimal("9.4"), Decimal("4.7"))
    assert (reading["station_pressure"], reading["sea_pressure"]) == (
        Decimal("1011.1"),
        Decimal("1019.7"),
    )
    assert reading["layer"] == [1, 6]
    assert reading["genus"] == ["Sc", "Ci"]
    assert reading["base_from_1800"] == [1800, 6000]
    assert reading["base"] == [None, None]


def test_examples_are_encoded_back_as_they_stand_and_heard_in_words() -> None:
    for body in (DOCUMENTED, MANUAL):
        encoded = encode(BOOK, read(body))
        assert encoded.string == body.replace(" ", "")
        assert decode(BOOK, encoded.words) == encoded.reading
        values = encoded.reading.as_dict()["values"] | {"lowest": encoded.reading["lowest"]}
        assert encode(BOOK, values).string == encoded.string


def signed(chance: random.Random) -> str:
    return f"{chance.randint(0, 1)}{chance.randint(1, 500):03d}"


def generated(chance: random.Random) -> str:
    """Return a made-up report."""
    seen = chance.choice([*range(1, 51), *range(56, 90)])
    ff = chance.choice([f"{chance.randint(0, 98):02d}", f"99 00{chance.randint(99, 200):03d}"])
    pressures = [f"{chance.choice([*range(9500, 10000), *range(500)]):04d}" for _ in range(2)]
    rain = chance.choice([*range(1, 989), *range(990, 1000)])

    def maybe(group: str) -> list[str]:
        return chance.choice([[], [group]])

    return " ".join(
        [
            "AAXX",
            f"{chance.randint(1, 31):02d}{chance.randint(0, 23):02d}{chance.choice('0134')}",
            f"{chance.randint(1000, 98999):05d}",
            f"11{chance.choice('0123456789/')}{seen:02d}",
            f"{chance.choice('012345678/')}{chance.randint(1, 36):02d}{ff}",
            f"1{signed(chance)}",
            *maybe(chance.choice([f"2{signed(chance)}", f"29{chance.randint(1, 100):03d}"])),
            f"3{pressures[0]}",
            *maybe(f"4{pressures[1]}"),
            *maybe(f"5{chance.randint(0, 8)}{chance.randint(1, 99):03d}"),
            f"6{rain:03d}{chance.choice(list(HOURS.values()))}",
            *maybe(f"7{chance.randint(0, 99):02d}{chance.randint(0, 9)}{chance.randint(0, 9)}"),
            *maybe(
                f"8{chance.randint(1, 8)}{chance.randint(1, 9)}"
                + "".join(chance.choices("0123/", k=2))
            ),
            *section_3(chance),
        ]
    )


def section_3(chance: random.Random) -> list[str]:
    heights = [*range(1, 51), *range(56, 89)]
    layers = [
        f"8{chance.randint(1, 8)}{chance.randint(0, 9)}{chance.choice(heights):02d}"
        for _ in range(chance.randint(0, 4))
    ]
    extremes = [f"{figure}{signed(chance)}" for figure in "12" if chance.random() < 0.5]
    return ["333", *extremes, *layers] if extremes or layers else []


def test_a_hundred_generated_reports_have_the_values_of_the_reader() -> None:
    chance = random.Random(12)
    for body in (generated(chance) for _ in range(100)):
        assert by_niner(body) == by_pymetdecoder(body), body


def test_generated_reports_are_encoded_back_as_they_stood() -> None:
    chance = random.Random(4019)
    for body in (generated(chance) for _ in range(10)):
        assert encode(BOOK, read(body)).string == body.replace(" ", "")


def test_the_figure_of_the_sign_is_said_also_before_nought() -> None:
    for celsius, group in (("-0.1", "11001"), ("0", "10000"), ("0.1", "10001"), ("-40", "11400")):
        body = DOCUMENTED.replace("10094", group)
        assert read(body)["temperature"] == Decimal(celsius)
        said = encode(BOOK, read(DOCUMENTED).values | {"temperature": celsius})
        assert said.string == body.replace(" ", "")


@pytest.mark.parametrize(
    "changed",
    [
        ("10094", "12094"),  # the sign is 0 or 1
        ("10094", "11000"),  # minus nought is the codeword of nothing
        ("82 ", "52 "),  # 51 to 55 are not used
        ("60001", "60000"),  # the period has no figure 0
        ("86070", "86070 81656 81656 81656"),  # a fifth layer
        ("61506", "63706"),  # beyond 360 degrees
    ],
)
def test_what_is_no_figure_of_its_group_is_refused(changed: tuple[str, str]) -> None:
    assert DOCUMENTED.count(changed[0]) == 1
    with pytest.raises(ReportError):
        read(DOCUMENTED.replace(*changed))
