"""Nothing leaves the machine, and nothing is left on it outside the folders that the user named."""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import pytest
from closednet import closed, possible

from snapcheck.simulate import is_available

FIXTURES = Path(__file__).parents[2] / "fixtures"
#: lists of this machine's fonts that Pango and matplotlib keep; the README says so
FONT_LISTS = ("home/.cache/fontconfig", "home/.cache/matplotlib")
#: seconds after which onnxruntime 1.32 looks up its maker's host: 9 and 15
LINGER_s = 20

pytestmark = pytest.mark.skipif(not possible(), reason="this machine allows no name spaces of our own")


def foreign(files: list[str]) -> list[str]:
    return [f for f in files if not (f in ("home/.cache") or f.startswith(FONT_LISTS))]


def test_the_watch_sees_look_ups_connections_and_files(tmp_path: Path) -> None:
    look_up = "import socket\ntry: socket.getaddrinfo('host.example', 443)\nexcept OSError: pass"
    connect = (
        "import socket, sys\ntry: socket.create_connection((sys.argv[1], 443), 0.5)\nexcept OSError: pass"
    )
    write = "import pathlib, tempfile\npathlib.Path.home().joinpath('left').touch(); tempfile.mkdtemp('left')"
    addresses = ("192.0.2.7", "2001:db8::7")  # for documentation, RFC 5737 and RFC 3849
    commands = [["-c", look_up], *(["-c", connect, a] for a in addresses), ["-c", write]]
    seen = closed(commands, tmp_path)
    assert seen.codes == [0, 0, 0, 0], seen.output
    told = "\n".join(seen.packets)
    assert all(what in told for what in ("host.example", "tcp 192.0.2.7:443", "tcp 2001:db8::7:443"))
    assert len(foreign(seen.files)) == 2


def test_a_pdf_fetches_nothing(tmp_path: Path) -> None:
    """Whatever its page names, also in style sheets and fonts."""
    page = (
        "<link rel=stylesheet href='http://192.0.2.7/a.css'><img src='http://host.example/a.png'>"
        "<style>@import 'http://192.0.2.8/b.css'; body { background: url(//192.0.2.9/c.png) }</style>"
    )
    code = f"from snapcheck.report import html_to_pdf; assert html_to_pdf({page!r})[:5] == b'%PDF-'"
    seen = closed([["-c", code]], tmp_path)
    assert seen.codes == [0], seen.output
    assert seen.packets == []


@pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
def test_no_packet_and_no_file_elsewhere(tmp_path: Path) -> None:
    """The whole way: a photo checked, a course from a ZIP file graded and exported, plots drawn."""
    course = tmp_path / "class"
    shutil.copytree(FIXTURES / "class", course, ignore=shutil.ignore_patterns("submissions", "readings"))
    shutil.copytree(FIXTURES / "designs", tmp_path / "designs")
    with zipfile.ZipFile(course / "submissions.zip", "w") as zipped:
        for photo in sorted((FIXTURES / "class/submissions").rglob("T-10[12]_*.jpg")):
            zipped.write(photo, photo.relative_to(FIXTURES / "class/submissions"))
    settings = course / "course.toml"
    told = settings.read_text(encoding="utf-8").replace('"submissions"', '"submissions.zip"', 1)
    settings.write_text(told, encoding="utf-8")
    photo, plan = FIXTURES / "photos/level-meter-bench-4.jpg", FIXTURES / "photos/level-meter.board"
    kinds = ["gradebook", "feedback", "overview", "audit", "pseudonymous"]
    commands = [
        ["check", str(photo), str(plan), "--out", "out"],
        ["grade", "class", "--workers", "2"],
        ["export", "class", *kinds, "--pdf", "--workers", "1"],
        ["simulate", "designs/night-lamp.board", "--plots", "plots"],
    ]
    # in one process, so that all of it lives long enough to be seen when it looks something up late
    code = (
        "import time; from snapcheck.cli import main; start = time.monotonic()\n"
        f"codes = [main(c) for c in {commands!r}]\nprint(codes)\n"
        "assert codes[:3] == [11, 0, 0] and codes[3] in (0, 1)\n"
        f"time.sleep(max(2, {LINGER_s} - time.monotonic() + start))"
    )
    seen = closed([["-c", code]], tmp_path)
    assert seen.codes == [0], seen.output
    assert (tmp_path / "out/report.pdf").exists() and list((tmp_path / "class/out/feedback").glob("*.pdf"))
    assert seen.packets == []
    assert foreign(seen.files) == []


def test_the_bench_page_sends_nothing_and_keeps_all_in_its_folder(tmp_path: Path) -> None:
    """With the whole way of a photo: it is in the queue when the server starts."""
    from snapcheck.web._store import Keep

    keep = Keep(tmp_path / "kept")
    keep.join_bench(4, "first-light", "", "en")
    keep.add_shot(4, "first-light", "en", [(FIXTURES / "photos/first-light-good.jpg").read_bytes()])
    usual = ["-m", "snapcheck", "bench", "--port", "0", "--keep", "kept", "--workers", "1"]
    seen = closed([[*usual, "--phones", "--minutes", "0.3"]], tmp_path)
    assert seen.codes == [0], seen.output
    assert [s.state for s in keep.shots(4)] == ["done"]
    assert seen.packets == []
    assert foreign(seen.files) == []
