"""The pages of a bench: for a phone in one hand."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Mapping
from functools import partial
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from snapcheck.web import _answer as answers
from snapcheck.web._access import STUDENT, TEACHER, Visitor
from snapcheck.web._find import released
from snapcheck.web._guard import too_large_words
from snapcheck.web._queue import error_words
from snapcheck.web._site import Site, away, number, text
from snapcheck.web._store import SO_FAR, Bench, Shot
from snapcheck.words import tr

#: shots that are held in memory at the same time, on their way to the disk
_AT_ONCE = 4


class Student:
    """What phones may ask for."""

    def __init__(self, site: Site) -> None:
        self.site = site
        self._few = asyncio.Semaphore(_AT_ONCE)

    # ------------------------------------------------------------ coming and going

    async def home(self, request: Request) -> Response:
        """Where somebody belongs."""
        visitor = self.site.visitor(request)
        if visitor.role == TEACHER:
            return away("/desk")
        return away("/bench" if visitor.role == STUDENT else "/join")

    async def join_page(self, request: Request) -> Response:
        visitor = self.site.visitor(request)
        return self._join_page(visitor, {"code": request.query_params.get("code", "")[:12]})

    def _join_page(
        self, visitor: Visitor, given: Mapping[str, Any], wrong: str = "", status: int = 200
    ) -> Response:
        asked = dict.fromkeys(("code", "bench", "task", "students", "key", "taken"), "")
        values = {
            "given": {**asked, **given},
            "wrong": wrong,
            "exercises": list(self.site.plans.exercises.values()),
            "benches": self.site.settings.benches,
            "roster": self.site.plans.course is not None,
        }
        return self.site.page("join", visitor, values, status)

    async def join(self, request: Request) -> Response:  # noqa: PLR0911
        site, visitor = self.site, self.site.visitor(request)
        form = await site.form(request, visitor)
        given = {name: text(form, name, 80) for name in ("code", "bench", "task", "students", "key")}
        who = site.who(request)
        wait_s = site.access.code_tries.wait_s(who)
        if wait_s:
            return site.refusal(visitor, 429, tr("Too many wrong codes. Wait a few minutes."), wait_s)
        if not site.access.is_code(given["code"]):
            site.access.code_tries.wrong(who)
            site.keep.note(who, "wrong class code")
            wrong = tr("That is not the class code. It stands on the wall or at the desk.")
            return self._join_page(visitor, given, wrong, 403)
        bench = number(form, "bench", 1, site.settings.benches)
        if bench is None:
            wrong = tr("The bench number is 1 to {most}.", most=site.settings.benches)
            return self._join_page(visitor, given, wrong, 422)
        students = [s for s in given["students"].replace(";", ",").replace(" ", ",").split(",") if s]
        for student in students if site.plans.course is not None else ():
            if not site.plans.is_student(student):
                wrong = tr("'{number}' is nobody in the class list.", number=student)
                return self._join_page(visitor, given, wrong, 422)
        there = site.keep.bench(bench)
        if there is not None and visitor.bench != bench:
            if given["key"] != there.key:
                if given["key"]:
                    site.access.code_tries.wrong(who)
                wrong = tr("This bench is taken. Its first phone shows a key of four digits: type it in, "
                           "or ask at the desk.")  # fmt: skip
                return self._join_page(visitor, {**given, "taken": True}, wrong, 409)
            both = dict.fromkeys([*filter(None, there.students.split(",")), *students])
            site.keep.change_bench(bench, students=",".join(both))
        elif there is None:
            if given["task"] not in site.plans.exercises:
                return self._join_page(visitor, given, tr("Choose what you build."), 422)
            site.keep.join_bench(bench, given["task"], ",".join(students), visitor.language)
        site.keep.note(who, "joined", f"bench {bench}")
        site.news.tell(bench)
        answer = away("/bench")
        site.access.let_in(answer, STUDENT, bench, visitor.language)
        return answer

    async def leave(self, request: Request) -> Response:
        visitor = self.site.student(request)
        await self.site.form(request, visitor)
        answer = away("/join")
        self.site.access.let_out(answer, visitor)
        return answer

    # ------------------------------------------------------------ the bench

    async def bench_page(self, request: Request) -> Response:
        visitor = self.site.visitor(request)
        if visitor.role != STUDENT or self._bench(visitor) is None:
            return away("/join")
        return self.site.page("bench", visitor, self._values(visitor))

    async def bench_part(self, request: Request) -> Response:
        """What changes on the page of a bench."""
        visitor = self.site.student(request)
        return self.site.page("bench-part", visitor, self._values(visitor))

    def _bench(self, visitor: Visitor) -> Bench | None:
        return None if visitor.bench is None else self.site.keep.bench(visitor.bench)

    def _values(self, visitor: Visitor) -> dict[str, Any]:
        bench = self._bench(visitor)
        assert bench is not None
        self.site.keep.change_bench(bench.number, seen=time.time())
        shots = [s for s in self.site.keep.shots(bench.number) if s.task == bench.task]
        step = class_step(self.site) if bench.step is None else bench.step
        done = [s for s in shots if s.answered and s.manner == shots[0].manner]
        newest = next((s for s in shots if s.answered or not s.open), None)
        before = done[1] if len(done) > 1 and newest is done[0] else None
        waiting = next((s for s in reversed(shots) if s.open and not s.told), None)
        return {
            "bench": bench,
            "exercise": self.site.plans.exercises.get(bench.task),
            "exercises": list(self.site.plans.exercises.values()),
            "shot": newest,
            "answer": None if newest is None or not newest.answered else answers.seen(newest, step),
            "error": "" if newest is None else error_words(newest),
            "before": before,
            "before_answer": None if before is None else answers.seen(before, step),
            "change": None if before is None or newest is None else answers.change(before, newest),
            "waiting": waiting,
            "waiting_s": None if waiting is None else max(1, round(self.site.queue.wait_s(waiting))),
            "step": step,
            "searching": released(self.site),
            "building": bool(shots) and shots[0].manner == SO_FAR,
        }

    async def task(self, request: Request) -> Response:
        """Something else is built here now."""
        visitor = self.site.student(request)
        form = await self.site.form(request, visitor)
        assert visitor.bench is not None
        if text(form, "task") not in self.site.plans.exercises:
            return self.site.refusal(visitor, 422, tr("Choose what you build."))
        self.site.keep.change_bench(visitor.bench, task=text(form, "task"), asked=None)
        self.site.news.tell(visitor.bench)
        return away("/bench")

    async def ask(self, request: Request) -> Response:
        """Help is wanted."""
        visitor = self.site.student(request)
        await self.site.form(request, visitor)
        assert visitor.bench is not None
        self.site.keep.change_bench(visitor.bench, asked=time.time())
        self.site.news.tell(visitor.bench)
        return away("/bench")

    async def say(self, request: Request) -> Response:
        """An answer to a question that the photo leaves open: the student's word, and marked so."""
        visitor = self.site.student(request)
        form = await self.site.form(request, visitor)
        shots = {s.id: s for s in self.site.keep.shots(visitor.bench or 0)}
        shot = shots.get(text(form, "shot"))
        if shot is None or shot.open:
            return self.site.refusal(
                visitor, 409, tr("This page is too old. Open it again, then send the form.")
            )
        if text(form, "back"):
            words = [w for w in shot.words if w[0] != STUDENT]
        else:
            questions = shot.told.get("questions", [])
            asked = number(form, "question", 0, len(questions) - 1)
            options = [] if asked is None else questions[asked]["options"]
            chosen = number(form, "option", 0, len(options) - 1)
            if chosen is None:
                return self.site.refusal(visitor, 422, tr("Choose one of the answers."))
            words = [*shot.words, (STUDENT, options[chosen]["line"])]
        self.site.keep.say(shot, words)
        self.site.queue.come()
        self.site.news.tell(visitor.bench)
        return away("/bench")

    async def photos(self, request: Request) -> Response:  # noqa: PLR0911
        """A shot: on the disk before it is said to be taken."""
        site, visitor = self.site, self.site.student(request)
        limits = site.settings.limits
        form = await site.form(request, visitor, files=2 * limits.photos)
        try:
            assert visitor.bench is not None
            bench = site.keep.bench(visitor.bench)
            assert bench is not None
            sent = [f for f in form.getlist("photo") if isinstance(f, UploadFile) and (f.size or 0) > 0]
            if not sent:
                return self._not_taken(request, visitor, 422, tr("Choose a photo first."))
            if len(sent) > limits.photos or any((f.size or 0) > limits.photo_bytes for f in sent):
                return self._not_taken(request, visitor, 413, too_large_words(limits))
            if site.keep.waiting(bench.number) >= limits.waiting:
                words = tr("Several of your photos are still being read. Wait for the answer.")
                return self._not_taken(request, visitor, 429, words)
            async with self._few:
                photos = [await f.read() for f in sent]
                if not all(map(is_picture, photos)):
                    return self._not_taken(request, visitor, 415, no_picture_words())
                photos = [*await run_in_threadpool(self._earlier, bench, text(form, "with", 40)), *photos]
                if len(photos) > limits.photos:
                    words = tr("There are enough photos of this build. Say what is there, or begin anew.")
                    return self._not_taken(request, visitor, 413, words)
                manner = SO_FAR if text(form, "building") == "yes" else ""
                add = partial(site.keep.add_shot, manner=manner)
                shot = await run_in_threadpool(add, bench.number, bench.task, visitor.language, photos)
        except OSError:
            return self._not_taken(
                request, visitor, 507, tr("The disk of this server is full. Tell the desk.")
            )
        finally:
            await form.close()
        site.queue.come()
        site.news.tell(bench.number)
        return JSONResponse({"shot": shot.id}) if _by_script(request) else away("/bench")

    def _earlier(self, bench: Bench, shot: str) -> list[bytes]:
        """The photos of a shot that one more photo of the same build adds to."""
        found = [
            s for s in self.site.keep.shots(bench.number) if shot and s.id == shot and s.task == bench.task
        ]
        paths = [path for s in found for path in self.site.keep.photos(s)]
        return [path.read_bytes() for path in paths if path.is_file()]

    def _not_taken(self, request: Request, visitor: Visitor, status: int, words: str) -> Response:
        if _by_script(request):
            return JSONResponse({"words": words}, status)
        return self.site.refusal(visitor, status, words)

    # ------------------------------------------------------------ pictures

    async def picture(self, request: Request) -> Response:
        """The picture from straight above, for its own bench and for the desk."""
        shot = own_shot(self.site, request)
        path = self.site.keep.flat(shot.id)
        if not path.is_file():
            raise HTTPException(404, tr("There is no such picture any more."))
        headers = {"cache-control": "private, max-age=3600"}
        return Response(await run_in_threadpool(path.read_bytes), media_type="image/jpeg", headers=headers)

    async def plan(self, request: Request) -> Response:
        """The drawing of a plan."""
        visitor = self.site.visitor(request)
        exercise = self.site.plans.exercises.get(request.path_params["task"])
        if not visitor.role or exercise is None:
            raise HTTPException(404, tr("There is no such page."))
        return Response(exercise.drawn, media_type="image/svg+xml")


def own_shot(site: Site, request: Request) -> Shot:
    """The shot that a request names. Raises HTTPException: there is none, or it is another bench's, which
    sounds the same."""
    visitor = site.visitor(request)
    try:
        shot = site.keep.shot(request.path_params["shot"])
    except KeyError:
        shot = None
    if shot is None or not (
        visitor.role == TEACHER or (visitor.role == STUDENT and visitor.bench == shot.bench)
    ):
        raise HTTPException(404, tr("There is no such picture any more."))
    return shot


def class_step(site: Site) -> int:
    """Hints that are released to the class; without a course everything, as nobody may be at the desk."""
    usual = "3" if site.plans.course is None else "1"
    return int(site.keep.setting("step", usual))


def is_picture(data: bytes) -> bool:
    """Whether a file begins as one of the kinds that are read: JPEG, PNG, WebP, HEIC."""
    head = data[:12]
    return (
        head.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"))
        or (head[:4] == b"RIFF" and head[8:] == b"WEBP")
        or (head[4:8] == b"ftyp" and head[8:] in (b"heic", b"heix", b"mif1", b"msf1", b"heim", b"heis"))
    )


def no_picture_words() -> str:
    """Why a file was not taken."""
    return tr("This is no photo that can be read: JPEG, PNG, WebP or HEIC.")


def _by_script(request: Request) -> bool:
    return request.headers.get("x-sent-by") == "script"
