"""Whatever the surroundings are like: one sentence, the right exit code, nothing that libraries print."""

from __future__ import annotations

import json
import os
import shutil
import socket
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from snapcheck.cli import UNEXPECTED, VERBS, main
from snapcheck.cli import _kit as kit_verb

ROOT = Path(__file__).parents[2]
DESIGN = ROOT / "fixtures" / "designs" / "night-lamp.board"
OTHER = ROOT / "fixtures" / "designs" / "two-lamp-flasher.board"


def run(
    *words: object, env: dict[str, str] | None = None, code: str = ""
) -> subprocess.CompletedProcess[bytes]:
    """A command in a process of its own; `code` runs before it."""
    start = f"{code}\nimport sys\nfrom snapcheck.cli import main\nsys.exit(main(sys.argv[1:]))"
    command = [sys.executable, "-c", start, *map(str, words)]
    surroundings = {**os.environ, "PYTHONPATH": str(ROOT), **(env or {})}
    return subprocess.run(command, env=surroundings, capture_output=True, check=False, timeout=120)


def boom(_args: object) -> int:
    raise RuntimeError("nobody foresaw it")


@pytest.mark.parametrize("as_json", [False, True])
def test_an_unexpected_error_has_a_sentence_a_file_and_a_code_of_its_own(
    as_json: bool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setattr(kit_verb, "run", boom)
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    assert main(["kit", *["--json"] * as_json]) == UNEXPECTED == 70
    out, err = capsys.readouterr()
    assert err.count("\n") == 1 and "unexpected error (RuntimeError)" in err and "Traceback" not in err + out
    (file,) = tmp_path.glob("snapcheck-*.log")
    assert str(file) in err and "nobody foresaw it" in file.read_text(encoding="utf-8")
    assert os.name != "posix" or stat.S_IMODE(file.stat().st_mode) == 0o600
    if as_json:
        assert json.loads(out)["error"]["name"] == "UnexpectedError"


def test_the_log_holds_what_happened(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    log = tmp_path / "a.log"
    assert main(["kit", "--log", str(log)]) == 0
    assert main(["layout", str(tmp_path / "none.board"), "--log", str(log)]) == 21
    monkeypatch.setattr(kit_verb, "run", boom)
    assert main(["kit", "--log", str(log)]) == UNEXPECTED
    text = log.read_text(encoding="utf-8")
    assert (
        "exit code 0" in text and "none.board" in text and "nobody foresaw it" in text and "Traceback" in text
    )
    assert str(log) in capsys.readouterr().err and not list(tmp_path.glob("snapcheck-*.log"))
    assert os.name != "posix" or stat.S_IMODE(log.stat().st_mode) == 0o600
    assert main(["kit", "--log", str(tmp_path / "none" / "a.log")]) == 21
    assert main(["kit", "--log", str(tmp_path)]) == 21


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_takes_a_log(verb: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main([verb, "--help"])
    assert "--log FILE" in capsys.readouterr().out


NOISE = """
import os, sys, warnings, logging, threading
from snapcheck.cli import _kit
def noisy(args):
    os.write(2, b"noise of C\\n")
    warnings.warn("noise of Python")
    logging.getLogger("x").error("noise of a log")
    thread = threading.Thread(target=lambda: {}["noise of a thread"])
    thread.start()
    thread.join()
    print("out"); print("err", file=sys.stderr)
    return 0
_kit.run = noisy
"""


def test_what_libraries_print_goes_to_the_log_or_nowhere(tmp_path: Path) -> None:
    done = run("kit", code=NOISE)
    assert (done.returncode, done.stdout, done.stderr) == (0, b"out\n", b"err\n")
    log = tmp_path / "a.log"
    done = run("kit", "--log", log, code=NOISE)
    assert done.stderr == b"err\n"
    text = log.read_text(encoding="utf-8")
    assert all(f"noise of {what}" in text for what in ("C", "Python", "a log", "a thread"))


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "latin-1", "utf-16"])
def test_any_encoding_of_the_output(encoding: str, tmp_path: Path) -> None:
    compare = ("compare", DESIGN, OTHER, "--structure-only")
    for words, code in (
        (("kit",), 0), (("kit", "--lang", "de"), 0), (("nets", DESIGN, "--json"), 0),
        (("check", DESIGN, OTHER, "--structure-only", "--no-pdf", "--out", tmp_path), 13),
        ((*compare, "--lang", "de"), 13), ((*compare, "--json"), 13),
        (("layout", "Ω→\U0001f4a1.board"), 21), (("layout", "Ω→\U0001f4a1.board", "--json"), 21),
    ):  # fmt: skip
        done = run(*words, env={"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"})
        text = done.stdout.decode(encoding)
        assert done.returncode == code, done.stderr.decode(encoding)
        assert b"Traceback" not in done.stderr and "\ufffd" not in text
        if "--json" in words:
            assert json.loads(text)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full here")
def test_a_full_disk_behind_the_output_is_told() -> None:
    command = f"{sys.executable} -m snapcheck kit > /dev/full"
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, shell=True, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 20 and done.stderr.count("\n") == 1 and "No space left" in done.stderr


def special(folder: Path, what: str) -> Path:
    path = folder / "x.jpg"
    if what == "folder":
        path.mkdir()
    elif what == "pipe":
        os.mkfifo(path)
    elif what == "socket":
        place = Path("/tmp") / f"snapcheck-test-{os.getpid()}.sock"  # a socket's path is short
        with socket.socket(socket.AF_UNIX) as made:
            made.bind(str(place))
        path = shutil.move(place, path)
    else:
        return Path("/dev/zero")
    return Path(path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="a Unix system's kinds of files")
@pytest.mark.parametrize("what", ["folder", "pipe", "socket", "device"])
def test_what_is_no_file_is_named_and_never_waited_for(
    what: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(special(tmp_path, what))
    for words in (
        ["read", path, "-o", str(tmp_path / "o")], ["check", path, str(DESIGN)], ["check", str(DESIGN), path],
        ["layout", path], ["compare", str(DESIGN), path], ["kit", "--kit", path], ["rubric", path],
        ["check", str(DESIGN), str(DESIGN), "--kit", path], ["rules", str(DESIGN), "--book", path],
        ["compare", str(DESIGN), str(DESIGN), "--limits", path],
    ):  # fmt: skip
        assert main(words) in (21, 22), words
        err = capsys.readouterr().err
        assert err.count("\n") == 1 and f"is a {what}" in err and path in err, words


@pytest.mark.skipif(os.name != "posix", reason="a shell of Unix")
@pytest.mark.parametrize("where", [">&-", "2>&-", ">&- 2>&-", "2>/dev/full"])
def test_closed_or_full_streams_leave_the_exit_code(where: str, tmp_path: Path) -> None:
    env = {**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(tmp_path)}
    for words, code in (
        ("kit", 0),
        ("kit --json", 0),
        ("layout none.board", 21),
        ("layout none.board --json", 21),
    ):
        command = f"{sys.executable} -m snapcheck {words} {where}"
        done = subprocess.run(command, shell=True, env=env, stdout=subprocess.DEVNULL, check=False)
        assert done.returncode == code, command
    assert not list(tmp_path.iterdir())
