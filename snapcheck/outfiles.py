"""Writing results: a file is there whole or as it was, and files that belong together are of one run."""

from __future__ import annotations

import contextlib
import glob
import os
import secrets
import time
from collections.abc import Iterable, Mapping
from pathlib import Path

#: a half-written file that is older than this is nobody's any more
_DEAD_s = 600.0


def write_whole(path: Path, content: bytes | str) -> None:
    """Write a file so that a full disk or a kill leaves the one before in its place. Raises OSError."""
    write_together({path: content})


def write_together(contents: Mapping[Path, bytes | str], instead_of: Iterable[Path] = ()) -> None:
    """Write files that belong together: all are on the disk before the first takes its place.

    Args:
        contents: text is written as UTF-8.
        instead_of: files of an earlier run that must not lie beside these; taken away at the end.

    Raises:
        OSError: nothing has been changed, unless the file system failed at the very end.
    """
    halves: dict[Path, Path] = {}
    try:
        for path, content in contents.items():
            data = content.encode("utf-8") if isinstance(content, str) else content
            if path.exists() and not path.is_file():  # a pipe, a terminal
                path.write_bytes(data)
                continue
            whole = path.resolve()
            halves[whole] = _staged(whole, data)
        for whole, half in halves.items():
            half.replace(whole)
    finally:
        for half in halves.values():
            with contextlib.suppress(OSError):
                half.unlink(missing_ok=True)
    for old in instead_of:
        if old not in contents:
            old.unlink(missing_ok=True)


def _staged(path: Path, data: bytes) -> Path:
    """The content on the disk, beside its place: with the rights of what is there already, and at no moment
    with more; else as the process makes files (the verbs of a course: for the user alone)."""
    # two threads may write the same file: each has a half of its own, and the last one stays
    half = path.with_name(f".{path.name}.{os.getpid()}-{secrets.token_hex(4)}.new")
    for left in path.parent.glob(f".{glob.escape(path.name)}.*.new"):  # by a run that was killed
        with contextlib.suppress(OSError):
            if time.time() - left.stat().st_mtime > _DEAD_s:
                left.unlink()
    there = path.stat().st_mode & 0o777 if path.exists() else None

    def opened(name: str, flags: int) -> int:
        return os.open(name, flags, 0o666 if there is None else there)

    try:
        with open(half, "xb", opener=opened) as file:
            if there is not None:
                with contextlib.suppress(
                    OSError
                ):  # a file system without rights: then it has no more of them
                    half.chmod(there)
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except OSError:
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)
        raise
    return half
