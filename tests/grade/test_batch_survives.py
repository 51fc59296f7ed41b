"""A batch that is killed, starved, contended or given a damaged store: nothing lost, nothing overwritten."""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from postgres import empty_database
from quick_reader import read_quick
from smalldisk import mounted

from snapcheck.errors import InputError, StoreError
from snapcheck.grade import ClusterCrew, Course, LocalCrew, Store, load_course, run_batch
from snapcheck.grade.out import gradebook_csv
from snapcheck.simulate import is_available

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
pytestmark = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
#: seconds after its start at which a run is killed: while it is getting ready
EARLY_s = (0.05, 0.3, 0.6)
#: pictures after which one is killed, counted from those that were begun before: in the middle of reading
BEGUN = (1, 2, 3, 4, 5, 6, 7, 8)


def make(folder: Path, count: int, special: dict[int, str] | None = None) -> Path:
    """A course of `count` students with one picture each (no real pictures: the reader only wants text)."""
    (folder / "submissions").mkdir(parents=True)
    shutil.copy(ROOT / "fixtures/designs/first-light.board", folder)
    (folder / "course.toml").write_text(
        'title = "Test"\npatterns = ["{student}_{time}"]\n'
        '[task.light]\ndesign = "first-light.board"\ndue = 2031-03-05T18:00:00\n'
    )
    lines = ["number,name"]
    for n in range(count):
        lines.append(f"S{n:04d},Invented {n}")
        text = f"picture {n} {(special or {}).get(n, '')}"
        (folder / "submissions" / f"S{n:04d}_2031-03-05T1200.jpg").write_text(text)
    (folder / "roster.csv").write_text("\n".join(lines) + "\n")
    return folder


def graded(course: Course, workers: int) -> str:
    crew = LocalCrew(workers)
    with Store(course.store) as store:
        entries = run_batch(course, store, crew, reader=read_quick).grades
    crew.close()
    told = gradebook_csv(course, entries)
    assert ",19,final,ready,19" in told  # even pictures: as planned, without a note (no date a day early)
    assert ",17,final,does-not-work,17" in told  # odd ones: the diode reversed
    return told


def start(folder: Path, log: Path, pause: str) -> subprocess.Popen[bytes]:
    env = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "SNAPCHECK_TEST_LOG": str(log),
        "SNAPCHECK_TEST_PAUSE": pause,
    }
    command = [sys.executable, str(HERE / "run_quick.py"), str(folder), "2"]
    return subprocess.Popen(command, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def stored(folder: Path) -> int:
    """Readings in the store, counted in a copy: mending what a kill left behind is the store's own task."""
    if not (folder / "gradebook.db").exists():
        return 0
    with tempfile.TemporaryDirectory() as place:
        for file in folder.glob("gradebook.db*"):
            shutil.copy(file, place)
        with contextlib.closing(sqlite3.connect(Path(place) / "gradebook.db")) as raw:
            return int(raw.execute("SELECT count(*) FROM reading").fetchone()[0])


def lines_of(log: Path) -> int:
    return log.read_bytes().count(b"\n") if log.exists() else 0


def test_killed_again_and_again_and_resumed(tmp_path: Path) -> None:
    """Killed while it starts, and when some more pictures have been begun."""
    count, log = 60, tmp_path / "calls.log"
    undisturbed = graded(load_course(make(tmp_path / "calm", count)), 1)
    folder = make(tmp_path / "killed", count)
    chance = random.Random(5)
    during = 0
    for early_s, more in [*((s, 0) for s in EARLY_s), *((0.0, n) for n in BEGUN)]:
        before, begun = stored(folder), lines_of(log)
        run = start(folder, log, "0.02")
        until = time.monotonic() + 30
        while more and run.poll() is None and lines_of(log) < begun + more and time.monotonic() < until:
            time.sleep(0.004)
        time.sleep(early_s or chance.uniform(0, 0.03))
        if run.poll() is None:
            run.send_signal(signal.SIGKILL)
        run.wait()
        after = stored(folder)
        assert after >= before  # nothing stored is ever lost
        during += before < after < count
    finished = start(folder, log, "0")
    assert finished.wait(timeout=120) == 0
    assert (folder / "gradebook.csv").read_text(encoding="utf-8") == undisturbed.replace("\r\n", "\n")
    print(f"killed in the middle of reading: {during} of {len(BEGUN)}")
    assert during >= 4  # these kills hit in the middle of reading
    # a picture is read again only where a kill took the answer that was in hand (at most four at a time)
    again = sum(n - 1 for n in Counter(log.read_text().split()).values())
    assert again <= 4 * (len(EARLY_s) + len(BEGUN))


def test_a_kill_in_the_middle_of_writing_is_made_good(tmp_path: Path) -> None:
    """A journal that must be rolled back lies beside the store, as after a power loss."""
    file = tmp_path / "gradebook.db"
    with Store(str(file)) as store:
        number = store.decide("excused", by="a", subject="", choice="", reason="ill")
    code = (
        "import os, sqlite3, sys\nraw = sqlite3.connect(sys.argv[1], isolation_level=None)\n"
        "raw.execute('PRAGMA cache_size=1'); raw.execute('BEGIN IMMEDIATE')\n"
        "for n in range(400):\n"
        "    raw.execute('INSERT INTO photo VALUES (?, 1, ?, ?, ?)', (str(n), 'x', 'y' * 900, 'z'))\n"
        "os.kill(os.getpid(), 9)\n"
    )
    assert subprocess.run([sys.executable, "-c", code, str(file)], check=False).returncode == -signal.SIGKILL
    assert file.with_name("gradebook.db-journal").stat().st_size > 0
    with Store(str(file)) as store:
        assert [d.id for d in store.decisions()] == [number]
        assert store.photos() == {}


def test_workers_end_with_their_parent(tmp_path: Path) -> None:
    folder, log = make(tmp_path / "course", 60), tmp_path / "calls.log"
    run = start(folder, log, "0.2")
    until = time.monotonic() + 30
    while not log.exists() and time.monotonic() < until:
        time.sleep(0.05)
    run.kill()
    run.wait()
    calls = ""
    for _ in range(4):  # on a busy machine the end takes longer than it should
        time.sleep(1.5)
        calls, before = log.read_text(), calls
        if calls == before:
            break
    assert calls == before and 0 < len(calls.split()) < 40  # nobody goes on reading


@pytest.mark.parametrize("workers", [2, 3])
def test_grades_do_not_depend_on_the_number_of_workers(workers: int, tmp_path: Path) -> None:
    special = {3: "retake", 4: "crash"}
    one = graded(load_course(make(tmp_path / "one", 12, special)), 1)
    assert graded(load_course(make(tmp_path / "more", 12, special)), workers) == one


def test_bad_pictures_do_not_stop_the_rest(tmp_path: Path) -> None:
    course = load_course(make(tmp_path / "course", 8, {1: "retake", 2: "crash", 3: "die"}))
    crew = LocalCrew(2)
    with Store(course.store) as store:
        entries = run_batch(course, store, crew, reader=read_quick).grades
        second = run_batch(course, store, crew, reader=read_quick)
    crew.close()
    assert [n for n in range(8) if not entries[f"S{n:04d}", "light"].grade.final] == [1, 2, 3]
    assert (second.new, second.changed) == (0, 0)


def test_two_graders_on_one_store(tmp_path: Path) -> None:
    course = load_course(make(tmp_path / "course", 2))
    with Store(course.store) as mine, Store(course.store) as theirs:
        with mine.one_batch():
            with pytest.raises(StoreError, match="somebody else"), theirs.one_batch():
                pass
            assert theirs.decide("excused", by="b", subject="", choice="", reason="ill") == 1
        with theirs.one_batch():
            pass


@pytest.mark.parametrize("damage", ["empty", "text", "cut", "scrambled", "foreign"])
def test_a_damaged_store_is_reported_and_left_alone(damage: str, tmp_path: Path) -> None:
    course = load_course(make(tmp_path / "course", 30))
    graded(course, 1)
    file = Path(course.store)
    data = bytearray(file.read_bytes())
    if damage == "foreign":
        file.unlink()
        with contextlib.closing(sqlite3.connect(file)) as raw:
            raw.execute("CREATE TABLE other (a)")
        data = bytearray(file.read_bytes())
    elif damage == "scrambled":
        data[8192 : len(data) // 2] = random.Random(1).randbytes(len(data) // 2 - 8192)
    else:
        data = {"empty": bytearray(), "text": bytearray(b"no store"), "cut": data[: len(data) // 3]}[damage]
    file.write_bytes(data)
    with pytest.raises(StoreError):
        graded(course, 1)
    assert file.read_bytes() == bytes(data)


def test_full_database_keeps_what_was_stored(tmp_path: Path) -> None:
    """SQLite's own page limit gives the very error of a full disk (SQLITE_FULL)."""
    course = load_course(make(tmp_path / "course", 40))
    crew = LocalCrew(1)
    with Store(course.store) as store:
        import sqlalchemy as sa

        with contextlib.closing(sqlite3.connect(course.store)) as plain:
            pages = plain.execute("PRAGMA page_count").fetchone()[0]

        def limit(raw: sqlite3.Connection, _: object) -> None:
            raw.execute(f"PRAGMA max_page_count = {pages + 12}")

        sa.event.listen(store._engine, "connect", limit)
        with pytest.raises(StoreError, match="full"):
            run_batch(course, store, crew, reader=read_quick)
    crew.stop()
    assert 0 < stored(course.folder) < 40
    assert graded(course, 1) == graded(load_course(make(tmp_path / "calm", 40)), 1)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of its own, in memory, that is soon full."""
    with mounted(tmp_path / "disk", "16m") as place:
        yield place


def test_full_disk_keeps_what_was_stored_and_goes_on_when_there_is_room(small_disk: Path) -> None:
    course = load_course(make(small_disk / "course", 60))
    with Store(course.store):
        pass
    ballast = small_disk / "ballast"
    used = sum(f.stat().st_blocks * 512 for f in small_disk.rglob("*"))
    ballast.write_bytes(bytes(16 * 2**20 - used - 160 * 1024))  # leaves room for some pictures, not for all
    with pytest.raises(StoreError, match="full") as told:
        graded(course, 1)
    assert "course" in str(told.value)
    ballast.unlink()
    assert 0 < stored(course.folder) < 60
    assert graded(course, 1) == graded(load_course(make(small_disk / "calm", 60)), 1)


@pytest.mark.skipif(os.name != "posix" or os.getuid() != 0, reason="needs root, to become somebody else")
def test_read_only_folder(tmp_path: Path) -> None:
    folder = make(tmp_path / "course", 1)
    for path in (folder, *folder.parents):
        if path == Path("/tmp"):
            break
        path.chmod(0o755)
    code = (
        "import os, sys; from snapcheck.grade import Store; from snapcheck.errors import StoreError\n"
        "import sqlalchemy, alembic.command\nos.setuid(65534)\n"
        "try:\n    Store(sys.argv[1])\nexcept StoreError as e:\n    print('told:', e)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(folder / "gradebook.db")],
        env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "told:" in done.stdout, done.stderr
    assert not (folder / "gradebook.db").exists()


def test_decisions_are_never_changed_and_can_be_taken_back(tmp_path: Path) -> None:
    import sqlalchemy as sa

    with Store(str(tmp_path / "g.db")) as store:
        one = store.decide(
            "points", by="a", subject="total", choice="7", reason="seen", student="S", task="t"
        )
        store.decide("excused", by="a", subject="", choice="excused", reason="ill", student="T", task="t")
        back = store.take_back(one, by="a", reason="no")
        with pytest.raises(InputError, match="taken back already"):
            store.take_back(one, by="b", reason="no")
        assert [d.student for d in store.standing()] == ["T"]
        store.take_back(back, by="a", reason="yes after all")
        assert one in [d.id for d in store.standing()] and len(store.decisions()) == 4
        with pytest.raises(sa.exc.IntegrityError), store._engine.begin() as c:
            c.exec_driver_sql("UPDATE decision SET choice = '20'")
        assert (
            store.forget("S") == 3 and len(store.decisions()) == 1
        )  # what takes back goes before what it means


def test_cluster_of_real_workers_one_killed(tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed")
    alone = graded(load_course(make(tmp_path / "alone", 40)), 1)
    course = load_course(make(tmp_path / "course", 40))
    os.environ["SNAPCHECK_TEST_PAUSE"] = "0.1"
    try:
        with distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None,
            env={"PYTHONPATH": f"{ROOT}:{HERE}"},
        ) as cluster:  # fmt: skip
            crew = ClusterCrew(cluster.scheduler_address)
            pids = list(crew._client.run(os.getpid).values())
            killed = []

            class KillOne:
                def begin(self, what: str, total: int) -> None:
                    pass

                def step(self) -> None:
                    with Store(course.store) as seen:
                        if not killed and len(seen.photos()) >= 10:
                            killed.append(pids[0])
                            os.kill(pids[0], signal.SIGKILL)

            with Store(course.store) as store:
                entries = run_batch(course, store, crew, reader=read_quick, progress=KillOne()).grades
            crew.close()
    finally:
        del os.environ["SNAPCHECK_TEST_PAUSE"]
    assert killed
    assert gradebook_csv(course, entries) == alone


def test_postgresql_gives_the_same_grades(tmp_path: Path) -> None:
    import sqlalchemy as sa

    url = empty_database()
    folder = make(tmp_path / "course", 10)
    lite = graded(load_course(folder), 1)
    course = load_course(folder, store=url)
    assert graded(course, 2) == lite == graded(course, 1)
    with Store(url) as mine, Store(url) as theirs:
        with mine.one_batch(), pytest.raises(StoreError, match="somebody else"), theirs.one_batch():
            pass
        number = mine.decide(
            "excused", by="a", subject="", choice="", reason="ill", student="S0001", task="light"
        )
        with pytest.raises(sa.exc.DBAPIError), mine._engine.begin() as c:
            c.exec_driver_sql("UPDATE decision SET choice = 'x'")
        assert [d.id for d in mine.standing()] == [number]
        assert mine.forget("S0001") > 0
        assert "S0001" not in {d.student for d in mine.decisions()} | {k[0] for k in mine.grades()}
