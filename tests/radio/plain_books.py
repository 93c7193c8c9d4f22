"""Code books of invented teams: one of figures alone, without a lap or a check, and one with both,
and with a unit of its own for what is left.
"""

from __future__ import annotations

import functools

from codec import Book, parse_book

FIGURES = """
title = "Figures of an invented team"
[fields.store]
label = "charge left"
kind = "quantity"
unit = "kWh"
low = 0
high = 60
step = 0.1
drift = -2
wander = 0.3
[fields.cells]
kind = "quantity"
unit = "°C"
low = 20
high = 79
step = 1
usual = 40
spread = 8
wander = 1
[fields.gearbox]
kind = "quantity"
unit = "°C"
low = 40
high = 150
step = 5
usual = 90
spread = 15
wander = 5
[tables.store]
kind = "digits"
[tables.cells]
kind = "digits"
count = "value"
[tables.gearbox]
kind = "digits"
count = "value"
per = 1
width = 3
[messages.report]
layout = "store cells gearbox"
"""
CODED = """
title = "A code with a lap and a check"
[fields.map]
kind = "choice"
options = ["rain", "usual", "push"]
usual = "usual"
[fields.coolant]
label = "coolant"
kind = "quantity"
unit = "°C"
low = 30
high = 64
step = 2
usual = 50
spread = 8
wander = 2
[fields.left]
label = "battery left"
kind = "quantity"
unit = "%"
low = 0
high = 99
step = 1
drift = -4
wander = 1
[fields.lap]
kind = "wrapped"
modulus = 10
drift = 1
wander = 0
[fields.saving]
kind = "quantity"
unit = "%"
low = 1.0
high = 6.9
step = 0.1
[tables.map]
kind = "listed"
words = { rain = "R", usual = "U", push = "P" }
[tables.coolant]
kind = "scale"
symbols = "ABCDEFGHJKLMNPRSTU"
[tables.left]
kind = "digits"
[tables.lap]
kind = "digits"
[tables.saving]
kind = "digits"
count = "value"
[tables.check]
kind = "check"
method = "weighted sum"
modulus = 31
symbols = "0123456789ABCDEFGHJKLMNPRSTUVWX"
weights = [3, 5, 7, 11, 13, 17]
[messages.report]
label = "lap report"
layout = "map coolant left lap check"
[messages.saving_back]
label = "saving read back"
layout = '"V" saving check'
[messages.saving]
direction = "pit"
layout = '"V" saving'
"""


@functools.cache
def figures_book() -> Book:
    return parse_book(FIGURES, "figures.toml")


@functools.cache
def coded_book() -> Book:
    return parse_book(CODED, "coded.toml")
