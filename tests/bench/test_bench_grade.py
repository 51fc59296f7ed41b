"""What grading a class costs: as ratios within one run.

A worker uses one thread, whether it is alone or one of several; so "two workers against one" compares like
with like. Where a library is left to start threads as it likes, they wait for each other by spinning.
"""

from __future__ import annotations

import dataclasses
import multiprocessing
import os
import sys
import time
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

import cv2
import pytest

sys.path.append(str(Path(__file__).parents[1] / "grade"))  # the readers for tests

from bench_reader import check_alone, read_and_note, spin
from quick_reader import read_quick
from stopwatch import YARDSTICK_S, least, yardstick

from snapcheck.grade import LocalCrew, Store, load_course, regrade, run_batch
from snapcheck.grade._submissions import File
from snapcheck.grade._work import ReadJob
from snapcheck.photo import read_photo
from snapcheck.processes import one_thread_each
from snapcheck.simulate import is_available

pytestmark = [pytest.mark.bench, pytest.mark.skipif(not is_available(), reason="ngspice is not installed")]
ROOT = Path(__file__).parents[2]
PHOTOS = sorted((ROOT / "fixtures" / "photos").glob("*.jpg"))
#: with fewer free cores than this, the throughput of two workers cannot be measured
FREE = 1.85
CORES = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else (os.cpu_count() or 1)


def jobs(folder: Path, count: int, reader: Any) -> list[ReadJob]:
    """Jobs that read copies of the demo photos, each one a file of its own."""
    made = []
    for n in range(count):
        path = folder / f"{n:04d}.jpg"
        if not path.exists():
            path.write_bytes(PHOTOS[n % len(PHOTOS)].read_bytes() + n.to_bytes(4, "big"))
        file = File(path.name, datetime(2031, 3, 5, tzinfo=UTC), path.stat().st_size, folder, False)
        made.append(ReadJob(f"{n:064d}", file, reader))
    return made


def rate(crew: LocalCrew, folder: Path, count: int) -> float:
    """Photos a second, the workers being warm."""
    work = jobs(folder, count, read_photo)
    begin = time.perf_counter()
    answers = [answer for _, answer in crew.answers(work)]
    assert all(a["state"] == "read" for a in answers)
    return count / (time.perf_counter() - begin)


def free_cores() -> float:
    """Processor time that two counting processes get in each second: 2 where two cores are free."""
    with multiprocessing.get_context("spawn").Pool(2) as pool:
        pool.map(spin, [1, 1], 1)
        begin = time.perf_counter()
        spent = sum(pool.map(spin, [30, 30], 1))
        return spent / (time.perf_counter() - begin)


@pytest.mark.skipif(CORES < 2, reason="needs two cores")
def test_two_workers_read_nearly_twice_as_fast_as_one(tmp_path: Path) -> None:
    """At least 1.8 times as many photos a second, workers being warm; the best of several tries.

    A try counts where two cores are free before, between and after; on a machine that is busy with other
    things this cannot be measured: then it is skipped, and says so. It fails after three tries that count.
    """
    one, two = LocalCrew(1), LocalCrew(2)
    told, best, counted = [], 0.0, 0
    try:
        rate(one, tmp_path, 2), rate(two, tmp_path, 4)
        for _ in range(8):
            free = [free_cores()]
            if free[0] >= FREE:
                slow = rate(one, tmp_path, 8)
                free.append(free_cores())
                fast = rate(two, tmp_path, 16)
                free.append(free_cores())
                if min(free) >= FREE:
                    best, counted = max(best, fast / slow), counted + 1
                told.append(round(fast / slow, 2))
            told.append(round(min(free), 2))
            if best >= 1.8 or counted == 3 or (counted == 0 and len(told) >= 3 and max(told) < FREE):
                break
    finally:
        one.close()
        two.close()
    print("two workers against one, free cores:", told)
    if best < 1.8 and counted < 3:
        pytest.skip(f"the machine is busy: cores free for us: {told}")
    assert best >= 1.8, told


def test_a_photo_of_a_batch_costs_little_more_than_a_single_check(tmp_path: Path) -> None:
    """Processor time of a worker for each photo, read and checked, against that of a check by itself.

    The goal is 1.2. Others at work on the machine cost either of the two: up to five tries, the least of
    each.
    """
    alone, batch = [], []
    for n in range(5):
        single, each = batch_and_single(tmp_path / str(n))
        alone.append(single)
        batch.append(each)
        if min(batch) <= 1.2 * min(alone):
            break
    assert min(batch) <= 1.2 * min(alone), (alone, batch)


def batch_and_single(tmp_path: Path) -> tuple[float, float]:
    """Processor seconds for a photo by itself, and for one of a batch."""
    folder = tmp_path / "course"
    (folder / "submissions").mkdir(parents=True)
    design = ROOT / "fixtures" / "photos" / "level-meter.board"
    (folder / "course.toml").write_text(
        f'title = "Test"\npatterns = ["{{student}}"]\n[task.meter]\ndesign = "{design}"\n', encoding="utf-8"
    )
    count = 16
    photo = ROOT / "fixtures" / "photos" / "level-meter-bench-4.jpg"
    lines = ["number,name"]
    pixels = cv2.imread(str(photo))
    for n in range(count + 2):  # a little brighter each, so that every reading is another one to check
        brighter = cv2.convertScaleAbs(pixels, alpha=1 + 0.004 * n)
        cv2.imwrite(str(folder / "submissions" / f"S{n}.jpg"), brighter)
        lines.append(f"S{n},Invented {n}")
    (folder / "roster.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    os.environ["SNAPCHECK_TEST_LOG"] = str(tmp_path / "log")
    try:
        context = multiprocessing.get_context("spawn")
        with one_thread_each(), context.Pool(1) as pool:
            alone = folder / "submissions" / "S5.jpg"  # stored like the others
            read, check = pool.apply(check_alone, (str(alone), str(design), count))
        crew = LocalCrew(1)
        course = load_course(folder)
        with Store(course.store) as store:
            result = run_batch(course, store, crew, reader=read_and_note)
            counts = store.counts()
            checks = counts["facts"] / counts["reading"]  # more than one where the photo leaves choices open
        assert result.new == count + 2 and not result.trouble
        (pid,) = {int(line.split()[0]) for line in (tmp_path / "log").read_text().splitlines()}
        whole = cpu_s(pid)
        first = float((tmp_path / "log").read_text().splitlines()[1].split()[1])  # two photos to warm up
        crew.close()
    finally:
        del os.environ["SNAPCHECK_TEST_LOG"]
    each = (whole - first) / count  # the checks of all, and reading of all but the first two
    single = read + checks * check * (count + 2) / count  # checked were all, read but the first two
    print(
        f"reading {read:.3f} s, {checks:g} checks of {check:.3f} s; "
        f"in a batch {each:.3f} s: {each / single:.2f}"
    )
    assert counts["reading"] == count + 2 and checks >= 1
    return single, each


def cpu_s(pid: int) -> float:
    """Processor time of a process so far (Linux)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def test_memory_of_a_worker_stays_flat(tmp_path: Path) -> None:
    """Resident memory after each of 36 photos (SNAPCHECK_BENCH_PHOTOS of them): it rises at first, as larger
    pictures come; what the first half takes is not exceeded by a tenth in the last third."""
    log, count = tmp_path / "log", int(os.environ.get("SNAPCHECK_BENCH_PHOTOS", "36"))
    os.environ["SNAPCHECK_TEST_LOG"] = str(log)
    crew = LocalCrew(1)
    try:
        for _, answer in crew.answers(jobs(tmp_path, count, read_and_note)):
            assert answer["state"] == "read"
    finally:
        crew.close()
        del os.environ["SNAPCHECK_TEST_LOG"]
    resident = [float(line.split()[2]) for line in log.read_text().splitlines()]
    shown = [round(resident[count * k // 6 - 1]) for k in range(1, 7)]
    print(f"MB after each sixth of {count} photos: {shown}")
    assert max(resident[2 * count // 3 :]) <= 1.1 * max(resident[: count // 2])


def test_regrading_a_thousand_takes_seconds(tmp_path: Path) -> None:
    """5 s where the yardstick takes 5.2 ms; nothing is read or checked again."""
    from test_batch_survives import make

    course = load_course(make(tmp_path / "course", 1000))
    crew = LocalCrew(None)
    with Store(course.store) as store:
        run_batch(course, store, crew, reader=read_quick)
        softer = dataclasses.replace(course.rubric, step=Fraction(1, 4), caps=())
        facts = store.counts()
        begin = time.perf_counter()
        entries = regrade(dataclasses.replace(course, rubric=softer), store, crew, reader=read_quick)
        spent = time.perf_counter() - begin
        assert store.counts() == facts
    crew.close()
    assert len(entries) == 1000 and all(e.grade.final for e in entries.values())
    print(f"regrading 1000: {spent:.2f} s")
    assert spent <= 5 * max(1.0, least(yardstick, 7) / YARDSTICK_S)
