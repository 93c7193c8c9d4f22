"""Colours of the desk as people with other colour vision see them.

The simulation is that of G. M. Machado, M. M. Oliveira and L. A. F. Fernandes, "A
Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE TVCG 15 (2009): the
matrices that its authors publish for severity 1.0, for linear sRGB (IEC 61966-2-1). Distances are
those of CIE 1976 L*a*b* under D65; 2.3 of them are just noticed (M. Mahy, L. Van Eycken and
A. Oosterlinck, 1994). Contrast is that of "Web Content Accessibility Guidelines 2.2" (W3C), 1.4.3.
"""

from __future__ import annotations

import itertools
import re
from importlib import resources

import numpy as np
import pytest

CSS = (resources.files("codec.desk") / "static" / "desk.css").read_text("utf-8")
SCHEMES = [
    dict(re.findall(r"--([\w-]+): #([0-9a-f]{6})", root))
    for root in re.findall(r":root \{([^}]*)\}", CSS)
]
SEEN = {
    "by most": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "without red": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "without green": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "without blue": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}
XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
     [0.0193339, 0.1191920, 0.9503041]]
)  # of linear sRGB, D65  # fmt: skip
NOTICED = 2.3
MEANING = ("ink", "accent", "bad", "warn", "good")


def linear(colour: str) -> np.ndarray:
    parts = np.array([int(colour[at : at + 2], 16) for at in (0, 2, 4)]) / 255
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def lab(light: np.ndarray) -> np.ndarray:
    share = XYZ @ np.clip(light, 0, 1) / XYZ.sum(axis=1)
    x, y, z = np.where(share > (6 / 29) ** 3, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def contrast(one: str, other: str) -> float:
    bright, dim = sorted((float(XYZ[1] @ linear(c)) for c in (one, other)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


def test_the_measures_are_those_of_their_sources() -> None:
    """White is 100, black 0, contrast 21 (WCAG); grey is seen as it is (Machado et al., 2009)."""
    assert lab(linear("ffffff")) == pytest.approx([100, 0, 0], abs=0.01)
    assert contrast("ffffff", "000000") == pytest.approx(21)
    for matrix in SEEN.values():
        assert np.array(matrix) @ linear("808080") == pytest.approx(linear("808080"), abs=1e-3)


@pytest.mark.parametrize("scheme", SCHEMES, ids=["light", "dark"])
@pytest.mark.parametrize("sight", SEEN)
def test_colours_that_mean_something_are_told_apart(scheme: dict[str, str], sight: str) -> None:
    seen = {name: lab(np.array(SEEN[sight]) @ linear(scheme[name])) for name in MEANING}
    for one, other in itertools.combinations(MEANING, 2):
        assert np.linalg.norm(seen[one] - seen[other]) > 6 * NOTICED, (one, other)


@pytest.mark.parametrize("scheme", SCHEMES, ids=["light", "dark"])
def test_every_ink_can_be_read_on_every_paper_it_stands_on(scheme: dict[str, str]) -> None:
    for ink in (*MEANING, "quiet"):
        for paper in ("paper", "panel", f"{ink}-paper"):
            if paper in scheme:
                assert contrast(scheme[ink], scheme[paper]) >= 4.5, (ink, paper)


def test_what_warns_has_a_mark_beside_its_colour() -> None:
    marked = set(re.findall(r"([^{},]+?)::before(?=[^{}]*\{ content: \"[!?○✓●])", CSS))
    for one in (".ask", ".alerts li", "td.warn", ".facts .bad dd", ".into.late"):
        assert any(one in selector for selector in marked), one
