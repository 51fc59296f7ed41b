"""The choices of a photo are one worker's job; where that goes wrong, each of them is one."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest
from class_reader import read_class
from here import HereCrew

from snapcheck.grade import Store, load_course, run_batch
from snapcheck.grade._crew import Answer, J
from snapcheck.grade._work import CheckJob, do, lost
from snapcheck.simulate import is_available

CLASS = Path(__file__).parents[2] / "fixtures" / "class"
pytestmark = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")


class Frail(HereCrew):
    """Its workers die at more than one choice at a time, and at one choice for good."""

    def __init__(self, deadly: str) -> None:
        self.deadly = deadly
        self.sizes: list[int] = []

    def answers(self, jobs: Iterable[J]) -> Iterator[tuple[J, Answer]]:
        for job in jobs:
            if not isinstance(job, CheckJob):
                yield job, do(job)
                continue
            self.sizes.append(len(job.tried))
            dies = len(job.tried) > 1 or any(self.deadly in edits for edits in job.tried.values())
            yield job, lost(job) if dies else do(job)


def test_one_choice_that_kills_its_worker_takes_no_other_with_it(tmp_path: Path) -> None:
    shutil.copytree(CLASS, tmp_path / "class")
    shutil.copytree(CLASS.parent / "designs", tmp_path / "designs")
    course, crew = load_course(tmp_path / "class"), Frail("remove D3")
    with Store(course.store) as store:
        entries = run_batch(course, store, crew, reader=read_class).grades
        assert sum(size > 1 for size in crew.sizes) == 1  # one photo leaves something open
        together = max(crew.sizes)
        assert crew.sizes.count(1) >= together >= 3
        kept, calm = store.facts(key_of(store)), HereCrew()
        again = run_batch(course, store, calm, reader=read_class).grades
        assert len(store.facts(key_of(store))) == len(kept) + 1  # the deadly one alone was not kept
    assert {k: e.to_json() for k, e in entries.items()} == {k: e.to_json() for k, e in again.items()}


def key_of(store: Store) -> list[str]:
    with store._read() as c:
        return [str(row[0]) for row in c.exec_driver_sql("select key from facts")]
