"""``snapcheck spice FILE``: a netlist that the ngspice program runs to the same answers."""

from __future__ import annotations

import argparse
import sys

from snapcheck.board import load_design, parse_settings
from snapcheck.circuit import build_circuit
from snapcheck.cli._common import add_kit, kit_of, print_json, write_file
from snapcheck.cli._output import document, for_output, say
from snapcheck.words import tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a layout file, or JSON as 'read' writes it")
    parser.add_argument("-o", "--out", metavar="NETLIST", help="where to write it (default: to the screen)")
    parser.add_argument("--set", metavar="SETTINGS", help="such as 'A2 closed, light 5 lux'")
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    from snapcheck.simulate import export_netlist

    kit = kit_of(args)
    design = load_design(args.file, kit)
    conditions = design.conditions
    if args.set:
        conditions = parse_settings(args.set, design.board, kit, conditions)
    text = export_netlist(build_circuit(design.board, kit), conditions)
    if args.out:
        write_file(args.out, text)
    if args.json:
        print_json(document("netlist", {"file": args.file, "netlist": text, "written": args.out}))
    elif args.out:
        say(tr("{file} is written as a netlist to {out}.", file=args.file, out=args.out))
    else:
        sys.stdout.write(for_output(text))
    return 0
