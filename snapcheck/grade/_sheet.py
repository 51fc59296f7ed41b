"""The rubric for people: as a sheet for students, and as a preview of what it does to a sample."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from snapcheck.grade._facts import Facts
from snapcheck.grade._pages import data, page
from snapcheck.grade._rubric import Item, Measure, Rubric, points_text, sample_rubric
from snapcheck.grade._score import Grade, Handed, grade
from snapcheck.words import numeral, tr


@dataclass(frozen=True)
class Previewed:
    """A sample build: what is wrong with it, its grade by this rubric, and by the bundled one."""

    title: str
    grade: Grade
    usual: Grade


def sample_builds() -> list[Mapping[str, Any]]:
    """Checked builds of an invented class (``data/sample.json``): title, lateness, documents, facts."""
    return list(json.loads(data("sample.json")))


def preview(rubric: Rubric) -> list[Previewed]:
    """What a rubric gives for every sample build."""
    told = []
    for build in sample_builds():
        facts = Facts.from_json(build["facts"])
        handed = Handed(build["late_min"], tuple((n, int(size)) for n, size in build["files"]))
        told.append(
            Previewed(
                str(build["title"]), grade(facts, rubric, handed), grade(facts, sample_rubric(), handed)
            )
        )
    return told


def _said(points: Fraction) -> str:
    """Points as people write them: ``1,5`` in German."""
    return numeral(points_text(points))


def how_measured(item: Item) -> str:
    """How an item's points come about, in words for students."""
    match item.measure:
        case Measure.FINDINGS:
            each = _said(item.each)
            if item.per_cell:
                return tr("{each} off for each cell that is wrong in this way", each=each)
            return tr("{each} off for each mistake of this sort", each=each)
        case Measure.FIGURES:
            words = tr("in equal parts for the figures that the plan promises")
            if item.near > 0 and item.near_share > 0:
                near, share = f"{100 * item.near:g}", f"{100 * float(item.near_share):g}"
                words += "; " + tr(
                    "missed by {near} % of the limit or less: {share} %", near=near, share=share
                )
            return (
                words
                + "; "
                + tr("what is missed because of a mistake that costs points already costs no more")
            )
        case Measure.FILES:
            return tr(
                "in full with a document beside the photo ({patterns})", patterns=", ".join(item.patterns)
            )
        case Measure.HAND:
            return tr("given by a person who looks at it")


def late_words(rubric: Rubric) -> str:
    """What lateness costs, "" where it costs nothing."""
    late = rubric.late
    if not late.per_day and late.days is None:
        return ""
    words = tr("Handed in late: {n} points off for each day begun.", n=_said(late.per_day))
    if late.grace_min:
        words += " " + tr("{n} minutes cost nothing.", n=f"{late.grace_min:g}")
    if late.at_most is not None:
        words += " " + tr("At most {n} points are taken off.", n=_said(late.at_most))
    if late.days is not None:
        words += " " + tr("After {n} days there are no points.", n=late.days)
    return words


def sheet_page(rubric: Rubric) -> str:
    """The rubric as a sheet for students (HTML)."""
    items = [(tr(i.title), _said(i.points), how_measured(i)) for i in rubric.items]
    caps = [(tr(c.reason), _said(c.at_most)) for c in rubric.caps]
    bonuses = [(tr(b.title), _said(b.points)) for b in rubric.bonuses]
    share = None if rubric.equivalent_share == 1 else f"{100 * float(rubric.equivalent_share):g}"
    return page(
        "sheet", tr(rubric.title), tr("How builds are graded"), items=items, caps=caps, bonuses=bonuses,
        late=late_words(rubric), share=share, total=_said(rubric.total), step=_said(rubric.step),
    )  # fmt: skip
