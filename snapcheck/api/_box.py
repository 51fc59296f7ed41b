"""Before and after the lesson: does the box hold it, what to pack, and did it come back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from os import PathLike as _PathLike
from pathlib import Path
from typing import TYPE_CHECKING

from snapcheck.api._given import DesignLike, PathLike, kit_of, plan_of
from snapcheck.api._solver import solver
from snapcheck.board import Cube, Design, read_text
from snapcheck.box import (
    Box,
    Count,
    Loose,
    Need,
    Needs,
    PartsList,
    Piece,
    Proof,
    Swaps,
    count,
    find_swaps,
    load_box,
    needs,
    order,
    parse_box,
    piece_of,
    pieces_of,
    plates_for,
    stock_for,
)
from snapcheck.circuit import build_circuit, check_rules, parse_netlist
from snapcheck.errors import InputError, SimulationError
from snapcheck.findings import Finding, Severity
from snapcheck.kit import Kit
from snapcheck.watch import Cancel, Progress, step, watched
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import KitLike, PictureLike
    from snapcheck.api._seen import PhotoReading
    from snapcheck.simulate import Simulator

BoxLike = Box | PathLike
#: files that hold a netlist
NETLISTS = (".cir", ".net", ".sp", ".spice", ".ckt")
MOST_BENCHES = 1000


@dataclass(frozen=True)
class BoxCheck:
    """One design beside the box.

    Attributes:
        design: what is to be built.
        needs: per cube: needed, there, missing.
        swaps: stand-ins for what is short, None where nothing is short or none were asked for.
        kit: the cubes.
    """

    design: Design
    needs: Needs
    swaps: Swaps | None
    kit: Kit = field(repr=False)

    @property
    def possible(self) -> bool:
        """True where the class can build it: as it is, or with stand-ins that keep what it promises."""
        loose = any(part.missing for part in self.needs.loose)
        return self.needs.fits or (not loose and self.swaps is not None and self.swaps.mend)


@dataclass(frozen=True)
class CubeCount:
    """What photos of cubes show beside what should be there.

    Attributes:
        count: one line for each sort.
        readings: of the photos.
        kit: the cubes.
    """

    count: Count
    readings: tuple[PhotoReading, ...] = field(repr=False)
    kit: Kit = field(repr=False)


def fits_box(
    box: BoxLike,
    designs: Sequence[DesignLike],
    *,
    benches: int = 1,
    swaps: bool = True,
    kit: KitLike = None,
    simulator: Simulator | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> tuple[BoxCheck, ...]:
    """Can a class build these designs out of a box, each on its own, and what may stand in for what is short?

    Args:
        box: an object, a TOML file's path or text.
        designs: plans: objects, layout texts, JSON, or paths.
        benches: how many build at once.
        swaps: look for stand-ins; each is calculated and held against what the design promises.
        kit, simulator, progress, cancel: see `check`.

    Raises:
        InputError, DataError: a file or text is missing or wrong; says where.
        StoppedError: `cancel` said so.
    """
    cubes = kit_of(kit)
    stock = box_of(box, cubes)
    _benches(benches)
    found = []
    with watched(progress, cancel), solver(simulator, swaps) as own:
        for given in designs:
            design = plan_of(given, cubes)
            told = needs(design, stock, cubes, benches)
            tried = None
            if swaps and told.short:
                step(tr("looking for stand-ins: {title}", title=design.title))
                tried = find_swaps(design, told, stock, cubes, _Prover(design, cubes, own))
            found.append(BoxCheck(design, told, tried, cubes))
    return tuple(found)


def parts_list(
    designs: Sequence[DesignLike],
    *,
    benches: int = 1,
    box: BoxLike | None = None,
    kit: KitLike = None,
) -> PartsList:
    """What to take out of the box for all of these designs together.

    Args:
        designs: plans as for `fits_box`, or paths of SPICE netlists (``.cir``, ``.net``, ``.sp``).
        benches: how many build each of them.
        box: to say what is there and what is missing; None: the list alone.
        kit: see `check`.

    Raises:
        InputError, DataError: a file or text is missing or wrong; says where.
    """
    cubes = kit_of(kit)
    _benches(benches)
    one: Counter[Piece] = Counter()
    titles, loose, columns, rows = [], Counter[str](), 0, 0
    for given in designs:
        if isinstance(given, str | _PathLike) and Path(given).suffix.lower() in NETLISTS:
            one += _of_netlist(Path(given), cubes)
            titles.append(Path(given).stem)
            continue
        design = plan_of(given, cubes)
        one += pieces_of(design.board, cubes)
        loose += Counter(plates=1, taps=len(design.board.taps), leads=len(design.board.leads))
        titles.append(design.title)
        columns, rows = max(columns, design.board.columns), max(rows, design.board.rows)
    there: Mapping[Piece, int] = {}
    known: dict[str, int | None] = {}
    if box is not None:
        stock = box_of(box, cubes)
        there = stock_for({p: benches * n for p, n in one.items()}, stock, cubes)
        known = {"plates": plates_for(stock, columns, rows), "taps": stock.taps, "leads": stock.leads}
    listed = sorted(one, key=lambda p: order(p, cubes))
    return PartsList(
        " + ".join(t for t in titles if t),
        benches,
        tuple(Need(p, benches * one[p], there.get(p, 0)) for p in listed),
        tuple(Loose(what, benches * n, known.get(what)) for what, n in loose.items() if n),
        box is not None,
    )


def whole_box(box: BoxLike, *, kit: KitLike = None) -> PartsList:
    """Everything that lies in a box, as a list that `count_cubes` counts against.

    Args:
        box, kit: see `fits_box`.

    Raises:
        InputError, DataError: the file is missing or wrong; says where.
    """
    cubes = kit_of(kit)
    stock = box_of(box, cubes)
    listed = sorted(stock.cubes, key=lambda p: order(p, cubes))
    needed = tuple(Need(p, stock.cubes[p], stock.cubes[p]) for p in listed)
    return PartsList(stock.title, 1, needed, (), True)


def _of_netlist(path: Path, kit: Kit) -> Counter[Piece]:
    parts = parse_netlist(read_text(path), kit, str(path))
    return Counter(piece_of(Cube(p.kind, 0, p.value, size=kit[p.kind].size), kit) for p in parts)


def count_cubes(
    pictures: Sequence[PictureLike],
    *,
    wanted: PartsList | None = None,
    answers: Sequence[str] = (),
    kit: KitLike = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> CubeCount:
    """Count cubes laid out on a plate, in one or more photos, against a list.

    Args:
        pictures: as for `read`; each shows other cubes.
        wanted: what should be there, as `parts_list` gives it; None: nothing is expected, all is counted.
        answers: decisions on what is not sure, such as ``D2 led red anode=up`` or ``remove D2``; of several
            pictures with the picture's number before it: ``2: D2 led red anode=up``.
        kit, progress, cancel: see `check`.

    Raises:
        InputError: a file is missing, or an answer is none.
        PhotoError: a picture cannot be read: take it again.
        StoppedError: `cancel` said so.
    """
    from snapcheck.api._read import read

    cubes = kit_of(kit)
    said = answers_by_photo(answers, len(pictures))
    readings = []
    with watched(progress, cancel):
        for number, picture in enumerate(pictures):
            readings.append(read(picture, kit=cubes).edited(*said[number]))
    asked = {} if wanted is None else {need.piece: need.needed for need in wanted.cubes}
    return CubeCount(count(readings, asked, cubes), tuple(readings), cubes)


def answers_by_photo(answers: Sequence[str], photos: int) -> list[list[str]]:
    """Answers sorted by the photo that they are about. Raises InputError."""
    said: list[list[str]] = [[] for _ in range(photos)]
    for answer in answers:
        first, colon, rest = answer.partition(":")
        number = int(first) if colon and first.strip().isdecimal() and len(first) < 5 else 1
        if not 1 <= number <= photos:
            raise InputError(tr("there is no photo {number}.", number=number), place=f"'{answer}'")
        said[number - 1].append(rest.strip() if colon and first.strip().isdecimal() else answer)
    return said


def box_of(given: BoxLike, kit: Kit) -> Box:
    """A box. Raises InputError and DataError."""
    if isinstance(given, Box):
        return given
    if isinstance(given, str) and "\n" in given:
        return parse_box(given, "box", kit)
    return load_box(Path(given), kit)


def _benches(benches: int) -> None:
    if not 1 <= benches <= MOST_BENCHES:
        raise InputError(
            tr("{n} benches are not possible.", n=benches),
            way_out=tr("Use 1 to {most}.", most=MOST_BENCHES),
        )


class _Prover:
    """Holds a changed design against what the plan promises and against the rules."""

    def __init__(self, design: Design, kit: Kit, simulator: Simulator | None) -> None:
        self._kit, self._simulator = kit, simulator
        self._before: set[tuple[object, ...]] | None = None
        self._design = design

    def __call__(self, changed: Design) -> Proof:
        if self._simulator is None:
            return Proof(None)
        circuit = build_circuit(changed.board, self._kit)
        try:
            figures = self._simulator.evaluate(changed, circuit)
            found = self._against(changed)
        except SimulationError as error:
            return Proof(False, (error.message,))
        if self._before is None:
            self._before = {self._key(f) for f in self._against(self._design)}
        against = tuple(f.title for f in found if self._key(f) not in self._before)
        unmet = tuple(f.text for f in figures if not f.met)
        return Proof(not unmet if figures else None, unmet, against)

    def _against(self, design: Design) -> list[Finding]:
        assert self._simulator is not None
        circuit = build_circuit(design.board, self._kit)
        point = self._simulator.operating_point(circuit, design.conditions)
        positions = self._simulator.other_positions(circuit, design.conditions)
        found = check_rules(circuit, point, positions=positions, supply_V=design.conditions.supply_V)
        return [f for f in found if f.severity <= Severity.FAULT]

    @staticmethod
    def _key(finding: Finding) -> tuple[object, ...]:
        return finding.rule, finding.cells[:1]
