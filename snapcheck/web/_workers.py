"""Processes that open and read photos, so that nothing that a phone sends is decoded in the server itself.

Each has so much memory and so much time; one that takes more is ended, and the next begins afresh.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any

from snapcheck.processes import end_with_parent, limit_memory, one_thread, one_thread_each

#: answers a job; both are plain values
Work = Callable[[dict[str, Any]], dict[str, Any]]


class LostError(Exception):
    """The worker died of a job, took too long for it, or was ended for good."""


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
        self._over = False
        self._hold = threading.Lock()  # a job begins in one thread, the server ends in another

    def start(self) -> None:
        """Begin now, so that the first job finds everything loaded; nothing, once it was stopped."""
        with contextlib.suppress(LostError):
            self._begun()

    def do(self, job: dict[str, Any]) -> dict[str, Any]:
        """The answer to a job; waits for it. Raises LostError."""
        line = self._begun()
        try:
            line.send(job)
            if line.poll(self._limit_s):
                answer: dict[str, Any] = line.recv()
                return answer
        except (EOFError, OSError):
            pass
        self._end()
        raise LostError

    def stop(self) -> None:
        """For good and at once, whatever is in hand: what is in hand raises LostError, and so does all that
        comes later. A server that ends would otherwise wait for a process that was about to begin."""
        with self._hold:
            self._over = True
        self._end()

    def _begun(self) -> Connection:
        with self._hold:
            if self._over:
                raise LostError
            if self._line is None or self._process is None or not self._process.is_alive():
                context = multiprocessing.get_context("spawn")
                self._line, other = context.Pipe()
                with one_thread_each(), other:
                    self._process = context.Process(target=_serve, args=(self._work, other), daemon=False)
                    self._process.start()
            return self._line

    def _end(self) -> None:
        with self._hold:
            process, line = self._process, self._line
            self._process = self._line = None
        if process is not None:
            process.kill()
            process.join(5)
        if line is not None:
            line.close()


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
