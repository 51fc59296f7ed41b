"""Worker processes that a flaw in a decoder, a full memory or a dead parent cannot turn into trouble."""

from __future__ import annotations

import contextlib
import multiprocessing
import multiprocessing.connection
import os
import signal
import threading
from collections.abc import Iterator

#: Memory that a worker may have (bytes): twice what the largest picture takes. What asks for more
#: fails at that picture alone, instead of bringing the machine down.
WORKER_BYTES = 2 << 30
#: what libraries are told by, so that processes share the cores instead of each taking all
ONE_THREAD = ("SNAPCHECK_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def limit_memory() -> None:
    """Where the system can; Linux counts everything that a process writes to (setrlimit(2), RLIMIT_DATA)."""
    try:
        import resource
    except ImportError:  # Windows
        return
    _, most = resource.getrlimit(resource.RLIMIT_DATA)
    wanted = WORKER_BYTES if most == resource.RLIM_INFINITY else min(WORKER_BYTES, most)
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_DATA, (wanted, most))


def end_with_parent() -> None:
    """In a new worker: leave Ctrl-C to the parent, and end when the parent ends, however that happens."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:

        def watch(sentinel: int = parent.sentinel) -> None:
            multiprocessing.connection.wait([sentinel])
            os._exit(1)

        threading.Thread(target=watch, daemon=True).start()


@contextlib.contextmanager
def one_thread_each() -> Iterator[None]:
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


def one_thread() -> None:
    """Each worker uses one core: results must not depend on how many there are, nor workers be in each
    other's way."""
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
    import cv2

    cv2.setNumThreads(1)
