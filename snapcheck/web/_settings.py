"""How a bench page is run: everything that a teacher may choose, with limits as data."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Limits:
    """What the server takes, and for how long it works on it.

    Attributes:
        photo_bytes, photos: largest file, and most files, of one sending.
        body_bytes: largest request of any other kind.
        idle_s, upload_s: longest wait for the next piece of a request, and for all of it.
        read_s: longest work on one sending; then its worker is ended.
        waiting: sendings of one bench that may wait at the same time.
        tries, guest_tries: wrong class codes or bench keys from one address, and from all, in `window_s`.
        phrase_tries, phrase_guest_tries: the same for the teacher's passphrase.
        streams: pages of one session, and of all, that are told of news at the same time.
    """

    photo_bytes: int = 20_000_000
    photos: int = 4
    body_bytes: int = 64_000
    idle_s: float = 20.0
    upload_s: float = 180.0
    read_s: float = 60.0
    waiting: int = 6
    tries: int = 12
    guest_tries: int = 300
    phrase_tries: int = 6
    phrase_guest_tries: int = 40
    window_s: float = 300.0
    streams: tuple[int, int] = (4, 400)


@dataclass(frozen=True)
class Settings:
    """One bench page.

    Attributes:
        folder: where everything that the server keeps lies, readable by its owner alone.
        course: the course folder, None for the bundled sample designs.
        address, port: where it listens.
        names: host names under which it may be asked, beside those of its addresses.
        tls: encrypted, with a certificate of its own.
        benches: highest bench number.
        keep_h: hours after which photos and answers are deleted.
        lesson_h: hours for which a class code lets phones in.
        workers: processes that read.
        language: of pages whose reader's browser asks for none that is there.
        designs: the folder of the teacher's own designs, None for the usual one.
    """

    folder: Path
    course: Path | None = None
    address: str = "127.0.0.1"
    port: int = 8420
    names: tuple[str, ...] = ()
    tls: bool = False
    benches: int = 40
    keep_h: float = 24.0
    lesson_h: float = 4.0
    workers: int = 0
    language: str = "en"
    limits: Limits = Limits()
    designs: Path | None = None

    @property
    def designs_folder(self) -> Path:
        """Where the teacher's own designs lie: beside what belongs to the course, or what is kept here."""
        return self.designs or (self.course or self.folder) / "designs"

    @property
    def local(self) -> bool:
        """Whether only this computer can reach it."""
        return self.address.startswith("127.") or self.address in ("::1", "localhost")

    @property
    def processes(self) -> int:
        """How many workers there are."""
        if self.workers:
            return self.workers
        cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
        return max(1, cores or 1)
