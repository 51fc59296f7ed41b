"""Programs that the teacher lets in."""

from __future__ import annotations

import time
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from snapcheck.web._access import Visitor
from snapcheck.web._site import Site, away, text
from snapcheck.web._tokens import HAND_IN, MOST_TOKENS, SCOPES, TEACHER
from snapcheck.words import tr


class AdmitDesk:
    """Tokens, made and revoked at the desk.

    Args:
        site: the server.
        address: under which programs find it.
    """

    def __init__(self, site: Site, address: str) -> None:
        self.site, self.address = site, address

    async def page(self, request: Request) -> Response:
        """Which programs are in."""
        return self._page(self.site.teacher(request))

    def _page(self, visitor: Visitor, status: int = 200, **more: Any) -> Response:
        def when(at: float | None) -> str:
            return "" if at is None else time.strftime("%d.%m. %H:%M", time.localtime(at))

        scopes = {
            HAND_IN: tr("hand in photos, and read their answers as students are shown them"),
            TEACHER: tr("everything: also grades, open places and decisions"),
        }
        values = {
            "tokens": [(t, scopes[t.scope], when(t.made), when(t.used), when(t.revoked))
                       for t in self.site.tokens.all()],
            "scopes": list(scopes.items()),
            "address": f"{self.address}/v1/openapi.json",
            "made": "", "wrong": "", "name": "", **more,
        }  # fmt: skip
        return self.site.page("desk-programs", visitor, values, status)

    async def new(self, request: Request) -> Response:
        """A token, shown this once."""
        visitor = self.site.teacher(request)
        form = await self.site.form(request, visitor)
        name, scope = text(form, "name", 60), text(form, "scope", 20)
        if not name or scope not in SCOPES:
            return self._page(
                visitor, 422, wrong=tr("Name the program, and choose what it may do."), name=name
            )
        if sum(t.revoked is None for t in self.site.tokens.all()) >= MOST_TOKENS:
            return self._page(visitor, 409, wrong=tr("There are too many tokens: revoke some first."))
        return self._page(visitor, made=self.site.tokens.new(name, scope), name=name)

    async def revoke(self, request: Request) -> Response:
        """A program is out."""
        visitor = self.site.teacher(request)
        form = await self.site.form(request, visitor)
        self.site.tokens.revoke(text(form, "id", 20))
        return away("/desk/programs")
