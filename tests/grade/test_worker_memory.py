"""A worker has so much memory and no more: a picture that wants it all fails alone."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from snapcheck.grade import LocalCrew
from snapcheck.grade._submissions import File
from snapcheck.grade._work import ReadJob
from snapcheck.photo import Reading
from snapcheck.processes import WORKER_BYTES


def read_greedily(path: Path, data: bytes | None = None) -> Reading:
    """Asks for more than a worker may have, as a decoder with a flaw would."""
    raise AssertionError(np.ones(WORKER_BYTES, np.uint8).sum())


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not count a process's memory so")
def test_a_picture_that_wants_all_the_memory_fails_alone(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"picture")
    job = ReadJob("0" * 64, File("a.jpg", datetime.now(tz=UTC), 7, tmp_path, False), read_greedily)
    crew = LocalCrew(1)
    ((_, answer),) = crew.answers([job])
    crew.close()
    assert answer["state"] == "failed" and "memory" in answer["body"]["message"]
