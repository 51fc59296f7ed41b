"""Several simulator processes, for work that falls into parts: one for each processor."""

from __future__ import annotations

import contextvars
import os
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any, TypeVar

from snapcheck.simulate._worker import Worker

if TYPE_CHECKING:
    from numpy.typing import NDArray

T = TypeVar("T")

#: more processes than this gain little: what is asked is written and read by one
_MOST = 8
#: with fewer specimens than this a process, starting it takes longer than it saves
_LEAST_EACH = 500


class WorkerCrew:
    """Workers that share out specimens; the others start when there is enough for them.

    Args:
        first: the worker that is there anyway; it stays the caller's.
        size: how many there may be, None: as many as this process may use processors.

    Attributes:
        size: how many there may be.
    """

    def __init__(self, first: Worker, size: int | None = None) -> None:
        self.first = first
        self.size = min(_MOST, size or _processors())
        self._others: list[Worker] = []

    def __enter__(self) -> WorkerCrew:
        return self

    def __exit__(self, *_: object) -> None:
        for worker in self._others:
            worker.close()

    @property
    def workers(self) -> list[Worker]:
        """Those that have been at work."""
        return [self.first, *self._others]

    def _workers(self, wanted: int) -> list[Worker]:
        count = max(1, min(self.size, wanted))
        while len(self._others) < count - 1:
            self._others.append(Worker(self.first.limit_s))
        return [self.first, *self._others[: count - 1]]

    def loop(
        self,
        lines: Sequence[str],
        nodes: frozenset[str],
        analyses: Sequence[tuple[str, Sequence[str]]],
        changes: Sequence[str],
        values: NDArray[Any],
        *,
        limit_s: float | None = None,
    ) -> list[list[Any] | None]:
        """`Worker.loop`, the rows of `values` shared out."""
        workers = self._workers(len(values) // _LEAST_EACH)
        ends = [round(len(values) * i / len(workers)) for i in range(len(workers) + 1)]

        def part(worker: Worker, start: int, end: int) -> list[list[Any] | None]:
            return worker.loop(lines, nodes, analyses, changes, values[start:end], limit_s=limit_s)

        told = _together([_call(part, *job) for job in zip(workers, ends, ends[1:], strict=False)])
        return [answer for answers in told for answer in answers]

    def each(
        self, items: Sequence[T], work: Callable[[T, Worker], Any], tell: Callable[[float], None]
    ) -> list[Any]:
        """`work(item, worker)` for every item, by whichever worker is free.

        Args:
            tell: called with the share that is done.
        """
        found: dict[int, Any] = {}
        left, lock = iter(enumerate(items)), threading.Lock()

        def serve(worker: Worker) -> None:
            while True:
                with lock:
                    number, item = next(left, (None, None))
                if number is None:
                    return
                answer = work(item, worker)  # type: ignore[arg-type]
                with lock:
                    found[number] = answer
                    tell(len(found) / len(items))

        _together([_call(serve, worker) for worker in self._workers(len(items) // 2)])
        return [found[number] for number in range(len(items))]


def _call(work: Callable[..., T], *args: Any) -> Callable[[], T]:
    """The work in the context (language, whether it is still wanted) of the caller."""
    context = contextvars.copy_context()
    return lambda: context.run(work, *args)


def _together(jobs: Sequence[Callable[[], T]]) -> list[T]:
    """All at once, the first of them in this thread; what one raises is raised when all have ended."""
    with ThreadPoolExecutor(max(1, len(jobs) - 1)) as pool:
        others = [pool.submit(job) for job in jobs[1:]]
        first = jobs[0]()
        return [first, *(other.result() for other in others)]


def _processors() -> int:
    """How many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):  # not on every system
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
