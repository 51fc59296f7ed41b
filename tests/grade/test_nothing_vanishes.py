"""No grade falls or vanishes by itself: pictures that are gone, files that are no pictures, names as people
write them, damaged ZIP files, times that a copy changes."""

from __future__ import annotations

import io
import os
import random
import shutil
import unicodedata
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
import test_course
from here import HereCrew
from test_course import course_folder, read_renamed

from snapcheck.errors import InputError
from snapcheck.grade import (
    Course,
    Entry,
    Review,
    Store,
    decide,
    load_course,
    regrade,
    review,
    run_batch,
    unclaimed,
)
from snapcheck.grade._submissions import handed_in
from snapcheck.grade.out import gradebook_csv
from snapcheck.photo import taken_at
from snapcheck.simulate import is_available

pytestmark = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
Grades = dict[tuple[str, str], Entry]
NAMED = 'patterns = ["{student}_{time}"]'


def batch(folder: Path) -> Grades:
    course, crew = load_course(folder), HereCrew()
    with Store(course.store) as store:
        entries = dict(run_batch(course, store, crew, reader=read_renamed).grades)
    crew.close()
    return entries


def with_store(folder: Path, do: Callable[[Course, Store, HereCrew], object]) -> object:
    course, crew = load_course(folder), HereCrew()
    with Store(course.store, create=False) as store:
        told = do(course, store, crew)
    crew.close()
    return told


def reviewed(folder: Path) -> Review:
    found = with_store(folder, lambda c, s, w: review(c, s, w, reader=read_renamed))
    assert isinstance(found, Review)
    return found


def decided(folder: Path, student: str, text: str) -> None:
    with_store(
        folder, lambda c, s, _: decide(c, s, student, "light", text, by="a", reason="so", reader=read_renamed)
    )


def regraded(folder: Path) -> Grades:
    return dict(with_store(folder, lambda c, s, w: regrade(c, s, w, reader=read_renamed)))  # type: ignore[call-overload, no-any-return]


def line_of(folder: Path, entries: Grades, student: str = "S1") -> str:
    return next(x for x in gradebook_csv(load_course(folder), entries).split("\r\n") if x.startswith(student))


@pytest.fixture
def handed(tmp_path: Path) -> Path:
    """Two pictures with a note, of two students."""
    folder = course_folder(tmp_path / "c", NAMED)
    (folder / "submissions").mkdir()
    for student, build in (("S1", b"good"), ("S2", b"1 wrong")):
        (folder / "submissions" / f"{student}_2031-03-05T1200.jpg").write_bytes(build)
        (folder / "submissions" / f"{student}_2031-03-05T1200.txt").write_text("measured: " + "x" * 60)
    return folder


# ---------------------------------------------------------------- pictures that are gone


def gone(path: Path) -> None:
    path.unlink()


def emptied(path: Path) -> None:
    path.write_bytes(b"")


def cut(path: Path) -> None:
    path.write_bytes(b"half a copy \xff\xd8")


def read_strict(path: Path):  # type: ignore[no-untyped-def]
    """As `read_renamed`, but of a picture that is cut short nothing can be made out."""
    from snapcheck.errors import PhotoError

    if not path.read_bytes().endswith((b"good", b"wrong")):
        raise PhotoError("nothing can be made out.", place=path.name)
    return test_course.read_renamed(path)


@pytest.mark.parametrize("harm", [gone, emptied, cut])
def test_a_graded_picture_that_is_gone_is_asked_about_and_keeps_its_grade(
    harm: Callable[[Path], None], handed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("test_nothing_vanishes.read_renamed", read_strict)
    before = batch(handed)["S1", "light"].grade
    assert (before.points, before.final) == ("20", True)
    harm(handed / "submissions" / "S1_2031-03-05T1200.jpg")
    entries = batch(handed)
    after = entries["S1", "light"].grade
    assert (after.points, after.final) == ("20", False)
    assert entries["S2", "light"].grade.final  # the others are left alone
    assert ",,open," in line_of(handed, entries) and ",0," not in line_of(handed, entries)
    assert regraded(handed)["S1", "light"].grade == after
    asked = [w for w in reviewed(handed).waiting if w.student == "S1"]
    assert [w.kind for w in asked] == ["gone"]
    assert [(c.line, c.grade.points, c.grade.final) for c in asked[0].choices if c.grade] == [
        ("kept S1_2031-03-05T1200.jpg", "20", True), ("withdrawn S1_2031-03-05T1200.jpg", "0", False),
    ]  # fmt: skip


@pytest.mark.parametrize(("word", "points"), [("kept", "20"), ("withdrawn", "0")])
def test_what_a_person_says_about_a_lost_picture_lasts(word: str, points: str, handed: Path) -> None:
    batch(handed)
    for ending in ("jpg", "txt"):
        (handed / "submissions" / f"S1_2031-03-05T1200.{ending}").unlink()
    batch(handed)
    assert {w.path[-3:] for w in reviewed(handed).waiting} == {"jpg", "txt"}  # the note earned a point, too
    for ending in ("jpg", "txt"):
        decided(handed, "S1", f"{word} S1_2031-03-05T1200.{ending}")
    for entries in (regraded(handed), batch(handed)):
        assert (entries["S1", "light"].grade.points, entries["S1", "light"].grade.final) == (points, True)
    with pytest.raises(InputError, match="missing"):
        decided(handed, "S2", "kept S2_2031-03-05T1200.jpg")


def test_a_picture_that_comes_back_is_no_question_any_more(handed: Path) -> None:
    before = batch(handed)
    picture = handed / "submissions" / "S1_2031-03-05T1200.jpg"
    away = picture.rename(handed / "away")
    batch(handed)
    away.rename(picture)
    assert batch(handed) == before


def test_submissions_that_are_not_there_change_nothing(handed: Path) -> None:
    before = batch(handed)
    there = handed / "submissions"
    there.rename(handed / "unmounted")
    with pytest.raises(InputError, match="no submissions here"):
        batch(handed)
    there.mkdir()
    with pytest.raises(InputError, match="knows 2"):
        batch(handed)
    assert {k: e.grade for k, e in regraded(handed).items()} == {k: e.grade for k, e in before.items()}
    assert not reviewed(handed).waiting


@pytest.mark.skipif(os.name != "posix" or os.getuid() != 0, reason="needs root, to become somebody else")
def test_a_folder_without_rights_is_told_not_taken_for_empty(tmp_path: Path) -> None:
    closed = tmp_path / "submissions" / "S1"
    closed.mkdir(parents=True)
    (closed / "a.jpg").write_bytes(b"x")
    for path in (tmp_path, *tmp_path.parents):
        if path != Path("/tmp") and path != Path("/"):
            path.chmod(0o755)
    closed.chmod(0)
    child = os.fork()
    if child == 0:
        code = 1
        try:
            os.setuid(65534)
            handed_in(tmp_path / "submissions", UTC)  # type: ignore[arg-type]
        except InputError as error:
            code = 0 if "looked into" in str(error) else 2
        finally:
            os._exit(code)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


def test_a_name_that_fits_nobody_any_more_is_asked_about(handed: Path) -> None:
    """A second person in the roster makes the name of a graded picture ambiguous."""
    batch(handed)
    with (handed / "roster.csv").open("a") as file:
        file.write("S77,Una Tarn,S1\n")
    entries = batch(handed)
    after = entries["S1", "light"].grade
    assert (after.points, after.final) == ("20", False) and not entries["S77", "light"].sha
    assert batch(handed)["S1", "light"].grade == after  # also the next time
    decided(handed, "S1", "belongs S1_2031-03-05T1200.jpg")
    assert regraded(handed)["S1", "light"].grade.final


def test_a_picture_of_somebody_who_has_left_is_listed(handed: Path) -> None:
    """It was said to be theirs, by a person; without them it is nobody's, and does not just vanish."""
    batch(handed)
    decided(handed, "S2", "belongs S1_2031-03-05T1200.jpg")
    roster = handed / "roster.csv"
    lines = roster.read_text(encoding="utf-8").splitlines(keepends=True)
    roster.write_text("".join(x for x in lines if not x.startswith("S2")), encoding="utf-8")
    batch(handed)
    told = {f.path: f.problem for f in reviewed(handed).unmatched}
    assert "S2" in told["S1_2031-03-05T1200.jpg"]


# ---------------------------------------------------------------- what is handed in besides pictures


def test_a_hand_in_without_picture_is_listed_and_waits(handed: Path) -> None:
    (handed / "submissions" / "S12_2031-03-05T1300.pdf").write_bytes(b"%PDF-1.4 a scan of the plate")
    (handed / "submissions" / "who knows.docx").write_bytes(b"x")
    entries = batch(handed)
    assert not entries["S12", "light"].grade.final
    assert ",missing" not in line_of(handed, entries, "S12") and ",open" in line_of(handed, entries, "S12")
    found = reviewed(handed)
    assert [(w.student, w.kind, w.path) for w in found.waiting] == [
        ("S12", "look", "S12_2031-03-05T1300.pdf")
    ]
    assert [f.path for f in found.unmatched] == ["who knows.docx"]
    decided(handed, "S12", "points total 7")
    assert (regraded(handed)["S12", "light"].grade.points, reviewed(handed).waiting) == ("7", ())


@pytest.mark.parametrize("patterns", ["", NAMED])
@pytest.mark.parametrize(
    "name",
    [
        "Åse Nordgårdsvik.jpg",  # exactly as in the roster
        unicodedata.normalize("NFD", "Åse Nordgårdsvik.jpg"),  # as some systems write it
        "NORDGÅRDSVIK, Åse.JPG",
        "Aase Nordgaardsvik 2031-03-05T1200.jpg",
        "S1 mein Foto (1).JPG",
        "S1 photo (12).jpg",  # a number in brackets is a copy's, not student 12's
        "S1_2031-03-05T1200 (2).jpg",
    ],
)
def test_names_as_people_write_them(name: str, patterns: str, tmp_path: Path) -> None:
    folder = course_folder(tmp_path / "c", patterns)
    with (folder / "roster.csv").open("a", encoding="utf-8") as file:
        file.write("12,Ule Umfried,uum\n05,Ida Ott,iott\n")
    (folder / "submissions").mkdir()
    (folder / "submissions" / name).write_bytes(b"good")
    entries = batch(folder)
    assert [k[0] for k, e in entries.items() if e.sha] == ["S1"]


def test_a_path_is_meant_however_its_letters_are_written(tmp_path: Path) -> None:
    folder = course_folder(tmp_path / "c")
    (folder / "submissions").mkdir()
    (folder / "submissions" / unicodedata.normalize("NFD", "Grüße  vom Tisch.jpg")).write_bytes(b"good")
    batch(folder)
    decided(folder, "S1", f"belongs {unicodedata.normalize('NFC', 'Grüße vom Tisch.jpg')}")
    assert regraded(folder)["S1", "light"].sha


def test_a_second_photo_is_further_evidence_of_the_same_student(tmp_path: Path) -> None:
    folder = course_folder(tmp_path / "c", NAMED)
    (folder / "submissions").mkdir()
    for name in ("S1_2031-03-05T1200.jpg", "S1_2031-03-05T1200 from the side.jpg"):
        (folder / "submissions" / name).write_bytes(name.encode() + b" good")
    entry = batch(folder)["S1", "light"]
    assert {entry.path, *entry.more} == {p.name for p in (folder / "submissions").iterdir()}
    assert entry.attempts == 1 and not reviewed(folder).unmatched


# ---------------------------------------------------------------- ZIP files


def zipped(folder: Path, names: list[str], how: int, data: bytes = b"good") -> Path:
    path = folder / "export.zip"
    with zipfile.ZipFile(path, "w", how) as archive:
        for name in names:
            archive.writestr(zipfile.ZipInfo(name, (2031, 3, 5, 12, 0, 0)), bytes(range(256)) * 8 + data, how)
    return path


@pytest.mark.parametrize(
    "how", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA]
)
def test_one_damaged_member_does_not_stop_the_class(how: int, tmp_path: Path) -> None:
    """Bytes of the first member are changed at random, its name and header, too."""
    folder = course_folder(tmp_path / "c", 'submissions = "export.zip"')
    sound = zipped(folder, ["S1 ü.jpg", "S2.jpg"], how).read_bytes()
    chance, end = random.Random(how), sound.index(b"PK\x03\x04", 4)
    course = load_course(folder)
    unreadable = 0
    for _ in range(120):
        data = bytearray(sound)
        for _ in range(chance.choice((1, 3, 40))):
            data[chance.randrange(4, end)] = chance.randrange(256)
        course.submissions.write_bytes(data)
        files = handed_in(course.submissions, course.zone)
        assert [f.path for f in files] == ["S1 ü.jpg", "S2.jpg"]
        assert files[1].read().endswith(b"good")
        try:
            files[0].read()
        except InputError as error:
            assert "Ask for it again" in str(error)
            unreadable += 1
    assert unreadable > 60
    assert batch(folder)["S2", "light"].grade.verdict == "ready"


def test_two_members_of_one_path_are_both_seen(tmp_path: Path) -> None:
    folder = course_folder(tmp_path / "c", 'submissions = "export.zip"')
    with zipfile.ZipFile(folder / "export.zip", "w") as archive, pytest.warns(UserWarning, match="Duplicate"):
        for build in (b"1 good", b"2 good"):
            archive.writestr(zipfile.ZipInfo("S1/photo.jpg", (2031, 3, 5, 12, 0, 0)), build)
    entry = batch(folder)["S1", "light"]
    assert {entry.path, *entry.more} == {"S1/photo.jpg", "S1/photo (2).jpg"}
    course = load_course(folder)
    assert {f.read() for f in handed_in(course.submissions, course.zone)} == {b"1 good", b"2 good"}


def test_a_link_is_listed_and_never_followed(tmp_path: Path) -> None:
    folder, secret = course_folder(tmp_path / "c"), tmp_path / "secret.jpg"
    secret.write_bytes(b"good")
    (folder / "submissions").mkdir()
    (folder / "submissions" / "S1.jpg").symlink_to(secret)
    entries = batch(folder)
    assert not entries["S1", "light"].grade.final and not entries["S1", "light"].sha
    link = zipfile.ZipInfo("S2.jpg")
    link.external_attr = 0o120777 << 16
    with zipfile.ZipFile(tmp_path / "links.zip", "w") as archive:
        archive.writestr(link, str(secret))
    assert [(f.path, f.is_picture) for f in handed_in(tmp_path / "links.zip", UTC)] == [  # type: ignore[arg-type]
        ("S2.jpg (link)", False)
    ]


def test_an_archive_is_opened_as_often_for_many_members_as_for_few(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its list of members is read anew at every opening: opened for each, thousands would cost minutes."""
    opened, real = list[str](), zipfile.ZipFile

    def counted(path: str) -> zipfile.ZipFile:
        opened.append(path)
        return real(path)

    monkeypatch.setattr(zipfile, "ZipFile", counted)
    counts = []
    for count in (5, 500):
        path = tmp_path / f"{count}.zip"
        with real(path, "w") as archive:
            for n in range(count):
                archive.writestr(f"S{n:05d}/photo.jpg", b"x")
        assert all(f.read() == b"x" for f in handed_in(path, UTC))  # type: ignore[arg-type]
        counts.append(opened.count(str(path)))
    assert 0 < counts[0] == counts[1] <= 2


# ---------------------------------------------------------------- when it was handed in


def jpeg(when: str, offset: str = "") -> bytes:
    from PIL import Image

    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = when
    if offset:
        exif.get_ifd(0x8769)[0x9011] = offset
    out = io.BytesIO()
    Image.new("RGB", (16, 16)).save(out, "JPEG", exif=exif)
    return out.getvalue()


def test_a_picture_says_when_it_was_taken() -> None:
    from zoneinfo import ZoneInfo

    oslo = ZoneInfo("Europe/Oslo")
    at = taken_at(jpeg("2031:03:05 17:00:00"), oslo)
    assert at is not None and at.astimezone(UTC) == datetime(2031, 3, 5, 16, tzinfo=UTC)
    at = taken_at(jpeg("2031:03:05 17:00:00", "-03:00"), oslo)
    assert at is not None and at.astimezone(UTC) == datetime(2031, 3, 5, 20, tzinfo=UTC)
    for none in (jpeg("0000:00:00 00:00:00"), b"", b"\xff\xd8 cut", b"\0\0\0\x18ftypheic cut"):
        assert taken_at(none, oslo) is None


def test_looking_for_its_time_decodes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from PIL import Image, ImageFile

    Image.new("RGB", (300, 300)).save(tmp_path / "no-time.png")
    loaded: list[object] = []
    monkeypatch.setattr(ImageFile.ImageFile, "load", lambda *a: loaded.append(a))
    assert taken_at((tmp_path / "no-time.png").read_bytes(), UTC) is None
    assert taken_at(jpeg("2031:03:05 17:00:00"), UTC) == datetime(2031, 3, 5, 17, tzinfo=UTC)
    assert loaded == []


def touch(path: Path, when: datetime) -> None:
    os.utime(path, (when.timestamp(), when.timestamp()))


def test_the_time_of_a_loose_file_charges_nothing_and_is_asked(tmp_path: Path) -> None:
    folder = course_folder(tmp_path / "c")
    (folder / "submissions").mkdir()
    picture = folder / "submissions" / "S1.jpg"
    picture.write_bytes(b"good")
    touch(picture, datetime(2031, 3, 9, 9, 0, tzinfo=UTC))
    entry = batch(folder)["S1", "light"]
    assert (entry.grade.points, entry.grade.final) == ("19", False)  # 20 but for the missing note
    (asked,) = reviewed(folder).waiting
    assert [(c.line, c.grade.points) for c in asked.choices if c.grade] == [
        ("handed-in 2031-03-05T18:00:00", "19"), ("handed-in 2031-03-09T09:00:00", "13"),
    ]  # fmt: skip
    decided(folder, "S1", "handed-in 2031-03-06T10:00")
    assert regraded(folder)["S1", "light"].grade.points == "17"
    assert regraded(folder)["S1", "light"].grade.final
    with pytest.raises(InputError, match="no date"):
        decided(folder, "S1", "handed-in yesterday")


@pytest.mark.parametrize("name", ["S1.jpg", "S1/photo.jpg"])
def test_copying_the_folder_changes_no_grade(name: str, tmp_path: Path) -> None:
    folder = course_folder(tmp_path / "c")
    picture = folder / "submissions" / name
    picture.parent.mkdir(parents=True)
    picture.write_bytes(b"good")
    touch(picture, datetime(2031, 3, 3, 9, 0, tzinfo=UTC))  # early, by a clock that proves nothing: no bonus
    before = batch(folder)["S1", "light"]
    assert (before.grade.points, before.grade.final) == ("19", True)
    touch(picture, datetime(2031, 4, 3, 9, 0, tzinfo=UTC))
    assert batch(folder)["S1", "light"] == before
    picture.rename(folder / "submissions" / "S1 renamed.jpg")
    after = batch(folder)["S1", "light"]
    assert (after.grade, after.at) == (before.grade, before.at)


def test_the_picture_s_own_time_comes_before_the_file_s(tmp_path: Path) -> None:
    folder = course_folder(tmp_path / "c")
    (folder / "submissions").mkdir()
    picture = folder / "submissions" / "S1.jpg"
    picture.write_bytes(jpeg("2031:03:05 17:00:00") + b"good")
    touch(picture, datetime(2031, 4, 3, 9, 0, tzinfo=UTC))
    assert (batch(folder)["S1", "light"].grade.points, reviewed(folder).waiting) == ("19", ())
    picture.write_bytes(jpeg("2031:03:06 17:00:00") + b"good")
    assert batch(folder)["S1", "light"].grade.points == "17"


def test_the_sample_class_works_wherever_it_is_copied(tmp_path: Path) -> None:
    root = Path(__file__).parents[2] / "fixtures"
    shutil.copytree(root / "class", tmp_path / "somewhere")
    course = load_course(tmp_path / "somewhere")
    for task in course.tasks:  # the same plans as the other samples
        assert task.design_file.read_bytes() == (root / "designs" / task.design_file.name).read_bytes()


def test_documents_beside_pictures_are_not_told_as_unclaimed(handed: Path) -> None:
    batch(handed)
    assert with_store(handed, lambda _, s, __: unclaimed(s.files())) == ()
