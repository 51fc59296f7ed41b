"""What programs may ask for, in JSON, with a token: the same rules of access as for people."""

from __future__ import annotations

import asyncio
import json
import tempfile
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from snapcheck import api
from snapcheck.errors import SnapcheckError
from snapcheck.web import _answer as answers
from snapcheck.web._desk import Desk
from snapcheck.web._errand import Errand
from snapcheck.web._guard import too_large_words
from snapcheck.web._lesson import grade_course
from snapcheck.web._openapi import (
    MOST_BY,
    MOST_CHOICE,
    MOST_REASON,
    OPERATIONS,
    PICTURES,
    SCHEMAS,
    description,
)
from snapcheck.web._queue import error_words
from snapcheck.web._review import ReviewDesk, look, place_id
from snapcheck.web._site import Site
from snapcheck.web._store import NO_BENCH, Shot
from snapcheck.web._student import class_step, is_picture, no_picture_words
from snapcheck.web._tokens import TEACHER, Token
from snapcheck.words import tr

#: photos that are held in memory at the same time, on their way to the disk; larger ones wait on it
_AT_ONCE, _IN_MEMORY = 4, 500_000

Answers = Callable[[Request, Token], Awaitable[Response]]


class Programs:
    """What a token opens.

    Args:
        site: the server.
        desk, review: where the teacher's long work is done, so that nothing is done twice.
    """

    def __init__(self, site: Site, desk: Desk, review: ReviewDesk) -> None:
        self.site, self._desk, self._review = site, desk, review
        self._few = asyncio.Semaphore(_AT_ONCE)

    def routes(self) -> list[Route]:
        """Every address of `OPERATIONS`."""
        return [
            Route(one.path, self._behind(one.scope, getattr(self, one.name)), methods=[one.method])
            for one in OPERATIONS
        ]

    def _behind(self, scope: str, answer: Answers) -> Callable[[Request], Awaitable[Response]]:
        async def asked(request: Request) -> Response:
            self.site.program(request)  # the language that it asks for
            return await answer(request, self._token(request, scope) if scope else NOBODY)

        return asked

    def _token(self, request: Request, scope: str) -> Token:
        """The token of a request. Raises HTTPException."""
        tokens, who = self.site.tokens, self.site.who(request)
        kind, _, given = request.headers.get("authorization", "").partition(" ")
        challenge = {"www-authenticate": "Bearer"}
        if kind.casefold() != "bearer" or not given.strip():
            raise HTTPException(401, tr("A token is needed: authorization: Bearer …"), challenge)
        wait_s = tokens.tries.wait_s(who)
        if wait_s:
            raise HTTPException(429, tr("Too many wrong tokens. Wait a few minutes."), _after(wait_s))
        token = tokens.of(given.strip())
        if token is None:
            tokens.tries.wrong(who)
            self.site.keep.note(who, "wrong token")
            raise HTTPException(401, tr("This token does not hold here."), challenge)
        wait_s = tokens.wait_s(token)
        if wait_s:
            raise HTTPException(429, tr("This program asks too often. Wait a little."), _after(wait_s))
        if scope == TEACHER and token.scope != TEACHER:
            raise HTTPException(403, tr("This token is for handing in alone."))
        return token

    # ------------------------------------------------------------ photos

    async def describe(self, request: Request, token: Token) -> Response:
        return JSONResponse(description(self.site.settings.limits, self.site.settings.tls))

    async def tasks(self, request: Request, token: Token) -> Response:
        found = self.site.plans.exercises.values()
        return JSONResponse(
            {"tasks": [{"name": e.name, "title": e.title, "purpose": e.purpose} for e in found]}
        )

    async def hand_in(self, request: Request, token: Token) -> Response:
        """On the disk before it is said to be taken; a worker opens it."""
        site, limits = self.site, self.site.settings.limits
        task = request.path_params["task"]
        if task not in site.plans.exercises:
            raise HTTPException(404, tr("There is no such task here."))
        student = self._student(request)
        earlier = self._earlier(request, token, task)
        if request.headers.get("content-type", "").partition(";")[0].strip().lower() not in PICTURES:
            raise HTTPException(415, no_picture_words())
        if self._waiting(token) >= limits.program_waiting:
            words = tr("Several of your photos are still being read. Wait for the answer.")
            raise HTTPException(429, words, _after(5.0))
        with tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY) as came:
            size = 0
            async for piece in request.stream():
                size += len(piece)
                if size > limits.photo_bytes:
                    raise HTTPException(413, too_large_words(limits), {"connection": "close"})
                await run_in_threadpool(came.write, piece)
            async with self._few:
                came.seek(0)
                photo = await run_in_threadpool(came.read)
                if not is_picture(photo):
                    raise HTTPException(415, no_picture_words())
                try:
                    photos = [await run_in_threadpool(file.read_bytes) for file in earlier]
                except OSError:
                    raise HTTPException(422, tr("There is no such picture any more.")) from None
                try:
                    shot = await run_in_threadpool(
                        site.keep.add_shot, NO_BENCH, task, site.language(), [*photos, photo],
                        sender=token.id, student=student,
                    )  # fmt: skip
                except OSError:
                    raise HTTPException(507, tr("The disk of this server is full. Tell the desk.")) from None
        site.keep.note(f"program {token.name}", "photo", f"{task} {student}".strip())
        site.queue.come()
        return JSONResponse(self._told(shot, token), 202, {"location": f"/v1/shots/{shot.id}"})

    def _earlier(self, request: Request, token: Token, task: str) -> list[Path]:
        """Photos of the same build that a shot of this token's has already."""
        asked = request.query_params.getlist("with")
        if not asked:
            return []
        try:
            shot = self.site.keep.shot(asked[-1])
        except KeyError:
            shot = None
        if shot is None or shot.sender != token.id or shot.task != task:
            raise HTTPException(422, tr("No picture of this task to go with is known by that name."))
        files = self.site.keep.photos(shot)
        if not all(file.is_file() for file in files):
            raise HTTPException(422, tr("There is no such picture any more."))
        if len(files) >= self.site.settings.limits.photos:
            words = tr("There are enough photos of this build. Say what is there, or begin anew.")
            raise HTTPException(413, words)
        return files

    def _student(self, request: Request) -> str:
        given = request.query_params.getlist("student")
        student = given[0] if len(given) == 1 else ""
        if self.site.plans.course is None:
            if given:
                raise HTTPException(422, tr("Without a course there is no class list: name no student."))
        elif not self.site.plans.is_student(student):
            raise HTTPException(422, tr("'{number}' is nobody in the class list.", number=student[:80]))
        return student

    def _waiting(self, token: Token) -> int:
        words = "select count(*) from shot where state in ('waiting','working') and sender=?"
        return int(self.site.keep.rows(words, token.id)[0][0])

    async def shot(self, request: Request, token: Token) -> Response:
        try:
            shot = self.site.keep.shot(request.path_params["shot"])
        except KeyError:
            shot = None
        if shot is None or (token.scope != TEACHER and shot.sender != token.id):  # which sounds the same
            raise HTTPException(404, tr("There is no such picture any more."))
        return JSONResponse(self._told(shot, token))

    def _told(self, shot: Shot, token: Token) -> dict[str, Any]:
        teacher, answer = token.scope == TEACHER, None
        if shot.answered:
            bench = self.site.keep.bench(shot.bench)
            step = class_step(self.site) if bench is None or bench.step is None else bench.step
            answer = _of_form("Answer", answers.everything(shot) if teacher else answers.seen(shot, step))
            answer["findings"] = [_of_form("Finding", f) for f in answer["findings"]]
            answer["questions"] = [_of_form("Question", q) for q in answer.get("questions", [])]
        handed = dict(line.split(" ", 1) for line in shot.handed.splitlines())
        return {
            "id": shot.id, "task": shot.task, "student": shot.student,
            "sent": datetime.fromtimestamp(shot.at, UTC).isoformat(timespec="seconds"),
            "state": shot.state, "error": error_words(shot), "waved": shot.waved,
            "submission": handed.get(shot.student, ""), "answer": answer,
        }  # fmt: skip

    # ------------------------------------------------------------ the course

    def _course(self) -> str:
        if self.site.plans.course is None:
            raise HTTPException(409, tr("Without a course nothing can be graded."))
        return str(self.site.plans.course.folder)

    async def grades(self, request: Request, token: Token) -> Response:
        self._course()
        return JSONResponse(self._grades())

    async def grade(self, request: Request, token: Token) -> Response:
        folder, errand = self._course(), self._desk.grading
        begun = errand.begin()
        answer = JSONResponse(self._grades(), 202)
        if begun:
            self.site.keep.note(f"program {token.name}", "graded")
            answer.background = BackgroundTask(
                errand.run, grade_course, folder, self.site.settings.processes, False
            )
        return answer

    def _grades(self) -> dict[str, Any]:
        errand = self._desk.grading
        found = [{**g, "points": _exact(g["points"]), "most": _exact(g["most"])} for g in errand.result or ()]
        return {**_state(errand), "grades": found}

    async def places(self, request: Request, token: Token) -> Response:
        self._course()
        return JSONResponse(self._places())

    async def look(self, request: Request, token: Token) -> Response:
        folder, review = self._course(), self._review
        begun = review.begin()
        answer = JSONResponse(self._places(), 202)
        if begun:
            answer.background = BackgroundTask(review.looking.run, look, folder, self.site.settings.processes)
        return answer

    def _places(self) -> dict[str, Any]:
        found = [self._place(n) for n in range(len(self._review.places))]
        return {**_state(self._review.looking), "places": found}

    def _place(self, number: int) -> dict[str, Any]:
        place = self._review.places[number]
        told = _of_form("Place", place["told"])
        return told | {
            "id": place_id(place), "idle": place["idle"], "decided": self._review.done.get(number, ""),
            "choices": [_of_form("Choice", c) for c in told["choices"]],
        }  # fmt: skip

    async def decide(self, request: Request, token: Token) -> Response:
        folder = self._course()
        wanted = await _json(request)
        here = {place_id(p): n for n, p in enumerate(self._review.places)}.get(request.path_params["place"])
        if here is None:
            raise HTTPException(404, tr("This list is too old. Look again what waits."))
        line, reason = (_line(wanted[name]) for name in ("decide", "reason"))
        by = _line(wanted["by"])
        try:
            await self._review.settle(folder, {here: line}, reason, by)
        except SnapcheckError as error:
            raise HTTPException(422, str(error)) from None
        return JSONResponse(self._place(here), 201)

    async def decisions(self, request: Request, token: Token) -> Response:
        try:
            lines = await run_in_threadpool(api.decision_history, self._course())
        except SnapcheckError as error:
            raise HTTPException(409, str(error)) from None
        return JSONResponse({"decisions": [_of_form("Decision", line) for line in lines]})


#: who asks for what needs no token
NOBODY = Token("", "", "", 0.0, None, None)


async def _json(request: Request) -> dict[str, str]:
    """A decision as it is sent. Raises HTTPException where it is none."""
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != "application/json":
        raise HTTPException(415, tr("Send JSON: application/json."))
    try:
        given = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise HTTPException(400, tr("This is no JSON.")) from None
    lengths = {"decide": MOST_CHOICE, "reason": MOST_REASON, "by": MOST_BY}
    if not isinstance(given, dict) or given.keys() != lengths.keys() or any(
        not isinstance(v, str) or not v.strip() or len(v) > lengths[n] for n, v in given.items()
    ):  # fmt: skip
        raise HTTPException(422, tr("A decision needs 'decide', 'reason' and 'by', each a short text."))
    return given


def _line(text: str) -> str:
    return " ".join(text.split())


def _of_form(name: str, given: dict[str, Any]) -> dict[str, Any]:
    """Of these values what the form describes, and nothing else."""
    return {key: given[key] for key in SCHEMAS[name]["properties"] if key in given}


def _state(errand: Errand) -> dict[str, str]:
    return {"state": errand.state, "error": errand.error}


def _exact(points: Any) -> str | None:
    return None if points is None else str(points)


def _after(wait_s: float) -> dict[str, str]:
    return {"retry-after": str(int(wait_s) + 1)}
