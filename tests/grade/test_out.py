"""What leaves a course: feedback, overview, audit file, copy without names; and forgetting somebody."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import statistics
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from class_reader import read_class
from here import HereCrew

from snapcheck.cli import main
from snapcheck.errors import DataError, InputError
from snapcheck.grade import Course, Entry, Store, decide, load_course, regrade, run_batch
from snapcheck.grade import out as o
from snapcheck.grade._overview import time_svg
from snapcheck.simulate import is_available
from snapcheck.words import active_language

CLASS = Path(__file__).parents[2] / "fixtures" / "class"
pytestmark = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
Opened = tuple[Course, Store, HereCrew, dict[tuple[str, str], Entry]]


def copied(folder: Path) -> Path:
    shutil.copytree(CLASS, folder / "class")
    shutil.copytree(CLASS.parent / "designs", folder / "designs")
    return folder / "class"


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opened]:
    course = load_course(copied(tmp_path_factory.mktemp("out")))
    crew = HereCrew()
    with Store(course.store) as store:
        result = run_batch(course, store, crew, reader=read_class)
        yield course, store, crew, dict(result.grades)
    crew.close()


def test_feedback_for_everybody_who_handed_something_in(opened: Opened, tmp_path: Path) -> None:
    course, store, crew, entries = opened
    made = o.write_feedback(course, store, crew, tmp_path, reader=read_class)
    assert len(made.files) == sum(bool(e.sha) for e in entries.values()) and not made.notes
    page = (tmp_path / "T-102_first-light.html").read_text(encoding="utf-8")
    assert "17 of 20 points" in page and "Osk Brambleforge" in page
    assert "the person at the tool counter" in page and "Do not power" not in page.split("<main>")[0]
    assert "data:image/jpeg;base64," in page  # the photo from straight above, with numbered findings
    assert all(f"{line.points} / {line.most}" in page for line in entries["T-102", "first-light"].grade.lines)
    for name in ("T-101_night-lamp", "T-110_first-light"):
        assert "Brambleforge" not in (tmp_path / f"{name}.html").read_text(encoding="utf-8")
    unreadable = (tmp_path / "T-110_first-light.html").read_text(encoding="utf-8")
    assert "Not final" in unreadable and "of 20 points" not in unreadable
    dangerous = (tmp_path / "T-105_first-light.html").read_text(encoding="utf-8")
    assert "Do not power." in dangerous.split("<main>")[0]  # danger stands before the grade
    for text in (page, dangerous):  # and what to mend before the points
        assert text.index('class="mend"') < text.index('class="points"')
    assert "Osk Brambleforge · T-102" in page.split("@bottom-left{content:")[1].split(";")[0]


def test_feedback_as_pdf_with_what_a_person_decided(opened: Opened, tmp_path: Path) -> None:
    course, store, crew, _ = opened
    number = decide(
        course, store, "T-111", "first-light", "excused", by="a", reason="was ill", reader=read_class
    )
    made = o.write_feedback(course, store, crew, tmp_path, pdf=True, only="T-111", reader=read_class)
    store.take_back(number, by="a", reason="end of the test")
    pdf = tmp_path / "T-111_first-light.pdf"
    assert pdf in made.files and pdf.read_bytes().startswith(b"%PDF-")
    assert "was ill" in (tmp_path / "T-111_first-light.html").read_text(encoding="utf-8")


def test_overview_counts_as_by_hand_and_names_nobody(opened: Opened) -> None:
    course, _, _, entries = opened
    lamp = [e for (_, t), e in entries.items() if t == "first-light" and e.grade.final and e.sha]
    # by the list of builds: the diode at D2 is wrong with T-102 (reversed) and T-108 (blue)
    assert o.builds_by_cell(lamp)["D2"] >= 2
    assert {m.rule for m in o.mistakes(lamp) if m.cells == ("C1",)} >= {"wrong-value"}
    figures = {f.title: f for f in o.item_figures(lamp)}
    ground = figures["What belongs on the plate is joined to it"]
    assert ground.share == pytest.approx(1 - 1 / 2 / len(lamp))  # T-104 alone lost one of two points
    page = o.overview_page(course, entries)
    for student in course.students:
        assert student.name not in page and student.number not in page
    assert page.count("<svg") >= 6 and "<script" not in page


def test_headings_and_byte_order_mark_of_the_gradebook(opened: Opened, tmp_path: Path) -> None:
    course, _, _, entries = opened
    plain = o.gradebook_csv(course, entries)
    assert plain.startswith("number,name,first-light points,")
    totals = {row["number"]: row["total"] for row in csv.DictReader(io.StringIO(plain))}
    waiting = {student for (student, _), entry in entries.items() if not entry.grade.final}
    assert totals["T-102"] == "35.5"  # 17 and 18.5
    assert waiting and {number for number, total in totals.items() if not total} == waiting
    folder = copied(tmp_path)
    told = (folder / "course.toml").read_text(encoding="utf-8")

    def configured(more: str) -> str:
        (folder / "course.toml").write_text(f"{told}\n[gradebook]\n{more}\n", encoding="utf-8")
        return o.gradebook_csv(load_course(folder), entries)

    german = configured('language = "de"\nbyte-order-mark = true')
    assert german.encode().startswith(b"\xef\xbb\xbf")
    assert german.split("\r\n")[0][1:].split(",") == [
        "Nummer", "Name", "first-light Punkte", "first-light Stand", "first-light Urteil",
        "night-lamp Punkte", "night-lamp Stand", "night-lamp Urteil", "Summe",
    ]  # fmt: skip
    assert german.split("\r\n")[1:] == plain.split("\r\n")[1:]
    assert active_language() == "en"
    assert configured('byte-order-mark = false\n"Punkte" = "total"').startswith("Punkte\r\n")
    comma = configured("decimal-comma = true")  # 18.5 is a day of May in a German spreadsheet
    assert comma.startswith("number;name;first-light points;") and ';"18,5";' in comma
    points = {row["number"]: row["total"] for row in csv.DictReader(io.StringIO(comma), delimiter=";")}
    assert points == {number: total.replace(".", ",") for number, total in totals.items()}
    for wrong in (
        'language = "xx"',
        "decimal-comma = 1",
        "language = 3",
        'byte-order-mark = "yes"',
        '"Punkte" = 3',
    ):
        with pytest.raises(DataError) as caught:
            configured(wrong)
        assert "gradebook" in caught.value.place


def bars_and_line(svg: str) -> tuple[list[tuple[float, float, int]], float]:
    """Left, right and height of the bars that stand for somebody, and where the line of the due time is."""
    rects = re.findall(r'<rect x="([\d.]+)" y="[\d.]+" width="([\d.]+)" height="([\d.]+)"', svg)
    bars = [(float(x), float(x) + float(w), round(float(h))) for x, w, h in rects]
    (line,) = re.findall(r'<path d="M([\d.]+) ', svg)
    return bars, float(line)


def test_the_line_of_the_due_time_stands_between_bars_and_parts_the_late_from_the_rest(
    opened: Opened,
) -> None:
    course, _, _, entries = opened
    task = course.task("night-lamp")
    assert task.due is not None
    one = next(e for (_, t), e in entries.items() if t == "night-lamp" and e.sha)
    for seconds in ((-7000, -3000, -1, 0, 1, 40), (-100, 0), (0, 500), (-50_000, -49_000, -3, 7, 90_000)):
        theirs = [replace(one, at=(task.due + timedelta(seconds=s)).isoformat()) for s in seconds]
        bars, line = bars_and_line(time_svg(task, theirs))
        assert all(right <= line - 1.5 or left >= line + 1.5 for left, right, _ in bars)  # the line is 3 wide
        assert 12 <= len(bars) <= 13
        late = any(h for left, _, h in bars if left > line)
        in_time = any(h for _, right, h in bars if right < line)
        assert late == any(s > 0 for s in seconds) and in_time == any(s <= 0 for s in seconds)
    outside = [replace(one, at=(task.due + timedelta(seconds=s)).isoformat()) for s in (-90, -50, -9)]
    assert "<path" not in time_svg(task, outside)


def test_agreement_of_items_is_the_correlation_with_the_rest(opened: Opened) -> None:
    _, _, _, entries = opened
    lamp = [e for (_, t), e in entries.items() if t == "first-light" and e.grade.final and e.sha]
    mine = [float(e.grade.lines[1].points) for e in lamp]
    rest = [sum(float(x.points) for i, x in enumerate(e.grade.lines) if i != 1) for e in lamp]
    assert o.item_figures(lamp)[1].tells == pytest.approx(statistics.correlation(mine, rest))
    assert all(f.tells is None for f in o.item_figures(lamp[:4]))


def test_audit_file_only_grows_and_notices_changes(opened: Opened, tmp_path: Path) -> None:
    course, store, crew, _ = opened
    file = tmp_path / "audit.jsonl"
    first = o.write_audit(store, file)
    before = file.read_text(encoding="utf-8")
    assert first == before.count("\n") > 20
    assert o.write_audit(store, file) == 0
    number = decide(
        course, store, "T-101", "first-light", "points documentation 0.5", by="Ada", reason="thin note",
        reader=read_class,
    )  # fmt: skip
    regrade(course, store, crew, reader=read_class)
    assert o.write_audit(store, file) == 2  # who decided, and what it did to the grade
    after = file.read_text(encoding="utf-8")
    assert after.startswith(before)
    told = [json.loads(line) for line in after.splitlines()]
    mine = next(e for e in told if e["id"] == f"decision-{number}")
    assert (mine["who"], mine["why"], mine["student"]) == ("Ada", "thin note", "T-101")
    store.take_back(number, by="Ada", reason="end of the test")
    file.write_text(after.replace("thin note", "fine note"), encoding="utf-8")
    with pytest.raises(InputError, match="not as the gradebook"):
        o.write_audit(store, file)


def test_copy_without_names(opened: Opened) -> None:
    course, _, _, entries = opened
    key = b"k" * 32
    text = o.pseudonymous_csv(course, entries, key)
    rows = list(csv.DictReader(io.StringIO(text)))
    assert len(rows) == len(entries)
    for student in course.students:
        assert student.number not in text and student.name not in text and student.login not in text
    assert "2031" not in text and ".jpg" not in text
    wren = [r for r in rows if r["pseudonym"] == o.pseudonym("T-102", key)]
    assert {(r["task"], r["points"]) for r in wren} == {("first-light", "17"), ("night-lamp", "18.5")}
    assert {r["state"] for r in wren} == {"final"}
    assert sum(r["state"] == "open" for r in rows) == sum(not e.grade.final for e in entries.values()) > 0
    assert o.pseudonym("T-102", b"x" * 32) != o.pseudonym("T-102", key)
    assert o.pseudonym_key(course) == o.pseudonym_key(course)
    assert (course.folder / "pseudonyms.key").stat().st_mode & 0o077 == 0


def traces(folder: Path, words: list[bytes]) -> list[Path]:
    return [p for p in sorted(folder.rglob("*")) if p.is_file() and any(w in p.read_bytes() for w in words)]


def test_forgetting_leaves_no_trace_but_what_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = copied(tmp_path)
    (folder / "grades.toml").unlink()  # the grades by hand and the makings of the class are not the course's
    (folder / "make.py").unlink()
    shutil.rmtree(folder / "readings")
    monkeypatch.setattr("snapcheck.photo.read_photo", read_class)
    course = load_course(folder)
    name, words = str(folder), [b"T-104", b"Tobin Fernlathe", b"tfern"]
    assert main(["grade", name, "--workers", "2"]) == 1
    decision = "D3 pnp BC327 base=left"
    assert main(["decide", name, "T-104", "night-lamp", decision, "--reason", "arrow", "--workers", "1"]) == 0
    assert main(["decide", name, "T-104", "first-light", "excused", "--reason", "ill", "--workers", "1"]) == 0
    kinds = ["gradebook", "feedback", "overview", "audit", "pseudonymous"]
    assert main(["export", name, *kinds, "--pdf", "--only", "T-104"]) == 0
    assert len(traces(folder, words)) >= 5
    sha = next(f.sha for f in Store(course.store).files() if f.student == "T-104" and f.task == "night-lamp")
    assert main(["forget", name, "T-104"]) == 1  # says what it would do
    assert any(f.student == "T-104" for f in Store(course.store).files())
    capsys.readouterr()
    assert main(["forget", name, "T-104", "--yes"]) == 0
    told = capsys.readouterr().out
    assert [p.name for p in traces(folder, [*words, sha.encode()])] == ["roster.csv"] and "roster" in told
    assert not list(folder.rglob("*T-104*"))
    with Store(course.store) as store:
        assert store.erasures() and "T-104" not in {d.student for d in store.decisions()}
        assert o.write_audit(store, folder / "out" / "audit.jsonl") == 1  # that somebody was erased, not who
    assert main(["forget", name, "T-777", "--yes"]) == 21


def test_a_shared_picture_stays_with_the_other(tmp_path: Path) -> None:
    folder = copied(tmp_path)
    night = folder / "submissions" / "night-lamp"
    shutil.copy(night / "T-104_2031-03-12T1650.jpg", night / "T-112_2031-03-12T1655.jpg")
    (folder / "readings").mkdir(exist_ok=True)
    course = load_course(folder)
    crew = HereCrew()

    def both(result: Any) -> Any:
        return result["T-112", "night-lamp"].grade

    with Store(course.store) as store:
        run_batch(course, store, crew, reader=read_class)
        decide(
            course, store, "T-104", "night-lamp", "D3 pnp BC327 base=left", by="a", reason="arrow in",
            reader=read_class,
        )  # fmt: skip
        before = both(regrade(course, store, crew, reader=read_class))
        assert before.points == "17.5"
        o.forget(course, store, "T-104")
        assert both(regrade(course, store, crew, reader=read_class)) == before
    crew.close()


def test_feedback_of_an_earlier_run_does_not_stay(opened: Opened, tmp_path: Path) -> None:
    """A PDF with other points, or a page of somebody who has no grade any more."""
    course, store, crew, _ = opened
    o.write_feedback(course, store, crew, tmp_path, pdf=True, only="T-101", reader=read_class)
    stale = tmp_path / f"{o.feedback_name('T-112', 'night-lamp')}.html"  # nothing was handed in
    stale.write_text("an earlier grade")
    (tmp_path / "letter.html").write_text("mine")
    o.write_feedback(course, store, crew, tmp_path, only="T-101", reader=read_class)
    assert not list(tmp_path.glob("*.pdf")) and stale.exists() and list(tmp_path.glob("T-101*.html"))
    o.write_feedback(course, store, crew, tmp_path, reader=read_class)
    assert not stale.exists() and (tmp_path / "letter.html").exists()
