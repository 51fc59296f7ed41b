"""What is known of students: who can read it, where it lies, and that erasing one touches nobody else."""

from __future__ import annotations

import itertools
import json
import os
import pickle
import shutil
import signal
import subprocess
import sys
import threading
import time
import unicodedata
import zipfile
from pathlib import Path

import pytest
from class_reader import read_class

from snapcheck.cli import main
from snapcheck.grade import Store, load_course
from snapcheck.grade._work import do
from snapcheck.grade.out import check_audit, feedback_name
from snapcheck.simulate import is_available

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
GOOD, REVERSED = "T-101_2031-03-05T1630", "T-102_2031-03-05T1715"
needs_ngspice = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")


def course_of(folder: Path, students: dict[str, str], more: str = "") -> Path:
    """A course with one task; students by number, each with a name."""
    folder.mkdir()
    shutil.copy(ROOT / "fixtures/designs/first-light.board", folder)
    (folder / "course.toml").write_text(
        f'title = "Test"\npatterns = ["{{student}}_{{time}}"]\n{more}\n'
        '[task.light]\ndesign = "first-light.board"\ndue = 2031-03-05T18:00:00\n'
    )
    lines = "".join(f"{number},{name}\n" for number, name in students.items())
    (folder / "roster.csv").write_text("number,name\n" + lines, encoding="utf-8")
    return folder


def read_build(path: Path, data: bytes | None = None):  # type: ignore[no-untyped-def]
    told = path.read_bytes() if data is None else data
    return read_class(path.with_name((GOOD if b"good" in told else REVERSED) + ".jpg"))


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("snapcheck.photo.read_photo", read_build)


# ------------------------------------------------------------ names of files


def test_no_two_share_a_file() -> None:
    """Nor where large and small letters are the same (FAT, NTFS), or letters are composed (APFS)."""
    texts = ["".join(t) for n in (1, 2) for t in itertools.product("aB_.-@1ä~b", repeat=n)]
    pairs = [(student, task) for student in texts for task in texts]
    on_disk = {unicodedata.normalize("NFC", feedback_name(*pair)).casefold() for pair in pairs}
    assert len(on_disk) == len(pairs) == 110**2


def test_names_of_files_are_short_enough_and_usual_ones_plain() -> None:
    assert feedback_name("T-101", "first-light") == "T-101_first-light"
    assert len(feedback_name("ä" * 64, "é" * 200).encode()) < 200


# ------------------------------------------------------------ erasing


@needs_ngspice
@pytest.mark.usefixtures("quick")
def test_erasing_one_leaves_everybody_else_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The number of the one is part of the others' numbers, of points, dates and values on every page."""
    students = {"1": "Ada Quell", "2": "Bo Fenn", "11": "Cy Marl", "1.5": "Di Orme", "A-1": "Ed Pell"}
    folder = course_of(tmp_path / "c", students)
    (folder / "submissions").mkdir()
    for n, number in enumerate(students):
        build = "good" if n % 2 else "wrong"
        (folder / "submissions" / f"{number}_2031-03-05T1100.jpg").write_text(f"{number} {build}")
    name = str(folder)
    assert main(["grade", name, "--workers", "1"]) in (0, 1)
    reason = ["--reason", "1 point, as with Ada Quell", "--workers", "1"]
    assert main(["decide", name, "2", "light", "points documentation 1", *reason]) == 0
    assert main(["decide", name, "1", "light", "excused", "--reason", "ill", "--workers", "1"]) == 0
    kinds = ["gradebook", "feedback", "audit", "pseudonymous"]
    assert main(["export", name, *kinds, "--workers", "1"]) == 0
    (folder / "out/feedback/s2_light.html").write_text("<p>1 of 1 points</p>")  # of somebody who has left
    (folder / "out/list_of_numbers.csv").write_text("2\n1\n")
    pages = {p.name: p.read_bytes() for p in (folder / "out/feedback").iterdir()}
    assert len(pages) == 6
    lines = [json.loads(x) for x in (folder / "out/audit.jsonl").read_text(encoding="utf-8").splitlines()]
    photos = {p.name for p in (folder / "submissions").iterdir()}
    (folder / "bench").mkdir()
    capsys.readouterr()

    assert main(["forget", name, "1", "--yes"]) == 0
    told = capsys.readouterr().out
    assert "bench page" in told
    left = {p.name: p.read_bytes() for p in (folder / "out/feedback").iterdir()}
    assert left == {k: v for k, v in pages.items() if not k.startswith("1_")} and len(left) == 5
    after = [json.loads(x) for x in (folder / "out/audit.jsonl").read_text(encoding="utf-8").splitlines()]
    assert after == [e for e in lines if e["student"] != "1"] and len(after) < len(lines)
    assert {p.name for p in (folder / "submissions").iterdir()} == photos - {"1_2031-03-05T1100.jpg"}
    assert not (folder / "out/gradebook.csv").exists()  # a list that names everybody: export writes it anew
    assert not (folder / "out/pseudonymous.csv").exists()
    assert not (folder / "out/list_of_numbers.csv").exists()
    assert "2_light.html" in told and "decision 1" in told  # others are left alone, and where it is said
    with Store(load_course(folder).store) as store:
        chain = check_audit(store, folder / "out/audit.jsonl")  # what was taken out is a gap, not an edit
        gaps = sum(a["student"] == "1" != b["student"] for a, b in itertools.pairwise(lines))
        assert (chain.lines, chain.gaps) == (len(after), gaps) and gaps > 0
        assert {s for s, _ in store.grades()} == set(students) - {"1"}
        assert [d.student for d in store.decisions()] == ["2"]
    assert main(["export", name, "audit", "--workers", "1"]) == 0  # and the rest is as the gradebook has it


def test_old_copies_of_a_gradebook_are_found_whatever_its_name(tmp_path: Path) -> None:
    with Store(str(tmp_path / "a[1].db")) as store:
        old = tmp_path / "a[1].db.before-0002"
        old.touch()
        assert store.backups() == [old]


@needs_ngspice
@pytest.mark.usefixtures("quick")
def test_what_another_handed_in_under_the_same_name_stays(tmp_path: Path) -> None:
    folder = course_of(tmp_path / "c", {"S1": "Ada Quell", "S2": "Bo Fenn"})
    (folder / "submissions").mkdir()
    for ending in ("jpg", "png", "txt"):
        (folder / "submissions" / f"S1_2031-03-05T1100.{ending}").write_text(f"good {ending}")
    assert main(["grade", str(folder), "--workers", "1"]) in (0, 1)
    theirs = ["S2", "light", "belongs S1_2031-03-05T1100.png", "--reason", "said so", "--workers", "1"]
    assert main(["decide", str(folder), *theirs]) == 0
    assert main(["forget", str(folder), "S1", "--yes"]) == 0
    assert [p.suffix for p in (folder / "submissions").iterdir()] == [".png"]


@needs_ngspice
@pytest.mark.usefixtures("quick")
@pytest.mark.skipif(sys.platform != "linux", reason="other systems have no such names of files")
def test_a_photo_goes_also_when_its_name_is_no_utf_8(tmp_path: Path) -> None:
    folder = course_of(tmp_path / "c", {"S1": "Ada Quell", "S2": "Bo Fenn"})
    (folder / "submissions").mkdir()
    pattern = (folder / "course.toml").read_text().replace("{time}", "{time}{any}")
    (folder / "course.toml").write_text(pattern)
    for number in ("S1", "S2"):
        name = f"{number}_2031-03-05T1100 f".encode() + b"\xfcr.jpg"
        (folder / "submissions" / os.fsdecode(name)).write_text(f"{number} good")
    assert main(["grade", str(folder), "--workers", "1"]) in (0, 1)
    assert main(["forget", str(folder), "S1", "--yes"]) == 0
    assert [p.name[:2] for p in (folder / "submissions").iterdir()] == ["S2"]


# ------------------------------------------------------------ who can read it


@needs_ngspice
@pytest.mark.usefixtures("quick")
@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX")
def test_nobody_else_can_read_it_whatever_the_usual_permissions(tmp_path: Path) -> None:
    folder = course_of(tmp_path / "c", {"S1": "Ada Quell"})
    (folder / "submissions").mkdir()
    (folder / "submissions/S1_2031-03-05T1100.jpg").write_text("good")
    before, name, list_ = set(folder.rglob("*")), str(folder), tmp_path / "list.csv"
    kinds = ["gradebook", "feedback", "overview", "audit", "pseudonymous"]
    usual = os.umask(0o000)
    try:
        assert main(["grade", name, "--workers", "1", "--gradebook", str(list_)]) in (0, 1)
        assert main(["review", name, "--page", str(folder / "review.html"), "--workers", "1"]) in (0, 1)
        assert main(["export", name, *kinds, "--workers", "1"]) == 0
        assert main(["cards", name, "--out", str(folder / "cards.svg")]) == 0
        made = (set(folder.rglob("*")) | {list_}) - before
        assert len(made) >= 12
        assert [p for p in made if p.stat().st_mode & 0o077] == []
        assert os.umask(0o000) == 0o000  # as it was
        with Store(str(tmp_path / "own.db")):  # also without a command
            assert [p for p in tmp_path.glob("own.db*") if p.stat().st_mode & 0o077] == []
    finally:
        os.umask(usual)


# ------------------------------------------------------------ where it lies


@needs_ngspice
def test_a_killed_batch_leaves_nothing_outside_its_course(tmp_path: Path) -> None:
    """Photos from a ZIP file have the students' numbers in their names."""
    folder = course_of(tmp_path / "c", {f"S{n}": f"Invented {n}" for n in range(40)}, 'submissions = "s.zip"')
    with zipfile.ZipFile(folder / "s.zip", "w") as zipped:
        for n in range(40):
            zipped.writestr(f"S{n}_2031-03-05T1100.jpg", f"picture {n}")
    elsewhere, log = tmp_path / "tmp", tmp_path / "calls.log"
    elsewhere.mkdir()
    surroundings = {**os.environ, "PYTHONPATH": str(ROOT), "SNAPCHECK_TEST_LOG": str(log)}
    surroundings |= {"TMPDIR": str(elsewhere), "HOME": str(elsewhere), "SNAPCHECK_TEST_PAUSE": "0.2"}
    command = [sys.executable, str(HERE / "run_quick.py"), str(folder), "2"]
    run = subprocess.Popen(command, env=surroundings, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        until = time.monotonic() + 60
        while run.poll() is None and time.monotonic() < until:
            if log.exists() and log.read_text().count("\n") >= 4:
                break
            time.sleep(0.02)
        assert run.poll() is None and log.exists()
        meanwhile = sorted(elsewhere.rglob("*"))
        run.send_signal(signal.SIGKILL)
    finally:
        run.kill()
        run.wait()
    assert meanwhile == [] and sorted(elsewhere.rglob("*")) == []


def test_a_worker_elsewhere_is_told_to_report_nothing_before_it_reads() -> None:
    """A cluster's worker gets its work pickled, in surroundings of its own; unpickling it must be enough."""
    work = pickle.dumps(do)
    code = (
        f"import os, pickle, sys; pickle.loads({work!r})\n"
        "assert os.environ['ORT_DISABLE_TELEMETRY'] == '1' and 'onnxruntime' not in sys.modules"
    )
    surroundings = {k: v for k, v in os.environ.items() if not k.startswith("ORT_")}
    surroundings["PYTHONPATH"] = str(ROOT)
    subprocess.run([sys.executable, "-c", code], env=surroundings, check=True)


# ------------------------------------------------------------ making a gradebook


def test_a_gradebook_is_made_where_a_file_system_has_no_links(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")  # as Linux says on FAT

    monkeypatch.setattr(os, "link", refused)
    with Store(str(tmp_path / "gradebook.db")) as store:
        assert store.decisions() == []


def test_what_a_dead_run_left_of_a_new_gradebook_is_cleared(tmp_path: Path) -> None:
    left = tmp_path / ".gradebook.db.new"
    left.write_bytes(b"half a gradebook")
    left.with_name(left.name + "-journal").write_bytes(b"and what belongs to it")
    with Store(str(tmp_path / "gradebook.db")) as store:
        assert store.decisions() == []
    assert {p.name for p in tmp_path.iterdir()} <= {"gradebook.db", "gradebook.db.lock"}


def test_a_kill_while_the_gradebook_is_made_leaves_no_half_one(tmp_path: Path) -> None:
    code = (
        "import os, sys; from pathlib import Path; from snapcheck.grade import Store\n"
        "Path.replace = lambda *_: os.kill(os.getpid(), 9)\n"
        "Store(sys.argv[1])"
    )
    file = tmp_path / "gradebook.db"
    surroundings = {**os.environ, "PYTHONPATH": str(ROOT)}
    run = subprocess.run([sys.executable, "-c", code, str(file)], env=surroundings, check=False)
    assert run.returncode == -signal.SIGKILL and not file.exists()
    with Store(str(file)) as store:
        assert store.decisions() == []
    assert {p.name for p in tmp_path.iterdir()} <= {"gradebook.db", "gradebook.db.lock"}


def test_several_who_make_it_at_once_make_one(tmp_path: Path) -> None:
    """Nobody's new gradebook takes the place of one in which there is something already."""
    file, wrong = tmp_path / "gradebook.db", []
    begin = threading.Barrier(6)

    def add(who: str) -> None:
        begin.wait()
        try:
            with Store(str(file)) as store:
                store.decide("points", by=who, subject=who, choice="1", reason="ill")
        except Exception as error:
            wrong.append(error)

    threads = [threading.Thread(target=add, args=(f"p{n}",)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
    with Store(str(file)) as store:
        assert {d.by for d in store.decisions()} == {f"p{n}" for n in range(6)}
