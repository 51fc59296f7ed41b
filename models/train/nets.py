"""The networks of photo reading: locate, classify, read text, find leads, walk along them. Small, plain convolutions."""

from __future__ import annotations

from pathlib import Path

import torch
import torch.nn.functional as F
from labels import CHARS
from torch import nn

N_KIND = 33  # 31 kinds, other, empty
TEXT_LEN = 18
N_CHAR = len(CHARS) + 1  # 0 ends the text


def conv(i, o, s=1, k=3, g=1):
    return nn.Sequential(
        nn.Conv2d(i, o, k, s, k // 2, groups=g, bias=False), nn.BatchNorm2d(o), nn.ReLU(inplace=True)
    )


class Block(nn.Module):
    def __init__(self, i, o, s=1):
        super().__init__()
        self.a, self.b = conv(i, o, s), nn.Sequential(nn.Conv2d(o, o, 3, 1, 1, bias=False), nn.BatchNorm2d(o))
        self.skip = (
            nn.Sequential()
            if i == o and s == 1
            else nn.Sequential(nn.Conv2d(i, o, 1, s, bias=False), nn.BatchNorm2d(o))
        )

    def forward(self, x):
        return F.relu(self.b(self.a(x)) + self.skip(x))


class Unet(nn.Module):
    """Picture in, maps at a quarter (or half) of its size out; sees far through a coarse bottom."""

    def __init__(self, cin, cout, w=(16, 32, 48, 96, 128), half=False, deep=2):
        super().__init__()
        self.half = half
        self.stem = conv(cin, w[0], 2)
        self.d1, self.d2, self.d3, self.d4 = (
            Block(w[0], w[1], 2),
            Block(w[1], w[2], 2),
            Block(w[2], w[3], 2),
            Block(w[3], w[4], 2),
        )
        self.bottom = nn.Sequential(*[Block(w[4], w[4]) for _ in range(deep)])
        self.u3, self.u2, self.u1 = conv(w[4] + w[3], w[3]), conv(w[3] + w[2], w[2]), conv(w[2] + w[1], w[1])
        if half:
            self.u0 = conv(w[1] + w[0], w[0] * 2)
        self.head = nn.Conv2d(w[0] * 2 if half else w[1], cout, 1)
        nn.init.constant_(self.head.bias, -2.0)

    def features(self, x):
        up = lambda t, s: F.interpolate(t, size=s.shape[-2:], mode="nearest")
        a = self.stem(x)
        b = self.d1(a)
        c = self.d2(b)
        d = self.d3(c)
        e = self.bottom(self.d4(d))
        d = self.u3(torch.cat([up(e, d), d], 1))
        c = self.u2(torch.cat([up(d, c), c], 1))
        b = self.u1(torch.cat([up(c, b), b], 1))
        return self.u0(torch.cat([up(b, a), a], 1)) if self.half else b

    def forward(self, x):
        return self.head(self.features(x))


class Locate(Unet):
    """(n, 3, h, w) in 0..1 to (n, 8, h/4, w/4): top centre, plate corner, plate (logits); steps to the right and lower
    neighbour (4, in units of 32 pixels); middle of a loose cube (logit)."""

    def __init__(self):
        super().__init__(3, 8, (16, 32, 48, 96, 160))


KEYS = 16


class Wires(Unet):
    """Leads on a board seen straight, (n, 3, h, w): maps at half its size, and what one plug's lead is.

    `forward` gives lead (logit), its direction as cos 2a and sin 2a, plug (logit): (n, 4, h/2, w/2). `asked` is told
    of plugs, m a board, as blobs (n, m, h/2, w/2), and says for each where its lead runs and where the other end is
    plugged in (at itself where there is none): logits (n, m, 2, h/2, w/2). The question is put as a map that says how
    much every place looks like the plug: products of features, as in an attention of one head a feature.
    """

    def __init__(self, w=(16, 32, 48, 64, 96)):
        super().__init__(3, 4, (16, 32, 48, 80, 128), half=True, deep=2)
        self.key = nn.Conv2d(32, KEYS, 1)
        self.seen, self.told = nn.Conv2d(32, w[0], 3, padding=1), nn.Conv2d(KEYS + 1, w[0], 3, padding=1)
        self.first = nn.Sequential(nn.BatchNorm2d(w[0]), nn.ReLU(), conv(w[0], w[0]))
        self.f1, self.f2, self.f3 = Block(w[0], w[1], 2), Block(w[1], w[2], 2), Block(w[2], w[3], 2)
        self.f4 = nn.Sequential(Block(w[3], w[4], 2), Block(w[4], w[4]), Block(w[4], w[4]))
        self.g3, self.g2 = conv(w[4] + w[3], w[3]), conv(w[3] + w[2], w[2])
        self.g1, self.g0 = conv(w[2] + w[1], w[1]), conv(w[1] + w[0], w[0])
        self.last = nn.Conv2d(w[0], 2, 1)

    def looked(self, f):
        """What questions are put to: every place's features as a direction (n, KEYS, h, w), and what is seen there."""
        return F.normalize(self.key(f).float(), dim=1) * KEYS**0.5, self.seen(f)

    def same(self, k, blobs):
        """(n, m, KEYS, h, w): products of every place's features with a plug's."""
        plug = torch.bmm(blobs.flatten(2), k.flatten(2).transpose(1, 2))  # (n, m, KEYS)
        plug = F.normalize(plug, dim=2) * KEYS**0.5
        return k[:, None] * plug[..., None, None]

    def asked(self, f, blobs):
        return self.answered(*self.looked(f), blobs)

    def answered(self, k, seen, blobs):
        n, m, h, w = blobs.shape
        q = torch.cat([self.same(k, blobs), blobs[:, :, None]], 2).flatten(0, 1).to(seen.dtype)
        told = self.told(q.contiguous(memory_format=torch.channels_last) if self.training else q)
        x = told + (seen.repeat_interleave(m, 0) if n > 1 else seen)
        up = lambda t, s: torch.cat([F.interpolate(t, size=s.shape[-2:], mode="nearest"), s], 1)
        a = self.first(x)
        b = self.f1(a)
        c = self.f2(b)
        d = self.f3(c)
        e = self.f4(d)
        return self.last(self.g0(up(self.g1(up(self.g2(up(self.g3(up(e, d)), c)), b)), a))).unflatten(
            0, (n, m)
        )


class Symbols(nn.Module):
    """(n, 3, 72, 72) crops of 1.2 cells to logits: kind (33), turn (4), tap on N E S W (4), text there (1), the text's box
    (centre x, y, width, height in crop widths), that it has two lines (1); and that a cube lies loose there (1)."""

    def __init__(self, w=(24, 48, 96, 192)):
        super().__init__()
        self.body = nn.Sequential(
            conv(3, w[0], 2),
            Block(w[0], w[1], 2),
            Block(w[1], w[1]),
            Block(w[1], w[2], 2),
            Block(w[2], w[2]),
            Block(w[2], w[3], 2),
            Block(w[3], w[3]),
        )
        self.mix = nn.Sequential(nn.Flatten(), nn.Dropout(0.1), nn.Linear(w[3] * 25, 256), nn.ReLU())
        self.head = nn.Linear(256, N_KIND + 15)

    def forward(self, x):
        return self.head(self.mix(self.body(x)))


LINE_H, LINE_W = 32, 160


class Text(nn.Module):
    """(n, 3, 32, 160) one line of print, padded on the right, to (n, 40, chars) logits for connectionist temporal
    classification (Graves et al. 2006); character 0 is the blank."""

    def __init__(self, w=(32, 64, 96, 128)):
        super().__init__()
        self.body = nn.Sequential(
            conv(3, w[0], 2),
            Block(w[0], w[1], 2),
            Block(w[1], w[1]),
            Block(w[1], w[2], (2, 1)),
            Block(w[2], w[2]),
            Block(w[2], w[3], (2, 1)),
        )
        self.line = nn.Sequential(
            nn.Conv1d(w[3] * 2, 160, 5, padding=2),
            nn.ReLU(),
            nn.Dropout(0.1),
            nn.Conv1d(160, 160, 5, padding=2),
            nn.ReLU(),
            nn.Conv1d(160, N_CHAR, 1),
        )

    def forward(self, x):
        f = self.body(x)
        return self.line(f.flatten(1, 2)).transpose(1, 2)


class Points(nn.Module):
    """(n, 3, LINE_H, LINE_W), pixels from 0 to 1, to (n, LINE_W / 4) logits of a point in each frame."""

    def __init__(self) -> None:
        super().__init__()
        self.body = nn.Sequential(conv(3, 16), conv(16, 24, 2), conv(24, 32), conv(32, 48, 2), conv(48, 48))
        self.head = nn.Sequential(
            nn.Conv2d(48, 64, (8, 3), padding=(0, 1)), nn.LeakyReLU(0.2), nn.Conv2d(64, 1, 1)
        )

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        x = x - x.mean((1, 2, 3), keepdim=True)
        x = x / ((x * x).mean((1, 2, 3), keepdim=True).sqrt() + 0.02)  # whatever colours and light
        return self.head(self.body(x))[:, 0, 0]


def keep_state(state: dict[str, torch.Tensor], folder: Path, name: str) -> None:
    """Write a checkpoint, in 16-bit floats; what was there before stays until it is whole."""
    folder.mkdir(parents=True, exist_ok=True)
    halves = {k: (v.half() if v.dtype.is_floating_point else v) for k, v in state.items()}
    torch.save(halves, folder / f"{name}.part")
    (folder / f"{name}.part").rename(folder / f"{name}.pt")


def encode(text: str) -> list[int]:
    """Letters as numbers, 0 after the end."""
    t = [CHARS.index(c) + 1 for c in text if c in CHARS][:TEXT_LEN]
    return t + [0] * (TEXT_LEN - len(t))


def encode_lines(text: str) -> list[list[int]]:
    """The two lines of a print, the second empty where there is one."""
    lines = text.split("\n")[:2]
    return [encode(line) for line in (*lines, "")[:2]]


def decode(ids) -> str:
    """Best path: repeats folded, blanks dropped."""
    out, last = "", 0
    for i in ids:
        i = int(i)
        if i and i != last:
            out += CHARS[i - 1]
        last = i
    return out


class Walk(nn.Module):
    """(n, 5, 56, 56) views of 1.4 cells along a lead, ahead up: picture, the way come, sockets; to (n, 38) logits: the next
    step's angle in 36 bins clockwise from ahead, that the lead ends within a step, that the way is not on a lead."""

    def __init__(self, w=(24, 40, 64, 96)):
        super().__init__()
        self.body = nn.Sequential(
            conv(5, w[0], 2), Block(w[0], w[1], 2), Block(w[1], w[2], 2), Block(w[2], w[2]), conv(w[2], w[3])
        )
        self.mix = nn.Sequential(nn.Flatten(), nn.Dropout(0.1), nn.Linear(w[3] * 49, 192), nn.ReLU())
        self.head = nn.Linear(192, 38)

    def forward(self, x):
        return self.head(self.mix(self.body(x)))


NETS = {"locate": Locate, "symbols": Symbols, "text": Text, "wires": Wires, "walk": Walk}
