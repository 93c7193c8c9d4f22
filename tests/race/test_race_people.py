"""What is known of a driver and an engineer counts in a race as much as it is worth, and only there
where something is known.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path

import numpy
import pytest
from commands import called
from hypothesis import given
from hypothesis import strategies as st
from race.support import CALLS, DELTA, EVENT, event, fact, race_book, report

from codec.log.watch import Watch
from codec.profile import Profile, save_profile
from codec.race import Event, Race, advise, energy, follow, outlook, with_people
from codec.race.people import EventFile, habits, impartial
from codec.sheet import Entry, Journal
from grammar.profile import MeasuredTime, Scatter

LAPS = 17
PLAN = Decimal("1.6")


def saving() -> Event:
    """A race of 1.60 kWh a lap in which 1.30 is called behind lap 8."""
    plan = f"[plan]\nper_lap = {PLAN}\n"
    return event("", DELTA + CALLS + plan, distance=f"laps = {LAPS}")


def driven(uses: Sequence[float], *targets: tuple[int, str]) -> list[Entry]:
    """The reports of laps that took so much each, and targets called behind laps."""
    left = numpy.cumsum(float(PLAN) - numpy.array(uses)).round(6).tolist()
    reports = [report(lap, energy=Decimal(repr(of))) for lap, of in enumerate(left, 1)]
    calls = [fact("call", "pace", lap, target=Decimal(target)) for lap, target in targets]
    return sorted([*reports, *calls], key=lambda one: one.seq)


def ignoring(count: int = 9) -> list[Entry]:
    return driven([1.6] * count, (8, "1.30"))


def likely(driver: Profile, facts: Sequence[Entry]) -> tuple[float, float, float]:
    return follow(with_people(saving(), driver), facts).energy.branches()


def test_nothing_known_changes_nothing() -> None:
    for one in (None, Profile(), Profile(people=("Ilse Marrow",), lost={"one": 2.0})):
        assert with_people(saving(), one, one) == saving()


@given(st.floats(0, 300), st.floats(0, 300))
def test_targets_count_as_so_many_called_before_but_for_more_than_twenty(
    kept: float, ignored: float
) -> None:
    """A closed form: the mean of a Dirichlet distribution."""
    total = kept + ignored
    share = 1.0 if total <= 20 else 20 / total
    spec = with_people(saving(), Profile(targets={"kept": kept, "ignored": ignored})).spec.targets
    assert float(spec.kept) == pytest.approx(2.7 + share * kept, abs=1e-5)
    assert float(spec.half) == pytest.approx(0.15)
    assert float(spec.ignored) == pytest.approx(0.15 + share * ignored, abs=1e-5)


def test_who_ignored_targets_in_races_is_believed_less_and_told_sooner() -> None:
    often = Profile(targets={"kept": 2, "ignored": 10})
    never = Profile(targets={"kept": 12})
    facts = driven([*([1.6] * 8), 1.5], (8, "1.30"))
    assert likely(often, facts)[2] > likely(Profile(), facts)[2] > likely(never, facts)[2]
    first = likely(often, facts[:9])
    assert first == pytest.approx((4.7 / 15, 0.15 / 15, 10.15 / 15), abs=1e-3)


def test_scatter_is_that_of_the_event_file_and_the_driver_as_sure_as_each_is() -> None:
    """A closed form: two normal distributions of a logarithm, taken together."""
    known = Scatter(share=0.05, error=0.4)
    spec = with_people(saving(), Profile(scatter=known)).spec.energy
    sure = 1 / (0.4**2 + 0.3**2)
    stated, seen = numpy.log(0.03 * energy.USUAL), numpy.log(0.05 * float(PLAN))
    together = (stated / 0.8**2 + sure * seen) / (1 / 0.8**2 + sure)
    assert float(spec.spread) * energy.USUAL == pytest.approx(numpy.exp(together), abs=1e-5)
    assert float(spec.doubt) == pytest.approx((1 / 0.8**2 + sure) ** -0.5, abs=1e-5)
    even, rough = (
        outlook(follow(with_people(saving(), Profile(scatter=Scatter(share=share, error=0.1))),
                       driven([1.6] * 4))).distance.margin.deviation
        for share in (0.005, 0.1)
    )  # fmt: skip
    assert even < rough


def test_a_file_that_is_believed_is_believed_of_any_driver() -> None:
    sure = event("doubt = 0", DELTA)
    assert with_people(sure, Profile(scatter=Scatter(share=0.3, error=0.1))) == sure


def test_races_show_which_targets_were_kept_and_only_where_reports_tell() -> None:
    """Kept, half kept and ignored by drivers who do just that; one that nobody reported on."""
    races = [
        [*([1.6] * 8), *([after] * 5)] for after in (1.3, 1.3, 1.45, 1.6)
    ]  # fmt: skip
    shown = habits([race_of(driven(uses, (8, "1.30"))) for uses in races])
    assert shown.targets == {"kept": 2, "half": 1, "ignored": 1}
    nothing = driven([1.6] * 8, (8, "1.30"))
    assert habits([race_of(nothing), race_of(driven([1.6] * 3))]).targets == {}
    twice = driven([*([1.6] * 8), *([1.3] * 4), *([1.3] * 4)], (8, "1.30"), (12, "1.10"))
    assert habits([race_of(twice)]).targets == {"kept": 1, "ignored": 1}


def race_of(facts: Sequence[Entry]) -> Race:
    return follow(impartial(saving()), facts)


@pytest.mark.parametrize("scatter", [0.02, 0.09])
def test_races_show_how_much_laps_scatter(scatter: float) -> None:
    """Simulated: the laps of four races, drawn by numpy."""
    random = numpy.random.default_rng(3)
    races = [race_of(driven((1.6 + scatter * random.normal(size=LAPS)).tolist())) for _ in range(4)]
    shown = habits(races).scatter
    assert shown is not None
    assert shown.count == 4
    assert shown.share * float(PLAN) == pytest.approx(scatter, rel=0.4)
    assert habits([race_of([])]) == Profile()


def each(seconds: float) -> Profile:
    """Everybody's words take so long."""
    alphabet = race_book().alphabet
    words = (one.word for one in alphabet.words.values())
    return Profile(seconds={word: MeasuredTime(seconds=seconds) for word in words})


def test_a_call_takes_the_seconds_of_who_says_it_and_of_who_repeats_it() -> None:
    def call(driver: Profile | None, engineer: Profile | None) -> tuple[int, float | None]:
        [one] = advise(follow(with_people(saving(), driver, engineer), ignoring(10)))
        return len(one.call.words.split()), one.seconds

    words, none = call(None, None)
    assert none is None
    assert call(each(0.5), each(1.0)) == (words, pytest.approx(words * 1.5))
    _, slow = call(each(2.0), None)
    _, usual = call(each(1.0), None)
    assert slow is not None
    assert usual is not None
    assert slow - usual == pytest.approx(words)


def test_a_race_is_shown_by_profiles_and_a_foreign_or_damaged_one_is_refused(
    tmp_path: Path,
) -> None:
    sheet, driver = tmp_path / "race.sheet", tmp_path / "driver.json"
    with Journal(sheet, race_book()) as journal:
        journal.append_all(one.replace(car="7", seq=0) for one in driven([1.5] * 9, (8, "1.30")))
    shown = called(["race", "show", sheet, EVENT, "--json"])
    save_profile(Profile(people=("Ilse Marrow",)), driver)
    assert called(["race", "show", sheet, EVENT, "--json", "--driver", driver]) == shown
    save_profile(Profile(targets={"ignored": 10}), driver)
    doubted = called(["race", "show", sheet, EVENT, "--json", "--driver", driver])
    before, after = (json.loads(one.stdout)["target_kept"]["kept"] for one in (shown, doubted))
    assert after < before
    save_profile(Profile(heard={"acht": {"acht": 3}}), driver)
    for text, why in ((None, b"of another book"), ("{", b"problem"), ("", b"problem")):
        if text is not None:
            driver.write_text(text, "utf-8")
        done = called(["race", "show", sheet, EVENT, "--driver", driver])
        assert (done.returncode, why in done.stderr, done.stdout) == (2, True, b"")


def test_a_live_log_follows_each_car_by_what_is_known_of_its_driver_and_of_who_writes(
    tmp_path: Path,
) -> None:
    of, path = tmp_path / "people.json", tmp_path / "live.sheet"
    save_profile(Profile(people=("Ilse Marrow",), targets={"ignored": 10}), of)
    known = EventFile(EVENT, (str(of),)).event(race_book())
    with Journal(path, race_book(), writer="Quill") as journal:
        journal.append(Entry(kind="car", car="7", message="ilse marrow"))
        journal.append(Entry(kind="car", car="61", message="Teo Vash"))
        watch = Watch(journal, "7", known)
        followers = [watch.follower(car) for car in ("7", "61")]
        ignored, usual = (one.event.spec.targets.ignored for one in followers if one is not None)
        assert ignored == usual + 10
        journal.append(Entry(kind="car", car="7", message="Teo Vash"))  # another drives it now
        watch.refresh()
        other = watch.follower("7")
        assert other is not None
        assert other.event.spec.targets.ignored == usual
    alone = called(["log", path, "--profile", of], b"")
    assert (alone.returncode, b"goes with an --event" in alone.stderr) == (2, True)
    assert called(["log", path, "--event", EVENT, "--profile", of], b"").returncode == 0
