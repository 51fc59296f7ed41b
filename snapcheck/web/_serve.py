"""Running the server: where it listens, under which names it is asked, and its end."""

from __future__ import annotations

import asyncio
import contextlib
import os
import socket
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from snapcheck.errors import InputError
from snapcheck.web._app import LOCAL_NAMES, make_app, make_site
from snapcheck.web._settings import Settings
from snapcheck.web._tls import certificate
from snapcheck.words import system_says, tr

if TYPE_CHECKING:
    import uvicorn

    from snapcheck.web._site import Site


@dataclass(frozen=True)
class Opened:
    """What was opened, to be told before anything else happens.

    Attributes:
        address: under which phones (or this computer's browser) find it.
        join: the same with the class code.
        desk: the teacher's desk.
        code: the class code.
        phrase: the teacher's passphrase where it was made now, else "".
        folder: where everything is kept.
        local: only this computer can reach it.
        fingerprint: SHA-256 of the certificate, "" without TLS.
    """

    address: str
    join: str
    desk: str
    code: str
    phrase: str
    folder: Path
    local: bool
    fingerprint: str


def serve(
    settings: Settings, tell: Callable[[Opened], None], *, new_phrase: bool = False, phrase: str = "",
    minutes: float | None = None,
) -> None:  # fmt: skip
    """Open the bench page; returns when it is ended (Ctrl-C, or after `minutes`).

    Args:
        settings: where and how.
        tell: is told what was opened, once it listens.
        new_phrase: make another passphrase for the desk.
        phrase: the teacher's own, to be kept (as a hash) from now on.
        minutes: end by itself.

    Raises:
        InputError: the course, or the address or port, cannot be used.
        StoreError: the folder cannot be used.
    """
    import uvicorn

    site = make_site(settings)
    if phrase:
        site.access.set_phrase(phrase)
    made = site.access.new_phrase() if not phrase and (new_phrase or not site.access.has_phrase()) else ""
    code = site.access.code() or site.access.new_code()
    host = reachable(settings.address)
    names = [*LOCAL_NAMES, host, *settings.names, *([] if settings.local else [socket.gethostname()])]
    names = [n for n in dict.fromkeys(names) if n]
    fingerprint, secure = "", dict[str, Any]()
    if settings.tls:
        file, key, fingerprint = certificate(settings.folder, names)
        secure = {"ssl_certfile": file, "ssl_keyfile": key}
    listening = _listen(settings)
    port = listening.getsockname()[1]
    shown = f"[{host}]" if ":" in host else host
    address = f"{'https' if settings.tls else 'http'}://{shown}:{port}"
    opened = Opened(
        address, f"{address}/join?code={code}", f"{address}/desk", code, made,
        settings.folder.resolve(), settings.local, fingerprint,
    )  # fmt: skip
    config = uvicorn.Config(
        make_app(site, address, names), log_config=None, access_log=False, server_header=False,
        proxy_headers=False, timeout_keep_alive=20, timeout_graceful_shutdown=2,
        h11_max_incomplete_event_size=32_768, limit_concurrency=1000, lifespan="on", http="h11",
        ws="none", **secure,
    )  # fmt: skip
    server = ending_well(config, site)
    tell(opened)
    try:
        with _temporary_files_in(settings.folder / "incoming"):
            _run(server, listening, minutes)
    finally:
        listening.close()


@contextlib.contextmanager
def _temporary_files_in(folder: Path) -> Iterator[None]:
    """Uploads, and what libraries of the workers leave for a moment, stay in our folder meanwhile."""
    before, usual = os.environ.get("TMPDIR"), tempfile.tempdir
    os.environ["TMPDIR"] = tempfile.tempdir = str(folder.resolve())
    try:
        yield
    finally:
        tempfile.tempdir = usual
        if before is None:
            del os.environ["TMPDIR"]
        else:
            os.environ["TMPDIR"] = before


def ending_well(config: uvicorn.Config, site: Site) -> uvicorn.Server:
    """A server that tells pages which watch that there will be no more news, before it waits for them."""
    import uvicorn

    class Server(uvicorn.Server):
        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            site.news.close()
            await super().shutdown(sockets)

    return Server(config)


def _run(server: uvicorn.Server, listening: socket.socket, minutes: float | None) -> None:
    async def lesson() -> None:
        running = asyncio.ensure_future(server.serve(sockets=[listening]))
        if minutes is not None:
            await asyncio.wait([running], timeout=60 * minutes)
            server.should_exit = True
        await running

    with contextlib.suppress(KeyboardInterrupt):
        asyncio.run(lesson())


def _listen(settings: Settings) -> socket.socket:
    """A socket that listens. Raises InputError."""
    family = socket.AF_INET6 if ":" in settings.address else socket.AF_INET
    opened = socket.socket(family, socket.SOCK_STREAM)
    opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        opened.bind((settings.address, settings.port))
    except (OSError, OverflowError) as error:
        opened.close()
        raise InputError(
            tr("nothing can be opened here: {why}.", why=system_says(error)),
            place=f"{settings.address}:{settings.port}",
            way_out=tr("Choose another port with --port, or an address of this computer with --address."),
        ) from None
    return opened


def reachable(address: str) -> str:
    """The address under which others find what listens on this one."""
    if address not in ("0.0.0.0", "::"):
        return address
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect(("192.0.2.1", 9))  # no packet goes out; RFC 5737: an address of nobody
            return str(probe.getsockname()[0])
    except OSError:
        return "127.0.0.1"
