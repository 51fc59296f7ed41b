"""``snapcheck compare DESIGN BUILT``: what differs between plan and build, and does it matter?"""

from __future__ import annotations

import argparse
from dataclasses import replace

from snapcheck.board import Board, Conditions, Design
from snapcheck.check import (
    Alignment,
    Comparison,
    Verdict,
    align,
    bundled_settings,
    compare,
    load_settings,
    with_doubts,
)
from snapcheck.circuit import build_circuit, bundled_rules, load_rules
from snapcheck.cli._common import add_kit, kit_of, load_built, load_plan, print_json, verdict_json
from snapcheck.cli._findings_text import print_findings, verdict_line
from snapcheck.cli._output import document, say
from snapcheck.cli._state import add_structure_only, states
from snapcheck.findings import Severity, finding_to_json
from snapcheck.kit import Kit
from snapcheck.words import tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("design", metavar="DESIGN", help="the plan: a layout file, or JSON")
    parser.add_argument(
        "built", metavar="BUILT", help="the build: a layout file, or JSON as 'read' writes it"
    )
    parser.add_argument("--book", metavar="FILE", help="a rule file of your own (TOML)")
    parser.add_argument("--limits", metavar="FILE", help="limits of the comparison of your own (TOML)")
    add_structure_only(parser)
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    kit = kit_of(args)
    design, seen = load_plan(args.design, kit), load_built(args.built, kit)
    reading = None if isinstance(seen, Board) else seen
    built = seen if isinstance(seen, Board) else seen.board
    book = load_rules(args.book) if args.book else bundled_rules()
    limits = load_settings(args.limits) if args.limits else bundled_settings()
    ours, theirs = states(
        args,
        [
            (build_circuit(built, kit), _conditions(design, built, kit)),
            (build_circuit(design.board, kit), design.conditions),
        ],
    )
    result = compare(
        design, built, kit, unsure=None if reading is None else reading.unsure,
        chances=None if reading is None else reading.chances,
        operating_point=ours.point, plan_operating_point=theirs.point, positions=ours.positions,
        plan_positions=theirs.positions, book=book, settings=limits,
    )  # fmt: skip
    findings, verdict = with_doubts(
        result.findings,
        reading,
        built_differently=result.verdict is Verdict.EQUIVALENT,
        undecided=result.verdict is Verdict.CANT_TELL,
    )
    result = replace(result, findings=tuple(findings), verdict=verdict)
    if args.json:
        told = {"file": args.built, "design": design.title, "design_file": args.design}
        print_json(document("comparison", {**told, **_as_json(result)}))
        return result.verdict.exit_code
    print_findings(result.findings)
    if result.findings:
        say()
    say(_electrical(result))
    say(verdict_line(result.verdict))
    return result.verdict.exit_code


def _conditions(design: Design, built: Board, kit: Kit) -> Conditions:
    """The plan's conditions in the cells of the build."""
    place = design.board.anchors_after(align(design.board, built, kit).to_built)
    given = design.conditions
    return Conditions(
        {place(c): v for c, v in given.supply_V.items() if place(c) in built.cubes},
        {place(c): v for c, v in given.switches.items() if place(c) in built.cubes},
        {place(c): v for c, v in given.pots.items() if place(c) in built.cubes},
        given.light_lux,
        given.temperature_C,
    )


def _electrical(result: Comparison) -> str:
    words = {
        "identical": tr("The circuits are the same."),
        "equivalent": tr("Built differently, yet the same circuit."),
        "different": tr("The circuits differ."),
        "gave-up": tr("The circuits are too regular; the comparison was given up undecided."),
    }
    if any(f.severity is Severity.QUESTION for f in result.findings):
        words |= {
            "identical": tr("Taken as planned where it is in question, the circuits are the same."),
            "equivalent": tr("Taken as planned where it is in question, it is the same circuit, "
                             "built differently."),
            "different": tr("Taken as planned where it is in question, the circuits differ all the same."),
        }  # fmt: skip
    return words[result.electrical.value]


def _as_json(result: Comparison) -> dict[str, object]:
    return {
        **verdict_json(result.verdict),
        "circuits": result.electrical.value,
        "own_layout": result.own_layout,
        "alignment": _alignment(result.alignment),
        "changed_cells": [str(cell) for cell in result.changed_cells],
        "findings": [finding_to_json(f) for f in result.findings],
    }


def _alignment(alignment: Alignment) -> dict[str, object]:
    return {
        "mirrored": alignment.mirrored,
        "turn": alignment.turn,
        "columns": alignment.columns,
        "rows": alignment.rows,
        "share_as_planned": round(alignment.score, 3),
    }
