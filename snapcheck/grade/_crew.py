"""Who does the work: processes of this machine, or a Dask cluster. Answers come in any order."""

from __future__ import annotations

import contextlib
import logging
import multiprocessing
import os
from collections.abc import Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from itertools import islice
from typing import Any, Protocol, TypeVar

from snapcheck.errors import InputError, MissingLibraryError
from snapcheck.grade._work import Job, do, lost
from snapcheck.processes import end_with_parent, limit_memory, one_thread, one_thread_each
from snapcheck.words import speech, tr

J = TypeVar("J", bound=Job)
Answer = dict[str, Any]


class Crew(Protocol):
    """Does jobs; `ships` says that jobs must carry the bytes of their pictures."""

    ships: bool

    def answers(self, jobs: Iterable[J]) -> Iterator[tuple[J, Answer]]:
        """Each job with its answer, as they come."""
        ...

    def close(self) -> None:
        """Send everybody home."""
        ...

    def stop(self) -> None:
        """Send everybody home at once, whatever is in hand."""
        ...


def _logged(answer: Answer) -> Answer:
    """An answer without the details of an unexpected error, which go to the log."""
    details = answer.pop("details", "")
    if details:
        logging.getLogger("snapcheck").error("a worker met an unexpected error\n%s", details)
    return answer


def _start_worker() -> None:
    limit_memory()
    end_with_parent()
    one_thread()


class LocalCrew:
    """Worker processes on this machine.

    A worker that is killed, or hangs for longer than `limit_s`, costs nothing but time: jobs that were in
    hand are tried again one by one, and the one that does it again is answered as failed.

    Args:
        workers: how many; None: one for each core.
        limit_s: seconds without any answer before workers are taken for hanging.
    """

    ships = False

    def __init__(self, workers: int | None = None, limit_s: float = 300.0) -> None:
        self.workers = (
            workers or len(os.sched_getaffinity(0))
            if hasattr(os, "sched_getaffinity")
            else (workers or os.cpu_count() or 1)
        )
        self._limit_s = limit_s
        self._pool: ProcessPoolExecutor | None = None

    def _start(self, workers: int) -> ProcessPoolExecutor:
        pool = ProcessPoolExecutor(
            workers, mp_context=multiprocessing.get_context("spawn"), initializer=_start_worker
        )
        with one_thread_each():
            pool.submit(os.getpid)  # starts all workers
        return pool

    def answers(self, jobs: Iterable[J]) -> Iterator[tuple[J, Answer]]:
        queue = iter(jobs)
        again: list[J] = []
        busy: dict[Future[Answer], J] = {}
        while True:
            try:
                for job in islice(queue, 2 * self.workers - len(busy)):
                    busy[self._submit(job, again)] = job
            except BrokenProcessPool:
                pass  # told by the futures as well
            if not busy and not again:
                return
            if busy:
                done, _ = wait(busy, timeout=self._limit_s, return_when=FIRST_COMPLETED)
                for future in done:
                    job = busy.pop(future)
                    try:
                        yield job, _logged(future.result())
                    except BrokenProcessPool:
                        again.append(job)
                if done and not again:
                    continue
            again += busy.values()
            busy.clear()
            self._kill()
            for job in again:
                yield job, self._alone(job)
            again = []

    def _submit(self, job: J, again: list[J]) -> Future[Answer]:
        try:
            if self._pool is None:  # only now: often there is nothing to do
                self._pool = self._start(self.workers)
            return self._pool.submit(do, job, speech())
        except BrokenProcessPool:
            again.append(job)
            raise

    def _alone(self, job: Job) -> Answer:
        pool = self._pool = self._start(1)
        try:
            return _logged(pool.submit(do, job, speech()).result(timeout=self._limit_s))
        except (BrokenProcessPool, TimeoutError):
            return lost(job)
        finally:
            self._kill()

    def _kill(self) -> None:
        if self._pool is None:
            return
        processes = list((self._pool._processes or {}).values())
        for process in processes:
            with contextlib.suppress(OSError, ValueError):
                process.kill()
        self._pool.shutdown(wait=True, cancel_futures=True)
        self._pool = None

    def close(self) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)
            self._pool = None

    def stop(self) -> None:
        """At once, whatever is in hand."""
        self._kill()


class ClusterCrew:
    """A Dask cluster by its address; a worker that dies is made up for by the others.

    Raises:
        MissingLibraryError: ``distributed`` is not installed.
        InputError: nobody answers at the address.
    """

    ships = True

    def __init__(self, address: str, timeout_s: float = 20.0) -> None:
        try:
            import distributed
        except ModuleNotFoundError:
            raise MissingLibraryError(
                tr("a cluster needs the library 'distributed'."), way_out="pip install 'snapcheck[cluster]'"
            ) from None
        try:
            self._distributed: Any = distributed
            self._client: Any = self._distributed.Client(address, timeout=timeout_s, set_as_default=False)
        except (OSError, ValueError, TimeoutError) as error:
            raise InputError(
                tr("no cluster answers there: {why}.", why=error),
                place=address,
                way_out=tr("Start one with 'dask scheduler' and 'dask worker ADDRESS'."),
            ) from None
        self._address = address
        with self._there():
            self._client.run(one_thread)

    def answers(self, jobs: Iterable[J]) -> Iterator[tuple[J, Answer]]:
        queue = iter(jobs)
        busy: dict[Any, J] = {}
        following = self._distributed.as_completed(loop=self._client.loop)

        def fill() -> None:
            room = 4 * max(sum(self._client.nthreads().values()), 1) - len(busy)
            for job in islice(queue, max(room, 0)):
                future = self._client.submit(do, job, speech(), pure=False, retries=3)
                busy[future.key] = job
                following.add(future)

        with self._there():
            fill()
        while busy:
            with self._there():
                future = next(following)
                if future.status in ("cancelled", "lost"):  # the scheduler went, not the worker at this job
                    raise OSError(tr("its scheduler is gone"))
                job = busy.pop(future.key)
                answer = _logged(future.result()) if future.status == "finished" else lost(job)
            yield job, answer  # kept before anything else can go wrong
            with self._there():
                fill()

    @contextlib.contextmanager
    def _there(self) -> Iterator[None]:
        try:
            yield
        except (OSError, TimeoutError, CancelledError, StopIteration) as error:
            raise InputError(
                tr("the cluster does not answer any more: {why}.", why=str(error) or type(error).__name__),
                place=self._address,
                way_out=tr("Run it again, here or there: what was done is kept."),
            ) from None

    def close(self) -> None:
        with contextlib.suppress(OSError, TimeoutError):
            self._client.close()

    def stop(self) -> None:
        """At once."""
        with contextlib.suppress(OSError, TimeoutError):
            self._client.close(timeout=1)
