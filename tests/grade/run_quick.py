"""A batch in a process of its own, to be killed: ``python run_quick.py COURSE WORKERS``."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from quick_reader import read_quick

from snapcheck.grade import LocalCrew, Store, load_course, run_batch
from snapcheck.grade.out import gradebook_csv

if __name__ == "__main__":
    course = load_course(sys.argv[1])
    crew = LocalCrew(int(sys.argv[2]))
    with Store(course.store) as store:
        result = run_batch(course, store, crew, reader=read_quick)
    crew.close()
    Path(sys.argv[1], "gradebook.csv").write_text(gradebook_csv(course, result.grades), encoding="utf-8")
