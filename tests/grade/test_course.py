"""Course folders: whose a file is, ZIP files, several attempts, lateness; mistakes in the files are named."""

from __future__ import annotations

import contextlib
import csv
import shutil
import sqlite3
import zipfile
from pathlib import Path

import pytest
from class_reader import read_class
from here import HereCrew
from oldstore import make_old

from snapcheck.csvtext import csv_text, safe_cell
from snapcheck.errors import DataError, InputError, StoreError
from snapcheck.grade import Entry, Store, load_course, load_rubric, run_batch
from snapcheck.grade.out import gradebook_csv
from snapcheck.simulate import is_available

ROOT = Path(__file__).parents[2]
CLASS = ROOT / "fixtures" / "class"
GOOD, REVERSED = "T-101_2031-03-05T1630", "T-102_2031-03-05T1715"


def course_folder(folder: Path, more: str = "", zone: str = "UTC") -> Path:
    folder.mkdir(exist_ok=True)
    shutil.copy(ROOT / "fixtures/designs/first-light.board", folder)
    (folder / "course.toml").write_text(
        f'title = "Test"\nzone = "{zone}"\n{more}\n'
        '[task.light]\ndesign = "first-light.board"\ndue = 2031-03-05T18:00:00\n'
    )
    (folder / "roster.csv").write_text(
        "number,name,login\nS1,Åse Nordgårdsvik,anord\nS2,Bo Kelderby,bkeld\nS12,Bo Tormund,btorm\n",
        encoding="utf-8",
    )
    return folder


def read_renamed(path: Path, data: bytes | None = None):  # type: ignore[no-untyped-def]
    """The build is told by the file's first bytes after its picture: the name is the student's matter."""
    told = path.read_bytes() if data is None else data
    return read_class(path.with_name((GOOD if told.endswith(b"good") else REVERSED) + ".jpg"))


def graded(folder: Path) -> tuple[dict[tuple[str, str], Entry], dict[str, str | None]]:
    course, crew = load_course(folder), HereCrew()
    with Store(course.store) as store:
        entries = dict(run_batch(course, store, crew, reader=read_renamed).grades)
        files = {f.path: f.student for f in store.files() if not f.gone}
        assert gradebook_csv(course, entries).count("\n") == 4
    crew.close()
    return entries, files


needs_ngspice = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")


@needs_ngspice
def test_a_zip_file_of_a_learning_platform(tmp_path: Path) -> None:
    folder = course_folder(tmp_path / "c", 'submissions = "export.zip"')
    with zipfile.ZipFile(folder / "export.zip", "w") as zipped:
        for name, build in (
            ("Nordgårdsvik Åse_4711_assignsubmission_file_/IMG_1.jpg", b"good"),
            ("Kelderby, Bo - 12 March/photo.JPG", b"wrong"),
            ("Bo/picture.jpg", b"good"),  # two people are called so
            ("S12 and S1/both.jpg", b"good"),
            ("__MACOSX/S1/IMG_1.jpg", b"good"),
            ("Bo/Thumbs.db", b"good"),
            ("Bo/.DS_Store", b"good"),
            ("../outside S12.jpg", b"good"),
        ):
            zipped.writestr(zipfile.ZipInfo(name, (2031, 3, 5, 12, 0, 0)), b"picture " + build)
    entries, files = graded(folder)
    assert entries["S1", "light"].grade.verdict == "ready"
    assert entries["S2", "light"].grade.verdict == "does-not-work"
    assert files["Bo/picture.jpg"] is None and files["S12 and S1/both.jpg"] is None
    assert not any(path.endswith(("Thumbs.db", ".DS_Store")) or "MACOSX" in path for path in files)
    assert not (tmp_path / "outside S12.jpg").exists()


@needs_ngspice
@pytest.mark.parametrize(
    ("counts", "verdict"), [("latest", "does-not-work"), ("first", "ready"), ("best", "ready")]
)
def test_which_of_several_counts(counts: str, verdict: str, tmp_path: Path) -> None:
    folder = course_folder(tmp_path / "c", f'counts = "{counts}"\npatterns = ["{{student}}_{{time}}"]')
    (folder / "submissions").mkdir()
    (folder / "submissions" / "S1_2031-03-05T1000.jpg").write_bytes(b"1 good")
    (folder / "submissions" / "S1_2031-03-05T1700.jpg").write_bytes(b"2 wrong")
    entries, _ = graded(folder)
    assert (entries["S1", "light"].grade.verdict, entries["S1", "light"].attempts) == (verdict, 2)


@needs_ngspice
@pytest.mark.parametrize(
    ("time", "zone", "points"),
    [
        ("2031-03-05T1815", "UTC", "19"),  # a quarter of an hour is granted
        ("2031-03-05T1816", "UTC", "17"),
        ("2031-03-05T1816", "Europe/Oslo", "17"),  # times in names are meant as the due time is
        ("2031-03-06T1801", "UTC", "15"),
        ("2031-04-30T1801", "UTC", "13"),  # six points at most
    ],
)
def test_lateness(time: str, zone: str, points: str, tmp_path: Path) -> None:
    folder = course_folder(tmp_path / "c", 'patterns = ["{student}_{time}"]', zone)
    (folder / "submissions").mkdir()
    (folder / "submissions" / f"S1_{time}.jpg").write_bytes(b"good")
    assert graded(folder)[0]["S1", "light"].grade.points == points  # 20 but for the missing note


def test_a_course_may_be_called_by_its_file(tmp_path: Path) -> None:
    folder = course_folder(tmp_path / "c")
    assert load_course(folder / "course.toml") == load_course(folder)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('title = "x"\ncounts = "newest"\n', "counts.*latest"),
        ('title = "x"\npatterns = ["{pupil}"]\n', "patterns.*{student}"),
        ('title = "x"\nzone = "Nowhere/Town"\n', "zone"),
        ('title = "x"\ntasks = 1\n', "tasks.*Accepted"),
        ('title = "x"\n', "task"),
        ("title = \n", "not valid TOML"),
    ],
)
def test_mistakes_in_the_course_file_are_named(text: str, said: str, tmp_path: Path) -> None:
    folder = course_folder(tmp_path / "c")
    (folder / "course.toml").write_text(text)
    with pytest.raises(DataError, match=said):
        load_course(folder)


@pytest.mark.parametrize(
    ("rows", "said"),
    [("name\nA\n", "number"), ("number,name\nS1,A\nS1,B\n", "twice"), ("number,name\n", "nobody"),
     ("number,name\n../x,A\n", "cannot be"), ("number,name\n,A\n", "missing")],
)  # fmt: skip
def test_mistakes_in_the_roster_are_named(rows: str, said: str, tmp_path: Path) -> None:
    folder = course_folder(tmp_path / "c")
    (folder / "roster.csv").write_text(rows)
    with pytest.raises(InputError, match=said):
        load_course(folder)


@pytest.mark.parametrize(
    ("item", "said"),
    [
        ('points = "many"\nby = "files"\npatterns = ["*"]', "item a.points"),
        ('points = 1\nby = "luck"', "findings"),
        ('points = 1\nby = "findings"\nrules = ["revesed"]', "Did you mean 'reversed'"),
        ('points = 1\nby = "findings"', "nothing says which findings"),
        ('points = 1\nby = "files"', "patterns"),
        ('points = 1\nby = "hand"\neach = 2', "each"),
    ],
)
def test_mistakes_in_a_rubric_are_named(item: str, said: str, tmp_path: Path) -> None:
    file = tmp_path / "rubric.toml"
    file.write_text(f'title = "x"\n[[item]]\nname = "a"\ntitle = "A"\n{item}\n')
    with pytest.raises(DataError, match=said):
        load_rubric(file)


@pytest.mark.parametrize(
    ("text", "cell"),
    [("=1+1", "'=1+1"), ("@x", "'@x"), ("-2", "-2"), ("+1.5", "+1.5"), ("-1,5", "-1,5"), ("-x", "'-x"),
     ("Bo", "Bo"), ("--1", "'--1"), ("Foo;=1+1", "Foo;'=1+1"), ("a|@x", "a|'@x"),
     ("\t=1", "\\t=1"), (" =1", "' =1"),
     ("\r=1", "\\r=1"), ("＝1+1", "'＝1+1"), ('a"=1', "a\"'=1"), ("a-b; c=d (-1)", "a-b; c=d (-1)")],
)  # fmt: skip
def test_a_cell_is_no_formula(text: str, cell: str) -> None:
    """OWASP, CSV Injection: cells that begin with =, +, -, @, tab or CR, also behind another separator."""
    assert safe_cell(text) == cell
    assert list(csv.reader([csv_text([["T-1", text, "x"]])])) == [["T-1", cell, "x"]]


def test_a_store_of_the_first_version_is_brought_up_and_keeps_what_it_holds(tmp_path: Path) -> None:
    file = tmp_path / "old.db"
    make_old(
        file,
        "0001",
        "INSERT INTO decision (at, by, kind, subject, choice, reason) VALUES ('t', 'a', 'k', 's', 'c', 'r')",
    )
    with Store(str(file)) as store:
        assert [d.reason for d in store.decisions()] == ["r"]
        assert store.erasures() == []
    with contextlib.closing(sqlite3.connect(file)) as raw, raw:
        raw.execute("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(StoreError, match="newer"):
        Store(str(file))
