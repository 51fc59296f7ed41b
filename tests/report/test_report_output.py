"""The annotated picture, the page and the verb ``check``: looked at by number, not by eye."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from markupsafe import escape
from reportmaker import written
from rich.console import Console

from snapcheck.board import Cell, SocketEnd, load_design
from snapcheck.cli import main
from snapcheck.errors import PhotoError
from snapcheck.findings import Finding, Severity
from snapcheck.kit import Side, bundled_kit
from snapcheck.photo import Reading, open_picture, reading_from_truth
from snapcheck.pipeline import check_build
from snapcheck.report import annotate, hint, print_result, report_html, report_json
from snapcheck.report._callouts import callouts_svg, end_point, reference_svg
from snapcheck.report._look import CARD, MARKS, PAPER, danger_caution, numbered
from snapcheck.report._raster import document as pixel_document
from snapcheck.report._raster import raster
from snapcheck.report._tables import figure_rows, part_rows, parts_list, unsure_words
from snapcheck.simulate import Simulator, is_available

KIT = bundled_kit()
PHOTOS = Path(__file__).parents[2] / "fixtures" / "photos"
PLAN = PHOTOS / "level-meter.board"
PHOTO = PHOTOS / "level-meter-bench-4.jpg"


def picture_and_reading(name: str) -> tuple[np.ndarray, Reading]:
    pixels = open_picture(PHOTOS / f"{name}.jpg").pixels
    truth = json.loads((PHOTOS / f"{name}.json").read_text(encoding="utf-8"))
    return pixels, reading_from_truth(truth, f"{name}.jpg", KIT)


def decoded(data: bytes) -> np.ndarray:
    import cv2

    return np.asarray(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR))


def near(pixels: np.ndarray, colour: str, distance: float = 60.0) -> np.ndarray:
    """Where a picture (blue first) has a colour such as #a8201a."""
    r, g, b = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return np.asarray(np.abs(pixels.astype(float) - (b, g, r)).sum(2) < distance)


def test_annotated_picture_marks_the_cube_concerned_and_no_other() -> None:
    pixels, reading = picture_and_reading("level-meter-bench-4")
    result = check_build(reading, load_design(PLAN, KIT), KIT)
    (danger,) = [f for f in result.findings if f.severity is Severity.DANGER]
    assert str(danger.cells[0]) == "E2"
    plain = decoded(annotate(pixels, reading, [], KIT, result.design.board))
    marked = decoded(annotate(pixels, reading, [danger], KIT, result.design.board))
    assert marked.shape == plain.shape and max(marked.shape) <= 1600
    red = near(marked, MARKS[Severity.DANGER].colour) & ~near(plain, MARKS[Severity.DANGER].colour)
    height, width = red.shape
    panel = red[: height // 2]  # a wide board: the photo above, the plan below
    rows, columns = np.nonzero(panel)
    # column E is the fifth, row 2 the second cell of 108 units within a rim of 44 under a heading of 40
    scale = width / (7 * 108 + 88)
    assert len(rows) > 1500 * scale**2
    assert columns.min() / scale > 44 + 4 * 108 - 34 and columns.max() / scale < 44 + 5 * 108 + 8
    assert rows.min() / scale > 84 + 108 - 34 and rows.max() / scale < 84 + 2 * 108 + 8
    assert near(marked[height // 2 :], MARKS[Severity.DANGER].colour).sum() > 1000  # the same on the plan


def test_annotated_picture_without_findings_shows_what_was_understood() -> None:
    pixels, reading = picture_and_reading("mixed-cubes")
    picture = decoded(annotate(pixels, reading, [], KIT))
    height, width = picture.shape[:2]
    assert width / height > 1.2  # tall board: side by side
    assert not near(picture, MARKS[Severity.QUESTION].colour, 30).any()


def test_photo_and_reading_must_belong_together() -> None:
    pixels, _ = picture_and_reading("mixed-cubes")
    _, reading = picture_and_reading("level-meter-bench-4")
    with pytest.raises(PhotoError):
        annotate(pixels[:, :300], reading, [], KIT)


def test_page_says_the_verdict_first_and_needs_no_network() -> None:
    pixels, reading = picture_and_reading("level-meter-bench-4")
    result = check_build(reading, load_design(PLAN, KIT), KIT)
    page = report_html(result, pixels=pixels)
    words = re.sub(r"<style.*?</style>|<[^>]+>", " ", page, flags=re.DOTALL)
    assert words.index("Do not power") < min(words.index(f.title) for f in result.findings)
    places = [words.index(f.title) for f in result.findings]
    assert len(places) >= 2 and places == sorted(places)  # in the order of what to do
    links = re.findall(r"(?:src|href)=[\"']([^\"'#]+)", page)
    assert links and all(link.startswith("data:") for link in links)
    assert "<script" not in page and "@import" not in page and "@media print" in page
    assert len(page) < 3_000_000


@pytest.mark.parametrize("step", [1, 2, 3])
def test_a_students_page_holds_what_was_asked_for_and_no_more(step: int) -> None:
    """Not hidden by a style sheet: it is not in the file, neither in words nor as a mark on the picture."""
    page = report_html(written(), student=step)
    for number, finding in numbered(written().findings):
        steps = hint(finding, written().built)
        words = (steps.where, steps.which, steps.mend)
        assert [str(escape(w)) in page for w in words] == [n <= step for n in (1, 2, 3)], finding.title
        assert (f'class="mark mark-{number}"' in page) == (step == 3 and f"mark-{number}" in marks())
        for told in (finding.title, finding.mend, finding.why):
            assert step == 3 or not told or told in words[:step] or str(escape(told)) not in page
    assert ("--step" in page) == (step < 3)
    assert ("can burst" in page.split('class="cautions"')[0]) == (step == 3)


def marks() -> str:
    plan = written().placed
    return callouts_svg(numbered(written().findings), written().built, KIT, plan.board if plan else None)


def test_a_danger_carries_its_own_caution() -> None:
    dangers = [f for f in written().findings if f.severity is Severity.DANGER]
    page = report_html(written())
    assert dangers and page.count('<p class="caution">') == len(dangers)
    folded = page.split('class="cautions"')[1]
    for f in dangers:
        assert danger_caution(f, written().built) not in folded
    short = Finding("supply-shorted", Severity.DANGER, (Cell.parse("A2"),), "A short.")
    high = replace(short, rule="above-extra-low")
    hot = replace(short, rule="over-rating", cells=(Cell.parse("D3"),))
    told = [danger_caution(f, written().built) for f in (short, high, hot, dangers[0])]
    for words, sign in zip(
        told, ("shorts the supply", "Never mains", "hot stay hot", "can burst"), strict=True
    ):
        assert sign in words
    assert danger_caution(replace(hot, severity=Severity.FAULT), written().built) == ""


def test_text_colours_have_contrast() -> None:
    """At least 4.5 : 1 (WCAG 2.2, 1.4.3 Contrast (Minimum), level AA; luminance as defined there)."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    for mark in MARKS.values():
        for ground in ("#ffffff", PAPER, CARD):
            assert (luminance(ground) + 0.05) / (luminance(mark.colour) + 0.05) >= 4.5, (mark, ground)


def test_names_from_files_are_text_on_the_page() -> None:
    _, reading = picture_and_reading("level-meter-bench-4")
    design = replace(load_design(PLAN, KIT), title="<script>alert(1)</script>")
    page = report_html(check_build(reading, design, KIT))
    assert "<script" not in page and "&lt;script&gt;" in page


def test_json_carries_the_findings_in_order() -> None:
    _, reading = picture_and_reading("level-meter-bench-4")
    told = json.loads(json.dumps(report_json(check_build(reading, load_design(PLAN, KIT), KIT))))
    assert told["verdict"] == "do-not-power" and told["exit_code"] == 11
    assert [f["number"] for f in told["findings"]] == list(range(1, len(told["findings"]) + 1))
    assert told["findings"][0]["cells"] == ["E2"] and told["findings"][0]["severity"] == "danger"


def test_check_writes_beside_the_current_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["check", str(PHOTO), str(PLAN), "--structure-only", "--no-pdf"]) == 11
    made = tmp_path / f"{PHOTO.stem}-check"
    assert {p.name for p in made.iterdir()} == {"picture.jpg", "report.html", "report.json"}
    assert json.loads((made / "report.json").read_text(encoding="utf-8"))["exit_code"] == 11
    assert str(Path(f"{PHOTO.stem}-check") / "report.html") in capsys.readouterr().out


def test_check_takes_a_written_board_and_json_alone_writes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    words = ["check", str(PLAN), str(PLAN), "--structure-only", "--json"]
    assert main(words) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["verdict"] == "ready" and told["findings"] == []
    assert not list(tmp_path.iterdir())


def test_check_says_what_is_wrong_with_a_photo(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(b"no picture")
    assert main(["check", str(bad), str(PLAN), "--out", str(tmp_path / "o")]) == PhotoError.exit_code
    said = capsys.readouterr().err
    assert "bad.jpg" in said and "Traceback" not in said and not (tmp_path / "o").exists()


def test_paper_holds_every_line_whole(tmp_path: Path) -> None:
    """No line runs over the edge of a page of the PDF, and the circuit's names are on it."""
    words = ["check", str(PHOTOS / "speech-stage-reversed.jpg"),
             str(PHOTOS.parent / "designs" / "speech-stage.board"), "--out", str(tmp_path)]  # fmt: skip
    assert main(words) == 11
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    from weasyprint import HTML

    for sheet in HTML(string=page).render().pages:
        boxes = [b for b in sheet._page_box.descendants() if type(b).__name__ == "TextBox"]
        assert boxes and max(b.position_x + b.width for b in boxes) <= sheet.width - 30
    cut = tmp_path / "cut.jpg"
    cut.write_bytes(PHOTO.read_bytes()[:60_000])
    with pytest.raises(PhotoError):  # making a PDF does not make the reader of photos lenient
        open_picture(cut)
    assert page.count(">R106</text>") >= 2  # the light rim, and the name upon it


def test_a_lead_in_the_wrong_hole_is_shown_with_the_right_one() -> None:
    """On the build a ring around the hole where the plug belongs, on the plan rings around both its ends."""
    design = load_design(PHOTOS.parent / "designs" / "two-lamp-flasher.board", KIT)
    truth = json.loads((PHOTOS / "flasher-crossing-leads.json").read_text(encoding="utf-8"))
    result = check_build(reading_from_truth(truth, "bench.jpg", KIT), design, KIT)
    (wrong,) = [f for f in result.findings if f.rule == "lead-wrong"]
    assert wrong.expected_lead in design.board.leads
    ring = 'r="17" fill="none" stroke="' + MARKS[wrong.severity].colour
    built = callouts_svg([(1, wrong)], result.built, KIT, design.board)
    plan = reference_svg([(1, wrong)], design.board)
    assert built.count(ring) == 1 and plan.count(ring) == 2
    hole = end_point(SocketEnd(Cell.parse("I4"), Side.E), design.board)
    for drawn in (built, plan):
        assert f'cx="{hole[0]:.1f}" cy="{hole[1]:.1f}" {ring}' in drawn


def test_the_mark_of_a_missing_cube_does_not_hide_what_is_there() -> None:
    """A person may have to look: the middle of the cell keeps what the photo shows, dark as it may be."""
    (missing,) = [f for f in written().findings if f.rule == "cube-missing"]
    mark = callouts_svg([(1, missing)], written().built, KIT)
    cell = missing.cells[0]
    body = f'<rect x="-50" y="-50" width="900" height="700" fill="#204060"/>{mark}'
    box = (cell.column * 108, cell.row * 108, 108, 108)
    drawn = raster(pixel_document(body, box, (108, 108), "DejaVu Sans"))
    kept = near(drawn[..., :3], "#204060", 20)
    assert kept.mean() > 0.35 and kept[31:44, 31:78].all()


def test_a_swap_marks_both_places_on_the_plan() -> None:
    (swapped,) = [f for f in written().findings if f.rule == "swapped"]
    plan = written().placed
    assert plan is not None and len(swapped.cells) == 2
    marked = reference_svg([(1, swapped)], plan.board)
    for cell in swapped.cells:
        assert f'<rect x="{cell.column * 108 + 2}" y="{cell.row * 108 + 2}"' in marked


@pytest.mark.skipif(not is_available(), reason="the ngspice library is not installed")
def test_a_figure_that_cannot_be_measured_says_why() -> None:
    design = load_design(PHOTOS.parent / "designs" / "speech-stage.board", KIT)
    cubes = {cell: cube for cell, cube in design.board.cubes.items() if cell != Cell.parse("E4")}
    with Simulator() as simulator:
        result = check_build(replace(design.board, cubes=cubes), design, KIT, simulator)
    (row,) = [r for r in figure_rows(result) if "distortion" in r.name]
    assert row.built == "–" and not row.met and row.reason == "no signal comes through"
    assert f"<small>{row.reason}</small>" in report_html(result)
    console = Console(record=True, width=140, file=io.StringIO())
    print_result(result, console)
    assert f"as built – ({row.reason})" in console.export_text()


def test_one_value_printed_in_two_ways_is_one_line_of_the_parts_list() -> None:
    plan = load_design(PLAN, KIT)
    cubes = {c: replace(x, printed="5V") if x.kind == "meter" else x for c, x in plan.board.cubes.items()}
    built = replace(plan, board=replace(plan.board, cubes=cubes))
    rows = parts_list(check_build(built.board, plan, KIT))
    assert [row for row in rows if row[0] == "meter"] == [("meter", "5 V", 1, 1)]
    assert all(planned == there for _, _, planned, there in rows)


@pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
def test_a_build_turned_round_shows_no_difference_where_parts_have_no_direction() -> None:
    design = load_design(PHOTOS.parent / "designs" / "night-lamp.board", KIT)
    _, reading = picture_and_reading("night-lamp-own-way")
    with Simulator() as simulator:
        result = check_build(reading, design, KIT, simulator)
    assert result.verdict.value == "equivalent"
    assert not [row.name for row in part_rows(result) if row.differs]
    assert all(row.built == row.designed for row in figure_rows(result))
    assert unsure_words(result) == ""
