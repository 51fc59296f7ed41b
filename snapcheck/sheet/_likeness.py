"""A build that looks like another task's circuit: told as one finding instead of forty mistakes.

Likeness is Dice's measure (L. R. Dice, Ecology 26 (1945), 297-302), twice the share that two things have in
common: of cubes that stand as planned, and of parts, once by kind and value, once with what joins them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from snapcheck.board import Board, Design
from snapcheck.check import Verdict, align, compare, verdict_of
from snapcheck.circuit import Circuit, Part, RuleBook, build_circuit
from snapcheck.findings import Finding, Severity, in_order
from snapcheck.kit import Kit, usual_spelling
from snapcheck.sheet._progress import board_dangers
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.simulate import Simulator

#: how like another plan a build must be, and how much more like it than its own
_LIKE, _MORE = 0.6, 0.25
#: a build with fewer mistakes than this is a build of its plan with mistakes
_MISTAKES = 5


@dataclass(frozen=True)
class Lookalike:
    """A plan that a build looks like.

    Attributes:
        name: of the plan's file, "" where there is none.
        design: the plan.
        likeness, own: of the build to that plan and to its own, 0 to 1.
    """

    name: str
    design: Design
    likeness: float
    own: float

    @property
    def title(self) -> str:
        """What the plan is called."""
        return self.design.title or self.name


def likeness(plan: Design, built: Circuit) -> float:
    """How like a plan a build is: 0 for nothing in common, 1 for the same.

    Raises:
        InputError: a kind of the plan is not in the kit.
    """
    kit = built.kit
    circuit = build_circuit(plan.board, kit)
    by_cells = align(plan.board, built.board, kit).score
    by_kind = _dice(Counter(_labels(circuit)), Counter(_labels(built)))
    by_joints = _dice(Counter(_joined(circuit)), Counter(_joined(built)))
    return max(by_cells, (by_kind + by_joints) / 2)


def looks_like(
    built: Circuit, design: Design, others: Iterable[tuple[str, Design]], kit: Kit
) -> Lookalike | None:
    """The other plan that a build looks like, None where it looks like its own or like none.

    Args:
        built: the circuit of the build.
        design: its own plan.
        others: other plans, each with a name.
        kit: the cubes; plans with kinds that it lacks are passed over.
    """
    own = likeness(design, built)
    if own + _MORE > 1 or not built.parts:
        return None
    found = [
        Lookalike(name, plan, likeness(plan, built), own)
        for name, plan in others
        if plan.board != design.board and all(cube.kind in kit for cube in plan.board.cubes.values())
    ]
    best = max(found, key=lambda one: one.likeness, default=None)
    if best is None or best.likeness < max(_LIKE, own + _MORE):
        return None
    return best


def as_another(
    found: Lookalike,
    own: Design,
    built: Board,
    kit: Kit,
    simulator: Simulator | None = None,
    book: RuleBook | None = None,
) -> tuple[tuple[Finding, ...], Verdict]:
    """Findings and verdict of a build that is another circuit: every danger of the board itself and of a
    build of the plan that it looks like, then that one thing: a fault, so that nothing passes by it.

    Args:
        found: the plan that it looks like.
        own: its own plan.
        built: what stands on the plate.
        simulator: finds dangers by calculation; None: by structure alone.
        book: rules, None for the bundled ones.
    """
    move = found.design.board.anchors_after(align(found.design.board, built, kit).to_built)
    there = {c: move(c) for c in found.design.board.cubes}
    dangers = board_dangers(found.design, built, kit, simulator, book, there)
    known = {f.cells[:1] for f in dangers}
    dangers += [
        f for f in compare(found.design, built, kit, book=book).findings
        if f.severity is Severity.DANGER and f.cells[:1] not in known
    ]  # fmt: skip
    planned = own.title or tr("the plan")
    told = Finding(
        "another-circuit",
        Severity.FAULT,
        (),
        tr("This looks like '{other}', not like '{planned}'.", other=found.title, planned=planned),
        expected=planned,
        found=found.title,
        why=tr(
            "It is {like} % like that plan and {own} % like its own.",
            like=round(100 * found.likeness), own=round(100 * found.own),
        ),
        mend=tr("Check it against that plan{file}, or build what was planned.",
                file=f" ({found.name})" if found.name else ""),
        data={"likeness": round(found.likeness, 3), "own_likeness": round(found.own, 3)},
        source="common practice, no source",
    )  # fmt: skip
    kept = (*in_order(dangers), told)
    return kept, verdict_of(kept)


def not_listed(many: int) -> str:
    """The note that stands for all that differs from the plan."""
    return tr("{n} differences from the plan are not listed: the circuit is another one.", n=many)


def worth_asking(found: Iterable[Severity]) -> bool:
    """So much is wrong, by how bad each finding is, that it may be another circuit."""
    return sum(s in (Severity.DANGER, Severity.FAULT, Severity.DEVIATION) for s in found) >= _MISTAKES


def _dice(a: Counter[Hashable], b: Counter[Hashable]) -> float:
    many = a.total() + b.total()
    return 2 * (a & b).total() / many if many else 0.0


def _label(part: Part) -> Hashable:
    value = part.cube.value
    if isinstance(value, str):
        value = usual_spelling(value, part.kind.value_form)
    return part.kind.name, value


def _labels(circuit: Circuit) -> list[Hashable]:
    """Kind and value of every part."""
    return [_label(part) for part in circuit.parts]


def _joined(circuit: Circuit) -> list[Hashable]:
    """Kind and value of every part, and at each of its legs the kinds on the same net."""
    found: list[Hashable] = []
    for part in circuit.parts:
        legs = []
        for name, net in part.nets.items():
            near = sorted(other.kind.name for other, _ in circuit.parts_on(net) if other is not part)
            legs.append((part.kind.leg_labels[name], "plate" if net == 0 else tuple(near)))
        found.append((_label(part), tuple(sorted(legs, key=repr))))
    return found
