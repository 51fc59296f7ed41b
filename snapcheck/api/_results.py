"""What the functions of the door give back: the rooms' own results, with what they were made from, so that
they can be shown, plotted and written on the spot. See `_seen.py` for those that come from a picture."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, TypeVar

from snapcheck.board import Design, Theme, svg_to_png
from snapcheck.box import fitted_page, pages_html
from snapcheck.check import Comparison, Verdict
from snapcheck.circuit import Circuit, OperatingPointLike, part_words
from snapcheck.findings import Finding
from snapcheck.report import findings_html, html_to_pdf, picture_html, table_html
from snapcheck.simulate import figure_text, name_of, plots_of, range_text
from snapcheck.words import tr

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Canvas

    from snapcheck.grade import Course, Entry, Review, StoredFile
    from snapcheck.grade import Result as Batch
    from snapcheck.simulate import Figure, OperatingPoint, Survey, Sweep, Tolerance, WhatIf

_T = TypeVar("_T")


def widened(wide: type[_T], value: Any, **more: Any) -> _T:
    """`value` as an instance of `wide`, a class derived from its own that holds `more`."""
    return wide(**{f.name: getattr(value, f.name) for f in fields(value)}, **more)


@dataclass(frozen=True)
class Drawing:
    """A board's top view.

    Attributes:
        svg: the picture as SVG text.
        title: what it shows, in words.
    """

    svg: str = field(repr=False)
    title: str = ""

    def png(self, width: int | None = None) -> bytes:
        """The picture as PNG bytes, `width` pixels wide."""
        return svg_to_png(self.svg, width=width)

    def pdf(self, paper: str = "a4") -> bytes:
        """The picture on a sheet of paper (``a4`` or ``letter``), turned as it fits best, as PDF bytes.

        Raises:
            InputError: there is no such paper.
            MissingLibraryError: WeasyPrint or the Pango library is not installed.
        """
        return html_to_pdf(pages_html([fitted_page(self.svg, paper)], self.title))

    def _repr_html_(self) -> str:
        return picture_html(self.svg, self.title)

    def _repr_png_(self) -> bytes:
        return self.png()


@dataclass(frozen=True)
class BuildComparison(Comparison):
    """A build held against its plan without its figures: a `Comparison`.

    Attributes:
        notes: what could not be done, in words.
    """

    notes: tuple[str, ...] = ()

    def _repr_html_(self) -> str:
        return findings_html(self.findings, self.verdict, notes=self.notes)


@dataclass(frozen=True)
class RuleCheck:
    """A board checked by the rules of the trade, without a plan.

    Attributes:
        design: the board, with what its file says beside it.
        circuit: its circuit.
        findings: what to tell, worst first.
        verdict: what they add up to.
        point: its operating point, None where it was not calculated.
        notes: what could not be done, in words.
    """

    design: Design
    circuit: Circuit = field(repr=False)
    findings: tuple[Finding, ...]
    verdict: Verdict
    point: OperatingPointLike | None = field(repr=False)
    notes: tuple[str, ...] = ()

    def _repr_html_(self) -> str:
        return findings_html(self.findings, self.verdict, advice=bool(self.findings), notes=self.notes)


@dataclass(frozen=True)
class Simulation:
    """What a board does.

    Attributes:
        survey: operating point, signal path, oscillation, delays, promised figures.
        sweep, tolerance: where they were asked for.
        beside: the figures of another design beside the board's, where one was given.
    """

    survey: Survey
    sweep: Sweep | None = None
    tolerance: Tolerance | None = None
    beside: WhatIf | None = None

    @property
    def point(self) -> OperatingPoint:
        """Direct voltages, currents, powers and regions."""
        return self.survey.point

    @property
    def figures(self) -> tuple[Figure, ...]:
        """Each promised figure, measured."""
        return self.survey.figures

    @property
    def met(self) -> bool:
        """True where every promised figure is met."""
        return all(figure.met for figure in self.figures)

    def plots(self, theme: Theme = "light") -> tuple[Canvas, ...]:
        """Every plot there is to draw, as figures of matplotlib.

        Raises:
            MissingLibraryError: matplotlib is not installed.
        """
        return tuple(p.figure(theme) for p in plots_of(self.survey, self.tolerance, self.sweep))

    def _repr_html_(self) -> str:
        figures = [
            (
                name_of(f.expectation, self.survey.design),
                range_text(f.expectation),
                "–" if f.value is None else figure_text(f.value, f.expectation.unit),
                tr("met") if f.met else tr("NOT MET"),
            )
            for f in self.figures
        ]
        parts = []
        for part in self.survey.circuit.parts:
            amperes, watts = self.point.part_currents_A.get(part.cell), self.point.power(part)
            told = [figure_text(v, u) for v, u in ((amperes, "A"), (watts, "W")) if v is not None]
            parts.append((part_words(part), ", ".join(told) or "–"))
        plots = [
            picture_html(p.render("svg").decode(), p.title)
            for p in plots_of(self.survey, self.tolerance, self.sweep)
        ]
        head = (tr("figure"), tr("promised"), tr("as built"), "")
        return table_html(head, figures) + table_html((tr("part"), ""), parts) + "".join(plots)


@dataclass(frozen=True)
class ClassGrades:
    """A graded class.

    Attributes:
        course: tasks, students, rubric.
        grades: by (student, task).
        waiting: what a person must decide, with what each choice would do.
        unmatched: files that belong to nobody known.
        batch: what was read and graded now, None where only stored readings were.
    """

    course: Course = field(repr=False)
    grades: Mapping[tuple[str, str], Entry]
    waiting: Review = field(repr=False)
    unmatched: tuple[StoredFile, ...]
    batch: Batch | None = field(repr=False)
