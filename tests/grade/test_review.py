"""What waits for a person, what each choice would do, and decisions that last."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from class_reader import READINGS, read_class, read_covered
from here import HereCrew

from snapcheck.cli import main
from snapcheck.decisions import with_edits
from snapcheck.errors import InputError
from snapcheck.grade import (
    Course,
    Pictures,
    Rubric,
    Store,
    decide,
    load_course,
    regrade,
    review,
    run_batch,
)
from snapcheck.grade.out import review_page
from snapcheck.kit import bundled_kit
from snapcheck.photo import read_photo, reading_from_json
from snapcheck.simulate import is_available

CLASS = Path(__file__).parents[2] / "fixtures" / "class"
pytestmark = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
Opened = tuple[Course, Store, HereCrew]


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opened]:
    folder = tmp_path_factory.mktemp("review") / "class"
    shutil.copytree(CLASS, folder)
    shutil.copytree(CLASS.parent / "designs", folder.parent / "designs")
    course = load_course(folder)
    crew = HereCrew()
    with Store(course.store) as store:
        run_batch(course, store, crew, reader=read_class)
        yield course, store, crew
    crew.close()


def of(found: Any, student: str) -> Any:
    return next(w for w in found.waiting if w.student == student)


def test_lists_what_waits_with_the_grade_of_each_choice(opened: Opened) -> None:
    course, store, crew = opened
    found = review(course, store, crew, reader=read_class)
    assert {(w.student, w.task, w.kind) for w in found.waiting} == {
        ("T-104", "night-lamp", "cell"),
        ("T-110", "first-light", "retake"),
        ("T-111", "night-lamp", "retake"),
    }  # fmt: skip
    unsure = of(found, "T-104")
    assert (unsure.place, unsure.reason, unsure.cells) == ("D3", "the arrow is hard to see", ("D3",))
    effects = {c.line: c.grade.points for c in unsure.choices}
    # the planned transistor: all but the note; the other one: as in the grades by hand; none at all: less
    assert effects["D3 npn BC337 base=left"] == "19"
    assert effects["D3 pnp BC327 base=left"] == "17.5"
    assert float(effects["remove D3"]) < 19
    assert all(c.grade.final for c in unsure.choices)
    assert [c.line for c in unsure.choices if c.planned] == ["D3 npn BC337 base=left"]


def test_what_the_plan_has_is_offered_where_the_picture_does_not_show_it(tmp_path: Path) -> None:
    """As one more choice, said to be the plan's; the reading still knows nothing of the plan."""
    shutil.copytree(CLASS, tmp_path / "class")
    shutil.copytree(CLASS.parent / "designs", tmp_path / "designs")
    course, crew = load_course(tmp_path / "class"), HereCrew()
    with Store(course.store) as store:
        run_batch(course, store, crew, reader=read_covered)
        unsure = of(review(course, store, crew, reader=read_covered), "T-104")
    crew.close()
    told = [(c.line, c.probability is None, c.planned) for c in unsure.choices]
    assert told[-2:] == [("D3 npn BC337 base=left", True, True), ("remove D3", True, False)]
    assert not any(planned for _, _, planned in told[:-2])
    planned = unsure.choices[-2].grade
    assert planned is not None and planned.points == "19" and planned.final


def test_a_decision_tells_only_of_grades_that_changed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(CLASS, tmp_path / "class")
    shutil.copytree(CLASS.parent / "designs", tmp_path / "designs")
    course, crew = load_course(tmp_path / "class"), HereCrew()
    with Store(course.store) as store:
        run_batch(course, store, crew, reader=read_photo)
    crew.close()
    words = ["decide", str(tmp_path / "class"), "T-110", "first-light", "points total 3", "--reason", "seen"]
    assert main(words) == 0
    told = capsys.readouterr().out.splitlines()
    assert len(told) == 2 and told[1] == "T-110 first-light: 0 → 3 / 20, final"


def test_page_shows_the_place_in_the_picture(opened: Opened) -> None:
    import cv2
    import numpy as np

    course, store, crew = opened
    found = review(course, store, crew, reader=read_class)
    unsure = of(found, "T-104")
    body = found.readings[unsure.sha]
    crop = Pictures(course).crop(unsure.path, body, unsure.cells)
    assert crop is not None
    seen = cv2.imdecode(np.frombuffer(crop, np.uint8), cv2.IMREAD_COLOR)
    frame = reading_from_json(body, course.kit).frame
    whole = Pictures(course).pixels(unsure.path)
    x, y = frame.to_photo([(3.5, 2.5)])[0]  # the middle of D3 is the middle of the crop
    patch = whole[int(y) - 12 : int(y) + 12, int(x) - 12 : int(x) + 12].mean((0, 1))
    h, w = seen.shape[:2]
    middle = seen[h // 2 - 30 : h // 2 + 30, w // 2 - 30 : w // 2 + 30].mean((0, 1))
    assert abs(patch - middle).max() < 25
    page = review_page(course, found)
    assert page.count("data:image/jpeg;base64,") == len(found.waiting) == 3
    assert "D3 pnp BC327 base=left" in page and "<script" not in page


def points(opened: Opened, student: str, task: str) -> tuple[str, bool]:
    course, store, crew = opened
    entry = regrade(course, store, crew, reader=read_class)[student, task]
    return entry.grade.points, entry.grade.final


def test_a_decision_lasts_through_regrading_and_can_be_taken_back(opened: Opened) -> None:
    course, store, crew = opened
    number = decide(
        course, store, "T-104", "night-lamp", "D3  pnp BC327 base=left", by="a", reason="arrow in",
        reader=read_class,
    )  # fmt: skip
    assert points(opened, "T-104", "night-lamp") == ("17.5", True)
    softer: Rubric = replace(
        course.rubric, caps=(), late=replace(course.rubric.late, per_day=course.rubric.step)
    )
    other = regrade(replace(course, rubric=softer), store, crew, reader=read_class)
    assert other["T-104", "night-lamp"].grade.final  # another rubric, the same decision
    assert of(review(course, store, crew, reader=read_class), "T-110").kind == "retake"
    store.take_back(number, by="b", reason="looked again")
    assert not points(opened, "T-104", "night-lamp")[1]
    history = store.decisions()
    assert [d.id for d in history][-2:] == [number, number + 1]
    assert history[-2].reason == "arrow in" and history[-2].by == "a"
    assert run_batch(course, store, crew, reader=read_class).changed == 0


@pytest.mark.parametrize(
    ("student", "task", "text", "expected"),
    [
        ("T-110", "first-light", "points total 12.5", ("12.5", True)),
        ("T-110", "first-light", "unreadable", ("0", True)),
        ("T-111", "first-light", "excused", ("20", True)),  # two days' lateness, 2 each, given back
        ("T-101", "first-light", "points documentation 0", ("19", True)),
        ("T-112", "first-light", "counts first-light/T-112_2031-03-03T1900.jpg", ("17", True)),
        ("T-112", "night-lamp", "belongs night-lamp/T-109_2031-03-12T1720.jpg", ("18.5", True)),
    ],
)
def test_each_kind_of_decision(
    student: str, task: str, text: str, expected: tuple[str, bool], opened: Opened
) -> None:
    course, store, _ = opened
    before = points(opened, student, task)
    number = decide(course, store, student, task, text, by="a", reason="seen", reader=read_class)
    assert points(opened, student, task) == expected != before
    store.take_back(number, by="a", reason="end of the test")
    assert points(opened, student, task) == before


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("D3 nonsense", "kind"), ("Z9 led red anode=up", "Z9"), ("remove Z9", "Z9"),
        ("points total 99", "0 to"),
        ("points beauty 1", "no item"), ("points total 1/3", "0 to"), ("counts elsewhere.jpg", "no picture"),
        ("belongs elsewhere.jpg", "no such file"), ("unreadable", "has been read"),
        ("D2 lamp 6V/50mA turn=90", "already"),
    ],
)  # fmt: skip
def test_void_decisions_are_refused_and_not_kept(text: str, said: str, opened: Opened) -> None:
    course, store, _ = opened
    known = len(store.decisions())
    with pytest.raises(InputError, match=said):
        decide(course, store, "T-104", "night-lamp", text, by="a", reason="why not", reader=read_class)
    with pytest.raises(InputError, match="reason"):
        decide(course, store, "T-101", "first-light", "excused", by="a", reason=" ", reader=read_class)
    assert len(store.decisions()) == known


def test_a_remark_on_the_picture_is_settled_by_looking() -> None:
    import json

    body = json.loads((READINGS / "T-101_2031-03-05T1630.json").read_text(encoding="utf-8"))
    noted = reading_from_json({**body, "notes": ["Glare at the right."]})
    assert with_edits(noted, ["looked"], bundled_kit()).notes == ()


def test_command_line(opened: Opened, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch,
                      tmp_path: Path) -> None:  # fmt: skip
    course, store, _ = opened
    monkeypatch.setattr("snapcheck.photo.read_photo", read_class)
    folder = str(course.folder)
    assert main(["review", folder, "--workers", "1", "--page", str(tmp_path / "r.html")]) == 1
    told = capsys.readouterr().out
    assert "D3 pnp BC327 base=left" in told and "17.5 points" in told
    assert f"Page: {tmp_path / 'r.html'}" in told
    assert (tmp_path / "r.html").stat().st_size > 5000
    decision = ["decide", folder, "T-104", "night-lamp", "D3 pnp BC327 base=left", "--workers", "1"]
    assert main([*decision, "--reason", "arrow points in", "--by", "Pim"]) == 0
    assert "→ 17.5 / 20, final" in capsys.readouterr().out
    number = store.standing()[-1].id
    assert main(["decide", folder, "--take-back", str(number), "--reason", "no", "--workers", "1"]) == 0
    assert main(["review", folder, "--history"]) == 0
    assert "arrow points in" in capsys.readouterr().out
    assert main(["decide", folder, "T-999", "night-lamp", "excused", "--reason", "x"]) == 21
    capsys.readouterr()
    assert main(["decide", folder]) == 21
    assert "student, task and decision are needed" in capsys.readouterr().err


def test_a_place_where_every_choice_gives_the_same_grade_is_left_out_unless_asked_for(
    opened: Opened, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    course, store, crew = opened
    found = review(course, store, crew, reader=read_class)
    unsure = of(found, "T-104")
    same = replace(unsure, choices=tuple(replace(c, grade=unsure.choices[0].grade) for c in unsure.choices))
    lost = replace(same, choices=(*same.choices[:1], replace(same.choices[1], grade=None)))
    assert [w.idle for w in (unsure, same, lost, replace(same, choices=same.choices[:1]))] == [
        False, True, False, False,
    ]  # fmt: skip
    waiting = (same, *(w for w in found.waiting if w is not unsure))
    monkeypatch.setattr(sys.modules["snapcheck.grade"], "review", lambda *_: replace(found, waiting=waiting))
    page = tmp_path / "r.html"
    for options, shown in (([], False), (["--all"], True)):
        assert main(["review", str(course.folder), "--workers", "1", "--page", str(page), *options]) == 1
        told = capsys.readouterr().out
        assert ("D3 pnp BC327 base=left" in told) is shown and "T-110" in told
        assert ("D3 pnp BC327 base=left" in page.read_text(encoding="utf-8")) is shown
        assert ("gives the same grade: 1. They are left out here" in told) is not shown


def test_grade_and_review_count_alike(
    opened: Opened, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A grade may hang on several places: both are said, and both verbs say the same."""
    course, store, crew = opened
    monkeypatch.setattr("snapcheck.photo.read_photo", read_class)
    places = len(review(course, store, crew, reader=read_class).waiting)
    told = []
    for verb in ("grade", "review"):
        assert main([verb, str(course.folder), "--workers", "1"]) == 1
        told += [x.split(" (")[0] for x in capsys.readouterr().out.splitlines() if "to decide:" in x]
    assert told == [f"For a person to decide: {places} places, on which 3 grades hang"] * 2


def test_a_choice_that_is_hardly_possible_is_not_told_as_impossible() -> None:
    from snapcheck.cli._grade_review import _percent

    assert [_percent(p) for p in (0.001, 0.01, 0.45)] == ["<1 %", "  1 %", " 45 %"]
