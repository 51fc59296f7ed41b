"""Builds on the way, and builds of another task, for programs."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from snapcheck.api._given import DesignLike, PathLike, board_of, book_of, kit_of, plan_of, shows_a_board
from snapcheck.api._results import widened
from snapcheck.api._solver import solver
from snapcheck.board import Board, Design, load_design
from snapcheck.check import verdict_of
from snapcheck.circuit import RuleBook, build_circuit
from snapcheck.errors import InputError, SnapcheckError
from snapcheck.findings import finding_to_json
from snapcheck.kit import Kit
from snapcheck.sheet import (
    Lookalike,
    Progress,
    as_another,
    course_of,
    looks_like,
    next_words,
    not_listed,
    progress_json,
    worth_asking,
)
from snapcheck.sheet import progress as so_far_of
from snapcheck.watch import Cancel, step, watched
from snapcheck.watch import Progress as Told
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import BuiltLike, Colours, KitLike, PictureLike
    from snapcheck.api._seen import BuildCheck
    from snapcheck.photo import Reading
    from snapcheck.simulate import Simulator

#: plans looked at beside a plan
_MOST_PLANS = 60


@dataclass(frozen=True)
class SoFar(Progress):
    """A build on the way, see `Progress`.

    Attributes:
        another: the plan that it looks like instead of its own, where it does.
        notes: remarks on the photo.
    """

    another: Lookalike | None = None
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """The result as plain values for JSON."""
        other = self.another
        return {
            **progress_json(self),
            "findings": [finding_to_json(f) for f in self.findings],
            "another": None if other is None else {
                "title": other.title, "file": other.name, "likeness": round(other.likeness, 3),
                "own_likeness": round(other.own, 3),
            },
            "notes": list(self.notes),
        }  # fmt: skip


def so_far(
    built: BuiltLike,
    design: DesignLike,
    *,
    also: Sequence[PictureLike] = (),
    among: Iterable[PathLike | Design] | None = None,
    kit: KitLike = None,
    name: str = "",
    colours: Colours = "rgb",
    book: RuleBook | PathLike | None = None,
    calculate: bool = True,
    simulator: Simulator | None = None,
    progress: Told | None = None,
    cancel: Cancel | None = None,
) -> SoFar:
    """How far a build on the way has come: the step that is done, what is next, what is wrong in it so far.

    Args:
        built: a picture as `read` takes it, a `PhotoReading`, or a board: object, layout text, JSON, path.
        design: the plan: object, layout text, JSON, or the path of either.
        also: more pictures of the same build, see `read`.
        among: other plans that it may be a build of: paths of plans or of folders with plans, or objects;
            None: those that lie beside the plan's file.
        kit, name, colours, progress, cancel: see `read`.
        book: rules of your own: object, or path of a TOML file.
        calculate: False: dangers by structure alone.
        simulator: `snapcheck.Simulator`, for many builds; None: one for this one alone.

    Raises:
        InputError, DataError: a file or text is missing or wrong; says where.
        PhotoError: the picture cannot be read as a board: take it again.
        StoppedError: `cancel` said so.
    """
    cubes = kit_of(kit)
    plan, rules = plan_of(design, cubes), None if book is None else book_of(book)
    with watched(progress, cancel), solver(simulator, calculate) as own:
        step(tr("reading the picture"))
        board, reading = _board(built, also, cubes, name, colours)
        step(tr("checking"))
        found = so_far_of(
            course_of(plan, cubes), board,
            unsure=None if reading is None else reading.unsure,
            chances=None if reading is None else reading.chances,
            simulator=own, book=rules,
        )  # fmt: skip
        another = None
        notes = () if reading is None else reading.remarks
        if found.unlike or worth_asking(f.severity for f in found.findings):
            others = _others(design if among is None else among, cubes)
            another = looks_like(build_circuit(board, cubes), plan, others, cubes)
        if another is not None:
            told, _ = as_another(another, plan, board, cubes, own, rules)
            found = replace(found, findings=told)
    return widened(SoFar, found, another=another, notes=tuple(notes))


def as_another_task(
    result: BuildCheck, design: DesignLike, among: Iterable[PathLike | Design] | None = None
) -> BuildCheck:
    """The result of `check`; of a build that looks like another task's circuit with its dangers and that one
    finding instead of all that differs. Nothing is passed that was not passed before.

    Args:
        result: what `check` gave.
        design: the plan as it was given to `check`.
        among: see `so_far`.
    """
    if result.verdict.exit_code == 0 or not worth_asking(f.severity for f in result.findings):
        return result
    others = _others(design if among is None else among, result.kit)
    found = looks_like(result.built_circuit, result.design, others, result.kit)
    if found is None:
        return result
    with solver(None, result.simulated) as own:
        findings, verdict = as_another(found, result.design, result.built, result.kit, own)
    note = not_listed(len(result.findings))
    return replace(result, findings=findings, verdict=verdict, notes=(*result.notes, note))


def on_the_way(result: BuildCheck) -> tuple[BuildCheck, dict[str, Any]]:
    """The result of `check` for a build that is not finished: with what is wrong in it so far instead of all
    that is missing, and how far it has come, as plain values.

    Args:
        result: what `check` gave; `calculate=False` will do there.

    Returns:
        The result, and ``done``, ``steps``, ``right``, ``open``, ``ahead``, ``complete``, ``own_layout``,
        ``unlike``, ``mend`` (something is to be mended first) and ``next``, None or ``number`` and ``words``.
    """
    seen = result.reading
    with solver(result.simulator, True) as own:
        found = so_far_of(
            course_of(result.design, result.kit), result.built,
            unsure=None if seen is None else seen.unsure, chances=None if seen is None else seen.chances,
            simulator=own, book=result.book,
        )  # fmt: skip
    following = None if found.complete else found.next_step
    told = {
        "done": found.done, "steps": len(found.course.steps), "right": len(found.right),
        "open": [str(c) for c in found.open_cells], "ahead": [str(c) for c in found.ahead],
        "complete": found.complete, "own_layout": found.own_layout, "unlike": found.unlike,
        "mend": bool(found.mistakes),
        "next": None if following is None else {
            "number": following.number, "words": [str(words) for words in next_words(found)],
        },
    }  # fmt: skip
    return replace(result, findings=found.findings, verdict=verdict_of(found.findings)), told


def _board(
    built: BuiltLike, also: Sequence[PictureLike], kit: Kit, name: str, colours: Colours
) -> tuple[Board, Reading | None]:
    if shows_a_board(built):
        if also:
            raise InputError(
                tr("only photos can be taken together."),
                way_out=tr("Give photos of one build, then the plan; or one file."),
            )
        design, reading = board_of(built, kit)  # type: ignore[arg-type]
        return design.board, reading
    from snapcheck.api._read import read

    seen = read(built, also=also, kit=kit, name=name, colours=colours)  # type: ignore[arg-type]
    return seen.board, seen


def _others(given: DesignLike | Iterable[PathLike | Design], kit: Kit) -> list[tuple[str, Design]]:
    """Plans with their file's name; what is no plan of this kit is passed over."""
    found: list[tuple[str, Design]] = []
    paths: list[Path] = []
    if isinstance(given, str | os.PathLike):
        beside = Path(given).parent
        paths = [beside] if isinstance(given, os.PathLike) or "\n" not in given else []
    elif not isinstance(given, Design | Board) and not hasattr(given, "keys"):
        for one in given:
            if isinstance(one, Design):
                found.append(("", one))
            else:
                paths.append(Path(one))
                if not paths[-1].exists():  # named, and not there: that is a slip, no plan of another kit
                    load_design(paths[-1], kit)
    files = [f for p in paths for f in (sorted(p.glob("**/*.board")) if p.is_dir() else [p])]
    for file in files[:_MOST_PLANS]:
        with suppress(SnapcheckError, OSError):
            design = load_design(file, kit)
            if design.title and (design.purpose or design.expectations):  # a build has neither
                found.append((file.name, design))
    return found
