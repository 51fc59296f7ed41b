"""The plate at the desk: one design on the way, changed by lines; what it does follows at once."""

from __future__ import annotations

import asyncio
import base64
import hashlib
import re
from functools import cache
from typing import Any

from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from snapcheck import api
from snapcheck.errors import SnapcheckError
from snapcheck.web._access import Visitor
from snapcheck.web._correct import lead_asked, line_of
from snapcheck.web._design_job import work
from snapcheck.web._drafts import Draft, Drafts
from snapcheck.web._shelf import OWN, Shelves, TakenError, name_of
from snapcheck.web._site import Site, away, place_of, text
from snapcheck.web._workers import LostError, Worker
from snapcheck.words import active_language, tr

#: drafts of which is kept what was calculated
_MOST_KEPT = 16
#: seconds for one job of a worker
_LIMIT_s = 300.0
#: the least that has to be calculated
_WARMING = "plate 2 x 3\nA1 battery 9V plus=right\nB1 corner ends=left+down\nB2 lamp 12V/100mA ends=up+down\n"


class PlateDesk:
    """Designs on the way."""

    def __init__(self, site: Site) -> None:
        self.site = site
        course = site.plans.course
        kit = "" if course is None or course.kit_file is None else str(course.kit_file)
        self.shelves = Shelves(site.settings.designs_folder, kit)
        self.drafts = Drafts(site.settings.folder / "drafts")
        self._simulator: Any = None
        # what follows an edit must not wait for a sheet or a photo
        self._workers = {name: (Worker(work, _LIMIT_s), asyncio.Lock()) for name in ("near", "far")}
        self._quick = asyncio.Lock()
        self._kept: dict[tuple[str, ...], Any] = {}

    async def stop(self) -> None:
        """At once."""
        for worker, _ in self._workers.values():
            await asyncio.to_thread(worker.stop)
        if self._simulator is not None:
            await asyncio.to_thread(self._simulator.close)

    # ------------------------------------------------------------ what is worked out

    async def told(self, draft: Draft) -> dict[str, Any]:
        """What is there within a moment; with what came later, where it has come."""
        key = ("told", draft.text, draft.kit, active_language())
        if key not in self._kept:
            async with self._quick:
                try:
                    found = await run_in_threadpool(self._look, draft.text, draft.kit)
                except SnapcheckError as error:  # its kit has changed meanwhile
                    raise HTTPException(409, str(error)) from None
            self._keep(key, found)
        told = {**self._kept[key], **self._kept.get(("late", *key[1:]), {})}
        return {**told, "findings": [{**f, "which": ""} for f in told["findings"]]}

    def _look(self, layout: str, kit: str) -> dict[str, Any]:
        if self._simulator is None:
            self._simulator = api.lasting_simulator()
        return api.design_told(layout, kit_of(kit), self._simulator)

    async def job(self, draft: Draft, what: str, who: str = "far", **more: Any) -> Any:
        """What a worker gives, from now on kept for this text. Raises HTTPException with its sentence."""
        key = (what, draft.text, draft.kit, active_language())
        if key in self._kept:
            return self._kept[key]
        worker, alone = self._workers[who]
        job = {"what": what, "text": draft.text, "kit": draft.kit or None, "language": active_language()}
        async with alone:
            if what == "late" and draft.text != key[1]:
                return None  # it has gone on meanwhile
            try:
                answer = await run_in_threadpool(worker.do, {**job, **more})
            except LostError:
                answer = {"error": tr("The program gave up on it.")}
        if "error" in answer:
            raise HTTPException(409, answer["error"])
        if not more:
            self._keep(key, answer["done"])
        return answer["done"]

    def _keep(self, key: tuple[str, ...], found: Any) -> None:
        self._kept[key] = found
        for old in list(self._kept)[:-_MOST_KEPT]:
            del self._kept[old]

    # ------------------------------------------------------------ pages

    def draft(self, request: Request) -> tuple[Visitor, Draft]:
        """Who asks, and for which. Raises HTTPException."""
        visitor = self.site.teacher(request)
        try:
            return visitor, self.drafts.get(request.path_params["draft"])
        except KeyError:
            raise HTTPException(404, tr("This design is not being worked at any more.")) from None

    async def page(self, request: Request) -> Response:
        """The plate; a cell of it is chosen."""
        visitor, draft = self.draft(request)
        if request.query_params.get("late"):
            await self.job(draft, "late", "near")
        page = self.site.page("plate", visitor, await self._values(draft, dict(request.query_params)))
        page.background = BackgroundTask(self.warm)
        return page

    async def warm(self) -> None:
        """What the first edit needs is loaded while somebody looks at the page."""
        worker, alone = self._workers["near"]
        async with alone:
            await asyncio.to_thread(worker.start)
        async with self._quick:
            await run_in_threadpool(self._look, _WARMING, "")

    async def part(self, request: Request) -> Response:
        """What changes on that page."""
        visitor, draft = self.draft(request)
        return self.site.page("plate-part", visitor, await self._values(draft, dict(request.query_params)))

    async def late(self, request: Request) -> Response:
        """What takes longer, for the page as it is now."""
        visitor, draft = self.draft(request)
        await self.job(draft, "late", "near")
        return self.site.page("plate-late", visitor, await self._values(draft, {}))

    async def _values(self, draft: Draft, asked: dict[str, str]) -> dict[str, Any]:
        told = await self.told(draft)
        kit = kit_of(draft.kit)
        cell = asked.get("cell", "").upper()
        chosen = told["cells"].get(cell)
        if chosen is None and place_of(cell) is not None:  # covered by a cube of several cells
            cell = next((n for n, c in told["cells"].items() if _covers(n, c, cell)), "")
            chosen = told["cells"].get(cell)
        return {
            "draft": draft,
            "told": told,
            "cells": {n: (*(place_of(n) or (0, 0)), c) for n, c in told["cells"].items()},
            "cell": cell,
            "chosen": chosen,
            "at_rest": next((p for p in told["parts"] if p["cell"] == cell), None),
            "fitting": api.fitting_told(draft.text, cell, kit) if chosen and not chosen["anchor"] else [],
            "kinds": api.kinds_told(kit),
            **lead_asked(told["ends"], asked),
            "written": draft.typed or draft.text,
            "drawn": lambda line: api.decision_drawing(line, kit),
            "asks_over": asked.get("over", ""),
            "usual_name": draft.name or name_of(told["title"]),
        }

    # ------------------------------------------------------------ changes

    async def say(self, request: Request) -> Response:
        """One change, or one step back or forth, or the whole text."""
        visitor, draft = self.draft(request)
        form = await self.site.form(request, visitor)
        cell = text(form, "cell", 4).upper()
        line = text(form, "line", 200)
        start, end = text(form, "from", 20), text(form, "to", 20)
        if not line and start and end:
            line = f"lead {start} to {end}"
        if not line and "kind" in form:
            line = line_of(cell, *(text(form, n, 40) for n in ("kind", "value", "turn")))
        match text(form, "step", 8):
            case "undo":
                draft.back(-1)
            case "redo":
                draft.back(1)
            case "text":
                self._type(draft, str(form.get("text", "")))
            case "title":
                self._change(draft, f"title {text(form, 'title', 80)}")
            case "seen":
                draft.open = [q for q in draft.open if q["place"] != text(form, "place", 60)]
            case _ if line:
                moved = re.fullmatch(r"move \S+ (?:to )?([A-Za-z]+\d+)", line)
                asked_for = text(form, "asked", 60) if "asked" in form else _settled(line)
                there = "asked" in form and line in (await self.told(draft))["links"]
                if there or self._change(draft, line):
                    cell = moved[1] if moved else cell
                    draft.open = [q for q in draft.open if q["place"] != asked_for]
        asked = {"cell": cell, "ends": text(form, "ends", 1)}
        more = "&ends=1" if asked["ends"] else ""
        answer: Response = away(f"/desk/designs/at/{draft.id}?cell={cell}{more}")
        if request.headers.get("x-sent-by") == "script":
            answer = self.site.page("plate-part", visitor, await self._values(draft, asked))
        answer.background = BackgroundTask(self.drafts.keep_behind, draft)  # the disk may take its time
        return answer

    def _change(self, draft: Draft, line: str) -> bool:
        """Whether it could be done."""
        try:
            new, lost = api.design_edited(draft.text, line, kit_of(draft.kit))
        except SnapcheckError as error:
            draft.said = [error.sentence]
            return False
        told = [tr("This went with it: {lines}. Undo brings it back.", lines="; ".join(lost))] if lost else []
        draft.step(new, told)
        return True

    def _type(self, draft: Draft, typed: str) -> None:
        try:
            draft.step(api.checked_design_text(typed, kit_of(draft.kit)))
        except SnapcheckError as error:
            draft.typed, draft.wrong, draft.said = typed.replace("\r\n", "\n"), str(error), []

    async def save(self, request: Request) -> Response:
        """Into the folder."""
        visitor, draft = self.draft(request)
        form = await self.site.form(request, visitor)
        name = name_of(text(form, "name", 80))
        here = f"/desk/designs/at/{draft.id}"
        if draft.open:
            draft.said = [tr("The photo leaves something open: say first what is there.")]
            return self._back(draft, here)
        over = draft.sum if name == draft.name else ""
        if text(form, "over", 80) == name:
            try:
                over = self.shelves.get(OWN, name).sum
            except KeyError:
                over = ""
        try:
            kept = await run_in_threadpool(self.shelves.put, name, draft.text, over)
        except TakenError as error:
            draft.said = [str(error)]
            return self._back(draft, f"{here}?over={name}")
        except SnapcheckError as error:
            draft.said = [str(error)]
            return self._back(draft, here)
        draft.name, draft.sum = kept.name, kept.sum
        plans = self.site.plans
        if kept.name in plans.given:  # the lesson goes on with it as it is now
            plans.take_back(kept.name)
            plans.give(kept.name, self.shelves.file(kept))
        draft.said = [tr("Saved as {name}.", name=f"{kept.name}.board")]
        self.site.keep.note("desk", "design saved", kept.name)
        return self._back(draft, here)

    def _back(self, draft: Draft, path: str) -> Response:
        self.drafts.keep(draft)
        return away(path)

    async def promise(self, request: Request) -> Response:
        """The figures that the board has become those that it promises."""
        visitor, draft = self.draft(request)
        await self.site.form(request, visitor)
        new, notes = await self.job(draft, "promise")
        draft.step(new, list(notes))
        return self._back(draft, f"/desk/designs/at/{draft.id}")

    async def drop(self, request: Request) -> Response:
        """Away with it; what was saved stays."""
        visitor, draft = self.draft(request)
        await self.site.form(request, visitor)
        self.drafts.drop(draft)
        return away("/desk/designs")

    async def plots(self, request: Request) -> Response:
        """Every plot there is."""
        visitor, draft = self.draft(request)
        plots = await self.job(draft, "plots")
        values = {"draft": draft, "told": await self.told(draft), "titles": [title for title, _ in plots]}
        return self.site.page("plate-plots", visitor, values)

    async def plot(self, request: Request) -> Response:
        """One of them."""
        _, draft = self.draft(request)
        plots = await self.job(draft, "plots")
        number = request.path_params["number"]
        if number >= len(plots):
            raise HTTPException(404, tr("There is no such picture any more."))
        return Response(plots[number][1], media_type="image/png")

    async def sheet(self, request: Request) -> Response:
        """The build sheet, to be printed."""
        _, draft = self.draft(request)
        return sheet_page(await self.job(draft, "sheet"))


def sheet_page(page: str) -> Response:
    """A build sheet, with a policy that lets its own style in, and nothing else."""
    style = re.search(r"<style>(.*?)</style>", page, re.S)
    known = base64.b64encode(hashlib.sha256((style[1] if style else "").encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{known}'; img-src data:; frame-ancestors 'none'"
    return Response(page, media_type="text/html", headers={"content-security-policy": policy})


def _settled(line: str) -> str | None:
    """The cell of which a change says all: what a photo left open there is answered by it."""
    words = line.split()
    named = words[1:2] if words[0] in ("remove", "value") else words[:1]
    return named[0].upper() if named and place_of(named[0].upper()) is not None else None


def _covers(anchor: str, told: dict[str, Any], cell: str) -> bool:
    at, place = place_of(anchor), place_of(cell)
    if at is None or place is None or not told["anchor"]:
        return False
    return all(0 <= p - a < size for p, a, size in zip(place, at, told["size"], strict=True))


@cache
def kit_of(name: str) -> Any:
    """The cubes that a draft's kit stands for."""
    return api.kit_of(name or None)
