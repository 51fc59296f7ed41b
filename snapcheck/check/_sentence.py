"""What a difference of circuits does, in one sentence."""

from __future__ import annotations

from snapcheck.board import Cell
from snapcheck.circuit import (
    Circuit,
    Difference,
    What,
    listing,
    net_words,
    part_words,
    terminal_words,
)
from snapcheck.words import tr


def difference_words(difference: Difference, plan: Circuit) -> str:
    """What a difference of circuits does, in one sentence, in the words of the plan."""
    part = difference.part
    match difference.what:
        case What.JOINED:
            nets = " | ".join(net_words(plan, n, 2) for n in difference.nets)
            return tr("Apart in the plan, joined here: {nets}.", nets=nets)
        case What.APART:
            pieces = [
                listing(_terminal(plan, t.cell, t.name) for t in piece[:2])
                for piece in difference.pieces
                if piece
            ]
            if difference.nets[0] == 0 and len(pieces) < 2:
                pieces.append(tr("the plate"))
            return tr("Joined in the plan, apart here: {pieces}.", pieces=" | ".join(pieces))
        case What.HANGS:
            belongs, hangs = difference.nets
            terminals = difference.pieces[0]
            where = net_words(plan, hangs, 2) if hangs >= 0 else tr("nothing of the plan")
            return tr("Here with {where}, in the plan with {belongs}: {terminals}.", where=where,
                      belongs=net_words(plan, belongs, 2, terminals),
                      terminals=listing(_terminal(plan, t.cell, t.name) for t in terminals[:2]))  # fmt: skip
        case What.LEGS if part is not None:
            return tr("The terminals of {part} are exchanged.", part=part_words(part))
        case _:
            return ""


def _terminal(plan: Circuit, cell: Cell, name: str) -> str:
    return terminal_words(plan.part_at[cell], name)
