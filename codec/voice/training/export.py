"""Write the acoustic model that the package ships: the averaged weights in 8 bits as ONNX, and
beside it what it tells apart, what it was made from, and its digest.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import tempfile
from pathlib import Path

import numpy as np
import torch

from codec.voice.features import BANDS
from codec.voice.training.between import weights_of
from codec.voice.training.network import AcousticNetwork
from codec.voice.training.vocabulary import class_numbers, classes


def export(weights: Path, training: Path, out: Path, before: int = 0) -> None:
    """Write ``out`` and ``out`` with the suffix .json; ``before`` is how many steps led to the
    weights that training began with.
    """
    from onnxruntime.quantization import QuantType, quantize_dynamic

    facts = json.loads(training.read_text("utf-8"))
    options = facts["options"]
    network = AcousticNetwork(
        len(classes()), facts["phones"] + 1, int(options["width"]), int(options["depth"])
    )
    network.load_state_dict(begun(weights))
    network.eval()
    with tempfile.TemporaryDirectory() as folder:
        whole = Path(folder) / "whole.onnx"
        torch.onnx.export(
            network,
            (torch.zeros(1, BANDS, 400),),
            str(whole),
            input_names=["features"],
            output_names=["logits"],
            dynamic_axes={"features": {2: "frames"}, "logits": {1: "times"}},
            opset_version=17,
            dynamo=False,
        )
        quantize_dynamic(whole, out, weight_type=QuantType.QInt8, per_channel=True)
    told = {
        "sha256": hashlib.sha256(out.read_bytes()).hexdigest(),
        "classes": list(classes()),
        "forms": class_numbers(),
        "steps": before + facts["step"],
        "seed": int(options["seed"]),
        "weights": sum(one.numel() for one in network.parameters()),
        "hours": facts["hours"],
        "speech": _by_synthesiser(facts["speech"]),
        "grades": [],
        "temperatures": [1.0],  # until ``calibrate`` has fitted them
    }
    out.with_suffix(".json").write_text(json.dumps(told, indent=1) + "\n", "utf-8")


def _by_synthesiser(digests: dict[str, str]) -> dict[str, str]:
    """Return one digest for each synthesiser's shards, of their digests in order."""
    found: dict[str, list[str]] = {}
    for name, digest in sorted(digests.items()):
        found.setdefault(name.split("-")[0], []).append(digest)
    return {
        name: hashlib.sha256(" ".join(some).encode()).hexdigest() for name, some in found.items()
    }


def dequantised(model: Path) -> dict[str, torch.Tensor]:
    """Return the weights that a model written by ``export`` holds, for another to begin with."""
    import onnx
    from onnx.numpy_helper import to_array

    graph = onnx.load(model).graph
    values = {one.name: to_array(one) for one in graph.initializer}
    taking = {name: node for node in reversed(graph.node) for name in node.input}
    found = {
        name: value
        for name, value in values.items()
        if name.endswith((".bias", "norm.weight")) and not name.startswith(("/", "onnx::"))
    }
    for name in [name for name in values if name.endswith("_quantized")]:
        stem = name.removesuffix("_quantized")
        weights = weights_of(values, stem)
        if stem.endswith(".weight"):
            found[stem] = weights
            continue
        node = taking[name]  # a matrix is named by what is added to its product
        while not (bias := [one for one in node.input if one.endswith(".bias")]):
            node = taking[node.output[0]]
        found[bias[0].removesuffix("bias") + "weight"] = weights.T
    return {name: torch.from_numpy(np.array(value)) for name, value in found.items()}


def begun(path: Path) -> dict[str, torch.Tensor]:
    """Return the weights of a weights.pt, or those that a model in 8 bits holds."""
    if path.suffix == ".onnx":
        return dequantised(path)
    state: dict[str, torch.Tensor] = torch.load(path, map_location="cpu", weights_only=True)
    return {name: value.float() for name, value in state.items()}


def main() -> None:
    """Export, as the command line says."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", type=Path)
    parser.add_argument("training", type=Path, help="the training.json beside it")
    parser.add_argument("out", type=Path)
    parser.add_argument("--before", type=int, default=0, help="steps of the runs before")
    given = parser.parse_args()
    export(given.weights, given.training, given.out, given.before)


if __name__ == "__main__":
    main()
