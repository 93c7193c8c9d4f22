"""The debrief is one page that needs nothing else, says what it shows in words too, and trusts no
text.
"""

from __future__ import annotations

import base64
import re
import xml.etree.ElementTree as ElementTree
from collections import Counter
from dataclasses import replace
from decimal import Decimal
from html.parser import HTMLParser
from pathlib import Path

import pytest
from helpers import book_of
from race.story import Story, tell
from race.test_race_following import BOOK, OTHER

from codec.debrief import Debrief, summarise
from codec.debrief.figures import NAMES, against_plan, figures, image
from codec.debrief.page import page, write
from codec.debrief.recorded import parse_car_file
from codec.debrief.summary import CAUTION, certainties
from codec.debrief.told import sentences
from codec.race import follow, outlook, parse_event
from codec.sheet import Entry
from grammar.errors import CodeError

NASTY = "<script>alert(1)</script>&\"'{{ 7 * 7 }}"


@pytest.fixture(scope="module")
def story() -> Story:
    return tell()


@pytest.fixture(scope="module")
def summary(story: Story) -> Debrief:
    return summarise(
        story.book,
        story.entries,
        car="7",
        event=story.event,
        recorded=parse_car_file(story.car_file(), story.book),
    )


@pytest.fixture(scope="module")
def text(summary: Debrief) -> str:
    return page(summary)


@pytest.fixture(scope="module")
def told(summary: Debrief) -> str:
    """What the page says: nothing is drawn, which takes seconds."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("codec.debrief.page.image", lambda *_: b"<svg/>")
        return page(summary)


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.found: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))
        if tag not in ("meta", "img", "br", "source"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def tags(text: str) -> list[tuple[str, dict[str, str | None]]]:
    parser = _Tags()
    parser.feed(text)
    assert parser.open == []
    return parser.found


@pytest.mark.slow
def test_the_page_needs_nothing_else(text: str) -> None:
    for tag, attributes in tags(text):
        assert tag not in ("script", "link", "iframe", "object")
        for name in ("src", "href", "srcset"):
            assert (attributes.get(name) or "data:").startswith("data:")
    assert "default-src 'none'" in text
    assert "url(" not in text


def test_the_caution_stands_above_and_below(told: str) -> None:
    escaped = CAUTION.replace("'", "&#39;")
    assert told.count(escaped) == 2
    assert told.index(escaped) < told.index("Temperatures against limits")


def images(text: str) -> list[dict[str, str | None]]:
    return [attributes for tag, attributes in tags(text) if tag == "img"]


def test_every_figure_is_there_for_page_and_phone_and_told_in_words(told: str) -> None:
    assert [one["class"] for one in images(told)] == ["wide", "narrow"] * 5
    assert all(len(one["alt"] or "") > 30 for one in images(told))


@pytest.mark.slow
def test_every_figure_of_the_page_is_drawn(text: str) -> None:
    for one in images(text):
        drawn = base64.b64decode((one["src"] or "").partition("base64,")[2])
        assert ElementTree.fromstring(drawn).tag.endswith("svg")  # noqa: S314 - our own file


def test_a_figure_is_drawn_for_a_phone(summary: Debrief) -> None:
    drawn = image(summary, next(iter(figures(summary))), "svg", "narrow")
    assert ElementTree.fromstring(drawn).tag.endswith("svg")  # noqa: S314 - our own file


def test_planted_faults_and_laps_are_in_the_tables(told: str, story: Story) -> None:
    for _, verdict in story.planted:
        assert f'<td class="n">{verdict}</td>' in told
    assert "seven as echo 1×" in told
    rows = re.findall(r"<tr><td class=\"n lap\" data-of=\"lap\">\d+</td>", told)
    assert len(rows) >= 25 + len(story.planted)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Draw nothing: what a page says is tried without its figures."""
    monkeypatch.setattr("codec.debrief.page.image", lambda *_: b"<svg/>")


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("place", ["heard", "message", "car", "title"])
def test_no_text_is_taken_for_markup(story: Story, place: str) -> None:
    entries = list(story.entries)
    if place == "heard":
        entries[0] = entries[0].replace(heard=NASTY, refusal="doubtful")
    if place == "message":
        entries.append(
            entries[0].replace(
                kind="event", message=NASTY, seq=999, values={}, string="", refusal=""
            )
        )
    car = NASTY if place == "car" else "7"
    entries = [entry.replace(car=car) for entry in entries]
    summary = summarise(story.book, entries, car=car, title=NASTY if place == "title" else "")
    made = page(summary)
    assert "<script" not in made
    assert "{{ 7 * 7 }}" in made
    assert "&lt;script&gt;" in made


@pytest.mark.slow
def test_files_are_written_and_the_same_each_time(tmp_path: Path, summary: Debrief) -> None:
    written = write(summary, tmp_path / "a")
    names = sorted(path.name for path in written)
    stems = ["certainty", "energy", "radio", "temperatures", "use"]
    assert names == sorted(
        ["debrief.html", *(f"{stem}.{form}" for stem in stems for form in ("png", "svg"))]
    )
    assert all(
        path.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n" for path in written if path.suffix == ".png"
    )
    energy = next(figure for figure in figures(summary) if figure.name == "energy")
    assert (tmp_path / "a" / "energy.svg").read_bytes() == image(summary, energy, "svg")


@pytest.mark.usefixtures("quick")
def test_an_earlier_debrief_is_written_over_only_if_asked_to_and_none_of_its_figures_stays(
    tmp_path: Path, story: Story, summary: Debrief
) -> None:
    write(summary, tmp_path)
    (tmp_path / "notes.txt").write_text("mine")
    shorter = summarise(story.book, story.entries, car="7")
    with pytest.raises(CodeError, match=r"there is a debrief in .* already"):
        write(shorter, tmp_path)
    assert (tmp_path / "energy.svg").exists()
    written = write(shorter, tmp_path, replace=True)
    assert not (tmp_path / "energy.svg").exists()
    assert {path.name for path in tmp_path.iterdir()} == {
        "notes.txt",
        *(path.name for path in written),
    }


def test_every_figure_there_may_be_is_known_by_name(summary: Debrief) -> None:
    assert tuple(figure.name for figure in figures(summary)) == NAMES[:-1]
    often = Counter({"five": 5, "niner": 4})
    doubted = figures(replace(summary, doubted=often))
    assert tuple(figure.name for figure in doubted) == NAMES


def test_four_words_doubted_once_each_are_told_in_a_sentence(told: str, summary: Debrief) -> None:
    assert summary.doubted.total() < 8
    assert "Words doubted: " in told


def test_the_debrief_opens_with_three_sentences(told: str, summary: Debrief) -> None:
    ending, driven, forecast = sentences(summary, summary.outlooks)
    assert told.index('<ul class="told">') < told.index(CAUTION.replace("'", "&#39;"))
    assert re.match(r"Car 7 ended 26 laps [\d.]+ kWh (over|below) the reserve", ending)
    assert driven.startswith("Called 1.33 from lap 16 on, 1.3")
    assert "80 % bands" in forecast


def test_a_car_that_ran_short_is_told_since_when_and_why(story: Story) -> None:
    """Two laps were to be added, four were announced."""
    entries = [
        entry.replace(amount=Decimal(4)) if entry.message == "added" else entry
        for entry in story.entries
    ]
    summary = summarise(story.book, entries, car="7", event=story.event)
    ending = sentences(summary, summary.outlooks)[0]
    assert "short (100%), since lap 10" in ending
    assert "four laps added" in ending


def test_a_report_stands_for_an_interval(summary: Debrief) -> None:
    """Temperatures of the race book are said up to the next 5 °C: 95 is above 90, up to 95."""
    low, high = summary.intervals("motor")[7]
    said = float(summary.lines[6].values["motor"])  # type: ignore[arg-type]  # a number
    assert (low, high) == (said - 5, said)


def test_energy_that_remains_is_held_against_the_plan() -> None:
    """54 MJ said, rounded down, are 54 to 55: 15 kWh of 30 and a little more; behind ten laps of
    twenty the plan has 15 left.
    """
    spec = parse_event(OTHER, book_of(BOOK))
    told = Entry(kind="report", message="a", lap=10, lap_by="said", seq=1)
    race = follow(spec, [told.replace(values={"left": Decimal(54)})], history=True)
    low, high = against_plan(race, spec.energies["left"], 10, (54.0, 55.0))
    assert (low, high) == (pytest.approx(0.0), pytest.approx(1 / 3.6))


def test_the_forecast_of_the_time_ends_at_what_came(summary: Debrief) -> None:
    assert summary.race is not None
    race = summary.race
    last = outlook(race.history[-1])
    assert (last.lap, last.distance.likeliest) == (26, 0)
    low, high = last.distance.margin.band()
    assert high - low < 0.12
    assert [line.lap for line in summary.lines if line.doubt and line.doubt > 0.5] == [6]


def test_certainty_is_nought_where_the_report_is_surely_wrong(summary: Debrief) -> None:
    sure = certainties(summary)
    assert sure[6] < 0.05
    assert sure[7] > 0.9
    assert 13 not in sure


def test_radio_seconds_are_those_of_the_words(summary: Debrief, story: Story) -> None:
    line = next(line for line in summary.lines if line.lap == 7)
    symbols = story.book.alphabet.words
    assert line.car_seconds == pytest.approx(sum(symbols[symbol].seconds for symbol in line.string))
    asked = next(line for line in summary.lines if line.lap == 3)
    assert asked.pit_seconds > 0.4
    assert asked.car_seconds > 1.8 * line.car_seconds


def test_doubted_words_are_those_that_were_not_the_report(summary: Debrief, story: Story) -> None:
    words = story.book.alphabet.words
    for said, _ in story.confused:
        assert summary.doubted[words[said].word] >= 1


@pytest.mark.usefixtures("quick")
def test_without_an_event_file_there_is_still_a_debrief(story: Story) -> None:
    made = page(summarise(story.book, story.entries, car="7"))
    assert "Energy against plan</h2>" not in made
    assert "Temperatures against limits</h2>" in made


@pytest.mark.usefixtures("quick")
def test_an_empty_sheet_has_a_page(story: Story) -> None:
    assert "Lap by lap" in page(summarise(story.book, [], car="", event=story.event))
