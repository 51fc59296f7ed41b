"""The child process: PySpice over the ngspice library, one circuit at a time, nothing kept between.

Runs as ``python -c "...; main()"`` with requests on its standard input and replies on a private
copy of its standard output. It dies at once when ngspice asks to exit (the parent starts another) and
when the parent is gone.

What is guarded here, and why (ngspice 39, PySpice 1.5):
 - a failed load leaves the previous circuit in place: it is removed first, and the answer's node
   set must be the netlist's;
 - every stderr line raises in PySpice although gmin stepping is no failure: only the answer decides;
 - plots and circuits are never freed by themselves: both are cleared before each load;
 - ``.control``, ``quit`` and expressions can run commands or wreck the next load: lines and
   commands are held against a short grammar before they reach the library.
"""

from __future__ import annotations

import logging
import math
import os
import pickle
import re
import struct
import sys
import threading
from collections.abc import Sequence
from itertools import accumulate
from pathlib import Path
from queue import SimpleQueue
from typing import Any, BinaryIO

import numpy

_NUMBER = r"[-+]?[0-9]*\.?[0-9]+(?:e[-+]?[0-9]+)?"
_NODE = r"[a-z0-9]+"
#: the only expressions: voltages, currents and numbers, joined by these signs and functions
_EXPRESSION = rf"(?:{_NUMBER}|v\({_NODE}(?:,{_NODE})?\)|i\({_NODE}\)|tanh|max|min|pow|[-+*/(),])+"
#: element lines, models and options that the netlist writer uses; nothing else may reach the library
_LINE = re.compile(
    r"(?:\.model [a-z0-9_]+ [a-z]+\([a-z0-9_=.+\- ]*\)"
    r"|\.options [a-z0-9_=.+\- ]+"
    r"|\.(?:ic|nodeset)(?: v\([a-z0-9_]+\)=[-+0-9.e]+)+"
    r"|\.save all(?: @[a-z0-9_]+\[[a-z0-9]+\])*"
    r"|\.end"
    rf"|b[a-z0-9]+ {_NODE} {_NODE} i={_EXPRESSION}"
    r"|[rclvidqjmsegk][a-z0-9_]+ [a-z0-9_=.+\-() ]+)"
)
_COMMAND = re.compile(
    rf"(?:op|ac (?:dec|lin) [0-9]+ {_NUMBER} {_NUMBER}|tran {_NUMBER} {_NUMBER} {_NUMBER} {_NUMBER}(?: uic)?)"
)
_CHANGE = re.compile(r"alter [rclv][a-z0-9]+ =|altermod [a-z0-9]+ [a-z0-9]+ =")

_TELLING = re.compile("error|singular|converge|fatal|too small", re.I)

#: ngspice keeps every command for its history unless told to forget (PySpice does the same)
_COMMANDS_UNTIL_FORGET = 10_000
#: ngspice cuts longer command lines
_LONGEST_COMMAND = 1000

_HEAD = struct.Struct("<Q")


class Refused(Exception):
    """The request cannot be answered; the text says why."""


def _send(stream: BinaryIO, reply: object) -> None:
    data = pickle.dumps(reply, protocol=5)
    stream.write(_HEAD.pack(len(data)) + data)
    stream.flush()


def _receive(stream: BinaryIO) -> Any:
    head = stream.read(_HEAD.size)
    if len(head) < _HEAD.size:
        return None
    (size,) = _HEAD.unpack(head)
    data = stream.read(size)
    return pickle.loads(data) if len(data) == size else None


class _Engine:
    """One loaded ngspice library."""

    def __init__(self, library: str, replies: BinaryIO) -> None:
        os.environ["NGSPICE_LIBRARY_PATH"] = library
        logging.disable(logging.CRITICAL)  # PySpice logs every stderr line of ngspice
        from PySpice.Spice.NgSpice import Shared  # type: ignore[import-untyped]

        self._numpy = numpy
        self._ffi = Shared.ffi
        self._said: list[str] = []
        Shared.NgSpiceShared.LIBRARY_PATH = library

        ffi, said = self._ffi, self._said

        class Spice(Shared.NgSpiceShared):  # type: ignore[misc]
            @staticmethod
            def _send_char(text: Any, *_: object) -> int:
                """PySpice's own takes 20 µs a line and makes an error of every stderr line."""
                said.append(ffi.string(text).decode("latin-1"))
                return 0

            @staticmethod
            def _exit(status: int, *_: object) -> int:
                """ngspice asks to be unloaded; its state is not to be trusted any more."""
                _send(replies, ("exit", f"ngspice gave up (status {status})"))
                os._exit(70)

        self._spice = Spice.new_instance()
        self._api = self._spice._ngspice_shared
        self._commands = 0
        self._seen_plot = b""
        self._command("set noaskquit")
        self._command("set nomoremode")

    @property
    def version(self) -> str:
        self._said.clear()
        self._command("version")
        found = re.search(r"ngspice-([0-9.]+)", " ".join(self._said))
        return found[1] if found else ""

    def _command(self, text: str) -> None:
        self._commands += 1
        if self._commands > _COMMANDS_UNTIL_FORGET:
            self._api.ngSpice_Command(self._ffi.NULL)
            self._commands = 0
        self._api.ngSpice_Command(text.encode("ascii"))

    def _clear(self) -> None:
        self._command("destroy all")
        self._command("remcirc")
        self._said.clear()
        self._seen_plot = b""  # plot numbers start again after "destroy all"

    def load(self, lines: Sequence[str]) -> None:
        """Raises Refused when a line is not of the grammar or ngspice does not take the circuit."""
        for line in lines:
            if not _LINE.fullmatch(line):
                raise Refused(f"the line {line!r} is not one that the netlist writer makes")
        self._clear()
        texts = ["snapcheck", *lines, ""]
        whole = self._ffi.new("char[]", "\0".join(texts).encode("ascii"))
        starts = accumulate((len(text) + 1 for text in texts[:-1]), initial=0)
        pointers = [*(whole + start for start in starts), self._ffi.NULL]
        if self._api.ngSpice_Circ(self._ffi.new("char *[]", pointers)):
            raise Refused(self._complaint())

    def _complaint(self) -> str:
        telling = [line.partition(" ")[2].strip() for line in self._said if _TELLING.search(line)]
        return "; ".join(dict.fromkeys(telling)) or "ngspice gave no answer"

    def run(self, command: str, nodes: frozenset[str]) -> bytes:
        """Run one analysis; returns the name of its new plot after checking that it is this circuit's."""
        if not _COMMAND.fullmatch(command):
            raise Refused(f"the analysis {command!r} is not one of op, ac, tran")
        plot = self.rerun(command)
        names = self._names(plot)
        have = {name[2:-1] if name.startswith("V(") else name for name in names if "#" not in name}
        have -= {"time", "frequency"}
        if not nodes <= have or any(name[0] == "n" and name not in nodes for name in have):
            raise Refused("the answer belongs to another circuit")
        return plot

    def rerun(self, command: str) -> bytes:
        """Run one analysis of the circuit that the last `run` has checked; its plot must be new."""
        self._command(command)
        plot = bytes(self._ffi.string(self._api.ngSpice_CurPlot()))
        if plot == self._seen_plot or not plot.startswith(command.split(" ", 1)[0].encode()):
            raise Refused(self._complaint())
        self._seen_plot = plot
        return plot

    def forget(self) -> None:
        """Free the answers so far."""
        self._command("destroy all")
        self._said.clear()
        self._seen_plot = b""

    def _names(self, plot: bytes) -> list[str]:
        array = self._api.ngSpice_AllVecs(plot)
        names = []
        i = 0
        while array[i] != self._ffi.NULL:
            names.append(self._ffi.string(array[i]).decode("latin-1"))
            i += 1
        return names

    def vector(self, name: str) -> Any:
        """One vector of the current plot, real or complex."""
        info = self._api.ngGet_Vec_Info(name.encode("ascii"))
        if info == self._ffi.NULL or info.v_length < 1:
            raise Refused(f"no values for {name}; {self._complaint()}")
        numpy = self._numpy
        if info.v_compdata != self._ffi.NULL:
            raw = self._ffi.buffer(info.v_compdata, info.v_length * 16)
            return numpy.frombuffer(raw, dtype=numpy.complex128).copy()
        return numpy.frombuffer(
            self._ffi.buffer(info.v_realdata, info.v_length * 8), dtype=numpy.float64
        ).copy()

    def scalars(self, names: Sequence[bytes]) -> list[float]:
        """First value of each vector of the current plot."""
        get, null = self._api.ngGet_Vec_Info, self._ffi.NULL
        values = []
        for name in names:
            info = get(name)
            if info == null or info.v_length < 1:
                raise Refused(f"no value for {name.decode()}; {self._complaint()}")
            values.append(info.v_realdata[0])
        return values

    def alter(self, commands: Sequence[str]) -> None:
        """Change values in the loaded circuit, many to a command line."""
        batch: list[str] = []
        length = 0
        for command in commands:
            if length + len(command) + 1 > _LONGEST_COMMAND:
                self._command(";".join(batch))
                batch, length = [], 0
            batch.append(command)
            length += len(command) + 1
        if batch:
            self._command(";".join(batch))


def _solve(engine: _Engine, request: dict[str, Any]) -> object:
    """Load once, run each analysis; per analysis a dict of arrays (``op``: a list of floats)."""
    nodes: frozenset[str] = request["nodes"]
    engine.load(request["lines"])
    answers: list[object] = []
    for command, wanted in request["analyses"]:
        engine.run(command, nodes)
        if command == "op":
            answers.append(engine.scalars([name.encode("ascii") for name in wanted]))
        else:
            answers.append({name: engine.vector(name) for name in wanted})
    return answers


def _loop(engine: _Engine, request: dict[str, Any]) -> object:
    """Load once; per sample alter values and run each analysis. None for a sample that has no answer.

    A number that is none (NaN) leaves its value as it is. ``first``: analyses for the first sample alone.
    """
    nodes: frozenset[str] = request["nodes"]
    changes: list[str] = request["changes"]
    for change in changes:
        if not _CHANGE.fullmatch(change):
            raise Refused(f"the change {change!r} is not one of alter, altermod")
    engine.load(request["lines"])
    wanted = [(command, [name.encode("ascii") for name in names]) for command, names in request["analyses"]]
    alone = [(command, [name.encode("ascii") for name in names]) for command, names in request["first"]]
    samples: list[list[object] | None] = []
    first = True
    for row in request["values"].tolist():
        pairs = zip(changes, row, strict=True)
        engine.alter([f"{change} {value:.9g}" for change, value in pairs if not math.isnan(value)])
        answers: list[object] = []
        try:
            for command, names in [*wanted, *(alone if first else ())]:
                if first:
                    engine.run(command, nodes)
                else:
                    engine.rerun(command)
                if command == "op":
                    answers.append(engine.scalars(names))
                else:
                    answers.append({name.decode(): engine.vector(name.decode()) for name in names})
            samples.append(answers)
        except Refused:
            samples.append(None)
        first = False
        engine.forget()
    return samples


def _answer(engine: _Engine, request: dict[str, Any]) -> tuple[str, object]:
    try:
        work = {"solve": _solve, "loop": _loop}[request["work"]]
        return ("done", work(engine, request))
    except Refused as why:
        return ("refused", str(why))


def main(library: str) -> None:
    """Serve requests until standard input closes; does not return."""
    requests = sys.stdin.buffer
    replies = os.fdopen(os.dup(1), "wb")
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)  # ngspice prints on its own
    os.dup2(nowhere, 2)
    # ngspice reads .spiceinit from the current folder and from HOME: start it in ours, which has none
    ours = str(Path(__file__).parent)
    os.environ["HOME"] = os.environ["USERPROFILE"] = ours
    os.chdir(ours)
    waiting = _waiting(requests)
    try:
        engine = _Engine(library, replies)
    except (ImportError, OSError) as error:
        _send(replies, ("missing", f"{type(error).__name__}: {error}"))
        return
    _send(replies, ("ready", engine.version))
    while True:
        _send(replies, _answer(engine, waiting.get()))


def _waiting(requests: BinaryIO) -> SimpleQueue[Any]:
    """The requests as they come. They are read beside the work, so that the end of the parent, which closes
    the pipe however it came about, also ends a calculation that would never end by itself."""
    waiting: SimpleQueue[Any] = SimpleQueue()

    def read() -> None:
        try:
            while (request := _receive(requests)) is not None:
                waiting.put(request)
        finally:
            os._exit(0)

    threading.Thread(target=read, name="snapcheck-requests", daemon=True).start()
    return waiting
