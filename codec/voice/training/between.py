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
from pathlib import Path

import numpy as np
import onnx
from onnx.numpy_helper import from_array, to_array

_WEIGHTS, _SCALE, _ZERO = "_quantized", "_scale", "_zero_point"
_MOST = 127  # of 8 bits with a sign, alike on both sides


def _whole(values: dict[str, onnx.TensorProto], stem: str) -> tuple[np.ndarray, tuple[int, ...]]:
    """Return the weights that 8 bits stand for, and the shape their scales have among them."""
    weights, scale = (to_array(values[stem + end]) for end in (_WEIGHTS, _SCALE))
    if to_array(values[stem + _ZERO]).any():
        raise ValueError(f"{stem} is not alike on both sides of nought")
    # by channel: of a product's matrix the last axis, of a convolution the first
    axis = weights.ndim - 1 if weights.ndim == 2 else 0
    shape = tuple(-1 if place == axis and scale.size > 1 else 1 for place in range(weights.ndim))
    return weights.astype(np.float32) * scale.reshape(shape), shape


def between(first: Path, second: Path, share: float, out: Path) -> None:
    """Write ``out`` and ``out`` with the suffix .json; raises ValueError where the two models have
    not the same parts.
    """
    models = [onnx.load(path) for path in (first, second)]
    one, two = ({each.name: each for each in model.graph.initializer} for model in models)
    if one.keys() != two.keys():
        raise ValueError(f"{first} and {second} are not of one shape")
    stems = [name.removesuffix(_WEIGHTS) for name in one if name.endswith(_WEIGHTS)]
    for stem in stems:
        weights, shape = _whole(one, stem)
        weights += share * (_whole(two, stem)[0] - weights)
        over = tuple(place for place, size in enumerate(shape) if size == 1)
        scale = (np.abs(weights).max(axis=over, keepdims=True) / _MOST).astype(np.float32)
        bits = np.clip(np.round(weights / scale), -_MOST, _MOST).astype(np.int8)
        flat = scale.reshape(to_array(one[stem + _SCALE]).shape)
        one[stem + _WEIGHTS].CopyFrom(from_array(bits, stem + _WEIGHTS))
        one[stem + _SCALE].CopyFrom(from_array(flat, stem + _SCALE))
    parts = {stem + end for stem in stems for end in (_WEIGHTS, _SCALE, _ZERO)}
    for name in one.keys() - parts:
        values, other = to_array(one[name]), to_array(two[name])
        if values.dtype == np.float32:
            one[name].CopyFrom(from_array(values + np.float32(share) * (other - values), name))
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
