"""A wheel made to be hard: four rotaries of twelve positions, each of which wakes the dash, and
settings that ask for two or three of them at once. All its 103,680 states hang together.
"""

from __future__ import annotations

import functools
import random

from codec.wheel import Wheel, parse_wheel

_TOP = """
title = "an entangled wheel"
start = "asleep"
[modes.asleep]
[modes.drive]
left_alone = 10
then = "asleep"
[modes.menu]
left_alone = 8
then = "drive"
[modes.entry]
draft = true
left_alone = 8
then = "drive"
[modes.page]
[controls.thumb]
kind = "encoder"
[controls.ok]
kind = "button"
look = 0.4
[controls.turn]
kind = "button"
look = 0.4
[[does]]
touch = "turn"
when = { mode = "drive" }
goes = "menu"
[[does]]
touch = "turn"
when = { mode = "menu" }
goes = "page"
[[does]]
touch = "turn"
when = { mode = ["page", "entry", "asleep"] }
goes = "drive"
[[does]]
touch = "ok"
when = { mode = "menu", r3 = ["p3", "p4", "p5"] }
goes = "entry"
[[does]]
touch = "ok"
when = { mode = "entry" }
confirms = true
goes = "drive"
"""


@functools.cache
def entangled_wheel() -> Wheel:
    """Return the wheel, proven."""
    text, chance = _TOP, random.Random(1)
    positions = [f"p{number}" for number in range(12)]
    for number in range(4):
        text += f'[controls.r{number}]\nkind = "rotary"\nwraps = true\nlook = 0.3\n'
        text += f"positions = {positions}\n"
        modes = ["asleep", "page"] if number % 2 else ["asleep"]
        text += f'[[does]]\ntouch = "r{number}"\nwhen = {{ mode = {modes} }}\ngoes = "drive"\n'
    pairs = [(west, east) for west in positions for east in positions]
    for number, (west, east) in enumerate(chance.sample(pairs, 60)):
        text += f"[settings.s{number}]\nlow = 0\nhigh = 9\nstart = {chance.randrange(10)}\n"
        when = f'{{ mode = "drive", r0 = "{west}", r1 = "{east}" }}'
        text += f'[[does]]\ntouch = "thumb"\nwhen = {when}\nsteps = "s{number}"\n'
    for number in range(12):
        text += f"[settings.d{number}]\nlow = 0\nhigh = 9\nstart = 2\n"
        there = ", ".join(f'r{n} = "p{number * factor % 12}"' for n, factor in enumerate((1, 1, 5)))
        text += f'[[does]]\ntouch = "thumb"\nwhen = {{ mode = "entry", {there} }}\n'
        text += f'steps = "d{number}"\n'
    return parse_wheel(text)
