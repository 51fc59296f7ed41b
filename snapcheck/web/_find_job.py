"""What a worker does for a search with a meter: the search, worked out from everything that was entered."""

from __future__ import annotations

import json
import logging
from functools import lru_cache
from pathlib import Path
from typing import Any

from snapcheck import api
from snapcheck.errors import InputError, SnapcheckError
from snapcheck.outfiles import write_whole
from snapcheck.web._job import simulator
from snapcheck.words import tr, use_language

#: suspects, faults of one that nothing tells apart, and measurements that are shown
SUSPECTS, FAULTS, STEPS = 5, 4, 3


def search(job: dict[str, Any]) -> dict[str, Any]:
    """``{"told": …, "svg": …, "entries": …, "notice": …}``, or ``{"error": sentence}``.

    Args:
        job: ``design``, ``kit``, ``language``, ``cache`` (a folder); ``photo`` of a build that was read (""
            without one), with ``reading`` and ``words`` where people said something of it; ``probes``: where
            the photo with the probes goes; ``entries``: pairs of ``symptom`` or ``reading`` and what was
            entered; what is not understood is left out.
    """
    use_language(job["language"])
    try:
        words = tuple(job["words"])
        found = _begun(job["design"], job["kit"], job["photo"], job["reading"], words, job["cache"])
        notice = ""
        kept = []
        for kind, words in job["entries"]:
            try:
                found = found.with_symptom(words) if kind == "symptom" else found.with_reading(words)
            except InputError as error:
                notice = error.sentence
                continue
            kept.append([kind, words])
        step = found.steps[0] if found.steps else None
        drawn = found.drawing(step)
        if isinstance(drawn, bytes):
            write_whole(Path(job["probes"]), drawn)
        svg = drawn if isinstance(drawn, str) else ""
        return {"told": told(found), "svg": svg, "entries": kept, "notice": notice}
    except SnapcheckError as error:
        return {"error": error.sentence}
    except MemoryError:
        return {"error": tr("This search takes too much memory.")}
    except Exception:
        logging.getLogger("snapcheck").exception("a search on the bench page met an unexpected error")
        return {"error": tr("Something went wrong in snapcheck itself. Try it again.")}


@lru_cache(maxsize=6)
def _begun(
    design: str, kit: str | None, photo: str, reading: str, words: tuple[str, ...], cache: str
) -> api.FaultSearch:
    """A search at its beginning: the same for everything that is entered later."""
    begun: Any = Path(photo) if photo else None
    if words:
        seen = api.check(begun, Path(design), reading=json.loads(reading), kit=kit, calculate=False)
        begun = seen.edited(*words).built
    return api.find(Path(design), begun, cache=Path(cache), kit=kit, simulator=simulator())


def told(found: api.FaultSearch) -> dict[str, Any]:
    """What is shown of a search, as plain values."""
    plain = found.to_json()
    outcome = plain["outcome"]
    steps = []
    for step in plain["steps"][:STEPS]:
        kind = step["way"] if step["way"] in ("contact", "lifted") else "volts"
        steps.append({**step, "kind": kind, "choices": _choices(step["way"])})
    return {
        "sentence": plain["sentence"],
        "tone": "danger" if plain["dangers"] else "pass" if outcome in ("found", "designed") else "question",
        "dangers": [{"title": d.title, "mend": d.mend} for d in found.dangers],
        "contradictions": plain["contradictions"],
        "suspects": [
            {
                "percent": round(100 * s["probability"]),
                "faults": [f["text"] for f in s["faults"][:FAULTS]],
                "more": max(0, len(s["faults"]) - FAULTS),
            }
            for s in plain["suspects"][:SUSPECTS]
        ] if plain["readings"] or plain["symptoms"] else [],
        "steps": steps,
        "photo": found.picture is not None,
    }  # fmt: skip


def _choices(way: str) -> list[tuple[str, str]]:
    """What may be found without a figure: word for the search, and for people."""
    contact = [
        ("good", tr("it connects")),
        ("poor", tr("it connects badly")),
        ("open", tr("it does not connect")),
    ]
    if way == "contact":
        return contact
    if way == "lifted":
        return [
            ("good", tr("as printed")), ("value", tr("another value")), ("open", tr("open")),
            ("short", tr("short-circuited")), ("reversed", tr("the wrong way round")), ("weak", tr("weak")),
        ]  # fmt: skip
    return [("nothing", tr("no signal"))] if way == "signal" else []
