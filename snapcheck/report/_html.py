"""The report as one self-contained HTML file: no network, no script, prints well."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from snapcheck import __version__
from snapcheck.board import Board
from snapcheck.findings import Finding, Severity
from snapcheck.kit import Kit
from snapcheck.pipeline import CheckResult
from snapcheck.report._callouts import callouts_svg, reference_svg, region_svg, rings_svg
from snapcheck.report._hints import Hint, hint
from snapcheck.report._look import (
    badge_svg,
    cautions,
    danger_caution,
    numbered,
    severity_title,
    verdict_advice,
    verdict_tone,
)
from snapcheck.report._nets import net_colours, nets_svg
from snapcheck.report._picture import Window, drawing_svg, jpeg, photo_svg, rectify, window_of
from snapcheck.report._plots import plots_svg
from snapcheck.report._schematic import schematic_svg
from snapcheck.report._style import foot_css, pages
from snapcheck.report._tables import figure_rows, net_rows, part_rows, parts_list, unsure_words
from snapcheck.words import tr

if TYPE_CHECKING:
    import jinja2
    import numpy as np

    from snapcheck.report._plots import Behaviour


#: circuit drawings up to this width, in their units, stand side by side
_NARROW = 620


@dataclass(frozen=True)
class _Shown:
    number: int
    badge: str
    hint: Hint
    title: str
    expected: str
    found: str
    why: str
    effect: str
    mend: str
    caution: str


def report_html(
    result: CheckResult,
    *,
    pixels: np.ndarray | None = None,
    behaviour: Behaviour | None = None,
    student: int = 0,
    lang: str = "en",
    front: str = "",
    foot: str = "",
) -> str:
    """The report as HTML text.

    Args:
        result: what to tell.
        pixels: the photo, upright, where there is one; without it the board is drawn.
        behaviour: responses and waveforms for plots, None for a report without.
        student: 0 for everything, 1 to 3 for that many steps of hints; what lies further is not in the file.
        lang: language of the text, for the browser.
        front: HTML to stand after what is to be mended, such as a grade.
        foot: at the foot of every printed page, "" for the names of plan and photo; the date follows.
    """
    findings = numbered(result.findings)
    groups = _groups(result, findings, student)
    own = {shown.caution for group in groups for shown in group["findings"]}
    title = result.design.title or tr("Untitled design")
    photo = "" if result.reading is None else result.reading.photo
    tone = verdict_tone(result.verdict)
    colours = net_colours(result.built_circuit)
    circuits = ("", "") if student else (
        schematic_svg(result.built_circuit, result.placed, colours), _planned_circuit(result)
    )  # fmt: skip
    return _template().render(
        tr=tr,
        lang=lang,
        front=front,
        program=f"snapcheck {__version__}",
        css=_data("report.css"),
        foot_css=foot_css(foot or " · ".join(filter(None, (title, photo)))),
        student=student,
        title=title,
        purpose=result.design.purpose,
        photo=photo,
        tone="pass" if tone is None else tone.name.lower(),
        sign=sign_svg(tone),
        verdict=result.verdict.sentence,
        advice=verdict_advice(result.verdict),
        danger_untold=student in (1, 2) and any(f.severity is Severity.DANGER for f in result.findings),
        cautions=[c for c in cautions([cube.kind for cube in result.built.cubes.values()]) if c not in own],
        built_svg=_built(result, findings, pixels, student),
        built_caption=_built_caption(result, pixels),
        plan_svg=_plan(result, findings, student),
        plan_caption=tr("The same numbers mark the same places.") if findings and not student else "",
        groups=groups,
        notes=result.notes,
        figures=figure_rows(result),
        unsure=unsure_words(result),
        plots=[] if behaviour is None or student else plots_svg(behaviour),
        circuit_svg=circuits[0],
        plan_circuit_svg=circuits[1],
        beside=all(0 < _width(svg) <= _NARROW for svg in circuits),
        nets_svg=""
        if student
        else nets_svg(
            result.built_circuit, colours, window_of(result.built), tr("Top view with nets in colours")
        ),
        nets=net_rows(result, colours),
        parts=part_rows(result),
        parts_list=parts_list(result),
    )


def _width(svg: str) -> float:
    """Of an SVG document that says it, in its units; 0 where there is none."""
    found = re.search(r' width="([0-9.]+)"', svg.partition(">")[0])
    return 0.0 if found is None else float(found[1])


def _planned_circuit(result: CheckResult) -> str:
    """The design's circuit, where it differs from the build's."""
    if result.comparison.electrical.value in ("identical", "equivalent"):
        return ""
    return schematic_svg(result.plan_circuit, result.design, net_colours(result.plan_circuit))


def _groups(result: CheckResult, findings: list[tuple[int, Finding]], student: int) -> list[dict[str, Any]]:
    groups: list[dict[str, Any]] = []
    for severity in Severity:
        shown = [
            _Shown(
                number,
                icon(badge_svg(severity, str(number), 25, 25, 17)),
                hint(f, result.built),
                f.title,
                f.expected,
                f.found,
                f.why,
                f.effect,
                f.mend,
                "" if student in (1, 2) else danger_caution(f, result.built),  # it would give the answer away
            )
            for number, f in findings
            if f.severity is severity
        ]
        if shown:
            groups.append(
                {"name": severity.name.lower(), "title": severity_title(severity), "findings": shown}
            )
    return groups


def icon(body: str) -> str:
    """A small square picture from what is drawn in 50 by 50 units."""
    return f'<svg viewBox="0 0 50 50" font-family="DejaVu Sans, Verdana, sans-serif">{body}</svg>'


def sign_svg(tone: Severity | None) -> str:
    """A picture of the verdict: bolt struck out, cross, wave, question mark, tick."""
    drawn = {
        Severity.DANGER: '<circle cx="25" cy="25" r="21" fill="none" stroke="#fff" stroke-width="5"/>'
        '<path d="M28 9 16 27h8l-3 14 13-19h-8z" fill="#fff"/>'
        '<path d="M11 39 39 11" stroke="#a8201a" stroke-width="10"/><path d="M10.5 39.5 39.5 10.5" '
        'stroke="#fff" stroke-width="4.5"/>',
        Severity.FAULT: '<path d="M11 11 39 39M39 11 11 39" stroke="#fff" stroke-width="7" stroke-linecap="round"/>',  # noqa: E501
        Severity.DEVIATION: '<path d="M5 18q10-14 20 0t20 0M5 36q10-14 20 0t20 0" fill="none" stroke="#fff" '
        'stroke-width="6" stroke-linecap="round"/>',
        Severity.QUESTION: '<path d="M15 17q0-11 10-11t10 10q0 7-10 12v6" fill="none" stroke="#fff" '
        'stroke-width="6" stroke-linecap="round"/><circle cx="25" cy="44" r="4.4" fill="#fff"/>',
        None: '<path d="M9 26l11 12L41 13" fill="none" stroke="#fff" stroke-width="7" stroke-linecap="round" '
        'stroke-linejoin="round"/>',
    }
    return icon(drawn[tone] if tone in drawn else drawn[None])


def _built_caption(result: CheckResult, pixels: np.ndarray | None) -> str:
    if result.reading is not None and pixels is not None:
        return tr("The photo, seen from straight above.")
    return tr("Drawn from the layout file.") if result.reading is None else tr("Drawn as it was read.")


def _built(
    result: CheckResult, findings: list[tuple[int, Finding]], pixels: np.ndarray | None, student: int
) -> str:
    plan = None if result.placed is None or result.comparison.own_layout else result.placed.board
    if student:
        marks = "".join(
            student_marks(number, f, result.built, result.kit, plan, student) for number, f in findings
        )
    else:
        marks = callouts_svg(findings, result.built, result.kit, plan)
    title = tr("The build with numbered findings")
    if result.reading is not None and pixels is not None:
        window = _window(result)
        return photo_svg(jpeg(rectify(pixels, result.reading, window)), window, marks, title)
    return drawing_svg(result.built, result.kit, _window(result), marks, title)


def student_marks(
    number: int, finding: Finding, board: Board, kit: Kit, plan: Board | None, step: int
) -> str:
    """What a step of the hints shows: the region, the cubes, or the mend."""
    if step == 1:
        return region_svg(finding, board)
    if step == 2:
        return rings_svg(finding, board)
    return callouts_svg([(number, finding)], board, kit, plan)


def _plan(result: CheckResult, findings: list[tuple[int, Finding]], student: int) -> str:
    if result.placed is None or result.comparison.own_layout:
        board = result.design.board
        return drawing_svg(board, result.kit, window_of(board), "", tr("The plan"))
    marks = "" if student else reference_svg(findings, result.placed.board)
    return drawing_svg(result.placed.board, result.kit, _window(result), marks, tr("The plan"))


def _window(result: CheckResult) -> Window:
    """The cells that pictures show: the same for build and plan, where they share a frame."""
    if result.placed is None or result.comparison.own_layout:
        return window_of(result.built)
    return window_of(result.built, result.placed.board)


@cache
def _data(name: str) -> str:
    return resources.files("snapcheck.report").joinpath(f"data/{name}").read_text(encoding="utf-8")


@cache
def _template() -> jinja2.Template:
    environment = pages()
    environment.filters["tied"] = lambda text: re.sub(r"(?<=[0-9∞]) (?=\S)", "\u00a0", text)
    return environment.from_string(_data("report.html.j2"))
