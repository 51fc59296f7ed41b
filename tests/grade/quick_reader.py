"""A reader for tests of the batch: quick, counts its calls, and misbehaves when a picture asks for it."""

from __future__ import annotations

import json
import os
import time
from pathlib import Path

from class_reader import READINGS

from snapcheck.errors import PhotoError
from snapcheck.photo import Reading, reading_from_json

_BODY = json.loads((READINGS / "T-101_2031-03-05T1630.json").read_text(encoding="utf-8"))
_WRONG = json.loads((READINGS / "T-102_2031-03-05T1715.json").read_text(encoding="utf-8"))


def read_quick(path: Path, data: bytes | None = None) -> Reading:
    """Good for even pictures, a reversed diode for odd ones; each call leaves a line in a log."""
    text = (path.read_bytes() if data is None else data).decode("ascii", "replace")
    log = os.environ.get("SNAPCHECK_TEST_LOG")
    if log:
        with Path(log).open("a", encoding="utf-8") as file:
            file.write(path.name + "\n")
    time.sleep(float(os.environ.get("SNAPCHECK_TEST_PAUSE", "0")))
    if "retake" in text:
        raise PhotoError("nothing can be made out.", place=path.name)
    if "crash" in text:
        raise RuntimeError("a flaw of the reader")
    if "die" in text:
        os.kill(os.getpid(), 9)
    number = int(text.split()[1])
    return reading_from_json({**(_WRONG if number % 2 else _BODY), "photo": path.name})
