"""The peers of ``bench_decode``: for each book one regular expression over the words, with named
groups, and dictionaries for what they catch, as an expert would write it for just this book.

Each message ends with a group of its own, so the last group that matched tells which it is.
"""

from __future__ import annotations

import functools
import itertools
import operator
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from grammar.book import Book
from grammar.codes import CodeTable
from grammar.fields import Band
from grammar.layout import bottom_up
from grammar.message import Message

Values = dict[str, Any]
MOST_LISTED = 20_000  # codewords that a dictionary holds

FIGURES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "niner")
LETTERS = """alfa bravo charlie delta echo foxtrot golf hotel india juliett kilo lima mike november
    oscar papa quebec romeo sierra tango uniform victor whiskey x-ray yankee zulu"""
WORD = dict(zip("ABCDEFGHIJKLMNOPQRSTUVWXYZ", LETTERS.split(), strict=True)) | {
    str(number): word for number, word in enumerate(FIGURES)
}
F = f"(?:{'|'.join(FIGURES)})"
FF, FFF, FFFF = f"{F} {F}", f"{F} {F} {F}", f"{F} {F} {F} {F}"


def say(symbols: str) -> str:
    """Return the words of symbols."""
    return " ".join(WORD[symbol] for symbol in symbols)


def any_of(words: Iterable[str]) -> str:
    """Return an alternation, longer ones first."""
    return f"(?:{'|'.join(sorted(words, key=len, reverse=True))})"


def numbers(values: Iterable[Any], width: int, first: int = 0, by: int = 1) -> dict[str, Any]:
    """Return values by the words of numbers from ``first`` on, in fixed width."""
    return {
        say(f"{number:0{width}d}"): value
        for number, value in zip(itertools.count(first, by), values)
    }


def steps(low: int, count: int, step: int = 1, tenths: int = 1) -> list[Decimal]:
    """Return decimals in even steps, in units of 1 / tenths."""
    return [Decimal(low + step * number) / tenths for number in range(count)]


def reader(
    expression: str, messages: dict[str, Callable[[re.Match[str], str], Values]]
) -> Callable[[str], Values]:
    """Return what reads a line by its last group; raises ValueError for anything else."""
    compiled = re.compile(expression)

    def read(line: str) -> Values:
        found = compiled.fullmatch(line)
        if found is None:
            raise ValueError(line)
        return messages[found.lastgroup or ""](found, line)

    return read


# starter

LAP = numbers(steps(0, 10), 1)
ENERGY = numbers(steps(-20, 41, 1, 10), 2)
BATTERY = numbers(steps(20, 45), 2, 20)


def _starter(found: re.Match[str], _: str) -> Values:
    lap, energy, battery = found.group("lap", "energy", "battery")
    return {"lap": LAP[lap], "energy": ENERGY[energy], "battery": BATTERY[battery]}


STARTER = reader(f"(?P<lap>{F}) (?P<energy>{FF}) (?P<battery>{FF})", {"battery": _starter})

# race

SYMBOLS = "0123456789ABCDEFGHJLNPQRSTVWXYZ"
A = any_of(WORD[symbol] for symbol in SYMBOLS)
VALUE = {WORD[symbol]: number for number, symbol in enumerate(SYMBOLS)}
WEIGHTS = range(2, 11)
TEMPERATURES = {
    say(SYMBOLS[n // 961] + SYMBOLS[n // 31 % 31] + SYMBOLS[n % 31]): temperatures
    for n, temperatures in enumerate(
        itertools.product(steps(50, 17, 5), steps(40, 13, 5), steps(20, 23, 2))
    )
}
ALERT: dict[str | None, frozenset[str]] = {
    None: frozenset(),
    say("X"): frozenset({"insulation"}),
    say("C"): frozenset({"cooling"}),
    say("B"): frozenset({"brakes"}),
    say("V"): frozenset({"vibration"}),
    say("CB"): frozenset({"cooling", "brakes"}),
    say("XC"): frozenset({"insulation", "cooling"}),
}
TYRES = {
    say("A"): Band(None, Decimal(60)),
    say("B"): Band(Decimal(60), Decimal(80)),
    say("C"): Band(Decimal(80), Decimal(100)),
    say("D"): Band(Decimal(100), Decimal(115)),
    say("E"): Band(Decimal(115), None),
}
MODE = {say("S"): "save", say("P"): "plan", say("Q"): "push"}
DIAL = dict(
    zip(
        map(say, "BRTFH"),
        ("brake balance", "regeneration", "torque map", "front damping", "rear damping"),
        strict=True,
    )
)
WAY = {say("N"): "up", say("S"): "down"}
CLICKS = numbers(steps(1, 9), 1, 1)
ADDED = numbers(steps(0, 10), 1)
TARGET = numbers(steps(100, 100, 1, 100), 2)


def checked(line: str) -> None:
    """Hold the check of a report: the weighted sum is 0 modulo 31."""
    values = [VALUE[word] for word in line.split()]
    if (sum(map(operator.mul, WEIGHTS, values[:-1])) + values[-1]) % 31:
        raise ValueError(line)


def _lap(found: re.Match[str], line: str) -> Values:
    checked(line)
    lap, energy, temperatures, alert = found.group("lap", "energy", "temperatures", "alert")
    motor, inverter, battery = TEMPERATURES[temperatures]
    return {
        "lap": LAP[lap],
        "energy": ENERGY[energy],
        "motor": motor,
        "inverter": inverter,
        "battery": battery,
        "alert": ALERT[alert],
    }


def _status(found: re.Match[str], line: str) -> Values:
    checked(line)
    return {"tyres": TYRES[found["tyres"]], "mode": MODE[found["mode"]]}


def _dialled(found: re.Match[str], line: str) -> Values:
    if found["set"]:
        checked(line)
    dial, way, clicks = found.group("dial", "way", "clicks")
    return {"dial": DIAL[dial], "way": WAY[way], "clicks": CLICKS[clicks]}


def _added(found: re.Match[str], line: str) -> Values:
    if found["entered"]:
        checked(line)
    return {"added": ADDED[found["added"]]}


def _pace(found: re.Match[str], line: str) -> Values:  # noqa: ARG001 - it has no check
    return {"target": TARGET[found["target"]]}


RACE = reader(
    f"(?P<lap>{F}) (?P<energy>{FF}) (?P<temperatures>{A} {A} {A})"
    f"(?: (?P<alert>{any_of(word for word in ALERT if word)}))? (?P<lap_check>{A})"
    f"|sierra (?P<tyres>{any_of(TYRES)}) (?P<mode>{any_of(MODE)}) (?P<status>{A})"
    f"|whiskey (?P<dial>{any_of(DIAL)}) (?P<way>{any_of(WAY)}) (?P<clicks>{F})(?: (?P<set>{A}))?"
    f"|lima (?P<added>{F})(?: (?P<entered>{A}))?"
    f"|tango (?P<target>{FF})",
    {
        "lap_check": _lap,
        "status": _status,
        "clicks": _dialled,
        "set": _dialled,
        "added": _added,
        "entered": _added,
        "target": _pace,
    },
)

# qualifying

CHARGE = numbers(steps(0, 100), 2)
_EDGES = [None, *map(Decimal, (25, 30, 34, 38, 42, 46, 50, 54, 58)), None]
BANDS = numbers([Band(low, high) for low, high in itertools.pairwise(_EDGES)], 1)
TRAFFIC = {None: "clear", "zero": "clear", "one": "one car", "two": "several cars"}
GAP = numbers(steps(0, 100, 10), 3, 0, 10)
# the published quasigroup of order 10 (H. M. Damm 2004)
_ROWS = """0317598642 7092154863 4206871359 1750983426 6123045978 3674209581 5869720134 8945362017
    9438617205 2581436790"""
DAMM = [dict(zip(FIGURES, map(int, row), strict=True)) for row in _ROWS.split()]


def _out_lap(found: re.Match[str], line: str) -> Values:
    state = 0
    for word in line.split():
        state = DAMM[state][word]
    if state:
        raise ValueError(line)
    charge, battery, traffic = found.group("charge", "battery", "traffic")
    return {"charge": CHARGE[charge], "battery": BANDS[battery], "traffic": TRAFFIC[traffic]}


def _gap(found: re.Match[str], line: str) -> Values:  # noqa: ARG001 - it has no check
    return {"gap": GAP[found["gap"]]}


QUALIFYING = reader(
    f"(?P<charge>{FF}) (?P<battery>{F})(?: (?P<traffic>zero|one|two))? (?P<check>{F})"
    f"|(?P<gap>{F} {F} zero)",
    {"check": _out_lap, "gap": _gap},
)

# METAR

DAY = numbers(steps(1, 31), 2, 1)
HOUR = numbers(steps(0, 24), 2)
MINUTE = numbers(steps(0, 60), 2)
DIRECTION = numbers(steps(0, 37, 10), 3, 0, 10)
SPEED = numbers(steps(0, 100), 2) | numbers(steps(100, 100), 3, 100)
UNIT = {say("KT"): "kt", say("MPS"): "m/s"}
VISIBILITY = numbers(steps(0, 200, 50), 4, 0, 50) | {say("9999"): Decimal(10000)}
RUNWAY = numbers(steps(1, 36), 2, 1)
RANGE = numbers(steps(50, 79, 25), 4, 50, 25)
TENDENCY = {say("U"): "rising", say("D"): "falling", say("N"): "steady"}
WEATHER = dict(
    zip(
        map(say, ("DZ", "RA", "SN", "FG", "BR", "HZ")),
        ("drizzle", "rain", "snow", "fog", "mist", "haze"),
        strict=True,
    )
)
AMOUNT = dict(
    zip(
        map(say, ("FEW", "SCT", "BKN", "OVC")),
        ("few", "scattered", "broken", "overcast"),
        strict=True,
    )
)
BASE = numbers(steps(0, 1000, 30), 3)
DEGREES = numbers(steps(0, 61), 2) | {
    "mike " + words: -value for words, value in numbers(steps(1, 60), 2, 1).items()
}
HECTOPASCAL = numbers(steps(850, 251), 4, 850)
INCHES = numbers(steps(2500, 751, 1, 100), 4, 2500)


INTENSITY = {None: "moderate", "minus": "light", "plus": "heavy"}
DESCRIPTOR = dict(
    zip(
        map(say, ("SH", "TS", "FZ", "BL")),
        ("shower(s)", "thunderstorm", "freezing", "blowing"),
        strict=True,
    )
)
CONVECTIVE = {say("CB"): "cumulonimbus", say("TCU"): "towering cumulus"}

_RUNWAY = f" romeo (?P<runway>{FF}) slant (?P<range>{FFFF})(?: (?P<tendency>{any_of(TENDENCY)}))?"
_WEATHER = (
    f"(?: (?P<intensity>plus|minus))?(?: (?P<descriptor>{any_of(DESCRIPTOR)}))?"
    f" (?P<weather>{any_of(WEATHER)})"
)
_CLOUD = f" (?P<amount>{any_of(AMOUNT)}) (?P<base>{FFF})(?: (?P<convective>{any_of(CONVECTIVE)}))?"
_RUNWAYS, _WEATHERS, _CLOUDS = map(re.compile, (_RUNWAY, _WEATHER, _CLOUD))


def _report(found: re.Match[str], _: str) -> Values:
    said = found.groupdict()
    values: Values = {
        "day": DAY[said["day"]],
        "hour": HOUR[said["hour"]],
        "minute": MINUTE[said["minute"]],
        "speed": SPEED[said["speed"]],
        "speed_unit": UNIT[said["unit"]],
        "temperature": DEGREES[said["temperature"]],
        "dew_point": DEGREES[said["dew"]],
    }
    if said["direction"] is not None:
        values["direction"] = DIRECTION[said["direction"]]
    if said["gust"] is not None:
        values["gust"] = SPEED[said["gust"]]
    if said["hectopascal"] is not None:
        values["pressure"] = HECTOPASCAL[said["hectopascal"]]
    else:
        values["pressure_inches"] = INCHES[said["inches"]]
    if said["visibility"] is not None:
        values["visibility"] = VISIBILITY[said["visibility"]]
        _several(said, values)
    return values


def _several(said: dict[str, str], values: Values) -> None:
    """Add what is said again and again."""
    for number, one in enumerate(_RUNWAYS.finditer(said["runways"] or ""), start=1):
        runway, seen, tendency = one.groups()
        values[f"runway_{number}"] = RUNWAY[runway]
        values[f"runway_range_{number}"] = RANGE[seen]
        if tendency is not None:
            values[f"tendency_{number}"] = TENDENCY[tendency]
    for number, one in enumerate(_WEATHERS.finditer(said["weathers"] or ""), start=1):
        intensity, descriptor, weather = one.groups()
        values[f"intensity_{number}"] = INTENSITY[intensity]
        if descriptor is not None:
            values[f"descriptor_{number}"] = DESCRIPTOR[descriptor]
        values[f"weather_{number}"] = WEATHER[weather]
    for number, one in enumerate(_CLOUDS.finditer(said["clouds"] or ""), start=1):
        amount, base, convective = one.groups()
        values[f"amount_{number}"] = AMOUNT[amount]
        values[f"base_{number}"] = BASE[base]
        if convective is not None:
            values[f"convective_{number}"] = CONVECTIVE[convective]


def _unnamed(expression: str) -> str:
    return re.sub(r"\(\?P<\w+>", "(?:", expression)


_M = f"(?:mike )?{FF}"
METAR = reader(
    f"(?P<day>{FF}) (?P<hour>{FF}) (?P<minute>{FF}) zulu"
    f" (?:(?P<direction>{FFF})|victor romeo bravo) (?P<speed>{FFF}|{FF})"
    f"(?: golf (?P<gust>{FFF}|{FF}))? (?P<unit>{any_of(UNIT)})"
    f"(?: {say('CAVOK')}| (?P<visibility>{FFFF})"
    f"(?P<runways>(?:{_unnamed(_RUNWAY)}){{0,4}})(?P<weathers>(?:{_unnamed(_WEATHER)}){{0,3}})"
    f"(?: {say('NSC')}|(?P<clouds>(?:{_unnamed(_CLOUD)}){{1,4}})))"
    f" (?P<temperature>{_M}) slant (?P<dew>{_M})"
    f" (?:quebec (?P<hectopascal>{FFFF})|alfa (?P<inches>{FFFF}))(?P<report>)",
    {"report": _report},
)


def by_rule(book: Book) -> Callable[[str], Values]:
    """Return the peer of any book, made the same way: a group a table, dictionaries for what can
    be listed, arithmetic for what can't.
    """
    word = {symbol: entry.word for symbol, entry in book.alphabet.words.items()}
    symbol_of = {text: symbol for symbol, text in word.items()}
    parts: dict[str, list[tuple[str, CodeTable]]] = {}
    reads: dict[str, Callable[[str], dict[str, Any]]] = {}

    def of_message(message: Message) -> str:
        groups = [f"{message.name}_{number}" for number in range(len(message.tables))]
        parts[message.name] = list(zip(groups, message.tables, strict=True))
        for group, one in parts[message.name]:
            if one.fields:
                reads[group] = _read(one, word)
        inside = bottom_up(
            message.node,
            lambda leaf: (
                f"(?P<{groups[leaf.number]}>{_pattern(message.tables[leaf.number], word)})"
            ),
            "".join,
            lambda part: f"(?:{part})?",
            lambda several: f"(?:{'|'.join(several)})",
        )
        return f"{inside}(?P<{message.name}>)"

    pattern = re.compile("|".join(of_message(message) for message in book.messages.values()))

    @functools.cache
    def unsaid(message: Message, places: tuple[int, ...]) -> dict[str, Any]:
        return {one.name: one.value for one in message.plan(places).implied}

    def read(line: str) -> Values:
        found = pattern.fullmatch(line + " ")
        if found is None or found.lastgroup is None:
            raise ValueError(line)
        message = book.messages[found.lastgroup]
        values: Values = {}
        said = []
        for number, (group, one) in enumerate(parts[message.name]):
            text = found[group]
            if text is None:
                continue
            said.append((number, text))
            if one.fields:
                values.update(reads[group](text))
            elif one.check is not None and not _fits(message, said, symbol_of):
                raise ValueError(line)
        if len(said) < len(message.tables):
            values.update(unsaid(message, tuple([place for place, _ in said])))
        return values

    return read


def _fits(message: Message, said: Sequence[tuple[int, str]], symbol_of: Mapping[str, str]) -> bool:
    """Tell whether the last part said, a check symbol, closes those it covers."""
    number, symbol = said[-1]
    check, covered = message.tables[number].check, message.covered(number)
    words = "".join(text for place, text in said[:-1] if place in covered).split()
    wanted = check and check.wanted("".join([symbol_of[one] for one in words]))
    return wanted == symbol_of[symbol[:-1]]


def _pattern(one: CodeTable, word: Mapping[str, str]) -> str:
    """Return what matches a table's codewords, each word with a blank behind it."""
    if one.size > MOST_LISTED:
        letters = "|".join(word[symbol] for symbol in one.alphabet.unmask(one.symbols))
        low, high = one.lengths
        return f"(?:(?:{letters}) ){{{low},{high}}}"
    tree: dict[str, Any] = {}
    if one.literal is not None or one.check is not None:
        words = [one.literal] if one.literal else one.alphabet.unmask(one.symbols)
    else:
        words = [codeword for _, codeword in one.words()]
    for codeword in words:
        node = tree
        for symbol in codeword:
            node = node.setdefault(symbol, {})
        node[""] = {}

    def of(node: dict[str, Any]) -> str:
        ends = "" in node
        behind: dict[str, list[str]] = {}
        for symbol, child in node.items():
            if symbol:
                behind.setdefault(of(child), []).append(word[symbol])
        ways = [
            f"{words[0] if len(words) == 1 else '(?:' + '|'.join(words) + ')'} {rest}"
            for rest, words in behind.items()
        ]
        inside = ways[0] if len(ways) == 1 and not ends else f"(?:{'|'.join(ways)})"
        return (f"{inside}?" if ends else inside) if ways else ""

    return of(tree)


def _read(one: CodeTable, word: Mapping[str, str]) -> Callable[[str], dict[str, Any]]:
    """Return what reads a codeword's words."""
    names = [field.name for field in one.fields]
    if one.size <= MOST_LISTED:
        return {
            "".join(f"{word[symbol]} " for symbol in codeword): dict(
                zip(names, one.values(codeword) or (), strict=True)
            )
            for _, codeword in one.words()
        }.__getitem__
    numeral = one.numeral
    assert numeral is not None
    figure = {word[symbol]: place for place, symbol in enumerate(numeral.figures)}
    base, lists = (
        len(numeral.figures),
        [
            (field.name, field.size, [field.value(level) for level in range(field.size)])
            for field in reversed(one.fields)
        ],
    )

    def read(text: str) -> dict[str, Any]:
        number = 0
        for said in text.split():
            number = number * base + figure[said]
        number = (number - numeral.first) // numeral.stride + numeral.start
        values = {}
        for name, size, known in lists:
            number, level = divmod(number, size)
            values[name] = known[level]
        if number:
            raise ValueError(text)
        return values

    return read
