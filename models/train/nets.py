"""The four networks of photo reading: locate, classify, read text, follow leads. Small, plain convolutions."""

from __future__ import annotations

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

    def forward(self, x):
        up = lambda t, s: F.interpolate(t, size=s.shape[-2:], mode="nearest")
        a = self.stem(x)
        b = self.d1(a)
        c = self.d2(b)
        d = self.d3(c)
        e = self.bottom(self.d4(d))
        d = self.u3(torch.cat([up(e, d), d], 1))
        c = self.u2(torch.cat([up(d, c), c], 1))
        b = self.u1(torch.cat([up(c, b), b], 1))
        if self.half:
            b = self.u0(torch.cat([up(b, a), a], 1))
        return self.head(b)


class Locate(Unet):
    """(n, 3, h, w) in 0..1 to (n, 8, h/4, w/4): top centre, plate corner, plate (logits); steps to the right and lower
    neighbour (4, in units of 32 pixels); cube top (logit)."""

    def __init__(self):
        super().__init__(3, 8, (16, 32, 48, 96, 160))


class Wires(Unet):
    """(n, 3, h, w) board seen straight to (n, 4, h/2, w/2): lead (logit), its direction as cos 2a and sin 2a, plug (logit)."""

    def __init__(self):
        super().__init__(3, 4, (16, 32, 48, 80, 128), half=True, deep=2)


class Strips(nn.Module):
    """(m, 8, 9, 64) strips along paths between two sockets and (m, 6) facts to (m,) logits of being one lead; (n, 7, 11, 11)
    patches around sockets to (n,) logits of holding no plug. What they show: `Described` in snapcheck/photo/_wires.py."""

    def __init__(self, w=(24, 32, 48, 64)):
        super().__init__()
        self.body = nn.Sequential(
            conv(8, w[0]),
            conv(w[0], w[0], (1, 2)),
            conv(w[0], w[1]),
            conv(w[1], w[1], 2),
            conv(w[1], w[2]),
            conv(w[2], w[2], 2),
            conv(w[2], w[3]),
        )
        self.fc = nn.Sequential(nn.Linear(w[3] * 3 * 8 + 6, 96), nn.ReLU(), nn.Dropout(0.2), nn.Linear(96, 1))
        self.patch = nn.Sequential(
            conv(7, 24),
            conv(24, 32, 2),
            conv(32, 32, 2),
            nn.Flatten(),
            nn.Linear(32 * 9, 32),
            nn.ReLU(),
            nn.Linear(32, 1),
        )

    def walk(self, x, facts):
        return self.fc(torch.cat([self.body(x).flatten(1), facts], 1))[:, 0]

    def forward(self, x, facts, patches):
        # the same path walked the other way; in training one of the two, else both
        back = torch.cat([x[:, :7], -x[:, 7:]], 1).flip(3).flip(2)
        swapped = facts[:, [0, 1, 2, 4, 3, 5]]
        none = self.patch(patches)[:, 0]
        if self.training:
            return (self.walk(x, facts) if torch.rand(()) < 0.5 else self.walk(back, swapped)), none
        return (self.walk(x, facts) + self.walk(back, swapped)) / 2, none


class Symbols(nn.Module):
    """(n, 3, 72, 72) crops of 1.2 cells to logits: kind (33), turn (4), tap on N E S W (4), text there (1), and the text's box
    (centre x, y, width, height in crop widths)."""

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
        self.head = nn.Linear(256, N_KIND + 13)

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


def encode(text: str) -> list[int]:
    """Letters as numbers, 0 after the end."""
    t = [CHARS.index(c) + 1 for c in text if c in CHARS][:TEXT_LEN]
    return t + [0] * (TEXT_LEN - len(t))


def decode(ids) -> str:
    """Best path: repeats folded, blanks dropped."""
    out, last = "", 0
    for i in ids:
        i = int(i)
        if i and i != last:
            out += CHARS[i - 1]
        last = i
    return out


NETS = {"locate": Locate, "symbols": Symbols, "text": Text, "wires": Wires, "strips": Strips}
