"""Pages that change by themselves, and our own files."""

from __future__ import annotations

from collections.abc import AsyncIterator

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from snapcheck.web._access import STUDENT, TEACHER
from snapcheck.web._site import ASSETS, Site, asset
from snapcheck.words import tr


class Live:
    """News for pages that watch."""

    def __init__(self, site: Site) -> None:
        self.site = site

    async def bench(self, request: Request) -> Response:
        """News of the visitor's own bench."""
        visitor = self.site.student(request)
        return self._stream(f"{STUDENT} {visitor.mark}", visitor.bench)

    async def desk(self, request: Request) -> Response:
        """News of all benches."""
        visitor = self.site.teacher(request)
        return self._stream(f"{TEACHER} {visitor.mark}", None)

    def _stream(self, who: str, bench: int | None) -> Response:
        one, everybody = self.site.settings.limits.streams
        open_ = self.site.streams
        if open_.get(who, 0) >= one or sum(open_.values()) >= everybody:
            raise HTTPException(429, tr("Too many pages watch at the same time. Close some."))

        async def told() -> AsyncIterator[str]:
            open_[who] = open_.get(who, 0) + 1
            try:
                async for piece in self.site.news.watch(bench):
                    yield piece
            finally:
                open_[who] -= 1
                if not open_[who]:
                    del open_[who]

        return StreamingResponse(told(), media_type="text/event-stream", headers={"x-accel-buffering": "no"})


async def own_file(request: Request) -> Response:
    """A style sheet or script of ours; its address holds its version."""
    name = request.path_params["name"]
    if name not in ASSETS:
        raise HTTPException(404, tr("There is no such page."))
    headers = {"cache-control": "public, max-age=31536000, immutable"}
    return Response(asset(name), headers={**headers, "content-type": ASSETS[name]})
