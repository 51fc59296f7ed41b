"""Grading review: one open place after the other, decided with one key."""

from __future__ import annotations

import hashlib
import json
import shlex
from dataclasses import asdict
from datetime import datetime
from typing import Any

from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from snapcheck import api
from snapcheck.errors import SnapcheckError
from snapcheck.web._access import Visitor
from snapcheck.web._errand import Errand
from snapcheck.web._lesson import grade_course
from snapcheck.web._site import Site, away, moment, number, text
from snapcheck.words import tr

#: choices that have a key
MOST_KEYS = 5


def look(folder: str, workers: int) -> list[dict[str, Any]]:
    """What waits in a course, as plain values; see `snapcheck.api.Place`."""
    return [asdict(place) for place in api.waiting_places(folder, workers=workers)]


class ReviewDesk:
    """Open places of the course, as they were when somebody looked last, with what was decided since."""

    def __init__(self, site: Site) -> None:
        self.site, self.looking, self.grading = site, Errand(), Errand()
        self.done: dict[int, str] = {}  # place -> what was decided
        self.steps: list[tuple[list[int], list[int]]] = []  # places and numbers of decisions, for undo

    @property
    def places(self) -> list[dict[str, Any]]:
        return self.looking.result or []

    def _course(self, request: Request) -> tuple[Visitor, str]:
        visitor = self.site.teacher(request)
        if self.site.plans.course is None:
            raise HTTPException(409, tr("Without a course nothing can be graded."))
        return visitor, str(self.site.plans.course.folder)

    # ------------------------------------------------------------ looking

    async def page(self, request: Request) -> Response:
        """The place that is next, or how it stands."""
        visitor, folder = self._course(request)
        everything = request.query_params.get("all") == "1"
        shown = [n for n, p in enumerate(self.places) if everything or not p["idle"]]
        left = [n for n in shown if n not in self.done]
        at = request.query_params.get("at", "")
        here = int(at) if at.isascii() and at.isdecimal() and int(at) in shown else next(iter(left), None)
        following = [n for n in left if here is not None and n > here] or [n for n in left if n != here]
        place = None if here is None else self.places[here]
        values = {
            "here": here,
            "place": place,
            "decided": self.done.get(here, "") if here is not None else "",
            "left": len(left),
            "of": len(shown),
            "idle": sum(p["idle"] for p in self.places),
            "everything": everything,
            "following": next(iter(following), None),
            "theirs": [] if place is None else self._theirs(place["told"]["student"]),
            "looking": self.looking,
            "grading": self.grading,
            "undo": bool(self.steps),
            "teaches": await self._teaches(folder) if here is None and self.looking.state == "done" else None,
            "reason": self.site.keep.setting("reason") or tr("seen in the photo"),
            "by": self.site.keep.setting("by") or tr("teacher"),
            "most_keys": MOST_KEYS,
        }
        return self.site.page("desk-review", visitor, values)

    async def _teaches(self, folder: str) -> dict[str, Any] | None:
        """How many decided cells could teach the course's kit, and by which command."""
        course = self.site.plans.course
        if course is None or course.kit_file is None:
            return None
        try:
            n = await run_in_threadpool(api.teachable, folder)
        except SnapcheckError:  # said where grades are worked out
            return None
        words = ("snapcheck", "teach", str(course.kit_file), "--from", folder)
        return {"n": n, "command": shlex.join(words)} if n else None

    async def look(self, request: Request) -> Response:
        """Look what waits, from now on."""
        visitor, folder = self._course(request)
        await self.site.form(request, visitor)
        answer = away("/desk/review")
        if self.begin():
            answer.background = BackgroundTask(self.looking.run, look, folder, self.site.settings.processes)
        return answer

    def begin(self) -> bool:
        """Whether one may look now; what was found before is forgotten then."""
        if not self.looking.begin():
            return False
        self.done, self.steps = {}, []
        self.looking.result = None
        return True

    async def crop(self, request: Request) -> Response:
        """The part of a picture."""
        self._course(request)
        there = self.places[request.path_params["place"] :][:1]
        if not there or there[0]["crop"] is None:
            raise HTTPException(404, tr("There is no such picture any more."))
        return Response(there[0]["crop"], media_type="image/jpeg")

    def _theirs(self, student: str) -> list[int]:
        """Places of a student at which the plan's own cube can be chosen, and nobody has decided."""
        return [
            n for n, p in enumerate(self.places)
            if p["told"]["student"] == student and n not in self.done and _planned(p) is not None
        ]  # fmt: skip

    # ------------------------------------------------------------ deciding

    async def decide(self, request: Request) -> Response:
        """One choice for one place, or the plan's own for all of a student's."""
        visitor, folder = self._course(request)
        form = await self.site.form(request, visitor)
        here = number(form, "place", 0, max(0, len(self.places) - 1))
        if here is None or not self.places:
            return self.site.refusal(visitor, 409, tr("This list is too old. Look again what waits."))
        reason, by = text(form, "reason", 200), text(form, "by", 60)
        if not reason or not by:
            return self.site.refusal(visitor, 422, tr("A reason is needed."))
        self.site.keep.keep("reason", reason)
        self.site.keep.keep("by", by)
        told = self.places[here]["told"]
        lines: dict[int, str] = {}
        if text(form, "choice") == "as-planned":
            lines = {n: line for n in self._theirs(told["student"]) if (line := _planned(self.places[n]))}
        else:
            choice = number(form, "choice", 1, len(told["choices"]))
            own = text(form, "own", 120)
            if choice is not None:
                lines = {here: told["choices"][choice - 1]["decide"]}
            elif own:
                lines = {here: own}
        if not lines:
            return self.site.refusal(visitor, 422, tr("Choose one of the answers."))
        try:
            await self.settle(folder, lines, reason, by)
        except SnapcheckError as error:
            return self.site.refusal(visitor, 422, str(error))
        return away("/desk/review?all=1" if text(form, "all") else "/desk/review")

    async def settle(self, folder: str, lines: dict[int, str], reason: str, by: str) -> None:
        """Decisions for places, by their numbers. Raises SnapcheckError where one cannot be followed."""
        wanted = []
        for n, line in lines.items():
            its = self.places[n]["told"]
            wanted.append(api.decided(its["student"], its["task"], line, reason, _picture(its)))
        numbers = await run_in_threadpool(api.decide, folder, wanted, by=by)
        self.done |= lines
        self.steps.append((list(lines), numbers))
        self.site.keep.note("desk", "decided", json.dumps(list(lines.values()), ensure_ascii=False))

    async def undo(self, request: Request) -> Response:
        """The last step is taken back; it stays in the history."""
        visitor, folder = self._course(request)
        await self.site.form(request, visitor)
        if not self.steps:
            return away("/desk/review")
        places, numbers = self.steps[-1]
        by = self.site.keep.setting("by")
        try:
            await run_in_threadpool(
                api.take_back,
                folder,
                numbers,
                by=by,
                reason=tr("undone at the desk"),
            )
        except SnapcheckError as error:
            return self.site.refusal(visitor, 422, str(error))
        self.steps.pop()
        for place in places:
            self.done.pop(place, None)
        return away(f"/desk/review?at={places[0]}")

    async def grade(self, request: Request) -> Response:
        """Work the grades out again, with what was decided."""
        visitor, folder = self._course(request)
        await self.site.form(request, visitor)
        answer = away("/desk/review")
        if self.grading.begin():
            answer.background = BackgroundTask(
                self.grading.run, grade_course, folder, self.site.settings.processes, True
            )
        return answer

    async def history(self, request: Request) -> Response:
        """Who decided what."""
        visitor, folder = self._course(request)
        try:
            lines = await run_in_threadpool(api.decision_history, folder)
        except SnapcheckError as error:
            return self.site.refusal(visitor, 409, str(error))
        told = [
            {**d, "what": api.decision_said(d), "when": moment(datetime.fromisoformat(d["at"]).timestamp())}
            for d in reversed(lines)
        ]
        return self.site.page("desk-decided", visitor, {"lines": told})


def place_id(place: dict[str, Any]) -> str:
    """The same for the same place, however often one looks."""
    told = place["told"]
    names = "\n".join(told[key] for key in ("student", "task", "path", "kind", "place"))
    return hashlib.sha256(names.encode("utf-8", "replace")).hexdigest()[:20]


def _planned(place: dict[str, Any]) -> str | None:
    return next((c["decide"] for c in place["told"]["choices"] if c["planned"]), None)


def _picture(told: dict[str, Any]) -> str:
    """The picture that is meant: only what is on the plate hangs on one."""
    return str(told["path"]) if told["kind"] == "cell" else ""
