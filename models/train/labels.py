"""Printed tops: symbol, value, designator and frame of one cube, as coverage of ink, accent and panel."""

from __future__ import annotations

import math
import random
import re
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont
from symbols import CONTACTS, KINDS, Hand, Sheet, draw_kind

CHARS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyzµΩ./-+ ,%±"
PREFIX = {
    "resistor": "R",
    "capacitor": "C",
    "electrolytic": "C",
    "inductor": "L",
    "diode": "D",
    "zener": "D",
    "led": "D",
    "photoresistor": "R",
    "thermistor": "R",
    "potentiometer": "P",
    "npn": "Q",
    "pnp": "Q",
    "nmos": "Q",
    "switch": "S",
    "pushbutton": "S",
    "lamp": "E",
    "fuse": "F",
    "battery": "B",
    "supply": "U",
    "audio-in": "J",
    "microphone": "M",
    "speaker": "B",
    "buzzer": "B",
    "meter": "M",
}
E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)


# --- value texts ----------------------------------------------------------------------------


class Habit:
    """How one maker prints values: what is shared by all cubes of a kit, whoever reads one of them alone."""

    def __init__(self, rng: random.Random, form: str, ohm_sign: bool = True) -> None:
        pick = lambda *pairs: rng.choices([p[0] for p in pairs], [p[1] for p in pairs])[0]
        self.form = form
        self.comma = rng.random() < 0.2
        self.zero = rng.random() < 0.72  # 0.47, or .47
        self.kilo = pick(("k", 6), ("K", 4))
        self.micro = pick(("µ", 7), ("u", 2), ("mfd", 0.5), ("MFD", 0.3))
        words = ["ohm", "Ohm", "OHM", "ohms"]
        signs = (("Ω", 6),) if ohm_sign else ()
        self.ohm = pick(*signs, (rng.choice(words), 1.6), ("", 2), ("R", 1))
        self.gap = rng.random() < (0.8 if form == "unit" else 0.15)
        self.plain = rng.random() < 0.12  # ohms written out: 4700, 220000
        self.code = pick(("", 8), ("bare", 1), ("letter", 1.6))  # 104, 473K
        self.tolerance = pick(("", 7), ("%", 1.6), ("±%", 1 if ohm_sign else 0), ("letter", 0.8))
        self.tolerances = rng.choice([("1", "5"), ("10",), ("5", "10", "20"), ("2",), ("5",)])
        self.rated = rng.random() < 0.4
        self.parted = rng.random() < 0.25  # BC 547
        self.stacked = pick((0.0, 6), (0.3, 2), (0.85, 2))  # how much of what can be is put on two lines
        self.colour = pick((str.lower, 5), (str.upper, 3), (str.title, 3))
        self.short = rng.random() < 0.12  # RED, GRN, YEL
        self.decimals = rng.random() < 0.15  # 3.0V

    def number(self, v: float) -> str:
        digits = f"{v:.4g}"
        if "e" in digits:
            digits = f"{v:.0f}"
        return self.mark(digits)

    def mark(self, digits: str) -> str:
        if digits.startswith("0.") and not self.zero:
            digits = digits[1:]
        return digits.replace(".", ",") if self.comma else digits


UNITS = {9: "G", 6: "M", 3: "k", 0: "", -3: "m", -6: "µ", -9: "n", -12: "p"}


def quantity(rng, mant: float, exp: int, unit: str, habit: Habit) -> str:
    """Print mant * 10**exp as this maker would: 4k7 (`rkm`), 4.7k (`dot`), 4.7 kΩ (`unit`)."""
    x, form = mant * 10.0**exp, habit.form
    if unit == "Ω":
        steps = (6, 3, 0)
    elif unit == "F":
        steps = (-6, -9, -12) if rng.random() > 0.02 else (-3, -6, -9, -12)
    elif unit == "H":
        steps = (0, -3, -6)
    else:
        steps = (0, -3)
    if unit == "F" and (rng.random() < 0.15 or (habit.micro in ("mfd", "MFD") and x >= 9.9e-10)):
        steps = (-6,) if x >= 9.9e-10 else steps  # 0.47µF, 0.1µ
    if unit == "A" and (rng.random() < 0.25 or not habit.zero):
        steps = (0,)
    if unit == "Ω" and rng.random() < 0.04 and x >= 1e5:
        steps = (6,)
    if unit == "Ω" and habit.plain and x < 1e6:
        return f"{x:.4g}" if x < 1000 else f"{x:.0f}"
    step = next((s for s in steps if x >= 10.0**s * 0.9999), steps[-1])
    v = x / 10.0**step
    digits = habit.number(v)
    if unit == "V" and habit.decimals and v == int(v) and v < 10:
        digits = habit.mark(f"{v:.1f}")
    pre = UNITS[step]
    micro = pre == "µ"
    if micro:
        pre = habit.micro
    elif pre == "k":
        pre = habit.kilo
    if micro and pre in ("mfd", "MFD"):
        if unit == "F":
            return digits + (" " if habit.gap or rng.random() < 0.6 else "") + pre
        pre = "u" if rng.random() < 0.5 else "µ"
    if form == "rkm":
        letter = pre or {"Ω": "R", "V": "V", "F": "F", "H": "H", "A": "A"}[unit]
        plain = f"{v:.4g}"
        if "." in plain and "e" not in plain:
            a, b = plain.split(".")
            return (
                (a if a != "0" or rng.random() < 0.5 else "")
                + letter
                + b
                + ("" if rng.random() < 0.85 or unit in "ΩV" else unit)
            )
        if unit == "Ω" and not pre:
            return digits + rng.choice(["R", "R", ""])
        if unit in "VAH":
            return digits + pre + unit
        return digits + pre + ("" if rng.random() < 0.8 else unit if unit != "Ω" else "")
    if form == "dot":
        if unit == "Ω":
            return digits + (pre or rng.choice(["", "", "R"]))
        if unit == "F":
            return digits + pre + rng.choice(["", "", "F"])
        return digits + pre + unit
    sp = " " if habit.gap else ""
    return digits + sp + pre + (habit.ohm if unit == "Ω" else unit)


def coded(rng, mant: float, exp: int, habit: Habit) -> str:
    """A capacitor's three digits (IEC 60062, clause 5): two of its picofarads and the number of noughts, 473K."""
    power = exp + 12
    two = round(mant * 10)
    return f"{two}{max(0, power - 1)}" + (rng.choice("JKMKKGF") if habit.code == "letter" else "")


def stacked(rng, habit: Habit, first: str, second: str, between: str = " ") -> str:
    """Two parts of a print, on one line or, as this maker likes it, on two."""
    return f"{first}\n{second}" if rng.random() < habit.stacked else f"{first}{between}{second}"


def random_value(rng, lo, hi, series=E24, extra=0.08):
    """A mantissa and exponent between 10**lo and 10**hi, mostly from a series, sometimes any number."""
    e = rng.randint(lo, hi)
    if rng.random() < extra:
        m = rng.randint(100, 999) / 100 if rng.random() < 0.5 else rng.randint(10, 99) / 10
    else:
        m = rng.choice(series if rng.random() < 0.6 else (10, 15, 22, 33, 47, 68)) / 10
    return m, e


def random_type(rng, known: list[str], habit: Habit) -> str:
    name = rng.choice(known) if rng.random() < 0.7 else made_up_type(rng)
    m = re.fullmatch(r"(\dN|\d?[A-Z]+?)(\d.*)", name)
    if not m or not (habit.parted or habit.stacked > rng.random()):
        return name
    return stacked(rng, habit, m[1], m[2], rng.choice([" ", " ", "-"]) if habit.parted else "")


def made_up_type(rng) -> str:
    a = rng.choice(
        [
            "BC",
            "BD",
            "BF",
            "2N",
            "2SC",
            "BS",
            "IRF",
            "IRL",
            "TIP",
            "MPSA",
            "1N",
            "BAT",
            "VN",
            "PN",
            "BSS",
            "SS",
            "S",
            "AC",
            "BUZ",
            "2SA",
            "FQP",
            "BY",
            "UF",
            "SB",
            "MBR",
            "KSP",
            "ZTX",
        ]
    )
    n = "".join(rng.choice("0123456789") for _ in range(rng.randint(2, 4)))
    return a + n + rng.choice(["", "", "", "A", "B", "C", "Z", "N", "L"])


def value_text(kind: str, rng, habit: Habit) -> str | None:
    """What is printed on one cube of `kind`, lines parted by a line feed, or None."""
    q = lambda m, e, u: quantity(rng, m, e, u, habit)
    if kind == "resistor":
        t = q(*random_value(rng, 0, 6), "Ω")
        if habit.tolerance == "letter" and habit.form == "rkm" and not habit.plain:
            return t + rng.choice("JJFGK")
        if habit.tolerance in ("%", "±%") and rng.random() < 0.7:
            part = ("±" if habit.tolerance == "±%" else "") + rng.choice(habit.tolerances) + "%"
            return stacked(rng, habit, t, part)
        return t
    if kind in ("photoresistor", "thermistor", "potentiometer"):
        return q(*random_value(rng, 2, 6, extra=0.04), "Ω")
    if kind == "speaker":
        return q(rng.choice([4, 8, 8, 16, 32, 50, 64, 6, 25]), 0, "Ω")
    if kind == "capacitor":
        m, e = random_value(rng, -12, -6)
        if habit.code and e >= -11 and round(m * 10) == m * 10 and rng.random() < 0.85:
            return coded(rng, m, e, habit)
        t = q(m, e, "F")
        if habit.rated and rng.random() < 0.15:
            t = stacked(rng, habit, t, rng.choice(["50", "63", "100", "250", "400"]) + "V")
        return t
    if kind == "electrolytic":
        t = q(*random_value(rng, -6, -4, (10, 22, 33, 47, 68)), "F")
        if habit.rated and rng.random() < 0.6:
            volts = habit.mark(rng.choice(["6.3", "10", "16", "25", "35", "50", "63"]))
            t = stacked(rng, habit, t, volts + rng.choice(["V", "V", " V"]), rng.choice([" ", " ", "/"]))
        return t
    if kind == "inductor":
        return q(*random_value(rng, -6, -2, (10, 15, 22, 33, 47, 68)), "H")
    if kind == "zener":
        v = rng.choice(
            [2.7, 3, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1, 10, 11, 12, 13, 15, 18, 24]
        )
        return q(v, 0, "V")
    if kind in ("battery", "supply"):
        v = rng.choice([1.5, 3, 4.5, 6, 9, 12, 5, 7.5, 15, 3.7, 1.2, 2.4, 24, 4.8, 3.3, 18])
        return q(v, 0, "V")
    if kind == "fuse":
        return q(
            *rng.choice(
                [
                    (1, 0),
                    (2, 0),
                    (1, -1),
                    (2.5, -1),
                    (5, -1),
                    (5, 0),
                    (3.15, 0),
                    (6.3, -1),
                    (2, -1),
                    (1.6, 0),
                    (3, 0),
                    (5, -2),
                    (4, 0),
                    (10, 0),
                ]
            ),
            "A",
        )
    if kind == "meter":
        u = rng.choice(["V", "A", "mA"])
        if u == "V":
            return q(rng.choice([1, 3, 5, 6, 10, 12, 15, 20, 30, 2, 25]), 0, "V")
        if u == "A":
            return q(rng.choice([1, 2, 3, 5, 10]), 0, "A")
        return f"{rng.choice([1, 5, 10, 20, 50, 100, 200, 300, 500])}{' ' if habit.gap else ''}mA"
    if kind == "lamp":
        v = rng.choice(["1.5", "2.5", "3.5", "3.8", "4.5", "6", "12", "9", "2.2", "24", "3", "5", "7", "8"])
        a = rng.choice(
            [
                "0.1A",
                "0.2A",
                "0.3A",
                "50mA",
                "100mA",
                "0.05A",
                "0.5A",
                "200mA",
                "300mA",
                "60mA",
                "40mA",
                "0.07A",
                "70mA",
                "90mA",
                "0.25A",
                "150mA",
            ]
        )
        v, a = habit.mark(v), habit.mark(a)
        if rng.random() < habit.stacked:
            return f"{v}V\n{a}"
        s = rng.choice(["V/", "V/", "V/", "V ", " V / ", "V "])
        return v + s + a
    if kind == "led":
        colour = rng.choice(["red", "green", "yellow", "blue", "white", "orange"])
        if rng.random() < 0.05:
            colour = rng.choice(["amber", "pink", "violet", "infrared", "warm white"])
        if habit.short and colour != "red":
            colour = rng.choice(SHORT.get(colour, [colour]))
        return habit.colour(colour)
    if kind == "npn":
        return random_type(
            rng,
            [
                "BC547",
                "BC549",
                "BC337",
                "2N2222",
                "2N3904",
                "BD139",
                "BC548",
                "BC546",
                "BD135",
                "TIP31",
                "TIP41",
                "BC107",
                "2N3055",
                "S8050",
                "BC817",
            ],
            habit,
        )
    if kind == "pnp":
        return random_type(
            rng,
            [
                "BC557",
                "BC559",
                "BC327",
                "2N3906",
                "BD140",
                "BC558",
                "BC556",
                "2N2907",
                "TIP32",
                "TIP42",
                "BD136",
                "BC177",
                "S8550",
            ],
            habit,
        )
    if kind == "nmos":
        return random_type(
            rng,
            [
                "VN10",
                "BS170",
                "IRLZ44",
                "IRF510",
                "2N7000",
                "IRF520",
                "IRF540",
                "IRFZ44N",
                "BSS138",
                "IRL540",
                "2N7002",
                "BUZ11",
            ],
            habit,
        )
    if kind == "diode":
        return random_type(
            rng,
            [
                "1N4148",
                "1N4001",
                "1N4007",
                "1N5819",
                "BAT85",
                "1N4004",
                "1N5817",
                "BAT43",
                "1N914",
                "1N5408",
                "AA119",
                "UF4007",
                "BAT41",
            ],
            habit,
        )
    return None


SHORT = {
    "green": ["grn", "gn"], "yellow": ["yel", "ylw", "ye"], "white": ["wht", "wh"], "blue": ["blu", "bl"],
    "orange": ["org", "orn", "or"],
}  # fmt: skip


# --- fonts and print ------------------------------------------------------------------------


class Fonts:
    """Fonts found in a folder; `held_out` keeps a fixed share of the families for validation."""

    def __init__(self, folder: Path, held_out: bool = False, seed: int = 5) -> None:
        files = sorted(p for p in Path(folder).iterdir() if p.suffix in (".ttf", ".otf"))
        names = sorted({self.family(p) for p in files})
        random.Random(seed).shuffle(names)
        out = set(names[: len(names) // 8])
        self.files = [p for p in files if (self.family(p) in out) == held_out]
        self._cache: dict = {}
        families: dict[str, list[Path]] = {}
        for p in self.files:
            families.setdefault(self.family(p), []).append(p)
        self.families = list(families.values())

    @staticmethod
    def family(path: Path) -> str:
        return path.stem.split("-")[0].split("__")[0].lower()[:7]

    def get(self, rng) -> Path:
        return rng.choice(rng.choice(self.families))

    def load(self, path: Path, px: int) -> ImageFont.FreeTypeFont:
        key = (path, px)
        if key not in self._cache:
            if len(self._cache) > 400:
                self._cache.clear()
            self._cache[key] = ImageFont.truetype(str(path), px)
        return self._cache[key]


def text_mask(
    text: str, font: ImageFont.FreeTypeFont, spacing: float = 0.0, point: float = 1.0
) -> np.ndarray:
    """Tight uint8 coverage of `text`; `point`: size and blackness of its decimal points."""
    if spacing or (point < 1 and set(text) & set(".,")):
        x, parts = 0.0, []
        for ch in text:
            parts.append((x, ch))
            x += font.getlength(ch) + spacing
        w = int(x + font.size)
    else:
        w = int(font.getlength(text) + font.size)
        parts = [(0.0, text)]
    im = Image.new("L", (w + font.size, int(font.size * 2)), 0)
    d = ImageDraw.Draw(im)
    small = font.font_variant(size=max(4, int(font.size * point))) if point < 1 else font
    for x, t in parts:
        at = x + font.size * 0.5
        if t in (".", ",") and point < 1:
            at += (font.getlength(t) - small.getlength(t)) / 2
            d.text((at, font.size * 1.25), t, int(255 * min(1.0, 0.4 + 0.6 * point)), font=small, anchor="ls")
        elif len(parts) > 1:
            d.text((at, font.size * 1.25), t, 255, font=font, anchor="ls")
        else:
            d.text((at, font.size * 0.35), t, 255, font=font)
    a = np.asarray(im)
    ys, xs = np.where(a > 40)
    if len(ys) == 0:
        return np.zeros((2, 2), np.uint8)
    return a[ys.min() : ys.max() + 1, xs.min() : xs.max() + 1]


def paste(layer: np.ndarray, mask: np.ndarray, cx: float, cy: float) -> None:
    """Lay `mask` centred at (cx, cy) (unit square coordinates) onto `layer`."""
    n = layer.shape[0]
    x = round((cx + 1) / 2 * n - mask.shape[1] / 2)
    y = round((cy + 1) / 2 * n - mask.shape[0] / 2)
    x0, y0, x1, y1 = max(0, x), max(0, y), min(n, x + mask.shape[1]), min(n, y + mask.shape[0])
    if x1 <= x0 or y1 <= y0:
        return
    m = mask[y0 - y : y1 - y, x0 - x : x1 - x]
    layer[y0:y1, x0:x1] = np.maximum(layer[y0:y1, x0:x1], m)


class Press:
    """One printed kit: a hand for symbols plus fonts, value form, positions, frame."""

    def __init__(self, rng: random.Random, fonts: Fonts, size: int = 160, over: int = 3) -> None:
        self.rng, self.fonts, self.size, self.over = rng, fonts, size, over
        self.hand = Hand.sample(rng)
        self.font = fonts.get(rng)
        self.font2 = self.font if rng.random() < 0.7 else fonts.get(rng)
        # a font without an omega prints its values without one
        ohm_sign = "__noohm" not in self.font.stem
        self.habit = Habit(rng, rng.choice(["rkm", "dot", "unit"]), ohm_sign)
        self.line_gap = rng.uniform(0.12, 0.6)  # of a line's height, between two
        self.height = rng.uniform(0.2, 0.4)  # text height in cube half-widths
        self.pos = rng.choices(["bottom", "top", "lower_right", "upper_right"], (5, 3, 0.6, 0.6))[0]
        self.q_pos = rng.choices(
            ["lower_right", "upper_right", "same", "right", "left_top", "left_bottom"], (4, 3, 1, 1, 0.7, 0.7)
        )[0]
        self.q_height = self.height * rng.uniform(0.55, 1.0)
        self.designator = rng.random() < 0.35
        self.des_pos = rng.choice(["ul", "ll", "lr", "ur"])
        self.frame = rng.choices(
            ["none", "thin", "accent", "panel", "panel_round", "corner_ticks"], (6, 1, 1.5, 1.5, 1, 0.5)
        )[0]
        self.frame_in = rng.uniform(0.02, 0.16)
        self.frame_w = rng.uniform(0.02, 0.07)
        self.stretch = rng.choice([1.0, 1.0, 1.0, rng.uniform(0.75, 1.2)])
        # wide apart: gaps in which there is no decimal point
        self.spacing = rng.choices([0.0, rng.uniform(0, 0.12), rng.uniform(0.1, 0.5)], (5, 2, 3))[0]
        self.value_accent = rng.random() < 0.15
        self.point = rng.uniform(0.6, 1.0) if rng.random() < 0.15 else 1.0
        self.letter_font = fonts.get(rng)
        self.wire_frame = rng.random() < 0.6

    def _text(self, sheet: Sheet, text: str, cx, cy, height, font=None, layer=0, max_w=1.75, align="c"):
        n = sheet.n
        lines = text.split("\n")
        height *= 1.0 if len(lines) == 1 else 0.82
        px = max(8, int(height * 0.5 * n * 1.38))
        some = self.fonts.load(font or self.font, px)
        parts = [text_mask(t, some, self.spacing * px, self.point) for t in lines]
        m = parts[0] if len(parts) == 1 else self._stack(parts, px, align)
        want = height * 0.5 * n
        k = min(want / max(8.0, px * 0.72), max_w * 0.5 * n / m.shape[1] / self.stretch)
        m = cv2.resize(
            m,
            (max(2, int(m.shape[1] * k * self.stretch)), max(2, int(m.shape[0] * k))),
            interpolation=cv2.INTER_AREA,
        )
        w, h = m.shape[1] * 2 / n, m.shape[0] * 2 / n
        if align == "r":
            cx -= w / 2
        elif align == "l":
            cx += w / 2
        cx = min(max(cx, -0.96 + w / 2), 0.96 - w / 2)
        cy = min(max(cy, -0.96 + h / 2), 0.96 - h / 2)
        paste(sheet.layers[layer], m, cx, cy)
        return (cx - w / 2, cy - h / 2, cx + w / 2, cy + h / 2)

    def _stack(self, parts: list[np.ndarray], px: float, align: str) -> np.ndarray:
        """Lines of print one below the other, in the middle or flush with one side."""
        wide, gap = max(p.shape[1] for p in parts), int(px * 0.72 * self.line_gap)
        rows = []
        for part in parts:
            left = {"l": 0, "r": wide - part.shape[1]}.get(align, (wide - part.shape[1]) // 2)
            rows += [
                np.pad(part, ((0, 0), (left, wide - part.shape[1] - left))),
                np.zeros((gap, wide), np.uint8),
            ]
        return np.concatenate(rows[:-1])

    def print(self, kind: str) -> tuple[np.ndarray, str, tuple[float, float, float, float]]:
        """One cube's top at turn 0: (size, size, 3) coverage, the value text ('' where none) and its box (x0, y0, x1, y1)."""
        box = (0.0, 0.0, 0.0, 0.0)
        rng, hand = self.rng, self.hand
        sheet = Sheet(self.size, self.over)
        text = value_text(kind, rng, self.habit) or ""
        if text and rng.random() < 0.012:
            text = ""  # print worn off or never there
        small = {"audio-in": 0.92, "meter": 1.0}
        scale = hand.scale * small.get(kind, 1.0) * rng.uniform(0.96, 1.04)
        if kind in ("npn", "pnp", "nmos"):
            scale *= rng.uniform(1.0, 1.3)
            scale = min(scale, 1.5)
        dy = 0.0
        if text and kind not in ("npn", "pnp", "nmos") and rng.random() < 0.25:
            dy = {"bottom": -1, "top": 1}.get(self.pos, 0) * rng.uniform(0.0, 0.18)
        dx = 0.0
        if kind in (
            "npn",
            "pnp",
            "nmos",
            "potentiometer",
            "ground",
            "cross",
            "tee",
            "corner",
            "crossover",
            "straight",
        ):
            dy = 0.0
        if kind == "other":
            return self._other(sheet), "", box
        draw_kind(sheet, kind, hand, scale, dx, dy)
        layer = 1 if self.value_accent else 0
        if kind == "meter":
            letter = (
                "V"
                if text.endswith("V") or not text
                else ("mA" if text.endswith("mA") and rng.random() < 0.75 else "A")
            )
            r = hand.choice.get("met_r", 0.3) * scale
            self._text(
                sheet,
                letter,
                0,
                dy,
                r * rng.uniform(0.75, 1.1) * (1 if len(letter) == 1 else 0.72),
                self.letter_font,
                0,
                r * 1.5,
            )
        if kind == "thermistor" and hand.pick("ntc_text", 1, 0, weights=(3, 1)):
            t = hand.pick(
                "ntc_word", "-t°", "ϑ", "t°", "-t", "NTC", "θ", "-T", "−tº", weights=(5, 1, 2, 2, 2, 1, 1, 1)
            )
            side = hand.pick("ntc_tpos", "ur", "ul", "ll", "lr", weights=(4, 1, 1, 1))
            x = {"u": 0.42, "l": 0.42}[side[0]] * (1 if side[1] == "r" else -1) * scale
            y = (-0.4 if side[0] == "u" else 0.3) * scale + dy
            self._text(
                sheet,
                t,
                x,
                y,
                self.height * hand.num("ntc_th", 0.5, 0.85),
                self.font2,
                hand.pick("ntc_tl", 0, 0, 1),
            )
        if text:
            q = kind in ("npn", "pnp", "nmos")
            pos = self.q_pos if q else self.pos
            if pos == "same":
                pos = "lower_right"
            if kind == "potentiometer" and pos == "bottom":
                pos = rng.choice(["top", "top", "lower_right"])
            if kind == "led" and pos == "top":
                pos = hand.pick("led_top", "top", "bottom")
            height = (self.q_height if q else self.height) * rng.uniform(0.93, 1.05)
            edge = hand.num("text_edge", 0.1, 0.3)
            size = (
                {"max_w": hand.num("text_maxw", 1.4, 1.8)}
                if pos in ("bottom", "top")
                else {"max_w": 0.95 if not q else 0.85}
            )
            y = 1 - edge - height * 0.3
            x = 0.0
            if rng.random() < 0.08:
                x = rng.uniform(-0.2, 0.2)
            place = {
                "bottom": (x, y, "c"),
                "top": (x, -y, "c"),
                "lower_right": (0.92, y, "r"),
                "upper_right": (0.92, -y, "r"),
                "right": (0.93, rng.choice([-0.3, 0.3, 0.45]), "r"),
                "left_top": (-0.92, -y, "l"),
                "left_bottom": (-0.92, y, "l"),
            }[pos]
            box = self._text(
                sheet, text, place[0], place[1], height, self.font, layer, align=place[2], **size
            )
        if self.designator and kind in PREFIX and rng.random() < 0.95:
            p = self.des_pos
            x, y = (0.88 if p[1] == "r" else -0.88), (0.84 if p[0] == "l" else -0.84)
            d = PREFIX[kind] + str(rng.randint(1, 9 if rng.random() < 0.8 else 24))
            self._text(
                sheet,
                d,
                x,
                y,
                self.height * hand.num("des_h", 0.35, 0.6),
                self.font2,
                0,
                0.5,
                "r" if p[1] == "r" else "l",
            )
        if (
            kind not in CONTACTS
            or kind in ("npn", "pnp", "nmos", "audio-in", "socket", "potentiometer")
            or self.wire_frame
        ):
            self._frame(sheet)
        text = "\n".join(" ".join(line.split()) for line in text.split("\n"))
        return sheet.array(), text, box

    def _other(self, sheet: Sheet) -> np.ndarray:
        """A top that is not in the kit: other symbols, scribbles, words, or nothing at all."""
        rng, w = self.rng, self.hand.width
        u = lambda a, b: rng.uniform(a, b)
        f = rng.randrange(9)
        if f == 0:
            pass
        elif f == 1:  # words
            for i in range(rng.randint(1, 3)):
                t = "".join(rng.choice(CHARS[:62]) for _ in range(rng.randint(1, 7)))
                self._text(sheet, t, u(-0.3, 0.3), -0.5 + 0.5 * i, u(0.3, 0.8), self.fonts.get(rng))
        elif f == 2:  # scribble
            p = np.cumsum(
                np.array([[rng.gauss(0, 0.22), rng.gauss(0, 0.22)] for _ in range(rng.randint(5, 30))]), 0
            )
            sheet.line(np.clip(p - p.mean(0), -0.95, 0.95), w * u(0.7, 2))
        elif f == 3:  # shapes
            for _ in range(rng.randint(1, 4)):
                n, r, a, x, y = rng.randint(3, 8), u(0.15, 0.6), u(0, 6), u(-0.4, 0.4), u(-0.4, 0.4)
                q = [
                    (x + r * math.cos(a + k * 6.283 / n), y + r * math.sin(a + k * 6.283 / n))
                    for k in range(n)
                ]
                sheet.fill(q, rng.randrange(3)) if rng.random() < 0.4 else sheet.line(q, w, 0, True)
        elif f == 4:  # amplifier triangle or gate
            sheet.line([(-0.4, -0.5), (-0.4, 0.5), (0.5, 0)], w, 0, True)
            for y in (-0.25, 0.25):
                sheet.line([(-1, y), (-0.4, y)], w)
            sheet.line([(0.5, 0), (1, 0)], w)
            if rng.random() < 0.5:
                self._text(sheet, rng.choice(["+", "741", "&", "-"]), -0.2, 0, 0.3)
        elif f == 5:  # box with a word and several contacts
            a = u(0.4, 0.75)
            sheet.line([(-a, -a), (a, -a), (a, a), (-a, a)], w, 0, True)
            for s in range(4):
                if rng.random() < 0.7:
                    e = [(0, -1), (1, 0), (0, 1), (-1, 0)][s]
                    sheet.line([(e[0] * a, e[1] * a), e], w)
            self._text(
                sheet,
                rng.choice(["555", "IC", "M", "&", "Timer", "LM386", "?", "RX", "CPU", "1"]),
                0,
                0,
                u(0.3, 0.6),
            )
        elif f == 6:  # transformer, crystal, two coils
            for s in (-1, 1):
                for i in range(4):
                    sheet.arc(s * 0.12, -0.45 + 0.3 * i, 0.15, -90 if s > 0 else 90, 90 if s > 0 else 270, w)
                sheet.line([(s * 0.12, -0.6), (s * 0.7, -0.6), (s * 0.7, 0), (s, 0)], w)
            sheet.line([(0, -0.6), (0, 0.6)], w)
        elif f == 7:  # crystal or motor
            if rng.random() < 0.5:
                sheet.line([(-0.12, -0.3), (0.12, -0.3), (0.12, 0.3), (-0.12, 0.3)], w, 0, True)
                for s in (-1, 1):
                    sheet.line([(s * 0.25, -0.3), (s * 0.25, 0.3)], w)
                    sheet.line([(s * 0.25, 0), (s, 0)], w)
            else:
                sheet.circle(0, 0, 0.4, w)
                self._text(sheet, rng.choice(["M", "G", "~", "X", "N"]), 0, 0, 0.4)
                sheet.line([(-1, 0), (-0.4, 0)], w), sheet.line([(0.4, 0), (1, 0)], w)
        else:
            for _ in range(rng.randint(1, 5)):
                sheet.line([(u(-1, 1), u(-1, 1)), (u(-1, 1), u(-1, 1))], w * u(0.5, 2))
        if rng.random() < 0.5:
            self._frame(sheet)
        return sheet.array()

    def _frame(self, sheet: Sheet) -> None:
        if self.frame == "none":
            return
        a = 1 - self.frame_in
        sq = [(-a, -a), (a, -a), (a, a), (-a, a)]
        if self.frame in ("panel_round", "panel"):
            r = self.hand.num("frame_r", 0.1, 0.3) if self.frame == "panel_round" else 0.0
            if r:
                pts = []
                for cx, cy, t in (
                    (a - r, -a + r, -90),
                    (a - r, a - r, 0),
                    (-a + r, a - r, 90),
                    (-a + r, -a + r, 180),
                ):
                    ang = np.radians(np.linspace(t, t + 90, 8))
                    pts += list(np.stack([cx + r * np.cos(ang), cy + r * np.sin(ang)], -1))
                sq = pts
            sheet.fill(sq, 2)
            if self.hand.pick("panel_line", 0, 1):
                sheet.line(sq, self.frame_w, 1, True)
        elif self.frame == "corner_ticks":
            for sx in (-1, 1):
                for sy in (-1, 1):
                    sheet.line(
                        [(sx * a, sy * (a - 0.2)), (sx * a, sy * a), (sx * (a - 0.2), sy * a)],
                        self.frame_w,
                        1,
                    )
        else:
            sheet.line(sq, self.frame_w, 1 if self.frame == "accent" else 0, True)


def book(args) -> tuple[np.ndarray, np.ndarray, list[str], np.ndarray, np.ndarray]:
    """Labels of one press: textures, kind numbers, texts, the press's number for each, text boxes."""
    seed, per, folder, held_out, size = args
    cv2.setNumThreads(1)
    rng = random.Random(seed)
    fonts = Fonts(Path(folder), held_out)
    press = Press(rng, fonts, size)
    names = [*KINDS, "other"]
    kinds = list(range(len(names)))
    heavy = [
        KINDS.index(k)
        for k in (
            "resistor",
            "capacitor",
            "electrolytic",
            "npn",
            "diode",
            "zener",
            "led",
            "inductor",
            "lamp",
            "nmos",
            "pnp",
            "battery",
            "supply",
            "meter",
        )
    ]
    while len(kinds) < per:
        kinds.append(rng.choice(heavy) if rng.random() < 0.7 else rng.randrange(len(KINDS)))
    tex, texts, boxes = [], [], []
    for k in kinds[:per]:
        a, t, b = press.print(names[k])
        boxes.append(b)
        tex.append(a)
        texts.append(t)
    return np.stack(tex), np.array(kinds[:per]), texts, np.full(per, seed), np.array(boxes, np.float32)


if __name__ == "__main__":
    import sys
    import time

    folder, out = sys.argv[1], sys.argv[2]
    rows = []
    t0 = time.time()
    for s in range(int(sys.argv[3]) if len(sys.argv) > 3 else 10):
        tex, kinds, texts, *_ = book((s + 1000, 40, folder, False, 96))
        rng = random.Random(s)
        base = np.array([rng.randint(120, 255) for _ in range(3)])
        im = base * np.ones_like(tex, float)
        for ch, col in ((2, [250, 250, 250]), (1, [40, 40, 200]), (0, [30, 30, 30])):
            a = tex[..., ch : ch + 1] / 255.0
            im = im * (1 - a) + np.array(col) * a
        rows.append(np.hstack([np.pad(t, ((1, 1), (1, 1), (0, 0))) for t in im[:31]]))
    print(time.time() - t0)
    cv2.imwrite(out, np.vstack(rows))
