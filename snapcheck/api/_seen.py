"""Results that come from a picture: what it shows, and what is to be said of the build."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from snapcheck.api._results import Drawing, widened
from snapcheck.api._solver import solver
from snapcheck.board import Theme, draw_svg, svg_to_png, write_layout
from snapcheck.check import Verdict
from snapcheck.decisions import Option, Question, questions_of, with_edits
from snapcheck.errors import InputError
from snapcheck.findings import Finding
from snapcheck.kit import Kit
from snapcheck.photo import Picture, Reading, reading_to_json
from snapcheck.pipeline import CheckResult, check_build
from snapcheck.report import (
    Behaviour,
    annotate,
    behaviour,
    figure_rows,
    findings_html,
    picture_html,
    picture_of_result,
    pieces,
    plots_beside,
    questions_html,
    report_html,
    report_json,
    table_html,
    write_report,
)
from snapcheck.watch import Progress
from snapcheck.words import active_language, tr

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Canvas

    from snapcheck.check import ComparisonSettings
    from snapcheck.circuit import RuleBook
    from snapcheck.report import Pieces, ReportFiles
    from snapcheck.simulate import Simulator


@dataclass(frozen=True)
class PhotoReading(Reading):
    """What a picture shows: a `Reading`, with the picture.

    Attributes:
        picture: None where the reading was made from JSON.
        kit: the cubes.
    """

    picture: Picture | None = field(default=None, repr=False, compare=False)
    kit: Kit = field(kw_only=True, repr=False, compare=False)

    @property
    def layout(self) -> str:
        """The likeliest board as the text of a layout file (doubts are in `questions` alone)."""
        return write_layout(self.board, self.kit)

    @property
    def questions(self) -> tuple[Question, ...]:
        """What the picture leaves open, with what it may be."""
        return questions_of(self, self.kit)

    def edited(self, *lines: str) -> PhotoReading:
        """The reading with decisions, such as ``D2 led red anode=up`` or ``remove D2``; see `decisions`.

        Raises:
            InputError: a line is no decision; names it.
        """
        return with_edits(self, lines, self.kit)

    def to_json(self) -> dict[str, Any]:
        """Plain values, as the verb ``read`` writes them; `snapcheck.check` takes them as a build."""
        return reading_to_json(self)

    def annotated(self) -> bytes:
        """The picture from straight above beside what was understood, as JPEG; without a picture, a drawing
        as PNG."""
        if self.picture is None:
            return svg_to_png(draw_svg(self.board, self.kit, title=self.photo))
        return annotate(self.picture.pixels, self, [], self.kit)

    def _repr_html_(self) -> str:
        told = ((q.place or "–", q.reason, (o.line for o in q.options)) for q in self.questions)
        rows = [(tr("plate"), f"{self.columns} x {self.rows}"), (tr("cubes"), str(len(self.cubes)))]
        rows += [(tr("taps"), str(len(self.taps))), (tr("leads"), str(len(self.leads)))]
        name = self.photo or tr("the build")
        return picture_html(self.annotated(), name) + table_html((name, ""), rows) + questions_html(told)

    def _repr_png_(self) -> bytes:
        return _as_png(self.annotated())


@dataclass(frozen=True)
class Consequence:
    """What one answer to a question would lead to.

    Attributes:
        option: the answer.
        verdict: on the build with that answer.
        appear: findings that are new then.
        vanish: findings that would be no more.
    """

    option: Option
    verdict: Verdict
    appear: tuple[Finding, ...]
    vanish: tuple[Finding, ...]


@dataclass(frozen=True)
class BuildCheck(CheckResult):
    """A build, checked: a `CheckResult`, with the picture and what it was checked by.

    Attributes:
        picture: None where there was none.
        simulator: the caller's own, None where the check had one to itself.
        book, limits, strict, calculated: as `snapcheck.check` was given them.
    """

    picture: Picture | None = field(default=None, repr=False, compare=False)
    simulator: Simulator | None = field(default=None, repr=False, compare=False)
    book: RuleBook | None = field(default=None, repr=False, compare=False)
    limits: ComparisonSettings | None = field(default=None, repr=False, compare=False)
    strict: bool = False
    calculated: bool = True

    @property
    def questions(self) -> tuple[Question, ...]:
        """What the picture leaves open, with what it may be; nothing where there was no picture."""
        return () if self.reading is None else questions_of(self.reading, self.kit)

    def edited(self, *lines: str) -> BuildCheck:
        """The check with decisions on what stands there; see `PhotoReading.edited`.

        Raises:
            InputError: a line is no decision, or there is no reading to decide on.
        """
        with solver(self.simulator, self.calculated) as simulator:
            return self._again(lines, simulator)

    def consequences(self, question: Question) -> tuple[Consequence, ...]:
        """What each answer to a question would change."""
        with solver(self.simulator, self.calculated) as simulator:
            return tuple(self._consequence(option, simulator) for option in question.options)

    @cached_property
    def behaviour(self) -> Behaviour:
        """What plan and build do, as far as it can be calculated."""
        with solver(self.simulator, self.simulated) as simulator:
            return Behaviour(None, None) if simulator is None else behaviour(self, simulator)

    def plots(self, theme: Theme = "light") -> tuple[Canvas, ...]:
        """What the build does over what the plan does, as figures of matplotlib.

        Raises:
            MissingLibraryError: matplotlib is not installed.
        """
        return tuple(plot.figure(theme) for plot in plots_beside(self.behaviour))

    def drawing(self) -> Drawing:
        """The build's top view, with the numbers of the findings."""
        drawn = picture_of_result(self)
        assert isinstance(drawn, str)
        return Drawing(drawn, tr("The build with numbered findings"))

    def annotated(self) -> bytes:
        """The picture from straight above with the numbers of the findings, as JPEG; without a picture, the
        drawing as PNG."""
        drawn = picture_of_result(self, self._pixels)
        return drawn if isinstance(drawn, bytes) else svg_to_png(drawn)

    def html(self, *, student: int = 0, plots: bool = True) -> str:
        """The whole report as one HTML file's text; `student` 1 to 3 for that many steps of hints alone."""
        what = self.behaviour if plots and not student and self.simulated else None
        return report_html(self, pixels=self._pixels, behaviour=what, student=student, lang=active_language())

    def to_json(self) -> dict[str, Any]:
        """The report as plain values, see `snapcheck.report.report_schema`."""
        return report_json(self)

    def pieces(self) -> Pieces:
        """What is told of the build, as plain values and pictures, for pages that put it together in their
        own way; see `snapcheck.report.Pieces`."""
        return pieces(self, self._pixels)

    def save(
        self, folder: str | Path, *, student: int = 0, pdf: bool = True, progress: Progress | None = None
    ) -> ReportFiles:
        """Write the report (HTML, PDF, JSON, picture) into a folder.

        Raises:
            InputError: it cannot be written.
        """
        progress = progress or _silent
        what = None
        if self.simulated and not student:
            progress(tr("calculating what it does"))
            what = self.behaviour
        return write_report(
            self, Path(folder), pixels=self._pixels, behaviour=what, student=student, lang=active_language(),
            pdf=pdf, progress=progress,
        )  # fmt: skip

    def _repr_html_(self) -> str:
        picture = picture_html(picture_of_result(self, self._pixels), tr("The build with numbered findings"))
        heads = (tr("figure"), tr("promised"), tr("as designed"), tr("as built"), "")
        rows = (
            (r.name, r.range, r.designed, r.built, r.reason or (tr("met") if r.met else tr("NOT MET")))
            for r in figure_rows(self)
        )
        return (
            findings_html(self.findings, self.verdict, notes=self.notes) + picture + table_html(heads, rows)
        )

    def _repr_png_(self) -> bytes:
        return _as_png(self.annotated())

    @property
    def _pixels(self) -> Any:
        return None if self.picture is None else self.picture.pixels

    def _again(self, lines: Sequence[str], simulator: Simulator | None) -> BuildCheck:
        if self.reading is None:
            raise InputError(
                tr("there is no reading to decide on."), way_out=tr("Change the layout, and check that.")
            )
        reading = with_edits(self.reading, lines, self.kit)
        result = check_build(
            reading,
            self.design,
            self.kit,
            simulator,
            book=self.book,
            settings=self.limits,
            strict=self.strict,
        )
        mine = ("picture", "simulator", "book", "limits", "strict", "calculated")
        return widened(BuildCheck, result, **{name: getattr(self, name) for name in mine})

    def _consequence(self, option: Option, simulator: Simulator | None) -> Consequence:
        other = self._again([option.line], simulator)
        before = {_what(f) for f in self.findings}
        after = {_what(f) for f in other.findings}
        return Consequence(
            option,
            other.verdict,
            tuple(f for f in other.findings if _what(f) not in before),
            tuple(f for f in self.findings if _what(f) not in after),
        )


def _as_png(picture: bytes) -> bytes:
    if picture[:4] == b"\x89PNG":
        return picture
    import cv2

    pixels = cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_COLOR)
    assert pixels is not None  # we have made it ourselves
    return bytes(cv2.imencode(".png", pixels)[1])


def _what(f: Finding) -> tuple[object, ...]:
    """A finding as far as its place and cause go: numbers in its words differ between circuits."""
    return f.rule, f.severity, f.cells, f.side, f.seam, f.lead


def _silent(words: str) -> None:
    pass
