"""What was handed in: pictures and documents in a folder, or in the ZIP file a learning platform exports."""

from __future__ import annotations

import hashlib
import os
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from zoneinfo import ZoneInfo

from snapcheck.datafiles import read_bytes
from snapcheck.errors import InputError
from snapcheck.words import system_says, tr

PICTURES = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif")
MAX_BYTES = 120_000_000  # as for opening a picture
# a byte of a file's name that is no UTF-8, as Python hands it over (PEP 383), and as a store can keep it
_NO_UTF8, _WRITTEN_OUT = re.compile("[\udc80-\udcff]"), re.compile(r"\\u(dc[89a-f][0-9a-f])")
#: where the time of a file comes from: its name, its entry in a ZIP file, the picture's own record, or the
#: file system, whose times change with every copy
NAME, ARCHIVE, PICTURE, FILE = "name", "archive", "picture", "file"


def place_of(root: Path, path: str) -> Path:
    """Where the plain file `path` of the submissions lies; bytes that are no UTF-8 are written out in it."""
    plain = root / path
    if plain.exists():
        return plain
    return root / _WRITTEN_OUT.sub(lambda byte: chr(int(byte[1], 16)), path)


def _storable(path: str) -> str:
    """A path as a store can keep it; `place_of` leads back."""
    return _NO_UTF8.sub(lambda byte: byte[0].encode("unicode_escape").decode("ascii"), path)


def is_picture(path: str) -> bool:
    """True for a file that is read as a picture."""
    return path.lower().endswith(PICTURES)


@dataclass(frozen=True)
class File:
    """One file that was handed in.

    Attributes:
        path: inside the submissions, with ``/``; the second of two entries of one name in a ZIP file is
            called ``NAME (2)``.
        at: time of the file (of its entry in a ZIP file).
        size: bytes.
        root: the folder or ZIP file of all submissions.
        archive: `root` is a ZIP file.
        member: number of the entry in the ZIP file.
        clock: where `at` comes from.
    """

    path: str
    at: datetime
    size: int
    root: Path
    archive: bool
    member: int = 0
    clock: str = FILE

    @property
    def is_picture(self) -> bool:
        return is_picture(self.path)

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
            data = _member(self) if self.archive else read_bytes(self.place, MAX_BYTES)
        except (InputError, MemoryError):
            raise
        except Exception as error:  # damaged archives make decoders raise nearly anything
            why = system_says(error)
            raise InputError(
                tr("cannot be read: {why}.", why=why), place=self.path, way_out=tr("Ask for it again.")
            ) from None
        if len(data) > MAX_BYTES:
            raise InputError(tr("the file is larger than 120 MB."), place=self.path)
        return data


def _member(file: File) -> bytes:
    state = file.root.stat()
    zipped = _archive(str(file.root), state.st_mtime_ns, state.st_size)
    info = zipped.infolist()[file.member]
    if info.file_size != file.size:
        raise OSError(tr("the ZIP file has changed"))
    with zipped.open(info) as member:
        return member.read(MAX_BYTES + 1)


@lru_cache(maxsize=2)
def _archive(path: str, _changed_ns: int, _size: int) -> zipfile.ZipFile:
    """An open ZIP file, opened once in each process: finding one of 20,000 entries means reading them all."""
    return zipfile.ZipFile(path)


def handed_in(root: Path, zone: ZoneInfo) -> list[File]:
    """All files of the submissions, in the order of their paths; hidden ones are left out, and a link is
    listed, never followed.

    Args:
        root: a folder, or a ZIP file.
        zone: the time zone of times in a ZIP file, which say none.

    Raises:
        InputError: there is no such folder, a part of it cannot be looked into (its pictures must not count
            as not handed in), or it is no ZIP file.
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
        return sorted(_in_archive(root, zone), key=lambda f: f.path)
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        raise InputError(
            tr("is neither a folder nor a ZIP file: {why}.", why=error),
            place=root,
            way_out=tr("Is the download complete?"),
        ) from None


def there_now(root: Path, zone: ZoneInfo) -> list[File]:
    """As `handed_in`, but nothing where the submissions are not there or cannot be looked into."""
    try:
        return handed_in(root, zone)
    except InputError:
        return []


def _in_archive(root: Path, zone: ZoneInfo) -> Iterator[File]:
    state = root.stat()
    there: set[str] = set()
    for number, info in enumerate(_archive(str(root), state.st_mtime_ns, state.st_size).infolist()):
        if info.is_dir() or _hidden(info.filename):
            continue
        if (info.external_attr >> 16) & 0o170000 == 0o120000:
            yield File(f"{info.filename} (link)", datetime.fromtimestamp(state.st_mtime, zone), 0, root, True)
            continue
        year, month, day, hour, minute, second = info.date_time
        clock = ARCHIVE
        try:
            at = datetime(year, month, day, hour, minute, min(second, 59), tzinfo=zone)
        except ValueError:
            year = 1980
        if year == 1980:  # what programs write that keep no times
            at, clock = datetime.fromtimestamp(state.st_mtime, zone), FILE
        path, again = info.filename, 1
        while path in there:
            again += 1
            stem, dot, ending = info.filename.rpartition(".")
            path = f"{stem} ({again}).{ending}" if dot else f"{info.filename} ({again})"
        there.add(path)
        yield File(path, at, info.file_size, root, True, number, clock)


def _in_folder(root: Path, zone: ZoneInfo) -> Iterator[File]:
    def refuse(error: OSError) -> None:
        raise InputError(
            tr("cannot be looked into: {why}.", why=system_says(error)),
            place=error.filename,
            way_out=tr("Make it readable; nothing was changed."),
        ) from None

    for folder, folders, names in os.walk(root, onerror=refuse):
        for name in (*names, *(f for f in folders if Path(folder, f).is_symlink())):
            path = Path(folder, name)
            inside = _storable(path.relative_to(root).as_posix())
            if _hidden(inside):
                continue
            try:
                state = path.lstat()
            except OSError as error:
                refuse(error)
            at = datetime.fromtimestamp(state.st_mtime, zone)
            if path.is_symlink():
                yield File(f"{inside} (link)", at, 0, root, False)
            elif path.is_file():
                yield File(inside, at, state.st_size, root, False)


def _hidden(path: str) -> bool:
    return any(
        piece.startswith((".", "__MACOSX")) or piece in ("Thumbs.db", "desktop.ini")
        for piece in path.split("/")
    )


def digest(data: bytes) -> str:
    """SHA-256, by which a photo is known."""
    return hashlib.sha256(data).hexdigest()
