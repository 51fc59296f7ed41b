"""Who does the work: processes of this machine, or a Dask cluster. Answers come in any order."""

from __future__ import annotations

import contextlib
import logging
import multiprocessing
import multiprocessing.connection
import os
import signal
import threading
from collections.abc import Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from itertools import islice
from typing import Any, Protocol, TypeVar

from snapcheck.errors import InputError, MissingLibraryError
from snapcheck.grade._work import ONE_THREAD, Job, do, lost, one_thread
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


#: Memory that a worker may have (bytes): twice what the largest picture takes. What asks for more
#: fails at that picture alone, instead of bringing the machine down.
WORKER_BYTES = 2 << 30


def _limit_memory() -> None:
    """Where the system can; Linux counts everything that a process writes to (setrlimit(2), RLIMIT_DATA)."""
    try:
        import resource
    except ImportError:  # Windows
        return
    _, most = resource.getrlimit(resource.RLIMIT_DATA)
    wanted = WORKER_BYTES if most == resource.RLIM_INFINITY else min(WORKER_BYTES, most)
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_DATA, (wanted, most))


def _logged(answer: Answer) -> Answer:
    """An answer without the details of an unexpected error, which go to the log."""
    details = answer.pop("details", "")
    if details:
        logging.getLogger("snapcheck").error("a worker met an unexpected error\n%s", details)
    return answer


def _start_worker() -> None:
    """In a new worker: leave Ctrl-C to the parent, and end when the parent ends, however that happens."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _limit_memory()
    parent = multiprocessing.parent_process()
    if parent is not None:

        def watch(sentinel: int = parent.sentinel) -> None:
            multiprocessing.connection.wait([sentinel])
            os._exit(1)

        threading.Thread(target=watch, daemon=True).start()
    one_thread()


@contextlib.contextmanager
def _one_thread_each() -> Iterator[None]:
    """Processes started meanwhile get libraries that use one thread (most ask once, when they are loaded)."""
    before = {name: os.environ.get(name) for name in ONE_THREAD}
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


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
        with _one_thread_each():
            pool.submit(os.getpid)  # starts all workers
        return pool

    def answers(self, jobs: Iterable[J]) -> Iterator[tuple[J, Answer]]:
        queue = iter(jobs)
        again: list[J] = []
        busy: dict[Future[Answer], J] = {}
        while True:
            if self._pool is None:
                self._pool = self._start(self.workers)
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
        assert self._pool is not None
        try:
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

        fill()
        while busy:
            future = next(following)
            job = busy.pop(future.key)
            answer = _logged(future.result()) if future.status == "finished" else lost(job)
            fill()
            yield job, answer

    def close(self) -> None:
        self._client.close()

    def stop(self) -> None:
        """At once."""
        self._client.close(timeout=1)
