"""Many decisions from a table: all of them, or none."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from class_reader import read_class
from here import HereCrew

from snapcheck.cli import main
from snapcheck.grade import Course, Store, load_course, run_batch
from snapcheck.simulate import is_available

HEAD = "student,task,decision\n"
CLASS = Path(__file__).parents[2] / "fixtures" / "class"
pytestmark = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")


@pytest.fixture(scope="module")
def graded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("table") / "class"
    others = ("T-10[1-35-9]*", "T-112*", "readings")
    shutil.copytree(CLASS, folder, ignore=shutil.ignore_patterns(*others))
    course, crew = load_course(folder), HereCrew()
    with Store(course.store) as store:
        run_batch(course, store, crew, reader=read_class)
    crew.close()
    return folder


@pytest.fixture
def course(graded: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Course]:
    shutil.copytree(graded, tmp_path / "class")
    monkeypatch.setattr("snapcheck.photo.read_photo", read_class)
    yield load_course(tmp_path / "class")


def decided(course: Course, table: str, *words: str) -> int:
    file = course.folder / "decisions.csv"
    file.write_text(table, encoding="utf-8")
    return main(["decide", str(course.folder), "--from", str(file), "--workers", "1", *words])


def kept(course: Course) -> list[tuple[str, str]]:
    with Store(course.store) as store:
        return [(d.choice, d.reason) for d in store.standing()]


def test_a_table_is_decided_in_one_go(course: Course, capsys: pytest.CaptureFixture[str]) -> None:
    table = (
        "student,task,decision,reason\n"
        "T-104,night-lamp,D3 pnp BC327 base=left,arrow points in\n"
        "\n"
        "T-110,first-light,points total 3,\n"
        "T-111,night-lamp,unreadable,\n"
    )
    assert decided(course, table, "--reason", "seen at the bench") == 0
    told = capsys.readouterr().out
    assert "Decisions kept: 3." in told and "T-110 first-light: 0 → 3 / 20, final" in told
    assert kept(course) == [
        ("D3 pnp BC327 base=left", "arrow points in"),
        ("3", "seen at the bench"),
        ("", "seen at the bench"),
    ]
    assert main(["review", str(course.folder), "--history"]) == 0
    history = capsys.readouterr().out  # in the words that decide takes: of which item the points are, too
    assert "T-110 first-light: points total 3. seen" in history and ": D3 pnp BC327 base=left." in history
    # the same table again changes nothing and is no mistake
    assert decided(course, table, "--reason", "seen at the bench", "--json") == 0
    assert json.loads(capsys.readouterr().out)["numbers"] == [1, 2, 3]
    assert len(kept(course)) == 3


@pytest.mark.parametrize(("table", "said"), [
    (f"{HEAD}T-104,night-lamp,D3 pnp BC327 base=left\nT-999,night-lamp,excused\n", "line 3"),
    (f"{HEAD}T-104,night-lamp,D3 pnp BC327 base=left\nT-105,night-lamp,Q9 nonsense\n", "line 3"),
    # the second line says of the build what the first one has made of it already
    (f"{HEAD}T-104,night-lamp,remove C3\nT-104,night-lamp,remove c3\n", "line 3"),
    (f"{HEAD}T-104,night-lamp,points total 1e99999999\n", "1e99999999"),
    ("student,task,decision\nT-104,,excused\n", "'task' is missing"),
    ("name,what\nT-104,excused\n", "student,task,decision,reason"),
    ("student,task,decision\n", "no decision stands in it"),
    ("", "no decision stands in it"),
])  # fmt: skip
def test_one_wrong_line_and_nothing_is_kept(
    course: Course, capsys: pytest.CaptureFixture[str], table: str, said: str
) -> None:
    assert decided(course, table, "--reason", "seen") == 21
    assert said in capsys.readouterr().err
    assert kept(course) == []


def test_reasons_are_needed_and_a_table_stands_alone(
    course: Course, capsys: pytest.CaptureFixture[str]
) -> None:
    table = "student;task;decision\nT-104;night-lamp;excused\n"
    assert decided(course, table) == 21
    assert "--reason" in capsys.readouterr().err
    assert decided(course, table, "--take-back", "1") == 21
    assert main(["decide", str(course.folder), "T-104", "night-lamp", "excused"]) == 21
    assert kept(course) == []
    assert decided(course, table, "--reason", "ill") == 0  # another separator, as spreadsheets have it
    assert kept(course) == [("", "ill")]
    words = [
        "T-111",
        "night-lamp",
        "points total 1",
        "--reason",
        "so\udcff",
        "--by",
        "P\udcff",
        "--workers",
        "1",
    ]
    assert main(["decide", str(course.folder), *words]) == 0  # a terminal may send bytes that are no UTF-8
    assert main(["decide", str(course.folder), "--take-back", "2", "--reason", "no", "--workers", "1"]) == 0
    comma = "student;task;decision\nT-110;first-light;points total 2,5\n"  # so is a decimal comma
    assert decided(course, comma, "--reason", "seen") == 0
    assert kept(course)[1:] == [("2.5", "seen")]
