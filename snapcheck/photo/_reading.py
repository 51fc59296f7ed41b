"""A reading: a board as seen in a photo, with what is sure, what is not, and where everything lies."""

from __future__ import annotations

import enum
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from snapcheck.board import Board, Cell, Cube, Lead, Seam
from snapcheck.photo._camera import through_lens


class State(enum.StrEnum):
    """How far a thing in the photo could be read."""

    READ = "read"
    UNSURE = "unsure"  #: ranked alternatives are given; a person must look
    HIDDEN = "hidden"  #: something lies over it or glare covers it


@dataclass(frozen=True)
class CubeReading:
    """What stands in one cell.

    Attributes:
        cube: the most likely cube.
        state: see `State`.
        confidence: calibrated probability that kind, turn and value are all right.
        alternatives: what else it may be, likeliest first, with the probability; None: nothing stands there.
        reason: why it is not `READ`, in words; "" otherwise.
        parts: the probabilities that kind and turn are right, and, given them, that the value is.
        chances: of a cube that is not sure, everything that it may be and its probability, down to one in
            ten thousand, itself included.
    """

    cube: Cube
    state: State
    confidence: float
    alternatives: tuple[tuple[Cube | None, float], ...] = ()
    reason: str = ""
    parts: tuple[float, float] = (1.0, 1.0)
    chances: tuple[tuple[Cube | None, float], ...] = ()


@dataclass(frozen=True)
class BlankReading:
    """A cell in which nothing seems to stand.

    Attributes:
        state: see `State`; only what is `READ` is known to be empty.
        confidence: calibrated probability that nothing stands there.
        alternatives, chances: as of a cube.
    """

    state: State
    confidence: float
    alternatives: tuple[tuple[Cube | None, float], ...] = ()
    chances: tuple[tuple[Cube | None, float], ...] = ()


@dataclass(frozen=True)
class TapReading:
    """A tap on a seam, with the calibrated probability that it is there."""

    seam: Seam
    state: State
    confidence: float


@dataclass(frozen=True)
class LeadReading:
    """A lead, with the probability that both its ends are right and other pairs of ends it may join."""

    lead: Lead
    state: State
    confidence: float
    alternatives: tuple[tuple[Lead, float], ...] = ()


@dataclass(frozen=True)
class Frame:
    """Where the board lies in the upright photo.

    Attributes:
        size: width and height of the upright photo in pixels.
        tops: 3x3 homography from cell units (x right, y down, A1's top-left corner at 0, 0) on the plane of
            the cubes' tops to undistorted pixels.
        centre, focal, k1: principal point (x, y) and focal length in pixels, first radial distortion
            coefficient (OpenCV's forward model), so that `to_photo` lands on the real pixels.
        residual: root mean square error of the lattice in cells.
        plate: (4, 2) corners of the plate in pixels, top-left first, clockwise.
    """

    size: tuple[int, int]
    tops: np.ndarray
    centre: tuple[float, float]
    focal: float
    k1: float
    residual: float
    plate: np.ndarray

    def to_photo(self, points: Any) -> np.ndarray:
        """(n, 2) points in cell units on the plane of the tops to (n, 2) pixels of the upright photo."""
        p = np.atleast_2d(np.asarray(points, np.float64))
        return through_lens(self.tops, self.centre, self.focal, self.k1, p)

    def outline(self, cell: Cell) -> np.ndarray:
        """(4, 2) pixel corners of the top of the cube in `cell`, top-left first, clockwise."""
        x, y = cell.column, cell.row
        return self.to_photo([(x, y), (x + 1, y), (x + 1, y + 1), (x, y + 1)])


@dataclass(frozen=True)
class Reading:
    """A board as seen in a photo; knows nothing of any design.

    Attributes:
        photo: name of the picture, for messages.
        columns, rows: of the plate.
        cubes, taps, leads: everything seen, sure or not.
        blanks: cells in which nothing seems to stand, sure or not.
        loose: cells in which a cube lies about without being snapped in.
        edge: what is doubtful about the plate's edge, in words: where on it the build lies; "" where nothing
            is.
        frame: where it lies in the picture.
        notes: remarks for the person (glare at the top right, a corner of the plate outside the picture,
        ...).
    """

    photo: str
    columns: int
    rows: int
    cubes: Mapping[Cell, CubeReading]
    taps: tuple[TapReading, ...]
    leads: tuple[LeadReading, ...]
    frame: Frame
    notes: tuple[str, ...] = field(default=())
    blanks: Mapping[Cell, BlankReading] = field(default_factory=dict)
    loose: tuple[Cell, ...] = ()
    edge: str = ""

    @property
    def board(self) -> Board:
        """The likeliest board, sure or not; see `unsure` for what a person must decide first."""
        taps = frozenset(t.seam for t in self.taps)
        leads = tuple(r.lead for r in self.leads)
        return Board(self.columns, self.rows, {c: r.cube for c, r in self.cubes.items()}, taps, leads)

    @property
    def remarks(self) -> tuple[str, ...]:
        """Everything that a person should know of the picture as a whole."""
        return (*self.notes, self.edge) if self.edge else self.notes

    @property
    def unsure(self) -> dict[Cell, tuple[Cube | None, ...]]:
        """Cells that a person must decide, with everything that may stand there (None: nothing), likeliest
        first."""
        found: dict[Cell, tuple[Cube | None, ...]] = {
            cell: (r.cube, *(cube for cube, _ in r.alternatives))
            for cell, r in self.cubes.items()
            if r.state is not State.READ
        }
        for cell, blank in self.blanks.items():
            if blank.state is not State.READ:
                found[cell] = (None, *(cube for cube, _ in blank.alternatives))
        return dict(sorted(found.items()))

    @property
    def chances(self) -> dict[Cell, tuple[tuple[Cube | None, float], ...]]:
        """Of the unsure cells everything that may stand there, with its probability."""
        cells: dict[Cell, CubeReading | BlankReading] = {**self.cubes, **self.blanks}
        return {cell: r.chances for cell, r in cells.items() if r.state is not State.READ and r.chances}

    @property
    def unsure_taps(self) -> tuple[TapReading, ...]:
        """Taps that a person must look at."""
        return tuple(tap for tap in self.taps if tap.state is not State.READ)

    @property
    def unsure_leads(self) -> tuple[LeadReading, ...]:
        """Leads that a person must look at."""
        return tuple(lead for lead in self.leads if lead.state is not State.READ)

    def confirmed(self, seams: Collection[Seam], leads: Collection[Lead]) -> Reading:
        """The reading with these taps and leads sure."""
        return replace(
            self,
            taps=tuple(replace(t, state=State.READ) if t.seam in seams else t for t in self.taps),
            leads=tuple(replace(r, state=State.READ) if r.lead in leads else r for r in self.leads),
        )
