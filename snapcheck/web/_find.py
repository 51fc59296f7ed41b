"""Finding a fault with a meter: at the desk, and on the phone where the teacher has released it.

One search for each bench, the same for phone and desk; it is worked out by a process of its own.
"""

from __future__ import annotations

import asyncio
import json
import time
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from snapcheck import api
from snapcheck.web._access import STUDENT, Visitor
from snapcheck.web._answer import passed
from snapcheck.web._site import Site, away, text
from snapcheck.web._store import DONE, Bench, Shot
from snapcheck.web._workers import LostError
from snapcheck.words import active_language, tr

#: entries of one search
MOST_ENTRIES = 60
RELEASED = "find"


class Find:
    """The searches of all benches."""

    def __init__(self, site: Site) -> None:
        self.site = site
        self._one = asyncio.Lock()
        self._busy: dict[int, asyncio.Task[None]] = {}

    async def stop(self) -> None:
        """At once, whatever is being worked out."""
        tasks = list(self._busy.values())
        for task in tasks:
            task.cancel()
        await asyncio.to_thread(self.site.finder.stop)
        await asyncio.gather(*tasks, return_exceptions=True)

    # ------------------------------------------------------------ who, and which bench

    def _bench(self, request: Request) -> tuple[Visitor, Bench, str]:
        """Who asks, for which bench, and the address of its search."""
        if "bench" in request.path_params:
            visitor, bench = self.site.teacher(request), self.site.keep.bench(request.path_params["bench"])
            if bench is None:
                raise HTTPException(404, tr("Nobody is at this bench."))
            return visitor, bench, f"/desk/bench/{bench.number}/find"
        visitor = self.site.student(request)
        if not released(self.site):
            raise HTTPException(403, tr("Your teacher has not released this."))
        bench = self.site.keep.bench(visitor.bench or 0)
        assert bench is not None
        return visitor, bench, "/bench/find"

    async def release(self, request: Request) -> Response:
        """Phones may search, or no longer."""
        visitor = self.site.teacher(request)
        form = await self.site.form(request, visitor)
        self.site.keep.keep(RELEASED, "yes" if text(form, "open") == "yes" else "")
        self.site.keep.note("desk", "fault finding on phones", self.site.keep.setting(RELEASED) or "no")
        self.site.news.tell(None)
        return away("/desk")

    # ------------------------------------------------------------ the page

    async def page(self, request: Request) -> Response:
        visitor, bench, base = self._bench(request)
        return self.site.page("find", visitor, self._values(visitor, bench, base))

    async def part(self, request: Request) -> Response:
        """What changes on that page."""
        visitor, bench, base = self._bench(request)
        return self.site.page("find-part", visitor, self._values(visitor, bench, base))

    def _values(self, visitor: Visitor, bench: Bench, base: str) -> dict[str, Any]:
        kept, words = self._kept(bench), api.symptoms()
        shot = self._shot(bench, kept.get("shot"))
        busy = bench.number in self._busy
        # the server was ended meanwhile
        given_up = tr("This took too long, and was given up.") if kept and "told" not in kept else ""
        return {
            "bench": bench,
            "base": base,
            "student": visitor.role == STUDENT,
            "exercise": self.site.plans.exercises.get(bench.task),
            "symptoms": list(words.items()),
            "entries": [words.get(w, w) for _, w in kept.get("entries", [])],
            "told": kept.get("told"),
            "notice": kept.get("notice", ""),
            "error": kept.get("error", "") or given_up,
            "busy": busy,
            "begun": bool(kept),
            "stamp": int(1000 * kept.get("at", 0)),
            "newer": bool(kept) and (shot.id if shot else "") != self._newest_id(bench),
            "objects": shot is not None and not shot.told.get("powered", True) and not passed(shot),
        }

    async def picture(self, request: Request) -> Response:
        """Where the probes go: on the photo of the build, or on its drawing."""
        _, bench, _ = self._bench(request)
        kept = self._kept(bench)
        if kept.get("svg"):
            return Response(kept["svg"], media_type="image/svg+xml")
        path = self.site.keep.pictures / f"{kept.get('shot') or '-'}-probes.jpg"
        if not kept.get("shot") or not path.is_file():
            raise HTTPException(404, tr("There is no such picture any more."))
        return Response(await run_in_threadpool(path.read_bytes), media_type="image/jpeg")

    # ------------------------------------------------------------ what is entered

    async def say(self, request: Request) -> Response:
        """A symptom, a reading, one step back, or a new beginning."""
        visitor, bench, base = self._bench(request)
        form = await self.site.form(request, visitor)
        if bench.number in self._busy:
            return away(base)
        kept = self._kept(bench)
        entries = list(kept.get("entries", []))
        match text(form, "do", 10):
            case "begin":
                entries, kept = [], {"shot": self._newest_id(bench), "task": bench.task}
            case "end":
                self._forget(bench)
                return away(base)
            case "back":
                entries = entries[:-1]
            case "symptom":
                entries += [["symptom", text(form, "symptom", 20)]]
            case _:
                reading = reading_of(form)
                if not reading:
                    return self.site.refusal(visitor, 422, tr("Enter what the meter shows."))
                entries += [["reading", reading]]
        if not kept:  # a symptom is a beginning, too
            kept = {"shot": self._newest_id(bench), "task": bench.task}
        if len(entries) > MOST_ENTRIES:
            return self.site.refusal(visitor, 422, tr("These are too many readings. Begin anew."))
        self._keep(bench, {**kept, "entries": entries})
        work = self._work(bench, active_language())
        self._busy[bench.number] = asyncio.create_task(work)
        return away(base)

    async def _work(self, bench: Bench, language: str) -> None:
        """Work it out, and leave it where the page finds it."""
        site, kept = self.site, self._kept(bench)
        try:
            job = self._job(bench, kept, language)
            async with self._one:
                answer = await asyncio.to_thread(site.finder.do, job)
        except LostError:
            answer = {"error": tr("This took too long, and was given up.")}
        finally:
            self._busy.pop(bench.number, None)
        if "error" in answer:
            answer = {"error": answer["error"], "entries": kept["entries"], "told": None}
        self._keep(bench, {"shot": kept["shot"], "task": kept["task"], **answer, "at": time.time()})
        site.news.tell(bench.number)

    def _job(self, bench: Bench, kept: dict[str, Any], language: str) -> dict[str, Any]:
        exercise = self.site.plans.exercise(kept["task"])
        shot = self._shot(bench, kept["shot"])
        photo = "" if shot is None else str(self.site.keep.photo(shot.id, 0))
        # what people said stands on no photo
        words = [] if shot is None else [line for _, line in shot.words]
        return {
            "design": str(exercise.design_file),
            "kit": None if exercise.kit_file is None else str(exercise.kit_file),
            "photo": photo, "words": words,
            "reading": self.site.keep.shot(shot.id).reading if shot is not None and words else "",
            "language": language, "entries": kept["entries"],
            "cache": str(self.site.keep.folder / "searches"),
            "probes": str(self.site.keep.pictures / f"{kept['shot']}-probes.jpg"),
        }  # fmt: skip

    # ------------------------------------------------------------ what is kept

    def _newest(self, bench: Bench) -> Shot | None:
        shots = self.site.keep.shots(bench.number)
        return next((s for s in shots if s.task == bench.task and s.state == DONE and not s.manner), None)

    def _newest_id(self, bench: Bench) -> str:
        newest = self._newest(bench)
        return "" if newest is None else newest.id

    def _shot(self, bench: Bench, shot: str | None) -> Shot | None:
        return next((s for s in self.site.keep.shots(bench.number) if s.id == shot), None)

    def _kept(self, bench: Bench) -> dict[str, Any]:
        """The search of a bench; empty where there is none for what is built there, or its photo is gone."""
        text = self.site.keep.setting(f"search {bench.number}")
        kept: dict[str, Any] = json.loads(text) if text else {}
        gone = kept.get("shot") and self._shot(bench, kept["shot"]) is None
        return {} if gone or kept.get("task") != bench.task else kept

    def _keep(self, bench: Bench, kept: dict[str, Any]) -> None:
        if self.site.keep.bench(bench.number) is not None:  # it may be freed meanwhile
            self.site.keep.keep(f"search {bench.number}", json.dumps(kept, ensure_ascii=False))

    def _forget(self, bench: Bench) -> None:
        self.site.keep.keep(f"search {bench.number}", "")


def released(site: Site) -> bool:
    """Whether phones may search."""
    return site.keep.setting(RELEASED) == "yes"


def reading_of(form: FormData) -> str:
    """As the search takes it: a place and what was found there."""
    own, at = text(form, "own", 80), text(form, "at", 80)
    if own:
        return own
    word, value = text(form, "word", 12), text(form, "value", 16)
    if not at or not (word or value):
        return ""
    if word:
        return f"{at} {word}"
    sign = "-" if text(form, "minus") == "yes" and not value.startswith(("-", "−")) else ""
    return f"{at} {sign}{value}{text(form, 'unit', 3)}"
