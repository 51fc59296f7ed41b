"""A class at a glance, without names: spread of points, where mistakes sit, items that tell builds apart."""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

from snapcheck.board import Cell, draw_svg
from snapcheck.grade._batch import Entry
from snapcheck.grade._course import Course, Task
from snapcheck.grade._pages import page
from snapcheck.words import tr

#: with fewer graded builds than this, nothing is said about how items tell builds apart
FEWEST = 8
_PITCH, _MARGIN = 108.0, 44.0  # of `draw_svg`


@dataclass(frozen=True)
class ItemFigures:
    """One item over a class.

    Attributes:
        title: of the item.
        share: mean share of its points that was earned.
        tells: correlation (-1 to 1) of its points with the points of all other items; None where there are
            too few builds, or where all earned the same. Classical test theory's corrected item-total
            correlation: an item near 0 or below says little about the rest.
    """

    title: str
    share: float
    tells: float | None


@dataclass(frozen=True)
class Mistake:
    """What went wrong in how many builds, and where on the plan."""

    cells: tuple[str, ...]
    words: str
    rule: str
    builds: int


def graded(task: Task, entries: Mapping[tuple[str, str], Entry]) -> list[Entry]:
    """Builds of a task that were handed in and whose grade is final."""
    return [e for (_, name), e in entries.items() if name == task.name and e.grade.final and e.sha]


def item_figures(entries: Sequence[Entry]) -> list[ItemFigures]:
    """For each item of the rubric how hard it was and how well it tells builds apart."""
    if not entries:
        return []
    columns = [
        [float(Fraction(e.grade.lines[i].points)) for e in entries]
        for i in range(len(entries[0].grade.lines))
    ]
    totals = [sum(row) for row in zip(*columns, strict=True)]
    told = []
    for line, column in zip(entries[0].grade.lines, columns, strict=True):
        most = float(Fraction(line.most))
        rest = [t - c for t, c in zip(totals, column, strict=True)]
        told.append(
            ItemFigures(line.title, statistics.fmean(column) / most if most else 1.0, _related(column, rest))
        )
    return told


def _related(a: Sequence[float], b: Sequence[float]) -> float | None:
    """Pearson's correlation, None where it says nothing."""
    if len(a) < FEWEST or len(set(a)) < 2 or len(set(b)) < 2:
        return None
    return statistics.correlation(a, b)


def mistakes(entries: Sequence[Entry]) -> list[Mistake]:
    """Mistakes by cell of the plan and rule, most frequent first; each counts once for each build."""
    count: Counter[tuple[str, tuple[str, ...]]] = Counter()
    words: dict[tuple[str, tuple[str, ...]], str] = {}
    for e in entries:
        for key in (
            {(f.rule, f.plan_cells[:1]) for f in e.facts.faults if f.severity != "note"} if e.facts else ()
        ):
            count[key] += 1
            words.setdefault(key, next(f.title for f in e.facts.faults if (f.rule, f.plan_cells[:1]) == key))  # type: ignore[union-attr]
    return sorted(
        (Mistake(cells, words[rule, cells], rule, n) for (rule, cells), n in count.items()),
        key=lambda m: (-m.builds, m.cells, m.rule),
    )


def builds_by_cell(entries: Sequence[Entry]) -> dict[str, int]:
    """In how many builds something is wrong in each cell of the plan (notes do not count)."""
    count: Counter[str] = Counter()
    for e in entries:
        if e.facts is not None:
            count.update({c for f in e.facts.faults if f.severity != "note" for c in f.plan_cells})
    return dict(count)


def heat_svg(course: Course, task: Task, entries: Sequence[Entry]) -> str:
    """The plan with a shade and a number on every cell in which builds went wrong."""
    drawing = draw_svg(task.design.board, course.kit)
    marks = []
    for name, n in sorted(builds_by_cell(entries).items()):
        cell = Cell.parse(name)
        x, y = _MARGIN + cell.column * _PITCH, _MARGIN + cell.row * _PITCH
        share = n / max(len(entries), 1)
        marks.append(
            f'<rect x="{x:g}" y="{y:g}" width="108" height="108" rx="12" fill="#a8201a" '
            f'fill-opacity="{0.12 + 0.6 * share:.2f}"/>'
            f'<circle cx="{x + 14:g}" cy="{y + 14:g}" r="16" fill="#fff" stroke="#a8201a" stroke-width="3"/>'
            f'<text x="{x + 14:g}" y="{y + 20.5:g}" font-size="18" font-weight="bold" text-anchor="middle" '
            f'fill="#a8201a">{n}</text>'
        )
    return drawing.removesuffix("</svg>") + "".join(marks) + "</svg>"


def spread_svg(entries: Sequence[Entry]) -> str:
    """How many builds earned how many points, in ten steps."""
    if not entries:
        return ""
    most = max(float(Fraction(e.grade.most)) for e in entries) or 1.0
    bins = [0] * 10
    for e in entries:
        bins[min(int(float(Fraction(e.grade.points)) / most * 10), 9)] += 1
    labels = [f"{most * i / 10:g}" for i in range(11)]
    return _bars(bins, labels, tr("points"))


def time_svg(task: Task, entries: Sequence[Entry]) -> str:
    """When builds were handed in, in about twelve steps; the time it was due is the border of two of them."""
    times = sorted(datetime.fromisoformat(e.at) for e in entries if e.at)
    if len(times) < 2 or times[0] == times[-1]:
        return ""
    shown = task.due is not None and times[0] <= task.due <= times[-1]
    border = task.due if shown and task.due is not None else times[0]
    step = (times[-1] - times[0]).total_seconds() / 12

    def steps(t: datetime) -> int:  # whoever hands in at the very time is not late
        return math.ceil(round((t - border).total_seconds() / step, 6))

    before = -steps(times[0]) + (1 if shown else 0)
    bins = [0] * (before + steps(times[-1]))
    for t in times:
        bins[max(before + steps(t) - 1, 0)] += 1
    zone = task.due.tzinfo if task.due is not None else None
    at = [
        datetime.fromtimestamp(border.timestamp() + step * (i - before), zone or border.tzinfo)
        for i in range(len(bins) + 1)
    ]
    labels = [f"{t:%m-%d %H:%M}" if i % 3 == 0 else "" for i, t in enumerate(at)]
    return _bars(bins, labels, tr("handed in"), before if shown else None)


def _bars(bins: Sequence[int], labels: Sequence[str], title: str, line: int | None = None) -> str:
    width, height, base = 720.0, 220.0, 180.0
    step, top = (width - 40) / len(bins), max(bins) or 1
    parts = []
    for i, n in enumerate(bins):
        h = 150.0 * n / top
        place = f'x="{22 + i * step:.1f}" y="{base - h:.1f}" width="{step - 4:.1f}" height="{h:.1f}"'
        parts.append(f'<rect {place} fill="#0b5687"/>')
        if n:
            x = 20 + (i + 0.5) * step
            parts.append(f'<text x="{x:.1f}" y="{base - h - 5:.1f}" text-anchor="middle">{n}</text>')
    for i, label in enumerate(labels):
        end = 8 * len(label) / 2 > 20  # a long label at either end would stick out
        anchor = "start" if end and i == 0 else "end" if end and i == len(labels) - 1 else "middle"
        x = 20 + i * step + {"start": -18, "end": 18}.get(anchor, 0)
        parts.append(f'<text x="{x:.1f}" y="{base + 20:g}" text-anchor="{anchor}">{label}</text>')
    if line is not None:
        x = 20 + line * step  # between two bars
        parts.append(
            f'<path d="M{x:.1f} 2V{base:g}" stroke="#a8201a" stroke-width="3" stroke-dasharray="7 5"/>'
        )
        side, anchor = (-6, "end") if line > len(bins) / 2 else (6, "start")  # above a bar stands its number
        parts.append(f'<text x="{x + side:.1f}" y="11" text-anchor="{anchor}">{tr("due")}</text>')
    return (
        f'<svg class="chart bars" viewBox="0 0 {width:g} {height:g}" role="img" font-size="13">'
        f"<title>{title}</title>{''.join(parts)}</svg>"
    )


@dataclass(frozen=True)
class _Shown:
    task: Task
    handed: int
    waiting: int
    mean: str
    median: str
    spread: str
    heat: str
    times: str
    items: list[ItemFigures]
    mistakes: list[Mistake]


def overview_page(course: Course, entries: Mapping[tuple[str, str], Entry]) -> str:
    """The class overview as HTML; it holds no names and no numbers of students."""
    shown = []
    for task in course.tasks:
        theirs = [e for (_, name), e in entries.items() if name == task.name and e.sha]
        final = graded(task, entries)
        points = [float(Fraction(e.grade.points)) for e in final]
        shown.append(
            _Shown(
                task, len(theirs), sum(not e.grade.final for e in theirs),
                f"{statistics.fmean(points):.1f}" if points else "–",
                f"{statistics.median(points):g}" if points else "–",
                spread_svg(final), heat_svg(course, task, final), time_svg(task, theirs),
                item_figures(final), mistakes(final)[:12],
            )
        )  # fmt: skip
    return page(
        "overview",
        course.title,
        tr("The class at a glance"),
        tasks=shown,
        n=len(course.students),
    )
