"""A plan made of photos of a reference build."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from snapcheck.api._given import kit_of
from snapcheck.api._solver import solver
from snapcheck.board import Design, Probe, parse_probe, parse_settings, write_layout
from snapcheck.box import promise
from snapcheck.circuit import Circuit, Part, build_circuit, check_rules
from snapcheck.devices import Drive
from snapcheck.errors import SimulationError
from snapcheck.findings import Finding, Severity
from snapcheck.kit import Kit
from snapcheck.watch import Cancel, Progress, step, watched
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import KitLike, PictureLike
    from snapcheck.api._seen import PhotoReading
    from snapcheck.decisions import Question
    from snapcheck.simulate import Simulator


@dataclass(frozen=True)
class Adopted:
    """A plan made of a build.

    Attributes:
        design: the plan, with figures where they could be calculated.
        reading: what the photos show, with the answers.
        questions: what is still open; while there are any, this is nobody's plan.
        dangers: what must not be powered, by the rules of the trade.
        notes: what could not be done, in words.
        samples: specimens that the bands come from, 0 where there are no figures.
        kit: the cubes.
    """

    design: Design
    reading: PhotoReading = field(repr=False)
    questions: tuple[Question, ...]
    dangers: tuple[Finding, ...]
    notes: tuple[str, ...]
    samples: int
    kit: Kit = field(repr=False)

    @property
    def layout(self) -> str:
        """The text of a layout file, ready to edit."""
        head = [
            tr(
                "Made from a photo of a reference build. Look it over, and change title, purpose and figures."
            ),
            tr("Figures are calculated; bands hold for {n} boards of parts within tolerance.", n=self.samples)
            if self.samples
            else tr("No figures: write lines such as: expect voltage at C4 collector 4 to 6 V"),
        ]
        return "".join(f"# {line}\n" for line in head) + write_layout(self.design, self.kit)


def adopt(
    picture: PictureLike,
    *,
    also: Sequence[PictureLike] = (),
    answers: Sequence[str] = (),
    title: str = "",
    purpose: str = "",
    input: str = "",
    output: str = "",
    settings: str = "",
    kit: KitLike = None,
    simulator: Simulator | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> Adopted:
    """Make a plan of a reference build: board, input, output, and calculated figures with bands.

    Args:
        picture: as for `read`; also: more pictures of the same build.
        also: more pictures of the same build, from other sides.
        answers: decisions on what is not sure, such as ``D2 led red anode=up``, ``remove D2``, ``looked``.
        title, purpose: in words.
        input, output: where the signal goes in and comes out, such as ``C4 collector``; "": where the board
            has one audio input or microphone, and one loudspeaker or socket.
        settings: conditions under which it works, such as ``A2 closed, light 5 lux``.
        kit, simulator, progress, cancel: see `check`.

    Raises:
        InputError: a file is missing, or an answer or a place is none.
        PhotoError: a picture cannot be read: take it again.
        StoppedError: `cancel` said so.
    """
    from snapcheck.api._read import read

    cubes = kit_of(kit)
    with watched(progress, cancel):
        seen = read(picture, also=also, kit=cubes).edited(*answers)
        board = seen.board
        circuit = build_circuit(board, cubes)
        design = Design(board, " ".join(title.split()), purpose)
        design = replace(
            design,
            input=parse_probe(input, board, cubes) if input else _only(circuit, Drive.SIGNAL, Drive.SENSOR),
            output=parse_probe(output, board, cubes) if output else _outlet(circuit),
        )
        if settings:
            design = replace(design, conditions=parse_settings(settings, board, cubes))
        notes = []
        if design.output is None:
            notes.append(tr("It is not clear where the output is: say it with --output."))
        if seen.questions:
            return Adopted(design, seen, seen.questions, (), tuple(notes), 0, cubes)
        samples = 0
        with solver(simulator) as own:
            if own is None:
                notes.append(tr("Nothing is calculated: the simulator ngspice is not installed."))
                dangers = check_rules(circuit)
            else:
                step(tr("calculating what it does"))
                design, dangers, samples, more = _calculated(design, circuit, own)
                notes += more
        dangers = [f for f in dangers if f.severity is Severity.DANGER]
        return Adopted(design, seen, (), tuple(dangers), tuple(notes), samples, cubes)


def _calculated(
    design: Design, circuit: Circuit, simulator: Simulator
) -> tuple[Design, list[Finding], int, list[str]]:
    """The design with figures, what the rules say, how many specimens were tried, and notes."""
    shorted = check_rules(circuit, only=("supply-shorted", "supplies-fighting"))
    if shorted:
        return design, check_rules(circuit), 0, []
    try:
        point = simulator.operating_point(circuit, design.conditions)
        positions = simulator.other_positions(circuit, design.conditions)
        found = check_rules(circuit, point, positions=positions, supply_V=design.conditions.supply_V)
        promised = promise(design, circuit, simulator)
    except SimulationError as error:
        return design, check_rules(circuit), 0, [tr("no figures: {why}", why=error)]
    return (
        promised.design,
        found,
        promised.samples if promised.design.expectations else 0,
        list(promised.notes),
    )


def _only(circuit: Circuit, *drives: Drive) -> Probe | None:
    """The live terminal of the only part of the first of these sorts that the board has one of."""
    for drive in drives:
        parts = [p for p in circuit.parts if p.device.drive is drive]
        if len(parts) == 1:
            return _live(parts[0])
    return None


def _live(part: Part) -> Probe | None:
    """Its first terminal that is not on the plate."""
    return next((Probe(part.cell, t) for t in part.kind.terminals if part.nets[t] != 0), None)


def _outlet(circuit: Circuit) -> Probe | None:
    """The only loudspeaker, or else the only socket."""
    sockets = [c for c, cube in circuit.board.cubes.items() if circuit.kit[cube.kind].sockets]
    sounding = [p for p in circuit.parts if p.device.sounds]
    if len(sounding) == 1 and (live := _live(sounding[0])) is not None:
        return live
    if len(sockets) != 1:
        return None
    kind = circuit.kit[circuit.board.cubes[sockets[0]].kind]
    return Probe(sockets[0], next(t for t in kind.sockets.values() if t not in kind.on_plate))
