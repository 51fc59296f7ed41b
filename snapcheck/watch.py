"""What is being done, told to whoever watches, and left off where it is no longer wanted.

Both hold for the thread (and what it starts with its context), as the language does: work deep inside calls
`stop_if_asked`, and nothing has to be handed through.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

from snapcheck.errors import StoppedError
from snapcheck.words import tr

#: takes a few words on what is being done now
Progress = Callable[[str], None]
#: set, or true when called: stop
Cancel = threading.Event | Callable[[], bool]


@dataclass(frozen=True)
class _Watch:
    progress: Progress | None = None
    stop: Callable[[], bool] | None = None


_watch: ContextVar[_Watch] = ContextVar("watch", default=_Watch())  # noqa: B039 (it is immutable)


@contextmanager
def watched(progress: Progress | None = None, cancel: Cancel | None = None) -> Iterator[None]:
    """Within this, `step` tells `progress`, and work stops soon after `cancel` says so (StoppedError).

    What is None stays as it was around it.
    """
    before = _watch.get()
    stop = cancel.is_set if isinstance(cancel, threading.Event) else cancel
    token = _watch.set(_Watch(progress or before.progress, stop or before.stop))
    try:
        yield
    finally:
        _watch.reset(token)


def step(words: str) -> None:
    """Say what is done next. Raises StoppedError."""
    stop_if_asked()
    watch = _watch.get()
    if watch.progress is not None:
        watch.progress(words)


def stop_if_asked() -> None:
    """Raises StoppedError where the work is no longer wanted."""
    stop = _watch.get().stop
    if stop is not None and stop():
        raise StoppedError(tr("stopped, as was asked."))


def stopper() -> Callable[[], bool] | None:
    """What says that the work is no longer wanted, for a thread that looks after this one."""
    return _watch.get().stop
