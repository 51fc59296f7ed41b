"""The simulator process: what ngspice and PySpice do wrong must not reach an answer."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from snapcheck.errors import MissingLibraryError, SimulationError
from snapcheck.simulate import _library, _worker
from snapcheck.simulate._worker import Worker

DIVIDER = ["v1 n1 0 dc 9", "r1 n1 n2 1000", "r2 n2 0 2000", ".end"]
NODES = frozenset({"n1", "n2"})


def solve(worker: Worker, lines: list[str] = DIVIDER, nodes: frozenset[str] = NODES) -> list[float]:
    (values,) = worker.solve(lines, nodes, [("op", sorted(nodes))])
    return values


@pytest.fixture(scope="module")
def worker():
    with Worker() as one:
        yield one


def test_divider(worker):
    assert solve(worker) == pytest.approx([9.0, 6.0])


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("q1 n1 n2 0 nosuchmodel", "an undefined model"),
        ("x1 n1 n2 nosuch", "an undefined sub-circuit"),
        ("r3 n1 n2 {1+}", "a bad expression"),
        ("r3 n1 n2 abc", "a bad number"),
        (".control", "a control block, which runs shell commands"),
        (".include /etc/passwd", "a file"),
        ("b1 n1 n2 i=v(n1)*sqrt(-1)", "an expression that the writer never makes"),
        ("r3 n1 n2 1000\nquit", "a line break"),
    ],
)
def test_bad_line_is_refused_and_never_answered_with_the_previous_circuit(worker, line, why):
    solve(worker)
    with pytest.raises(SimulationError):
        solve(worker, [*DIVIDER[:-1], line, ".end"])
    assert solve(worker) == pytest.approx([9.0, 6.0]), f"after {why}"


def test_answer_of_another_circuit_is_refused(worker):
    with pytest.raises(SimulationError, match="another circuit"):
        worker.solve(DIVIDER, frozenset({"n1"}), [("op", ["n1"])])
    with pytest.raises(SimulationError, match="another circuit"):
        worker.solve(DIVIDER, frozenset({"n1", "n2", "n3"}), [("op", ["n1"])])


def test_contradictory_sources_have_no_answer(worker):
    with pytest.raises(SimulationError, match="singular"):
        solve(worker, ["v1 n1 0 dc 9", "v2 n1 0 dc 5", "r1 n1 n2 1000", "r2 n2 0 1000", ".end"])


def test_circuit_solved_by_gmin_stepping_is_no_failure(worker):
    # two floating nodes: the matrix is singular until gmin is stepped; ngspice says so on stderr
    lines = ["v1 n1 n2 dc 3", "r1 n1 n2 1000", ".end"]
    n1, n2 = solve(worker, lines)
    assert n1 - n2 == pytest.approx(3.0)


@pytest.mark.parametrize("command", ["quit", "shell touch x", "op; quit", "source x.cir", "tran 1e-6"])
def test_commands_outside_the_grammar_are_refused(worker, command):
    with pytest.raises(SimulationError, match="not one of"):
        worker.solve(DIVIDER, NODES, [(command, ["n1"])])


def test_alter_outside_the_grammar_is_refused(worker):
    import numpy as np

    with pytest.raises(SimulationError, match="not one of"):
        worker.loop(DIVIDER, NODES, [("op", ["n2"])], ["alter r1 = 5; quit #"], np.ones((2, 1)))


def test_loop_alters_one_loaded_circuit(worker):
    import numpy as np

    ohms = np.array([[1000.0, 2000.0], [2000.0, 2000.0], [1000.0, 8000.0]])
    samples = worker.loop(DIVIDER, NODES, [("op", ["n2"])], ["alter r1 =", "alter r2 ="], ohms)
    assert [sample[0][0] for sample in samples] == pytest.approx([6.0, 4.5, 8.0])


def test_time_limit_kills_and_the_next_question_starts_afresh():
    with Worker() as worker:
        solve(worker)
        first = worker.pid
        with pytest.raises(SimulationError, match="took longer than"):
            worker.solve(DIVIDER, NODES, [("tran 1e-09 100 0 1e-09", ["n2"])], limit_s=0.5)
        assert solve(worker) == pytest.approx([9.0, 6.0])
        assert worker.starts == 2 and worker.pid != first


def test_death_of_the_process_is_told_and_survived():
    with Worker() as worker:
        solve(worker)
        os.kill(worker.pid, signal.SIGKILL)
        time.sleep(0.1)
        assert solve(worker) == pytest.approx([9.0, 6.0])
        assert worker.starts == 2


def running(pid: int) -> bool:
    """Whether the process is there and not merely waiting to be counted as dead."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc")
@pytest.mark.parametrize("busy", [False, True])
def test_child_ends_with_a_parent_that_is_killed(busy):
    """Also in the middle of a calculation that would take for ever."""
    analyses = [("op", ["n2"]), *[("tran 1e-09 100 0 1e-09", ["n2"])] * busy]
    code = (
        "import sys; from snapcheck.simulate._worker import Worker; worker = Worker(1000)\n"
        f"worker.solve({DIVIDER!r}, {NODES!r}, [('op', ['n2'])]); print(worker.pid, flush=True)\n"
        f"worker.solve({DIVIDER!r}, {NODES!r}, {analyses!r}); sys.stdin.read()"
    )
    parent = subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert parent.stdout is not None
    pid = int(parent.stdout.readline())
    try:
        time.sleep(0.5)  # into the calculation
        parent.kill()
        parent.wait()
        until = time.monotonic() + 60
        while running(pid) and time.monotonic() < until:
            time.sleep(0.05)
        assert not running(pid)
    finally:
        for stream in (parent.stdin, parent.stdout):
            stream.close()
        if running(pid):
            os.kill(pid, signal.SIGKILL)


def test_child_leaves_and_needs_no_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    with Worker() as worker:
        assert solve(worker) == pytest.approx([9.0, 6.0])
        assert not list(tmp_path.iterdir())
    assert not list(tmp_path.iterdir())


def test_controlled_exit_of_ngspice_restarts_it(monkeypatch):
    # let the child accept the command that makes ngspice ask for its own unloading
    start = (
        "import sys; sys.path[:] = {path!r}; import re; from snapcheck.simulate import _child; "
        "_child._COMMAND = re.compile('.*'); _child.main({library!r})"
    )
    monkeypatch.setattr(_worker, "_START", start)
    with Worker() as worker:
        solve(worker)
        with pytest.raises(SimulationError, match="gave up"):
            worker.solve(DIVIDER, NODES, [("quit", ["n1"])])
        assert solve(worker) == pytest.approx([9.0, 6.0])
        assert worker.starts == 2


def test_threads_share_one_worker():
    wrong = []
    with Worker() as worker:

        def ask(ohm: int) -> None:
            for _ in range(40):
                lines = ["v1 n1 0 dc 9", f"r1 n1 n2 {ohm}", "r2 n2 0 1000", ".end"]
                if abs(solve(worker, lines)[1] - 9000 / (1000 + ohm)) > 1e-6:
                    wrong.append(ohm)

        threads = [threading.Thread(target=ask, args=(1000 * k,)) for k in range(1, 6)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert worker.starts == 1
    assert not wrong


def test_startup_file_of_the_user_is_not_read(tmp_path, monkeypatch):
    (tmp_path / ".spiceinit").write_text("quit\n")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    with Worker() as worker:
        assert solve(worker) == pytest.approx([9.0, 6.0])


def test_library_that_is_not_there_is_told_with_the_one_command(monkeypatch):
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", "/nowhere/libngspice.so.0")
    with Worker() as worker, pytest.raises(MissingLibraryError) as caught:
        solve(worker)
    assert _library.INSTALL_COMMAND[_library.platform_key()] in str(caught.value)
    assert caught.value.exit_code == 25


@pytest.mark.parametrize(
    ("platform", "command", "name"),
    [
        ("linux", "sudo apt install libngspice0", "libngspice.so.0"),
        ("darwin", "brew install libngspice", "libngspice.dylib"),
        ("win32", "pyspice-post-installation --install-ngspice-dll", "ngspice.dll"),
        ("freebsd13", "sudo apt install libngspice0", "libngspice.so.0"),
    ],
)
def test_every_platform_has_its_file_name_and_its_command(platform, command, name, monkeypatch):
    monkeypatch.delenv("NGSPICE_LIBRARY_PATH", raising=False)
    assert name in _library.candidates(platform)
    assert command in _library.missing(platform).way_out


def test_pyspice_that_is_not_there_is_told(tmp_path, monkeypatch):
    package = tmp_path / "PySpice"
    package.mkdir()
    (package / "__init__.py").write_text("raise ImportError(\"No module named 'PySpice'\")\n")
    monkeypatch.setattr(sys, "path", [str(tmp_path), *sys.path])
    with Worker() as worker, pytest.raises(MissingLibraryError, match="pip install"):
        solve(worker)
