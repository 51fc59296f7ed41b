"""``snapcheck compare DESIGN BUILT``: what differs between plan and build, and does it matter?"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from snapcheck import api
from snapcheck.check import Alignment, Comparison
from snapcheck.cli._common import add_kit, add_structure_only, print_json, verdict_json
from snapcheck.cli._findings_text import print_findings, verdict_line
from snapcheck.cli._output import document, say
from snapcheck.findings import Severity, finding_to_json
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
    kit = api.kit_of(args.kit)
    design = api.plan_of(Path(args.design), kit)
    result = api.compare(
        design, Path(args.built), kit=kit, book=args.book, limits=args.limits,
        calculate=not args.structure_only,
    )  # fmt: skip
    for note in result.notes:
        say(note, file=sys.stderr)
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
