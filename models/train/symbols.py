"""Drawings of every kind of cube, in many hands: what IEC 60617 and IEEE 315 allow, and how people vary it.

Coordinates: the cube's top is the square [-1, 1] x [-1, 1], x to the right (E), y down (S); contacts sit
in the middle of its sides. A `Hand` holds the choices one printed kit would make; `draw_kind` draws one kind.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

import cv2
import numpy as np

KINDS = [
    "straight",
    "corner",
    "tee",
    "cross",
    "crossover",
    "ground",
    "socket",
    "resistor",
    "capacitor",
    "electrolytic",
    "inductor",
    "diode",
    "zener",
    "led",
    "photoresistor",
    "thermistor",
    "potentiometer",
    "npn",
    "pnp",
    "nmos",
    "switch",
    "pushbutton",
    "lamp",
    "fuse",
    "battery",
    "supply",
    "audio-in",
    "microphone",
    "speaker",
    "buzzer",
    "meter",
]

CONTACTS = {
    "straight": "WE",
    "corner": "ES",
    "tee": "WES",
    "cross": "NESW",
    "crossover": "NESW",
    "ground": "N",
    "socket": "E",
    "potentiometer": "WES",
    "npn": "WNS",
    "pnp": "WNS",
    "nmos": "WNS",
    "audio-in": "E",
}  # all others: W and E
END = {"N": (0, -1), "E": (1, 0), "S": (0, 1), "W": (-1, 0)}
SHIFT = 4  # fractional bits of cv2's fixed-point coordinates


class Sheet:
    """Three ink layers (ink, accent, panel), supersampled; `size` is the final edge in pixels."""

    def __init__(self, size: int = 160, over: int = 3) -> None:
        self.n = size * over
        self.size = size
        self.layers = np.zeros((3, self.n, self.n), np.uint8)
        self.wobble, self.rng = 0.0, np.random.default_rng(0)

    def _px(self, points) -> np.ndarray:
        p = (np.asarray(points, np.float64) + 1) * 0.5 * self.n - 0.5
        return np.round(p * (1 << SHIFT)).astype(np.int32)

    def _by_hand(self, points, closed: bool) -> np.ndarray:
        """The way a hand goes along these points: smooth errors that grow and fade."""
        p = np.asarray(points, np.float64)
        if closed:
            p = np.vstack([p, p[:1]])
        s = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
        if s[-1] < 1e-3:
            return p
        # corners stay corners: they are among the points
        u = np.unique(np.concatenate([np.arange(0, s[-1], 0.05), s]))
        fine = np.stack([np.interp(u, s, p[:, c]) for c in (0, 1)], -1)
        knots = np.arange(-0.3, s[-1] + 0.6, 0.22)
        bent = self.rng.normal(size=(len(knots), 2)) * self.wobble
        return fine + np.stack([np.interp(u, knots, bent[:, c]) for c in (0, 1)], -1)

    def line(self, points, width: float, layer: int = 0, closed: bool = False, value: int = 255) -> None:
        if self.wobble and value:
            points, closed = self._by_hand(points, closed), False
            width *= math.exp(self.rng.normal() * 0.1)
        t = max(1, round(width * 0.5 * self.n))
        cv2.polylines(self.layers[layer], [self._px(points)], closed, value, t, cv2.LINE_AA, SHIFT)

    def fill(self, points, layer: int = 0, value: int = 255) -> None:
        cv2.fillPoly(self.layers[layer], [self._px(points)], value, cv2.LINE_AA, SHIFT)

    def arc(self, cx, cy, r, a0, a1, width, layer=0, ry=None, value=255) -> None:
        """Elliptic arc from angle a0 to a1 in degrees, clockwise as seen (0 = east, 90 = south)."""
        self.line(arc_points(cx, cy, r, a0, a1, ry), width, layer, value=value)

    def circle(self, cx, cy, r, width, layer=0, value=255) -> None:
        self.line(arc_points(cx, cy, r, 0, 360)[:-1], width, layer, closed=True, value=value)

    def disc(self, cx, cy, r, layer=0, value=255) -> None:
        self.fill(arc_points(cx, cy, r, 0, 360), layer, value)

    def array(self) -> np.ndarray:
        """(size, size, 3) uint8: coverage of ink, accent and panel."""
        return np.stack(
            [cv2.resize(x, (self.size, self.size), interpolation=cv2.INTER_AREA) for x in self.layers], -1
        )


def arc_points(cx, cy, r, a0, a1, ry=None):
    n = max(6, int(abs(a1 - a0) / 7))
    a = np.radians(np.linspace(a0, a1, n + 1))
    return np.stack([cx + r * np.cos(a), cy + (ry or r) * np.sin(a)], -1)


@dataclass
class Hand:
    """The choices of one printed kit: line width, scale, and which of the allowed drawings it uses."""

    rng: random.Random
    width: float = 0.04
    scale: float = 1.0
    wobble: float = 0.0
    choice: dict = field(default_factory=dict)

    @classmethod
    def sample(cls, rng: random.Random) -> Hand:
        width = min(0.13, max(0.022, rng.lognormvariate(math.log(0.045), 0.42)))
        wobble = rng.uniform(0.006, 0.028) if rng.random() < 0.16 else 0.0
        return cls(rng, width, rng.uniform(0.72, 1.28), wobble)

    def pick(self, name: str, *options, weights=None):
        """The kit's choice for `name`, the same each time within one kit."""
        if name not in self.choice:
            self.choice[name] = self.rng.choices(options, weights)[0]
        return self.choice[name]

    def num(self, name: str, low: float, high: float) -> float:
        if name not in self.choice:
            self.choice[name] = self.rng.uniform(low, high)
        return self.choice[name]


class Pen:
    """Draws in the symbol's own coordinates: scaled and moved by the hand, with its line width."""

    def __init__(self, sheet: Sheet, hand: Hand, scale: float, dx: float = 0.0, dy: float = 0.0) -> None:
        self.s, self.h, self.k, self.dx, self.dy = sheet, hand, scale, dx, dy
        self.w = hand.width
        self.reach = hand.num("reach", 0.9, 1.0) if hand.pick("short_reach", 0, 1, weights=(4, 1)) else 1.0

    def p(self, pts):
        return np.asarray(pts, np.float64) * self.k + (self.dx, self.dy)

    def line(self, *pts, w=1.0, layer=0, closed=False):
        self.s.line(self.p(pts), self.w * w, layer, closed)

    def fill(self, *pts, layer=0, value=255):
        self.s.fill(self.p(pts), layer, value)

    def shape(self, *pts, filled=False, w=1.0, layer=0):
        """A closed outline, filled or hollow (hollow ones are wiped inside first)."""
        self.s.fill(self.p(pts), layer, 255 if filled else 0)
        self.s.line(self.p(pts), self.w * w, layer, True)

    def arc(self, x, y, r, a0, a1, w=1.0, layer=0, ry=None):
        q = arc_points(x, y, r, a0, a1, ry)
        self.s.line(self.p(q), self.w * w, layer)

    def circle(self, x, y, r, w=1.0, layer=0, wipe=False):
        q = self.p([[x, y]])[0]
        if wipe:
            self.s.disc(q[0], q[1], r * self.k, layer, 0)
        self.s.circle(q[0], q[1], r * self.k, self.w * w, layer)

    def disc(self, x, y, r, layer=0, value=255):
        q = self.p([[x, y]])[0]
        self.s.disc(q[0], q[1], r * self.k, layer, value)

    def to_side(self, side: str, x: float, y: float):
        """Conductor from a point of the symbol to the middle of a side (straight along its axis)."""
        a = self.p([[x, y]])[0]
        e = np.array(END[side], float) * self.reach
        b = np.array([a[0], e[1]]) if side in "NS" else np.array([e[0], a[1]])
        lw = (
            self.w * self.h.num("lead_w", 0.7, 1.15)
            if self.h.pick("thin_leads", 0, 1, weights=(3, 1))
            else self.w
        )
        # the symbol may sit off the axis: a short jog brings the conductor back to the contact
        if abs(b[0] - e[0]) > 1e-6 or abs(b[1] - e[1]) > 1e-6:
            m = (a + e) / 2
            pts = [a, (a[0], m[1]), (e[0], m[1]), e] if side in "NS" else [a, (m[0], a[1]), (m[0], e[1]), e]
            self.s.line(pts, lw)
        else:
            self.s.line([a, b], lw)
        cap = self.h.pick("pads", "none", "disc", "bar", "square", weights=(7, 1.3, 0.7, 0.7))
        if cap != "none":
            r = self.h.num("pad_r", 0.05, 0.11)
            c = e * (1 - r * self.h.num("pad_in", 0.2, 1.2))
            if cap == "disc":
                self.s.disc(c[0], c[1], r)
            elif cap == "square":
                self.s.fill([c + (-r, -r), c + (r, -r), c + (r, r), c + (-r, r)])
            else:
                d = np.array([e[1], e[0]]) * r * 1.6
                self.s.line([c - d, c + d], self.w * 1.2)

    def arrow(self, x0, y0, x1, y1, size=0.13, layer=0, style=None, w=1.0, shaft=True):
        """Arrow from (x0, y0) to its tip (x1, y1)."""
        style = style or self.h.pick("arrow", "filled", "open", "slim")
        d = np.array([x1 - x0, y1 - y0], float)
        d /= max(1e-9, np.hypot(*d))
        n = np.array([-d[1], d[0]])
        tip = np.array([x1, y1])
        wide = {"filled": 0.5, "open": 0.6, "slim": 0.32}[style] * size
        back = tip - d * size
        if style == "open":
            if shaft:
                self.line((x0, y0), (x1, y1), w=w, layer=layer)
            self.line(back + n * wide, tip, back - n * wide, w=w, layer=layer)
        else:
            if shaft:
                self.line((x0, y0), back + d * size * 0.3, w=w, layer=layer)
            self.fill(tip, back + n * wide, back - n * wide, layer=layer)

    def sign(self, x, y, r, minus=False, layer=0, w=1.0):
        self.line((x - r, y), (x + r, y), layer=layer, w=w)
        if not minus:
            self.line((x, y - r), (x, y + r), layer=layer, w=w)


# --- pieces ---------------------------------------------------------------------------------


def plus_marks(p: Pen, x: float, y: float, minus_x: float | None = None, minus_y: float | None = None):
    """Plus beside the W side; its row above or below the conductor, sometimes a minus on the other side."""
    h = p.h
    layer = 1 if h.pick("accent_plus", 0, 1, weights=(2, 1)) else 0
    up = h.pick("plus_up", -1, 1, weights=(4, 1))
    r = h.num("plus_r", 0.055, 0.12)
    w = h.num("plus_w", 0.8, 1.25)
    p.sign(x, up * abs(y), r, layer=layer, w=w)
    if minus_x is not None and h.pick("minus_too", 0, 1, weights=(2, 1)):
        p.sign(minus_x, up * abs(minus_y if minus_y is not None else y), r, True, layer, w)


def body_resistor(p: Pen, name="resistor", a=0.42):
    """Resistor body lying on the x axis from -a to a; returns a."""
    h = p.h
    form = h.pick("res_form", "box", "zigzag")
    hh = h.num("res_h", 0.11, 0.2)
    if form == "box":
        a = a * h.num("res_len", 0.8, 1.25)
        p.shape((-a, -hh), (a, -hh), (a, hh), (-a, hh))
        return a, hh
    n = h.pick("zig_n", 3, 4, 3, 5, 2.5)
    a = a * h.num("zig_len", 0.8, 1.15)
    k = int(2 * n)
    amp = h.num("zig_h", 0.13, 0.24) * h.pick("zig_dir", 1, -1)
    step = 2 * a / k
    pts = [(-a, 0)]
    for i in range(k):
        pts.append((-a + (i + 0.5) * step, amp * (-1 if i % 2 == 0 else 1)))
    pts.append((a, 0))
    p.line(*pts)
    return a, abs(amp)


def body_diode(p: Pen, filled=None, a=None, hh=None, bar="plain"):
    h = p.h
    a = a or h.num("di_a", 0.16, 0.26)
    hh = hh or a * h.num("di_h", 0.85, 1.25)
    fill = h.pick("di_fill", 0, 1, "through", weights=(4, 5, 2)) if filled is None else filled
    if fill == "through":
        p.shape((-a, -hh), (-a, hh), (a, 0), filled=False)
        p.line((-a, 0), (a, 0))
    else:
        p.shape((-a, -hh), (-a, hh), (a, 0), filled=bool(fill))
    if bar == "plain":
        p.line((a, -hh), (a, hh))
    else:  # zener
        d = h.num("zen_d", 0.07, 0.15)
        f = h.pick("zen_form", "z", "hook", "slant", "hook2", "s", weights=(4, 3, 3, 1, 2))
        m = h.pick("zen_mirror", 1, -1)
        if f == "z":
            p.line((a + d, -hh * m), (a, -hh * m), (a, hh * m), (a - d, hh * m))
        elif f == "s":
            p.line((a - d, -hh * m), (a, -hh * m), (a, hh * m), (a + d, hh * m))
        elif f == "hook":
            p.line((a - d, -hh * m), (a, -hh * m), (a, hh * m))
        elif f == "hook2":
            p.line((a - d, -hh), (a, -hh), (a, hh), (a - d, hh))
        else:
            p.line(
                (a + d, -hh * m * 1.1 - d * 0.6),
                (a, -hh * m),
                (a, hh * m),
                (a - d, hh * m * 1.1 + d * 0.6 * m),
            )
    return a, hh


def light_arrows(p: Pen, x, y, incoming: bool):
    """Two slanted arrows at (x, y) (their inner end), on the north side of a symbol."""
    h = p.h
    layer = 1 if h.pick("accent_light", 0, 1, weights=(2, 1)) else 0
    ang = math.radians(h.num("light_ang", 32, 66))
    if incoming:
        # incoming arrows may come from either side
        d = np.array([math.cos(ang) * h.pick("in_dir", 1, -1, weights=(4, 1)), math.sin(ang)])
    else:
        d = np.array([math.cos(ang) * h.pick("out_dir", 1, -1, weights=(6, 1)), -math.sin(ang)])
    ln = h.num("light_len", 0.22, 0.36)
    gap = h.num("light_gap", 0.13, 0.22)
    size = h.num("light_head", 0.09, 0.16)
    off = np.array([gap, 0.0]) if h.pick("light_off", 0, 1) else np.array([-d[1], d[0]]) * gap
    style = h.pick("light_arrow", "filled", "open", "slim")
    w = h.num("light_w", 0.7, 1.0)
    for i in (-0.5, 0.5):
        a = np.array([x, y]) + off * i
        if incoming:
            p.arrow(*(a - d * ln), *a, size=size, layer=layer, style=style, w=w)
        else:
            p.arrow(*a, *(a + d * ln), size=size, layer=layer, style=style, w=w)


def ground_symbol(p: Pen, x, y, k=1.0, name="gnd"):
    """Earth or reference symbol whose conductor ends at (x, y), opening southwards."""
    h = p.h
    f = h.pick(
        name,
        "earth",
        "chassis",
        "triangle",
        "triangle_filled",
        "bar",
        "earth4",
        "chassis_bare",
        "circled",
        "pe_tri",
        weights=(6, 4, 3, 1, 0.8, 0.6, 0.7, 0.7, 0.5),
    )
    a = 0.3 * k * h.num(name + "_a", 0.8, 1.25)
    if f in ("earth", "earth4", "circled", "pe_tri"):
        n = 4 if f == "earth4" else 3
        d = h.num(name + "_d", 0.1, 0.17) * k
        s = h.num(name + "_s", 0.55, 0.75)
        if f == "circled":
            s *= 0.95
        for i in range(n):
            r = a * (1 - s * i / (n - 1) * (1.1 if n == 4 else 1.0))
            p.line((x - r, y + i * d), (x + r, y + i * d), w=h.num(name + "_w", 0.9, 1.4))
        if f == "circled":
            p.circle(x, y + d * 0.7, a * 1.25)
    elif f in ("chassis", "chassis_bare"):
        p.line((x - a, y), (x + a, y))
        m = h.pick(name + "_m", -1, 1)
        d = h.num(name + "_d", 0.12, 0.2) * k
        for i in (-1, 0, 1) if h.pick(name + "_n", 3, 4, weights=(4, 1)) == 3 else (-1, -0.33, 0.33, 1):
            xx = x + i * a * (1.0 if f == "chassis" else 0.85)
            p.line((xx, y), (xx + m * d * 0.8, y + d))
    elif f == "bar":
        p.line((x - a, y), (x + a, y), w=h.num(name + "_w2", 1.8, 3.0))
    else:
        hh = a * h.num(name + "_hh", 0.8, 1.3)
        p.shape((x - a, y), (x + a, y), (x, y + hh), filled=f == "triangle_filled")


def circle_around(p: Pen, name, r, x=0.0, y=0.0, prob=(1, 1)):
    if p.h.pick(name, 0, 1, weights=prob):
        p.circle(x, y, r)


# --- the kinds ------------------------------------------------------------------------------


def k_straight(p):
    p.to_side("W", 0, 0)
    p.to_side("E", 0, 0)


def k_corner(p):
    f = p.h.pick("corner", "sharp", "round", "chamfer", weights=(5, 4, 1))
    r = p.h.num("corner_r", 0.25, 0.95) if f != "sharp" else 0.0
    r = min(r, 0.8) / max(p.k, 0.01)
    if f == "sharp":
        p.line((0.3, 0), (0, 0), (0, 0.3))
        p.to_side("E", 0, 0), p.to_side("S", 0, 0)
    else:
        if f == "round":
            p.arc(r, r, r, 180, 270)
        else:
            p.line((r, 0), (0, r))
        p.to_side("E", r, 0), p.to_side("S", 0, r)


def junction(p, name="dot"):
    if p.h.pick(name, 1, 0, weights=(5, 1)):
        p.disc(0, 0, max(p.w * 1.3, p.h.num("dot_r", 0.05, 0.13)) / p.k)


def k_tee(p):
    if p.h.pick("tee_curved", 0, 1, weights=(14, 1)):
        r = p.h.num("tee_cr", 0.2, 0.4)
        p.to_side("W", 0, 0), p.to_side("E", 0, 0)
        p.arc(r, r, r, 180, 270)
        p.to_side("S", 0, r)
        return
    for s in "WES":
        p.to_side(s, 0, 0)
    junction(p, "tee_dot")


def k_cross(p):
    for s in "NESW":
        p.to_side(s, 0, 0)
    p.disc(0, 0, max(p.w * 1.5, p.h.num("dot_r", 0.05, 0.13) * 1.05) / p.k)


def k_crossover(p):
    f = p.h.pick("crossover", "arc", "gap", "plain", weights=(5, 4, 0.6))
    r = p.h.num("bridge_r", 0.11, 0.25)
    if p.h.rng.random() < 0.5:  # which conductor jumps is a matter of the turn
        if f == "arc":
            m = p.h.pick("bridge_m", 1, -1)
            p.arc(0, 0, r, 180, 360) if m == 1 else p.arc(0, 0, r, 0, 180)
        p.to_side("W", -r if f != "plain" else 0, 0), p.to_side("E", r if f != "plain" else 0, 0)
        p.to_side("N", 0, 0), p.to_side("S", 0, 0)
    else:
        if f == "arc":
            m = p.h.pick("bridge_m", 1, -1)
            p.arc(0, 0, r, -90, 90) if m == 1 else p.arc(0, 0, r, 90, 270)
        p.to_side("N", 0, -r if f != "plain" else 0), p.to_side("S", 0, r if f != "plain" else 0)
        p.to_side("W", 0, 0), p.to_side("E", 0, 0)


def k_ground(p):
    y = p.h.num("gnd_y", -0.1, 0.25)
    ground_symbol(p, 0, y)
    p.to_side("N", 0, y)


def k_socket(p):
    """Two sockets (drawn later as real parts): E carries the signal, W is joined to the plate."""
    x = p.h.num("sock_x", 0.26, 0.42) / p.k
    y = p.h.num("sock_y", -0.16, 0.12) / p.k
    p.to_side("E", x, y if abs(y) < 0.02 else 0)
    if abs(y) >= 0.02:
        p.line((x, 0), (x, y))
    form = p.h.pick("sock_ring", 0, 1, weights=(2, 1))
    if form:
        p.circle(x, y, p.h.num("sock_r", 0.17, 0.24) / p.k)
        p.circle(-x, y, p.h.num("sock_r", 0.17, 0.24) / p.k)
    up = p.h.pick("sock_gnd", 1, -1, weights=(3, 1))
    g = y + 0.3 / p.k if up > 0 else y - 0.5 / p.k
    p.line((-x, y), (-x, g))
    ground_symbol(p, -x, g, 0.55)


def k_resistor(p):
    a, _ = body_resistor(p)
    p.to_side("W", -a, 0), p.to_side("E", a, 0)


def k_capacitor(p):
    h = p.h
    g = h.num("cap_gap", 0.06, 0.13)
    L = h.num("cap_len", 0.24, 0.42)
    w = h.num("cap_w", 1.0, 2.0)
    f = h.pick("cap_form", "lines", "curved", "thick", "boxes", weights=(10, 1.2, 2, 0.7))
    if f == "curved":
        p.line((-g, -L), (-g, L), w=w)
        r = L * 1.3
        t = math.degrees(math.asin(min(1, L / r)))
        p.arc(g + r, 0, r, 180 - t, 180 + t, w=w)
    elif f == "boxes":
        t = h.num("cap_t", 0.03, 0.07)
        for s in (-1, 1):
            p.shape((s * g, -L), (s * (g + 2 * t), -L), (s * (g + 2 * t), L), (s * g, L), filled=True)
        g += t
    else:
        w = w * (1.7 if f == "thick" else 1.0)
        p.line((-g, -L), (-g, L), w=w)
        p.line((g, -L), (g, L), w=w)
    p.to_side("W", -g, 0), p.to_side("E", g, 0)


def k_electrolytic(p):
    h = p.h
    g = h.num("cap_gap", 0.06, 0.13)
    L = h.num("cap_len", 0.24, 0.42)
    w = h.num("cap_w", 1.0, 2.0)
    f = h.pick(
        "el_form",
        "lines",
        "curved",
        "boxes",
        "hollow",
        "box_line",
        "thinthick",
        "cup",
        weights=(3, 4, 3, 1, 1.2, 0.8, 0.6),
    )
    x0, x1 = -g, g
    if f == "lines":
        p.line((-g, -L), (-g, L), w=w), p.line((g, -L), (g, L), w=w)
    elif f == "thinthick":
        p.line((-g, -L), (-g, L), w=w * 0.8), p.line((g, -L), (g, L), w=w * 2.2)
    elif f == "curved":
        p.line((-g, -L), (-g, L), w=w)
        r = L * h.num("el_r", 1.05, 2.0)
        t = math.degrees(math.asin(min(1, L / r)))
        p.arc(g + r, 0, r, 180 - t, 180 + t, w=w)
    elif f == "cup":
        d = h.num("el_d", 0.08, 0.2)
        p.line((-g, -L * 0.8), (-g, L * 0.8), w=w)
        p.line((-g - d, -L), (g, -L), (g, L), (-g - d, L), w=w)
    else:
        t = h.num("el_t", 0.09, 0.18)
        p.shape((-g - t, -L), (-g, -L), (-g, L), (-g - t, L), filled=False)
        x0 = -g - t
        if f == "box_line":
            p.line((g, -L), (g, L), w=w * 2)
        else:
            p.shape((g, -L), (g + t, -L), (g + t, L), (g, L), filled=f == "boxes")
            x1 = g + t
    px = min(x0 - h.num("el_px", 0.13, 0.2), -0.27)
    plus_marks(p, px, h.num("el_py", 0.16, 0.3), -px)
    p.to_side("W", x0, 0), p.to_side("E", x1, 0)


def k_inductor(p):
    h = p.h
    f = h.pick("ind_form", "bumps", "loops", "box", "coil", weights=(6, 2, 2, 2))
    a = 0.45 * h.num("ind_len", 0.75, 1.15)
    if f == "box":
        hh = h.num("res_h", 0.11, 0.2)
        p.shape((-a, -hh), (a, -hh), (a, hh), (-a, hh), filled=True)
    elif f == "bumps":
        n = h.pick("ind_n", 3, 4, 4, 5)
        r = a / n
        up = h.pick("ind_up", 1, -1, weights=(5, 1))
        for i in range(n):
            p.arc(-a + (2 * i + 1) * r, 0, r, 180, 360, ry=up * r * h.num("ind_ry", 0.9, 1.7))
    else:
        n = h.pick("ind_n2", 4, 5, 6)
        t = np.linspace(0, 1, 120)
        ph = t * (2 * math.pi * n + (0 if f == "coil" else math.pi))
        rx = a / n * h.num("ind_rx", 0.7, 1.5)
        ry = h.num("ind_ry2", 0.14, 0.26)
        xs = -a + rx + t * 2 * (a - rx) - rx * np.cos(ph)
        ys = -ry * np.sin(ph) if f == "loops" else -ry * np.sin(ph) * 0.9
        p.line(*np.stack([xs, ys], -1))
        a = max(abs(xs[0]), abs(xs[-1]))
        p.to_side("W", xs[0], 0), p.to_side("E", xs[-1], 0)
        if h.pick("ind_core", 0, 1, weights=(8, 1)):
            p.line((-a, -ry - 0.1), (a, -ry - 0.1))
        return
    if f == "bumps" and h.pick("ind_core", 0, 1, weights=(8, 1)):
        y = -a / n * h.num("ind_ry", 0.9, 1.7) * up - 0.1 * up
        p.line((-a, y), (a, y))
    p.to_side("W", -a, 0), p.to_side("E", a, 0)


def k_diode(p):
    a, _ = body_diode(p)
    circle_around(p, "di_circle", 0.42, prob=(9, 1))
    p.to_side("W", -a, 0), p.to_side("E", a, 0)


def k_zener(p):
    a, _ = body_diode(p, bar="zener")
    circle_around(p, "di_circle", 0.42, prob=(9, 1))
    p.to_side("W", -a, 0), p.to_side("E", a, 0)


def k_led(p):
    a, hh = body_diode(p)
    c = p.h.pick("led_circle", 0, 1, weights=(4, 1))
    if c:
        p.circle(0, 0, 0.4)
    side = p.h.pick("led_side", 1, -1, weights=(7, 1))
    q = Pen(p.s, p.h, p.k, p.dx, p.dy)
    if side < 0:  # arrows below: mirror the drawing of the arrows only
        light_arrows_mirrored(q, p.h.num("led_ax", -0.05, 0.16), hh + 0.08 if not c else 0.4, False)
    else:
        light_arrows(q, p.h.num("led_ax", -0.05, 0.16), -(hh + 0.08) if not c else -0.4, False)
    p.to_side("W", -a, 0), p.to_side("E", a, 0)


class _Flip(Pen):
    def p(self, pts):
        return np.asarray(pts, np.float64) * (self.k, -self.k) + (self.dx, self.dy)


def light_arrows_mirrored(p, x, y, incoming):
    light_arrows(_Flip(p.s, p.h, p.k, p.dx, p.dy), x, -y, incoming)


def k_photoresistor(p):
    a, hh = body_resistor(p)
    c = p.h.pick("ldr_circle", 0, 1, weights=(2, 1))
    if c:
        p.circle(0, 0, max(0.4, a * 1.08) if p.h.pick("ldr_tight", 0, 1) else max(0.36, a * 0.85))
        hh = max(0.36, a * 0.85)
    light_arrows(p, p.h.num("ldr_ax", -0.14, 0.02), -hh - 0.05, True)
    p.to_side("W", -a, 0), p.to_side("E", a, 0)


def k_thermistor(p):
    a, hh = body_resistor(p)
    h = p.h
    m = h.pick("ntc_dir", 1, -1, weights=(7, 1))
    x = h.num("ntc_x", 0.26, 0.42)
    y = hh + h.num("ntc_y", 0.08, 0.2)
    f = h.num("ntc_foot", 0.1, 0.24)
    p.line((-m * (x + f), y), (-m * x, y), (m * x, -y))
    if h.pick("ntc_foot2", 0, 1, weights=(8, 1)):
        p.line((m * x, -y), (m * (x + f), -y))
    if h.pick("ntc_circle", 0, 1, weights=(12, 1)):
        p.circle(0, 0, 0.5)
    p.to_side("W", -a, 0), p.to_side("E", a, 0)


def k_potentiometer(p):
    a, hh = body_resistor(p)
    size = p.h.num("pot_head", 0.12, 0.22)
    f = p.h.pick("pot_form", "touch", "gap", "through", "across", weights=(6, 2, 0.7, 0.6))
    if f == "across":  # an adjustable resistor's slanting arrow, with the wiper joined to its foot
        u = a * p.h.num("pot_u", 0.55, 0.8)
        v = hh + p.h.num("pot_v", 0.1, 0.22)
        p.arrow(-u, v, u, -v, size=size)
        p.line((-u, v), (0, v + 0.06))
        p.to_side("S", 0, v + 0.06)
        p.to_side("W", -a, 0), p.to_side("E", a, 0)
        return
    y = hh + {"touch": 0.0, "gap": 0.05, "through": -2 * hh - 0.15}[f]
    p.arrow(0, y + size + 0.08, 0, y, size=size)
    if f == "through":
        p.line((0, y + size), (0, 0.3))
    p.to_side("S", 0, max(y + size, 0.25))
    p.to_side("W", -a, 0), p.to_side("E", a, 0)


def bjt(p, npn: bool):
    h = p.h
    bx = h.num("bjt_bx", -0.22, -0.04)
    L = h.num("bjt_L", 0.22, 0.34)
    y0 = h.num("bjt_y0", 0.08, 0.16)
    y1 = h.num("bjt_y1", 0.26, 0.42)
    w = h.num("bjt_w", 1.0, 2.4)
    cx = 0.0
    if bx > cx - 0.16:
        bx = cx - 0.2
    p.line((bx, -L), (bx, L), w=w)
    p.line((bx, 0), (bx - 0.2, 0))
    p.line((bx, -y0), (cx, -y1), (cx, -y1 - 0.1))
    p.line((bx, y0), (cx, y1), (cx, y1 + 0.1))
    size = h.num("bjt_head", 0.11, 0.2)
    pos = h.pick("bjt_pos", "end", "mid", "base", weights=(3, 4, 1))
    style = h.pick("bjt_arrow", "filled", "open", "slim", weights=(6, 2, 2))
    sg = 1 if npn else -1  # emitter row: S for npn, N for pnp
    a = np.array([bx, sg * y0])
    b = np.array([cx, sg * y1])
    d = (b - a) / np.hypot(*(b - a))
    ln = np.hypot(*(b - a))
    if npn:
        tip = {"end": b, "mid": a + d * (ln * 0.5 + size * 0.5), "base": a + d * min(ln, size * 1.2)}[pos]
        p.arrow(*(tip - d * size), *tip, size=size, style=style, shaft=False)
    else:
        tip = {
            "end": a + d * 0.02,
            "mid": a + d * (ln * 0.5 - size * 0.5),
            "base": a + d * max(0, ln - size * 1.2),
        }[pos]
        p.arrow(*(tip + d * size), *tip, size=size, style=style, shaft=False)
    if h.pick("q_circle", 0, 1):
        r = h.num("q_r", 0.38, 0.5)
        p.circle(h.num("q_cx", -0.1, 0.0), 0, r)
    p.to_side("W", bx - 0.15, 0)
    p.to_side("N", cx, -y1), p.to_side("S", cx, y1)


def k_npn(p):
    bjt(p, True)


def k_pnp(p):
    bjt(p, False)


def k_nmos(p):
    h = p.h
    gx = h.num("mos_gx", -0.3, -0.16)
    d = h.num("mos_d", 0.07, 0.13)
    chx = gx + d
    L = h.num("mos_L", 0.24, 0.34)
    seg = L * h.num("mos_seg", 0.2, 0.3)
    w = h.num("mos_w", 1.0, 1.7)
    full = h.pick("mos_form", "bulk", "simple", "solid_simple", "no_tie", weights=(7, 1.2, 0.8, 0.8))
    gl = h.num("mos_gl", 0.75, 1.05) * L
    gate_low = h.pick("mos_gate", "mid", "low", weights=(3, 1)) == "low"
    if gate_low:
        p.line((gx, -gl), (gx, gl), w=w)
        p.line((gx, gl), (gx - 0.12, gl), (gx - 0.12, 0), (gx - 0.3, 0)) if h.pick(
            "mos_jog", 0, 1
        ) else p.line((gx, gl), (gx, 0), (gx - 0.2, 0))
    else:
        p.line((gx, -gl), (gx, gl), w=w)
    p.to_side("W", gx - (0.28 if gate_low else 0), 0)
    cx = 0.0
    yd, ys = -L + seg * 0.6, L - seg * 0.6
    if full == "solid_simple":
        p.line((chx, -L), (chx, L), w=w)
    else:
        for c in (yd, 0, ys):
            p.line((chx, c - seg), (chx, c + seg), w=w)
    p.line((chx, yd), (cx, yd))
    p.line((chx, ys), (cx, ys))
    size = h.num("mos_head", 0.1, 0.18)
    style = h.pick("bjt_arrow", "filled", "open", "slim", weights=(6, 2, 2))
    if full in ("bulk", "no_tie"):
        # N channel: the bulk arrow points to the channel
        p.arrow(cx, 0, chx + 0.02, 0, size=min(size, (cx - chx) * 0.85), style=style)
        if full == "bulk":
            p.line((cx, 0), (cx, ys))
            if h.pick("mos_dot", 0, 1, weights=(2, 1)):
                p.disc(cx, ys, 0.045)
    else:
        p.arrow(chx, ys, cx - 0.03, ys, size=size, style=style)  # source arrow, outwards for N channel
    if h.pick("mos_diode", 0, 1, weights=(4, 1)):
        dx = cx + h.num("mos_ddx", 0.14, 0.24)
        s = 0.075
        p.line((cx, yd - 0.06), (dx, yd - 0.06), (dx, ys + 0.06), (cx, ys + 0.06))
        p.shape((dx - s, s), (dx + s, s), (dx, -s), filled=h.pick("mos_df", 0, 1))
        p.line((dx - s, -s), (dx + s, -s))
    if h.pick("q_circle", 0, 1):
        p.circle(h.num("q_cx", -0.1, 0.0), 0, h.num("q_r", 0.4, 0.5))
    p.to_side("N", cx, yd), p.to_side("S", cx, ys)


def k_switch(p):
    h = p.h
    a = h.num("sw_a", 0.24, 0.36)
    f = h.pick("sw_dots", "none", "both", "hinge", "filled", weights=(3, 3, 1, 1.5))
    ang = math.radians(h.num("sw_ang", 18, 38))
    up = h.pick("sw_up", 1, -1, weights=(8, 1))
    m = h.pick("sw_m", 1, -1, weights=(5, 1))
    ln = 2 * a * h.num("sw_len", 0.92, 1.15)
    p.line((-a * m, 0), (-a * m + m * ln * math.cos(ang), -up * ln * math.sin(ang)))
    r = h.num("sw_r", 0.045, 0.085)
    if f != "none":
        for x in (-a, a) if f != "hinge" else (-a * m,):
            p.disc(x, 0, r) if f == "filled" else p.circle(x, 0, r, wipe=True)
    e = a + (r if f in ("both",) else 0)
    p.to_side("W", -e, 0), p.to_side("E", e, 0)


def k_pushbutton(p):
    h = p.h
    a = h.num("pb_a", 0.24, 0.36)
    f = h.pick("pb_form", "iec", "bridge", weights=(3, 2))
    up = h.pick("pb_up", 1, -1, weights=(9, 1))
    r = h.num("sw_r", 0.045, 0.085)
    dots = h.pick("pb_dots", "none", "both", "filled", weights=(3, 3, 1))
    H = h.num("pb_h", 0.1, 0.26)
    top = h.num("pb_top", 0.08, 0.26)
    cap = h.num("pb_cap", 0.06, 0.24)
    if f == "bridge":
        b = a * h.num("pb_b", 0.8, 1.3)
        y = -up * H
        p.line((-b, y), (b, y), w=h.num("pb_w", 1, 1.6))
        p.line((0, y), (0, y - up * top))
        c = h.pick("pb_cap_form", "bar", "none", "cup", weights=(5, 2, 1))
        if c != "none":
            p.line((-cap, y - up * top), (cap, y - up * top), w=h.num("pb_w2", 1, 1.8))
    else:
        ang = math.radians(h.num("sw_ang", 18, 38))
        m = h.pick("sw_m", 1, -1, weights=(5, 1))
        ln = 2 * a * h.num("sw_len", 0.92, 1.15)
        p.line((-a * m, 0), (-a * m + m * ln * math.cos(ang), -up * ln * math.sin(ang)))
        x, y = -a * m + m * ln / 2 * math.cos(ang), -up * ln / 2 * math.sin(ang)
        yt = y - up * h.num("pb_link", 0.1, 0.58)
        if h.pick("pb_dash", 1, 0, weights=(5, 1)):
            n, on = h.pick("pb_dashes", 2, 3, 4, 5), h.num("pb_dash_on", 0.35, 0.7)
            thick = h.num("pb_dash_w", 0.7, 1.1)
            for i in range(n):
                u, v = y + (yt - y) * (i + 0.2) / n, y + (yt - y) * (i + 0.2 + on) / n
                p.line((x, u), (x, v), w=thick)
        else:
            p.line((x, y), (x, yt))
        c = h.pick("pb_head", "bracket", "bar", "e", "ring", weights=(4, 1, 3, 0.7))
        d = h.num("pb_hd", 0.05, 0.16)
        if h.pick("pb_thin", 0, 1, weights=(3, 1)):
            p.w *= 0.7
        if c == "bar":
            p.line((x - cap, yt), (x + cap, yt))
        elif c == "ring":
            p.circle(x, yt - up * cap, cap)
        else:
            p.line((x - cap, yt + up * d), (x - cap, yt), (x + cap, yt), (x + cap, yt + up * d))
            if c == "e":
                p.line((x, yt), (x, yt + up * d))
    if dots != "none":
        for x in (-a, a):
            p.disc(x, 0, r) if dots == "filled" else p.circle(x, 0, r, wipe=True)
    e = a + (r if dots == "both" else 0)
    p.to_side("W", -e, 0), p.to_side("E", e, 0)


def k_lamp(p):
    h = p.h
    r = h.num("lamp_r", 0.22, 0.38)
    f = h.pick("lamp_form", "x", "loop", "arch", weights=(13, 1.5, 1))
    p.circle(0, 0, r)
    if f == "x":
        d = r * math.sqrt(0.5)
        p.line((-d, -d), (d, d)), p.line((-d, d), (d, -d))
    elif f == "loop":
        q = r * 0.4
        p.line((-r, 0), (-q, 0)), p.line((r, 0), (q, 0))
        p.arc(0, 0, q, 180, 360)
    else:
        q = r * h.num("lamp_q", 0.3, 0.55)
        p.line((-r, 0), (-q, 0), (-q, -q * 0.3)), p.line((r, 0), (q, 0), (q, -q * 0.3))
        p.arc(0, -q * 0.3, q, 180, 360)
    p.to_side("W", -r, 0), p.to_side("E", r, 0)


def k_fuse(p):
    h = p.h
    a = 0.4 * h.num("fuse_a", 0.75, 1.2)
    hh = h.num("fuse_h", 0.1, 0.18)
    f = h.pick("fuse_form", "box", "wave", "caps", "wave_dots", "hollow", weights=(5, 3, 2, 1, 0.7))
    if f == "hollow":  # the IEEE's box: end caps set off, nothing inside
        p.shape((-a, -hh), (a, -hh), (a, hh), (-a, hh))
        c = a * h.num("fuse_c", 0.6, 0.8)
        p.shape((-a, -hh), (-c, -hh), (-c, hh), (-a, hh), filled=h.pick("fuse_fill", 0, 1))
        p.shape((c, -hh), (a, -hh), (a, hh), (c, hh), filled=h.pick("fuse_fill", 0, 1))
    elif f in ("box", "caps"):
        p.shape((-a, -hh), (a, -hh), (a, hh), (-a, hh))
        p.line((-a, 0), (a, 0))
        if f == "caps":
            c = a * h.num("fuse_c", 0.6, 0.8)
            p.line((-c, -hh), (-c, hh)), p.line((c, -hh), (c, hh))
    else:
        t = np.linspace(-1, 1, 40)
        m = h.pick("fuse_m", 1, -1)
        p.line(*np.stack([t * a, m * h.num("fuse_amp", 0.12, 0.22) * np.sin(t * math.pi)], -1))
        if f == "wave_dots":
            p.circle(-a - 0.05, 0, 0.05), p.circle(a + 0.05, 0, 0.05)
            a += 0.1
    p.to_side("W", -a, 0), p.to_side("E", a, 0)


def k_battery(p):
    h = p.h
    n = h.pick("bat_n", 1, 2, 3, 4, weights=(3, 4, 2, 1))
    L = h.num("bat_L", 0.24, 0.4)
    s = h.num("bat_s", 0.42, 0.62)
    g = h.num("bat_g", 0.08, 0.14)
    thick = h.num("bat_t", 1.0, 3.2)
    dashed = h.pick("bat_dash", 0, 1, weights=(4, 1)) and n == 2
    x = -g * (2 * n - 1) / 2 * (1.6 if dashed else 1.0)
    x0 = x
    for i in range(n):
        p.line((x, -L), (x, L))
        p.line((x + g, -L * s), (x + g, L * s), w=thick)
        if dashed and i == 0:
            for j in range(3):
                u = x + g + (j + 0.5) * g * 0.75
                p.line((u, 0), (u + g * 0.3, 0))
            x += g * 3.6
        else:
            x += 2 * g
    x1 = x - g if not dashed else x - g
    px = x0 - h.num("bat_px", 0.12, 0.2)
    plus_marks(p, px, h.num("bat_py", 0.16, 0.32), x1 + (x0 - px))
    p.to_side("W", x0, 0), p.to_side("E", x1, 0)


def k_supply(p):
    """A DC inlet with a rectifier bridge mark, plus on W."""
    h = p.h
    r = h.num("sup_r", 0.22, 0.34)
    f = h.pick("sup_frame", "diamond", "square", "roundsq", weights=(5, 2, 1))
    dirn = h.pick("sup_dir", 180, 0, 270, 90, weights=(5, 1, 1, 1))
    if f == "diamond":
        p.shape((-r, 0), (0, -r), (r, 0), (0, r))
        e = r
    else:
        q = r * 0.85
        p.shape((-q, -q), (q, -q), (q, q), (-q, q))
        e = q
    full = h.pick("sup_full", 0, 1, weights=(5, 1)) and f == "diamond"

    def mini(cx, cy, ang, s, filled):
        c, sn = math.cos(math.radians(ang)), math.sin(math.radians(ang))
        R = np.array([[c, -sn], [sn, c]])
        t = [R @ v + (cx, cy) for v in np.array([(-s, -s), (-s, s), (s, 0)], float)]
        b = [R @ v + (cx, cy) for v in np.array([(s, -s), (s, s)], float)]
        p.shape(*t, filled=filled)
        p.line(*b)

    filled = h.pick("sup_fill", 1, 0, weights=(3, 2))
    if full:
        q = r / 2
        # current leaves at W: all four point towards it
        for cx, cy, ang in ((-q, -q, 135), (-q, q, 225), (q, -q, 225), (q, q, 135)):
            mini(cx, cy, ang, r * 0.16, filled)
    else:
        s = r * h.num("sup_s", 0.28, 0.42)
        if dirn in (0, 180) and h.pick("sup_wire", 0, 1):
            p.line((-e, 0), (e, 0))
        mini(0, 0, dirn, s, filled)
    up = h.pick("sup_up", -1, 1, weights=(5, 1))
    inlet = h.pick("sup_inlet", "ring", "ring_dot", "barrel", "none", "bar", weights=(2, 6, 1.2, 1.5, 0.8))
    y = up * (e + h.num("sup_iy", 0.1, 0.2))
    q = h.num("sup_ir", 0.09, 0.16)
    if inlet in ("ring", "ring_dot"):
        p.circle(0, y, q)
        if inlet == "ring_dot":
            p.disc(0, y, q * 0.4)
        if h.pick("sup_link", 0, 1):
            p.line((0, up * e), (0, y - up * q))
    elif inlet == "barrel":
        p.shape((-q * 1.6, y - q), (q * 1.6, y - q), (q * 1.6, y + q), (-q * 1.6, y + q))
        p.line((-q, y), (q, y), w=1.6)
    elif inlet == "bar":
        p.line((-0.16, y), (0.16, y))
        for i in (-1, 0, 1):
            p.line((i * 0.13 - 0.04, y + 0.08), (i * 0.13 + 0.04, y + 0.08))
    layer = 1 if h.pick("accent_plus", 0, 1, weights=(2, 1)) else 0
    sy = h.num("sup_py", 0.14, 0.3) * h.pick("plus_up", -1, 1, weights=(4, 1))
    sr = h.num("plus_r", 0.055, 0.12)
    sx = e + h.num("sup_px", 0.12, 0.22)
    p.sign(-sx, sy, sr, layer=layer)
    if h.pick("sup_minus", 1, 0, weights=(6, 1)):
        p.sign(sx, sy, sr, True, layer)
    p.to_side("W", -e, 0), p.to_side("E", e, 0)


def jack_in_a_box(p, x, gnd):
    """A jack drawn with its housing: the bush as a block at one end, one or two springs within."""
    h = p.h
    a, b = h.num("box_a", 0.2, 0.5), h.num("box_b", 0.2, 0.5)
    m = h.pick("box_m", 1, -1)  # which way up
    if h.pick("box_open", 0, 1, weights=(3, 1)):
        p.line((x + a, -b), (x - a, -b), (x - a, b), (x + a, b))
    else:
        p.line((x - a, -b), (x + a, -b), (x + a, b), (x - a, b), closed=True)
    t, u = h.num("box_t", 0.06, 0.2), h.num("box_u", 0.25, 1.0)  # the bush: its thickness and length
    side = h.pick("box_bush", "out", "in", "end", weights=(3, 1, 1))
    x0 = x - a - t if side == "out" else x - a
    low, high = (b - 2 * b * u, b) if side != "end" else (-b * u, b * u)
    p.shape(
        (x0, m * low), (x0 + t, m * low), (x0 + t, m * high), (x0, m * high),
        filled=h.pick("box_fill", 1, 0, weights=(3, 1)),
    )  # fmt: skip
    v, y = h.num("box_v", 0.06, 0.13), h.num("box_y", -0.1, 0.1) * m
    tip = x - a + h.num("box_tip", 0.12, 0.3)
    # both springs in one row, the sleeve's led out below the other's
    row = h.pick("box_row", 0, 1, weights=(3, 2))
    if row:
        z, below = y, b * h.num("box_low", 0.3, 0.75)
        first, tip = x - a + v + h.num("box_first", 0.04, 0.14), x - a + 3 * v + h.num("box_next", 0.14, 0.26)
        out_, gy = x + a + h.num("box_out", 0.06, 0.24), below + h.num("box_down", 0.08, 0.2)
        p.line((first - v, z + m * v), (first, z), (first + v, z + m * v), (first + v, below), (out_, below))
        if gnd:
            p.line((out_, below), (out_, gy))
            ground_symbol(p, out_, gy, 0.55, "gnd2" if h.pick("aud_own_gnd", 0, 1, weights=(3, 1)) else "gnd")
        m = -m
    p.line((tip - v, y), (tip, y + m * v), (tip + v, y), (x + a, y))
    if abs(y) > 0.02:
        p.line((x + a, y), (x + a + 0.06, y), (x + a + 0.06, 0))
        p.to_side("E", x + a + 0.06, 0)
    else:
        p.to_side("E", x + a, 0)
    if row:
        return
    gx, gy = x + h.num("box_gx", -0.8, 0.8) * a, b + h.num("aud_gy", 0.06, 0.2)
    if h.pick("box_second", 1, 0, weights=(3, 2)):  # the sleeve has a spring of its own
        z = -m * h.num("box_z", 0.35, 0.75) * b
        p.line((tip - v, z), (tip, z + m * v), (tip + v, z), (gx, z), (gx, b))
    if gnd:
        if h.pick("box_away", 0, 1):  # led aside before it goes to the reference
            p.line((gx, b), (gx, gy), (gx - 0.25, gy), (gx - 0.25, gy + 0.08))
            gx, gy = gx - 0.25, gy + 0.08
        else:
            p.line((gx, b), (gx, gy))
        ground_symbol(p, gx, gy, 0.55, "gnd2" if h.pick("aud_own_gnd", 0, 1, weights=(3, 1)) else "gnd")


def k_audio_in(p):
    """A signal connector, signal on E; its body touches the plate."""
    h = p.h
    f = h.pick(
        "aud_form",
        "coax",
        "jack",
        "jack2",
        "female",
        "plug_arrow",
        "din",
        "terminal",
        "chevron",
        "barrel",
        "tip",
        "boxed",
        weights=(5, 4, 1.5, 1.5, 1.0, 0.8, 1.2, 1.2, 0.8, 1.0, 5.0),
    )
    gnd = h.pick("aud_gnd", 1, 0, weights=(7, 1))
    x = h.num("aud_x", -0.3, 0.02)
    if f in ("coax", "din"):
        r = h.num("aud_r", 0.17, 0.28)
        p.circle(x, 0, r)
        if f == "din":
            for a in (200, 270, 340):
                t = math.radians(a)
                p.disc(x + r * 0.6 * math.cos(t), r * 0.6 * math.sin(t), 0.045)
            p.to_side("E", x + r, 0)
        else:
            p.disc(x, 0, r * h.num("aud_dot", 0.25, 0.5)) if h.pick(
                "aud_pin", 0, 1, weights=(1, 4)
            ) else p.circle(x, 0, r * 0.35)
            p.to_side("E", x + (0 if h.pick("aud_in", 0, 1, weights=(1, 3)) else r), 0)
        if gnd:
            y = r + h.num("aud_gy", 0.1, 0.22)
            p.line((x, r), (x, y))
            ground_symbol(p, x, y, 0.62, "gnd2" if h.pick("aud_own_gnd", 0, 1, weights=(3, 1)) else "gnd")
    elif f in ("jack", "jack2"):
        # sleeve as a bar, tip contact as a spring with a V
        a = h.num("aud_a", 0.2, 0.34)
        t = h.num("aud_t", 0.06, 0.11)
        xs = x - 0.15
        yo = h.num("aud_yo", -0.1, 0.1)
        p.shape(
            (xs - t, -a + yo),
            (xs + t, -a + yo),
            (xs + t, a + yo),
            (xs - t, a + yo),
            filled=h.pick("aud_fill", 0, 1, weights=(4, 1)),
        )
        v = h.num("aud_v", 0.08, 0.16)
        xv = xs + t + 0.1
        up = h.pick("aud_vup", 1, -1)
        p.line((xv - 0.04, -up * v * 0.2), (xv + 0.06, up * v), (xv + 0.2, 0), (xv + 0.3, 0))
        p.to_side("E", xv + 0.28, 0)
        if gnd:
            y = a + yo + h.num("aud_gy", 0.06, 0.16)
            p.line((xs, a + yo), (xs, y))
            ground_symbol(p, xs, y, 0.6, "gnd2" if h.pick("aud_own_gnd", 0, 1, weights=(3, 1)) else "gnd")
        if f == "jack2":
            p.line((xs, -a + yo), (xs, -a + yo - 0.12))
    elif f in ("terminal", "chevron", "barrel", "tip"):
        r = h.num("aud_r", 0.17, 0.28)
        if f == "terminal":  # one open ring, the other end on the reference
            q = r * h.num("aud_t2", 0.35, 0.7)
            p.circle(x, -0.0, q)
            p.to_side("E", x + q, 0)
            y = h.num("aud_gy", 0.1, 0.22) + r
            if h.pick("aud_two", 0, 1):
                p.circle(x, y + q, q)
                y += 2 * q
            gx = x
        elif f == "chevron":  # contacts of a plug and a socket, one in the other (IEEE 315, 5.1)
            n = h.pick("aud_n", 1, 2)
            for i in range(n):
                u = x - i * 0.12
                p.line((u - 0.14, -0.14), (u, 0), (u - 0.14, 0.14))
            p.to_side("E", x, 0)
            y, gx = r + 0.1, x - 0.14
            p.line((gx, 0.14), (gx, y))
        elif f == "barrel":
            a = h.num("aud_a", 0.2, 0.34)
            p.shape((x - a, -r), (x + a * 0.4, -r), (x + a * 0.4, r), (x - a, r))
            p.line((x - a, 0), (x - a * 0.2, 0), w=1.5)
            p.to_side("E", x + (a * 0.4 if h.pick("aud_in", 0, 1, weights=(1, 3)) else -a * 0.2), 0)
            y, gx = r + h.num("aud_gy", 0.1, 0.22), x - a * 0.3
            p.line((gx, r), (gx, y))
        else:  # a sleeve with two springs
            a = h.num("aud_a", 0.2, 0.34)
            p.line((x - a, -r), (x - a, r), w=2.2)
            p.line((x - a * 0.4, -0.1), (x - a * 0.1, 0.04), (x + 0.1, 0)), p.to_side("E", x + 0.1, 0)
            p.line((x - a, r), (x, r))
            y, gx = r + h.num("aud_gy", 0.1, 0.22), x
            p.line((gx, r), (gx, y))
        if gnd:
            ground_symbol(p, gx, y, 0.62, "gnd2" if h.pick("aud_own_gnd", 0, 1, weights=(3, 1)) else "gnd")
    elif f == "boxed":
        jack_in_a_box(p, x, gnd)
    elif f == "female":
        r = h.num("aud_r", 0.17, 0.28)
        p.arc(x, 0, r, 90, 270)
        p.line((x - r, 0), (x - r * 0.2, 0)) if h.pick("aud_fl", 0, 1) else None
        p.arc(x, 0, r * 0.5, 90, 270)
        p.to_side("E", x - r * 0.5, 0)
        if gnd:
            y = r + 0.14
            p.line((x, r), (x, y))
            ground_symbol(p, x, y, 0.62, "gnd")
    else:
        a = h.num("aud_a", 0.2, 0.34)
        p.shape((x - a, -a * 0.6), (x, -a * 0.6), (x + a * 0.6, 0), (x, a * 0.6), (x - a, a * 0.6))
        p.to_side("E", x + a * 0.6, 0)
        if gnd:
            y = a * 0.6 + 0.16
            p.line((x - a * 0.4, a * 0.6), (x - a * 0.4, y))
            ground_symbol(p, x - a * 0.4, y, 0.62, "gnd")


def k_microphone(p):
    h = p.h
    r = h.num("mic_r", 0.2, 0.32)
    f = h.pick("mic_bar", "N", "S", "W", "E", weights=(5, 4, 1, 1))
    p.circle(0, 0, r)
    L = r * h.num("mic_L", 0.9, 1.35)
    w = h.num("mic_w", 1.0, 2.2)
    if f in "NS":
        y = r * (-1 if f == "N" else 1)
        p.line((-L, y), (L, y), w=w)
    else:
        x = r * (-1 if f == "W" else 1)
        p.line((x, -L), (x, L), w=w)
    if h.pick("mic_cap", 0, 1, weights=(6, 1)):  # electret: capacitor inside
        p.line((-0.04, -r * 0.5), (-0.04, r * 0.5)), p.line((0.04, -r * 0.5), (0.04, r * 0.5))
    px = r + h.num("mic_px", 0.12, 0.22)
    plus_marks(p, -px, h.num("mic_py", 0.14, 0.28), px)
    p.to_side("W", -r, 0), p.to_side("E", r, 0)


def k_speaker(p):
    h = p.h
    a = h.num("spk_a", 0.12, 0.2)
    b = h.num("spk_b", 0.1, 0.2)
    c = h.num("spk_c", 0.25, 0.42)
    L = h.num("spk_L", 0.18, 0.32)
    up = h.pick("spk_up", -1, 1, weights=(4, 1))
    y0 = h.num("spk_y", -0.06, 0.06)
    p.shape((-a, y0 - b), (a, y0 - b), (a, y0 + b), (-a, y0 + b))
    e = y0 + up * b
    join = h.pick("spk_join", 0, 1, weights=(5, 1))
    p.line((-a, e), (-c, e + up * L), (c, e + up * L), (a, e), closed=not join)
    p.to_side("W", -a, 0), p.to_side("E", a, 0)


def k_buzzer(p):
    h = p.h
    r = h.num("buz_r", 0.22, 0.36)
    f = h.pick("buz_form", "dome", "arch", "dome_legs", "box", weights=(5, 2, 2.5, 0.8))
    up = h.pick("buz_up", 1, -1, weights=(5, 1))
    y = h.num("buz_y", -0.12, 0.06)
    if f in ("dome", "dome_legs"):
        p.arc(0, y, r, 180, 360, ry=up * r * h.num("buz_ry", 0.8, 1.15))
        p.line((-r, y), (r, y))
        if f == "dome":
            if abs(y) > 0.02 and h.pick("buz_legs", 0, 1):
                x = r * 0.5
                p.line((-x, y), (-x, 0)), p.line((x, y), (x, 0))
                p.to_side("W", -x, 0), p.to_side("E", x, 0)
            else:
                p.line((-r, y), (-r - 0.01, 0)), p.line((r, y), (r + 0.01, 0))
                p.to_side("W", -r, 0), p.to_side("E", r, 0)
        else:
            x = r * h.num("buz_x", 0.3, 0.6)
            yy = y + up * h.num("buz_leg", 0.12, 0.25)
            p.line((-x, y), (-x, yy)), p.line((x, y), (x, yy))
            p.line((-x, yy), (-r - 0.1, yy), (-r - 0.1, 0)) if abs(yy) > 0.03 else None
            p.line((x, yy), (r + 0.1, yy), (r + 0.1, 0)) if abs(yy) > 0.03 else None
            e = r + 0.1 if abs(yy) > 0.03 else x
            p.to_side("W", -e, 0), p.to_side("E", e, 0)
    elif f == "arch":
        q = r * 0.75
        hh = r * h.num("buz_hh", 0.5, 1.0)
        p.line((-q, 0), (-q, -up * hh))
        p.arc(0, -up * hh, q, 180, 360, ry=up * q)
        p.line((q, -up * hh), (q, 0))
        p.line((-q, 0), (q, 0)) if h.pick("buz_base", 1, 0, weights=(3, 1)) else None
        p.to_side("W", -q, 0), p.to_side("E", q, 0)
    else:
        q = r * 0.8
        p.shape((-q, -q), (q, -q), (q, q), (-q, q))
        p.arc(0, q * 0.3, q * 0.6, 180, 360)
        p.line((-q * 0.6, q * 0.3), (q * 0.6, q * 0.3))
        p.to_side("W", -q, 0), p.to_side("E", q, 0)
    px = r + h.num("buz_px", 0.12, 0.22)
    plus_marks(p, -px, h.num("buz_py", 0.14, 0.28), px)


def k_meter(p):
    h = p.h
    r = h.num("met_r", 0.25, 0.38)
    p.circle(0, 0, r)
    px = r + h.num("met_px", 0.1, 0.2)
    plus_marks(p, -px, h.num("met_py", 0.14, 0.28), px)
    p.to_side("W", -r, 0), p.to_side("E", r, 0)


DRAW = {k: globals()["k_" + k.replace("-", "_")] for k in KINDS}


def draw_kind(sheet: Sheet, kind: str, hand: Hand, scale: float, dx: float = 0.0, dy: float = 0.0) -> None:
    """Draw `kind` at turn 0 onto the ink and accent layers of `sheet`."""
    sheet.wobble, sheet.rng = hand.wobble, np.random.default_rng(hand.rng.getrandbits(32))
    DRAW[kind](Pen(sheet, hand, scale, dx, dy))
    sheet.wobble = 0.0
