"""Build sheets, for programs: what `snapcheck sheet` does, without printing."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from snapcheck.api._given import DesignLike, PathLike, book_of, kit_of, plan_of
from snapcheck.api._results import widened
from snapcheck.api._solver import solver
from snapcheck.circuit import RuleBook
from snapcheck.outfiles import write_whole
from snapcheck.report import html_to_pdf
from snapcheck.sheet import Paper, Sheet, make_sheet, sheet_html, sheet_json, stages_text
from snapcheck.watch import Cancel, Progress, step, watched
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import KitLike
    from snapcheck.simulate import Simulator


@dataclass(frozen=True)
class BuildSheet(Sheet):
    """A build sheet, see `Sheet`, that shows and saves itself."""

    def to_html(self, paper: Paper = "a4") -> str:
        """The sheet as one HTML page, without network and script."""
        return sheet_html(self, paper=paper)

    def to_pdf(self, paper: Paper = "a4") -> bytes:
        """The sheet as PDF; raises MissingLibraryError without WeasyPrint and Pango."""
        return html_to_pdf(sheet_html(self, paper=paper, for_pdf=True))

    def to_json(self) -> dict[str, Any]:
        """The sheet as plain values for JSON."""
        return sheet_json(self)

    def stages_text(self) -> str:
        """The stages as lines of a layout file, to be regrouped, renamed and put into the design."""
        return stages_text(self)

    def save(self, file: PathLike, paper: Paper = "a4") -> Path:
        """Write the sheet as HTML or, where the name ends so, as PDF; whole or not at all."""
        path = Path(file)
        content = self.to_pdf(paper) if path.suffix.lower() == ".pdf" else self.to_html(paper)
        write_whole(path, content)
        return path

    def _repr_html_(self) -> str:
        return self.to_html()


def sheet(
    design: DesignLike,
    *,
    kit: KitLike = None,
    book: RuleBook | PathLike | None = None,
    calculate: bool = True,
    simulator: Simulator | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> BuildSheet:
    """The build sheet of a design: steps in the order in which a person follows them, what is needed, and
    what a meter should show.

    Args:
        design: the plan: object, layout text, JSON, or the path of either.
        kit: the cubes: an object, a TOML file's path or text; None: the bundled ones.
        book: rules by which a part of the build may be powered for a check: object, or path of a TOML file.
        calculate: False: no voltages and figures.
        simulator: `snapcheck.Simulator`, for many sheets; None: one for this sheet alone.
        progress: is told in words what is being done.
        cancel: an event, or a function, that says when to stop.

    Raises:
        InputError, DataError: a file or text is missing or wrong; says where.
        StoppedError: `cancel` said so.
    """
    cubes = kit_of(kit)
    plan = plan_of(design, cubes)
    with watched(progress, cancel), solver(simulator, calculate) as own:
        step(tr("calculating"))
        made = make_sheet(plan, cubes, own, None if book is None else book_of(book))
    return widened(BuildSheet, made)
