"""What is kept, for whom, how long, and through which accidents; and the workers that read."""

from __future__ import annotations

import io
import json
import multiprocessing
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import breakers
import cv2
import pytest
from benchmaker import JPEG, PHOTOS, REVERSED, ROOT, Instant, Room, told
from PIL import Image, ImageFile

from snapcheck import api
from snapcheck.errors import SnapcheckError
from snapcheck.simulate import is_available
from snapcheck.web import Settings, make_site
from snapcheck.web._job import job_of, work
from snapcheck.web._store import Keep
from snapcheck.web._workers import LostError, Worker

DANGER = told(REVERSED)


def test_everything_lies_in_one_folder_for_its_owner_alone(tmp_path: Path) -> None:
    usual = os.umask(0o077)  # as the verb does
    try:
        room = Room(tmp_path / "kept", Instant({"told": DANGER}))
        student = room.somebody()
        student.join(room.site)
        student.send(JPEG)
        student.answered(room.site)
        files = list((tmp_path / "kept").rglob("*"))
        assert len([f for f in files if f.is_file()]) >= 3
        assert [f for f in [tmp_path / "kept", *files] if f.stat().st_mode & 0o077] == []
        room.close()
    finally:
        os.umask(usual)


def test_a_folder_that_cannot_be_used_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(SnapcheckError, match="--keep"):
        Keep(tmp_path / "file")
    (tmp_path / "bench.db").write_bytes(b"no database, but long enough to be taken for one" * 30)
    with pytest.raises(SnapcheckError, match="--keep"):
        Keep(tmp_path)


def test_photos_are_deleted_after_their_time(tmp_path: Path) -> None:
    keep = Keep(tmp_path)
    old, new, waits = (keep.add_shot(1, "night-lamp", "en", [JPEG]) for _ in range(3))
    stray = keep.pictures / "nobody-0.jpg"
    stray.write_bytes(JPEG)
    os.utime(stray, (time.time() - 3600,) * 2)
    keep.answer(old.id, DANGER)
    keep.answer(new.id, DANGER)
    for shot in (old, waits):
        keep._do("update shot set at=? where id=?", time.time() - 7300, shot.id)
    assert keep.delete_old(2) == 1
    assert {s.id for s in keep.shots(1)} == {new.id, waits.id}  # what waits is answered first
    assert {p.name for p in keep.pictures.iterdir()} == {f"{s.id}-0.jpg" for s in (new, waits)}


def test_a_shot_that_ends_its_worker_twice_is_given_up(tmp_path: Path) -> None:
    class Deadly(Instant):
        def do(self, job: dict[str, Any]) -> dict[str, Any]:
            if "warm" in job:
                return {}
            self.jobs.append(job)
            raise LostError

    room = Room(tmp_path, Deadly({}))
    student = room.somebody()
    student.join(room.site)
    student.send(JPEG)
    assert "gave up on it" in student.answered(room.site).text
    assert len(room.worker.jobs) == 2
    room.close()


def test_what_waited_when_the_server_ended_is_answered_at_the_next_start(tmp_path: Path) -> None:
    keep = Keep(tmp_path)
    keep.join_bench(4, "speech-stage", "", "en")
    shots = [keep.add_shot(4, "speech-stage", "en", [JPEG]) for _ in range(3)]
    assert keep.take().id == shots[0].id  # in hand, when all of a sudden …
    keep.close()
    room = Room(tmp_path, Instant({"told": DANGER}))
    for _ in range(300):
        if not room.site.keep.waiting():
            break
        time.sleep(0.01)
    assert [s.state for s in room.site.keep.shots(4)] == ["done"] * 3
    assert len(room.worker.jobs) == 3
    room.close()


# ---------------------------------------------------------------- workers


@pytest.fixture
def worker() -> Iterator[Worker]:
    worker = Worker(breakers.work, 60.0)
    yield worker
    worker.stop()


def test_a_worker_that_dies_or_hangs_costs_its_job_alone(worker: Worker) -> None:
    first = worker.do({"what": "fine"})["pid"]
    assert worker.do({"what": "fine"})["pid"] == first
    with pytest.raises(LostError):
        worker.do({"what": "die"})
    worker._limit_s = 0.5
    with pytest.raises(LostError):
        worker.do({"what": "hang"})
    worker._limit_s = 60.0
    assert worker.do({"what": "fine"})["pid"] != first


def test_a_server_that_ends_waits_for_no_job_about_to_begin(worker: Worker) -> None:
    """The job lies in another thread still when the server stops its workers: no process begins for it."""
    worker.stop()
    worker.start()
    with pytest.raises(LostError):
        worker.do({"what": "hang"})
    assert worker._process is None


def test_a_job_in_hand_ends_with_its_server(worker: Worker, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped in the midst of the process's start: the job is lost, and no process stays."""
    begin = threading.Event()
    seen: list[Any] = []
    usual = multiprocessing.context.SpawnProcess.start

    def slowly(process: Any) -> None:
        begin.set()
        time.sleep(0.3)
        usual(process)
        seen.append(process)

    monkeypatch.setattr(multiprocessing.context.SpawnProcess, "start", slowly)
    with ThreadPoolExecutor(1) as others:
        job = others.submit(worker.do, {"what": "hang"})
        begin.wait()
        worker.stop()
        with pytest.raises(LostError):
            job.result()
    assert [p.is_alive() for p in seen] == [False]


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not count a process's memory so")
def test_a_worker_has_so_much_memory_and_no_more(worker: Worker) -> None:
    worker._limit_s = 60.0
    with pytest.raises(LostError):
        worker.do({"what": "eat"})


def with_a_past() -> bytes:
    """A photo as a phone makes it: a place, a device, a time; lying on its side."""
    with Image.open(PHOTOS / "first-light-good.jpg") as picture:
        exif = Image.Exif()
        exif[0x0110], exif[0x0132], exif[0x0112] = "Pocket Camera 7", "2031:03:05 16:30:00", 6
        exif.get_ifd(0x8825)[1] = "N"
        out = io.BytesIO()
        picture.rotate(90, expand=True).save(out, "JPEG", quality=92, exif=exif, comment=b"of somebody")
    return out.getvalue()


def test_a_job_reads_a_photo_and_leaves_nothing_of_its_past(tmp_path: Path) -> None:
    (exercise,) = (e for e in api.sample_exercises() if e.name == "first-light")
    photo, flat = tmp_path / "photo.jpg", tmp_path / "flat.jpg"
    photo.write_bytes(with_a_past())
    assert b"Pocket Camera" in photo.read_bytes()
    answer = work(job_of(exercise, [photo], flat, "de"))["told"]
    assert answer["verdict"] == "ready" and answer["sentence"] != "Ready to power."
    for made in (photo, flat):
        data = made.read_bytes()
        assert not any(word in data for word in (b"Exif", b"Pocket", b"2031", b"somebody"))
        with Image.open(made) as picture:
            assert not picture.getexif() and picture.format == "JPEG"
    with Image.open(photo) as picture:
        assert picture.width > picture.height  # upright
    json.dumps(answer)


@pytest.mark.parametrize("data", [b"", JPEG, b"\x89PNG\r\n\x1a\n" + b"x" * 99])
def test_a_job_says_what_is_wrong_with_a_photo(tmp_path: Path, data: bytes) -> None:
    (exercise,) = (e for e in api.sample_exercises() if e.name == "first-light")
    (tmp_path / "photo.jpg").write_bytes(data)
    answer = work(job_of(exercise, [tmp_path / "photo.jpg"], tmp_path / "flat.jpg", "en"))
    assert set(answer) == {"error"} and str(tmp_path) not in answer["error"] and answer["error"][0].isupper()


def test_pixels_are_counted_before_they_are_decoded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A small file that is 400 megapixels large."""
    (exercise,) = (e for e in api.sample_exercises() if e.name == "first-light")
    Image.new("1", (20_000, 20_000)).save(tmp_path / "photo.png")
    assert (tmp_path / "photo.png").stat().st_size < 1_000_000
    decoded = []
    monkeypatch.setattr(ImageFile.ImageFile, "load", lambda self: decoded.append(self.size))
    monkeypatch.setattr(cv2, "imdecode", lambda data, flag: decoded.append(len(data)))
    answer = work(job_of(exercise, [tmp_path / "photo.png"], tmp_path / "flat.jpg", "en"))
    assert "error" in answer and not decoded


# ---------------------------------------------------------------- the server itself


def opened(folder: Path, *words: str) -> tuple[subprocess.Popen[str], dict[str, Any]]:
    command = [
        sys.executable,
        "-m",
        "snapcheck",
        "bench",
        "--port",
        "0",
        "--keep",
        str(folder),
        "--json",
        *words,
    ]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT)
    assert server.stdout is not None
    told = ""
    for line in server.stdout:
        told += line
        if line.startswith("}"):
            break
    return server, json.loads(told)


@pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
def test_a_killed_server_loses_no_photo(tmp_path: Path) -> None:
    """Killed with photos in hand and in the queue; after the next start all of them are answered."""
    keep = Keep(tmp_path)
    keep.join_bench(4, "first-light", "", "en")
    photo = (PHOTOS / "first-light-good.jpg").read_bytes()
    for _ in range(3):
        keep.add_shot(4, "first-light", "en", [photo])
    server, _ = opened(tmp_path, "--workers", "1")
    for _ in range(600):
        if any(s.state == "working" for s in keep.shots(4)):
            break
        time.sleep(0.05)
    server.send_signal(signal.SIGKILL)
    server.wait()
    states = [s.state for s in keep.shots(4)]
    assert len(states) == 3 and set(states) != {"done"}
    server, _ = opened(tmp_path, "--workers", "1")
    for _ in range(1200):
        if not keep.waiting():
            break
        time.sleep(0.05)
    server.send_signal(signal.SIGINT)
    assert server.wait(120) == 0
    assert [(s.state, s.told.get("verdict")) for s in keep.shots(4)] == [("done", "ready")] * 3


def test_encrypted_under_a_certificate_that_stays(tmp_path: Path) -> None:
    import ssl

    server, told = opened(tmp_path, "--tls")
    trusting = ssl.create_default_context(cafile=tmp_path / "certificate.pem")
    address = told["join"]
    assert address.startswith("https://127.0.0.1:") and told["local"]
    for _ in range(1200):
        try:
            with urllib.request.urlopen(address, context=trusting) as page:
                assert "Secure" in page.headers["set-cookie"] and page.status == 200
            break
        except OSError:
            time.sleep(0.05)
    else:
        raise AssertionError("it did not answer")
    server.send_signal(signal.SIGINT)
    assert server.wait(120) == 0
    assert (tmp_path / "certificate-key.pem").stat().st_mode & 0o077 == 0
    from snapcheck.web._tls import certificate

    names = ["127.0.0.1", "localhost", "::1"]
    assert certificate(tmp_path, names)[2] == told["fingerprint"]
    assert certificate(tmp_path, [*names, "192.0.2.7"])[2] != told["fingerprint"]


def test_what_is_opened_is_said_plainly(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from snapcheck.cli import main

    words = ["bench", "--port", "0", "--keep", str(tmp_path / "a"), "--minutes", "0", "--workers", "1"]
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "Only this computer can reach it" in said and "http://127.0.0.1:" in said
    assert "Passphrase:" in said and "only its hash is kept" in said and "▀" in said
    assert main([*words, "--phones"]) == 0
    said = capsys.readouterr().out
    assert "Whoever is in the network" in said and "0.0.0.0" in said
    assert "the one that was set before" in said
    assert main([*words, "--new-passphrase"]) == 0
    assert "only its hash is kept" in capsys.readouterr().out


@pytest.mark.parametrize(("words", "said"), [
    (["--port", "70000"], "--port"), (["--address", "192.0.2.1"], "--address"),
    (["--keep-hours", "0"], "--keep-hours"), (["--address", "no address"], "--address"),
    (["nowhere"], "course folder"),
])  # fmt: skip
def test_what_cannot_be_opened_is_said(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    words: list[str],
    said: str,
) -> None:
    from snapcheck.cli import main

    monkeypatch.chdir(tmp_path)
    assert main(["bench", "--minutes", "0", *words]) == 21
    assert said in capsys.readouterr().err


def test_sample_designs_come_with_the_program() -> None:
    site_names = {e.name for e in api.sample_exercises()}
    assert {"night-lamp", "first-light", "speech-stage"} <= site_names
    assert all(e.drawn.startswith("<svg") and e.title for e in api.sample_exercises())


def test_a_damaged_course_is_said_at_the_start(tmp_path: Path) -> None:
    (tmp_path / "course.toml").write_text("title = 1", encoding="utf-8")
    with pytest.raises(SnapcheckError, match=r"course\.toml"):
        make_site(Settings(folder=tmp_path / "kept", course=tmp_path))


def test_a_disk_that_is_full_is_told_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also where there was room for the photo, and none for the line on it."""
    keep = Keep(tmp_path)

    def full(words: str, *values: object) -> int:
        raise sqlite3.OperationalError("database or disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(keep, "_do", full)
        with pytest.raises(OSError, match="full"):
            keep.add_shot(4, "speech-stage", "en", [JPEG])
    assert list(keep.pictures.iterdir()) == [] and keep.shots(4) == []
    keep.close()
