"""Hypothesis strategies for fields of every kind, as dictionaries of the TOML file."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

_STEPS = [Decimal(1), Decimal("0.1"), Decimal("0.25"), Decimal(2), Decimal(50)]
_NAMES = ["red", "Green", "blue one", "größer", "x", "none at all"]


def either(draw: Any, *choices: Any) -> Any:
    """Draw one of several things."""
    return draw(st.sampled_from(choices))


@st.composite
def quantities(draw: Any, most: int) -> dict[str, Any]:
    step = draw(st.sampled_from(_STEPS))
    low = step * draw(st.integers(-4, 4))
    levels = draw(st.integers(1, most))
    field: dict[str, Any] = {
        "kind": "quantity",
        "low": low,
        "high": low + step * (levels - 1),
        "step": step,
    }
    field["open"] = either(draw, "neither", "low", "high", "both")
    field["rounding"] = either(draw, "nearest", "up", "down")
    if draw(st.booleans()):
        field["usual"] = low + step * draw(st.integers(0, levels - 1))
    if "usual" in field and draw(st.booleans()):
        field["spread"] = step
    if draw(st.booleans()):
        side = either(draw, "above", "below")
        least = (
            1 if side == "below" and field["open"] in ("neither", "high") else -1
        )  # a limit that no value passes is refused
        most_steps = (
            levels - 2 if side == "above" and field["open"] in ("neither", "low") else levels
        )
        field["limits"] = [{side: low + step * draw(st.integers(least, most_steps))}]
    return field


@st.composite
def bands(draw: Any, most: int) -> dict[str, Any]:
    edges = sorted(draw(st.sets(st.integers(-9, 9), min_size=1, max_size=max(1, most - 1))))
    field: dict[str, Any] = {
        "kind": "bands",
        "edges": edges,
        "edge_in": either(draw, "lower", "upper"),
    }
    if draw(st.booleans()):
        field["low"] = edges[0] - draw(st.integers(1, 3))
    if draw(st.booleans()):
        field["high"] = edges[-1] + draw(st.integers(1, 3))
    if draw(st.booleans()):
        field["names"] = [f"band {n}" for n in range(len(edges) + 1)]
    if draw(st.booleans()):
        level = draw(st.integers(0, len(edges)))
        field["usual"] = (
            field["names"][level] if "names" in field and draw(st.booleans()) else level
        )
    return field


@st.composite
def choices(draw: Any, most: int) -> dict[str, Any]:
    options = draw(st.permutations(_NAMES))[: draw(st.integers(1, min(most, len(_NAMES))))]
    field: dict[str, Any] = {"kind": "choice", "options": options}
    if draw(st.booleans()):
        field["usual"] = draw(st.sampled_from(options))
    if draw(st.booleans()):
        field["warn"] = [draw(st.sampled_from(options))]
    return field


@st.composite
def flags(draw: Any, most: int) -> dict[str, Any]:
    names = ["rain", "damage", "pit now"][
        : draw(st.integers(1, max(1, min(3, most.bit_length() - 1))))
    ]
    field: dict[str, Any] = {"kind": "flags", "flags": names}
    if draw(st.booleans()):
        field["usual"] = draw(st.lists(st.sampled_from(names), unique=True))
    if draw(st.booleans()):
        field["warn"] = [names[0]]
    return field


@st.composite
def wrapped(draw: Any, most: int) -> dict[str, Any]:
    step, levels = draw(st.sampled_from(_STEPS)), draw(st.integers(1, most))
    field: dict[str, Any] = {"kind": "wrapped", "modulus": step * levels, "step": step}
    if draw(st.booleans()):
        field["usual"] = step * draw(st.integers(0, levels - 1))
    return field


def fields(most: int = 5) -> st.SearchStrategy[dict[str, Any]]:
    """Draw a field of any kind with few levels."""
    return st.one_of(quantities(most), bands(most), choices(most), flags(most), wrapped(most))
