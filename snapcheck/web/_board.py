"""The board of the desk: how every bench stands, and where the class goes wrong, on the plan."""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import dataclass

from snapcheck.web._answer import State, state_of
from snapcheck.web._site import MARGIN, PITCH, Site, place_of
from snapcheck.web._store import DONE, Bench


@dataclass(frozen=True)
class Row:
    """One bench on the board."""

    bench: Bench
    state: State
    task: str
    names: str
    photos: int
    idle_min: int


def board_of(site: Site) -> list[Row]:
    """All benches, those that need the teacher first."""
    rows = []
    for bench in site.keep.benches():
        shots = [s for s in site.keep.shots(bench.number) if s.task == bench.task]
        exercise = site.plans.exercises.get(bench.task)
        title = bench.task if exercise is None else exercise.title
        idle = time.time() - (shots[0].at if shots else bench.since)
        rows.append(
            Row(
                bench,
                state_of(bench, shots),
                title,
                site.plans.names(bench.students),
                len(shots),
                int(idle / 60),
            )
        )
    return sorted(rows, key=lambda r: (r.bench.asked is None, r.state.rank, r.bench.number))


#: what is worth knowing, or only asked, is no mistake
_WRONG = ("danger", "fault", "deviation")


def mistakes_svg(site: Site) -> list[tuple[str, str, str]]:
    """For every task at which mistakes were made: title, the plan with how many benches went wrong at which
    cell (SVG), and the same in words."""
    wrong: dict[str, Counter[str]] = {}
    for bench in site.keep.benches():
        done = [s for s in site.keep.shots(bench.number) if s.state == DONE]
        wrongs = [(s.task, f) for s in done for f in s.told["findings"] if f["severity"] in _WRONG]
        places = {(task, c) for task, f in wrongs for c in f["plan_cells"]}
        for task, cell in places:
            wrong.setdefault(task, Counter())[cell] += 1
    made = []
    for name, cells in sorted(wrong.items()):
        exercise = site.plans.exercises.get(name)
        if exercise is not None:
            words = ", ".join(f"{cell}: {n}" for cell, n in sorted(cells.most_common(12)))
            made.append((exercise.title, _marked(exercise.drawn, cells), words))
    return made


def _marked(drawn: str, cells: Counter[str]) -> str:
    marks = []
    for cell, n in cells.items():
        place = place_of(cell)
        if place is None:
            continue
        x, y = (MARGIN + (along + 0.5) * PITCH for along in place)
        marks.append(
            f'<rect x="{x - 50}" y="{y - 50}" width="100" height="100" rx="18" fill="none" stroke="#8f4700" '
            f'stroke-width="{min(4 + 2 * n, 14)}"/><circle cx="{x + 38}" cy="{y - 38}" r="22" fill="#8f4700" '
            f'stroke="#fff" stroke-width="3"/><text x="{x + 38}" y="{y - 29}" font-size="26" fill="#fff" '
            f'font-weight="bold" text-anchor="middle">{n}</text>'
        )
    return drawn.removesuffix("</svg>") + "".join(marks) + "</svg>"
