"""The teacher's desk."""

from __future__ import annotations

import time
from typing import Any

from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from snapcheck.web import _answer as answers
from snapcheck.web._access import TEACHER
from snapcheck.web._board import board_of, mistakes_svg
from snapcheck.web._errand import Errand
from snapcheck.web._find import released
from snapcheck.web._lesson import grade_course, hand_in_all, pieces
from snapcheck.web._notes import note_words
from snapcheck.web._qr import qr_svg
from snapcheck.web._queue import error_words
from snapcheck.web._site import Site, away, moment, number, text
from snapcheck.web._store import Bench
from snapcheck.web._student import class_step
from snapcheck.words import tr


class Desk:
    """What the teacher may ask for.

    Args:
        site: the server.
        address: under which phones find it, such as ``https://192.0.2.7:8420``.
    """

    def __init__(self, site: Site, address: str) -> None:
        self.site, self.address, self.grading = site, address, Errand()

    # ------------------------------------------------------------ entering

    async def page(self, request: Request) -> Response:
        """The board; for a stranger the way in."""
        visitor = self.site.visitor(request)
        if visitor.role != TEACHER:
            return self.site.page("desk-enter", visitor, {"wrong": ""})
        return self.site.page("desk", visitor, self._values())

    async def part(self, request: Request) -> Response:
        """What changes on the board."""
        return self.site.page("desk-part", self.site.teacher(request), self._values())

    async def enter(self, request: Request) -> Response:
        site, visitor = self.site, self.site.visitor(request)
        form = await site.form(request, visitor)
        who = site.who(request)
        wait_s = site.access.phrase_tries.wait_s(who)
        if wait_s:
            return site.refusal(visitor, 429, tr("Too many wrong passphrases. Wait a few minutes."), wait_s)
        site.access.phrase_tries.wrong(who)  # counted before it is looked at: many at once are many
        if not await site.knows_phrase(text(form, "phrase", 200)):
            site.keep.note(who, "wrong passphrase")
            return site.page("desk-enter", visitor, {"wrong": tr("That is not the passphrase.")}, 403)
        site.access.phrase_tries.right(who)
        site.keep.note(who, "desk entered")
        answer = away("/desk")
        site.access.let_in(answer, TEACHER, None, visitor.language)
        return answer

    async def leave(self, request: Request) -> Response:
        visitor = self.site.teacher(request)
        await self.site.form(request, visitor)
        answer = away("/desk")
        self.site.access.let_out(answer, visitor)
        return answer

    # ------------------------------------------------------------ the class

    def _values(self) -> dict[str, Any]:
        site = self.site
        code = site.access.code()
        return {
            "rows": board_of(site),
            "step": class_step(site),
            "steps": [(s, answers.step_words(s)) for s in answers.STEPS],
            "code": code,
            "address": self.address,
            "join": f"{self.address}/join?code={code}" if code else f"{self.address}/join",
            "local": site.settings.local,
            "mistakes": mistakes_svg(site),
            "waiting": site.keep.waiting(),
            "roster": site.plans.course is not None,
            "finding": released(site),
        }

    async def code(self, request: Request) -> Response:
        """Another class code."""
        visitor = self.site.teacher(request)
        await self.site.form(request, visitor)
        self.site.access.new_code()
        self.site.keep.note("desk", "new class code")
        return away("/desk")

    async def qr(self, request: Request) -> Response:
        """The way in for phones, as a picture."""
        self.site.teacher(request)
        return Response(qr_svg(self._values()["join"]), media_type="image/svg+xml")

    async def hints(self, request: Request) -> Response:
        """How much is told to the class, or to one bench."""
        visitor = self.site.teacher(request)
        form = await self.site.form(request, visitor)
        bench = request.path_params.get("bench")
        step = number(form, "step", 0, 3)
        if bench is None:
            if step is None:
                return self.site.refusal(visitor, 422, tr("Choose what the hints tell."))
            self.site.keep.keep("step", str(step))
            self.site.news.tell(None)
            self.site.keep.note("desk", "hints", f"class: {step}")
            return away("/desk")
        self._bench(request)
        self.site.keep.change_bench(bench, step=step, asked=None)
        self.site.keep.note("desk", "hints", f"bench {bench}: {step}")
        self.site.news.tell(bench)
        return away(f"/desk/bench/{bench}")

    # ------------------------------------------------------------ one bench

    def _bench(self, request: Request) -> Bench:
        bench = self.site.keep.bench(request.path_params["bench"])
        if bench is None:
            raise HTTPException(404, tr("Nobody is at this bench."))
        return bench

    async def bench(self, request: Request) -> Response:
        visitor = self.site.teacher(request)
        bench = self._bench(request)
        shots = self.site.keep.shots(bench.number)
        newest = next((s for s in shots if (s.answered or not s.open) and s.task == bench.task), None)
        values = {
            "bench": bench,
            "names": self.site.plans.names(bench.students),
            "exercise": self.site.plans.exercises.get(bench.task),
            "roster": self.site.plans.course is not None,
            "shot": newest,
            "answer": answers.everything(newest) if newest is not None and newest.answered else None,
            "error": "" if newest is None else error_words(newest),
            "shots": [(s, time.strftime("%H:%M", time.localtime(s.at))) for s in shots],
            "steps": [(s, answers.step_words(s)) for s in answers.STEPS],
            "step": bench.step,
        }
        return self.site.page("desk-bench", visitor, values)

    async def wave(self, request: Request) -> Response:
        """A build is let through, with a reason."""
        site, visitor = self.site, self.site.teacher(request)
        form = await site.form(request, visitor)
        bench = self._bench(request)
        shot = next((s for s in site.keep.shots(bench.number) if s.id == text(form, "shot")), None)
        reason = text(form, "reason")
        if shot is None or shot.open or not reason:
            return site.refusal(visitor, 422, tr("A reason is needed."))
        if not shot.told.get("powered") and text(form, "looked") != "yes":
            words = tr(
                "The check objects to powering this build: look at the build itself first, and say so."
            )
            return site.refusal(visitor, 422, words)
        site.keep.change_shot(shot.id, waved=reason)
        site.keep.note("desk", "let through", f"bench {bench.number}: {reason}")
        site.news.tell(bench.number)
        return away(f"/desk/bench/{bench.number}")

    async def students(self, request: Request) -> Response:
        """Who is at a bench."""
        site, visitor = self.site, self.site.teacher(request)
        form = await site.form(request, visitor)
        bench = self._bench(request)
        numbers = [s for s in text(form, "students").replace(" ", ",").split(",") if s]
        for one in numbers:
            if not site.plans.is_student(one):
                words = tr("'{number}' is nobody in the class list.", number=one)
                return site.refusal(visitor, 422, words)
        site.keep.change_bench(bench.number, students=",".join(dict.fromkeys(numbers)))
        site.news.tell(bench.number)
        return away(f"/desk/bench/{bench.number}")

    async def free(self, request: Request) -> Response:
        """A bench is free again: its phones are out, its photos deleted."""
        visitor = self.site.teacher(request)
        await self.site.form(request, visitor)
        bench = self._bench(request)
        self.site.keep.free_bench(bench.number)
        self.site.keep.note("desk", "bench freed", str(bench.number))
        self.site.news.tell(bench.number)
        return away("/desk")

    # ------------------------------------------------------------ the end of the lesson

    async def end(self, request: Request) -> Response:
        visitor = self.site.teacher(request)
        return self._end(request, visitor, "", [])

    def _end(self, request: Request, visitor: Any, told: str, wrong: list[str]) -> Response:
        found, nameless = (
            ([], []) if self.site.plans.course is None else pieces(self.site.keep, self.site.plans)
        )
        values = {
            "pieces": found,
            "nameless": nameless,
            "grading": self.grading,
            "told": told,
            "wrong": wrong,
            "roster": self.site.plans.course is not None,
            "waiting": self.site.keep.waiting(),
        }
        return self.site.page("desk-end", visitor, values)

    async def hand_in(self, request: Request) -> Response:
        """What was built goes into the submissions of the course."""
        visitor = self.site.teacher(request)
        await self.site.form(request, visitor)
        if self.site.plans.course is None:
            return self.site.refusal(visitor, 409, tr("Without a course nothing can be handed in."))
        done, wrong = await run_in_threadpool(hand_in_all, self.site.keep, self.site.plans)
        return self._end(request, visitor, tr("{n} builds were handed in.", n=done), wrong)

    async def grade(self, request: Request) -> Response:
        """Grade the course, as 'snapcheck grade' does."""
        visitor = self.site.teacher(request)
        await self.site.form(request, visitor)
        course = self.site.plans.course
        if course is None:
            return self.site.refusal(visitor, 409, tr("Without a course nothing can be graded."))
        answer = away("/desk/end")
        if self.grading.begin():
            self.site.keep.note("desk", "graded")
            answer.background = BackgroundTask(
                self.grading.run, grade_course, str(course.folder), self.site.settings.processes, False
            )
        return answer

    async def close(self, request: Request) -> Response:
        """The lesson is over: no class code, no phone is in; photos stay for their time."""
        visitor = self.site.teacher(request)
        await self.site.form(request, visitor)
        self.site.keep.keep("code-until", "0")
        self.site.keep.end_sessions("student")
        self.site.keep.note("desk", "lesson closed")
        self.site.news.tell(None)
        return away("/desk")

    async def audit(self, request: Request) -> Response:
        visitor = self.site.teacher(request)
        lines = [
            (moment(at), who, note_words(what), detail) for at, who, what, detail in self.site.keep.notes()
        ]
        return self.site.page("desk-audit", visitor, {"lines": lines})
