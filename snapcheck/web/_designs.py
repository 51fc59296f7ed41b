"""The shelf of designs at the desk: those that come with snapcheck, the teacher's own, ways to begin one."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from snapcheck import api
from snapcheck.errors import SnapcheckError
from snapcheck.web._access import Visitor
from snapcheck.web._drafts import Draft
from snapcheck.web._plate import PlateDesk, kit_of, sheet_page
from snapcheck.web._shelf import CHIPS, OWN, PUT_AWAY, Kept, TakenError, name_of
from snapcheck.web._site import Site, away, number, text
from snapcheck.words import tr

#: an empty plate to begin with, and the largest, columns and rows
USUAL_SIZE, MOST_SIZE = (9, 7), (26, 26)


class DesignsDesk:
    """The shelf.

    Args:
        site: the server.
        plate: where designs are worked at.
    """

    def __init__(self, site: Site, plate: PlateDesk) -> None:
        self.site, self.plate = site, plate
        for name in site.keep.setting("given").split():
            with suppress(SnapcheckError, KeyError):  # its file has gone meanwhile
                site.plans.give(name, plate.shelves.file(plate.shelves.get(OWN, name)))

    async def page(self, request: Request) -> Response:
        """All of them, and those that are being worked at."""
        visitor = self.site.teacher(request)
        shelves = await run_in_threadpool(self.plate.shelves.all)
        drafts = [(d, _title(d)) for d in self.plate.drafts.all()]
        values = {
            "shelves": shelves,
            "drafts": drafts,
            "given": self.site.plans.given,
            "folder": self.plate.shelves.folder.name,
            "size": USUAL_SIZE,
            "most": MOST_SIZE,
            "course_kit": bool(self.plate.shelves.kit),
            "away": await run_in_threadpool(self.plate.shelves.away),
            "put_away": PUT_AWAY,
        }
        page = self.site.page("designs", visitor, values)
        page.background = BackgroundTask(self.plate.warm)
        return page

    def _kept(self, shelf: str, name: str) -> Kept:
        try:
            return self.plate.shelves.get(shelf, name)
        except KeyError:
            raise HTTPException(404, tr("There is no such design any more.")) from None

    def _asked(self, request: Request) -> Kept:
        return self._kept(request.path_params["shelf"], request.path_params["name"])

    async def top(self, request: Request) -> Response:
        """A design from above."""
        self.site.teacher(request)
        card = self._asked(request).card
        if "drawn" not in card:
            raise HTTPException(404, tr("There is no such picture any more."))
        return Response(card["drawn"], media_type="image/svg+xml")

    async def sheet(self, request: Request) -> Response:
        """Its build sheet, to be printed."""
        self.site.teacher(request)
        kept = self._asked(request)
        return sheet_page(await self.plate.job(Draft("", [kept.text], kit=kept.kit), "sheet"))

    # ------------------------------------------------------------ ways to begin

    async def begin(self, request: Request) -> Response:
        """From a design of the shelf, or from an empty plate."""
        visitor = self.site.teacher(request)
        form = await self.site.form(request, visitor)
        if text(form, "name", 80):
            kept = self._kept(text(form, "shelf", 20), text(form, "name", 80))
            if "error" in kept.card:
                return self.site.refusal(visitor, 409, kept.card["error"])
            own = {"name": kept.name, "sum": kept.sum} if kept.shelf == OWN else {}
            return self._at(self.plate.drafts.begin(kept.text, kit=kept.kit, **own))
        columns = number(form, "columns", 1, MOST_SIZE[0]) or USUAL_SIZE[0]
        rows = number(form, "rows", 1, MOST_SIZE[1]) or USUAL_SIZE[1]
        kit = CHIPS if text(form, "chips", 3) else ""
        layout = api.empty_design(columns, rows, text(form, "title", 80))
        return self._at(self.plate.drafts.begin(layout, kit=self.plate.shelves.kit or kit))

    def _at(self, draft: Draft) -> Response:
        return away(f"/desk/designs/at/{draft.id}")

    async def photo(self, request: Request) -> Response:
        """From a photo of a build; opened in a worker, and not kept."""
        visitor = self.site.teacher(request)
        form = await self.site.form(request, visitor, files=1)
        given = form.get("photo")
        limits = self.site.settings.limits
        if not isinstance(given, UploadFile) or not given.size:
            return self.site.refusal(visitor, 422, tr("Choose a photo first."))
        if given.size > limits.photo_bytes:
            return self.site.refusal(visitor, 413, tr("This photo is too large."))
        file = self.site.settings.folder / "incoming" / f"{secrets.token_hex(16)}.photo"
        begun = Draft("", [""], kit=self.plate.shelves.kit)
        try:
            file.parent.mkdir(mode=0o700, exist_ok=True)
            file.write_bytes(await given.read())
            made = await self.plate.job(begun, "adopt", photo=str(file))
        finally:
            await form.close()
            with suppress(OSError):
                file.unlink(missing_ok=True)
        draft = self.plate.drafts.begin(
            made["text"], kit=begun.kit, open=made["questions"], said=made["notes"]
        )
        return self._at(draft)

    async def copy(self, request: Request) -> Response:
        """A design of the shelf once more, in the folder, under a name that is free."""
        visitor = self.site.teacher(request)
        form = await self.site.form(request, visitor)
        kept = self._kept(text(form, "shelf", 20), text(form, "name", 80))
        wanted = name_of(text(form, "as", 80)) or kept.name
        shelves = self.plate.shelves
        try:
            try:
                made = await run_in_threadpool(shelves.put, wanted, kept.text)
            except TakenError:
                made = await run_in_threadpool(shelves.put, shelves.free_name(wanted), kept.text)
        except SnapcheckError as error:
            return self.site.refusal(visitor, 422, str(error))
        self.site.keep.note("desk", "design saved", made.name)
        return away(f"/desk/designs#own-{made.name}")

    async def put_away(self, request: Request) -> Response:
        """A design of the folder is wanted no more."""
        visitor = self.site.teacher(request)
        form = await self.site.form(request, visitor)
        kept = self._kept(OWN, text(form, "name", 80))
        if kept.name in self.site.plans.given:
            return self.site.refusal(
                visitor, 409, tr("It is a task of this lesson: take it out of the lesson first.")
            )
        return await self._moved(visitor, self.plate.shelves.put_away, kept.name, "design put away")

    async def bring_back(self, request: Request) -> Response:
        """What was put away is on the shelf again."""
        visitor = self.site.teacher(request)
        form = await self.site.form(request, visitor)
        name = text(form, "name", 80)
        return await self._moved(visitor, self.plate.shelves.bring_back, name, "design brought back")

    async def _moved(self, visitor: Visitor, move: Callable[[str], str], name: str, what: str) -> Response:
        try:
            new = await run_in_threadpool(move, name)
        except KeyError:
            raise HTTPException(404, tr("There is no such design any more.")) from None
        except SnapcheckError as error:
            return self.site.refusal(visitor, 422, str(error))
        self.site.keep.note("desk", what, new)
        return away("/desk/designs")

    async def lesson(self, request: Request) -> Response:
        """A design becomes a task of the lesson, or is one no more."""
        visitor = self.site.teacher(request)
        form = await self.site.form(request, visitor)
        kept = self._kept(OWN, text(form, "name", 80))
        plans = self.site.plans
        if kept.name in plans.given:
            plans.take_back(kept.name)
        elif kept.kit == CHIPS:
            return self.site.refusal(
                visitor, 409, tr("Its cubes of several cells cannot be read from photos.")
            )
        else:
            try:
                plans.give(kept.name, self.plate.shelves.file(kept))
            except SnapcheckError as error:
                return self.site.refusal(visitor, 409, str(error))
        self.site.keep.keep("given", "\n".join(plans.given))
        self.site.keep.note("desk", "tasks of the lesson", ", ".join(plans.given) or "-")
        return away(f"/desk/designs#own-{kept.name}")


def _title(draft: Draft) -> dict[str, Any]:
    """What is shown of a draft."""
    try:
        return api.card_told(draft.text, kit_of(draft.kit))
    except SnapcheckError:
        return {"title": draft.name, "count": 0}
