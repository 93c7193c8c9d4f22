"""The race on the screen: where it is heading, what to call, and what was said against what was
recorded.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.table import Table
from rich.text import Text

from codec.debrief.findings import Comparison, Finding
from codec.debrief.summary import CAUTION
from codec.race import Advice, Race, RaceNotice
from codec.race.effects import effects
from codec.race.kalman import Distribution
from codec.race.outlook import Distance, outlook
from codec.race.temperature import Reaching
from codec.screen.console import assembled, boxed, console, heading, safe
from grammar.book import Book
from grammar.errors import counted

_RISKY, _BAD, _LIKELY = 0.1, 0.5, 0.8
_NOTICES = 5
_WIDE = 76  # columns of a screen that have room for what differs beside the strings


def number(value: float, digits: int = 2, *, signed: bool = False) -> str:
    """Write a number with a true minus sign."""
    return f"{value:{'+' if signed else ''}.{digits}f}".replace("-", "−")


def band(of: Distribution, digits: int = 2, *, signed: bool = False) -> str:
    """Write the 80 % band of a distribution."""
    low, high = of.band()
    return f"{number(low, digits, signed=signed)} … {number(high, digits, signed=signed)}"


def state_lines(race: Race, advice: Sequence[Advice]) -> list[Text]:
    """Return the race in a few lines of at most 78 characters, for the live screen: energy, margin,
    temperatures, what to call.
    """
    look, unit = outlook(race), race.event.spec.energy.unit
    left = look.distance
    lines = [
        assembled(
            (f"behind lap {race.lap}, {left.likeliest} to go", "bold"),
            f"  left {number(look.left.mean)} {unit}, {number(look.against_plan.mean, signed=True)}"
            " against plan",
            ("  NEUTRALISED" if race.neutralised else "", "bold yellow"),
        ),
        assembled(
            f"flag {number(left.margin.mean, signed=True)} ({band(left.margin, signed=True)})"
            f" {unit}",
            (f"  short {left.short:.0%}", _style(left.short)),
            f"  now {number(look.use.mean, 3)} a lap",
        ),
        *_targets(race),
    ]
    if race.neutralised:
        more = "  ".join(
            f"+{row.more} {'–' if row.plain.safe is None else number(row.plain.safe, 3)}"
            for row in look.targets()
        )
        lines.append(assembled(("safe if laps are added  ", "dim"), more))
    lines += [safe(told, style) for told, style in beside_the_laps(race) if style != "green"]
    hot = [(name, reached) for name, reached in look.reaching.items() if reached.chance >= _RISKY]
    if hot:
        told = [
            f"{race.event.book.fields[name].title} at its limit {_when(reached)}"
            for name, reached in hot
        ]
        lines.append(
            safe(
                "; ".join(told),
                "bold red" if any(reached.chance >= _BAD for _, reached in hot) else "yellow",
            )
        )
    lines += [
        assembled(("call  ", "dim"), (one.call.words, "bold green"), (f"  {one.told}", "dim"))
        for one in advice
    ]
    return lines


def _targets(race: Race) -> list[Text]:
    """Return the safe targets, which says which it is, and how surely the one called is kept."""
    distance = outlook(race).distance
    if distance.safe is None or distance.safe_once is None:
        return []
    told = (
        f"safe {number(distance.safe, 3)} a lap if corrected each lap,"
        f" {number(distance.safe_once, 3)} if called once"
    )
    if race.target is None:
        return [safe(told)]
    kept, *_ = race.energy.branches()
    style = "bold red" if kept < _BAD else "yellow" if kept < _LIKELY else "green"
    return [assembled(told, f"  {number(float(race.target))} ", (f"kept {kept:.0%}", style))]


def show_state(race: Race, advice: Sequence[Advice], car: str) -> None:
    """Print the race of one car in a few lines."""
    heading(f"Where the race of car {car} is heading" if car else "Where the race is heading")
    for line in state_lines(race, advice):
        console().print(line)
    console().print(safe(CAUTION, "italic dim"))


def show_race(race: Race, advice: Sequence[Advice], minutes: float | None = None) -> None:
    """Print the race: energy, one lap more or fewer, the targets for laps more, temperatures,
    wheel, calls, notices, and the caution.
    """
    look = outlook(race)
    console().print(safe(race.event.title, "bold"))
    for line in [*state_lines(race, ())[:2], *_targets(race)]:
        console().print(line)
    if due := race.due_in_words():
        console().print(safe(f"{due} until what was said last", "bold yellow"))
    heading("Energy")
    unit = race.event.spec.energy.unit
    grid = boxed(
        f"{unit}",
        "laps left",
        "even",
        "safe",
        "once",
        "margin at the flag, 80 %",
        "short",
        right=("laps left", "even", "safe", "once", "short"),
    )
    for name, ending in (
        ("as it is", look.distance),
        ("one lap more", look.more),
        ("one lap fewer", look.fewer),
    ):
        if ending is not None:
            _ending(grid, name, ending)
    console().print(grid)
    console().print(
        safe(
            "even uses up all but the reserve; safe keeps the chance of running short at"
            f" {race.event.spec.advice.chance:.0%} if the target is kept and corrected each lap,"
            " once if it is called now and never again",
            "dim",
        )
    )
    _target_table(race, minutes)
    _schedule(race)
    for told, style in beside_the_laps(race):
        console().print(safe(told, style))
    _effects(race)
    if look.temperatures:
        _temperatures(race)
    if race.ledger.dials:
        _wheel(race)
    if advice:
        heading("To call")
        for one in advice:
            console().print(
                assembled(
                    (one.call.string, "bold cyan"),
                    "  ",
                    (one.call.words, "bold"),
                    (f"  {one.told}", "dim"),
                )
            )
    notices(race.notices)
    console().print()
    console().print(safe(CAUTION, "italic"))


def _target_table(race: Race, minutes: float | None) -> None:
    """Print the targets to the flag for laps more, with and without a further neutralisation, and
    what a lap of saving buys.
    """
    look, rule = outlook(race), race.event.spec.neutralisation
    rows, unit = look.targets(minutes), race.event.spec.energy.unit
    if not look.distance.likeliest and not race.neutralised:
        return
    differs = bool(rule.energy_per_minute) or rule.lap_seconds is not None
    lasts = float(rule.further_minutes) if minutes is None else minutes
    heading("Targets to the flag, if laps are added")
    due = race.laps_still_due()
    again = (f"{lasts:g} min more: even", "safe", "short") if differs else ()
    grid = boxed("laps more", "even", "safe", "short", *again, right=("even", "safe", "short"))
    for row in rows:
        cells: list[str | Text] = [f"+{row.more}{' due' if row.more == due else ''}"]
        for ending in (row.plain, row.neutralised) if differs else (row.plain,):
            cells += ["" if one is None else number(one, 3) for one in (ending.even, ending.safe)]
            cells.append(Text(f"{ending.short:.0%}", _style(ending.short)))
        grid.add_row(*cells)
    console().print(grid)
    saving = look.saving
    console().print(
        safe(
            f"one lap of saving, {number(saving.energy)} {unit} less, buys {saving.laps:.2f} laps:"
            f" short {look.distance.short:.0%} → {saving.short:.0%}",
            "dim",
        )
    )


def beside_the_laps(race: Race) -> list[tuple[str, str]]:
    """Return what limits a lap besides the reserve, and what is to be done beside driving laps,
    each with its style: temperatures, charging stops, extra power.
    """
    look, unit, lines = outlook(race), race.event.spec.energy.unit, list[tuple[str, str]]()
    for limit in look.limits[:1]:
        what = f"to reach the charging stop {limit.name}"
        if limit.holds == "temperature":
            what = f"to keep {race.event.temperatures[limit.name].field.title} below its limit"
        if limit.holds != "reserve":
            lines.append((f"{what}: up to {number(limit.use, 3)} {unit} a lap", "yellow"))
    for stop in look.charging:
        spec = race.event.spec.charging[stop.name]
        window = f"charging stop {stop.name}, lap {spec.first} … {spec.last}:"
        if stop.made is not None:
            lines.append((f"{window} made on lap {stop.made}", "green"))
        elif stop.open:
            cost = f"+{number(float(spec.energy))} {unit} counted in, {float(spec.seconds):g} s"
            lasts = (
                "as driven now it is not reached"
                if stop.lasts is None
                else "there is enough until its end"
                if stop.lasts == spec.last
                else f"as driven now there is enough until lap {stop.lasts}"
            )
            style = "bold red" if stop.lasts is None else "yellow"
            lines.append((f"{window} not made yet, {cost}; {lasts}", style))
        else:
            lines.append((f"{window} not made, and too late", "bold red"))
    extra = look.extra
    if extra is not None and extra.left:
        latest = "" if extra.latest is None else f", to begin by lap {extra.latest}"
        kept = f", {number(extra.energy)} {unit} kept for it" if extra.energy else ""
        uses = counted(extra.left, "use")
        late = extra.latest is not None and extra.latest <= race.lap + 1
        style = "bold red" if late else "yellow"
        lines.append((f"extra power: {uses} left, {extra.minutes:g} min{latest}{kept}", style))
    return lines


def _effects(race: Race) -> None:
    """Print what settings do to the energy of a lap, as far as the laps tell it."""
    unit, found = race.event.spec.energy.unit, effects(race)
    if found:
        heading("What settings do, 99 %")
    for one in found:
        between = f"{number(one.low, 3, signed=True)} … {number(one.high, 3, signed=True)}"
        each = f"{number(one.each, 3, signed=True)} ({between}) {unit} a lap"
        console().print(safe(f"{one.setting}: {each} for each {one.unit}"))


def _schedule(race: Race) -> None:
    """Print the fastest laps that keep the reserve, where the event file has lap times."""
    schedule = outlook(race).schedule
    if schedule is None:
        return
    laps = ", ".join(f"{counted(count, 'lap')} of {number(use, 3)}" for count, use in schedule.runs)
    minutes, seconds = divmod(schedule.seconds, 60)
    told = f"fastest that keeps every limit: {laps}; {minutes:.0f} min {seconds:.1f} s to the flag"
    console().print(safe(told))


def _style(short: float) -> str:
    return "bold red" if short >= _BAD else "yellow" if short >= _RISKY else "green"


def _ending(grid: Table, name: str, ending: Distance) -> None:
    even, safest, once = (
        "" if value is None else number(value, 3)
        for value in (ending.even, ending.safe, ending.safe_once)
    )
    laps = ", ".join(
        f"{laps} ({share:.0%})" if share < 0.995 else str(laps)
        for laps, share in ending.laps_left.items()
        if share >= 0.005
    )
    margin = f"{number(ending.margin.mean, signed=True)}  ({band(ending.margin, signed=True)})"
    grid.add_row(
        name, laps, even, safest, once, margin, Text(f"{ending.short:.0%}", _style(ending.short))
    )


def _when(reached: Reaching) -> str:
    """Return when a limit is reached, in words."""
    early, middle, late = (reached.quantile(share) for share in (0.1, 0.5, 0.9))
    if reached.by[0] >= 0.5:
        return f"now ({reached.by[0]:.0%})"
    if middle is None:
        return f"before the flag: {reached.chance:.0%}"
    return f"on lap {middle} ({early} … {'flag' if late is None else late})"


def _temperatures(race: Race) -> None:
    heading("Temperatures")
    grid = boxed("", "now", "80 %", "limit", "reached", right=("now", "limit"))
    look = outlook(race)
    for name, now in look.temperatures.items():
        bound, reached = race.event.temperatures[name], look.reaching[name]
        style = (
            "bold red" if reached.chance >= _BAD else "yellow" if reached.chance >= _RISKY else ""
        )
        when = _when(reached) if reached.chance >= 0.01 else "not before the flag"
        grid.add_row(
            safe(bound.field.title),
            safe(f"{number(now.mean, 1)} {bound.field.unit_text}"),
            band(now, 1),
            f"{float(bound.limit):g}",
            Text(when, style),
        )
    console().print(grid)
    unit = race.event.spec.energy.unit
    for name, use in look.cool.items():
        title, most = race.event.temperatures[name].field.title, race.event.spec.advice.chance
        told = "no use keeps it" if use is None else f"up to {number(use, 3)} {unit} a lap keeps it"
        console().print(safe(f"{title}: {told} below its limit, but for {most:.0%}", "dim"))


def _wheel(race: Race) -> None:
    heading("Wheel")
    grid = boxed("", "stands at", "called", "range", right=("stands at", "called"))
    for name, dial in race.ledger.dials.items():
        position, going = race.ledger.positions[name], race.ledger.heading(name)
        told = f"{position}{' ?' if name in race.ledger.doubtful else ''}"
        grid.add_row(
            safe(name),
            told,
            "" if going == position else str(going),
            f"{dial.low} … {dial.high}{', wraps' if dial.wraps else ''}",
        )
    console().print(grid)


def notices(found: Sequence[RaceNotice], most: int = _NOTICES) -> None:
    """Print the last notices."""
    if found:
        heading("To look at")
    for notice in found[-most:]:
        console().print(assembled((f"lap {notice.lap}: ", "dim"), safe(notice.text, "yellow")))
    if len(found) > most:
        console().print(safe(f"and {len(found) - most} earlier", "dim"))


def show_comparison(book: Book, found: Comparison) -> None:
    """Print what was read wrong, heard wrong or late, and the words heard for others."""
    if found.faults:
        wide = console().width >= _WIDE
        grid = boxed(
            "lap",
            "found",
            "dash",
            "said",
            "heard",
            *(("differs in", "") if wide else ()),
            right=("lap",),
        )
        for column in grid.columns[:5]:
            column.no_wrap = True
        for finding in found.faults:
            grid.add_row(*_finding(finding)[: len(grid.columns)])
        console().print(grid)
        for finding in () if wide else found.faults:
            *_, fields, state = _finding(finding)
            lead = safe(
                f"lap {finding.lap}, {finding.verdict}:"
                f" {fields.plain + ' differs; ' if fields.plain else ''}"
            )
            console().print(lead.append_text(state))
    else:
        console().print(safe("nothing was read wrong, heard wrong or late", "green"))
    right = [
        finding for finding in found.findings if finding.verdict in ("as recorded", "rounding only")
    ]
    console().print(
        safe(
            f"{counted(len(right), 'report')} as recorded, but for the rounding of the code", "dim"
        )
    )
    for verdict, text in (
        ("no report", "no report that stands"),
        ("not recorded", "reported, but not recorded"),
    ):
        laps = [str(finding.lap) for finding in found.findings if finding.verdict == verdict]
        if laps:
            console().print(safe(f"{text}: lap {', '.join(laps)}", "yellow"))
    words = book.alphabet.words
    confused = found.confused()
    console().print(
        safe(
            f"{counted(len(found.heard), 'word')} compared, {sum(count for *_, count in confused)}"
            " heard for another",
            "dim",
        )
    )
    for said, heard, count in confused:
        console().print(safe(f"  {words[said].word} heard as {words[heard].word}: {count}"))
    if found.unused:
        console().print(
            safe(f"columns that are no field of the book: {', '.join(found.unused)}", "dim")
        )
    console().print(safe(CAUTION, "italic"))


def _finding(finding: Finding) -> list[Text]:
    state = "caught" if finding.caught else "stands in the sheet"
    texts = [
        str(finding.lap),
        finding.verdict,
        finding.dash,
        finding.said,
        finding.heard,
        ", ".join(finding.fields),
    ]
    last = safe(
        "; ".join(filter(None, (state, finding.note))), "" if finding.caught else "bold red"
    )
    return [*(safe(text) for text in texts), last]
