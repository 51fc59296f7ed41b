"""Everything that a check leaves on disk."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from snapcheck.errors import InputError, MissingLibraryError
from snapcheck.outfiles import write_together
from snapcheck.pipeline import CheckResult
from snapcheck.report._callouts import callouts_svg
from snapcheck.report._html import report_html
from snapcheck.report._json import report_json
from snapcheck.report._look import numbered
from snapcheck.report._picture import annotate, drawing_svg, window_of
from snapcheck.words import json_text, system_says, tr

if TYPE_CHECKING:
    import numpy as np

    from snapcheck.report._plots import Behaviour


#: everything that a report may consist of
REPORT_NAMES = ("report.html", "report.pdf", "report.json", "picture.jpg", "picture.svg")


@dataclass(frozen=True)
class ReportFiles:
    """What was written, and remarks on what could not be.

    Attributes:
        html, picture: always written (picture is JPEG for a photo, SVG for a drawn board).
        data: None for a student: it would tell everything at once.
        pdf: None where it was not asked for, or could not be made.
    """

    html: Path
    data: Path | None
    picture: Path
    pdf: Path | None
    notes: tuple[str, ...] = ()


def picture_of_result(
    result: CheckResult, pixels: np.ndarray | None = None, *, marked: bool = True
) -> bytes | str:
    """The build with its numbered findings: JPEG bytes where there is a photo, else a drawing as SVG text.

    Args:
        pixels: the photo, upright.
        marked: False: without the findings.
    """
    plan = None if result.placed is None or result.comparison.own_layout else result.placed.board
    shown = list(result.findings) if marked else []
    if pixels is not None and result.reading is not None:
        return annotate(pixels, result.reading, shown, result.kit, plan)
    marks = callouts_svg(numbered(shown), result.built, result.kit, plan)
    window = window_of(result.built, *([] if plan is None else [plan]))
    return drawing_svg(result.built, result.kit, window, marks, tr("The build with numbered findings"))


def write_report(
    result: CheckResult,
    folder: Path,
    *,
    pixels: np.ndarray | None = None,
    behaviour: Behaviour | None = None,
    student: int = 0,
    lang: str = "en",
    pdf: bool = True,
    progress: Callable[[str], None] = lambda _: None,
) -> ReportFiles:
    """Write report.html, report.pdf, report.json and the annotated picture into a folder.

    All of them take their places at the end; those of an earlier run that this one does not make (the PDF of
    a teacher's report before a student's, say) are taken away.

    Args:
        student: 0 for everything, 1 to 3 for that many steps of hints; see `report_html`.

    Raises:
        InputError: the folder cannot be written.
    """
    notes: list[str] = []
    contents: dict[Path, bytes | str] = {}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        progress(tr("drawing the picture"))
        drawn = picture_of_result(result, pixels, marked=not student)
        picture = folder / ("picture.jpg" if isinstance(drawn, bytes) else "picture.svg")
        contents[picture] = drawn
        progress(tr("writing the report"))
        data = None if student else folder / "report.json"
        if data is not None:
            contents[data] = json_text(report_json(result), indent=1) + "\n"
        page = report_html(result, pixels=pixels, behaviour=behaviour, student=student, lang=lang)
        html = folder / "report.html"
        contents[html] = page
        made = None
        if pdf and not student:
            progress(tr("writing the PDF"))
            made = folder / "report.pdf"
            try:
                from snapcheck.report._pdf import html_to_pdf

                contents[made] = html_to_pdf(page)
            except MissingLibraryError as error:
                notes.append(str(error))
                made = None
        write_together(contents, instead_of=[folder / name for name in REPORT_NAMES])
    except OSError as error:
        raise InputError(
            tr("cannot be written: {why}.", why=system_says(error)),
            place=error.filename or folder,
            way_out=tr("Choose another folder with --out."),
        ) from None
    return ReportFiles(html, data, picture, made, tuple(notes))
