"""What was handed in: pictures and documents in a folder, or in the ZIP file a learning platform exports."""

from __future__ import annotations

import hashlib
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from snapcheck.datafiles import read_bytes
from snapcheck.errors import InputError
from snapcheck.words import tr

PICTURES = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif")
MAX_BYTES = 120_000_000  # as for opening a picture
# a byte of a file's name that is no UTF-8, as Python hands it over (PEP 383), and as a store can keep it
_NO_UTF8, _WRITTEN_OUT = re.compile("[\udc80-\udcff]"), re.compile(r"\\u(dc[89a-f][0-9a-f])")


def place_of(root: Path, path: str) -> Path:
    """Where the plain file `path` of the submissions lies; bytes that are no UTF-8 are written out in it."""
    plain = root / path
    if plain.exists():
        return plain
    return root / _WRITTEN_OUT.sub(lambda byte: chr(int(byte[1], 16)), path)


@dataclass(frozen=True)
class File:
    """One file that was handed in.

    Attributes:
        path: inside the submissions, with ``/``.
        at: time of the file (of its entry in a ZIP file).
        size: bytes.
        archive: the ZIP file that holds it, None for a plain file.
        root: the folder or ZIP file of all submissions.
    """

    path: str
    at: datetime
    size: int
    root: Path
    archive: bool

    @property
    def is_picture(self) -> bool:
        return self.path.lower().endswith(PICTURES)

    @property
    def place(self) -> Path:
        """Where a plain file lies."""
        return place_of(self.root, self.path)

    @property
    def name(self) -> str:
        """Last part of the path."""
        return self.path.rsplit("/", 1)[-1]

    @property
    def folder(self) -> str:
        return self.path.rpartition("/")[0]

    def read(self) -> bytes:
        """The bytes. Raises InputError."""
        try:
            if not self.archive:
                data = read_bytes(self.place, MAX_BYTES)
            else:
                with zipfile.ZipFile(self.root) as zipped, zipped.open(self.path) as member:
                    data = member.read(MAX_BYTES + 1)
        except (OSError, zipfile.BadZipFile, KeyError, RuntimeError, NotImplementedError, EOFError) as error:
            why = getattr(error, "strerror", None) or str(error)
            raise InputError(
                tr("cannot be read: {why}.", why=why), place=self.path, way_out=tr("Ask for it again.")
            ) from None
        if len(data) > MAX_BYTES:
            raise InputError(tr("the file is larger than 120 MB."), place=self.path)
        return data


def handed_in(root: Path, zone: ZoneInfo) -> list[File]:
    """All files of the submissions, in the order of their paths; hidden ones and links are left out.

    Args:
        root: a folder, or a ZIP file.
        zone: the time zone of times in a ZIP file, which say none.

    Raises:
        InputError: there is no such folder, or it is no ZIP file.
    """
    if root.is_dir():
        return sorted(_in_folder(root, zone), key=lambda f: f.path)
    if not root.exists():
        raise InputError(
            tr("there are no submissions here."),
            place=root,
            way_out=tr("Put the pictures into this folder, or name a folder or ZIP file in course.toml."),
        )
    try:
        with zipfile.ZipFile(root) as zipped:
            files = []
            for info in zipped.infolist():
                if (
                    info.is_dir()
                    or _hidden(info.filename)
                    or (info.external_attr >> 16) & 0o170000 == 0o120000
                ):
                    continue
                year, month, day, hour, minute, second = info.date_time
                try:
                    at = datetime(year, month, day, hour, minute, min(second, 59), tzinfo=zone)
                except ValueError:
                    at = datetime(1980, 1, 1, tzinfo=zone)
                files.append(File(info.filename, at, info.file_size, root, True))
            return sorted(files, key=lambda f: f.path)
    except (zipfile.BadZipFile, OSError) as error:
        raise InputError(
            tr("is neither a folder nor a ZIP file: {why}.", why=error),
            place=root,
            way_out=tr("Is the download complete?"),
        ) from None


def _in_folder(root: Path, zone: ZoneInfo) -> Iterator[File]:
    for path in root.rglob("*"):
        inside = path.relative_to(root).as_posix()
        if _hidden(inside) or path.is_symlink() or not path.is_file():
            continue
        state = path.stat()
        inside = _NO_UTF8.sub(lambda byte: byte[0].encode("unicode_escape").decode("ascii"), inside)
        yield File(inside, datetime.fromtimestamp(state.st_mtime, zone), state.st_size, root, False)


def _hidden(path: str) -> bool:
    return any(piece.startswith((".", "__MACOSX")) or piece == "Thumbs.db" for piece in path.split("/"))


def digest(data: bytes) -> str:
    """SHA-256, by which a photo is known."""
    return hashlib.sha256(data).hexdigest()
