"""Results are there whole or as they were before, and those in one folder are of one run."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from smalldisk import mounted

from snapcheck.cli import main
from snapcheck.outfiles import write_together, write_whole

ROOT = Path(__file__).parents[2]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 1 MB in memory."""
    with mounted(tmp_path / "disk", "1m") as place:
        yield place


def test_a_full_disk_leaves_what_was_there(small_disk: Path) -> None:
    one, two = small_disk / "overview.html", small_disk / "other.html"
    write_together({one: "good " * 1000, two: "also good"})
    before = one.read_bytes(), two.read_bytes()
    with pytest.raises(OSError, match="No space"):
        write_together({two: "new", one: "x" * 2_000_000})
    assert (one.read_bytes(), two.read_bytes()) == before
    assert sorted(p.name for p in small_disk.iterdir()) == ["other.html", "overview.html"]


def test_a_kill_leaves_what_was_there(tmp_path: Path) -> None:
    """Killed at the moment when half of the new content is on the disk."""
    file = tmp_path / "gradebook.csv"
    write_whole(file, "good")
    code = (
        f"import os, sys; sys.path.insert(0, {str(ROOT)!r})\nfrom snapcheck import outfiles\n"
        "outfiles.os.fsync = lambda _: os.kill(os.getpid(), 9)\n"
        "outfiles.write_whole(outfiles.Path(sys.argv[1]), 'new')\n"
    )
    assert subprocess.run([sys.executable, "-c", code, str(file)], check=False).returncode == -9
    assert file.read_text() == "good"


def test_a_file_keeps_its_rights_a_link_stays_and_a_pipe_is_written_to(tmp_path: Path) -> None:
    file, link = tmp_path / "a", tmp_path / "b"
    write_whole(file, "1")
    file.chmod(0o640)
    link.symlink_to(file)
    write_whole(link, "2")
    assert (link.is_symlink(), file.read_text(), file.stat().st_mode & 0o777) == (True, "2", 0o640)
    reading, writing = os.pipe()
    write_whole(Path(f"/dev/fd/{writing}"), "3")
    assert os.read(reading, 9) == b"3"


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX")
def test_at_no_moment_may_more_people_read_it_than_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A new file is as the surroundings make files; one that is there keeps its rights."""
    seen, usual, sync = [], os.umask(0o022), os.fsync

    def synced(handle: int) -> None:
        seen.append(os.fstat(handle).st_mode & 0o777)
        sync(handle)

    monkeypatch.setattr(os, "fsync", synced)
    real, made = os.open, []
    monkeypatch.setattr(os, "open", lambda *a, **k: (made.append(a[2]), real(*a, **k))[1])
    try:
        write_whole(tmp_path / "report.html", "1")
        os.umask(0o077)
        write_whole(tmp_path / "gradebook.csv", "1")
        os.umask(0o022)
        write_whole(tmp_path / "gradebook.csv", "2")
    finally:
        os.umask(usual)
    assert seen == [0o644, 0o600, 0o600] and made[2] == 0o600
    assert [(tmp_path / n).stat().st_mode & 0o777 for n in ("report.html", "gradebook.csv")] == [0o644, 0o600]


def test_a_link_laid_in_its_way_is_not_written_through(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = tmp_path / "other"
    other.write_text("theirs")
    monkeypatch.setattr("snapcheck.outfiles.secrets.token_hex", lambda _: "guessed")
    (tmp_path / f".a.{os.getpid()}-guessed.new").symlink_to(other)
    with pytest.raises(FileExistsError):
        write_whole(tmp_path / "a", "mine")
    write_whole(tmp_path / "a", "mine")  # the link is out of the way
    assert (other.read_text(), (tmp_path / "a").read_text()) == ("theirs", "mine")


def test_threads_that_write_the_same_file_do_not_take_each_other_s(tmp_path: Path) -> None:
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda n: write_whole(tmp_path / "a", f"{n % 10}" * 50_000), range(200)))
    assert [p.name for p in tmp_path.iterdir()] == ["a"]
    assert set((tmp_path / "a").read_text()) < set("0123456789") and (tmp_path / "a").stat().st_size == 50_000
    assert len(set((tmp_path / "a").read_text())) == 1


def check(build: str, out: Path, *more: str) -> int:
    plan = ROOT / "fixtures/designs/first-light.board"
    return main(["check", build, str(plan), "--out", str(out), "--structure-only", *more])


def test_a_student_s_report_does_not_lie_beside_the_teacher_s(tmp_path: Path) -> None:
    plan = str(ROOT / "fixtures/designs/first-light.board")
    check(plan, tmp_path / "out")
    kept = tmp_path / "out" / "notes.txt"
    kept.write_text("my own")
    assert {p.name for p in (tmp_path / "out").iterdir()} == {
        "report.html", "report.pdf", "report.json", "picture.svg", "notes.txt",
    }  # fmt: skip
    check(plan, tmp_path / "out", "--student")
    assert {p.name for p in (tmp_path / "out").iterdir()} == {"report.html", "picture.svg", "notes.txt"}


def test_a_report_does_not_take_the_place_of_the_photo(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo = tmp_path / "picture.jpg"
    shutil.copy(ROOT / "fixtures/photos/first-light-good.jpg", photo)
    before = photo.read_bytes()
    assert check(str(photo), tmp_path) == 21
    assert "would take the place" in capsys.readouterr().err and photo.read_bytes() == before
