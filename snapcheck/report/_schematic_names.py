"""Names of nets in a circuit drawing: their numbers, or test points and letters, where they hide nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from itertools import pairwise

from snapcheck.report._look import CARD, INK

#: left, top, right, bottom
Box = tuple[float, float, float, float]


class Names:
    """What a drawing knows when its nets get their names.

    Attributes:
        upright: upright wires: x, upper and lower end.
        spans: where wires come to a net's line, x.
        boxes: of symbols and texts.
        named: of ports and names.
        points: test points, net to number; None: nets go by their numbers.
        letters: nets that go by letters.
    """

    def __init__(self) -> None:
        self.upright: list[tuple[float, float, float]] = []
        self.spans: dict[int, list[float]] = {}
        self.boxes: list[Box] = []
        self.named: list[Box] = []
        self.points: Mapping[int, int] | None = None
        self.letters: Mapping[int, str] = {}

    def y(self, net: int) -> float:
        """Where a net's line runs."""
        raise NotImplementedError

    def ink(self, net: int) -> str:
        """A net's colour."""
        raise NotImplementedError

    def chip(self, net: int, x: float, y: float) -> str:
        """A net's number, the same as in the net table; its letter where numbers are test points."""
        text = self.letters.get(net, str(net))
        width = 20 if len(text) < 2 else 28
        return (
            f'<rect x="{x - width / 2:.1f}" y="{y - 10:.1f}" width="{width}" height="20" rx="10" '
            f'fill="{self.ink(net)}" stroke="{CARD}" stroke-width="2"/>'
            f'<text x="{x:.1f}" y="{y + 4.8:.1f}" font-size="13.5" font-weight="bold" '
            f'text-anchor="middle" fill="#fff">{text}</text>'
        )

    def _free(self, xs: list[float], y: float) -> tuple[float, float]:
        """A place for a net's name: on its line with no wire across it, else at an end, else beside one."""
        for a, b in pairwise(xs):
            for share in (0.5, 0.35, 0.65, 0.2, 0.8):
                at = a + (b - a) * share
                if b - a > 44 and not self._taken(at, y) and not any(
                    abs(at - x) < 19 and low - 1 < y < high + 1 for x, low, high in self.upright
                ):  # fmt: skip
                    return at, y
        around = ((27, 0), (-27, 0), (0, 27), (0, -27))
        beside = [(x + dx, y + dy) for x in xs for dx, dy in around if self._is_bare(x + dx, y + dy)]
        return next((p for p in (*((x, y) for x in xs), *beside) if not self._taken(*p)), (xs[0], y))

    def _taken(self, x: float, y: float) -> bool:
        """Whether a port or another name is there."""
        return any(overlap((x - 13, y - 13, x + 13, y + 13), other) for other in self.named)

    def _is_bare(self, x: float, y: float) -> bool:
        """Whether a name there hides no part, text or wire."""
        box = (x - 14, y - 14, x + 14, y + 14)
        return not any(overlap(box, other) for other in self.boxes) and not any(
            abs(x - at) < 16 and low - 14 < y < high + 14 for at, low, high in self.upright
        )

    def net_names(self) -> list[str]:
        """Net numbers in small chips, the same as in the net table; or test points, and letters."""
        parts = []
        for net, spans in self.spans.items():
            names: list[Callable[[float, float], str]] = []
            if self.points is None or net in self.letters:
                names.append(partial(self.chip, net))
            if self.points is not None and net in self.points:
                names.append(partial(_point, self.points[net]))
            for name in names:
                x, y = self._free(sorted({*spans}), self.y(net))
                self.named.append((x - 12, y - 12, x + 12, y + 12))
                parts.append(name(x, y))
        return parts


def letters(number: int) -> str:
    """a to z, then aa, ab …"""
    first, last = divmod(number, 26)
    return (chr(ord("a") + first - 1) if first else "") + chr(ord("a") + last)


def _point(number: int, x: float, y: float) -> str:
    """A test point's number, as on the board."""
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="13" fill="#fff" stroke="{INK}" stroke-width="2.6"/>'
        f'<text x="{x:.1f}" y="{y + 5.2:.1f}" font-size="15" font-weight="bold" text-anchor="middle" '
        f'fill="{INK}">{number}</text>'
    )


def overlap(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> bool:
    """Whether two boxes (left, top, right, bottom) have something in common."""
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
