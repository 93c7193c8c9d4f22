"""Loading a wheel file: every name looked up, every touch proven to mean one thing; every problem
at once, each at its place.
"""

from __future__ import annotations

from pathlib import Path

from codec.wheel.compiling import compiled_wheel
from codec.wheel.map import WheelMapSpec
from codec.wheel.proof import prove
from codec.wheel.wheel import Wheel
from grammar.errors import DocumentError
from grammar.inspection import DocumentFormat


class WheelFileError(DocumentError):
    """The author of a wheel file must act; ``problems`` holds every problem found, in file
    order.
    """

    kind_of_file = "wheel"


WHEEL = DocumentFormat("a wheel file", WheelMapSpec, WheelFileError, "wheel")


def load_wheel(path: str | Path) -> Wheel:
    """Return the wheel in a TOML file, proven; raises WheelFileError with every problem, also where
    the file can't be read.
    """
    return parse_wheel(WHEEL.read(path), str(path))


def parse_wheel(text: str, name: str = "wheel") -> Wheel:
    """Return the wheel in a TOML text, proven; raises WheelFileError."""
    inspection = WHEEL.inspect(text, name)
    wheel = compiled_wheel(inspection.model(), Path(name).stem, inspection.note)
    inspection.settle()  # what is left of a wheel without what is wrong can't be proven
    inspection.note(*prove(wheel))
    inspection.settle()
    return wheel
