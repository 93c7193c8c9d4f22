"""Books of sizes nobody means: thousands of fields, parts, brackets and codewords, and trees as
deep as the text is long.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from hostile.watchdog import BOOK

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
FLAG = '[fields.f{0}]\nkind = "flags"\nflags = ["a"]\nusual = []\n'
QUANTITY = '[fields.f{0}]\nkind = "quantity"\nlow = 0\nhigh = 9\nstep = 1\nusual = 0\n'
MOD_37 = "[tables.c]\nkind = 'check'\nmethod = 'iso7064 mod 37,36'\n"
TOGETHER = "[speech]\nrun_together = true\n"
SHORT = "'\"S\" energy motor'"
DIGITS = "kind = 'digits'\n"


def own(number: int) -> str:
    """Return three letters that no other number has."""
    return LETTERS[number // 676 % 26] + LETTERS[number // 26 % 26] + LETTERS[number % 26]


def pair(number: int) -> str:
    """Return a table of two codewords that begin with letters of their own."""
    return f'kind = "listed"\nwords = ["{own(number)}0", "{own(number)}1"]\n'


def digits(number: int) -> str:
    """Return a table of digits, like every other."""
    return DIGITS if number >= 0 else ""


def book(
    count: int,
    table: Callable[[int], str],
    layout: str,
    field: str = QUANTITY,
    more: str = "",
    head: str = "",
) -> str:
    """Return a book of so many fields, each with its table, and one layout of them."""
    parts = [f"{field.format(n)}[tables.f{n}]\n{table(n)}" for n in range(count)]
    return "".join([head, *parts, more, f"[messages.m]\nlayout = '{layout}'\n"])


def listing(options: int, words: str) -> str:
    """Return a book with one choice of so many options and a listed table."""
    names = ",".join(f'"o{n}"' for n in range(options))
    return (
        f'[fields.f]\nkind = "choice"\noptions = [{names}]\n[tables.f]\nkind = "listed"\nwords ='
        f' {words}\n[messages.m]\nlayout = "f"\n'
    )


def counted(count: int, width: int, *, by_value: bool = False, tables: int = 1) -> str:
    """Return a book of tables of so many codewords each, scattered over all of that width."""
    signs, step = "0123456789" + LETTERS, 1_000_003  # a prime: no two alike
    words = []
    for place_of_word in range(count):
        number = place_of_word * (step if width > 4 else 1) ** 2 % 36**width
        words.append("".join(signs[number // 36**place % 36] for place in reversed(range(width))))
    listed = (
        "{" + ",".join(f'{n} = "{word}"' for n, word in enumerate(words)) + "}"
        if by_value
        else quoted(iter(words))
    )
    field = f'kind = "quantity"\nlow = 0\nhigh = {count - 1}\nstep = 1\n'
    return "".join(
        f'[fields.f{n}]\n{field}[tables.f{n}]\nkind = "listed"\nwords = {listed}\n'
        f"[messages.m{n}]\nlayout = '\"{signs[n]}\" f{n}'\n"
        for n in range(tables)
    )


def quoted(words: Iterator[str]) -> str:
    return "[" + ",".join(f'"{word}"' for word in words) + "]"


def wide(high: str, step: str, per: str) -> str:
    """Return a book whose digits count a step in units of ``per``."""
    head = (
        f'[fields.f]\nkind = "quantity"\nlow = 0\nhigh = {high}\nstep = {step}\n[tables.f]\nkind ='
        ' "digits"\n'
    )
    return (
        head
        + f'count = "value"\nper = {per}\n[messages.m]\nlayout = "f"\n[messages.n]\nlayout = \'f'
        ' "A"\'\n'
    )


def optional(count: int) -> str:
    return " ".join(f"f{n}?" for n in range(count)) + ' "Z"'


def row(count: int, between: str = " ") -> str:
    return between.join(f"f{n}" for n in range(count))


def checks(count: int) -> str:
    return "".join(
        f"[tables.c{n}]\nkind = 'check'\nmethod = 'verhoeff'\nover = ['f0', 'f1']\n"
        for n in range(count)
    )


def figures(count: int) -> str:
    return "".join(f"[messages.m{n:03d}]\nlayout = '\"{n:03d}\" f0'\n" for n in range(count))


def messages(count: int) -> str:
    return "".join(f"[messages.m{n}]\nlayout = 'f{n}'\n" for n in range(1, count))


def short(layout: str) -> str:
    """Return the usual book with another layout for its second message."""
    return BOOK.replace(SHORT, f"'{layout}'")


ACCEPTED: dict[str, Callable[[], str]] = {
    "10,000 parts": lambda: book(10_000, digits, row(10_000)),
    "100 optional parts": lambda: book(100, pair, optional(100), FLAG),
    "100 optional parts and a check": lambda: book(100, pair, optional(100) + " c", FLAG, MOD_37),
    "100 optional parts, run together": lambda: book(100, pair, optional(100), FLAG, head=TOGETHER),
    "38 packed fields and a check": lambda: book(
        38,
        digits,
        "p c",
        '[fields.f{0}]\nkind = "quantity"\nlow = 0\nhigh = 35\nstep = 1\n',
        MOD_37 + f"[tables.p]\nkind = 'packed'\nfields = {quoted(f'f{n}' for n in range(38))}\n",
    ),
    "700 alternatives": lambda: book(700, pair, row(700, " | "), FLAG),
    "500 messages of figures": lambda: book(1, digits, '"ZZZ" f0', more=figures(500)),
    "300 messages": lambda: book(300, pair, "f0", FLAG, messages(300)),
    "10,000 listed codewords": lambda: listing(
        10_000, quoted(f"{own(n)}{n % 10}" for n in range(10_000))
    ),
    "10,000 listed codewords by option": lambda: listing(
        10_000, "{" + ",".join(f'"o{n}" = "{own(n)}{n % 10}"' for n in range(10_000)) + "}"
    ),
    "100,000 listed codewords": lambda: counted(100_000, 4),
    "100,000 listed codewords by value": lambda: counted(100_000, 4, by_value=True),
    "30,000 codewords of eight symbols": lambda: counted(30_000, 8),
    "25,000 codewords of forty symbols": lambda: counted(25_000, 40),
    "10,000 options to warn of": lambda: book(
        1,
        digits,
        "f0",
        f'[fields.f0]\nkind = "choice"\noptions = {quoted(f"o{n}" for n in range(10_000))}\n'
        f"warn = {quoted(f'o{n}' for n in range(10_000))}\n",
    ),
    "10,000 bands with names": lambda: (
        "[fields.f]\nkind = 'bands'\nedges = ["
        + ",".join(map(str, range(10_000)))
        + "]\nnames = "
        + quoted(f"n{n}" for n in range(10_001))
        + "\n[tables.f]\nkind = 'listed'\nwords = {"
        + ",".join(f'n{n} = "{own(n)}{n % 10}"' for n in range(10_001))
        + "}\n[messages.m]\nlayout = 'f'\n"
    ),
    "10,000 phrases": (
        lambda: BOOK + "".join(f"[phrases.p{n}]\nsays = ['zz{n}']\n" for n in range(10_000))
    ),
    "a million levels": lambda: wide("1e15", "1e9", "1e8"),
    "10,000 codewords of five to eleven symbols": lambda: listing(
        10_000, quoted("B" * (n % 7) + f"A{n // 7:04d}" for n in range(10_000))
    ),
    "40 brackets": lambda: short("(" * 40 + '"S" energy motor' + ")" * 40),
    "1 MB of comments": lambda: BOOK + "# x\n" * 250_000,
    "a byte order mark": lambda: "\ufeff" + BOOK,
}

REFUSED: dict[str, Callable[[], str]] = {
    "10,000 fields with an unknown key": lambda: book(
        10_000, digits, "f0", QUANTITY + "colour{0} = 1\n"
    ),
    "10,000 tables with an unknown key": lambda: book(
        10_000, lambda n: f"kind = 'digits'\nwidht{n} = 1\n", "f0"
    ),
    "10,000 tables without field": lambda: book(
        10_000, lambda n: f"kind = 'digits'\nfield = 'nope{n}'\n", "f0"
    ),
    "10,000 fields with nothing": lambda: book(
        10_000, digits, "f0", '[fields.f{0}]\nkind = "quantity"\n'
    ),
    "10,000 optional parts": lambda: book(10_000, pair, optional(10_000), FLAG),
    "1,400 optional parts": lambda: book(1400, pair, optional(1400), FLAG),
    "700 optional parts": lambda: book(700, pair, optional(700), FLAG),
    "40 optional parts alike": lambda: book(40, digits, optional(40)),
    "40 optional parts alike and a check": lambda: book(
        40, digits, optional(40) + " c", more=MOD_37
    ),
    "700 optional parts, run together": lambda: book(700, pair, optional(700), FLAG, head=TOGETHER),
    "10,000 alternatives": lambda: book(10_000, pair, row(10_000, " | "), FLAG),
    "10,000 messages": lambda: book(10_000, pair, "f0", FLAG, messages(10_000)),
    "700 messages, run together": lambda: book(700, pair, "f0", FLAG, messages(700), TOGETHER),
    "10,000 checks": lambda: book(
        2, digits, '"Z" f0 f1 ' + " ".join(f"c{n}" for n in range(10_000)), more=checks(10_000)
    ),
    "the same check 10,000 times": lambda: book(
        2, digits, '"Z" f0 f1' + " c" * 10_000, more=MOD_37
    ),
    "10,000 codewords alike": lambda: listing(10_000, quoted("A" for _ in range(10_000))),
    "10,000 long codewords": lambda: listing(
        10_000, quoted((own(n) * 14)[:37] + own(n) for n in range(10_000))
    ),
    "26,000 codewords of forty symbols": lambda: counted(26_000, 40),
    "120,000 codewords of eight symbols": lambda: counted(120_000, 8),
    "four tables of 40,000 codewords of eight symbols": lambda: counted(40_000, 8, tables=4),
    "a count of a millionth": lambda: wide("9999", "1", "1e-6"),
    "a step of a large prime": lambda: wide("999983000000", "999983", "1"),
    "more digits than a codeword has": lambda: wide("1e29", "1e29", "1e-29"),
    "arrays 100,000 deep": lambda: "a = " + "[" * 100_000 + "]" * 100_000,
    "inline tables 100,000 deep": lambda: "a = " + "{a=" * 100_000 + "1" + "}" * 100_000,
    "a key of 100,000 parts": lambda: "a" + ".a" * 100_000 + " = 1",
    "a quoted key of 100,000 parts": lambda: "'a'" + " . 'a'" * 100_000 + " = 1",
    "a header of 100,000 parts": lambda: "[a" + ".a" * 100_000 + "]",
    "an inline key of 100,000 parts": lambda: "x = {a" + ".a" * 100_000 + " = 1}",
    "5,000 keys of 64 parts": lambda: "\n".join(f"a{n}" + ".a" * 62 + " = 1" for n in range(5000)),
    "3,000 headers of 64 parts": lambda: "\n".join(
        f"[a{n}" + ".a" * 62 + "]\nb = 1" for n in range(3000)
    ),
    "100,000 unknown keys": (
        lambda: BOOK + "[x]\n" + "".join(f"k{n} = {n}\n" for n in range(100_000))
    ),
    "10,000 unknown sections": lambda: BOOK + "".join(f"[x{n}]\n" for n in range(10_000)),
    "5,000 brackets": lambda: short("(" * 5000 + "energy" + ")" * 5000),
    "99,000 open brackets": lambda: short("(" * 99_000),
    "500,000 open brackets": lambda: short("(" * 500_000),
    "90,000 question marks": lambda: short("energy" + "?" * 90_000),
    "90,000 bars": lambda: short("energy" + "|" * 90_000),
    "90,000 quotes": lambda: short('"' * 90_000),
    "90,000 quoted symbols": lambda: short('"' + "A" * 90_000 + '"'),
    "20,000 optional symbols": lambda: short('"A"? ' * 19_000 + '"B"'),
    "one field 14,000 times": lambda: short("energy " * 14_000),
    "1 MB of a word": lambda: BOOK + "[alphabet.words]\nA = '" + "a" * 1_000_000 + "'\n",
    "1 MB of notes": lambda: 'notes = "' + "x" * 1_000_000 + '"\n' + BOOK,
    "3 MB of comments": lambda: BOOK + "# x\n" * 750_000,
    "nothing": lambda: "",
    "white space": lambda: " \n\t\n" * 1000,
}
