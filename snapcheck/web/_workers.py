"""Processes that open and read photos, so that nothing that a phone sends is decoded in the server itself.

Each has so much memory and so much time; one that takes more is ended, and the next begins afresh.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any

from snapcheck.processes import end_with_parent, limit_memory, one_thread, one_thread_each

#: answers a job; both are plain values
Work = Callable[[dict[str, Any]], dict[str, Any]]


class LostError(Exception):
    """The worker died of a job, or took too long for it."""


class Worker:
    """One process and its job.

    Args:
        work: a function at the top of a module.
        limit_s: seconds for a job.
    """

    def __init__(self, work: Work, limit_s: float) -> None:
        self._work, self._limit_s = work, limit_s
        self._process: Any = None
        self._line: Connection | None = None

    def start(self) -> None:
        """Begin now, so that the first job finds everything loaded."""
        if self._process is not None and self._process.is_alive():
            return
        context = multiprocessing.get_context("spawn")
        self._line, other = context.Pipe()
        with one_thread_each():
            self._process = context.Process(target=_serve, args=(self._work, other), daemon=False)
            self._process.start()
        other.close()

    def do(self, job: dict[str, Any]) -> dict[str, Any]:
        """The answer to a job; waits for it. Raises LostError."""
        self.start()
        assert self._line is not None
        try:
            self._line.send(job)
            if self._line.poll(self._limit_s):
                answer: dict[str, Any] = self._line.recv()
                return answer
        except (EOFError, OSError):
            pass
        self.stop()
        raise LostError

    def stop(self) -> None:
        """At once, whatever is in hand."""
        if self._process is not None:
            with contextlib.suppress(OSError, ValueError):
                self._process.kill()
                self._process.join(5)
            self._process = None
        if self._line is not None:
            self._line.close()
            self._line = None


def _serve(work: Work, line: Connection) -> None:
    """In the worker: one job after the other, until the server hangs up."""
    limit_memory()
    end_with_parent()
    one_thread()
    with contextlib.suppress(OSError, AttributeError):
        os.nice(5)  # pages come first
    while True:
        try:
            job = line.recv()
        except (EOFError, OSError):
            return
        line.send(work(job))
