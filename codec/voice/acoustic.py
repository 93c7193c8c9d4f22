"""The acoustic model that comes with the package: features to how likely each word is every 40 ms.

``acoustic.onnx`` is run as it was trained, in 8 bits; its digest is checked before it is used, and
nothing in it is code of ours. ``acoustic.json`` tells what it tells apart and what it was made
from.
"""

from __future__ import annotations

import bisect
import functools
import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from codec.voice.features import contrast, features
from grammar.errors import CodeError
from grammar.libraries import needed

if TYPE_CHECKING:
    import numpy as np

MODEL = Path(__file__).with_name("acoustic.onnx")


class AcousticModel:
    """The model, loaded once.

    ``classes`` are the words it tells apart by number: "" for none, "?" for all other talk;
    ``forms`` are all words that are said for one of them. ``temperatures`` are what logarithms of
    strings are divided by, so that it is as sure as it is right: one for each grade of noise, the
    worst first, ``grades`` the contrasts between them, in decibels.
    """

    def __init__(self, path: Path = MODEL) -> None:
        """Load a model; raises CodeError (kind "voice") where the file is not the one that was
        described, (kind "missing-library") without the extra ``voice``.
        """
        told = json.loads(path.with_suffix(".json").read_text("utf-8"))
        data = path.read_bytes()
        if hashlib.sha256(data).hexdigest() != told["sha256"]:
            raise CodeError(
                f"{path.name} is not the acoustic model it was written as",
                kind="voice",
                hint="install the package again",
            )
        self.classes: tuple[str, ...] = tuple(told["classes"])
        self.forms = frozenset(told["forms"])
        self.grades: tuple[float, ...] = tuple(told["grades"])
        self.temperatures: tuple[float, ...] = tuple(told["temperatures"])
        self._session = _session(data)

    def temperature(self, sound: np.ndarray) -> float:
        """Return the temperature of the grade of noise that a stretch of sound has."""
        return self.temperatures[bisect.bisect(self.grades, contrast(sound))]

    def log_posteriors(self, sound: np.ndarray) -> np.ndarray:
        """Return the logarithm of how likely each class is (time, class) in sound at 8 kHz."""
        import numpy as np

        logits = self._session.run(None, {"features": features(sound)[None]})[0][0]
        logits = logits.astype(np.float64)
        logits -= logits.max(axis=1, keepdims=True)
        found: np.ndarray = logits - np.log(np.exp(logits).sum(axis=1, keepdims=True))
        return found


def _session(data: bytes) -> Any:
    onnxruntime = needed("onnxruntime", "voice")
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.log_severity_level = 3
    return onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])


@functools.cache
def acoustic_model() -> AcousticModel:
    """Return the model that comes with the package."""
    return AcousticModel()
