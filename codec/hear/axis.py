"""The automaton of one hearing, made from its words.

An answer to a question covers only the part asked for. ``Part`` names it by the words at its
borders, as the procedure words do; before the first border and after the last the automaton waits.
Where the string has no such border, all of it is taken to be said again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from codec.hear.channel import Channel
from codec.hear.evidence import Axis, Heard, Part, Slot


def axis(channel: Channel, heard: Heard, longest: int) -> Axis:
    """Return the automaton of one hearing: its ways side by side.

    ``longest`` is the longest report, in symbols.
    """
    import numpy as np

    ways = _with_borders(heard)
    blocks = [_way(channel, slots, heard.part, longest) for slots in ways]
    if len(blocks) == 1:
        return blocks[0]
    scales = [sum(math.log(_top(slot)) for slot in slots) for slots in ways]
    shares = [
        math.exp(scale - max(scales)) / len(blocks) for scale in scales
    ]  # each way's words were scaled on their own
    size, symbols = sum(block.size for block in blocks), channel.vocabulary
    whole = Axis(
        np.zeros(size),
        np.zeros(size),
        np.zeros((size, symbols)),
        np.zeros((size, symbols)),
        np.zeros((size, size)),
        0.0,
    )
    low = 0
    for block, share in zip(blocks, shares, strict=True):
        here = slice(low, low + block.size)
        whole.start[here], whole.end[here] = block.start * share, block.end
        whole.stay[here], whole.move[here], whole.closure[here, here] = (
            block.stay,
            block.move,
            block.closure,
        )
        whole.nothing += block.nothing * share
        low += block.size
    return whole


def _top(slot: Slot) -> float:
    """Return what a slot's likelihoods are divided by, so that long reports do not vanish below the
    smallest number.
    """
    return max(float(slot.likelihood.max()), slot.stray)


def _with_borders(heard: Heard) -> list[list[Slot]]:
    """Add the ways in which the answer repeats the words at its borders as well."""
    ways = list(heard.ways)
    if heard.part.after:
        ways += [way[1:] for way in ways if len(way) > 1 and way[0].symbol == heard.part.after]
    if heard.part.before:
        ways += [way[:-1] for way in ways if len(way) > 1 and way[-1].symbol == heard.part.before]
    return ways


def _way(channel: Channel, slots: Sequence[Slot], part: Part, longest: int) -> Axis:
    """Return the automaton of one way: [wait for `after`] words [wait after `before`], and [all of
    it, where there is no `after`].
    """
    import numpy as np

    count, symbols = len(slots), channel.vocabulary
    scale = [_top(slot) for slot in slots]
    passed = np.array(
        [channel.insertion * slot.stray / top for slot, top in zip(slots, scale, strict=True)]
    )
    heard = np.array(
        [slot.likelihood / top for slot, top in zip(slots, scale, strict=True)]
    ).reshape(count, symbols)
    stay, move = np.full((count + 1, symbols), channel.deletion), np.zeros((count + 1, symbols))
    move[:count] = (1 - channel.deletion) * heard
    closure = np.zeros((count + 1, count + 1))
    for place in range(count + 1):
        closure[place, place:] = (1 - channel.insertion) * np.concatenate(
            [[1.0], np.cumprod(passed[place:])]
        )
    stray = float(np.prod([slot.stray / top for slot, top in zip(slots, scale, strict=True)])) / (
        2 * longest
    )
    start, end = np.zeros(count + 1), np.zeros(count + 1)
    start[0] = end[count] = 1.0
    if not part.after and not part.before:
        return Axis(start, end, stay[:, :1], move, closure, stray)
    return _bordered(channel, part, Axis(start, end, stay, move, closure, stray))


def _bordered(channel: Channel, part: Part, words: Axis) -> Axis:
    """Return the automaton that waits outside the part."""
    import numpy as np

    index, symbols, count = channel.alphabet.index, channel.vocabulary, words.size
    blocks: list[Axis] = []
    wait, go = np.ones((1, symbols)), np.zeros((1, symbols))
    if part.after:
        wait[0, index[part.after]], go[0, index[part.after]] = 0.0, 1.0
        blocks.append(Axis(np.ones(1), np.zeros(1), wait, go, np.ones((1, 1)), 0.0))
    stay, move = words.stay.copy(), words.move.copy()
    if part.before:
        border = index[part.before]
        stay[:, border] = move[:, border] = 0.0
        move[count - 1, border] = 1.0
    blocks.append(
        Axis(
            np.zeros(count) if part.after else words.start,
            words.end,
            stay,
            move,
            words.closure,
            0.0,
        )
    )
    if part.before:
        blocks.append(
            Axis(
                np.zeros(1),
                np.ones(1),
                np.ones((1, symbols)),
                np.zeros((1, symbols)),
                np.ones((1, 1)),
                0.0,
            )
        )
    if part.after:
        stay, move = words.stay.copy(), words.move.copy()
        stay[:, index[part.after]] = move[:, index[part.after]] = 0.0
        blocks.append(Axis(words.start, words.end, stay, move, words.closure, 0.0))
    size = sum(block.size for block in blocks)
    closure, low = np.zeros((size, size)), 0
    for block in blocks:
        closure[low : low + block.size, low : low + block.size] = block.closure
        low += block.size
    return Axis(
        np.concatenate([block.start for block in blocks]),
        np.concatenate([block.end for block in blocks]),
        np.concatenate([block.stay for block in blocks]),
        np.concatenate([block.move for block in blocks]),
        closure,
        words.nothing,
    )
