"""What a worker does with a shot: photos made clean, the build read, checked and told."""

from __future__ import annotations

import logging
import time
from functools import cache
from pathlib import Path
from typing import Any

from snapcheck import api
from snapcheck.errors import SnapcheckError
from snapcheck.outfiles import write_whole
from snapcheck.words import tr, use_language


def job_of(
    exercise: api.Exercise, photos: list[Path], flat: Path, language: str, *, dirty: bool = True
) -> dict[str, Any]:
    """A job for `work`, as plain values.

    Args:
        exercise: what was to be built.
        photos: of one build; they are made clean where they lie.
        flat: where the picture from straight above goes.
        language: of the answer.
        dirty: the photos may hold more than pixels.
    """
    kit = exercise.kit_file
    return {
        "design": str(exercise.design_file),
        "kit": None if kit is None else str(kit),
        "photos": [str(p) for p in photos],
        "flat": str(flat),
        "language": language,
        "dirty": dirty,
    }


def work(job: dict[str, Any]) -> dict[str, Any]:
    """``{"told": …}``, or ``{"error": sentence}``; see `snapcheck.report.Pieces`."""
    if "warm" in job:
        return _warm()
    use_language(job["language"])
    start = time.monotonic()
    try:
        photos = [Path(p) for p in job["photos"]]
        if job["dirty"]:
            for photo in photos:
                write_whole(photo, api.clean_picture(photo, tr("photo")))
        result = api.check(
            photos[0], Path(job["design"]), also=photos[1:], kit=job["kit"], name=tr("photo"),
            simulator=_simulator(),
        )  # fmt: skip
        made = result.pieces()
        write_whole(Path(job["flat"]), made.photo or b"")
    except SnapcheckError as error:
        way_out = f" {error.way_out}" if error.way_out else ""
        return {"error": f"{error.message[:1].upper()}{error.message[1:]}{way_out}"}
    except MemoryError:
        return {"error": tr("The photo takes too much memory. Take it again, smaller.")}
    except Exception:
        logging.getLogger("snapcheck").exception("a worker of the bench page met an unexpected error")
        return {"error": tr("Something went wrong in snapcheck itself. Take the photo again, or ask.")}
    return {"told": {**made.told, "seconds": round(time.monotonic() - start, 2)}}


def _warm() -> dict[str, Any]:
    """Load what the first photo needs."""
    _simulator()
    api.warm_up()
    return {}


@cache
def _simulator() -> Any:
    """One simulator for all that this process checks; None where there is no library for it."""
    return api.lasting_simulator()
