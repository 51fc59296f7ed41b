"""What every page needs: who asks, in which language, templates, and forms that are this server's own."""

from __future__ import annotations

import hashlib
import re
import time
from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources
from typing import Any
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from snapcheck import api
from snapcheck.web._access import STUDENT, TEACHER, Access, Visitor
from snapcheck.web._find_job import search
from snapcheck.web._plans import Plans
from snapcheck.web._queue import Hand, News, Queue
from snapcheck.web._settings import Settings
from snapcheck.web._store import Keep
from snapcheck.web._tokens import Tokens
from snapcheck.web._workers import Worker
from snapcheck.words import active_language, languages, numeral, speech, tr, use_language

LANGUAGE = "snapcheck-language"
#: longest work on one step of a search with a meter
FINDER_s = 180.0
#: of a cell and of the rim, in units of a drawing (`snapcheck.board.draw_svg`)
PITCH, MARGIN = 108, 44
#: longest text that a form may bring
MOST_TEXT = 400


class Site:
    """One server: what it keeps, who may see it, and its pages."""

    def __init__(
        self,
        settings: Settings,
        keep: Keep,
        access: Access,
        plans: Plans,
        workers: Sequence[Hand] | None = None,
    ) -> None:
        self.settings, self.keep, self.access, self.plans = settings, keep, access, plans
        self.tokens = Tokens(keep, settings.limits)
        self.news = News()
        self.queue = Queue(keep, plans, self.news, settings, workers)
        #: who works out searches with a meter; begins with the first one
        self.finder: Hand = Worker(search, FINDER_s)
        self.streams: dict[str, int] = {}
        self._locale = speech()[1]
        self._pages = api.page_templates("snapcheck.web")
        # also within macros
        self._pages.globals |= {
            "tr": tr,
            "numeral": numeral,
            "drawing": api.decision_drawing,
            "said": api.decision_words,
            "spot": spot,
            "cell_name": cell_name,
        }
        self._known = languages(self._locale)

    # ------------------------------------------------------------ who asks

    def visitor(self, request: Request) -> Visitor:
        """Who asks; from here on their language is spoken."""
        found = self.access.visitor(request, self._wished(request))
        chosen = request.cookies.get(LANGUAGE, "")
        language = chosen if chosen in self._known else found.language
        use_language(language, self._locale)
        return Visitor(found.role, found.bench, language, found.mark)

    def student(self, request: Request) -> Visitor:
        """A student at a bench. Raises HTTPException for anybody else."""
        visitor = self.visitor(request)
        if visitor.role != STUDENT or visitor.bench is None or self.keep.bench(visitor.bench) is None:
            raise HTTPException(403, tr("Please enter the class code first."))
        return visitor

    def teacher(self, request: Request) -> Visitor:
        """The teacher. Raises HTTPException for anybody else."""
        visitor = self.visitor(request)
        if visitor.role != TEACHER:
            raise HTTPException(403, tr("This is the teacher's desk: please enter the passphrase first."))
        return visitor

    def program(self, request: Request) -> None:
        """From here on the language is spoken that a program asks for; it has no cookies."""
        use_language(self._wished(request), self._locale)

    def language(self) -> str:
        """That is spoken now, for answers that are worked out later."""
        return active_language()

    def who(self, request: Request) -> str:
        """The address that a request comes from."""
        return request.client.host if request.client else "?"

    def _wished(self, request: Request) -> str:
        for wish in request.headers.get("accept-language", "").split(",")[:8]:
            name = wish.split(";")[0].strip().split("-")[0].lower()
            if name in self._known:
                return name
        return self.settings.language

    # ------------------------------------------------------------ pages and forms

    def page(
        self, name: str, visitor: Visitor, values: Mapping[str, Any] | None = None, status: int = 200
    ) -> HTMLResponse:
        """A page, or a part of one."""
        text = self._pages.get_template(f"{name}.html.j2").render(
            lang=active_language(),
            languages=[(n, LANGUAGE_NAMES.get(n, n)) for n in self._known],
            visitor=visitor,
            token=self.access.form_token(visitor),
            course=self.plans.title,
            version=version(),
            limits=self.settings.limits,
            **(values or {}),
        )
        answer = HTMLResponse(text, status)
        self.access.remember(answer, visitor)
        return answer

    def refusal(self, visitor: Visitor, status: int, words: str, wait_s: float = 0.0) -> Response:
        """A page that says what was wrong."""
        answer = self.page("wrong", visitor, {"words": words}, status)
        if wait_s:
            answer.headers["retry-after"] = str(int(wait_s) + 1)
        return answer

    async def form(self, request: Request, visitor: Visitor, files: int = 0) -> FormData:
        """What a form brings. Raises HTTPException where it is not one that this visitor was given."""
        form = await request.form(max_files=files, max_fields=12, max_part_size=20_000)
        token = form.get("token")
        if not isinstance(token, str) or not self.access.is_form_token(visitor, token):
            await form.close()
            raise HTTPException(403, tr("This page is too old. Open it again, then send the form."))
        return form

    async def knows_phrase(self, given: str) -> bool:
        """Whether this is the passphrase; other requests are answered meanwhile."""
        return await run_in_threadpool(self.access.is_phrase, given)


def spot(cells: Sequence[str], box: Sequence[int]) -> str:
    """The part of a picture from straight above that shows these cells and half a cell around them, as the
    view box of an SVG; "" where they are not in it."""
    places = [place for cell in cells if (place := place_of(cell)) is not None]
    if not places:
        return ""
    left, top = (min(p[i] for p in places) * PITCH + MARGIN - PITCH // 2 for i in (0, 1))
    right, bottom = (max(p[i] for p in places) * PITCH + MARGIN + 3 * PITCH // 2 for i in (0, 1))
    if left >= box[0] + box[2] or top >= box[1] + box[3] or right <= box[0] or bottom <= box[1]:
        return ""
    return f"{left} {top} {right - left} {bottom - top}"


def place_of(cell: str) -> tuple[int, int] | None:
    """Column and row of a cell by its name, counted from 0; None for what is none."""
    match = re.fullmatch(r"([A-Z]{1,2})(\d{1,2})", cell)
    if match is None:
        return None
    column = 0
    for letter in match[1]:
        column = 26 * column + ord(letter) - 64
    return column - 1, int(match[2]) - 1


def cell_name(column: int, row: int) -> str:
    """The name of a cell by its column and row, counted from 0."""
    letters, column = "", column + 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters}{row + 1}"


#: what languages call themselves
LANGUAGE_NAMES = {"en": "English", "de": "Deutsch"}


def text(form: FormData, name: str, most: int = MOST_TEXT) -> str:
    """A field of a form as one line of text, "" where it is not there."""
    value = form.get(name, "")
    return " ".join(value.split())[:most] if isinstance(value, str) else ""


def number(form: FormData, name: str, least: int, most: int) -> int | None:
    """A field as a whole number within bounds, None where it is none."""
    given = text(form, name, 8)
    return int(given) if given.isascii() and given.isdecimal() and least <= int(given) <= most else None


def moment(at: float) -> str:
    """A time (seconds since the epoch) as this computer's clock shows it."""
    return time.strftime("%d.%m. %H:%M:%S", time.localtime(at))


def away(path: str) -> RedirectResponse:
    """Go on at another page of this server."""
    return RedirectResponse(quote(path, safe="/#?=&"), 303)


@cache
def asset(name: str) -> bytes:
    """One of our own files."""
    own = resources.files("snapcheck.web").joinpath(f"data/{name}").read_bytes()
    return api.page_style().encode() + own if name == "bench.css" else own


@cache
def version() -> str:
    """Of our own files, so that a browser may keep them until they change."""
    whole = hashlib.sha256()
    for name in ASSETS:
        whole.update(asset(name))
    return whole.hexdigest()[:10]


#: our own files with their types
ASSETS = {
    "bench.css": "text/css; charset=utf-8",
    "send.js": "text/javascript; charset=utf-8",
    "keys.js": "text/javascript; charset=utf-8",
    "live.js": "text/javascript; charset=utf-8",
    "ends.js": "text/javascript; charset=utf-8",
    "plate.css": "text/css; charset=utf-8",
    "plate.js": "text/javascript; charset=utf-8",
    "icon.svg": "image/svg+xml",
}
