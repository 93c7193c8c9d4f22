"""The wheel: its controls and what each touch does in which state, as a proven automaton; the
cheapest way to the settings wanted, and what a slip on it costs.

wheel = load_wheel("wheel.toml")
way = cheapest(wheel, wheel.start, {"brake balance": 7})
"""

from __future__ import annotations

from codec.wheel.loading import WheelFileError, load_wheel, parse_wheel
from codec.wheel.proof import WheelFigures, wheel_figures
from codec.wheel.way import MEASURES, Measure, Way, cheapest, priced
from codec.wheel.wheel import Wheel, WheelError, WheelState

__all__ = [
    "MEASURES",
    "Measure",
    "Way",
    "Wheel",
    "WheelError",
    "WheelFigures",
    "WheelFileError",
    "WheelState",
    "cheapest",
    "load_wheel",
    "parse_wheel",
    "priced",
    "wheel_figures",
]
