"""Results show themselves, plot themselves, answer questions and are written as the command line does."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from html import escape
from pathlib import Path

import pytest

import snapcheck
from snapcheck.simulate import is_available

ROOT = Path(__file__).parents[2]
FIXTURES = ROOT / "fixtures"
needs_ngspice = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")


@pytest.fixture(scope="module")
def reversed_stage() -> snapcheck.BuildCheck:
    told: list[str] = []
    result = snapcheck.check(
        FIXTURES / "photos" / "speech-stage-reversed.jpg", FIXTURES / "designs" / "speech-stage.board",
        progress=told.append,
    )  # fmt: skip
    assert told == ["reading the picture", "checking"]
    return result


@pytest.fixture(scope="module")
def worn() -> snapcheck.BuildCheck:
    """C2 and C3 are open: the plan settles nothing."""
    return snapcheck.check(
        FIXTURES / "photos" / "glue-pot-alarm-worn.jpg", FIXTURES / "designs" / "glue-pot-alarm.board",
        calculate=False, strict=True,
    )  # fmt: skip


def test_a_check_shows_its_verdict_first_and_its_picture(reversed_stage: snapcheck.BuildCheck) -> None:
    html = reversed_stage._repr_html_()
    title = reversed_stage.findings[0].title
    assert html.index("Do not power.") < html.index(title) < html.index("<img")
    assert "data:image/jpeg;base64," in html and not re.search(r"<script|https?:|<link", html)
    assert reversed_stage._repr_png_().startswith(b"\x89PNG")
    assert reversed_stage.annotated().startswith(b"\xff\xd8\xff")
    assert reversed_stage.drawing().svg.startswith("<svg")


def test_names_in_a_picture_are_not_taken_for_html() -> None:
    seen = snapcheck.read(FIXTURES / "photos" / "first-light-good.jpg", name="<b onclick=x>\x1b[31m.jpg")
    html = seen._repr_html_()
    assert "<b onclick" not in html and "&lt;b onclick" in html and "\x1b" not in html


def test_a_reading_shows_what_it_asks(worn: snapcheck.BuildCheck) -> None:
    seen = snapcheck.read(FIXTURES / "photos" / "glue-pot-alarm-worn.jpg")
    html = seen._repr_html_()
    assert "C3 potentiometer 1k wiper=right" in html and "the printed value is not clear" in html
    assert seen._repr_png_().startswith(b"\x89PNG")
    assert seen.questions == worn.questions


def test_a_reading_without_a_picture_is_drawn() -> None:
    seen = snapcheck.read(FIXTURES / "photos" / "first-light-good.jpg")
    bare = snapcheck.PhotoReading(
        **{name: getattr(seen, name) for name in seen.__dataclass_fields__ if name != "picture"}
    )
    assert bare._repr_png_().startswith(b"\x89PNG") and bare.picture is None


def test_what_each_answer_changes_is_what_checking_with_it_says(worn: snapcheck.BuildCheck) -> None:
    worn = worn.edited("C2 thermistor 10k turn=90")
    knob = next(q for q in worn.questions if q.place == "C3")
    outcomes = worn.consequences(knob)
    assert [o.option for o in outcomes] == list(knob.options)
    assert {o.verdict.value for o in outcomes} == {"does-not-work", "cant-tell", "ready"}
    for outcome in outcomes:
        edited = worn.edited(outcome.option.line)
        assert edited.verdict is outcome.verdict and edited.picture is worn.picture
        assert len(edited.findings) == len(worn.findings) + len(outcome.appear) - len(outcome.vanish)
    ready = next(o for o in outcomes if o.verdict is snapcheck.Verdict.READY)
    assert ready.appear == () and [f.severity.name for f in ready.vanish] == ["QUESTION"]


def test_decisions_on_a_reading_keep_what_it_carries(worn: snapcheck.BuildCheck) -> None:
    seen = snapcheck.read(FIXTURES / "photos" / "glue-pot-alarm-worn.jpg")
    decided = seen.edited("C3 potentiometer 1k wiper=right", "C2 thermistor 10k turn=90")
    assert isinstance(decided, snapcheck.PhotoReading) and decided.picture is seen.picture
    assert decided.questions == () and len(seen.questions) == 2
    with pytest.raises(snapcheck.InputError, match="nonsense"):
        seen.edited("nonsense")


def test_a_layout_has_nothing_to_decide_on() -> None:
    plan = FIXTURES / "designs" / "first-light.board"
    with pytest.raises(snapcheck.InputError, match="no reading"):
        snapcheck.check(plan, plan, calculate=False).edited("remove A1")


@needs_ngspice
def test_plots_are_figures_of_matplotlib(reversed_stage: snapcheck.BuildCheck, tmp_path: Path) -> None:
    from matplotlib.figure import Figure

    figures = reversed_stage.plots()
    assert len(figures) == 2 and all(isinstance(f, Figure) for f in figures)
    lines = figures[0].axes[0].get_lines()
    assert {line.get_label() for line in lines} == {"as designed", "as built"}
    figures[0].savefig(tmp_path / "response.png")
    done = snapcheck.simulate(FIXTURES / "designs" / "hiss-filter.board", sweep="temperature")
    assert len(done.plots()) >= 2 and done._repr_html_().count("<img") == len(done.plots())


def test_without_calculation_there_are_no_plots(worn: snapcheck.BuildCheck) -> None:
    assert worn.plots() == () and worn.plan_point is None and worn.behaviour.designed is None


def test_a_drawing() -> None:
    drawn = snapcheck.draw(FIXTURES / "designs" / "first-light.board", theme="dark")
    assert drawn.svg.startswith("<svg") and drawn.png(200).startswith(b"\x89PNG")
    assert "data:image/svg+xml;base64," in drawn._repr_html_() and drawn._repr_png_() == drawn.png()
    assert drawn.title and drawn.title in drawn.svg


def test_rules_and_comparison_show_findings() -> None:
    shorted = "plate 2 x 2\nA1 battery 9V plus=up\nA2 ground stem=up\n"
    done = snapcheck.rules(shorted, calculate=False)
    assert done.findings and all(escape(f.title) in done._repr_html_() for f in done.findings)
    differs = snapcheck.compare(FIXTURES / "designs" / "first-light.board", shorted, calculate=False)
    assert differs.verdict.sentence in differs._repr_html_()


@needs_ngspice
def test_the_report_on_disk_is_that_of_the_command_line(tmp_path: Path) -> None:
    photo, plan = FIXTURES / "photos" / "first-light-good.jpg", FIXTURES / "designs" / "first-light.board"
    subprocess.run(
        [sys.executable, "-m", "snapcheck", "check", photo, plan, "--out", tmp_path / "a", "--no-pdf"],
        check=True, capture_output=True,
    )  # fmt: skip
    result = snapcheck.check(photo, plan, report=True)
    files = result.save(tmp_path / "b", pdf=False)
    names = sorted(p.name for p in (tmp_path / "a").iterdir())
    assert names == sorted(p.name for p in (tmp_path / "b").iterdir()) and files.pdf is None
    for name in names:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes(), name
    assert json.loads((tmp_path / "b" / "report.json").read_text(encoding="utf-8")) == result.to_json()
    assert result.html() == (tmp_path / "b" / "report.html").read_text(encoding="utf-8")


def test_a_class_is_graded(tmp_path: Path) -> None:
    course = tmp_path / "class"
    shutil.copytree(FIXTURES / "class", course, ignore=shutil.ignore_patterns("submissions", "readings"))
    source = next((FIXTURES / "class" / "submissions" / "first-light").glob("T-101*.jpg"))
    (course / "submissions" / "first-light").mkdir(parents=True)
    shutil.copy(source, course / "submissions" / "first-light")
    graded = snapcheck.grade_class(course, workers=1)
    students, tasks = graded.course.students, graded.course.tasks
    assert set(graded.grades) == {(s.number, t.name) for s in students for t in tasks}
    assert graded.batch is not None and graded.batch.pictures == 1 and graded.unmatched == ()
    alone = snapcheck.check(source, course / "first-light.board")
    grade = graded.grades["T-101", "first-light"].grade
    assert grade.verdict == alone.verdict.value and float(grade.points) > 0
    again = snapcheck.grade_class(graded.course, stored=True)
    assert again.batch is None
    assert {k: e.grade for k, e in again.grades.items()} == {k: e.grade for k, e in graded.grades.items()}
