"""Whether colours can be read, and told apart by whoever looks.

Contrast is that of the Web Content Accessibility Guidelines 2.2 (W3C, 2023), success criterion
1.4.3. Who lacks one of the three kinds of cones sees a colour as simulated by G. M. Machado,
M. M. Oliveira and L. A. F. Fernandes, IEEE Transactions on Visualization and Computer Graphics 15
(2009), at severity 1. How far colours lie apart is CIE 1976 L*a*b* under D65, of which 2.3 are just
noticed (M. Mahy, L. Van Eycken and A. Oosterlinck, Color Research & Application 19, 1994).
"""

from __future__ import annotations

READABLE = 4.5  # the least contrast of text: WCAG 2.2, 1.4.3
APART = 6 * 2.3  # six times what is just noticed: at a glance more than just noticed, ours
SIGHTS = {"": "", "without red": "protan", "without green": "deutan", "without blue": "tritan"}


def contrast(one: str, other: str) -> float:
    """Return the contrast of two colours, 1 to 21."""
    from coloraide import Color

    return float(Color(one).contrast(Color(other), method="wcag21"))


def apart(one: str, other: str, sight: str = "") -> float:
    """Return how far two colours lie apart to a ``sight`` (one of ``SIGHTS``, "" for that of
    most).
    """
    from coloraide import Color

    seen = [Color(colour) for colour in (one, other)]
    if SIGHTS[sight]:
        seen = [
            colour.filter(SIGHTS[sight], method="machado", out_space="srgb").clip()
            for colour in seen
        ]
    return float(seen[0].delta_e(seen[1], method="76", space="lab-d65"))
