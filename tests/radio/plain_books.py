"""Code books of invented teams: one of figures alone, without a lap or a check, one with both, and
with a unit of its own for what is left, and one with open ends and calls that nothing reads back.
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

CALLS = """
title = "A code with open ends, a wrapped temperature, and calls that have no read-back"
[fields.lap]
kind = "wrapped"
modulus = 10
drift = 1
wander = 0
[fields.left]
label = "energy left"
kind = "quantity"
unit = "kWh"
low = 0
high = 47.9
step = 0.1
drift = -1.4
wander = 0.15
[fields.motor]
kind = "quantity"
unit = "°C"
low = 60
high = 140
step = 5
open = "both"
usual = 100
spread = 12
wander = 4
[fields.coolant]
kind = "wrapped"
modulus = 10
unit = "°C"
wander = 1.2
[fields.fault]
kind = "flags"
flags = ["pump", "fan", "sensor"]
usual = []
share = 0.95
hold = 0.8
[fields.lift]
kind = "quantity"
unit = "m"
low = 0
high = 190
step = 10
[fields.target]
label = "energy per lap"
kind = "quantity"
unit = "kWh"
low = 0.90
high = 1.89
step = 0.01
[fields.added]
kind = "quantity"
unit = "laps"
low = 1
high = 9
step = 1
[tables.lap]
kind = "digits"
[tables.left]
kind = "digits"
count = "value"
[tables.motor]
kind = "scale"
symbols = "ABCDEFGHJKLPQRSTV"
[tables.coolant]
kind = "digits"
[tables.fault]
kind = "listed"
partial = true
words = { pump = "W", fan = "X", sensor = "Y", "pump, fan" = "Z" }
[tables.lift]
kind = "digits"
count = "value"
[tables.target]
kind = "digits"
count = "value"
[tables.added]
kind = "digits"
count = "value"
[tables.check]
kind = "check"
method = "weighted sum"
weights = [1, 3, 9, 27, 19, 26, 16, 17]
[messages.lap]
label = "lap report"
layout = "lap left motor coolant fault? check"
unsaid = ["fault"]
[messages.lift_back]
label = "lift read back"
layout = '"F" lift check'
[messages.lift]
direction = "pit"
label = "lift earlier"
layout = '"F" lift'
[messages.pace]
direction = "pit"
label = "energy target"
layout = '"P" target'
[messages.distance]
direction = "pit"
label = "race made longer"
layout = '"L" added'
"""


@functools.cache
def figures_book() -> Book:
    return parse_book(FIGURES, "figures.toml")


@functools.cache
def coded_book() -> Book:
    return parse_book(CODED, "coded.toml")


@functools.cache
def calls_book() -> Book:
    return parse_book(CALLS, "calls.toml")


@functools.cache
def remainders_book() -> Book:
    """Return a book of figures of which one is coded by its remainder alone."""
    cells = (
        'kind = "quantity"\nunit = "°C"\nlow = 20\nhigh = 79\nstep = 1\nusual = 40\nspread = 8\n'
    )
    assert cells in FIGURES
    return parse_book(FIGURES.replace(cells, 'kind = "wrapped"\nmodulus = 10\nunit = "°C"\n'))
