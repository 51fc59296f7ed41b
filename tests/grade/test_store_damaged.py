"""A gradebook whose bytes are damaged, or that somebody edited: a sentence, or the same grades as before."""

from __future__ import annotations

import contextlib
import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from here import HereCrew
from oldstore import make_old
from quick_reader import read_quick
from test_batch_survives import HERE, ROOT, make

from snapcheck.errors import InputError, StoreError
from snapcheck.grade import ClusterCrew, Course, Store, decide, load_course, regrade, run_batch
from snapcheck.grade.out import check_audit, gradebook_csv, write_audit
from snapcheck.simulate import is_available

pytestmark = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
DAMAGES = 300


@pytest.fixture(scope="module")
def graded(tmp_path_factory: pytest.TempPathFactory) -> Course:
    """A graded course with decisions."""
    course = load_course(make(tmp_path_factory.mktemp("damage") / "course", 8))
    crew = HereCrew()
    with Store(course.store) as store:
        run_batch(course, store, crew, reader=read_quick)
        for student, text in (("S0001", "points total 7"), ("S0002", "excused"), ("S0003", "remove D2")):
            decide(course, store, student, "light", text, by="a", reason="seen", reader=read_quick)
        regrade(course, store, crew, reader=read_quick)
    crew.close()
    return course


def told(course: Course) -> tuple[str, list[str]]:
    """Everything that leaves the store: grades and history. Raises StoreError."""
    crew = HereCrew()  # checks builds again whose facts cannot be found any more
    with Store(course.store) as store:
        csv = gradebook_csv(course, regrade(course, store, crew, reader=read_quick))
        crew.close()
        history = [repr(d) for d in store.decisions()] + [repr(g) for g in store.numbered_grades()]
        return csv, history


def test_damaged_bytes_are_told_or_change_nothing(graded: Course) -> None:
    """One, some or a row of bytes at random places of the file, as a failing disk leaves them."""
    sound, chance = Path(graded.store).read_bytes(), random.Random(11)
    before = told(graded)
    assert ",7,final" in before[0]
    refused = 0
    try:
        for _ in range(DAMAGES):
            data = bytearray(sound)
            match chance.randrange(3):
                case 0:
                    data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
                case 1:
                    for _ in range(chance.randrange(2, 60)):
                        data[chance.randrange(len(data))] = chance.randrange(256)
                case _:
                    at, size = chance.randrange(len(data)), chance.choice((16, 512, 4096))
                    data[at : at + size] = bytes(len(data[at : at + size]))
            Path(graded.store).write_bytes(data)
            try:
                assert told(graded) == before
            except StoreError as error:
                assert error.exit_code == 26 and error.message and error.place
                refused += 1
    finally:
        Path(graded.store).write_bytes(sound)
    print(f"damaged: {refused} of {DAMAGES} refused, the others gave the same grades")
    assert refused > DAMAGES / 4


@pytest.mark.parametrize(
    "edit",
    [
        'UPDATE grade SET body = replace(body, \'"points":"17\', \'"points":"20\')',
        "UPDATE reading SET body = replace(body, '\"turn\":0', '\"turn\":180')",
        "UPDATE facts SET body = replace(body, 'does-not-work', 'ready')",
        "UPDATE file SET student = 'S0000' WHERE student = 'S0001'",
        "UPDATE file SET gone = 1",
        "DELETE FROM file WHERE student = 'S0001'",
        "DELETE FROM decision",
        "DELETE FROM grade WHERE id > 4",
        "DROP TRIGGER decision_stays; UPDATE decision SET reason = 'other'",
        "INSERT INTO decision SELECT 99, at, by, kind, student, task, subject, '20', reason, NULL, seal "
        "FROM decision WHERE kind = 'points'",
        "UPDATE ledger SET count = 0",
        "UPDATE alembic_version SET version_num = '00x2'",
        "DELETE FROM alembic_version",
    ],
)
def test_an_edit_by_another_program_shows(edit: str, graded: Course) -> None:
    sound = Path(graded.store).read_bytes()
    try:
        with contextlib.closing(sqlite3.connect(graded.store)) as raw:
            before = raw.total_changes
            raw.executescript(edit)
            raw.commit()
            changed = raw.total_changes - before
        if changed:
            with pytest.raises(StoreError):
                told(graded)
        else:
            pytest.fail(f"this edit changes nothing: {edit}")
    finally:
        Path(graded.store).write_bytes(sound)


def test_the_gradebook_is_copied_before_its_tables_are_changed(tmp_path: Path) -> None:
    """A gradebook of revision 0002 is brought up; the copy is as it was, and goes when somebody is erased."""
    file = tmp_path / "gradebook.db"
    make_old(
        file,
        "0002",
        "INSERT INTO decision (at, by, kind, student, subject, choice, reason) "
        "VALUES ('t', 'a', 'excused', 'S1', '', '', 'ill')",
        "INSERT INTO file VALUES ('a.jpg', 'f', 1, 't', 'S1', 'x', 'name', '', 0)",
    )
    with Store(str(file)) as store:
        (copy,) = store.backups()
        assert [d.reason for d in store.decisions()] == ["ill"] and store.files()[0].time_is_known
        with contextlib.closing(sqlite3.connect(copy)) as raw:
            assert raw.execute("SELECT version_num FROM alembic_version").fetchone() == ("0002",)
            assert raw.execute("SELECT reason FROM decision").fetchone() == ("ill",)
        assert copy.stat().st_mode & 0o077 == 0
        with contextlib.closing(sqlite3.connect(file)) as raw, pytest.raises(sqlite3.IntegrityError):
            raw.execute("UPDATE decision SET reason = 'x'")  # still refused
        assert store.forget("S1") == 2
        assert not copy.exists()
    with Store(str(file)) as store:
        assert store.decisions() == []


def test_the_chain_of_the_audit_file_shows_every_edit(graded: Course, tmp_path: Path) -> None:
    file = tmp_path / "audit.jsonl"
    with Store(graded.store) as store:
        write_audit(store, file)
        lines = file.read_text(encoding="utf-8").splitlines()
        chain = check_audit(store, file)
        assert (chain.lines, chain.gaps) == (len(lines), 0) and chain.last == json.loads(lines[-1])["chain"]
        swapped = [lines[1], lines[0], *lines[2:]]
        rehashed = [*lines[:2], json.dumps({**json.loads(lines[2]), "chain": "0" * 64}), *lines[3:]]
        for broken in (swapped, rehashed, lines[1:], [*lines[:3], *lines[4:]], [*lines, lines[0]]):
            file.write_text("\n".join(broken) + "\n", encoding="utf-8")
            with pytest.raises(InputError, match=r"line|missing"):
                check_audit(store, file)
            with pytest.raises(InputError, match=r"line|missing"):
                write_audit(store, file)


def test_erasing_somebody_leaves_a_gap_that_is_told(graded: Course, tmp_path: Path) -> None:
    shutil.copytree(graded.folder, tmp_path / "course")
    course, file = load_course(tmp_path / "course"), tmp_path / "audit.jsonl"
    with Store(course.store) as store:
        write_audit(store, file)
        store.forget("S0001")
        kept = [x for x in file.read_text(encoding="utf-8").splitlines(keepends=True) if "S0001" not in x]
        file.write_text("".join(kept), encoding="utf-8")
        assert write_audit(store, file) == 1
        assert check_audit(store, file).gaps > 0


def test_a_scheduler_that_goes_away_is_told_and_costs_no_picture(tmp_path: Path) -> None:
    """What was answered is kept; what was in hand is read the next time, not marked as failed."""
    pytest.importorskip("distributed")
    folder = make(tmp_path / "course", 30)
    course = load_course(folder)
    env = {**os.environ, "PYTHONPATH": f"{ROOT}:{HERE}", "SNAPCHECK_TEST_PAUSE": "0.1"}
    code = (
        "import distributed, sys, time\n"
        "if __name__ == '__main__':\n"
        "    c = distributed.LocalCluster(n_workers=1, threads_per_worker=1, processes=True,"
        " dashboard_address=None)\n"
        "    print(c.scheduler_address, flush=True)\n    time.sleep(120)\n"
    )
    (tmp_path / "cluster.py").write_text(code)
    server = subprocess.Popen(
        [sys.executable, str(tmp_path / "cluster.py")], env=env, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, text=True, start_new_session=True,
    )  # fmt: skip
    try:
        assert server.stdout is not None
        crew = ClusterCrew(server.stdout.readline().strip())

        class KillsWhileReading:
            def begin(self, what: str, total: int) -> None:
                self.left = 5 if what == "reading" else 0

            def step(self) -> None:
                self.left -= 1
                if self.left == 0:
                    os.killpg(server.pid, signal.SIGKILL)

        with Store(course.store) as store:
            with pytest.raises(InputError, match="cluster does not answer"):
                run_batch(course, store, crew, reader=read_quick, progress=KillsWhileReading())
            assert {r.state for r in store.readings("quick_reader:read_quick").values()} == {"read"}
            assert 5 <= len(store.photos()) < 30
        crew.stop()
    finally:
        with contextlib.suppress(OSError):
            os.killpg(server.pid, signal.SIGKILL)
        server.wait()
