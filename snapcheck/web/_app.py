"""The application: every address with what answers it."""

from __future__ import annotations

import logging
from collections.abc import AsyncIterator, Iterable, Sequence
from contextlib import asynccontextmanager

from starlette.applications import Starlette
from starlette.convertors import IntegerConvertor, register_url_convertor
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from snapcheck.web._access import STUDENT, Access
from snapcheck.web._admit import AdmitDesk
from snapcheck.web._correct import CorrectDesk
from snapcheck.web._designs import DesignsDesk
from snapcheck.web._desk import Desk
from snapcheck.web._find import Find
from snapcheck.web._guard import (
    PROGRAMS,
    Guard,
    TooMuchError,
    TooSlowError,
    problem,
    too_large_words,
    too_slow_words,
)
from snapcheck.web._live import Live, own_file
from snapcheck.web._plans import Plans
from snapcheck.web._plate import PlateDesk
from snapcheck.web._programs import Programs
from snapcheck.web._queue import Hand
from snapcheck.web._review import ReviewDesk
from snapcheck.web._settings import Settings
from snapcheck.web._site import LANGUAGE, Site, away, text
from snapcheck.web._store import Keep
from snapcheck.web._student import Student
from snapcheck.words import languages, tr

_LOG = logging.getLogger("snapcheck")


class _Few(IntegerConvertor):
    """Numbers in addresses, as large as a bench's can be: no database takes one of thirty digits."""

    regex = "[0-9]{1,9}"


register_url_convertor("few", _Few())
#: names of this computer, under which its own browser asks
LOCAL_NAMES = ("127.0.0.1", "localhost", "::1")


def make_site(settings: Settings, workers: Sequence[Hand] | None = None) -> Site:
    """Everything behind the pages.

    Args:
        settings: where and how.
        workers: who does the jobs; None: processes of our own.

    Raises:
        SnapcheckError: course or folder cannot be used.
    """
    plans = Plans(settings.course)
    keep = Keep(settings.folder)
    return Site(settings, keep, Access(keep, settings), plans, workers)


def design_routes(designs: DesignsDesk, plate: PlateDesk) -> list[Route]:
    """The shelf of designs, and the plate on which one is worked at."""
    get, post, all_ = ["GET"], ["POST"], "/desk/designs"
    kept, one = f"{all_}/{{shelf}}/{{name}}", f"{all_}/at/{{draft}}"
    return [
        Route(all_, designs.page, methods=get),
        Route(f"{all_}/begin", designs.begin, methods=post),
        Route(f"{all_}/photo", designs.photo, methods=post),
        Route(f"{all_}/copy", designs.copy, methods=post),
        Route(f"{all_}/lesson", designs.lesson, methods=post),
        Route(f"{all_}/put-away", designs.put_away, methods=post),
        Route(f"{all_}/bring-back", designs.bring_back, methods=post),
        Route(one, plate.page, methods=get),
        Route(one, plate.say, methods=post),
        Route(f"{one}/part", plate.part, methods=get),
        Route(f"{one}/late", plate.late, methods=get),
        Route(f"{one}/save", plate.save, methods=post),
        Route(f"{one}/promise", plate.promise, methods=post),
        Route(f"{one}/drop", plate.drop, methods=post),
        Route(f"{one}/plots", plate.plots, methods=get),
        Route(f"{one}/plots/{{number:int}}.png", plate.plot, methods=get),
        Route(f"{one}/sheet.html", plate.sheet, methods=get),
        Route(f"{kept}/top.svg", designs.top, methods=get),
        Route(f"{kept}/sheet.html", designs.sheet, methods=get),
    ]


def make_app(site: Site, address: str, names: Iterable[str] = LOCAL_NAMES) -> ASGIApp:
    """The pages of a site.

    Args:
        site: what is behind them.
        address: under which phones find it.
        names: host names under which it may be asked.
    """
    student, desk, live = Student(site), Desk(site, address), Live(site)
    review, correct = ReviewDesk(site), CorrectDesk(site)
    admit, find = AdmitDesk(site, address), Find(site)
    plate = PlateDesk(site)
    designs = DesignsDesk(site, plate)

    async def language(request: Request) -> Response:
        visitor = site.visitor(request)
        form = await site.form(request, visitor)
        chosen = text(form, "language", 8)
        answer = away("/desk" if request.headers.get("referer", "").endswith("/desk") else "/")
        if chosen in languages():
            answer.set_cookie(LANGUAGE, chosen, max_age=10**7, httponly=True, samesite="strict")
            if visitor.role == STUDENT and visitor.bench is not None:
                site.keep.change_bench(visitor.bench, language=chosen)
        return answer

    async def refused(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        if request.url.path.startswith(PROGRAMS):
            return program_refused(site, request, error)
        if request.headers.get("x-sent-by") == "script":
            return PlainTextResponse(error.detail, error.status_code)
        words = error.detail if error.status_code != 405 else tr("That is not done here.")
        visitor = site.visitor(request)
        if error.status_code == 404 and error.detail == "Not Found":
            words = tr("There is no such page.")
        return site.refusal(visitor, error.status_code, words)

    async def broken(request: Request, error: Exception) -> Response:
        _LOG.error("a page could not be made: %s", request.url.path, exc_info=error)
        return said(request, 500, tr("Something went wrong in snapcheck itself. Try it again."))

    async def too_much(request: Request, error: Exception) -> Response:
        return said(request, 413, too_large_words(site.settings.limits), {"connection": "close"})

    async def too_slow(request: Request, error: Exception) -> Response:
        return said(request, 408, too_slow_words(), {"connection": "close"})

    @asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        site.queue.start()
        try:
            yield
        finally:
            site.news.close()
            await site.queue.stop()
            await find.stop()
            await plate.stop()
            site.keep.close()

    get, post = ["GET"], ["POST"]
    one = "/desk/bench/{bench:few}"
    routes = [
        Route("/", student.home, methods=get),
        Route("/join", student.join_page, methods=get),
        Route("/join", student.join, methods=post),
        Route("/bench", student.bench_page, methods=get),
        Route("/bench/part", student.bench_part, methods=get),
        Route("/bench/news", live.bench, methods=get),
        Route("/bench/photos", student.photos, methods=post),
        Route("/bench/task", student.task, methods=post),
        Route("/bench/say", student.say, methods=post),
        Route("/bench/ask", student.ask, methods=post),
        Route("/bench/leave", student.leave, methods=post),
        Route("/shots/{shot}/above.jpg", student.picture, methods=get),
        Route("/plans/{task}.svg", student.plan, methods=get),
        Route("/desk", desk.page, methods=get),
        Route("/desk/enter", desk.enter, methods=post),
        Route("/desk/leave", desk.leave, methods=post),
        Route("/desk/part", desk.part, methods=get),
        Route("/desk/news", live.desk, methods=get),
        Route("/desk/qr.svg", desk.qr, methods=get),
        Route("/desk/code", desk.code, methods=post),
        Route("/desk/hints", desk.hints, methods=post),
        Route("/desk/audit", desk.audit, methods=get),
        Route(one, desk.bench, methods=get),
        Route(f"{one}/hints", desk.hints, methods=post),
        Route(f"{one}/wave", desk.wave, methods=post),
        Route(f"{one}/students", desk.students, methods=post),
        Route(f"{one}/reading", correct.page, methods=get),
        Route(f"{one}/reading/part", correct.part, methods=get),
        Route(f"{one}/reading", correct.say, methods=post),
        Route(f"{one}/free", desk.free, methods=post),
        Route("/desk/end", desk.end, methods=get),
        Route("/desk/end/hand-in", desk.hand_in, methods=post),
        Route("/desk/end/grade", desk.grade, methods=post),
        Route("/desk/end/close", desk.close, methods=post),
        Route("/desk/review", review.page, methods=get),
        Route("/desk/review/history", review.history, methods=get),
        Route("/desk/review/{place:int}/crop.jpg", review.crop, methods=get),
        Route("/desk/review/look", review.look, methods=post),
        Route("/desk/review/decide", review.decide, methods=post),
        Route("/desk/review/undo", review.undo, methods=post),
        Route("/desk/review/grade", review.grade, methods=post),
        *[
            route
            for base in ("/bench/find", f"{one}/find")
            for route in (
                Route(base, find.page, methods=get),
                Route(base, find.say, methods=post),
                Route(f"{base}/part", find.part, methods=get),
                Route(f"{base}/picture", find.picture, methods=get),
            )
        ],
        Route("/desk/find", find.release, methods=post),
        Route("/desk/programs", admit.page, methods=get),
        Route("/desk/programs/new", admit.new, methods=post),
        Route("/desk/programs/revoke", admit.revoke, methods=post),
        *Programs(site, desk, review).routes(),
        *design_routes(designs, plate),
        Route("/language", language, methods=post),
        Route("/own/{version}/{name}", own_file, methods=get),
    ]
    app = Starlette(
        routes=routes,
        lifespan=life,
        exception_handlers={
            HTTPException: refused,
            TooMuchError: too_much,
            TooSlowError: too_slow,
            Exception: broken,
        },
    )
    return Guard(app, names, site.settings.limits)


def said(request: Request, status: int, words: str, headers: dict[str, str] | None = None) -> Response:
    """An error as whoever asks can read it."""
    if request.url.path.startswith(PROGRAMS):
        return problem(status, words, headers)
    return PlainTextResponse(words, status, headers=headers)


def program_refused(site: Site, request: Request, error: HTTPException) -> Response:
    """An error, to a program."""
    site.program(request)
    words = error.detail
    if error.status_code == 404 and words == "Not Found":
        words = tr("There is nothing of that name here.")
    if error.status_code == 405:
        words = tr("That is not done here.")
    return problem(error.status_code, words, dict(error.headers or {}))
