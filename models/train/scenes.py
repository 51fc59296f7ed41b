"""Random boards on random tables under random light, in the array layout that trace.h reads."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from symbols import CONTACTS, KINDS

GRID, MAXPRIM, GROUP = 18, 224, 8
F = np.float32
PRIM = np.dtype(
    [
        ("type", "i4"),
        ("p", F, 3),
        ("q", F, 3),
        ("r", F),
        ("r2", F),
        ("col", F, 3),
        ("rough", F),
        ("metal", F),
        ("glow", F),
        ("pad", F),
    ]
)
CELL = np.dtype(
    [
        ("label", "i4"),
        ("turn", "i4"),
        ("top", F, 3),
        ("side", F, 3),
        ("ink", F, 3),
        ("acc", F, 3),
        ("pan", F, 3),
        ("rough", F),
        ("spec", F),
        ("pads", "i4"),
        ("lift", F),
    ]
)
SCENE = np.dtype(
    [
        ("cols", "i4"),
        ("rows", "i4"),
        ("h", F),
        ("gap", F),
        ("bevel", F),
        ("corner", F),
        ("margin", F),
        ("plate_r", F),
        ("plate_t", F),
        ("mode", "i4"),
        ("cam", F, 3),
        ("ex", F, 3),
        ("ey", F, 3),
        ("ez", F, 3),
        ("f", F),
        ("cx", F),
        ("cy", F),
        ("k1", F),
        ("aperture", F),
        ("focus", F),
        ("A", F, 6),
        ("plate", F, 3),
        ("plate2", F, 3),
        ("plate_rough", F),
        ("plate_spec", F),
        ("brushed", F),
        ("plate_pat", "i4"),
        ("pat_col", F, 3),
        ("pat_a", F),
        ("pat_w", F),
        ("holes", "i4"),
        ("table", "i4"),
        ("tab1", F, 3),
        ("tab2", F, 3),
        ("tab_scale", F),
        ("tab_ang", F),
        ("tab_rough", F),
        ("nlight", "i4"),
        ("ldir", F, (3, 3)),
        ("lcol", F, (3, 3)),
        ("lsize", F, 3),
        ("lbox", F, 3),
        ("sky", F, 3),
        ("horizon", F, 3),
        ("sidecol", F, 3),
        ("env_seed", F),
        ("env_con", F),
        ("shadow_edge", F, 4),
        ("nprim", "i4"),
        ("nlead_from", "i4"),
        ("marker", "i4", 4),
        ("marker_size", F),
        ("wear", F),
        ("grain", F),
        ("seed", "i4"),
        ("tap_first", "i4"),
        ("group", F, (MAXPRIM // GROUP, 6)),
    ]
)

NAMES = [*KINDS, "other"]  # a label that is not in the kit
OTHER, EMPTY = len(KINDS), len(KINDS) + 1
KIND_NO = {k: i for i, k in enumerate(KINDS)}
SIDES = "NESW"
STEP = {"N": (0, -1), "E": (1, 0), "S": (0, 1), "W": (-1, 0)}


@dataclass
class Truth:
    """What a rendered picture shows: for training targets."""

    cols: int
    rows: int
    kind: np.ndarray  # (GRID, GRID) int, -1 empty; [row, column]
    turn: np.ndarray
    text: dict = field(default_factory=dict)
    box: dict = field(default_factory=dict)  # of the text, in the cube's own half widths at turn 0
    taps: set = field(default_factory=set)  # (x, y, axis): seam E (0) or S (1) of cell (x, y)
    ends: list = field(default_factory=list)  # (x, y, z) of every socket: cells units
    plugs: list = field(default_factory=list)  # per lead: (index of end, index of end)
    paths: list = field(default_factory=list)  # per lead: (n, 3) points
    cam: dict = field(default_factory=dict)
    loose: list = field(default_factory=list)  # (x, y, z) of cubes that lie about, on the plate or beside it
    strewn: dict = field(default_factory=dict)  # cell (x, y): how much of it such a cube takes


def hsv(rng, h=None, s=(0, 1), v=(0, 1)):
    import colorsys

    h = rng.random() if h is None else h
    c = colorsys.hsv_to_rgb(h % 1, rng.uniform(*s), rng.uniform(*v))
    return np.array(c, np.float32) ** 2.2


def lum(c):
    return float(c @ np.array([0.21, 0.72, 0.07]))


def palette(rng):
    """Top, side, ink, accent and panel colours (linear) of a printed kit, with enough contrast to be read."""
    for _ in range(60):
        mode = rng.random()
        if mode < 0.42:  # pale top
            top = hsv(rng, s=(0, 0.25), v=(0.7, 0.97))
        elif mode < 0.72:
            top = hsv(rng, s=(0.3, 1), v=(0.35, 1.0))
        else:
            top = hsv(rng, s=(0, 1), v=(0.08, 0.45))
        dark = lum(top) > 0.17 if rng.random() < 0.93 else rng.random() < 0.5
        if dark:
            ink = (
                hsv(rng, s=(0, 1), v=(0.02, 0.3))
                if rng.random() < 0.8
                else hsv(rng, s=(0.6, 1), v=(0.2, 0.6))
            )
        else:
            ink = (
                hsv(rng, s=(0, 0.35), v=(0.75, 1)) if rng.random() < 0.8 else hsv(rng, s=(0.3, 1), v=(0.8, 1))
            )
        a, b = lum(top) + 0.03, lum(ink) + 0.03
        if max(a, b) / min(a, b) > 2.4:
            break
    pan = (
        hsv(rng, s=(0, 0.2), v=(0.8, 0.98))
        if dark and rng.random() < 0.6
        else np.clip(top * rng.uniform(0.75, 1.3), 0, 0.95)
    )
    a, b = lum(pan) + 0.03, lum(ink) + 0.03
    if max(a, b) / min(a, b) < 2.2:
        pan = top.copy()
    acc = ink.copy() if rng.random() < 0.35 else hsv(rng, s=(0.6, 1), v=(0.45, 0.9))
    if rng.random() < 0.4:
        acc = hsv(rng, h=rng.choice([0.0, 0.0, 0.6, 0.33, 0.08]), s=(0.7, 1), v=(0.5, 0.9))
    a, b, c = lum(top) + 0.03, lum(acc) + 0.03, lum(pan) + 0.03
    if max(a, b) / min(a, b) < 1.5 or max(c, b) / min(c, b) < 1.5:
        acc = ink.copy()
    side = top * rng.uniform(0.6, 1.0) if rng.random() < 0.5 else hsv(rng, s=(0, 1), v=(0.05, 0.95))
    return top, side, ink, acc, pan


def grow(rng, cols, rows, n):
    """A connected-ish set of n cells."""
    occ = np.zeros((rows, cols), bool)
    x, y = rng.integers(cols), rng.integers(rows)
    occ[y, x] = True
    cells = [(x, y)]
    tries = 0
    while len(cells) < n and tries < 4000:
        tries += 1
        if rng.random() < 0.02:
            x, y = int(rng.integers(cols)), int(rng.integers(rows))
        else:
            bx, by = cells[-1] if rng.random() < 0.5 else cells[rng.integers(len(cells))]
            dx, dy = list(STEP.values())[rng.integers(4)]
            x, y = bx + dx, by + dy
        if 0 <= x < cols and 0 <= y < rows and not occ[y, x]:
            occ[y, x] = True
            cells.append((x, y))
    return occ


def prim(
    arr, n, type_, p, q=(0, 0, 0), r=0.0, r2=0.0, col=(0.5, 0.5, 0.5), rough=0.4, metal=0.0, glow=0.0, pad=0.0
):
    if n >= MAXPRIM:
        return n
    e = arr[n]
    e["type"], e["p"], e["q"], e["r"], e["r2"], e["col"], e["rough"], e["metal"], e["glow"], e["pad"] = (
        type_,
        p,
        q,
        r,
        r2,
        col,
        rough,
        metal,
        glow,
        pad,
    )
    return n + 1


def boxes_of(prims, n):
    """Boxes that hold GROUP prims each, lowest and highest corner; trace.h skips those that a ray misses."""
    p, q, r = prims["p"], prims["q"], prims["r"][:, None]
    low, high = np.minimum(p, q) - r, np.maximum(p, q) + r  # a rod with round ends
    upright = np.isin(prims["type"], (1, 2, 3))
    boxy = prims["type"] >= 5
    reach = np.where(boxy[:, None], np.hypot(q[:, :1], q[:, 1:2]), r)
    other = upright | boxy
    low[other, :2], high[other, :2] = (p[:, :2] - reach)[other], (p[:, :2] + reach)[other]
    low[other, 2], high[other, 2] = np.minimum(p[:, 2], q[:, 2])[other], np.maximum(p[:, 2], q[:, 2])[other]
    low[n:], high[n:] = 1e6, -1e6
    low, high = low.reshape(-1, GROUP, 3).min(1), high.reshape(-1, GROUP, 3).max(1)
    return np.concatenate([low - 1e-3, high + 1e-3], 1)


def real_part(rng, arr, n, kind, x, y, h, turn, form):
    """The real part that stands on the top of some kits' cubes; (u, v) is its place at turn 0."""

    def at(u, v):
        for _ in range(turn):
            u, v = -v, u
        return x + 0.5 + u, y + 0.5 + v

    u, v = form["place"].get(kind, (0.0, 0.0))
    px, py = at(u, v)
    z = h
    coat = {
        "black": np.array([0.03, 0.03, 0.035]),
        "pale": hsv(rng, s=(0, 0.2), v=(0.5, 0.9)),
        "coloured": hsv(rng, s=(0.6, 1), v=(0.3, 0.9)),
    }[form["coat"]]
    if kind == "potentiometer":
        n = prim(
            arr,
            n,
            1,
            (px, py, z),
            (0, 0, z + form["kh"]),
            form["kr"],
            form["kr"] * 0.15,
            coat,
            0.4,
            pad=rng.uniform(0, 6.28),
        )
        if rng.random() < 0.5:
            n = prim(arr, n, 1, (px, py, z), (0, 0, z + form["kh"] * 0.3), form["kr"] * 1.2, 0, coat, 0.4)
    elif kind == "lamp":
        n = prim(
            arr,
            n,
            2,
            (px, py, z),
            (0, 0, z + form["lh"]),
            form["lr"],
            0,
            hsv(rng, h=0.13, s=(0, 0.3), v=(0.7, 1)),
            0.1,
            glow=rng.choice([0, 0, 0.5]),
        )
    elif kind == "led":
        c = hsv(rng, h=rng.choice([0, 0.33, 0.15, 0.62, 0.07, 0.0]), s=(0.2, 1), v=(0.5, 1))
        r = form["er"]
        n = prim(arr, n, 1, (px, py, z), (0, 0, z + r * 0.8), r, 0, c, 0.2)
        n = prim(
            arr,
            n,
            2,
            (px, py, z + r * 0.8),
            (0, 0, z + r * 2.0),
            r * 0.95,
            0,
            c,
            0.1,
            glow=rng.choice([0, 0, 0.6]),
        )
    elif kind == "switch":
        a = rng.uniform(0, 6.28) if rng.random() < 0.3 else (turn * math.pi / 2)
        n = prim(arr, n, 5, (px, py, z + 0.06), (0.09, 0.05, z), a, 0, (0.4, 0.4, 0.42), 0.3, 0.0)
        dx, dy = math.cos(a) * 0.08 * rng.choice([-1, 1]), math.sin(a) * 0.08
        n = prim(
            arr,
            n,
            4,
            (px, py, z + 0.05),
            (px + dx, py + dy, z + 0.2),
            0.025,
            0,
            (0.7, 0.7, 0.7),
            0.2,
            float(rng.random() < 0.6),
        )
    elif kind == "pushbutton":
        n = prim(
            arr,
            n,
            1,
            (px, py, z),
            (0, 0, z + 0.1 * rng.uniform(0.5, 1.6)),
            form["br"],
            0,
            coat if rng.random() < 0.6 else hsv(rng, s=(0.4, 1), v=(0.3, 0.9)),
            0.35,
        )
    elif kind == "photoresistor":
        n = prim(arr, n, 1, (px, py, z), (0, 0, z + 0.08), form["er"] * 1.2, 0, (0.75, 0.7, 0.65), 0.4)
        n = prim(
            arr,
            n,
            1,
            (px, py, z),
            (0, 0, z + 0.082),
            form["er"] * 0.6,
            0,
            hsv(rng, h=0.02, s=(0.3, 0.9), v=(0.3, 0.8)),
            0.4,
        )
    elif kind in ("buzzer", "microphone", "speaker"):
        r = {"buzzer": form["kr"] * 1.1, "microphone": form["er"] * 1.25, "speaker": form["kr"]}[kind]
        n = prim(
            arr, n, 3, (px, py, z), (0, 0, z + form["kh"] * rng.uniform(0.3, 1.0)), r, r * 0.2, coat, 0.4
        )
    elif kind in ("thermistor", "electrolytic", "npn", "pnp"):
        n = prim(arr, n, 2, (px, py, z), (0, 0, z + form["er"] * 2), form["er"], 0, coat, 0.4)
    return n


PARTS = (
    "potentiometer",
    "lamp",
    "led",
    "switch",
    "pushbutton",
    "photoresistor",
    "buzzer",
    "microphone",
    "speaker",
)


def look_at(rng, cols, rows, h, W, H, tilt, az, roll, fov, fill):
    """Camera so that the whole plate lies in the picture; returns position, axes, focal length in pixels."""
    f = max(W, H) / 2 / math.tan(math.radians(fov) / 2)
    t = math.radians(tilt)
    a = math.radians(az)
    ez = np.array([math.sin(t) * math.sin(a), -math.sin(t) * math.cos(a), -math.cos(t)])
    r = math.radians(roll)
    # image "down" is the plate's +y for roll 0
    ex0 = np.array([math.cos(r), math.sin(r), 0.0])
    ex = ex0 - ez * (ex0 @ ez)
    ex /= np.linalg.norm(ex)
    ey = np.cross(ex, ez)
    off = 0.3 if rng.random() < 0.75 else 1.6
    c = np.array([cols / 2 + rng.normal() * off, rows / 2 + rng.normal() * off, h * 0.5])
    m = 0.4
    corners = np.array([[-m, -m, h], [cols + m, -m, h], [cols + m, rows + m, h], [-m, rows + m, h]])
    lo, hi = 2.0, 80.0
    for _ in range(30):
        D = (lo + hi) / 2
        pos = c - ez * D
        v = corners - pos
        z = v @ ez
        x, y = v @ ex / np.maximum(z, 1e-3) * f, v @ ey / np.maximum(z, 1e-3) * f
        ok = (z > 0.5).all() and (np.abs(x) < W / 2 * fill).all() and (np.abs(y) < H / 2 * fill).all()
        if ok:
            hi = D
        else:
            lo = D
    pos = c - ez * hi
    return pos, ex, ey, ez, f, hi


class Maker:
    """Makes scenes from a book of labels: `by_press[p][kind]` lists label numbers."""

    def __init__(self, kinds, press, texts, boxes, markers, seed):
        self.kinds, self.texts, self.boxes, self.markers = kinds, texts, boxes, markers
        self.rng = np.random.default_rng(seed)
        self.by = {}
        for i, (k, p) in enumerate(zip(kinds, press)):
            self.by.setdefault(int(p), {}).setdefault(int(k), []).append(i)
        self.presses = list(self.by)
        self.alike = 0.3  # how often a lead has the colour of the one before
        self.any = {}
        for i, k in enumerate(kinds):
            self.any.setdefault(int(k), []).append(i)

    def label(self, press, kind):
        if press is None:
            lst = self.any[kind]
        else:
            lst = self.by[press].get(kind) or self.any[kind]
        return lst[self.rng.integers(len(lst))]

    def make(
        self,
        W,
        H,
        *,
        mixed=None,
        cols=None,
        rows=None,
        full=None,
        rect=None,
        n_leads=None,
        tilt=None,
        strangers=True,
        hands=0.1,
        trouble=True,
    ):
        """One scene: (SCENE, CELL grid, PRIM list, Truth). `rect` = pixels per cell for a straight view onto the tops;
        `strangers`: cubes that are not in the kit, too; `hands`: how often a hand reaches in; `trouble`: cubes that lie
        about, stickers, colours that hardly stand out."""
        rng = self.rng
        S = np.zeros((), SCENE)
        cells = np.zeros((GRID, GRID), CELL)
        cells["label"] = -1
        prims = np.zeros(MAXPRIM, PRIM)
        n = 0
        cols = cols or int(rng.integers(4, 15))
        rows = rows or int(rng.integers(4, 10))
        if rng.random() < 0.12 and rect is None:
            cols, rows = int(rng.integers(4, 9)), int(rng.integers(5, 10))
        mixed = rng.random() < 0.3 if mixed is None else mixed
        h = rng.uniform(0.42, 1.05)
        S["cols"], S["rows"], S["h"] = cols, rows, h
        S["gap"] = rng.uniform(0.012, 0.07)
        S["bevel"] = rng.choice([0, rng.uniform(0.005, 0.05)])
        markers = rng.random() < 0.22
        S["margin"] = rng.uniform(0.6, 1.15) if markers else rng.uniform(0.05, 0.5)
        S["plate_r"] = rng.choice([0.02, rng.uniform(0.02, 0.45)])
        S["plate_t"] = rng.uniform(0.03, 0.15)
        S["seed"] = rng.integers(1 << 30)
        # --- cubes
        n_cells = cols * rows
        occ = grow(rng, cols, rows, int(n_cells * rng.uniform(0.2, 0.85)) if not full else n_cells)
        press = self.presses[rng.integers(len(self.presses))]
        scheme = rng.choice(["one", "two", "many"], p=[0.55, 0.3, 0.15])
        pal0 = palette(rng)
        pal1 = palette(rng)
        rough = rng.uniform(0.12, 0.8)
        spec = rng.uniform(0.02, 0.06)
        wires = {KIND_NO[k] for k in ("straight", "corner", "tee", "cross", "crossover", "ground")}
        T = Truth(cols, rows, -np.ones((GRID, GRID), int), np.zeros((GRID, GRID), int))
        parts_on = rng.random() < 0.45
        form = {
            "place": {},
            "coat": rng.choice(["black", "pale", "coloured"], p=[0.5, 0.2, 0.3]),
            "kh": rng.uniform(0.12, 0.4),
            "kr": rng.uniform(0.1, 0.2),
            "lh": rng.uniform(0.1, 0.3),
            "lr": rng.uniform(0.1, 0.22),
            "er": rng.uniform(0.05, 0.11),
            "br": rng.uniform(0.07, 0.15),
        }
        for k in PARTS + ("thermistor",):
            c = rng.random()
            form["place"][k] = (
                (0.0, 0.0)
                if c < 0.15 and k in ("lamp", "potentiometer", "switch", "pushbutton")
                else (
                    rng.choice([-1, 1]) * rng.uniform(0.12, 0.33),
                    rng.choice([-1, 1]) * rng.uniform(0.12, 0.33),
                )
            )
        if rng.random() < 0.5:
            form["place"]["lamp"] = (0.0, 0.0)
        if rng.random() < 0.6:  # the lever stands about where the symbol's own lever is drawn
            form["place"]["switch"] = (rng.uniform(-0.15, 0.15), rng.uniform(-0.3, -0.05))
        if rng.random() < 0.4:
            form["place"]["pushbutton"] = (rng.uniform(-0.25, 0.25), rng.uniform(-0.3, 0.3))
        weights = np.ones(len(NAMES))
        for k in ("tee", "corner", "straight", "ground", "resistor"):
            weights[KIND_NO[k]] = 2.2
        for k in ("electrolytic", "npn", "socket"):
            weights[KIND_NO[k]] = 1.5
        weights[OTHER] = 0.8 if strangers else 0.0
        weights /= weights.sum()
        one_kind_col = {}
        for y in range(rows):
            for x in range(cols):
                if not occ[y, x]:
                    continue
                k = int(rng.choice(len(NAMES), p=weights))
                turn = int(rng.integers(4))
                own = mixed and rng.random() < 0.7
                lab = self.label(None if own else press, k)
                if own:
                    pal = palette(rng)
                elif scheme == "one":
                    pal = pal0
                elif scheme == "two":
                    pal = pal0 if k in wires else pal1
                else:
                    pal = one_kind_col.setdefault(k, palette(rng))
                c = cells[y, x]
                c["label"], c["turn"] = lab, turn
                c["top"], c["side"], c["ink"], c["acc"], c["pan"] = pal
                c["rough"], c["spec"] = rough, spec
                c["lift"] = rng.normal() * 0.004
                if rng.random() < 0.7:
                    for s in CONTACTS.get(NAMES[k], "WE"):
                        c["pads"] |= 1 << ((SIDES.index(s) + turn) % 4)
                T.kind[y, x], T.turn[y, x] = k, turn
                T.text[(x, y)] = self.texts[lab]
                T.box[(x, y)] = self.boxes[lab]
                if (parts_on and NAMES[k] in PARTS and rng.random() < 0.9) or rng.random() < 0.01:
                    n = real_part(rng, prims, n, NAMES[k], x, y, h, turn, form)
        # --- contacts that stand out a little and are seen in the seams from above
        if rng.random() < 0.3:
            brass = np.array([0.55, 0.4, 0.14]) if rng.random() < 0.7 else hsv(rng, s=(0, 0.15), v=(0.5, 0.9))
            out, wide, up = rng.uniform(0.005, 0.03), rng.uniform(0.05, 0.14), rng.uniform(-0.05, 0.012)
            places = [(x, y, s) for y in range(rows) for x in range(cols) if occ[y, x] for s in range(4)]
            for x, y, s in (places[i] for i in rng.permutation(len(places))):
                if n >= MAXPRIM // 3 or not cells[y, x]["pads"] & (1 << s):
                    continue
                dx, dy = STEP[SIDES[s]]
                half = (out, wide, h * 0.4) if dx else (wide, out, h * 0.4)
                at = (x + 0.5 + 0.49 * dx, y + 0.5 + 0.49 * dy, h + up)
                n = prim(prims, n, 5, at, half, 0.0, 0, brass, 0.3, 1.0)
        # --- sockets and taps
        sock_r = rng.uniform(0.085, 0.13)
        sock_hole = sock_r * rng.uniform(0.4, 0.7)
        sock_col = np.array([0.5, 0.4, 0.18]) if rng.random() < 0.5 else hsv(rng, s=(0, 0.15), v=(0.1, 0.9))
        sock_metal = float(rng.random() < 0.6)
        sock_x = rng.uniform(0.14, 0.22)
        sock_y = rng.uniform(-0.08, 0.06) if rng.random() < 0.5 else 0.0
        sock_h = rng.uniform(0.005, 0.08)
        for y in range(rows):
            for x in range(cols):
                if T.kind[y, x] == KIND_NO["socket"]:
                    for s in (1, -1):
                        u, v = s * sock_x, sock_y
                        for _ in range(T.turn[y, x]):
                            u, v = -v, u
                        n = prim(
                            prims,
                            n,
                            3,
                            (x + 0.5 + u, y + 0.5 + v, h),
                            (0, 0, h + sock_h),
                            sock_r,
                            sock_hole,
                            sock_col,
                            0.3,
                            sock_metal,
                        )
                        T.ends.append((x + 0.5 + u, y + 0.5 + v, h + sock_h, "E" if s > 0 else "W", x, y))
        seams = [(x, y, 0) for y in range(rows) for x in range(cols - 1) if occ[y, x] and occ[y, x + 1]]
        seams += [(x, y, 1) for y in range(rows - 1) for x in range(cols) if occ[y, x] and occ[y + 1, x]]
        if n_leads is None:
            n_leads = int(rng.choice([0, 1, 2, 3, 4, 5, 6], p=[0.25, 0.15, 0.17, 0.16, 0.14, 0.08, 0.05]))
        n_taps = int(min(len(seams), rng.integers(0, 3) + (2 * n_leads if rng.random() < 0.85 else 0)))
        tap_col = (
            hsv(rng, h=rng.choice([0, 0.6, 0.33, 0.15]), s=(0.6, 1), v=(0.3, 0.9))
            if rng.random() < 0.5
            else hsv(rng, s=(0, 0.1), v=(0.02, 0.95))
        )
        tap_r = rng.uniform(0.075, 0.125)
        tap_h = rng.uniform(0.03, 0.2)
        if len(seams):
            for i in rng.choice(len(seams), n_taps, replace=False):
                x, y, ax = seams[i]
                T.taps.add((x, y, ax))
                cx, cy = (x + 1, y + 0.5) if ax == 0 else (x + 0.5, y + 1)
                o = rng.normal() * 0.03
                cx, cy = (cx, cy + o) if ax == 0 else (cx + o, cy)
                half = rng.uniform(0.12, 0.3)
                q = (0.02, half, 0) if ax == 0 else (half, 0.02, 0)
                n = prim(
                    prims,
                    n,
                    5,
                    (cx, cy, h + tap_h * rng.uniform(0.2, 0.7)),
                    (q[0], q[1], 0.0),
                    0.0,
                    0,
                    tap_col,
                    0.4,
                )
                r = tap_r
                n = prim(
                    prims,
                    n,
                    3,
                    (cx, cy, h),
                    (0, 0, h + tap_h),
                    r,
                    r * rng.uniform(0.35, 0.65),
                    tap_col,
                    0.35,
                    float(rng.random() < 0.2),
                )
                T.ends.append((cx, cy, h + tap_h, "tap", x, y, ax))
        # --- leads
        order = list(rng.permutation(len(T.ends)))
        S["nlead_from"] = n
        bundled = rng.uniform(0.2, 0.8) if rng.random() < 0.3 else 0.0
        for _ in range(min(n_leads, len(order) // 2)):
            if n + 22 > MAXPRIM:  # half a lead would be a lie
                break
            beside = bool(T.plugs) and rng.random() < bundled
            if beside:  # close to the lead before, and bent like it
                a, b = (self._nearest(T, order, end) for end in T.plugs[-1])
            else:
                a, b = order.pop(), order.pop()
            n = self._lead(prims, n, T, a, b, h, beside)
        # --- things on the table
        if rect is None and rng.random() < 0.45:
            for _ in range(int(rng.integers(1, 4))):
                ang, rad = rng.uniform(0, 6.28), max(cols, rows) * rng.uniform(0.62, 1.0)
                px, py = cols / 2 + math.cos(ang) * rad, rows / 2 + math.sin(ang) * rad
                if (
                    -0.8 - S["margin"] < px < cols + 0.8 + S["margin"]
                    and -0.8 - S["margin"] < py < rows + 0.8 + S["margin"]
                ):
                    continue
                c = hsv(rng)
                t = rng.random()
                if t < 0.4:
                    n = prim(
                        prims,
                        n,
                        5,
                        (px, py, rng.uniform(0.05, 0.8)),
                        (rng.uniform(0.3, 1.2), rng.uniform(0.3, 1.2), -0.2),
                        rng.uniform(0, 6),
                        0,
                        c,
                        0.4,
                    )
                elif t < 0.7:
                    a2 = rng.uniform(0, 6.28)
                    n = (
                        prim(
                            prims,
                            n,
                            4,
                            (px, py, 0.12),
                            (px + 4 * math.cos(a2), py + 4 * math.sin(a2), 0.12),
                            0.13,
                            0,
                            c,
                            0.3,
                        )
                        if rad > max(cols, rows) * 0.8
                        else n
                    )
                else:
                    n = prim(
                        prims,
                        n,
                        1,
                        (px, py, -0.2),
                        (0, 0, rng.uniform(0.1, 1.2)),
                        rng.uniform(0.3, 1.0),
                        0,
                        c,
                        0.3,
                    )
        if trouble:
            n = self._strewn(prims, n, T, S, occ, press, pal0, h, rect is not None)
            n = self._stickers(prims, n, occ, S, h)
        if rng.random() < hands:
            n = self._hand(prims, n, cols, rows, h, float(S["margin"]))
        S["nprim"], S["group"] = n, boxes_of(prims, n)
        # --- plate
        kind = rng.random()
        if kind < 0.35:
            g = rng.uniform(0.05, 0.65)
            S["plate"] = np.array([g, g, g * rng.uniform(0.95, 1.15)])
            S["plate_spec"], S["plate_rough"] = 0.55, rng.uniform(0.15, 0.5)
            S["brushed"] = rng.choice([0, 1, 2])
        else:
            S["plate"] = (
                hsv(rng, s=(0, 0.9), v=(0.1, 0.95))
                if rng.random() < 0.6
                else hsv(rng, s=(0, 0.1), v=(0.2, 0.95))
            )
            S["plate_spec"], S["plate_rough"] = 0.04, rng.uniform(0.15, 0.8)
        S["plate2"] = np.clip(S["plate"] * rng.uniform(0.7, 1.3), 0, 1)
        S["plate_pat"] = int(rng.choice([0, 1, 2, 3, 4], p=[0.4, 0.22, 0.17, 0.15, 0.06]))
        S["pat_col"] = (
            hsv(rng, s=(0, 0.3), v=(0.6, 1))
            if lum(S["plate"]) < 0.25
            else hsv(rng, s=(0, 0.5), v=(0.05, 0.5))
        )
        S["pat_a"], S["pat_w"] = rng.uniform(0.25, 0.95), rng.uniform(0.008, 0.03)
        S["holes"] = int(rng.random() < 0.25 and not markers)
        S["marker"] = self.markers if markers else -1
        S["marker_size"] = S["margin"] * rng.uniform(0.6, 0.9)
        # --- table and light
        S["table"] = int(rng.integers(0, 7))
        S["tab1"], S["tab2"] = hsv(rng, s=(0, 0.7), v=(0.08, 0.95)), hsv(rng, s=(0, 0.7), v=(0.08, 0.95))
        if S["table"] == 1 and rng.random() < 0.7:
            S["tab1"], S["tab2"] = (
                hsv(rng, h=rng.uniform(0.04, 0.11), s=(0.3, 0.7), v=(0.2, 0.9)),
                hsv(rng, h=rng.uniform(0.04, 0.11), s=(0.3, 0.7), v=(0.2, 0.9)),
            )
        elif rng.random() < 0.6:
            S["tab2"] = S["tab1"] * rng.uniform(0.5, 1.3)
        S["tab_scale"], S["tab_ang"], S["tab_rough"] = (
            math.exp(rng.uniform(-0.7, 0.9)),
            rng.uniform(0, 6.28),
            rng.uniform(0.2, 0.8),
        )
        if trouble and rng.random() < 0.16:  # the plate hardly stands out from the table
            k = math.exp(rng.normal() * 0.25)
            S["tab1"] = np.clip(S["plate"] * k, 0.005, 0.95)
            S["tab2"] = np.clip(S["tab1"] * math.exp(rng.normal() * 0.3), 0.005, 0.95)
        if trouble and rng.random() < 0.1:  # the plate has about the colour of the cubes
            S["plate"] = np.clip(pal0[rng.integers(2)] * math.exp(rng.normal() * 0.2), 0, 0.95)
            S["plate2"] = np.clip(S["plate"] * rng.uniform(0.8, 1.2), 0, 1)
        nl = int(rng.choice([0, 1, 2, 3], p=[0.12, 0.5, 0.28, 0.1]))
        S["nlight"] = nl
        amb = math.exp(rng.uniform(-1.2, 0.3))
        warm = lambda: np.array([1, rng.uniform(0.75, 1.05), rng.uniform(0.5, 1.25)])
        S["sky"], S["horizon"] = warm() * amb * rng.uniform(0.5, 1.3), warm() * amb * rng.uniform(0.2, 1.0)
        S["sidecol"] = warm() * amb * rng.choice([0, rng.uniform(0, 1.5)])
        S["env_seed"], S["env_con"] = rng.uniform(0, 6.28), rng.choice([0, rng.uniform(0, 1.0)])
        for i in range(nl):
            el, az = math.radians(rng.uniform(22, 85)), rng.uniform(0, 6.28)
            S["ldir"][i] = (math.cos(el) * math.cos(az), math.cos(el) * math.sin(az), math.sin(el))
            S["lcol"][i] = warm() * math.exp(rng.uniform(0.0, 1.7)) * (1.0 if i == 0 else 0.6)
            S["lsize"][i] = rng.choice([0.006, rng.uniform(0.03, 0.12), rng.uniform(0.1, 0.45)])
            S["lbox"][i] = rng.choice([0, 1, 2]) if S["lsize"][i] > 0.08 else 0
        if nl and rng.random() < 0.22:
            a = rng.uniform(0, 6.28)
            nx, ny = math.cos(a), math.sin(a)
            S["shadow_edge"] = (
                nx,
                ny,
                nx * rng.uniform(0, cols) + ny * rng.uniform(0, rows),
                rng.uniform(0.4, 0.95),
            )
        S["wear"] = rng.choice([0, 0, rng.uniform(0, 0.7 if rng.random() < 0.8 else 0.95)])
        S["grain"] = rng.choice([0, rng.uniform(0, 0.25)])
        # --- camera
        if tilt is None:  # seen from the side, the sides of cubes look like tops
            tilt = min(42, abs(rng.normal()) * 14) if rng.random() < 0.6 else rng.uniform(18, 50)
        az, roll = rng.uniform(0, 360), rng.normal() * 9
        if rng.random() < 0.6:
            az = rng.normal() * 15
        if rng.random() < 0.3:
            roll = rng.uniform(-45, 45)
        fov = rng.uniform(48, 80)
        wide = rng.random() < 0.1
        if wide:
            fov = rng.uniform(80, 105)
        fill = rng.uniform(0.72, 1.0) if rng.random() < 0.8 else rng.uniform(0.4, 0.75)
        if rng.random() < 0.08:  # a corner may be cut off
            fill = rng.uniform(1.0, 1.2)
        pos, ex, ey, ez, f, D = look_at(
            rng,
            cols,
            rows,
            h,
            W if rect is None else 1600,
            H if rect is None else 1200,
            tilt,
            az,
            roll,
            fov,
            fill,
        )
        S["cam"], S["ex"], S["ey"], S["ez"], S["f"] = pos, ex, ey, ez, f
        S["cx"], S["cy"] = W / 2, H / 2
        S["k1"] = rng.normal() * 0.03 if not wide else rng.uniform(-0.13, 0.03)
        S["aperture"] = rng.choice([0, rng.uniform(0, 0.05), rng.uniform(0.0, 0.12)], p=[0.5, 0.4, 0.1])
        S["focus"] = D * rng.uniform(0.85, 1.15)
        if rect is not None:
            S["mode"] = 1
        T.cam = {"f": f, "pos": pos, "D": D, "h": h}
        return S, cells, prims, T

    def _strewn(self, prims, n, T, S, occ, press, pal, h, near):
        """Cubes that are not snapped in: beside the plate, or on it, turned and off the cells."""
        rng = self.rng
        rows, cols = occ.shape
        m = float(S["margin"])
        side = 0.5 - float(S["gap"]) / 2
        if rng.random() < (0.0 if near else 0.14):
            for _ in range(int(rng.integers(1, 7))):
                a, r = rng.uniform(0, 6.28), rng.uniform(0.75, 2.2)
                x = cols / 2 + math.cos(a) * (cols / 2 + m + r)
                y = rows / 2 + math.sin(a) * (rows / 2 + m + r)
                if -0.72 - m < x < cols + 0.72 + m and -0.72 - m < y < rows + 0.72 + m:
                    continue
                n = self._loose(prims, n, T, press, pal, x, y, -float(S["plate_t"]), h, side)
        if rng.random() < (0.12 if near else 0.1):
            free = []
            for y in range(rows):
                for x in range(cols):
                    around = occ[max(0, y - 1) : y + 2, max(0, x - 1) : x + 2]
                    if not occ[y, x] and around.sum() <= (1 if near else 0):
                        free.append((x, y))
            for i in rng.permutation(len(free))[: int(rng.integers(1, 4))]:
                x, y = free[i]
                beside = occ[max(0, y - 1) : y + 2, max(0, x - 1) : x + 2].any()
                off = 0.06 if beside else 0.4
                cx, cy = x + 0.5 + rng.uniform(-off, off), y + 0.5 + rng.uniform(-off, off)
                if any(math.hypot(cx - u, cy - v) < 1.45 for u, v, _ in T.loose):
                    continue
                n = self._loose(prims, n, T, press, pal, cx, cy, 0.0, h, side * (0.75 if beside else 1.0))
                for v in range(int(cy) - 1, int(cy) + 2):
                    for u in range(int(cx) - 1, int(cx) + 2):
                        part = max(0, 1 - abs(u + 0.5 - cx)) * max(0, 1 - abs(v + 0.5 - cy))
                        T.strewn[(u, v)] = max(T.strewn.get((u, v), 0.0), part)
        return n

    def _loose(self, prims, n, T, press, pal, x, y, z, h, side):
        rng = self.rng
        angle = rng.integers(4) * math.pi / 2 + math.radians(rng.uniform(12, 78))
        printed = rng.random() < 0.8  # else it lies on its side
        label = self.label(press, int(rng.integers(len(KINDS))))
        top, edge, ink = pal[0], pal[1], lum(pal[2])
        n2 = prim(
            prims, n, 6 if printed else 5, (x, y, z + h), (side, side, z), angle, 0, top if printed else edge, 0.4,
            metal=ink if printed else 0.0, pad=float(label),
        )  # fmt: skip
        if n2 > n:
            T.loose.append((x, y, z + h))
        return n2

    def _stickers(self, prims, n, occ, S, h):
        """Paper on tops, or on the plate, some of it written on."""
        rng = self.rng
        rows, cols = occ.shape
        for on_top, how_often in ((True, 0.07), (False, 0.14)):
            if rng.random() > how_often:
                continue
            places = np.argwhere(occ == on_top)
            for i in rng.permutation(len(places))[: int(rng.integers(1, 4))]:
                y, x = places[i]
                col = (
                    hsv(rng, s=(0, 0.15), v=(0.75, 1))
                    if rng.random() < 0.6
                    else hsv(rng, s=(0.4, 1), v=(0.5, 1))
                )
                a, b = rng.uniform(0.08, 0.3, 2) if on_top else rng.uniform(0.15, 0.45, 2)
                reach = 0.46 - max(a, b)
                u, v = x + 0.5 + rng.uniform(-1, 1) * reach, y + 0.5 + rng.uniform(-1, 1) * reach
                z = (h if on_top else 0.0) + 0.012
                written = rng.random() < 0.5
                label = self.any[int(rng.integers(len(KINDS)))]
                n = prim(
                    prims, n, 6 if written else 5, (u, v, z), (a, b, z - 0.01), rng.uniform(0, 6.28), 0, col, 0.6,
                    metal=rng.uniform(0.0, 0.2) if written else 0.0, pad=float(label[rng.integers(len(label))]),
                )  # fmt: skip
        return n

    def _hand(self, prims, n, cols, rows, h, margin):
        """A hand that points or holds: fingers, palm and arm as round rods."""
        rng = self.rng
        skin = hsv(rng, h=rng.uniform(0.02, 0.09), s=(0.25, 0.65), v=(0.25, 0.95))
        a = rng.uniform(0, 6.28)
        out = np.array([math.cos(a), math.sin(a)])
        if rng.random() < 0.5:  # fingers over the board
            tip = np.array([rng.uniform(0.3, cols - 0.3), rng.uniform(0.3, rows - 0.3)])
        else:  # at the plate's edge
            k = min(
                (cols / 2 + margin) / max(abs(out[0]), 1e-3), (rows / 2 + margin) / max(abs(out[1]), 1e-3)
            )
            tip = np.array([cols / 2, rows / 2]) + out * (k - rng.uniform(0.0, 0.8))
        across = np.array([-out[1], out[0]])
        r = rng.uniform(0.26, 0.42)
        z = h + r + rng.uniform(0.0, 0.3)
        n0, palm = n, tip + out * rng.uniform(2.6, 3.6) * (r / 0.34)
        for i in range(int(rng.integers(1, 5))):
            start = tip + across * (i * 2.1 * r) + out * (0 if i == 0 else rng.uniform(0.1, 1.6))
            root = palm + across * ((i - 1.2) * 1.7 * r)
            mid = (start + root) / 2
            up = z + rng.uniform(0.1, 0.8)
            n = prim(prims, n, 4, (*start, z), (*mid, up), r, 0, skin, 0.6)
            n = prim(prims, n, 4, (*mid, up), (*root, z + 0.3), r * 1.08, 0, skin, 0.6)
        for i in (-1, 0, 1):
            a0, a1 = palm + across * i * 1.2 * r, palm + out * 2.4 + across * i * 0.8 * r
            n = prim(prims, n, 4, (*a0, z + 0.3), (*a1, z + 0.5), r * 1.5, 0, skin, 0.6)
        sleeve = skin if rng.random() < 0.4 else hsv(rng)
        n = prim(
            prims,
            n,
            4,
            (*(palm + out * 2.6), z + 0.6),
            (*(palm + out * 12), z + 1.5),
            r * 2.2,
            0,
            sleeve,
            0.7,
        )
        return n if n > n0 else n0

    def _nearest(self, T, order, end):
        """Takes the free socket that is nearest to `end` out of `order`."""
        gap = [math.dist(T.ends[i][:2], T.ends[end][:2]) for i in order]
        return order.pop(int(np.argmin(gap)))

    def _lead(self, prims, n, T, a, b, h, beside=False):
        rng = self.rng
        A, B = np.array(T.ends[a][:3]), np.array(T.ends[b][:3])
        if not beside:
            self._bent = {
                "tilt": rng.uniform(0, 0.7, 2),
                "turn": rng.normal(size=2) * 0.9,
                "lift": rng.uniform(0.1, 0.7),
                "side": rng.normal(size=2) * 0.35,
                "arch": rng.uniform(0.15, 0.5),
                "sag": rng.uniform(0, 0.5),
                "waves": (rng.uniform(1.5, 3.5), rng.normal() * 0.12, rng.uniform(0, 0.35)),
            }
        bent = self._bent
        col = (
            hsv(rng, h=rng.choice([0.0, 0.13, 0.36, 0.6, 0.08, 0.8]), s=(0.6, 1), v=(0.25, 0.95))
            if rng.random() < 0.75
            else hsv(rng, s=(0, 0.1), v=(0.02, 0.95))
        )
        if T.plugs and rng.random() < self.alike:
            col = self._last_col
        self._last_col = col
        r = rng.uniform(0.03, 0.09)
        pr = max(r * 1.1, rng.uniform(0.06, 0.115))
        pl = rng.uniform(0.22, 0.5)
        rough = rng.uniform(0.2, 0.6)
        pts = []
        for (P, Q), tilt, turn in zip(((A, B), (B, A)), bent["tilt"], bent["turn"]):
            ang = math.atan2(Q[1] - P[1], Q[0] - P[0]) + turn + rng.normal() * 0.1
            d = np.array([math.cos(ang) * math.sin(tilt), math.sin(ang) * math.sin(tilt), math.cos(tilt)])
            top = P + d * pl
            pcol = col if rng.random() < 0.85 else hsv(rng, s=(0, 1), v=(0.05, 0.9))
            n = prim(prims, n, 4, P + d * 0.02, P + d * pl * 0.6, pr, 0, pcol, rough)
            n = prim(prims, n, 4, P + d * pl * 0.6, top, (pr + r) / 2, 0, pcol, rough)
            pts.append((P, d, top))
        L = np.linalg.norm(B[:2] - A[:2])
        lift = bent["lift"] * min(1.5, 0.4 + L * 0.3)
        side = np.array([-(B - A)[1], (B - A)[0], 0]) / max(L, 0.3)
        s1, s2 = (bent["side"] + rng.normal(size=2) * 0.02) * max(L, 1.0)
        k = bent["arch"] * max(L, 0.8)
        c0, c3 = pts[0][2], pts[1][2]
        c1 = c0 + pts[0][1] * k + side * s1 * 0.6 + np.array([0, 0, lift * 0.4])
        c2 = c3 + pts[1][1] * k + side * s2 * 0.6 + np.array([0, 0, lift * 0.4])
        t = np.linspace(0, 1, 17)[:, None]
        path = (1 - t) ** 3 * c0 + 3 * (1 - t) ** 2 * t * c1 + 3 * (1 - t) * t**2 * c2 + t**3 * c3
        path[:, 2] = np.maximum(path[:, 2] - (4 * t * (1 - t))[:, 0] * bent["sag"] * L * 0.3, h + r)
        many, first, wide = bent["waves"]
        path[:, :2] += np.sin(t * math.pi) * np.sin(t * math.pi * many + first) * wide * side[:2]
        for p, q in zip(path[:-1], path[1:]):
            n = prim(prims, n, 4, p, q, r, 0, col, rough)
        T.plugs.append((a, b))
        T.paths.append(np.vstack([A, path, B]))
        return n


def project(S, pts):
    """(n, 3) points to pixels (mode 0)."""
    v = np.asarray(pts, np.float64) - S["cam"]
    x, y, z = v @ S["ex"], v @ S["ey"], v @ S["ez"]
    x, y = x / z, y / z
    r2 = x * x + y * y
    return np.stack(
        [S["cx"] + S["f"] * x * (1 + S["k1"] * r2), S["cy"] + S["f"] * y * (1 + S["k1"] * r2)], -1
    )


def along(points, n):
    """(k, d) points to n on the line through them, evenly by their numbers."""
    t = np.linspace(0, len(points) - 1, n)
    return np.stack([np.interp(t, np.arange(len(points)), c) for c in points.T], -1)


def to_tops(S, pts):
    """(n, 3) points to where the camera sees them on the plane of the tops, in cells."""
    p = np.asarray(pts, np.float64)
    c = S["cam"].astype(np.float64)
    t = (S["h"] - c[2]) / (p[:, 2] - c[2])
    return c[:2] + (p[:, :2] - c[:2]) * t[:, None]
