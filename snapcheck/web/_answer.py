"""What of an answer may be seen: by a student as far as hints are released, by the teacher all of it."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Any

from snapcheck.web._store import DONE, FAILED, Bench, Shot
from snapcheck.words import tr

#: hints: nothing but the verdict, where, which, how to mend
STEPS = (0, 1, 2, 3)
#: verdicts after which nothing is left to do
_PASSED = ("ready", "equivalent")


def step_words(step: int) -> str:
    """What a step of the hints tells."""
    return (
        tr("the verdict alone"),
        tr("where on the plate"),
        tr("which cube"),
        tr("how to mend it"),
    )[step]


def seen(shot: Shot, step: int) -> dict[str, Any]:
    """What a student may see of an answer: nothing else goes into the page.

    A danger is always told at least by where it is.

    Args:
        step: 0 the verdict alone, 1 where, 2 which cube, 3 how to mend it.
    """
    told = shot.told
    findings = []
    for finding in told.get("findings", ()):
        most = max(step, 1) if finding["severity"] == "danger" else step
        if finding["severity"] == "note" and told["verdict"] in _PASSED:
            most = 3  # nothing that is to be found out
        if most == 0:
            continue
        shown = {key: finding[key] for key in ("number", "severity", "group", "badge")}
        shown |= dict.fromkeys(("which", "mend", "why", "effect", "caution"), "")
        shown["mark"] = finding["marks"][most - 1]
        if most == 3:
            shown |= {key: finding[key] for key in ("title", "mend", "why", "effect", "caution")}
        else:
            shown |= {"title": finding["hint"][0], "which": finding["hint"][1] if most == 2 else ""}
        findings.append(shown)
    kept = ("verdict", "sentence", "advice", "tone", "sign", "powered", "cautions", "notes", "picture")
    answer = {key: told[key] for key in kept if key in told}
    hidden = len(told.get("findings", ())) - len(findings)
    untold = step < 3 and any(f["severity"] == "danger" for f in told.get("findings", ()))
    return {
        **answer,
        "so_far": told.get("so_far"),
        "findings": findings,
        "hidden": hidden,
        "danger_untold": untold,
        "questions": told.get("questions", []),
    }


def everything(shot: Shot) -> dict[str, Any]:
    """What the teacher sees."""
    findings = [{**f, "mark": f["marks"][-1], "which": ""} for f in shot.told.get("findings", ())]
    so_far = shot.told.get("so_far")
    return {**shot.told, "so_far": so_far, "findings": findings, "hidden": 0, "danger_untold": False}


@dataclass(frozen=True)
class Change:
    """What became of the findings of the photo before: how many are mended, still there, new."""

    mended: int
    there: int
    new: int


def change(before: Shot, after: Shot) -> Change:
    """Findings are known again by rule and place."""
    old = {f["same"] for f in before.told.get("findings", ())}
    new = {f["same"] for f in after.told.get("findings", ())}
    return Change(len(old - new), len(old & new), len(new - old))


@dataclass(frozen=True)
class State:
    """How a bench stands, for the board.

    Attributes:
        word: for people.
        tone: a colour: pass, deviation, fault, danger, question, or "" for none.
        rank: the order in which a teacher wants to see them.
        stuck_min: minutes since the first of the latest photos that did not pass, None where it is not stuck.
    """

    word: str
    tone: str
    rank: int
    stuck_min: int | None = None


def state_of(bench: Bench, shots: list[Shot]) -> State:
    """How a bench stands.

    Args:
        shots: of the task that is built there, the newest first.
    """
    answered = [s for s in shots if s.state in (DONE, FAILED)]
    if shots and shots[0].open:
        return State(tr("is being read"), "", 4, _stuck_min(answered))
    if not answered:
        return State(tr("no photo yet"), "", 5)
    newest = answered[0]
    stuck = _stuck_min(answered)
    if newest.waved:
        return State(tr("let through"), "pass", 6)
    if newest.state == FAILED:
        return State(tr("photo not readable"), "question", 3, stuck)
    return {
        "still-building": State(_so_far_words(newest), newest.told.get("tone", "none"), 5),
        "do-not-power": State(tr("must not power"), "danger", 0, stuck),
        "cant-tell": State(tr("a person must look"), "question", 1, stuck),
        "does-not-work": State(tr("not to be powered yet"), "fault", 2, stuck),
        "works-differently": State(tr("may power, works differently"), "deviation", 3, stuck),
    }.get(newest.told.get("verdict", ""), State(tr("may power"), "pass", 7))


def _so_far_words(shot: Shot) -> str:
    so_far = shot.told.get("so_far", {"done": 0, "steps": 0})
    return tr("building: step {done} of {steps}", done=so_far["done"], steps=so_far["steps"])


def passed(shot: Shot) -> bool:
    """Whether nothing is left to do."""
    return bool(shot.waved) or (shot.state == DONE and shot.told.get("verdict") in _PASSED)


def _stuck_min(answered: list[Shot]) -> int | None:
    since = None
    for shot in answered:
        if passed(shot):
            break
        since = shot.at
    return None if since is None else int((time.time() - since) / 60)
