"""Invented races on the radio, to hold the import against: what was said, by whom, on which lap, in
styles of talk that share no word list with the finder.

Everything in it is invented, written for this file: the people, the talk, the ways in which words
are taken for others. An event is made from its seed alone. Codes come from the book (``encode``);
how they are said, written down and spoilt is decided here.

DEVELOPED are the styles that figures may be set by, HELD_OUT those that they are held to: other
ways to say a report, and other talk. FRESH were written last; what they showed was mended since.
"""

from __future__ import annotations

import dataclasses
import json
import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from codec import encode
from grammar.book import Book

SPELLED = dict(
    zip(
        "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789",
        [
            "alfa",
            "bravo",
            "charlie",
            "delta",
            "echo",
            "foxtrot",
            "golf",
            "hotel",
            "india",
            "juliett",
            "kilo",
            "lima",
            "mike",
            "november",
            "oscar",
            "papa",
            "quebec",
            "romeo",
            "sierra",
            "tango",
            "uniform",
            "victor",
            "whiskey",
            "x-ray",
            "yankee",
            "zulu",
            "zero",
            "one",
            "two",
            "three",
            "four",
            "five",
            "six",
            "seven",
            "eight",
            "nine",
        ],
        strict=True,
    )
)
TENS = dict(
    zip(
        "23456789",
        ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"],
        strict=True,
    )
)
TEENS = dict(
    zip(
        [f"1{digit}" for digit in range(10)],
        [
            "ten",
            "eleven",
            "twelve",
            "thirteen",
            "fourteen",
            "fifteen",
            "sixteen",
            "seventeen",
            "eighteen",
            "nineteen",
        ],
        strict=True,
    )
)
# What a recogniser writes instead: by sound, other words and other words of the code.
TAKEN_FOR = {
    "alfa": ["alpha", "alfalfa", "offer"], "bravo": ["bravado", "brother"],
    "charlie": ["charley", "shirley"], "delta": ["belt a", "dealt"], "echo": ["gecko", "a co"],
    "foxtrot": ["fox rot", "foxtrott"], "golf": ["gold", "goal"], "hotel": ["motel", "oh tell"],
    "juliett": ["juliet", "joliet"], "lima": ["leaner", "lee ma"], "november": ["no member"],
    "papa": ["papaya", "pepper"], "quebec": ["cubic", "quebeck"], "romeo": ["roman", "row me oh"],
    "sierra": ["siena", "sarah"], "tango": ["mango", "tangled"], "victor": ["victory", "picture"],
    "whiskey": ["whisky", "frisky"], "x-ray": ["x ray", "hex ray"], "yankee": ["janky", "yanking"],
    "zulu": ["sue lou", "lulu"], "zero": ["zorro", "sierra"], "one": ["won", "want"],
    "two": ["too", "to", "through"], "three": ["tree", "free"], "four": ["for", "fore", "floor"],
    "five": ["fine", "nine", "fife"], "six": ["fix", "sick"], "seven": ["heaven", "eleven"],
    "eight": ["ate", "eighty"], "nine": ["five", "mine", "line"],
}  # fmt: skip
_JOINED = "\x00"  # between two words that the recogniser wrote as one
EXTRA = ["er", "the", "krr", "mm", "so", "a", "yeah", "psh"]


@dataclass(frozen=True, slots=True)
class Truth:
    """What was said and must be in the sheet: a ``report``, a ``call`` or a ``phrase``, of a car
    and a lap; ``why`` what makes it hard.
    """

    kind: str
    car: str
    lap: int
    what: str
    at: float
    why: str


@dataclass(slots=True)
class Line:
    """A line of a transcript."""

    at: float
    speaker: str
    text: str
    driver: bool = False
    report: bool = False


@dataclass(slots=True)
class Car:
    """A car as it goes round."""

    number: str
    driver: str
    engineer: str
    clock: float
    energy: float = 0.0
    motor: float = 84.0
    inverter: float = 60.0
    battery: float = 38.0
    levels: dict[str, int] = field(default_factory=dict)  # of a book that is not the race book
    starts: list[tuple[int, float]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Style:
    """A way to talk: how a report is said, from its string and values, and what else is said."""

    name: str
    say: Callable[[str, dict[str, Any], random.Random], list[str]]
    driver: Sequence[str]
    wall: Sequence[str]
    before: Sequence[str] = ("",)
    after: Sequence[str] = ("",)
    readback: float = 0.3
    phase: float = 0.65
    figures: bool = False
    finish: Callable[[str], str] = str


def spell(string: str, chance: random.Random | None = None) -> list[str]:
    """Return a string as words, one a symbol."""
    del chance
    return [SPELLED[symbol] for symbol in string]


def _niner(string: str, _: dict[str, Any], chance: random.Random) -> list[str]:
    radio = {"9": "niner", "3": "tree", "5": "fife", "J": "juliet", "A": "alpha", "W": "whisky"}
    return [
        radio[symbol] if symbol in radio and chance.random() < 0.5 else SPELLED[symbol]
        for symbol in string
    ]


def _plainly(string: str, _: dict[str, Any], __: random.Random) -> list[str]:
    return spell(string)


def _pairs(string: str, _: dict[str, Any], chance: random.Random) -> list[str]:
    """Say figures two at a time where they make a number: fifty one, sixteen."""
    words, place = [], 0
    while place < len(string):
        pair = string[place : place + 2]
        if pair in TEENS and chance.random() < 0.6:
            words.append(TEENS[pair])
            place += 2
        elif len(pair) == 2 and pair.isdigit() and pair[0] in TENS and chance.random() < 0.6:
            words += [TENS[pair[0]], *([SPELLED[pair[1]]] if pair[1] != "0" else [])]
            place += 2
        elif len(pair) == 2 and pair[0] == pair[1] and chance.random() < 0.7:
            words += ["double", SPELLED[pair[0]]]
            place += 2
        else:
            words.append(SPELLED[string[place]])
            place += 1
    return words


def _typed(string: str, _: dict[str, Any], chance: random.Random) -> list[str]:
    """Write symbols as a recogniser with figures does: 51 63 juliett romeo; 5163JRBT; 5-1-6-3."""
    way = chance.random()
    if way < 0.3:
        return [string]
    if way < 0.5:
        return ["-".join(string)]
    words: list[str] = []
    for symbol in string:
        if symbol.isdigit() and words and words[-1].isdigit() and chance.random() < 0.6:
            words[-1] += symbol
        else:
            words.append(symbol if symbol.isdigit() else SPELLED[symbol])
    return words


def _hyphens(string: str, _: dict[str, Any], chance: random.Random) -> list[str]:
    words = spell(string)
    cut = chance.randrange(1, len(words))
    return ["-".join(words[:cut]), "-".join(words[cut:])]


def _glued(string: str, _: dict[str, Any], chance: random.Random) -> list[str]:
    words = spell(string)
    for _place in range(2):
        place = chance.randrange(len(words) - 1)
        if "-" not in words[place] + words[place + 1] and chance.random() < 0.6:
            words[place : place + 2] = [words[place] + words[place + 1]]
        if len(words) < 3:
            break
    return words


def _number(value: Decimal) -> str:
    whole, _, rest = f"{abs(value)}".partition(".")
    words = _cardinal(int(whole))
    return f"{words} point {' '.join(SPELLED[digit] for digit in rest)}" if rest else words


def _cardinal(number: int) -> str:
    if number >= 100:
        rest = number % 100
        return f"one hundred{' and ' + _cardinal(rest) if rest else ''}"
    if number < 10:
        return SPELLED[str(number)]
    if number < 20:
        return TEENS[str(number)]
    tens = TENS[str(number)[0]]
    return f"{tens} {SPELLED[str(number)[1]]}" if number % 10 else tens


def _figures(_: str, values: dict[str, Any], chance: random.Random) -> list[str]:
    """Say figures with their units: minus 0.4, motor 105, inverter 75, battery 48."""
    energy, degrees = values["energy"], chance.choice(["", "", " degrees", "°C"])
    sign = "minus" if energy < 0 else "plus" if energy > 0 else ""
    unit = chance.choice(["", " kilowatt hours", " kWh"])
    parts = [
        f"{sign} {abs(energy)}{unit}".strip(),
        *(f"{name} {values[name]}{degrees}" for name in ("motor", "inverter", "battery")),
    ]
    parts += values["alert"]
    if chance.random() < 0.6:
        parts.insert(0, f"lap {values['lap']}")
    return ", ".join(parts).split()


def _named(_: str, values: dict[str, Any], chance: random.Random) -> list[str]:
    """Say all of it in words, by the names of the fields."""
    energy = values["energy"]
    sign = "minus " if energy < 0 else "plus " if energy > 0 else ""
    link = chance.choice(["", " is", " at"])
    parts = [
        f"lap {_cardinal(values['lap'])}",
        f"energy {sign}{_number(energy)}",
        *(f"{name}{link} {_cardinal(values[name])}" for name in ("motor", "inverter", "battery")),
    ]
    parts += [f"alert {name}" for name in values["alert"]]
    return ", ".join(parts).split()


# Talk, first set: gaps, lap times, other teams' codes, jokes in spelling words, the rest.
DRIVER_ONE = [
    "Understeer in the long left, getting worse.", "Who was that at the apex, the yellow one?",
    "I saw five four two on the board of the other team.",
    "Their board said seven kilo lima nine, whatever that is.",
    "Is the gap one point eight or one eight?", "Bravo, bravo, that was a bravo move by him.",
    "Whiskey tango foxtrot was that?", "I'm a hotel for flies in here.",
    "Golf clap for the marshals please.", "He's on the papa tyres, I mean the old ones.",
    "Two or three corners then it grips.", "I did a one twenty three four, right?",
    "Lost maybe two tenths behind Oscar.", "Rear lock at turn six, then again at eight.",
    "Zero zero zero on the left screen for a second.", "Nothing, carry on.", "Yep.",
    "I think the kerb at nine broke something.", "Tell Victor it's six nil.",
    "Seven eight nine, who's eaten who.", "Need four or five laps to cool it.",
    "Copy, twelve to go.", "Is it raining at ten?", "I have a bit of echo on the radio.",
    "Delta is plus two, going down.", "Mirror's loose. Left one.", "Charlie had a moment there.",
    "It's lima bean green, that new car.", "They read nine two eight sierra again, all day long.",
    "Wind from the right at four now.",
]  # fmt: skip
WALL_ONE = [
    "Gap three point two to Mike, closing one tenth a lap.", "Last lap one twenty two point six.",
    "Position seven, position seven.", "Car nineteen is on six two delta, car four we can't read.",
    "The team next door calls four four x-ray again.", "Lift fifty metres earlier into one.",
    "We see six five four three two one on their board.", "Sector one was thirty one point four.",
    "Tango and Romeo are fighting behind you.", "Eleven laps, ten after this one.",
    "Copy all.", "Understood, thanks.", "Temperatures look fine, five degrees lower than before.",
    "Penalty for car three, ten seconds.", "Quebec sends his regards, ha.",
    "Yankee Doodle went to town, as they say.", "You're two tenths up on him.",
    "One oh four kilometres of road left, no idea why they count that.",
    "Next car behind is eight seconds.", "Blue flag for the one ahead.",
    "That's good, that's good, keep it there.", "Radio check: one, two, three, four.",
    "Rain cell passes in fourteen minutes.", "Brake balance looks right to us.",
    "They asked for code nine nine alfa, not us.", "If it's neutralised we keep the plan.",
    "Second place is three two one lima in their book, funny.", "Box is open, we stay out.",
]  # fmt: skip
# Second set, written anew for the styles held out.
DRIVER_TWO = [
    "Balance is okay, front washes out at the hairpin.", "Number forty two just brake tested me.",
    "Did he say sierra lima three? Not our code, is it?", "Hotel room two one eight, remind me.",
    "I can see their sign: eight eight zulu four.", "One five, one six, what was it?",
    "Oscar mike golf, what a save.", "That's a foxtrot uniform from him.",
    "Vibration on the straight, went away.", "Six tenths slower with this map, no?",
    "There's debris, three pieces, inside of five.", "India papa on my helmet, still there.",
    "All fine here.", "Okay okay.", "Negative, no change.", "How's x-ray doing behind?",
    "Nine of them went off, count them, nine.", "It's zulu time for a nap.",
    "I'd say plus four degrees on the pedal box, feels hot.",
    "Steering pulls right, two clicks maybe.",
    "Say hi to Juliett and Romeo in the balcony suite.",
    "Gap board shows two seven, then two five.",
    "We had four eight kilo nine last year, remember that code?", "Left front chunk missing.",
    "My lap was eighty three flat.", "Traffic traffic traffic.", "Uniform rain now, everywhere.",
]  # fmt: skip
WALL_TWO = [
    "Behind: two point nine. Ahead: four point four.", "That was an eighty two seven.",
    "P9, nine laps remaining.", "Papa car is boxing now, you gain one.",
    "Rival board reads five three whiskey, ignore it.", "Seven cars within six seconds.",
    "Good job. Head down.", "Confirm water okay?", "Juliett's car stopped at turn two.",
    "Their engineer just spelled alfa nine two tango on our channel.",
    "Expect drizzle at lap twenty.",
    "Track limits, that's strike two.", "The leader does a one nineteen point zero.",
    "Four four four, lucky number for the raffle.", "Use the kerb less at three.",
    "Two yellow lights at post ten.", "Mike Oscar November Echo Yankee, that's what it costs.",
    "We have you at plus one five on the leader.", "Thanks, got it.", "Roger, heard.",
    "Half distance now. Steady.", "Victor Hotel crew says your helmet is nice.",
    "Eight point eight back to Delta.", "One more time around, then we talk.",
    "On the other channel they say six zero five romeo quebec two, wrong team.",
    "Safety car boards last year were broken, do you remember?", "Seventy nine percent on theirs.",
]  # fmt: skip

# Third set, for the same styles: most of it made to be taken for a code.
DRIVER_THREE = [
    "Green car flashed six eight yankee at the line.",
    "Was that zulu four or zulu five on their side?",
    "Somebody's pit board said one nine nine oscar.",
    "The blue lot run a code like kilo kilo seven two.",
    "I read four three delta eight, but that's not ours.",
    "Eight six seven five three oh nine, remember that song?",
    "Tango with me, Charlie.",
    "Romeo, Romeo, wherefore art thou.",
    "Quebec poutine tonight, please.",
    "November rain, every single year.",
    "Mike, Mike, are you on this channel?",
    "Papa don't preach.",
    "Hotel lobby at eight fifteen, yes?",
    "Foxtrot is a dance, right, like tango.",
    "Echo, echo, echo.",
    "Uniform check: gloves are wet.",
    "India versus England, two eight one for six.",
    "Victor, Oscar and Juliett all went wide.",
    "Sierra Nevada, that's where I'd like to be.",
    "Yankee candle smell from the brakes.",
    "Kilo of potatoes in my seat, it feels.",
    "Bravo to whoever fixed the seat.",
    "Delta over the lap is minus four tenths.",
    "He's three one seven thousandths quicker, they say.",
    "One forty one point two on the in lap?",
    "I make it a two minute oh three.",
    "Last one was one eighteen nine, no traffic.",
    "Gap two point seven, two point five, two point two, going down.",
    "Four cars in three tenths, wow.",
    "Seven nine eight, no, nine eight seven, I forget the gate code.",
    "Door code is four four one nine, then the bell.",
    "My locker is bravo one seven.",
    "Seat number twelve alfa on the flight.",
    "Gate charlie two two at seven thirty.",
    "Flight lima hotel four five six is delayed.",
    "Taxi is plate kilo alfa nine four two.",
    "Call sign whiskey one, ha.",
    "They chant zero two zero, is that us?",
    "Board one says five laps, board two says six.",
    "P four, p five, whatever.",
    "Strategy number two or number three?",
    "Turn one, two and three are damp, four is dry.",
    "Five, four, three, two, one, boost gone.",
    "Nine nine nine, call an ambulance for my back.",
    "Their dash shows nine eight bravo, easy to see from here.",
    "Grey car had two kilo two on the mirror sticker.",
    "Who is zero seven sierra? I hear him all the time.",
    "It was four or five or six, no idea.",
    "I count eleven cars ahead, nine behind.",
    "Lost one one hundredth, come on.",
    "Sixty one percent they said, I have fifty eight.",
    "Left, right, left, one, two, three.",
    "My best is one thirty three point seven.",
    "That was a one twenty five dead.",
    "Give me the gap in tenths, not in cars.",
    "He waved twice, then three times.",
    "Golf, hotel, india, I know my letters.",
    "Lima, the capital, not the bean.",
    "My dog is called Oscar and he is nine.",
    "Juliett sends a kiss on lap five.",
    "Half past four for the debrief, or five?",
    "Turn ten has a bump now, new since lap two.",
    "I had six on the old sheet.",
    "Forty, thirty, twenty, and he is past.",
    "The tower said one eight left for the plane.",
    "Two one to the home team, I guess.",
    "Can you see zulu on their flag?",
    "One more, two more, three more laps of this.",
    "Whiskey sounds good after this.",
    "Number eight is slow, number eighty eight too.",
    "Check check, one two one two.",
    "Alfa male driving there by car nine.",
    "X-ray vision needed in this spray.",
]
WALL_THREE = [
    "Neighbours just read two two sierra hotel six, ignore.",
    "Their code of the lap: nine zero kilo tango three.",
    "Not for you: five eight juliett one, that was the other garage.",
    "We picked up seven seven lima from someone.",
    "Other driver says zero four zero x-ray bravo.",
    "Scanner gave us one six mike echo delta.",
    "That six two papa november was on channel nine.",
    "The red team reads eight three three golf every lap.",
    "Ignore alfa four six romeo, wrong car.",
    "Somebody transmits three nine uniform zulu on our line.",
    "Ahead one point one, behind six point eight.",
    "Plus three point four to Tango's car.",
    "Gap to Victor is twelve flat.",
    "He did a one thirty two point zero nine five.",
    "Best lap of the race one twenty nine four four.",
    "Sectors: twenty eight six, forty one two, nineteen nine.",
    "Leader on lap seventeen, you are on sixteen.",
    "Eight laps, maybe nine if the clock is kind.",
    "Ten minutes and one lap on the board.",
    "P six, two points.",
    "Car forty four, car sixty three and car five under investigation.",
    "Five second penalty for car twenty seven.",
    "Four tenths in sector two, one tenth in three.",
    "Ambient twenty six, track forty three.",
    "Wind two seven zero, nine knots.",
    "Rain in six to eight minutes at turn eleven.",
    "Debris between post four and post five.",
    "Mechanics play charades: foxtrot, uniform, november.",
    "Golf Romeo Echo Alfa Tango, what a drive.",
    "Spell it for him: Hotel Oscar Tango.",
    "Lima Oscar Lima.",
    "Oscar Kilo.",
    "Bravo Zulu, as the navy says.",
    "Papa Tango, that's pit talk.",
    "Whiskey Tango Foxtrot was he doing?",
    "Alfa Bravo Charlie, easy as one two three.",
    "Delta Echo for the marshal who waves.",
    "Catering asks: kilo or half a kilo of pasta?",
    "Room two one four is yours, Mike has two one five.",
    "Phone ends in seven seven nine two.",
    "Invoice four zero one eight, sorry, wrong button.",
    "Conference call pin five five one three.",
    "Truck nine, bay charlie four.",
    "Radio test, niner niner niner.",
    "Garage two reads six three hotel kilo to its driver.",
    "We heard one zero one tango from the back of the grid.",
    "That spelling was theirs: delta nine echo two.",
    "Ignore nine seven victor lima, wrong frequency.",
    "Somebody says eight two two yankee twice, not our man.",
    "Interval three point three, then three point one.",
    "Gap to the leader one minute four.",
    "He lost two seconds in the chicane, now four point six.",
    "One twenty nine nine, one thirty flat, one thirty point one.",
    "Fastest is one twenty eight seven by Charlie.",
    "Car one, car eleven and car ninety one side by side.",
    "Thirteen laps on these, seventeen on theirs.",
    "Stand by for three, two, one.",
    "Release at eight bar, checked twice.",
    "Hotel shuttle leaves at six, seven and eight.",
    "Kilo is the mascot's name, believe it or not.",
    "X-ray, yankee, zulu, and the alphabet is done.",
    "Mike and Victor are on the same tyre as you.",
    "Their lap was eighty two three, yours eighty two five.",
    "Sierra Romeo on the nose of the pink one, sponsor I think.",
    "Two by two into turn one, be careful.",
    "Four out of five sensors agree.",
    "Row nine, seat seventeen, your mother waves.",
    "Zero risk now, zero.",
    "Tango yankee, as in thank you.",
    "Ten, twenty, thirty metres, good.",
    "Copy on eight, switching to channel six.",
    "Volume up two clicks on our side.",
    "Three two one go.",
    "Lap seven was eighty four two, lap eight eighty three nine.",
]

DEVELOPED = [
    Style("spelt", _plainly, DRIVER_ONE, WALL_ONE, ("", "okay ", "uh "), ("", " over")),
    Style("radio words", _niner, DRIVER_ONE, WALL_ONE, ("", "Copy, "), ("", "."), phase=0.35),
    Style("pairs", _pairs, DRIVER_ONE, WALL_ONE, ("", "so, "), ("", ", tyres are fading."), 0.5),
    Style("typed", _typed, DRIVER_ONE, WALL_ONE, ("", "Code: "), ("", "."), 0.2),
    Style("glued", _glued, DRIVER_ONE, WALL_ONE, phase=0.5),
    Style("figures", _figures, DRIVER_ONE, WALL_ONE, ("", "okay, "), ("", "."), 0.3, figures=True),
]


def _sentences(string: str, _: dict[str, Any], chance: random.Random) -> list[str]:
    """Say the string in two or three breaths, with stops between."""
    words = spell(string)
    for place in sorted(chance.sample(range(1, len(words)), 2), reverse=True):
        words[place - 1] += chance.choice([",", ",", "...", " -"])
    return " ".join(words).split()


def _shouted(string: str, values: dict[str, Any], chance: random.Random) -> list[str]:
    return [word.upper() for word in _niner(string, values, chance)]


def _mixed(string: str, values: dict[str, Any], chance: random.Random) -> list[str]:
    say = chance.choice([_hyphens, _glued, _pairs, _typed, _plainly])
    return say(string, values, chance)


DRIVER_HELD, WALL_HELD = DRIVER_TWO + DRIVER_THREE, WALL_TWO + WALL_THREE
HELD_OUT = [
    Style(
        "breaths", _sentences, DRIVER_HELD, WALL_HELD,
        ("", "Right, here goes. ", "Um, "), ("", ". Still sliding.", " okay?"), 0.4, 0.7,
    ),
    Style("capitals", _shouted, DRIVER_HELD, WALL_HELD, finish=str.upper, phase=0.4),
    Style("hyphens", _hyphens, DRIVER_HELD, WALL_HELD, ("", "It reads "), ("", " break"), 0.2),
    Style("any way", _mixed, DRIVER_HELD, WALL_HELD, ("", "well "), ("", ", got it?"), 0.5, 0.55),
    Style("named", _named, DRIVER_HELD, WALL_HELD, ("", "Okay. "), ("", "."), 0.3, figures=True),
    Style(
        "bare", lambda string, _, __: spell(string), DRIVER_HELD, WALL_HELD, readback=0.6,
        phase=0.8, finish=str.lower,
    ),
]  # fmt: skip
# Third set: written when all else was done.
DRIVER_FRESH = [
    "Front left locks into the stadium section.", "Who painted the kerb at three? Slippery.",
    "I'm counting on you, seven of ten today.", "Is that a five or an S on their board?",
    "Sierra two was the call sign of my uncle.", "Green one is weaving, number sixty six.",
    "Fuel smell? We have no fuel, ha, one two three.", "Ninety four, ninety five, motor song.",
    "Lost the tow to Papa's car by half a second.", "Kilo November is on the bridge banner.",
    "Twenty metres later into eight and it still stops.", "Sun goes, maybe four laps of light.",
    "Ask Lima if he wants my line, two wide is no fun.", "Zero grip, zero, on the paint.",
    "It's yankee tape on the wing, holds fine.", "My count says nine laps, yours?",
    "The four four on the pink car is upside down.", "Victor, tango, what a pair of idiots.",
    "Board said eight one three bravo for someone.", "Steer shakes at two hundred ten.",
]  # fmt: skip
WALL_FRESH = [
    "Mosquito lap, one thirty one point four five.", "Neighbour reads four zero three lima.",
    "Gap ahead two six, behind nine one.", "Three corners of drizzle, seven, eight and nine.",
    "Hotel keys are two one four and two one six.", "Penalty five seconds, car sixty one.",
    "Oscar pits, Romeo pits, India stays.", "You gained three tenths in the middle.",
    "Traffic is eighty eight and eighteen, both slow.", "Uniform colours tonight.",
    "Count me down, five four three two one.", "P nine, now P eight.", "Thirteen to go.",
    "Their code again: six two kilo whiskey five.", "Track is down to thirty one.",
    "Ten more and dinner, says Charlie.", "Wing flap was two clicks in the sim, leave it.",
    "Someone says one zero one golf on our channel.", "Echo on the line, change to four.",
    "Wheel nut gun number three is back.",
]  # fmt: skip


def _stumbling(string: str, _: dict[str, Any], chance: random.Random) -> list[str]:
    """Say symbols in pairs with hesitations, numbers now and then as one."""
    words: list[str] = []
    for word in _pairs(string, {}, chance) if chance.random() < 0.4 else spell(string):
        if words and chance.random() < 0.15:
            words.append(chance.choice(["uh", "er", "um"]))
        words.append(word)
    return words


def _columns(string: str, _: dict[str, Any], chance: random.Random) -> list[str]:
    """Write symbols in groups, figures as figures: 51 63 J R."""
    if chance.random() < 0.5:
        return [string[:2], string[2:4], *string[4:]]
    return [symbol if symbol.isdigit() else SPELLED[symbol].capitalize() for symbol in string]


FRESH = [
    Style(
        "stumbling", _stumbling, DRIVER_FRESH, WALL_FRESH,
        ("", "Listen, ", "Numbers: ", "er, "), ("", " that's all", ". Brakes are fine."), 0.4, 0.6,
    ),
    Style(
        "columns", _columns, DRIVER_FRESH, WALL_FRESH,
        ("", "Dash: ", "Got "), ("", "!", ", over."), 0.3, 0.75,
    ),
    Style(
        "told", _named, DRIVER_FRESH, WALL_FRESH, ("", "So, "), ("", ", copy?"), 0.5, figures=True
    ),
]  # fmt: skip
SPEAKERS = ("right", "some missing", "none", "some wrong", "swapped", "diarised")
FORMS = ("text", "jsonl", "vtt", "srt")


class Event:
    """A race of two cars (one, where nothing tells two apart), and what was said in it."""

    def __init__(
        self, book: Book, seed: int, style: Style, errors: float, speakers: str, laps: int = 14
    ) -> None:
        """Make the race."""
        self.book, self.chance, self.style = book, random.Random(seed), style
        self.errors, self.speakers, self.laps = errors, speakers, laps
        chance = self.chance
        self.message = book.sent_by("car")[0]  # of a lap
        self.of_race = {"energy", "motor", "inverter", "battery", "alert"} <= set(book.fields)
        names = ["Ines Kolbe", "Radek", "Tilda Ousmane", "Bruun"]
        self.cars = [
            Car("5", names[0], names[1], chance.uniform(0, 3)),
            Car("33", names[2], names[3], chance.uniform(3, 6), motor=95, battery=41),
        ]
        if speakers == "none":
            self.cars.pop()
        self.form = FORMS[seed % 4]
        self.lap_seconds = chance.uniform(68, 96)
        self.slow = range(7, 9) if chance.random() < 0.7 else range(0)
        self.lines: list[Line] = []
        self.truth: list[Truth] = []
        # of each report of a car and lap all that is heard of it, each time its words, parted right
        self.copies: dict[tuple[str, int], list[str]] = {}
        self.said: dict[tuple[str, int], dict[str, Any]] = {}
        for lap in range(1, laps + 1):
            for car in self.cars:
                self._lap(car, lap)
        self.lines.sort(key=lambda line: line.at)
        self._label()

    def _lap(self, car: Car, lap: int) -> None:
        chance, start = self.chance, car.clock
        car.starts.append((lap, start))
        slow = lap in self.slow
        seconds = self.lap_seconds * (1.5 if slow else 1) + chance.gauss(0, 0.7)
        if lap == 11 and car is self.cars[0]:
            seconds += 28  # a stop
        car.clock += seconds
        car.energy = max(-1.9, min(1.9, car.energy + chance.gauss(0.15 if slow else 0, 0.1)))
        car.motor += chance.gauss(-5 if slow else 1.0, 2.0)
        car.inverter += chance.gauss(-3 if slow else 0.6, 1.5)
        car.battery = min(63, car.battery + chance.gauss(0.9, 0.5))
        moment = start + seconds * self.style.phase + chance.uniform(-3, 3)
        for _ in range(chance.choice([1, 2, 2, 3])):
            at = start + chance.uniform(0, seconds)
            if abs(at - moment) > 14:
                driver = chance.random() < 0.5
                self._say(at, car, chance.choice(self.style.driver if driver else self.style.wall),
                    driver=driver)  # fmt: skip
        self._report(car, lap, moment)
        self._calls(car, lap, start + seconds * chance.choice([0.15, 0.93]))

    def _values(self, car: Car, lap: int) -> dict[str, Any]:
        return self._race_values(car, lap) if self.of_race else self._any_values(car, lap)

    def _any_values(self, car: Car, lap: int) -> dict[str, Any]:
        """Return the values of a report of any book: levels that wander from lap to lap."""
        values: dict[str, Any] = {}
        for name, one in self.message.fields.items():
            if name == "lap":
                values[name] = lap
                continue
            level = car.levels.get(name, one.size // 2)
            level += round(self.chance.gauss(0, max(0.6, one.size / 60)))
            car.levels[name] = max(0, min(one.size - 1, level))
            values[name] = one.value(car.levels[name])
        return values

    def _race_values(self, car: Car, lap: int) -> dict[str, Any]:
        def up(value: float, step: int) -> int:
            return -int(-value // step) * step

        alert = (
            ["cooling"] if car.motor > 112 else ["brakes"] if self.chance.random() < 0.06 else []
        )
        return {
            "lap": lap,
            "energy": Decimal(round(car.energy * 10)) / 10,
            "motor": max(50, min(130, up(car.motor, 5))),
            "inverter": max(40, min(100, up(car.inverter, 5))),
            "battery": max(20, min(64, up(car.battery, 2))),
            "alert": alert,
        }

    def _report(self, car: Car, lap: int, at: float) -> None:
        chance, values = self.chance, self._values(car, lap)
        string = encode(self.book, values, self.message.name).string
        spoilt, why = self._spoilt(self.style.say(string, values, chance))
        if chance.random() < 0.03:  # the driver is not on the tape: only his engineer's answer is
            spoilt, why = [], "driver not heard"
        elif chance.random() < 0.04 and not self.style.figures and not string.isdigit():
            spoilt, why = self._slip(string), "corrected"
        copies = self.copies[car.number, lap] = [_parted(spoilt)] if spoilt else []
        self.said[car.number, lap] = values
        parts = [spoilt]
        split = self.errors and chance.random() < self.errors * 2
        if len(spoilt) > 3 and (split or chance.random() < 0.02):
            cut = chance.randrange(2, len(spoilt) - 1)
            parts, why = [spoilt[:cut], spoilt[cut:]], "two cues"
        before, after = chance.choice(self.style.before), chance.choice(self.style.after)
        moment = at
        for number, words in enumerate(parts):
            text = " ".join(words)
            if text:
                text = (before if number == 0 else "") + text
                text += after if number == len(parts) - 1 else ""
                self._say(moment, car, self.style.finish(text), driver=True, report=True)
            moment += 0.5 + 0.45 * len(words)
        asked = chance.random() < 0.05 and bool(spoilt)
        if asked:
            self._say(moment + 1.5, car, "Say again.", driver=False)
            again, _ = self._spoilt(spell(string))
            copies.append(_parted(again))
            text = "I say again " + " ".join(again)
            self._say(moment + 4, car, self.style.finish(text), driver=True, report=True)
            moment += 9
        if chance.random() < self.style.readback or not spoilt:
            back, _ = self._spoilt(spell(string), self.errors / 2)
            copies.append(_parted(back))
            text = chance.choice(["copy, ", "", "Copy. "]) + " ".join(back)
            self._say(moment + 2.5, car, self.style.finish(text), driver=False, report=True)
        self.truth.append(Truth("report", car.number, lap, string, at, why))

    def _slip(self, string: str) -> list[str]:
        """Say a symbol wrongly, and put it right."""
        chance = self.chance
        place = chance.randrange(1, len(string))
        wrong = chance.choice([s for s in "BCDFGHJLNPQRSTVWXYZ" if s not in string])
        return [*spell(string[:place] + wrong), "correction", *spell(string[place - 1 :])]

    def _spoilt(self, words: list[str], rate: float | None = None) -> tuple[list[str], str]:
        """Return words as the recogniser wrote them, and what became of them."""
        chance, found, why = self.chance, list[str](), ""
        rate = self.errors if rate is None else rate
        place = 0
        while place < len(words):
            word, place = words[place], place + 1
            if chance.random() >= rate:
                found.append(word)
                continue
            way, bare = (
                chance.choice(["other", "other", "lost", "added", "joined"]),
                word.strip(",."),
            )
            if way == "other" and bare.casefold() in TAKEN_FOR:
                found.append(chance.choice(TAKEN_FOR[bare.casefold()]))
            elif way == "lost" and len(words) > 2:
                pass
            elif way == "joined" and place < len(words):
                found.append(word.rstrip(",. ") + _JOINED + words[place])
                place += 1
            else:
                found += [word, chance.choice(EXTRA)]
                way = "added"
            why = (why and "several words") or f"word {way}"
        return found, why

    def _calls(self, car: Car, lap: int, at: float) -> None:
        chance = self.chance
        say = self.style.finish
        call = None
        if not self.of_race:
            self._any_call(car, lap, at)
            return
        if self.slow and lap == self.slow.start and car is self.cars[0]:
            self._say(at, car, say("Safety car, safety car."), driver=False)
            self.truth.append(Truth("phrase", car.number, lap, "neutralised", at, ""))
        elif self.slow and lap == self.slow.stop and car is self.cars[0]:
            self._say(at, car, say("green flag"), driver=False)
            self.truth.append(Truth("phrase", car.number, lap, "resumed", at, ""))
        elif lap in (3, 12):
            call = ({"dial": "brake balance", "way": "up", "clicks": lap % 5}, "wheel", "set")
        elif lap in (5, 10):
            call = ({"target": Decimal("1.4") + Decimal(lap) / 100}, "pace", "")
        elif lap == 13 and car is self.cars[0]:
            self._say(at, car, say("marking now"), driver=True)
            self.truth.append(Truth("phrase", car.number, lap, "marker", at, ""))
        if call is None:
            return
        values, message, back = call
        called = encode(self.book, values, message)
        self._say(at, car, say(" ".join(spell(called.string))), driver=False, report=True)
        self.truth.append(Truth("call", car.number, lap, called.string, at, ""))
        if back and chance.random() < 0.7:
            words = spell(encode(self.book, values, back).string)
            self._say(at + 4, car, say(" ".join(words)), driver=True, report=True)

    def _any_call(self, car: Car, lap: int, at: float) -> None:
        """Make a call of any book, on some laps."""
        calls = self.book.sent_by("pit")
        if not calls or lap not in (3, 5, 10, 12):
            return
        message = self.chance.choice(calls)
        values = {
            name: one.value(self.chance.randrange(one.size)) for name, one in message.fields.items()
        }
        called = encode(self.book, values, message.name)
        text = self.style.finish(" ".join(spell(called.string)))
        self._say(at, car, text, driver=False, report=True)
        self.truth.append(Truth("call", car.number, lap, called.string, at, ""))

    def _say(self, at: float, car: Car, text: str, *, driver: bool, report: bool = False) -> None:
        text = text.replace(_JOINED, "")
        self.lines.append(
            Line(at, car.driver if driver else car.engineer, text, driver=driver, report=report)
        )

    def _label(self) -> None:
        """Name the speakers as the transcript does."""
        partner = {car.driver: car.engineer for car in self.cars}
        partner |= {car.engineer: car.driver for car in self.cars}
        numbers = {name: f"SPEAKER_{n:02d}" for n, name in enumerate(sorted(partner))}
        for line in self.lines:
            if self.speakers == "none" or (
                self.speakers == "some missing" and self.chance.random() < 0.2
            ):
                line.speaker = ""
            elif self.speakers == "swapped" or (
                self.speakers == "some wrong" and self.chance.random() < 0.2
            ):
                line.speaker = partner[line.speaker]
            elif self.speakers == "diarised":
                line.speaker = numbers[line.speaker]

    @property
    def crews(self) -> list[str]:
        """The cars and their people, as they are named to the import."""
        if self.speakers == "diarised":
            numbers = sorted(name for car in self.cars for name in (car.driver, car.engineer))
            return [
                f"{car.number}=SPEAKER_{numbers.index(car.driver):02d},"
                f"SPEAKER_{numbers.index(car.engineer):02d}"
                for car in self.cars
            ]
        return [f"{car.number}={car.driver},{car.engineer}" for car in self.cars]

    @property
    def lap_times(self) -> list[str]:
        """When each lap of each car began, as a CSV."""
        rows = (f"{car.number},{lap},{at:.3f}\n" for car in self.cars for lap, at in car.starts)
        return ["car,lap,start\n", *rows]

    def written(self) -> list[str]:
        """Return the transcript in its form."""
        return list(_FORMS[self.form](self.lines))


def _parted(words: Sequence[str]) -> str:
    return " ".join(words).replace(_JOINED, " ")


def _clock(seconds: float, point: str) -> str:
    whole, rest = divmod(round(seconds * 1000), 1000)
    return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}{point}{rest:03d}"


def _end(line: Line) -> float:
    return line.at + 0.4 + 0.4 * len(line.text.split())


def _text(lines: Sequence[Line]) -> Iterator[str]:
    for line in lines:
        name = f"{line.speaker}: " if line.speaker else ""
        yield f"[{_clock(line.at, '.')[:-2]}] {name}{line.text}\n"


def _jsonl(lines: Sequence[Line]) -> Iterator[str]:
    for line in lines:
        facts: dict[str, Any] = {"start": round(line.at, 2), "end": round(_end(line), 2)}
        if line.speaker:
            facts["speaker"] = line.speaker
        yield json.dumps({**facts, "text": line.text}) + "\n"


def _vtt(lines: Sequence[Line]) -> Iterator[str]:
    yield "WEBVTT\n"
    yield "\n"
    for line in lines:
        yield f"{_clock(line.at, '.')} --> {_clock(_end(line), '.')}\n"
        yield f"<v {line.speaker}>{line.text}</v>\n" if line.speaker else f"{line.text}\n"
        yield "\n"


def _srt(lines: Sequence[Line]) -> Iterator[str]:
    for number, line in enumerate(lines, start=1):
        yield f"{number}\n"
        yield f"{_clock(line.at, ',')} --> {_clock(_end(line), ',')}\n"
        yield f"{line.speaker}: {line.text}\n" if line.speaker else f"{line.text}\n"
        yield "\n"


_FORMS = {"text": _text, "jsonl": _jsonl, "vtt": _vtt, "srt": _srt}


def events(
    book: Book, styles: Sequence[Style], errors: float, count: int, seed: int
) -> Iterator[Event]:
    """Yield ``count`` events, the styles and the speakers in turn."""
    for number in range(count):
        style = styles[number % len(styles)]
        speakers = SPEAKERS[(number // len(styles) + number) % len(SPEAKERS)]
        yield Event(book, seed + number, style, errors, speakers)


def talk_lines() -> list[tuple[bool, str]]:
    """Return every line of talk, and whether a driver says it."""
    found: list[tuple[bool, str]] = []
    for driver, lines in ((True, DRIVER_ONE), (False, WALL_ONE), (True, DRIVER_HELD),
        (False, WALL_HELD)):  # fmt: skip
        found += [(driver, line) for line in lines]
    return found


def moved(line: Line, seconds: float) -> Line:
    """Return a line said later."""
    return dataclasses.replace(line, at=line.at + seconds)
