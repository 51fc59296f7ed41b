"""Reading at the desk: what was read, over the photo, put right cell by cell; everything follows at once."""

from __future__ import annotations

from typing import Any

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from snapcheck import api
from snapcheck.web import _answer as answers
from snapcheck.web._access import TEACHER
from snapcheck.web._site import Site, away, place_of, text
from snapcheck.web._store import DONE, Shot
from snapcheck.words import tr


class CorrectDesk:
    """The reading of a bench's newest photo."""

    def __init__(self, site: Site) -> None:
        self.site = site

    def _shot(self, bench: int) -> Shot:
        here = self.site.keep.bench(bench)
        shots = [] if here is None else self.site.keep.shots(bench)
        shot = next((s for s in shots if here is not None and s.task == here.task and s.reading), None)
        if shot is None:
            raise HTTPException(404, tr("No photo of this bench has been read yet."))
        return shot

    async def page(self, request: Request) -> Response:
        """The photo with its cells; one of them is chosen."""
        visitor = self.site.teacher(request)
        bench = request.path_params["bench"]
        return self.site.page("desk-reading", visitor, self._values(bench, dict(request.query_params)))

    async def part(self, request: Request) -> Response:
        """What changes on that page."""
        visitor = self.site.teacher(request)
        bench = request.path_params["bench"]
        values = self._values(bench, dict(request.query_params))
        return self.site.page("desk-reading-part", visitor, values)

    def _values(self, bench: int, asked: dict[str, str]) -> dict[str, Any]:
        cell = asked.get("cell", "")
        shot = self._shot(bench)
        exercise = self.site.plans.exercises.get(shot.task)
        cells = shot.told.get("cells", {})
        return {
            "bench": bench,
            "exercise": exercise,
            "shot": shot,
            "answer": answers.everything(shot),
            "cells": {name: (*(place_of(name) or (0, 0)), told) for name, told in cells.items()},
            "cell": cell if cell in cells else "",
            "chosen": cells.get(cell),
            "links": shot.told.get("links", []),
            **lead_asked(shot.told.get("ends", []), asked),
            "kinds": api.kinds_told(None if exercise is None else exercise.kit_file),
        }

    async def say(self, request: Request) -> Response:
        """A decision, or one step back or forth."""
        visitor = self.site.teacher(request)
        form = await self.site.form(request, visitor)
        bench, cell = request.path_params["bench"], text(form, "cell", 4)
        shot = self._shot(bench)
        if shot.state != DONE:
            return self.site.refusal(visitor, 409, tr("It is being worked out. Wait a moment."))
        words, undone = list(shot.words), list(shot.undone)
        match text(form, "step", 8):
            case "undo" if words:
                undone.append(words.pop())
            case "redo" if undone:
                words.append(undone.pop())
            case "":
                lines = _lead_lines(form, shot.told.get("links", []))
                line = text(form, "line", 120) or line_of(
                    cell, *(text(form, n, 40) for n in ("kind", "value", "turn"))
                )
                lines = lines or [line]
                if not lines[0]:
                    return self.site.refusal(visitor, 422, tr("Choose one of the answers."))
                words, undone = [*words, *((TEACHER, line) for line in lines)], []
        self.site.keep.say(shot, words, undone)
        self.site.keep.note("desk", "reading changed", f"bench {bench}: {words[-1][1] if words else '-'}")
        self.site.queue.come()
        self.site.news.tell(bench)
        more = "&ends=1" if text(form, "ends", 1) else ""
        return away(f"/desk/bench/{bench}/reading?cell={cell}{more}")


def lead_asked(ends: list[dict[str, Any]], asked: dict[str, str]) -> dict[str, Any]:
    """What a page shows of a lead that is being laid: whether one is, where it may end, what is chosen."""
    known = {e["end"] for e in ends}
    start, end = (asked.get(name, "") for name in ("from", "to"))
    return {
        "wiring": bool(asked.get("ends")) and bool(ends),
        "ends": ends,
        "start": start if start in known else "",
        "end": end if end in known and end != start else "",
    }


def _lead_lines(form: FormData, links: list[str]) -> list[str]:
    """The lines of a lead between two chosen places, with the taps that are not there yet."""
    ends = [text(form, name, 20) for name in ("from", "to")]
    if not all(ends):
        return []
    taps = [f"tap {end}" for end in ends if "|" in end and f"tap {end}" not in links]
    return [*taps, f"lead {ends[0]} to {ends[1]}"]


def line_of(cell: str, kind: str, value: str, turn: str) -> str:
    """A line of a layout file from the fields of a form."""
    if not cell or not kind:
        return ""
    turned = turn if turn in ("90", "180", "270") else "0"
    return " ".join(filter(None, (cell, kind, value, f"turn={turned}")))
