"""What a worker does with a shot: photos made clean, the build read, checked and told."""

from __future__ import annotations

import json
import logging
import time
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

from snapcheck import api
from snapcheck.errors import SnapcheckError
from snapcheck.outfiles import write_whole
from snapcheck.web._store import SO_FAR
from snapcheck.words import tr, use_language

#: verdict of a build on the way
BUILDING = "still-building"


def job_of(
    exercise: api.Exercise,
    photos: list[Path],
    flat: Path,
    language: str,
    *,
    reading: str = "",
    words: Sequence[str] = (),
    manner: str = "",
) -> dict[str, Any]:
    """A job for `work`, as plain values.

    Args:
        exercise: what was to be built.
        photos: of one build; they are made clean where they lie.
        flat: where the picture from straight above goes.
        language: of the answer.
        reading: what was read in them before, as JSON text; then they are clean, and not read again.
        words: decisions on what stands there, whatever was read.
        manner: `SO_FAR` for a build on the way.
    """
    kit = exercise.kit_file
    return {
        "design": str(exercise.design_file),
        "kit": None if kit is None else str(kit),
        "photos": [str(p) for p in photos],
        "flat": str(flat),
        "language": language,
        "reading": reading,
        "words": list(words),
        "manner": manner,
    }


def work(job: dict[str, Any]) -> dict[str, Any]:
    """``{"told": …, "reading": …}``; or ``{"error": sentence}``; or ``{"refused": sentence}`` where the last
    of the words cannot be followed. See `snapcheck.report.Pieces`."""
    if "warm" in job:
        return _warm()
    use_language(job["language"])
    start = time.monotonic()
    try:
        photos = [Path(p) for p in job["photos"]]
        seen = json.loads(job["reading"]) if job["reading"] else None
        if seen is None:
            for photo in photos:
                write_whole(photo, api.clean_picture(photo, tr("photo")))
        result = api.check(
            photos[0], Path(job["design"]), also=() if seen else photos[1:], reading=seen, kit=job["kit"],
            name=tr("photo"), simulator=simulator(), calculate=job["manner"] != SO_FAR,
        )  # fmt: skip
        reading = api.reading_told(result)
        cells = read = api.cells_told(result)
        if job["words"]:
            try:
                result = result.edited(*job["words"])
            except SnapcheckError as error:
                return {"refused": str(error)}
            cells = _with_others(api.cells_told(result), read)
        steps: dict[str, Any] = {}
        if job["manner"] == SO_FAR:
            result, steps = api.on_the_way(result)
        made = result.pieces()
        write_whole(Path(job["flat"]), made.photo or b"")
        told = {
            **made.told,
            "questions": api.questions_told(result),
            "cells": cells,
            "links": api.links_told(result),
            "ends": api.ends_told(result.built, result.kit),
        }
        if steps:
            told |= _on_the_way(steps, told)
    except SnapcheckError as error:
        return {"error": error.sentence}
    except MemoryError:
        return {"error": tr("The photo takes too much memory. Take it again, smaller.")}
    except Exception:
        logging.getLogger("snapcheck").exception("a worker of the bench page met an unexpected error")
        return {"error": tr("Something went wrong in snapcheck itself. Take the photo again, or ask.")}
    return {"told": {**told, "seconds": round(time.monotonic() - start, 2)}, "reading": reading}


def _on_the_way(steps: dict[str, Any], told: dict[str, Any]) -> dict[str, Any]:
    """What is said of a build that is not finished; nothing of it is a pass."""
    here: dict[str, Any] = {"so_far": steps, "powered": False}
    if told["tone"] == "danger":
        return here
    if steps["unlike"]:
        sentence = tr("This does not look like the build that was chosen.")
        advice = tr("Choose what you build, or ask at the desk.")
    elif steps["complete"]:
        sentence = tr("Everything is there.")
        advice = tr("Before you power it, photograph it once more as a finished build.")
    else:
        at = {"done": steps["done"], "steps": steps["steps"]}
        begun = tr("Step {done} of {steps} is not complete yet.", **at)
        sentence = begun if steps["open"] else tr("Step {done} of {steps} is done.", **at)
        advice = tr("Leave the supply off while you build.")
        if steps["mend"]:
            advice = tr("Leave the supply off, and mend what is named below before you go on.")
    tone = "question" if steps["unlike"] else "fault" if steps["mend"] else "none"
    return here | {"verdict": BUILDING, "sentence": sentence, "advice": advice, "tone": tone, "sign": ""}


def _with_others(cells: dict[str, Any], read: dict[str, Any]) -> dict[str, Any]:
    """Cells with what the photo left possible, also where somebody has decided."""
    for name, cell in cells.items():
        first = read.get(name, {"line": "", "others": []})
        known = {cell["line"], *(other["line"] for other in cell["others"])}
        more = [{"line": first["line"], "probability": None}, *first["others"]]
        cell["others"] = [o for o in more if o["line"] and o["line"] not in known] + cell["others"]
    return cells


def _warm() -> dict[str, Any]:
    """Load what the first photo needs."""
    simulator()
    api.warm_up()
    return {}


@cache
def simulator() -> Any:
    """One simulator for all that this process checks; None where there is no library for it."""
    return api.lasting_simulator()
