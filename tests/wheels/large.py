"""A wheel of 12 controls and 40 settings: two rotaries that choose, one that pages through menus,
and the menus themselves. Everything in it is invented.
"""

from __future__ import annotations

import functools

from codec.wheel import Wheel, parse_wheel

_BUTTONS = ("ok", "back", "mark", "talk", "limit")
_TOP = """
title = "a wheel of 12 controls and 40 settings"
[modes.drive]
[modes.menu]
left_alone = 10
then = "drive"
[modes.entry]
draft = true
left_alone = 8
then = "drive"
[controls.small]
kind = "paddles"
find = 0.4
[controls.large]
kind = "paddles"
find = 0.6
"""


@functools.cache
def large_wheel() -> Wheel:
    """Return the wheel, proven."""
    text, settings = _TOP, [f"s{number:02}" for number in range(40)]
    for rotary, thumb, first in (("west", "left", 0), ("east", "right", 10)):
        positions = settings[first : first + 10]
        text += f'[controls.{rotary}]\nkind = "rotary"\nwraps = true\nlook = 0.5\n'
        text += f"positions = {positions}\n"
        text += f'[controls.{thumb}]\nkind = "encoder"\nseconds = 0.25\nfind = 0.3\n'
    text += '[controls.pages]\nkind = "rotary"\npositions = ["p0", "p1", "p2", "p3"]\nlook = 0.5\n'
    for button in _BUTTONS:
        text += f'[controls.{button}]\nkind = "button"\nlook = 0.3\n'
    for page in range(4):
        text += f"[cursors.line{page}]\nitems = {settings[20 + 5 * page : 25 + 5 * page]}\n"
    for number, name in enumerate(settings):
        high = 5 + number % 8
        text += f"[settings.{name}]\nlow = 0\nhigh = {high}\nstart = {high // 2}\n"
        text += f"wraps = {'true' if number % 5 == 0 else 'false'}\nharm = {1 + number % 7}\n"
    rules = [
        'touch = "left"\nwhen = { mode = "drive" }\nchosen_by = "west"',
        'touch = "right"\nwhen = { mode = "drive" }\nchosen_by = "east"',
        'touch = "small"\nwhen = { mode = "drive" }\nsteps = "s00"',
        'touch = "large"\nwhen = { mode = "drive" }\nsteps = "s10"',
        'touch = "ok"\nwhen = { mode = "drive" }\ngoes = "menu"',
        'touch = "ok"\nwhen = { mode = "menu" }\ngoes = "entry"',
        'touch = "ok"\nwhen = { mode = "entry" }\nconfirms = true\ngoes = "menu"',
        'touch = "back"\nwhen = { mode = ["menu", "entry"] }\ngoes = "drive"',
        *(f'touch = "{button}"\nacts = "{button}"' for button in _BUTTONS[2:]),
    ]
    for page in range(4):
        menu = f'when = {{ mode = "menu", pages = "p{page}" }}'
        entry = f'when = {{ mode = "entry", pages = "p{page}" }}'
        rules += [
            f'touch = "left"\n{menu}\nmoves = "line{page}"',
            f'touch = "right"\n{entry}\nchosen_by = "line{page}"',
        ]
    for number in range(0, 40, 3):  # a third of them is changed, the more often the further in
        told = (
            [settings[number], settings[number - 9]]
            if number % 9 == 0 and number
            else [settings[number]]
        )
        text += (
            f"[[changes]]\nsettings = {told}\noften = {1 + number // 6}\nsteps = {1 + number % 2}\n"
        )
    return parse_wheel(text + "".join(f"[[does]]\n{rule}\n" for rule in rules))
