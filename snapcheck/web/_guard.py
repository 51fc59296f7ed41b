"""Around every request: who is asked, how much is sent and how slowly; and around every answer: what a
browser may do with it."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Iterable

from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from snapcheck.web._settings import Limits
from snapcheck.words import tr

#: paths of the requests that may be large
PHOTOS = ("/bench/photos", "/desk/designs/photo")

#: nothing but our own files, no script or style in a page, no other site around it (CSP Level 3, W3C)
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), microphone=(), geolocation=()",
}


class TooMuchError(Exception):
    """A request is larger than it may be."""


class TooSlowError(Exception):
    """A request comes in too slowly."""


class Guard:
    """The outermost layer.

    Args:
        app: what answers.
        names: host names and addresses under which the server may be asked: a page of another site whose
            name was made to lead here (DNS rebinding) is refused.
        limits: of size and time.
    """

    def __init__(self, app: ASGIApp, names: Iterable[str], limits: Limits) -> None:
        self._app, self._names, self._limits = app, {n.casefold() for n in names}, limits

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        headers = {name: value.decode("latin-1") for name, value in scope["headers"]}
        send = _with_headers(send)
        host = headers.get(b"host", "")
        if _name(host) not in self._names:
            await _refuse(421, tr("This server does not go by that name."), scope, receive, send)
            return
        if scope["method"] not in ("GET", "HEAD", "POST"):
            await _refuse(405, tr("That is not done here."), scope, receive, send)
            return
        if scope["method"] == "POST" and not _of_ours(headers, host, scope["scheme"]):
            await _refuse(403, tr("This came from a page of another site."), scope, receive, send)
            return
        most = self._limits.body_bytes
        if scope["path"] in PHOTOS:
            most += self._limits.photos * self._limits.photo_bytes
        length = headers.get(b"content-length", "0")
        if not length.isdecimal() or int(length) > most:
            await _refuse(413, too_large_words(self._limits), scope, receive, send)
            return
        await self._app(scope, _limited(receive, most, self._limits), send)


def too_large_words(limits: Limits) -> str:
    """Why something was not taken, for whoever sent it."""
    return tr(
        "That is too large: up to {photos} photos of {mb:.0f} MB each.",
        photos=limits.photos,
        mb=limits.photo_bytes / 1e6,
    )


def too_slow_words() -> str:
    """Why something was not waited for."""
    return tr("The photo came too slowly. Go nearer, and send it again.")


def _name(host: str) -> str:
    """The name in a host header, without the port."""
    if host.startswith("["):
        return host[1:].partition("]")[0].casefold()
    return host.partition(":")[0].casefold()


def _of_ours(headers: dict[bytes, str], host: str, scheme: str) -> bool:
    """Whether a form was sent from a page of this server, as far as the browser says."""
    if headers.get(b"sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = headers.get(b"origin")
    return origin is None or origin.casefold() == f"{scheme}://{host}".casefold()


def _limited(receive: Receive, most: int, limits: Limits) -> Receive:
    came, start, done = 0, time.monotonic(), False

    async def counted() -> Message:
        nonlocal came, done
        if done:  # waiting for the other side to hang up, for as long as it takes
            return await receive()
        left = limits.upload_s - (time.monotonic() - start)
        try:
            message = await asyncio.wait_for(receive(), max(0.0, min(limits.idle_s, left)))
        except TimeoutError:
            raise TooSlowError from None
        if message["type"] == "http.request":
            came += len(message.get("body", b""))
            done = not message.get("more_body", False)
            if came > most:
                raise TooMuchError
        return message

    return counted


def _with_headers(send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            there = {name.lower() for name, _ in message["headers"]}
            more = [
                (name.encode(), value.encode())
                for name, value in {**_HEADERS, "cache-control": "no-store"}.items()
                if name.encode() not in there
            ]
            message = {**message, "headers": [*message["headers"], *more]}
        await send(message)

    return sent


async def _refuse(status: int, words: str, scope: Scope, receive: Receive, send: Send) -> None:
    answer = PlainTextResponse(words + "\n", status, headers={"connection": "close"})
    await answer(scope, receive, send)
