"""Published figures about words and sounds that these tests hold the product against, each with its
source.
"""

from __future__ import annotations

# ICAO Annex 10 Volume II, figure 5-1 (the same table: SERA.14020 table S14-2): word, respelled
# sounds, syllables.
LETTERS = {
    "A": ("alfa", ["AL fah"], 2),
    "B": ("bravo", ["BRAH voh"], 2),
    "C": ("charlie", ["CHAR lee", "SHAR lee"], 2),
    "D": ("delta", ["DELL tah"], 2),
    "E": ("echo", ["ECK oh"], 2),
    "F": ("foxtrot", ["FOKS trot"], 2),
    "G": ("golf", ["golf"], 1),
    "H": ("hotel", ["ho TELL"], 2),
    "I": ("india", ["IN dee ah"], 3),
    "J": ("juliett", ["JEW lee ETT"], 3),
    "K": ("kilo", ["KEY loh"], 2),
    "L": ("lima", ["LEE mah"], 2),
    "M": ("mike", ["mike"], 1),
    "N": ("november", ["no VEM ber"], 3),
    "O": ("oscar", ["OSS cah"], 2),
    "P": ("papa", ["pah PAH"], 2),
    "Q": ("quebec", ["keh BECK"], 2),
    "R": ("romeo", ["ROW me oh"], 3),
    "S": ("sierra", ["see AIR rah"], 3),
    "T": ("tango", ["TANG go"], 2),
    "U": ("uniform", ["YOU nee form", "OO nee form"], 3),
    "V": ("victor", ["VIK tah"], 2),
    "W": ("whiskey", ["WISS key"], 2),
    "X": ("x-ray", ["ECKS ray"], 2),
    "Y": ("yankee", ["YANG key"], 2),
    "Z": ("zulu", ["ZOO loo"], 2),
}

# ICAO Annex 10 Volume II, 5.2.1.4.3.1, and CAP 413 chapter 2 table 2: word emitted, respelled
# sound, syllables.
DIGITS = {
    "0": ("zero", "ZE-RO", 2),
    "1": ("one", "WUN", 1),
    "2": ("two", "TOO", 1),
    "3": ("three", "TREE", 1),
    "4": ("four", "FOW-er", 2),
    "5": ("five", "FIFE", 1),
    "6": ("six", "SIX", 1),
    "7": ("seven", "SEV-en", 2),
    "8": ("eight", "AIT", 1),
    "9": ("niner", "NIN-er", 2),
}
OTHER_NUMERALS = {"decimal": "DAY-SEE-MAL", "hundred": "HUN-dred", "thousand": "TOU-SAND"}

# ITU Radio Regulations, appendix 14: figure words; the respellings are from memory.
FIGURES = {
    "0": ("nadazero", "NAH-DAH-ZAY-ROH"),
    "1": ("unaone", "OO-NAH-WUN"),
    "2": ("bissotwo", "BEES-SOH-TOO"),
    "3": ("terrathree", "TAY-RAH-TREE"),
    "4": ("kartefour", "KAR-TAY-FOWER"),
    "5": ("pantafive", "PAN-TAH-FIVE"),
    "6": ("soxisix", "SOK-SEE-SIX"),
    "7": ("setteseven", "SAY-TAY-SEVEN"),
    "8": ("oktoeight", "OK-TOH-AIT"),
    "9": ("novenine", "NO-VAY-NINER"),
}

# Synthetic speech of a formant synthesiser at 130 words a minute (computed), milliseconds.
MILLISECONDS = {
    "zero": 570, "one": 445, "two": 385, "tree": 408, "fower": 492, "fife": 516, "six": 491,
    "seven": 574, "ait": 363,
    "niner": 529, "alfa": 515, "bravo": 626, "charlie": 519, "delta": 482, "echo": 468,
    "foxtrot": 741, "golf": 430,
    "hotel": 609, "india": 543, "juliett": 562, "kilo": 509, "lima": 481, "mike": 481,
    "november": 802, "oscar": 463,
    "papa": 581, "quebec": 623, "romeo": 641, "sierra": 597, "tango": 624, "uniform": 785,
    "victor": 558,
    "whiskey": 561, "x-ray": 648, "yankee": 592, "zulu": 575,
}  # fmt: skip

# Miller & Nicely 1955, consonants taken for each other in noise; rows do not sum to 1, so only the
# ranks count.
SIMILARITIES = {
    ("P", "K"): 0.432, ("F", "TH"): 0.423, ("D", "G"): 0.342, ("V", "DH"): 0.338,
    ("T", "K"): 0.241, ("P", "T"): 0.229,
    ("B", "V"): 0.210, ("DH", "Z"): 0.161, ("TH", "S"): 0.157, ("M", "N"): 0.151,
    ("F", "ZH"): 0.007,
}  # fmt: skip

# Letter names hard to tell apart on the telephone: Fanty, Cole & Roginski 1991; from M/N on
# Cole & Fanty 1990.
HARD_PAIRS = ["BD", "PT", "VZ", "FS", "MN", "JK", "TG", "CZ"]
HEARD_ON_TELEPHONE = (
    0.93  # share of letter names heard right by people, Fanty, Cole & Roginski 1991
)

# Miller, Heise & Lichten 1951: half heard right at these signal-to-noise ratios in dB. Their
# difference of 17 dB is in
# the abstract; the two ratios themselves are from memory.
HALF_OF_SYLLABLES, HALF_OF_DIGITS = 3.0, -14.0
