"""Write the acoustic model that the package ships: the averaged weights in 8 bits as ONNX, and
beside it what it tells apart, what it was made from, and its digest.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import tempfile
from pathlib import Path

import torch

from codec.voice.features import BANDS
from codec.voice.training.network import AcousticNetwork
from codec.voice.training.vocabulary import class_numbers, classes


def export(weights: Path, training: Path, out: Path) -> None:
    """Write ``out`` and ``out`` with the suffix .json."""
    from onnxruntime.quantization import QuantType, quantize_dynamic

    facts = json.loads(training.read_text("utf-8"))
    options = facts["options"]
    network = AcousticNetwork(
        len(classes()), facts["phones"] + 1, int(options["width"]), int(options["depth"])
    )
    state = torch.load(weights, map_location="cpu", weights_only=True)
    network.load_state_dict({name: value.float() for name, value in state.items()})
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
        "steps": facts["step"],
        "seed": int(options["seed"]),
        "weights": sum(one.numel() for one in network.parameters()),
        "hours": facts["hours"],
        "speech": facts["speech"],
        "grades": [],
        "temperatures": [1.0],  # until ``calibrate`` has fitted them
    }
    out.with_suffix(".json").write_text(json.dumps(told, indent=1) + "\n", "utf-8")


def main() -> None:
    """Export, as the command line says."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", type=Path)
    parser.add_argument("training", type=Path, help="the training.json beside it")
    parser.add_argument("out", type=Path)
    given = parser.parse_args()
    export(given.weights, given.training, given.out)


if __name__ == "__main__":
    main()
