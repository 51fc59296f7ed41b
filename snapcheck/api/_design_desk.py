"""A design for somebody who works at it: what stands where, what the rules say, what it does; plain values,
each from the text of its layout file."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from snapcheck.api._given import kit_of
from snapcheck.api._results import RuleCheck
from snapcheck.api._rules import rules
from snapcheck.board import (
    MARGIN,
    PITCH,
    TURNS,
    Board,
    Cell,
    Cube,
    Design,
    Side,
    SocketEnd,
    design_from_text,
    draw_svg,
    edited,
    label_of,
    leg_at,
    places_of_ends,
    read_text,
    rewritten,
    text_of,
    write_layout,
)
from snapcheck.check import State, with_doubts
from snapcheck.circuit import build_circuit, check_rules, is_shorted, part_words, place_words, terminal_word
from snapcheck.devices import Device, Setting
from snapcheck.errors import MissingLibraryError, SimulationError
from snapcheck.places import designs_dir
from snapcheck.words import tr

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from snapcheck.api._given import KitLike
    from snapcheck.circuit import Circuit
    from snapcheck.kit import Kit
    from snapcheck.simulate import Figure, OperatingPoint, Simulator

#: cubes that are proposed for an empty cell
_MOST_FITTING = 8
_NOTHING: dict[str, Any] = {
    "anchor": "", "line": "", "kind": "", "value": "", "turn": 0, "size": [1, 1], "terminals": []
}  # fmt: skip


def design_text(file: Path) -> str:
    """The text of a small layout file; raises InputError where it is none."""
    return read_text(file)


def samples_folder() -> Path:
    """Where the designs lie that come with snapcheck. Raises DataError where they are missing."""
    return designs_dir()


def empty_design(columns: int, rows: int, title: str = "") -> str:
    """The text of a layout file of an empty plate. Raises InputError for a size that is none."""
    return write_layout(Design(Board(columns, rows), title), kit_of(None))


def design_edited(text: str, line: str, kit: KitLike = None) -> tuple[str, tuple[str, ...]]:
    """The text of a layout file after one change to its design (see `snapcheck.board.edited`), and the lines
    that went with what they referred to.

    Raises:
        InputError: the change is none, or not possible on this board.
    """
    cubes = kit_of(kit)
    made = edited(design_of_text(text, cubes), line, cubes)
    return rewritten(text, made.design, cubes), made.lost


def checked_design_text(text: str, kit: KitLike = None) -> str:
    """The text, as it is kept; a design in JSON as a layout file.

    Raises:
        InputError: it is no layout file; says line and column.
    """
    text = text_of(text.replace("\r\n", "\n").encode("utf-8", "replace"), tr("layout"))
    cubes = kit_of(kit)
    design = design_of_text(text, cubes)
    return write_layout(design, cubes) if text.lstrip().startswith(("{", "[")) else text.rstrip() + "\n"


def design_of_text(text: str, kit: Kit) -> Design:
    """The design of a layout file's text. Raises InputError; says line and column."""
    return design_from_text(text, tr("layout"), kit)


# ---------------------------------------------------------------------- what is there


def design_told(text: str, kit: KitLike = None, simulator: Simulator | None = None) -> dict[str, Any]:
    """Everything about a design that is there within a moment.

    Args:
        text: of the layout file.
        kit: the cubes.
        simulator: None: nothing is calculated.

    Returns:
        what `snapcheck.report.told_of` gives, and ``title``, ``purpose``, ``columns``, ``rows``, ``count``;
        ``box`` and ``drawn`` (the drawing without its frame); ``cells`` by name; ``links`` (taps and leads as
        lines); ``ends`` (see `ends_told`); ``figures``, those that need runs in time marked as ``late``;
        ``parts``: what each does at rest; ``notes``; ``late``: other positions of switches and knobs have not
        been looked at, see `design_told_late`.

    Raises:
        InputError: the text is no layout file.
    """
    from snapcheck.report import told_of

    cubes = kit_of(kit)
    design = design_of_text(text, cubes)
    board = design.board
    late = simulator is not None and any(_turned(cubes[q.kind].device) for q in board.cubes.values())
    judged = (_at_rest if late else _judged)(design, cubes, simulator)
    drawn = draw_svg(board, cubes)
    return {
        **told_of(judged.findings, judged.verdict, board, cubes),
        "late": late,
        "title": design.title,
        "purpose": design.purpose,
        "input": str(design.input or ""),
        "output": str(design.output or ""),
        "columns": board.columns,
        "rows": board.rows,
        "count": len(board.cubes),
        "box": [0, 0, round(2 * MARGIN + board.columns * PITCH), round(2 * MARGIN + board.rows * PITCH)],
        "drawn": re.sub(r"^<svg[^>]*><title>[^<]*</title>|</svg>$", "", drawn),
        "cells": _cells(board, cubes),
        "links": _links(board, cubes),
        "ends": ends_told(board, cubes),
        "parts": _parts(judged.circuit, judged.point),
        "figures": _figures(design, judged.circuit, simulator, late=False),
        "notes": _notes(judged, simulator),
    }


def _notes(judged: RuleCheck, simulator: Simulator | None) -> list[str]:
    """What could not be done, in words."""
    missing = [tr("Nothing is calculated: the simulator ngspice is not installed.")]
    return [*judged.notes, *(missing if simulator is None else [])]


def _turned(device: Device) -> bool:
    """Whether light, warmth or somebody's hand changes it: then there are positions to be tried."""
    return bool(device.sense) or device.setting in (Setting.SWITCH, Setting.POT)


def _judged(design: Design, kit: Kit, simulator: Simulator | None) -> RuleCheck:
    """What the rules say, in every position of switches and knobs."""
    return rules(design, kit=kit, calculate=simulator is not None, simulator=simulator)


def _at_rest(design: Design, kit: Kit, simulator: Simulator | None) -> RuleCheck:
    """What the rules say of the board as everything lies now."""
    circuit = build_circuit(design.board, kit)
    state, notes = State(), list[str]()
    if simulator is not None and not is_shorted(circuit):
        try:
            state = State(simulator.operating_point(circuit, design.conditions))
        except (MissingLibraryError, SimulationError) as error:
            notes.append(tr("judged by structure alone: {why}", why=error))
    found = check_rules(circuit, state.point, supply_V=design.conditions.supply_V)
    found, verdict = with_doubts(found, None, unsure=())
    return RuleCheck(design, circuit, tuple(found), verdict, state.point, tuple(notes))


def design_told_late(text: str, kit: KitLike = None, simulator: Simulator | None = None) -> dict[str, Any]:
    """What takes longer, to go over what `design_told` gave: ``verdict`` to ``cautions`` with every position
    of switches and knobs, ``notes``, and all ``figures``.

    Raises:
        InputError: the text is no layout file.
    """
    from snapcheck.report import told_of

    cubes = kit_of(kit)
    design = design_of_text(text, cubes)
    judged = _judged(design, cubes, simulator)
    return {
        **told_of(judged.findings, judged.verdict, design.board, cubes),
        "late": False,
        "figures": _figures(design, judged.circuit, simulator, late=True),
        "notes": _notes(judged, simulator),
    }


def _cells(board: Board, kit: Kit) -> dict[str, dict[str, Any]]:
    from snapcheck.decisions import cube_line

    told: dict[str, dict[str, Any]] = {}
    for cell in board.cells():
        anchor = board.anchor_at(cell)
        if anchor is None:
            told[str(cell)] = {**_NOTHING, "words": tr("nothing")}
        elif anchor == cell:
            cube = board.cubes[cell]
            kind = kit[cube.kind]
            told[str(cell)] = {
                "anchor": str(cell),
                "line": cube_line(cell, cube, board, kit),
                "words": f"{tr(kind.title)} {label_of(cube, kind)}".strip(),
                "kind": cube.kind,
                "value": label_of(cube, kind),
                "turn": cube.turn,
                "size": list(cube.lies),
                "terminals": [(t, terminal_word(t)) for t in kind.terminals if t not in kind.on_plate]
                if not kind.wire else [],
            }  # fmt: skip
    return told


def fitting_told(text: str, cell: str, kit: KitLike = None) -> list[str]:
    """What may be put into an empty cell next, as lines: conductors that join the cubes around it, and cubes
    as there are some on the board, turned so that they touch most."""
    from snapcheck.decisions import cube_line

    cubes = kit_of(kit)
    board, at = design_of_text(text, cubes).board, Cell.parse(cell)
    wanted = set()
    for side in Side:
        beyond = at.neighbour(side)
        if beyond.row >= 0 and beyond.column >= 0 and leg_at(board, cubes, beyond, side.turned(180)):
            wanted.add(side)
    plain = {n: k.wire or set(k.terminals) <= k.on_plate for n, k in cubes.kinds.items() if k.size == (1, 1)}
    like = {replace(q, turn=0): None for q in board.cubes.values() if not plain.get(q.kind, True)}
    wires = [Cube(name) for name, conducts in plain.items() if conducts]
    rated: list[tuple[int, str]] = []
    for cube in [*wires, *like]:
        kind = cubes[cube.kind]
        turns = [t for t in TURNS if not any(kind.same_turn(t, u) for u in TURNS[: TURNS.index(t)])]
        sides = {t: {c.side.turned(t) for c in kind.contacts} for t in turns}
        best = max(turns, key=lambda t: (len(sides[t] & wanted), -t))
        score = 2 * len(sides[best] & wanted) - (len(sides[best] ^ wanted) if plain[cube.kind] else 1)
        rated.append((score, cube_line(at, replace(cube, turn=best), board, cubes)))
    return [line for _, line in sorted(rated, key=lambda r: -r[0])[:_MOST_FITTING]]


def _links(board: Board, kit: Kit) -> list[str]:
    from snapcheck.decisions import lead_line

    leads = [lead_line(lead, board, kit) for lead in board.leads]
    return [f"tap {seam}" for seam in sorted(board.taps)] + leads


def ends_told(board: Board, kit: Kit) -> list[dict[str, Any]]:
    """Where a lead may end: as its line has it, in words, and x and y in the drawing."""
    told = []
    for text, end, (x, y) in places_of_ends(board, kit):
        if isinstance(end, SocketEnd):
            cube = board.cubes[end.cell]
            terminal = kit[cube.kind].sockets[end.side]
            words = tr("socket {cell}: {terminal}", cell=end.cell, terminal=terminal_word(terminal))
        else:
            sits = end.seam in board.taps
            words = tr("tap {seam}", seam=end.seam) if sits else tr("seam {seam}", seam=end.seam)
        told.append({"end": text, "words": words, "x": round(x, 1), "y": round(y, 1)})
    return told


# ---------------------------------------------------------------------- what it does


def _figures(
    design: Design, circuit: Circuit, simulator: Simulator | None, *, late: bool
) -> list[dict[str, Any]]:
    """Every promised figure: ``name``, ``range``, ``value``, ``met``, ``reason``, ``late``: not measured."""
    from snapcheck.simulate import SLOW, figure_text, name_of, range_text

    asked = [e for e in design.expectations if late or e.quantity not in SLOW]
    measured: Iterable[Figure] = () if simulator is None else simulator.evaluate(
        replace(design, expectations=tuple(asked)), circuit
    )  # fmt: skip
    found = {f.expectation: f for f in measured}
    told = []
    for e in design.expectations:
        figure = found.get(e)
        value = None if figure is None else figure.value
        told.append({
            "name": name_of(e, design),
            "range": range_text(e),
            "value": "–" if value is None else figure_text(value, e.unit),
            "met": figure is not None and figure.met,
            "reason": "" if figure is None else figure.reason,
            "late": figure is None and simulator is not None,
        })  # fmt: skip
    return told


def _parts(circuit: Circuit, point: Any) -> list[dict[str, Any]]:
    """Each part at rest: cell, name, volts at its terminals, amperes, watts, what a transistor does."""
    from snapcheck.simulate import figure_text

    if point is None:
        return []
    solved: OperatingPoint = point
    told = []
    for part in circuit.parts:
        volts = []
        for terminal, net in part.nets.items():
            at = solved.voltage(net)
            sides = part.kind.sides(terminal, part.cube.turn)
            where = place_words(part.cell, sides[0]) if terminal in ("a", "b") and sides else ""
            volts.append((where or terminal_word(terminal), "–" if at is None else figure_text(at, "V")))
        amperes, watts, region = solved.part_currents_A.get(part.at), solved.power(part), solved.region(part)
        told.append({
            "cell": str(part.at),
            "name": part_words(part),
            "volts": volts,
            "amperes": "" if amperes is None else figure_text(abs(amperes), "A"),
            "watts": "" if watts is None else figure_text(abs(watts), "W"),
            "state": "" if region is None else region.word,
        })  # fmt: skip
    return told


def card_told(text: str, kit: KitLike = None) -> dict[str, Any]:
    """What a shelf shows of a design: ``title``, ``purpose``, ``count``, ``promises`` in words.

    Raises:
        InputError: the text is no layout file.
    """
    from snapcheck.simulate import name_of, range_text

    cubes = kit_of(kit)
    design = design_of_text(text, cubes)
    return {
        "title": design.title,
        "purpose": design.purpose,
        "count": len(design.board.cubes),
        "promises": [f"{name_of(e, design)} {range_text(e)}" for e in design.expectations],
        "drawn": draw_svg(design.board, cubes, title=""),
    }
