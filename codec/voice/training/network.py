"""The acoustic model: convolutions that take four frames of 10 ms to one of 40 ms, then Conformer
blocks (A. Gulati et al., "Conformer: convolution-augmented transformer for speech recognition",
2020; no position code), then one class for each frame, for connectionist temporal classification
(A. Graves et al. 2006).

Training has two outputs more, which the exported model drops: phones at 20 ms, and the class of
each frame where joined words tell it; both are read off two thirds up.
"""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional

MELS = 48


class FeedForward(nn.Module):
    """Two linear layers, the wide one in between."""

    def __init__(self, width: int, times: int, drop: float) -> None:
        super().__init__()
        self.norm = nn.LayerNorm(width)
        self.wide = nn.Linear(width, width * times)
        self.narrow = nn.Linear(width * times, width)
        self.drop = nn.Dropout(drop)

    def forward(self, x: Tensor) -> Tensor:
        """(batch, time, width) to the same."""
        return self.drop(self.narrow(self.drop(functional.silu(self.wide(self.norm(x))))))


class Attention(nn.Module):
    """Every frame looks at every other."""

    def __init__(self, width: int, heads: int, drop: float) -> None:
        super().__init__()
        self.norm, self.heads = nn.LayerNorm(width), heads
        self.asked = nn.Linear(width, 3 * width)
        self.out = nn.Linear(width, width)
        self.drop = nn.Dropout(drop)

    def forward(self, x: Tensor, mask: Tensor | None) -> Tensor:
        """(batch, time, width) to the same."""
        batch, time, width = x.shape
        parts = self.asked(self.norm(x)).view(batch, time, 3, self.heads, width // self.heads)
        query, key, value = parts.permute(2, 0, 3, 1, 4)
        found = functional.scaled_dot_product_attention(query, key, value, attn_mask=mask)
        return self.drop(self.out(found.transpose(1, 2).reshape(batch, time, width)))


class Convolution(nn.Module):
    """Every frame looks at its neighbours, channel by channel."""

    def __init__(self, width: int, kernel: int, drop: float) -> None:
        super().__init__()
        self.norm = nn.LayerNorm(width)
        self.gated = nn.Linear(width, 2 * width)
        self.along = nn.Conv1d(width, width, kernel, padding=kernel // 2, groups=width)
        self.inner_norm = nn.LayerNorm(width)
        self.out = nn.Linear(width, width)
        self.drop = nn.Dropout(drop)

    def forward(self, x: Tensor, keep: Tensor | None) -> Tensor:
        """(batch, time, width) to the same."""
        x = functional.glu(self.gated(self.norm(x)), -1)
        if keep is not None:
            x = x * keep
        x = self.along(x.transpose(1, 2)).transpose(1, 2)
        return self.drop(self.out(functional.silu(self.inner_norm(x))))


class ConformerBlock(nn.Module):
    """A Conformer block."""

    def __init__(self, width: int, heads: int, kernel: int, drop: float) -> None:
        super().__init__()
        self.first = FeedForward(width, 4, drop)
        self.attention = Attention(width, heads, drop)
        self.convolution = Convolution(width, kernel, drop)
        self.second = FeedForward(width, 4, drop)
        self.norm = nn.LayerNorm(width)

    def forward(self, x: Tensor, mask: Tensor | None, keep: Tensor | None) -> Tensor:
        """(batch, time, width) to the same."""
        x = x + 0.5 * self.first(x)
        x = x + self.attention(x, mask)
        x = x + self.convolution(x, keep)
        x = x + 0.5 * self.second(x)
        return self.norm(x)


class AcousticNetwork(nn.Module):
    """Log-mel features to the logits of classes."""

    def __init__(
        self, classes: int, phones: int, width: int = 176, depth: int = 8, drop: float = 0.1
    ) -> None:
        super().__init__()
        self.first = nn.Conv2d(1, 32, 3, 2, 1)
        self.second = nn.Conv2d(32, 32, 3, 2, 1)
        self.enter = nn.Linear(32 * (MELS // 4), width)
        self.norm, self.drop = nn.LayerNorm(width), nn.Dropout(drop)
        self.blocks = nn.ModuleList([ConformerBlock(width, 4, 15, drop) for _ in range(depth)])
        self.word = nn.Linear(width, classes)
        self.phone = nn.Linear(width, 2 * phones)
        self.frame = nn.Linear(width, classes)
        self.phones, self.inner = phones, depth * 2 // 3

    def _entered(self, features: Tensor) -> Tensor:
        x = functional.silu(self.first(features.transpose(1, 2)[:, None]))
        x = functional.silu(self.second(x))
        batch, channels, time, mels = x.shape
        x = x.permute(0, 2, 1, 3).reshape(batch, time, channels * mels)
        return self.drop(self.norm(self.enter(x)))

    def forward(self, features: Tensor) -> Tensor:
        """Features (batch, mels, frames) to logits (batch, frames / 4, classes)."""
        x = self._entered(features)
        for block in self.blocks:
            x = block(x, None, None)
        return self.word(x)

    def trained(self, features: Tensor, frames: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """Return the logits of classes, of phones, the lengths in 40 ms, and the logits of each
        frame's class; ``frames`` is how many frames of each are meant.
        """
        x = self._entered(features)
        batch, time, _ = x.shape
        lengths = ((frames + 1) // 2 + 1) // 2
        keep = torch.arange(time, device=x.device)[None] < lengths[:, None]
        mask, inner = keep[:, None, None], x
        for number, block in enumerate(self.blocks, start=1):
            x = block(x, mask, keep[:, :, None].to(x.dtype))
            if number == self.inner:
                inner = x
        phones = self.phone(inner).reshape(batch, 2 * time, self.phones)
        return self.word(x), phones, lengths, self.frame(inner)
