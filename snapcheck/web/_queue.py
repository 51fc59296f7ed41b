"""The way of a shot from the disk to its answer, and news of it to the pages that watch."""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import AsyncIterator, Sequence
from contextlib import suppress
from typing import Any, Protocol

from snapcheck.errors import SnapcheckError
from snapcheck.web._job import job_of, work
from snapcheck.web._lesson import hand_in_one
from snapcheck.web._plans import Plans
from snapcheck.web._settings import Settings
from snapcheck.web._store import MOST_TRIES, Keep, Shot
from snapcheck.web._workers import LostError, Worker
from snapcheck.words import tr

_LOG = logging.getLogger("snapcheck")
#: seconds between two looks for what is to be deleted
_TIDY_s = 300.0
#: a page that watches is told at least this often that it is still heard
_BEAT_s = 15.0


class Hand(Protocol):
    """Who does the jobs, see `Worker`."""

    def do(self, job: dict[str, Any]) -> dict[str, Any]: ...

    def stop(self) -> None: ...


class News:
    """Who watches a bench, or all of them (None), is told that something changed there."""

    def __init__(self) -> None:
        self._watchers: dict[int | None, set[asyncio.Event]] = {}
        self.closed = False

    def tell(self, bench: int | None) -> None:
        """Something changed at a bench; None: at all of them."""
        everybody = self._watchers if bench is None else (bench, None)
        for who in everybody:
            for event in self._watchers.get(who, ()):
                event.set()

    def close(self) -> None:
        """No more news."""
        self.closed = True
        self.tell(None)

    async def watch(self, bench: int | None) -> AsyncIterator[str]:
        """Server-sent events (HTML Living Standard, 9.2): ``news`` for every change, comments between."""
        event = asyncio.Event()
        self._watchers.setdefault(bench, set()).add(event)
        try:
            yield "retry: 2000\n\nevent: news\ndata: 1\n\n"  # what came while the page was on its way
            while not self.closed:
                try:
                    await asyncio.wait_for(event.wait(), _BEAT_s)
                except TimeoutError:
                    yield ": still here\n\n"
                    continue
                event.clear()
                yield "event: news\ndata: 1\n\n"
                await asyncio.sleep(0.2)  # several changes at once are one piece of news
        finally:
            self._watchers[bench].discard(event)
            if not self._watchers[bench]:
                del self._watchers[bench]


class Queue:
    """Shots are answered in the order in which they came, by as many workers as there are."""

    def __init__(
        self,
        keep: Keep,
        plans: Plans,
        news: News,
        settings: Settings,
        workers: Sequence[Hand] | None = None,
    ) -> None:
        self._keep, self._plans, self._news, self._settings = keep, plans, news, settings
        limit_s = settings.limits.read_s
        self._workers = list(workers or [Worker(work, limit_s) for _ in range(settings.processes)])
        self._come = asyncio.Event()
        self._tasks: list[asyncio.Task[None]] = []
        self.spent_s = 1.5  # a shot, on average, lately

    def start(self) -> None:
        """Go on where the server was ended."""
        again = self._keep.take_up_again()
        if again:
            self._keep.note("server", "taken up again", str(again))
        self._tasks = [asyncio.create_task(self._serve(worker)) for worker in self._workers]
        self._tasks.append(asyncio.create_task(self._tidy()))
        self._come.set()

    async def stop(self) -> None:
        """At once; what is in hand is taken up again at the next start."""
        for task in self._tasks:
            task.cancel()
        for worker in self._workers:
            await asyncio.to_thread(worker.stop)
        for task in self._tasks:
            with suppress(asyncio.CancelledError):
                await task

    def come(self) -> None:
        """There is something to do."""
        self._come.set()

    def wait_s(self, shot: Shot) -> float:
        """About how long until this shot is answered."""
        return self.spent_s * (1 + self._keep.before(shot) // len(self._workers))

    async def _serve(self, worker: Hand) -> None:
        with suppress(LostError):
            await asyncio.to_thread(worker.do, {"warm": True})
        while True:
            shot = self._keep.take()
            if shot is None:
                self._come.clear()
                await self._come.wait()
                continue
            self._news.tell(shot.bench)
            start = time.monotonic()
            try:
                await self._answer(worker, shot)
            except Exception:  # this one is lost, the others are not
                _LOG.exception("a shot could not be answered")
                self._keep.fail(shot.id, "lost")
            self.spent_s += 0.2 * (time.monotonic() - start - self.spent_s)
            self._news.tell(shot.bench)

    async def _answer(self, worker: Hand, shot: Shot) -> None:
        try:
            exercise = self._plans.exercise(shot.task)
        except KeyError:  # another course than when it was sent
            self._keep.fail(shot.id, "no-task")
            return
        photos = self._keep.photos(shot)
        job = job_of(
            exercise, photos, self._keep.flat(shot.id), shot.language,
            reading=shot.reading, words=[line for _, line in shot.words],
            manner=shot.manner,
        )  # fmt: skip
        try:
            answer = await asyncio.to_thread(worker.do, job)
        except LostError:
            self._keep.fail(shot.id, "lost", again=shot.tries + 1 < MOST_TRIES)
            return
        try:
            self._keep.shot(shot.id)
        except KeyError:  # deleted meanwhile
            self._keep.delete_shot(shot.id)
            return
        if "told" in answer:
            if shot.sender and not shot.handed:
                await asyncio.to_thread(self._hand_in, shot)
            self._keep.answer(shot.id, answer["told"], answer.get("reading"))
        elif "refused" in answer:
            self._keep.refuse(shot, str(answer["refused"]))
        else:
            self._keep.fail(shot.id, str(answer["error"]))

    def _hand_in(self, shot: Shot) -> None:
        """What a program sent belongs to a course, now that it can be read."""
        if self._plans.course is None or not shot.student or shot.task in self._plans.given:
            return
        try:
            hand_in_one(self._keep, self._plans, shot, shot.student, "program")
        except (SnapcheckError, OSError) as error:  # it is offered again at the end of the lesson
            self._keep.note("program", "not handed in", str(error))

    async def _tidy(self) -> None:
        while True:
            try:
                gone = self._keep.delete_old(self._settings.keep_h)
                if gone:
                    self._keep.note("server", "photos deleted", str(gone))
                    self._news.tell(None)
            except (OSError, SnapcheckError):
                _LOG.exception("old photos could not be deleted")
            await asyncio.sleep(_TIDY_s)


def error_words(shot: Shot) -> str:
    """Why a shot has no answer."""
    if shot.error == "lost":
        return tr("This photo could not be read: the program gave up on it. Take it again.")
    if shot.error == "no-task":
        return tr("What this photo shows is no task here any more.")
    return shot.error
