"""A file system as memory sticks have it: no hard links, no rights, times of 2 s, names in any case."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

#: how one is made, and how it is mounted from a loop device: FAT itself first, then exFAT, its successor
_WAYS = (
    (["mkfs.vfat"], ["mount", "-t", "vfat"]),
    (["mkfs.exfat"], ["mount", "-t", "exfat"]),
    (["mkfs.exfat"], ["mount.exfat-fuse"]),
)


@contextmanager
def fat_mounted(image: Path, place: Path) -> Iterator[Path]:
    """A new folder `place` on a new file system in `image`; skips, saying why, if none can be had here."""
    with image.open("wb") as file:
        file.truncate(32 * 2**20)
    place.mkdir()
    try:
        loop = _done(["losetup", "--find", "--show", str(image)]).strip()
    except OSError as error:
        pytest.skip(f"no loop device can be had here: {error}")
    try:
        why = []
        for make, mount in _WAYS:
            try:
                _done([*make, loop])
                _done([*mount, loop, str(place)])
                break
            except OSError as error:
                why.append(str(error))
        else:
            pytest.skip(f"no FAT file system can be mounted here: {'; '.join(why)}")
        try:
            yield place
        finally:
            _done(["umount", str(place)])
    finally:
        _done(["losetup", "--detach", loop])


def _done(command: list[str]) -> str:
    """What a command printed; OSError where it is missing or failed."""
    path = os.pathsep.join(["/usr/sbin", "/sbin", os.environ.get("PATH", "")])
    found = shutil.which(command[0], path=path)
    if found is None:
        raise OSError(f"{command[0]} is missing")
    done = subprocess.run([found, *command[1:]], capture_output=True, text=True, check=False)
    if done.returncode:
        raise OSError(f"{' '.join(command[:3])}: {done.stderr.strip()}")
    return done.stdout
