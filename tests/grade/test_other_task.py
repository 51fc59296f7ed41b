"""A picture handed in for one task that shows another one of the course: asked, not charged."""

from __future__ import annotations

import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from class_reader import read_class
from here import HereCrew

from snapcheck.findings import Severity
from snapcheck.grade import Store, decide, load_course, regrade, review, run_batch
from snapcheck.grade._other_task import other_task
from snapcheck.simulate import is_available

CLASS = Path(__file__).parents[2] / "fixtures" / "class"
SHOWN = "T-101_2031-03-12T1610"
FIRST, LAMP = "First light of the evening", "Lamp that finds the workshop door at night"
pytestmark = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")


def test_another_tasks_build_is_asked_about_and_not_charged(tmp_path: Path) -> None:
    folder = tmp_path / "class"
    shutil.copytree(CLASS, folder, ignore=shutil.ignore_patterns("submissions", "readings"))
    shutil.copytree(CLASS.parent / "designs", tmp_path / "designs")
    handed = folder / "submissions" / "first-light"
    handed.mkdir(parents=True)
    (handed / f"{SHOWN}.jpg").write_bytes(b"read by its name")
    course, crew = load_course(folder), HereCrew()
    with Store(course.store) as store:
        entry = run_batch(course, store, crew, reader=read_class).grades["T-101", "first-light"]
        said = f"This looks like '{LAMP}', not like '{FIRST}'."
        assert entry.grade.open == (said,) and not entry.grade.final and entry.facts is not None
        assert entry.facts.faults == () and entry.facts.figures == ()
        assert [c for c in entry.grade.changes if c[1] != "0"] == []
        (waiting,) = (w for w in review(course, store, crew, reader=read_class).waiting if w.path)
        assert (waiting.kind, waiting.question) == ("look", said)
        assert f"'belongs {entry.path}', decided for night-lamp" in waiting.reason
        (choice,) = waiting.choices
        assert choice.line == f"counts {entry.path}" and choice.grade is not None and choice.grade.final

        words = ("T-101", "first-light", choice.line)
        number = decide(course, store, *words, by="a", reason="meant so", reader=read_class)
        meant = regrade(course, store, crew, reader=read_class)["T-101", "first-light"]
        assert meant.grade == choice.grade and meant.facts is not None and len(meant.facts.faults) >= 5
        store.take_back(number, by="a", reason="no")

        moved = ("T-101", "night-lamp", f"belongs {entry.path}")
        decide(course, store, *moved, by="a", reason="wrong folder", reader=read_class)
        after = regrade(course, store, crew, reader=read_class)
        assert after["T-101", "night-lamp"].grade.final and after["T-101", "night-lamp"].sha == entry.sha
        assert after["T-101", "first-light"].sha == ""


def test_a_build_with_few_mistakes_is_not_held_against_other_tasks() -> None:
    fault = SimpleNamespace(level=Severity.FAULT)
    facts: Any = SimpleNamespace(verdict="does-not-work", faults=[fault] * 4)
    plans: Any = {"first-light": None, "night-lamp": None}  # nobody asks for them
    assert other_task(facts, {}, (), "first-light", plans) is None
