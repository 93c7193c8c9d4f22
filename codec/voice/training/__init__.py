"""Training of the acoustic model that the package ships; no part of the wheel.

``speak`` has free synthetic voices say reports, word lists and chatter; ``train`` fits the network
to that speech in simulated radio, on an accelerator; ``export`` writes the model with its digest,
``between`` the model a part of the way from one to another, and ``calibrate`` how sure it may be,
by the grade of noise.
Each is a command (``--help``). What is said is declared in ``words.toml``, by whom in
``voices.toml``, with the licences. It needs torch, onnx, scipy and soundfile; of Debian espeak-ng,
flite and wamerican-small; the neural voices from the packages that ``voices.toml`` names, their
models put side by side in a folder.

The model of this version was made by these steps, M being ``python -m codec.voice.training``:

    M.speak plan espeak --seed 2 --voices 150 --kinds list,report,chatter,report,list,mixture
    M.speak plan espeak --seed 3 and --seed 4 --voices 250, and the same kinds
    M.speak plan flite  --seed 2 --voices 16, and 18 kinds of sentences
    M.speak plan piper  --seed 2 --voices 8, and the same 18
    M.speak plan kokoro --seed 2 --voices 560, and the six kinds of espeak; parted among shards
    M.speak render, of each; of Kokoro's a part while training went on
    M.vocabulary > phones.json
    M.train speech --start acoustic.onnx --rate 1e-3 --warm 300 --steps 17000 --until 1600 5400
    M.train speech --start weights.pt --rate 1.1e-3 --warm 150 --steps 7600 --until 500 1500 2700 …
    M.train speech --start weights.pt --rate 7e-4 --warm 60
    M.export weights.pt training.json first.onnx --before 20400
    M.speak plan espeak --seed 12 and --seed 13 --voices 300, and its six kinds
    M.speak plan flite  --seed 12 --voices 24, piper --seed 12 --voices 8, and 18 kinds
    M.speak plan kokoro --seed 12 --voices 560, of which 133 sentences were said, each fourth one
    M.train speech --start first.onnx --compile --batch 512 --rate 1.3e-3 --warm 200 --ramp 0.001
        --seed 5 --steps 9600
    M.export weights.pt training.json second.onnx --before 21800
    M.between first.onnx second.onnx acoustic.onnx --share 0.3
    M.calibrate examples/race/race.toml --reports 300 --seeds 1 2 3 --write

The first began with the weights of the version before, out of their 8 bits: 11,000 steps of 256
items on 2.3 hours of speech (seed 1; 2,500 steps without Kokoro's voices, then with 601 of their
sentences). What followed, full noise from the start (``--ramp`` near 0): 5,400 steps of 256 items
(seed 2; the first 1,600 without Kokoro's voices, then with 276 of their sentences), 4,000 of two
times 256 on two accelerators (seed 3; it was cut short, and what had been written last was gone on
with), and 1,400 like these on 6.3 hours, 2,000 of their sentences Kokoro's, in which the rate fell
to nothing by the clock: 9 minutes on an accelerator, then 13 on two, after the 20 of the version
before.

The second went on from the first with 4.6 other hours and with noise as it is drawn now, often of
one kind alone; what was written at step 9,000 was taken, the rate at a sixtieth of the highest: 18
minutes on an accelerator. By itself it hears the voices of training better and all others worse.
How far to go towards it was chosen by Kokoro's voices that were held out, and by nothing that the
bench hears (`DEVELOPERS.md`). ``acoustic.json`` has the digests of that speech. Rendered anew,
neural speech differs in its last bits between processors, and sums on an accelerator have no fixed
order: a model made again is alike, not equal.

Noise of training is in ``radio``. What the bench hears besides was never trained on: its pulses,
ringing impulses, chords and talk of the same voice, and its voices. Festival's are of other makers
than flite's, but two of the people they were made from, slt and kal, are the same.
"""
