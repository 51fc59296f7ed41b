"""The parent's side of the simulator process: start, ask with a time limit, kill, start again."""

from __future__ import annotations

import contextlib
import hashlib
import pickle
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from snapcheck.errors import MissingLibraryError, SimulationError
from snapcheck.simulate import _library
from snapcheck.watch import stop_if_asked, stopper
from snapcheck.words import tr

if TYPE_CHECKING:
    from numpy.typing import NDArray

_HEAD = struct.Struct("<Q")
_START = "import sys; sys.path[:] = {path!r}; from snapcheck.simulate._child import main; main({library!r})"

_WATCH_PERIOD_s = 0.1
#: points of rest that are kept, of 1 to 3 kB each
_ANSWERS_KEPT = 4000
#: seconds for the child to import PySpice and load the library
_START_LIMIT_s = 60.0


class _Stopped(Exception):
    """The child is gone; `code` is its exit status, or None when it was killed for taking too long, or as its
    answer is no longer wanted."""

    def __init__(self, code: int | None) -> None:
        super().__init__(code)
        self.code = code


class Worker:
    """One child process that owns the ngspice library.

    Safe to share between threads (one question at a time). After a time-out, a crash or a
    controlled exit of ngspice the next question starts a fresh child.

    Args:
        limit_s: seconds that one question may take.

    Attributes:
        starts: children so far.
        failures: questions at which a child was lost.
    """

    def __init__(self, limit_s: float = 30.0) -> None:
        self.limit_s = limit_s
        self.starts = 0
        self.failures = 0
        self._process: subprocess.Popen[bytes] | None = None
        self._lock = threading.Lock()
        self._version = ""
        self._answered: dict[bytes, list[Any]] = {}

    @property
    def version(self) -> str:
        """Version of ngspice, "" before the first question."""
        return self._version

    @property
    def pid(self) -> int | None:
        """Process number of the child, None while there is none."""
        return None if self._process is None else self._process.pid

    def solve(
        self,
        lines: Sequence[str],
        nodes: frozenset[str],
        analyses: Sequence[tuple[str, Sequence[str]]],
        *,
        limit_s: float | None = None,
    ) -> list[Any]:
        """Load a netlist and run its analyses.

        Args:
            lines: netlist lines without title, ending in ``.end``.
            nodes: every node name of the netlist but 0.
            analyses: (ngspice command, vector names wanted) each.

        Returns:
            Per analysis: for ``op`` a list of floats in the order wanted, else a dict of arrays.

        Raises:
            SimulationError: no answer; the message says why.
            MissingLibraryError: ngspice or PySpice is not installed.
        """
        request = {"work": "solve", "lines": list(lines), "nodes": nodes, "analyses": list(analyses)}
        answers: list[Any] = self._ask(request, limit_s or self.limit_s)
        return answers

    def solve_once(
        self, lines: Sequence[str], nodes: frozenset[str], analyses: Sequence[tuple[str, Sequence[str]]]
    ) -> list[Any]:
        """`solve`, the last answers kept: for points of rest, which are short and asked for again and again.

        A photo's choices often differ in what no current reaches, and a knob in what nothing feels.
        """
        whole = hashlib.blake2b(repr((lines, sorted(nodes), analyses)).encode(), digest_size=16).digest()
        answers = self._answered.pop(whole, None)
        if answers is None:
            answers = self.solve(lines, nodes, analyses)
        self._answered[whole] = answers  # the last one is the newest
        if len(self._answered) > _ANSWERS_KEPT:
            self._answered.pop(next(iter(self._answered)), None)
        return list(answers)

    def loop(
        self,
        lines: Sequence[str],
        nodes: frozenset[str],
        analyses: Sequence[tuple[str, Sequence[str]]],
        changes: Sequence[str],
        values: NDArray[Any],
        *,
        first: Sequence[tuple[str, Sequence[str]]] = (),
        limit_s: float | None = None,
    ) -> list[list[Any] | None]:
        """Load once; for each row of `values` change the loaded circuit and run the analyses.

        Args:
            changes: ngspice commands up to the number, such as ``alter r7 =``.
            values: shape (samples, changes), the numbers; NaN leaves a value as it is.
            first: analyses that are run for the first row alone.

        Returns:
            Per sample what `solve` returns, or None where ngspice found no answer.
        """
        request = {
            "work": "loop",
            "lines": list(lines),
            "nodes": nodes,
            "analyses": list(analyses),
            "changes": list(changes),
            "values": values,
            "first": list(first),
        }
        samples: list[list[Any] | None] = self._ask(request, limit_s or self.limit_s)
        return samples

    def close(self) -> None:
        """Stop the child, if there is one."""
        with self._lock:
            self._stop()

    def __enter__(self) -> Worker:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _ask(self, request: dict[str, Any], limit_s: float) -> Any:
        stop_if_asked()
        with self._lock:
            try:
                if self._process is None or self._process.poll() is not None:
                    self._start()
                tag, reply = self._exchange(request, limit_s)
            except _Stopped as stopped:
                self.failures += 1
                self._stop()
                stop_if_asked()
                raise SimulationError(
                    tr("the simulator took longer than {limit:g} s and was stopped.", limit=limit_s)
                    if stopped.code is None
                    else tr("the simulator stopped unexpectedly (status {code}).", code=stopped.code),
                    way_out=tr("The next circuit starts a fresh one; check this board's wiring first."),
                ) from None
            except BaseException:  # interrupted between question and reply: the pipe is out of step
                self._stop()
                raise
            if tag == "exit":
                self.failures += 1
                self._stop()
        if tag == "done":
            return reply
        raise SimulationError(
            tr("ngspice finds no answer for this circuit ({why}).", why=reply),
            way_out=tr("Run the rule checks: they name parts that short, float or exceed their ratings."),
        )

    def _start(self) -> None:
        self._stop()
        library = _library.find_library()
        code = _START.format(path=sys.path, library=library)
        self._process = subprocess.Popen(
            [sys.executable, "-c", code],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        self.starts += 1
        tag, reply = self._exchange(None, _START_LIMIT_s)
        if tag == "missing":
            self._stop()
            if "PySpice" in reply or "cffi" in reply:
                raise MissingLibraryError(
                    tr("PySpice is not installed, so nothing can be simulated ({why}).", why=reply),
                    way_out=tr("Install it with: pip install 'snapcheck[simulate]'"),
                )
            raise _library.missing()
        self._version = reply

    def _stop(self) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        process.kill()
        for stream in (process.stdin, process.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()
        process.wait()

    def _exchange(self, request: object, limit_s: float) -> tuple[str, Any]:
        """Write the request (None: nothing), read one reply; a watchdog kills the child at the limit."""
        process = self._process
        assert process is not None and process.stdin is not None and process.stdout is not None
        late = threading.Event()

        with _Watchdog(process, limit_s, late):
            try:
                if request is not None:
                    data = pickle.dumps(request, protocol=5)
                    process.stdin.write(_HEAD.pack(len(data)) + data)
                    process.stdin.flush()
                head = process.stdout.read(_HEAD.size)
                if len(head) == _HEAD.size:
                    (size,) = _HEAD.unpack(head)
                    data = process.stdout.read(size)
                    if len(data) == size:
                        tag, reply = pickle.loads(data)
                        return tag, reply
            except OSError:
                pass
        raise _Stopped(None if late.is_set() else process.wait())


@dataclass(frozen=True, eq=False)
class _Watched:
    until: float
    process: subprocess.Popen[bytes]
    late: threading.Event
    stop: Callable[[], bool] | None

    def unwanted(self) -> bool:
        """Whether the caller wants no answer; where its own function fails, it is told so in its thread."""
        try:
            return self.stop is not None and self.stop()
        except Exception:
            return True


class _Watchdog:
    """Kills a process that is still at work when the limit has passed, or its answer is no longer wanted.

    One thread serves all: starting a timer thread a question would cost more than the question.
    """

    _lock = threading.Lock()
    _thread: threading.Thread | None = None
    _watched: dict[int, _Watched] = {}  # noqa: RUF012

    def __init__(self, process: subprocess.Popen[bytes], limit_s: float, late: threading.Event) -> None:
        self._entry = _Watched(time.monotonic() + limit_s, process, late, stopper())

    def __enter__(self) -> None:
        cls = _Watchdog
        with cls._lock:
            cls._watched[id(self)] = self._entry
            if cls._thread is None or not cls._thread.is_alive():
                cls._thread = threading.Thread(target=cls._watch, name="snapcheck-watchdog", daemon=True)
                cls._thread.start()

    def __exit__(self, *_: object) -> None:
        with _Watchdog._lock:
            _Watchdog._watched.pop(id(self), None)

    @classmethod
    def _watch(cls) -> None:
        while True:
            time.sleep(_WATCH_PERIOD_s)
            with cls._lock:
                watched = list(cls._watched.items())
            for key, entry in watched:
                if entry.late.is_set() or not (time.monotonic() > entry.until or entry.unwanted()):
                    continue
                with cls._lock:
                    if cls._watched.get(key) is entry:  # else it has answered meanwhile
                        entry.late.set()
                        entry.process.kill()
