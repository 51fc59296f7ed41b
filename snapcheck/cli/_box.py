"""``snapcheck box BOX DESIGN...``: can a class build it out of this box, and what may stand in?"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from snapcheck import api
from snapcheck.box import load_box, piece_words, print_of
from snapcheck.cli._common import add_kit, kit_of
from snapcheck.cli._output import document, print_json, say
from snapcheck.errors import InputError
from snapcheck.words import shown, tr

if TYPE_CHECKING:
    from snapcheck.api import BoxCheck
    from snapcheck.box import Piece, Swap
    from snapcheck.kit import Kit


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("box", nargs="?", metavar="BOX", help="how many of each cube there are (TOML)")
    parser.add_argument("designs", nargs="*", metavar="DESIGN", help="plans, each held against the whole box")
    parser.add_argument("--benches", type=int, default=1, metavar="N", help="how many build at once")
    parser.add_argument("--as-it-is", action="store_true", help="look for no stand-ins for what is short")
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    kit = kit_of(args)
    if args.box is None:
        raise InputError(
            tr("no box file is given."),
            way_out=tr("Give one; 'snapcheck new box NAME' writes one to begin from."),
        )
    box = load_box(args.box, kit)
    checks = api.fits_box(
        box, [Path(d) for d in args.designs], benches=args.benches, swaps=not args.as_it_is, kit=kit
    )
    if args.json:
        cubes = [{**piece_json(p, kit), "there": n} for p, n in box.cubes.items()]
        designs = [_to_json(name, c) for name, c in zip(args.designs, checks, strict=True)]
        print_json(
            document("box", {"file": args.box, "title": box.title, "cubes": cubes, "benches": args.benches,
                             "designs": designs}), indent=2,
        )  # fmt: skip
    else:
        total = sum(box.cubes.values())
        say(
            tr(
                "{title}: {n} cubes of {kinds} sorts",
                title=box.title or args.box,
                n=total,
                kinds=len(box.cubes),
            )
        )
        for name, check in zip(args.designs, checks, strict=True):
            _tell(name, check)
    return 0 if all(check.possible for check in checks) else 1


def piece_json(piece: Piece, kit: Kit) -> dict[str, Any]:
    """A sort of cube as documents tell it."""
    return {"kind": piece.kind, "value": piece.value, "unit": piece.unit, "printed": print_of(piece, kit)}


def _tell(name: str, check: BoxCheck) -> None:
    told = check.needs
    title = check.design.title or Path(name).stem
    say()
    if told.fits:
        say(tr("{title}: fits; the box serves {n} benches", title=title, n=told.possible))
        return
    if check.possible:
        say(tr("{title}: fits with stand-ins (as it is, the box serves {n})", title=title, n=told.possible))
    else:
        say(tr("{title}: does not fit (the box serves {n} of {benches})", title=title, n=told.possible,
               benches=told.benches))  # fmt: skip
    for need in told.short:
        say(tr("  {cube}: {needed} needed, {there} there, {missing} missing",
               cube=piece_words(need.piece, check.kit), needed=need.needed, there=need.there,
               missing=need.missing))  # fmt: skip
        for swap in check.swaps.swaps if check.swaps else ():
            if swap.need is need:
                say(f"    {_swap_words(swap, check.kit)}")
    for loose in told.loose:
        if loose.missing:
            say(tr("  {what}: {needed} needed, {there} there", what=tr(loose.what), needed=loose.needed,
                   there=loose.there))  # fmt: skip


def _swap_words(swap: Swap, kit: Kit) -> str:
    if swap.standin is None:
        return tr("nothing in the box can stand in")
    where = ", ".join(map(str, swap.cells))
    told = swap.standin.words(kit)
    words = (
        tr("{standin} in {cells}, on one bench", standin=told, cells=where)
        if swap.benches == 1
        else tr("{standin} in {cells}, on {n} benches", standin=told, cells=where, n=swap.benches)
    )
    if swap.standin.join:
        words += "; " + (
            tr(
                "the second one in place of the straight wire in {cells}",
                cells=", ".join(map(str, swap.room)),
            )
            if swap.room
            else tr("the layout has no room for the second one: move what is beside it")
        )
    if swap.proof.met is None:
        return words + "; " + tr("not proved: no figures are promised, or nothing can be calculated")
    if swap.proof.holds:
        return words + "; " + tr("calculated: every promised figure is met")
    why = "; ".join((*swap.proof.unmet, *swap.proof.against)[:2])
    return words + "; " + tr("calculated: NOT as promised ({why}; {n} tried)", why=shown(why), n=swap.tried)


def _to_json(name: str, check: BoxCheck) -> dict[str, Any]:
    told = check.needs
    return {
        "file": name,
        "title": check.design.title,
        "fits": told.fits,
        "possible": check.possible,
        "serves": told.possible,
        "cubes": [
            {**piece_json(n.piece, check.kit), "needed": n.needed, "there": n.there, "missing": n.missing}
            for n in told.cubes
        ],
        "loose": [
            {"what": n.what, "needed": n.needed, "there": n.there, "missing": n.missing} for n in told.loose
        ],
        "swaps": [_swap_json(s, check.kit) for s in check.swaps.swaps] if check.swaps else [],
    }


def _swap_json(swap: Swap, kit: Kit) -> dict[str, Any]:
    standin = swap.standin
    return {
        "for": piece_json(swap.need.piece, kit),
        "pieces": [piece_json(p, kit) for p in standin.pieces] if standin else [],
        "join": standin.join if standin else "",
        "off": standin.off if standin else None,
        "text": standin.words(kit) if standin else "",
        "cells": [str(c) for c in swap.cells],
        "room": [str(c) for c in swap.room],
        "benches": swap.benches,
        "met": swap.proof.met,
        "unmet": [*swap.proof.unmet, *swap.proof.against],
    }
