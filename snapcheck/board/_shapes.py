"""Shapes that symbols are made of, on a tile of 100 x 100 with its origin at the upper left."""

from __future__ import annotations

import math
from dataclasses import dataclass

Point = tuple[float, float]
TILE = 100.0
#: a tile and the gap to the next
PITCH = 108.0


def extent(columns: int, rows: int) -> tuple[float, float]:
    """Width and height of the tile of a cube that covers so many cells."""
    return (columns - 1) * PITCH + TILE, (rows - 1) * PITCH + TILE


def turned(point: Point, degrees: int, size: tuple[float, float] = (TILE, TILE)) -> Point:
    """A point of a tile (of this width and height) after it turns clockwise by a multiple of 90 degrees."""
    (x, y), (width, height) = point, size
    for _ in range(degrees // 90 % 4):
        x, y = height - y, x
        width, height = height, width
    return x, y


@dataclass(frozen=True)
class Stroke:
    """One line of a symbol.

    Attributes:
        points: corners of the line, tile units.
        terminal: the terminal whose conductor it is, or "" for the body of the symbol.
        closed: the last point joins the first.
        solid: the inside is filled with ink.
        thin: drawn with a finer pen (arrows of light, signs).
    """

    points: tuple[Point, ...]
    terminal: str = ""
    closed: bool = False
    solid: bool = False
    thin: bool = False

    def turned(self, degrees: int) -> Stroke:
        """The stroke on a tile turned clockwise."""
        points = tuple(turned(point, degrees) for point in self.points)
        return Stroke(points, self.terminal, self.closed, self.solid, self.thin)

    def moved(self, right: float, down: float) -> Stroke:
        """The stroke elsewhere."""
        points = tuple((x + right, y + down) for x, y in self.points)
        return Stroke(points, self.terminal, self.closed, self.solid, self.thin)

    def path(self) -> str:
        """SVG path data."""
        steps = "L".join(f"{_short(x)} {_short(y)}" for x, y in self.points)
        return f"M{steps}{'Z' if self.closed else ''}"


def _short(number: float) -> str:
    return f"{number:.2f}".rstrip("0").rstrip(".")


def line(*points: Point, closed: bool = False, thin: bool = False) -> Stroke:
    """A line of the symbol's body."""
    return Stroke(points, closed=closed, thin=thin)


def wire(terminal: str, *points: Point) -> Stroke:
    """A conductor that belongs to `terminal`."""
    return Stroke(points, terminal)


def solid(*points: Point, terminal: str = "") -> Stroke:
    """A filled shape."""
    return Stroke(points, terminal, closed=True, solid=True)


def box(left: float, top: float, right: float, bottom: float) -> Stroke:
    """A rectangle."""
    return line((left, top), (right, top), (right, bottom), (left, bottom), closed=True)


def arc(x: float, y: float, r: float, start: float, sweep: float) -> Stroke:
    """Part of a circle: angles in degrees, 0 to the east, clockwise on the screen."""
    steps = max(4, round(abs(sweep) / 12))
    return Stroke(tuple(_on_circle(x, y, r, start + sweep * n / steps) for n in range(steps + 1)))


def circle(x: float, y: float, r: float, *, filled: bool = False, terminal: str = "") -> Stroke:
    """A full circle."""
    points = tuple(_on_circle(x, y, r, 360 * n / 36) for n in range(36))
    return Stroke(points, terminal, closed=True, solid=filled)


def _on_circle(x: float, y: float, r: float, degrees: float) -> Point:
    return x + r * math.cos(math.radians(degrees)), y + r * math.sin(math.radians(degrees))


def arrow(tail: Point, tip: Point, size: float = 9, thin: bool = False) -> tuple[Stroke, Stroke]:
    """A line with a filled head at `tip`."""
    (x0, y0), (x1, y1) = tail, tip
    length = math.hypot(x1 - x0, y1 - y0)
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    bx, by = x1 - ux * size, y1 - uy * size
    half = size * 0.42
    head = solid((x1, y1), (bx - uy * half, by + ux * half), (bx + uy * half, by - ux * half))
    return line(tail, (bx, by), thin=thin), head


def plus(x: float, y: float, r: float = 5) -> tuple[Stroke, Stroke]:
    """The sign that marks a positive terminal."""
    return line((x - r, y), (x + r, y), thin=True), line((x, y - r), (x, y + r), thin=True)
