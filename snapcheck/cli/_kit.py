"""``snapcheck kit [KIND]``: what cubes there are, and everything known about one."""

from __future__ import annotations

import argparse
from typing import Any

from snapcheck.board import kind_meant
from snapcheck.cli._common import add_kit, kit_of, print_json
from snapcheck.cli._output import document, say
from snapcheck.errors import InputError
from snapcheck.kit import Kind, Kit, format_value
from snapcheck.words import shown, tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "kind", nargs="?", metavar="KIND", help="a kind such as npn; without one, all are listed"
    )
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    kit = kit_of(args)
    if args.kind and args.kind not in kit:
        hint = kind_meant(args.kind, kit)
        raise InputError(
            tr("'{kind}' is no kind of the kit '{name}'.{hint}", kind=args.kind, name=kit.name, hint=hint),
            way_out=tr("Accepted: {names}.", names=", ".join(kit.kinds)),
        )
    if args.kind:
        tell_kind(kit[args.kind], kit, as_json=args.json)
    elif args.json:
        _print_kinds(kit, list(kit.kinds.values()))
    else:
        say(tr("{title}: {count} kinds", title=kit.title, count=len(kit.kinds)))
        width = max(len(name) for name in kit.kinds)
        for kind in kit.kinds.values():
            say(f"  {shown(kind.name):<{width}}  {_contacts(kind):<44}  {shown(tr(kind.title))}")
    return 0


def tell_kind(kind: Kind, kit: Kit, *, as_json: bool) -> None:
    """Everything known about one kind, as text or as a document."""
    if as_json:
        _print_kinds(kit, [kind])
    else:
        _print_kind(kind)


def _print_kinds(kit: Kit, kinds: list[Kind]) -> None:
    told = {"name": kit.name, "title": kit.title, "kinds": [_to_json(kind) for kind in kinds]}
    print_json(document("kit", told))


def _contacts(kind: Kind) -> str:
    """``base W, collector N, emitter S``; on several cells ``in A1-W, out B1-E``."""
    if kind.size != (1, 1):
        return ", ".join(f"{c.terminal} {c.cell}-{c.side.name}" for c in kind.contacts)
    sides = ((terminal, kind.sides(terminal)) for terminal in kind.terminals)
    return ", ".join(f"{t} {'-'.join(s.name for s in places) or tr('body')}" for t, places in sides)


def _values(kind: Kind) -> list[str]:
    return [format_value(value, kind.value_form) for value in kind.values]


def _print_kind(kind: Kind) -> None:
    say(f"{shown(kind.name)}: {shown(tr(kind.title))}")
    rows = [
        (tr("contacts at turn 0"), _contacts(kind)),
        (tr("covers"), tr("{columns} x {rows} cells", columns=kind.size[0], rows=kind.size[1])),
        (tr("marked"), f"{kind.marked} ({kind.faces[kind.marked].name})" if kind.marked else "-"),
        (tr("same again after"), "-" if kind.symmetry == 360 else f"{kind.symmetry}°"),
        (tr("printed"), kind.value_form.words),
        (tr("in the kit"), ", ".join(_values(kind)) or "-"),
        (tr("tolerance"), f"{kind.tolerance:.0%}" if kind.tolerance else "-"),
        (tr("simulated as"), kind.model),
        (tr("ratings"), _numbers(kind.ratings)),
        (tr("parameters"), _numbers(kind.parameters)),
    ]
    width = max(len(name) for name, _ in rows)
    for name, text in rows:
        say(f"  {name:<{width}}  {text}")
    for value in kind.values:
        ratings = kind.ratings_for(value)
        if ratings != kind.ratings:
            say(f"  {format_value(value, kind.value_form):<{width}}  {_numbers(ratings)}")


def _numbers(table: Any) -> str:
    return ", ".join(f"{name} {number:g}" for name, number in table.items()) or "-"


def _to_json(kind: Kind) -> dict[str, Any]:
    return {
        "name": kind.name,
        "title": kind.title,
        "footprint": list(kind.size),
        "legs": [{"name": c.terminal, "cell": c.cell, "side": c.side.name} for c in kind.contacts],
        **({"contacts": {c.side.name: c.terminal for c in kind.contacts}} if kind.size == (1, 1) else {}),
        "sockets": {side.name: terminal for side, terminal in kind.sockets.items()},
        "plate": sorted(kind.plate_terminals),
        "marked": kind.marked,
        "faces": {word: side.name for word, side in kind.faces.items()},
        "symmetry": kind.symmetry,
        "value": kind.value_form.value,
        "values": _values(kind),
        "tolerance": kind.tolerance,
        "model": kind.model,
        "ratings": dict(kind.ratings),
        "ratings_by_value": {key: dict(table) for key, table in kind.ratings_by_value.items() if table},
        "parameters": dict(kind.parameters),
        "parameters_by_value": {key: dict(table) for key, table in kind.parameters_by_value.items() if table},
    }
