"""A small file system in memory, for tests of a disk that is full."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def mounted(place: Path, size: str) -> Iterator[Path]:
    """The new folder `place` as a file system of `size`, as mount(8) says it; skips if none can be had."""
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size}", "none", str(place)]
    if not shutil.which("mount") or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("no file system can be mounted here: needs root")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)
