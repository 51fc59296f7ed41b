"""``snapcheck nets FILE``: which terminals are joined, and by what."""

from __future__ import annotations

import argparse

from snapcheck.board import load_board
from snapcheck.circuit import Circuit, Net, build_circuit, lead_words, part_words, terminal_words
from snapcheck.cli._common import add_kit, kit_of, print_json
from snapcheck.cli._output import document, say
from snapcheck.words import tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a layout file, or JSON as 'read' writes it")
    parser.add_argument("--metal", action="store_true", help="also list every contact that forms a net")
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    kit = kit_of(args)
    circuit = build_circuit(load_board(args.file, kit), kit)
    if args.json:
        print_json(document("nets", {"file": args.file, **_as_json(circuit)}))
        return 0
    say(tr("{parts} parts, {nets} nets with parts", parts=len(circuit.parts), nets=len(_used(circuit))))
    for part in circuit.parts:
        ends = ", ".join(f"{terminal}={net}" for terminal, net in part.nets.items())
        say(f"  {part.name:6} {part_words(part)}: {ends}")
    for net in _used(circuit):
        name = tr("net 0, the plate") if net.number == 0 else tr("net {number}", number=net.number)
        say(f"{name}:")
        for part, terminal in circuit.parts_on(net.number):
            say(f"  {terminal_words(part, terminal)}")
        for lead in net.leads:
            say(f"  {lead_words(lead)}")
        if args.metal:
            say("  " + ", ".join(str(contact) for contact in net.contacts))
    loose = [h for h in circuit.half_made if h.side is not None and h.terminal]
    if loose:
        places = ", ".join(f"{h.cell} {h.side.word}" for h in loose if h.side is not None)
        say(tr("contacts that meet nothing: {places}", places=places))
    return 0


def _used(circuit: Circuit) -> list[Net]:
    return [net for net in circuit.nets if net.terminals]


def _as_json(circuit: Circuit) -> dict[str, object]:
    return {
        "parts": [
            {
                "name": p.name,
                "cell": str(p.cell),
                "kind": p.kind.name,
                "value": p.cube.value,
                "nets": dict(p.nets),
            }
            for p in circuit.parts
        ],
        "nets": [
            {
                "number": net.number,
                "terminals": [{"cell": str(t.cell), "terminal": t.name} for t in net.terminals],
                "contacts": [
                    {
                        "cell": str(c.cell),
                        "side": None if c.side is None else c.side.name,
                        "terminal": c.terminal,
                        "metal": c.metal.value,
                    }
                    for c in net.contacts
                ],
                "taps": [str(seam) for seam in net.taps],
                "leads": [str(lead) for lead in net.leads],
            }
            for net in circuit.nets
        ],
        "half_made": [
            {
                "cell": str(h.cell),
                "side": None if h.side is None else h.side.name,
                "reason": h.reason.value,
                "facing": None if h.facing is None else str(h.facing),
            }
            for h in circuit.half_made
        ],
    }
