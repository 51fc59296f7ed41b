"""Deciding and exporting while somebody else holds the gradebook; the same decision made several times."""

from __future__ import annotations

import contextlib
import json
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from here import HereCrew
from postgres import empty_database
from quick_reader import read_quick
from test_batch_survives import ROOT, make

from snapcheck.errors import BusyError, StoreError
from snapcheck.grade import Course, Store, decide, load_course, regrade, run_batch
from snapcheck.simulate import is_available

HERE = Path(__file__).parent
pytestmark = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
STORES = ["sqlite", "postgresql"]


@pytest.fixture(params=STORES)
def course(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Course]:
    """A graded course of six, in a store of each kind."""
    address = ""
    if request.param == "postgresql":
        address = empty_database()
    made = load_course(make(tmp_path / "course", 6), store=address)
    crew = HereCrew()
    with Store(made.store) as store:
        run_batch(made, store, crew, reader=read_quick)
    crew.close()
    yield made


def command(course: Course, *words: str) -> list[str]:
    """The command line with a reader for tests, in a process of its own."""
    code = (
        f"import sys; sys.path[:0] = [{str(ROOT)!r}, {str(HERE)!r}]\n"
        "import snapcheck.photo, quick_reader\nsnapcheck.photo.read_photo = quick_reader.read_quick\n"
        "from snapcheck.cli import main\nsys.exit(main(sys.argv[1:]))\n"
    )
    verb, *more = words
    return [
        sys.executable,
        "-c",
        code,
        verb,
        str(course.folder),
        *more,
        "--store",
        course.store,
        "--lang",
        "en",
    ]


def test_six_decide_at_once(course: Course) -> None:
    """Six processes, each its own decision, and two of them the same one: all succeed, none is doubled."""
    students = ["S0000", "S0001", "S0002", "S0003", "S0004", "S0004"]
    runs = [
        subprocess.Popen(
            command(course, "decide", s, "light", "points total 7", "--reason", "seen", "--json"),
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        for s in students
    ]  # fmt: skip
    told = [(run.communicate(timeout=120), run.returncode) for run in runs]
    assert [code for _, code in told] == [0] * 6, told
    numbers = [json.loads(out)["number"] for (out, _), _ in told]
    assert sorted(set(numbers)) == [1, 2, 3, 4, 5] and numbers[4] == numbers[5]
    with Store(course.store) as store:
        assert len(store.decisions()) == 5
        crew = HereCrew()
        after = regrade(course, store, crew, reader=read_quick)
        crew.close()
    assert [after[s, "light"].grade.points for s in students] == ["7"] * 6


def test_deciding_and_exporting_while_somebody_grades(course: Course, tmp_path: Path) -> None:
    with Store(course.store) as store, store.one_batch():
        words = ("decide", "S0001", "light", "points total 3", "--reason", "seen")
        done = subprocess.run(command(course, *words), capture_output=True, text=True, check=False)
        assert done.returncode == 0 and "→ 3 / 20, final" in done.stdout, done
        out = tmp_path / "out"
        words = ("export", "gradebook", "audit", "--out", str(out))
        done = subprocess.run(command(course, *words), capture_output=True, text=True, check=False)
        assert done.returncode == 0, done
        assert "S0001,Invented 1,3,final" in (out / "gradebook.csv").read_text(encoding="utf-8")
        with Store(course.store) as other, pytest.raises(BusyError), other.one_batch():
            pass


def test_a_decision_made_while_grades_are_worked_out_is_in_them(
    course: Course, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The one who grades sees it, though it came after the look at the decisions."""
    from snapcheck.grade._batch import Grading

    plain, late = Grading.entries, [True]

    def slow(self: Grading):  # type: ignore[no-untyped-def]
        found = plain(self)
        if late.pop() if late else False:
            with Store(course.store) as other:
                decide(
                    course, other, "S0000", "light", "points total 2", by="b", reason="x", reader=read_quick
                )
        return found

    monkeypatch.setattr(Grading, "entries", slow)
    crew = HereCrew()
    with Store(course.store) as store:
        assert run_batch(course, store, crew, reader=read_quick).grades["S0000", "light"].grade.points == "2"
        assert store.grades()["S0000", "light"]["grade"]["points"] == "2"
    crew.close()


def test_repeating_a_decision_does_not_double_it(course: Course) -> None:
    def say(text: str) -> int:
        return decide(course, store, "S0001", "light", text, by="a", reason="seen", reader=read_quick)

    with Store(course.store) as store:
        one = say("points total 7")
        assert say("points total 7") == one
        two = say("points total 8")
        assert say("points total 7") == two + 1  # another word in between
        cell = say("D2 led red anode=up")
        assert say("D2 led red anode=up") == cell
        store.take_back(cell, by="a", reason="no")
        assert say("D2 led red anode=up") == cell + 2


def test_who_reads_does_not_wait_for_who_writes(tmp_path: Path) -> None:
    """A program that looks into the file, or a slow writer, holds nobody up for long."""
    course = load_course(make(tmp_path / "course", 1))
    with Store(course.store) as store:
        store.decide("excused", by="a", subject="", choice="", reason="ill")
        with contextlib.closing(sqlite3.connect(course.store, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            assert len(store.decisions()) == 1
            waiting = threading.Thread(
                target=lambda: store.decide("excused", by="b", subject="x", choice="", reason="ill")
            )
            waiting.start()
            time.sleep(1.0)
            other.execute("ROLLBACK")
            waiting.join(20)
        assert len(store.decisions()) == 2


def test_a_server_that_goes_away_is_told_in_a_sentence(course: Course) -> None:
    if "://" not in course.store:
        pytest.skip("only where there is a server")
    import sqlalchemy as sa

    kill = (
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
        "WHERE pid <> pg_backend_pid() AND datname = current_database()"
    )
    killer = sa.create_engine(course.store.replace("postgresql://", "postgresql+psycopg://"))
    crew = HereCrew()

    class Kills:
        def begin(self, what: str, total: int) -> None:
            with killer.begin() as c:
                c.exec_driver_sql(kill)

        def step(self) -> None:
            pass

    with Store(course.store) as store:
        with contextlib.suppress(StoreError):  # the lock is lost; the store itself takes a new connection
            run_batch(course, store, crew, reader=read_quick, progress=Kills())
        with pytest.raises(StoreError, match="connection to the database was lost"), store._write() as c:
            with killer.begin() as k:
                k.exec_driver_sql(kill)
            c.execute(sa.text("SELECT 1"))
    with pytest.raises(StoreError, match="connection to the database was lost"):
        Store("postgresql://nobody@127.0.0.1:1/none")
    crew.close()
    killer.dispose()
