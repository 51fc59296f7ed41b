"""From a list of parts, or a board whose places are forgotten, to a laid board."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from snapcheck.api._box import NETLISTS, BoxLike, box_of
from snapcheck.api._given import BOARD_ENDINGS, PathLike, kit_of, plan_of
from snapcheck.board import Board, Design, Value, read_text
from snapcheck.check import compare, follow
from snapcheck.circuit import parse_netlist
from snapcheck.errors import InputError
from snapcheck.kit import Kit
from snapcheck.place import LaidBoard, PartsAndNets, Stock, list_from, list_of, parse_parts
from snapcheck.place import lay as lay_parts
from snapcheck.watch import Cancel, Progress, watched
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import KitLike

#: files with another ending may hold a list of parts
_BOARDS_ALONE = tuple(ending for ending in BOARD_ENDINGS if ending != ".txt")
#: what may be laid: a list of parts as an object, text or path, or a board, whose places are forgotten
PartsLike = PartsAndNets | Design | Board | PathLike | Mapping[str, Any]


def lay(
    parts: PartsLike,
    plate: tuple[int, int] | None = None,
    *,
    box: BoxLike | None = None,
    kit: KitLike = None,
    leads: bool = True,
    seed: int = 0,
    effort: float = 1.0,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> LaidBoard:
    """A board for a list of parts and nets: signal from left to right, supply above, ground below.

    The board has been held against the list before it is given back. Where a plan is laid anew, what it
    promises (`expect`) follows its parts.

    Args:
        parts: a parts list (its form: `snapcheck.place._text`), a SPICE netlist's path, or a board
            or plan, of which only the circuit is taken.
        plate: columns and rows; None: those of the board that is given.
        box: the box, see `snapcheck.fits_box`; None: as many cubes as are needed.
        kit: the cubes: an object, a TOML file's path or text; None: the bundled ones.
        leads: whether leads may be taken where no wire finds a way.
        seed: the same seed gives the same layout, another one perhaps a nicer one.
        effort: how long to search; 1 is usual, 0.2 quick.
        progress: is told in words what is being done.
        cancel: an event, or a function, that says when to stop.

    Raises:
        InputError: there is no such file, or something is wrong in it; or the box holds too little.
        snapcheck.place.DoesNotFitError: it does not fit; `nearest` is what does.
        StoppedError: `cancel` said so.
    """
    cubes = kit_of(kit)
    wanted, plan = _wanted(parts, cubes)
    if plate is None:
        if plan is None:
            raise InputError(
                tr("a list of parts does not say how large the plate is."),
                way_out=tr("Give its columns and rows, such as --plate 9x7."),
            )
        plate = plan.board.columns, plan.board.rows
    with watched(progress, cancel):
        laid = lay_parts(wanted, cubes, *plate, box=_stock(box, cubes), leads=leads, seed=seed, effort=effort)
        return laid if plan is None else replace(laid, design=_promising(plan, laid, cubes))


def _wanted(parts: PartsLike, kit: Kit) -> tuple[PartsAndNets, Design | None]:
    """The list, and the plan that it comes from."""
    if isinstance(parts, PartsAndNets):
        return parts, None
    if isinstance(parts, str | os.PathLike):
        given = os.fspath(parts)
        at_hand = "\n" in given or given.lstrip().startswith("{")
        if at_hand or Path(given).suffix.lower() not in _BOARDS_ALONE:
            text = given if at_hand else read_text(Path(given))
            if Path(given).suffix.lower() in NETLISTS and not at_hand:
                return list_from(parse_netlist(text, kit, given), kit), None
            if not _tells_a_plate(text):
                return parse_parts(text, "parts" if at_hand else given, kit), None
    plan = plan_of(parts, kit)
    return list_of(plan, kit), plan


def _tells_a_plate(text: str) -> bool:
    """True for the text of a board: JSON, or a layout file, which says how large its plate is."""
    words = [line.split() for line in text.splitlines()]
    return text.lstrip().startswith("{") or any(w[:1] == ["plate"] and len(w) > 2 for w in words)


def _stock(box: BoxLike | None, kit: Kit) -> Stock | None:
    """How many cubes there are of a kind and value."""
    if box is None:
        return None
    given = box_of(box, kit)
    counts: Counter[tuple[str, Value]] = Counter()
    for piece, count in given.cubes.items():
        counts[piece.kind, piece.value] += count
    return Stock(counts)


def _promising(plan: Design, laid: LaidBoard, kit: Kit) -> Design:
    """The laid board with what the plan says of it, at the places of its parts."""
    followed = follow(plan, compare(plan, laid.board, kit)).design
    return replace(
        followed,
        input=followed.input or laid.design.input,
        output=followed.output or laid.design.output,
    )
