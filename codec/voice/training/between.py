"""Write the model between two: what one learnt last, taken in part, often hears more in voices and
noise of no training than either (M. Wortsman et al., "Robust fine-tuning of zero-shot models",
2022), if the second was trained on from the first.

    python -m codec.voice.training.between FIRST.onnx SECOND.onnx --share 0.3 OUT.onnx

The weights of OUT are those of the first and a share of the way to those of the second, in 8 bits
again; the rest of its description is the second's.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import onnx
from onnx.numpy_helper import from_array, to_array

_WEIGHTS, _SCALE, _ZERO = "_quantized", "_scale", "_zero_point"
_MOST = 127  # of 8 bits with a sign, alike on both sides


def weights_of(values: Mapping[str, np.ndarray], stem: str) -> np.ndarray:
    """Return the weights that 8 bits stand for; of a matrix each column may have its own scale."""
    weights, zero, scale = (values[stem + end] for end in (_WEIGHTS, _ZERO, _SCALE))
    found: np.ndarray = (weights.astype(np.float32) - zero.astype(np.float32)) * scale
    return found


def between(first: Path, second: Path, share: float, out: Path) -> None:
    """Write ``out`` and ``out`` with the suffix .json; raises ValueError where the two models have
    not the same parts.
    """
    models = [onnx.load(path) for path in (first, second)]
    parts = {each.name: each for each in models[0].graph.initializer}
    one, two = ({each.name: to_array(each) for each in model.graph.initializer} for model in models)
    if one.keys() != two.keys():
        raise ValueError(f"{first} and {second} are not of one shape")
    taken = set[str]()
    for name in [name for name in one if name.endswith(_WEIGHTS)]:
        stem = name.removesuffix(_WEIGHTS)
        if one[stem + _ZERO].any():
            raise ValueError(f"{stem} is not alike on both sides of nought")
        weights, scale = weights_of(one, stem), one[stem + _SCALE]
        weights += share * (weights_of(two, stem) - weights)
        most = np.abs(weights).max(axis=0 if scale.ndim else None)
        scale = (most / _MOST).astype(np.float32).reshape(scale.shape)
        bits = np.clip(np.round(weights / scale), -_MOST, _MOST).astype(np.int8)
        parts[name].CopyFrom(from_array(bits, name))
        parts[stem + _SCALE].CopyFrom(from_array(scale, stem + _SCALE))
        taken |= {name, stem + _SCALE, stem + _ZERO}
    for name in one.keys() - taken:
        if one[name].dtype == np.float32:
            moved = one[name] + np.float32(share) * (two[name] - one[name])
            parts[name].CopyFrom(from_array(moved, name))
    data = models[0].SerializeToString()
    out.write_bytes(data)
    told = json.loads(second.with_suffix(".json").read_text("utf-8"))
    told |= {"sha256": hashlib.sha256(data).hexdigest(), "share": share}
    out.with_suffix(".json").write_text(json.dumps(told, indent=1) + "\n", "utf-8")


def main() -> None:
    """Write it, as the command line says."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("first", type=Path)
    parser.add_argument("second", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--share", type=float, default=0.3)
    given = parser.parse_args()
    between(given.first, given.second, given.share, given.out)


if __name__ == "__main__":
    main()
