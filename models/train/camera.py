"""From rendered radiance to what a phone writes: exposure, tone, noise, blur, compression. Runs in torch."""

from __future__ import annotations

import math

import torch
import torch.nn.functional as nn


def gauss(x, sigma):
    """Blur (n, 3, h, w) by one sigma per picture."""
    r = max(1, int(math.ceil(float(sigma.max()) * 2.5)))
    t = torch.arange(-r, r + 1, device=x.device, dtype=x.dtype)
    k = torch.exp(-0.5 * (t[None] / sigma[:, None].clamp(min=0.05)) ** 2)
    k = k / k.sum(1, keepdim=True)
    n, c, h, w = x.shape
    y = x.reshape(1, n * c, h, w)
    kk = k.repeat_interleave(c, 0)
    y = nn.conv2d(nn.pad(y, (r, r, 0, 0), mode="replicate"), kk[:, None, None, :], groups=n * c)
    y = nn.conv2d(nn.pad(y, (0, 0, r, r), mode="replicate"), kk[:, None, :, None], groups=n * c)
    return y.reshape(n, c, h, w)


def motion(x, length, angle):
    n, c, h, w = x.shape
    r = 7
    t = torch.arange(-r, r + 1, device=x.device, dtype=x.dtype)
    yy, xx = torch.meshgrid(t, t, indexing="ij")
    a = xx[None] * torch.cos(angle)[:, None, None] + yy[None] * torch.sin(angle)[:, None, None]
    b = -xx[None] * torch.sin(angle)[:, None, None] + yy[None] * torch.cos(angle)[:, None, None]
    k = torch.exp(-(b**2) * 1.2) * torch.sigmoid((length[:, None, None] / 2 - a.abs()) * 3)
    k = k / k.sum((1, 2), keepdim=True)
    y = nn.conv2d(
        nn.pad(x.reshape(1, n * c, h, w), (r,) * 4, mode="replicate"),
        k.repeat_interleave(c, 0)[:, None],
        groups=n * c,
    )
    return y.reshape(n, c, h, w)


_dct = None


def jpeg(x, q):
    """Quantise 8x8 blocks as JPEG does; x (n, 3, h, w) in 0..1, h and w multiples of 16, q per picture (step factor)."""
    global _dct
    if _dct is None or _dct.device != x.device:
        k = torch.arange(8, dtype=torch.float32)
        m = torch.cos((2 * k[None] + 1) * k[:, None] * math.pi / 16) * 0.5
        m[0] *= 1 / math.sqrt(2)
        _dct = m.to(x.device)
    Q = (
        torch.tensor(
            [
                [16, 11, 10, 16, 24, 40, 51, 61],
                [12, 12, 14, 19, 26, 58, 60, 55],
                [14, 13, 16, 24, 40, 57, 69, 56],
                [14, 17, 22, 29, 51, 87, 80, 62],
                [18, 22, 37, 56, 68, 109, 103, 77],
                [24, 35, 55, 64, 81, 104, 113, 92],
                [49, 64, 78, 87, 103, 121, 120, 101],
                [72, 92, 95, 98, 112, 100, 103, 99],
            ],
            device=x.device,
            dtype=torch.float32,
        )
        / 255
    )
    r, g, b = x[:, 0], x[:, 1], x[:, 2]
    y = 0.299 * r + 0.587 * g + 0.114 * b
    cb, cr = (b - y) * 0.564, (r - y) * 0.713

    def block(c, scale):
        n, h, w = c.shape
        t = c.reshape(n, h // 8, 8, w // 8, 8).permute(0, 1, 3, 2, 4)
        d = _dct @ t @ _dct.T
        s = (Q * scale[:, None, None])[:, None, None]
        d = torch.round(d / s) * s
        t = _dct.T @ d @ _dct
        return t.permute(0, 1, 3, 2, 4).reshape(n, h, w)

    y = block(y - 0.5, q) + 0.5
    half = lambda c: nn.avg_pool2d(c[:, None], 2)[:, 0]
    up = lambda c: nn.interpolate(c[:, None], scale_factor=2, mode="bilinear")[:, 0]
    cb, cr = up(block(half(cb), q * 1.3)), up(block(half(cr), q * 1.3))
    return torch.stack([y + 1.403 * cr, y - 0.344 * cb - 0.714 * cr, y + 1.773 * cb], 1).clamp(0, 1)


def develop(rad, g: torch.Generator, hard: float = 0.2, px_cell: float = 100.0, burnt: float = 0.0):
    """(n, h, w, 3) radiance to (n, 3, h, w) sRGB in 0..1, as a phone in a hand would write it.

    px_cell: how many pixels one cell takes, so that blur stays in proportion to the print.
    burnt: how often a picture is exposed for something darker than the board.
    """
    n = rad.shape[0]
    dev = rad.device
    u = lambda a, b: torch.rand(n, generator=g, device=dev) * (b - a) + a
    x = rad.permute(0, 3, 1, 2).float()
    hardm = (u(0, 1) < hard).float()
    # exposure by the picture's own brightness, with error
    lum = (0.21 * x[:, 0] + 0.72 * x[:, 1] + 0.07 * x[:, 2]).flatten(1)
    sub = lum[:, :: max(1, lum.shape[1] // 4096)]
    key = (torch.quantile(sub, 0.5, dim=1) + torch.quantile(sub, 0.93, dim=1) * 0.5).clamp(min=1e-4)
    ev = torch.exp2(u(-1.0, 1.0) + hardm * u(-2.2, 1.7) + (u(0, 1) < burnt).float() * u(0.5, 2.6))
    x = x * (0.5 / key * ev)[:, None, None, None]
    wb = torch.stack([torch.exp(u(-0.15, 0.15)), torch.ones(n, device=dev), torch.exp(u(-0.2, 0.2))], 1)
    x = x * wb[:, :, None, None]
    # veiling glare
    x = x + (u(0, 0.02) + hardm * (u(0, 1) < 0.3).float() * u(0, 0.35))[:, None, None, None]
    # optics
    k = px_cell / 100.0
    x = gauss(
        x,
        u(0.2, 0.8) * k
        + (u(0, 1) < 0.25).float() * u(0, 1.4) * k
        + hardm * (u(0, 1) < 0.5).float() * u(0, 3.0) * k,
    )
    m = (u(0, 1) < 0.12 + 0.3 * hardm).float()
    length, angle = 1 + m * u(0, 9) * min(1.0, k), u(0, math.pi)
    moved = torch.nonzero(m)[:, 0]
    if len(moved):
        x[moved] = motion(x[moved], length[moved], angle[moved])
    # shot and read noise
    a = torch.exp(u(-9.5, -5.6)) * (1 + 3 * hardm)
    x = x + torch.randn(x.shape, generator=g, device=dev) * torch.sqrt(
        a[:, None, None, None] * x.clamp(min=0) + 0.1 * a[:, None, None, None] ** 1.0 * 0.05
    )
    # tone
    x = x.clamp(min=0)
    c = u(0.0, 1.0)[:, None, None, None]
    filmic = 1 - torch.exp(-x * 1.3)
    x = x.clamp(max=1) * c + filmic * (1 - c)
    x = torch.where(x < 0.0031308, x * 12.92, 1.055 * x.clamp(min=1e-6) ** (1 / 2.4) - 0.055)
    con = u(0.8, 1.3)[:, None, None, None]
    x = (x - 0.5) * con + 0.5 + u(-0.05, 0.05)[:, None, None, None]
    sat = u(0.5, 1.35)[:, None, None, None]
    grey = x.mean(1, keepdim=True)
    x = (grey + (x - grey) * sat).clamp(0, 1)
    s = u(0, 1)
    sharp = (s < 0.6).float() * u(0, 1.2)
    x = (x + (x - gauss(x, torch.full((n,), 1.0, device=dev))) * sharp[:, None, None, None]).clamp(0, 1)
    return jpeg(x, torch.exp(u(-3.0, -0.1)))
