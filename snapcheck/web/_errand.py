"""Long work in a process of its own, so that pages go on meanwhile."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from snapcheck.errors import SnapcheckError
from snapcheck.processes import end_with_parent
from snapcheck.words import speech, tr, use_language


@dataclass
class Errand:
    """One kind of long work, done once at a time.

    Attributes:
        state: "", ``working``, ``done`` or ``failed``.
        result: of the last time that it was done.
        error: why it failed, in words.
    """

    state: str = ""
    result: Any = None
    error: str = ""

    def begin(self) -> bool:
        """Whether it may begin now: it is not being done already."""
        if self.state == "working":
            return False
        self.state, self.error = "working", ""
        return True

    def run(self, work: Callable[..., Any], *given: Any) -> None:
        """Do it, and wait for the end: call it in a thread.

        Args:
            work: a function at the top of a module; gives plain values.
            given: what it is given.
        """
        context = multiprocessing.get_context("spawn")
        line, other = context.Pipe(duplex=False)
        process = context.Process(target=_do, args=(work, given, speech(), other))
        process.start()
        other.close()
        try:
            done, answer = line.recv()
        except EOFError:
            done, answer = False, tr("it ended early; --log FILE tells the reason.")
        process.join()
        if done:
            self.result = answer
        else:
            self.error = answer
        self.state = "done" if done else "failed"


def _do(work: Callable[..., Any], given: tuple[Any, ...], spoken: Any, line: Any) -> None:
    """In the other process."""
    end_with_parent()
    use_language(*spoken)
    try:
        line.send((True, work(*given)))
    except SnapcheckError as error:
        line.send((False, str(error)))
